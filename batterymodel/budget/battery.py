"""What the battery takes of the supply now, and later as its taper falls."""

from __future__ import annotations

from dataclasses import dataclass, replace
from math import exp, hypot, isfinite

import numpy as np

from batterymodel.basis.intervals import LEVEL_SD, Interval, interval_around
from batterymodel.errors import InputError
from batterymodel.inputs.records import Chemistry
from batterymodel.reference.chemistry import data_for
from batterymodel.rules.results import TRANSIENT, Assessment, Outcome, TaperSummary

LAST_READINGS = 3
"""Readings whose median is what the meter shows last (own choice: one may be mistyped)."""


@dataclass(frozen=True)
class BatteryNow:
    """The battery's present draw on the bus, and how it will fall.

    ``current_a`` is positive while it charges. ``floor_a`` is the current left after the taper [A]
    and ``time_constant_s`` that of its fall [s]; None: it is taken to stay as it is. ``at_limit``:
    the supply gave all it can, and ``current_a`` is what the battery would take of a larger one.
    ``floor_sd_a`` is the spread of ``floor_a`` [A] and ``time_constant_log_sd`` that of the
    logarithm of the time constant [ln]. ``state_of_charge`` [0..1] and ``capacity_ah``
    [Ah] are what the readings told, and ``outcome`` what follows for the battery, by ``judged_by``
    where that is not the readings. ``is_overtaken``: what is newer than the readings says that
    they no longer tell how the battery is.
    """

    current_a: Interval
    floor_a: float = 0.0
    time_constant_s: float | None = None
    at_limit: bool = False
    state_of_charge: Interval | None = None
    capacity_ah: Interval | None = None
    outcome: Outcome | None = None
    floor_sd_a: float = 0.0
    time_constant_log_sd: float = 0.0
    judged_by: str | None = None
    is_overtaken: bool = False

    def __post_init__(self) -> None:
        """Refuse a draw that cannot be: below zero it would make room for consumers."""
        current, floor_a, tau_s = self.current_a, self.floor_a, self.time_constant_s
        if not all(map(isfinite, (current.mean, current.low, current.high, floor_a))):
            raise InputError("the battery's draw: plain numbers in A would be right")
        if current.mean < 0.0 or floor_a < 0.0:
            raise InputError(
                f"a battery that draws {current.mean:g} A, {floor_a:g} A after its taper: 0 A or "
                "more would be right; a battery that gives current is no room for consumers"
            )
        if tau_s is not None and not (isfinite(tau_s) and tau_s > 0.0):
            raise InputError(f"a taper of {tau_s:g} s: more than 0 s would be right")

    @property
    def sd_a(self) -> float:
        """Standard deviation of the present draw [A]."""
        return self.current_a.sd

    @property
    def must_come_off(self) -> bool:
        """The readings say that the battery does not stay on the supply."""
        return self.outcome in (Outcome.SERVICE, Outcome.DISCONNECT)

    def later(self, minutes: float) -> BatteryNow:
        """The battery after some minutes on the same supply, its draw fallen with the taper.

        ``I(t) = floor + (I - floor) exp(-t / tau)``.

        Parameters
        ----------
        minutes : float
            [min], zero or more.

        Returns
        -------
        BatteryNow
            Spread falls with the current; what was known of charge and capacity is left as it was.
        """
        return replace(self, current_a=self._faded(self._left(60.0 * minutes)))

    def settled(self) -> BatteryNow:
        """The battery once its draw has fallen to the current that is left after the taper.

        Returns
        -------
        BatteryNow
            No longer at the supply's limit.
        """
        floor_a = min(self.floor_a, self.current_a.mean)
        current_a = interval_around(floor_a, self.floor_sd_a, least=0.0)
        return replace(self, current_a=current_a, at_limit=False)

    def average_a(self, minutes: float) -> Interval:
        """Mean draw over the next minutes.

        ``floor + (I - floor) tau / T (1 - exp(-T / tau))``.

        Parameters
        ----------
        minutes : float
            [min], above zero.

        Returns
        -------
        Interval
            [A].
        """
        if self.time_constant_s is None:
            return self.current_a
        spans = 60.0 * minutes / self.time_constant_s
        return self._faded(-np.expm1(-spans) / spans)

    def _left(self, elapsed_s: float) -> float:
        return 1.0 if self.time_constant_s is None else exp(-elapsed_s / self.time_constant_s)

    def _faded(self, share: float) -> Interval:
        """The draw when this share of its way to the floor is left; it never rises."""
        floor_a = min(self.floor_a, self.current_a.mean)
        mean_a = floor_a + share * (self.current_a.mean - floor_a)
        part = mean_a / self.current_a.mean if self.current_a.mean > 0.0 else 1.0
        return interval_around(mean_a, part * self.sd_a)


def battery_now(assessment: Assessment, chemistry: Chemistry) -> BatteryNow:
    """The battery at the last reading of an assessed connection.

    The draw is the fitted current less the bus load; their errors are taken as independent, which
    makes the spread no smaller than it is. While the supply is at its limit it is the amplitude.
    Where the current of a chemistry is no exponential taper, nothing is said of when it falls.

    Parameters
    ----------
    assessment : Assessment
    chemistry : Chemistry
        Of the battery.

    Returns
    -------
    BatteryNow
    """
    curves, taper = assessment.curves, assessment.taper
    end_s = float(curves.time_s[-1])
    at_limit = curves.limit_end_s is not None and curves.limit_end_s >= end_s
    tapers = data_for(chemistry).taper.exponential
    return BatteryNow(
        current_a=_wanted_draw(taper) if at_limit else _draw_at(end_s, assessment),
        floor_a=max(taper.floor_a, 0.0),
        time_constant_s=taper.time_constant_s if tapers else None,
        at_limit=at_limit,
        state_of_charge=assessment.state_of_charge.now,
        capacity_ah=assessment.capacity_ah,
        outcome=assessment.outcome,
        floor_sd_a=taper.standard_errors.get("floor_a", 0.0),
        time_constant_log_sd=taper.standard_errors.get("time_constant_s", 0.0)
        / taper.time_constant_s,
    )


def _wanted_draw(taper: TaperSummary) -> Interval:
    """What the battery would take were the supply without limit."""
    sd_a = taper.standard_errors.get("amplitude_a", 0.0)
    return interval_around(taper.amplitude_a, sd_a, least=0.0)


def _draw_at(elapsed_s: float, assessment: Assessment) -> Interval:
    """The fitted draw, and no less than the meter shows: a current that rises leaves the fit."""
    curves = assessment.curves
    mean_a, load_a, high_a = (
        float(np.interp(elapsed_s, curves.fit_time_s, values))
        for values in (curves.fit_a, curves.load_a, curves.fit_high_a)
    )
    kept = curves.current_a[curves.role != TRANSIENT]
    seen_a = float(np.median(kept[-LAST_READINGS:])) if kept.size else mean_a
    load_sd_a = assessment.taper.standard_errors.get("load_a", 0.0)
    above_a = max(seen_a - mean_a, 0.0)
    sd_a = hypot((high_a - mean_a) / LEVEL_SD, load_sd_a, above_a / LEVEL_SD)
    return interval_around(max(mean_a + above_a - load_a, 0.0), sd_a)
