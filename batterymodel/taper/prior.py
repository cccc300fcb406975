"""What is believed of a connection's taper before its readings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy.special import logit

from batterymodel.basis.arrays import FloatOrArray
from batterymodel.inputs.kinds import KindBelief
from batterymodel.inputs.records import Battery, History
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, TaperPrior, data_for
from batterymodel.reference.limits import limit_for
from batterymodel.reference.temperature import resistance_factor, rest_voltage_v
from batterymodel.taper.shape import charge_time_share

UNKNOWN_TEMP_C = 10.0
"""Temperature that stands in where none is known, to widen the prior [degC] (own choice)."""

HEAT_SHARE = 0.5
"""Part of the log of the resistance factor by which temperature widens the log time constant [-]
(own choice)."""

C_RATE_SPREAD = 0.4
"""Relative standard deviation, between batteries, of how share and time constant move with the
C-rate (own choice). Measured on the calibration half: 0.13 (share) and 0.33 (time constant) with
the plate at the true one-hour capacity. Widened, because a plate may state half of that: without
it, intervals covered 83 % of the cases of `tests.reference_cases`, which are rated so."""

MOST_C_RATE_PER_H = 2.0
"""C-rate up to which share and time constant are believed to move [1/h] (own choice). The
calibration half says no more of 3.0 than of 2.0; at 3.0, deeply discharged cases of
`tests.reference_cases`, whose plates state half their capacity, were believed up to 9 points too
full."""

MOST_WIDENED = (1.0, 0.3)
"""Most spread of the log time constant [ln] and of the fast share [-] that a conflict with the
readings may lead to (own choice)."""

OHMIC_SHARE = 0.5
"""Part of the log by which a current that follows set voltage less rest voltage would be slower
below the charging window, taken for belief and for spread (own choice: between none, which PyBaMM's
lead-acid cells show from 27.5 to 28.5 V, and all)."""

MOST_SLOWER_LOG = 1.5
"""Most of that log [ln] (own choice: near the rest voltage it has no end)."""

DRIFT_PER_ROOT_YEAR = 0.10
"""Drift of the log time constant with age, standard deviation after a year (own choice)."""

SHARE_RANGE = (0.02, 0.7)
"""Fast shares that are believed possible [0..1] (own choice)."""


@dataclass(frozen=True)
class Prior:
    """What is believed of one connection before its readings; see `chemistry.TaperPrior`.

    ``log_time_s`` is the log of the slow time constant [ln s] and ``fast_share`` the fast part of
    the current [0..1], both at a small current. The C-rate is the hold amplitude over capacity
    [1/h]; ``log_time_per_c_rate`` and ``share_per_c_rate`` [h] say how the two move with it.
    ``float_current_a`` is the current left after the taper [A], ``capacity_ah`` the capacity to
    count on [Ah]. Names in ``_sd`` are standard deviations, in ``_log`` natural logarithms.
    """

    log_time_s: float
    log_time_sd: float
    log_time_per_c_rate: float
    fast_share: float
    fast_share_sd: float
    share_per_c_rate: float
    fast_ratio: float
    float_current_a: float
    float_current_sd_a: float
    fast_ratio_log_sd: float
    shape_rel_sd: float
    shape_per_c_rate: float
    capacity_ah: float

    def widened(self, by: float) -> Prior:
        """The belief with every spread so many times as wide, those of time and share to a most.

        The most of those two: `MOST_WIDENED`.

        Parameters
        ----------
        by : float
            Factor [-].

        Returns
        -------
        Prior
        """
        most_time, most_share = MOST_WIDENED
        return replace(
            self,
            log_time_sd=max(min(by * self.log_time_sd, most_time), self.log_time_sd),
            fast_share_sd=max(min(by * self.fast_share_sd, most_share), self.fast_share_sd),
            float_current_sd_a=by * self.float_current_sd_a,
            fast_ratio_log_sd=by * self.fast_ratio_log_sd,
            shape_rel_sd=by * self.shape_rel_sd,
        )

    def c_rate_per_h(self, hold_amplitude_a: FloatOrArray) -> FloatOrArray:
        """Hold amplitude over capacity.

        Parameters
        ----------
        hold_amplitude_a : float or ndarray, any shape
            Hold amplitude [A].

        Returns
        -------
        float or ndarray
            C-rate [1/h], same shape.
        """
        return hold_amplitude_a / self.capacity_ah

    def share_at(self, c_rate_per_h: FloatOrArray) -> FloatOrArray:
        """Believed fast share at a C-rate ``c``: ``fast_share + share_per_c_rate c``.

        ``c`` counts up to `MOST_C_RATE_PER_H`; the share is held within `SHARE_RANGE`.

        Parameters
        ----------
        c_rate_per_h : float or ndarray, any shape
            C-rate [1/h].

        Returns
        -------
        float or ndarray
            Fast share [0..1], same shape.
        """
        share = self.fast_share + self.share_per_c_rate * np.minimum(
            c_rate_per_h, MOST_C_RATE_PER_H
        )
        return np.minimum(np.maximum(share, SHARE_RANGE[0]), SHARE_RANGE[1])

    def log_time_at(self, c_rate_per_h: FloatOrArray) -> FloatOrArray:
        """Believed log of the slow time constant: ``log_time_s - log_time_per_c_rate c``.

        The C-rate ``c`` counts up to `MOST_C_RATE_PER_H`.

        Parameters
        ----------
        c_rate_per_h : float or ndarray, any shape
            C-rate [1/h].

        Returns
        -------
        float or ndarray
            Log of the time constant [ln s], same shape.
        """
        return self.log_time_s - self.log_time_per_c_rate * np.minimum(
            c_rate_per_h, MOST_C_RATE_PER_H
        )

    def logit_share_sd(self, c_rate_per_h: float) -> float:
        """Standard deviation of the logit of the fast share around a C-rate.

        The share's own by ``dlogit / dw = 1 / (w (1 - w))``.

        Parameters
        ----------
        c_rate_per_h : float
            C-rate [1/h].

        Returns
        -------
        float
            Of the logit [-].
        """
        share = float(self.share_at(c_rate_per_h))
        sd = float(
            np.hypot(self.fast_share_sd, C_RATE_SPREAD * self.share_per_c_rate * c_rate_per_h)
        )
        return sd / (share * (1.0 - share))

    def log_time_sd_at(self, c_rate_per_h: float) -> float:
        """Standard deviation of the log of the slow time constant around a C-rate ``c``.

        ``hypot(log_time_sd, C_RATE_SPREAD log_time_per_c_rate c)``.

        Parameters
        ----------
        c_rate_per_h : float
            C-rate [1/h].

        Returns
        -------
        float
            Of the log [-].
        """
        return float(
            np.hypot(self.log_time_sd, C_RATE_SPREAD * self.log_time_per_c_rate * c_rate_per_h)
        )

    def logit_share_at(self, c_rate_per_h: FloatOrArray) -> FloatOrArray:
        """Logit of the believed fast share (`share_at`).

        Parameters
        ----------
        c_rate_per_h : float or ndarray, any shape
            C-rate [1/h].

        Returns
        -------
        float or ndarray
            Logit [-], same shape.
        """
        return logit(self.share_at(c_rate_per_h))

    def shape_sd(self, c_rate_per_h: float) -> float:
        """Deviation from two exponentials at a C-rate: ``shape_rel_sd (1 + shape_per_c_rate c)``.

        Parameters
        ----------
        c_rate_per_h : float
            C-rate [1/h].

        Returns
        -------
        float
            Standard deviation over the hold amplitude [-].
        """
        return self.shape_rel_sd * (1.0 + self.shape_per_c_rate * c_rate_per_h)


def prior_for(
    battery: Battery, temp_c: float | None, on: date | None = None, held_v: float | None = None
) -> Prior:
    """Prior of one connection: the chemistry's, its kind's, or this battery's history.

    A history drifts with age (`history_log_sd`), and holds the chemistry's belief; where other
    batteries of the kind are known, theirs takes its place. Temperature away from 25 degC widens
    the log time constant (`heat_log_sd`); where none is known, `UNKNOWN_TEMP_C` stands in without
    history, nothing with it. Below the charging window the taper is believed slower
    (`slower_log`).

    Parameters
    ----------
    battery : Battery
    temp_c : float or None
        Battery temperature [degC].
    on : date or None
        Day of the connection, for the age of battery and check.
    held_v : float, optional
        Voltage that the supply holds [V].

    Returns
    -------
    Prior
        Sources and tags of its numbers: `chemistry.TaperPrior.source`.

    Raises
    ------
    InputError
        Temperature outside `DATA_TEMP_C`, installed after the day of the connection, or a check
        that cannot be this battery's.
    """
    taper = data_for(battery.chemistry).taper
    log_time, log_time_sd, share, share_sd = _believed(battery, taper, on)
    heat = heat_log_sd(battery, temp_c)
    if battery.history is not None and temp_c is None:
        heat = 0.0
    slower = 0.0 if held_v is None else OHMIC_SHARE * slower_log(battery, held_v)
    float_a, float_sd_a = _float_current_a(battery, taper)
    return Prior(
        log_time_s=log_time + slower,
        log_time_sd=float(np.linalg.norm((log_time_sd, heat, slower))),
        log_time_per_c_rate=taper.log_time_per_c_rate,
        fast_share=share,
        fast_share_sd=share_sd,
        share_per_c_rate=taper.share_per_c_rate,
        fast_ratio=taper.fast_ratio,
        float_current_a=float_a,
        float_current_sd_a=float_sd_a,
        fast_ratio_log_sd=taper.fast_ratio_log_sd,
        shape_rel_sd=taper.shape_rel_sd,
        shape_per_c_rate=taper.shape_per_c_rate,
        capacity_ah=present_capacity_ah(battery, on),
    )


def present_capacity_ah(battery: Battery, on: date | None = None) -> float:
    """Capacity to count on: the median of `capacity_belief`.

    Parameters
    ----------
    battery : Battery
    on : date, optional
        Day of the connection, for the age of battery and check.

    Returns
    -------
    float
        Capacity [Ah].

    Raises
    ------
    InputError
        Installed after the day of the connection, or a check that cannot be this battery's.
    """
    return capacity_belief(battery, on).median_ah


def heat_log_sd(battery: Battery, temp_c: float | None) -> float:
    """What temperature adds to the spread of the log time constant.

    `HEAT_SHARE` of the log of the resistance factor, at `UNKNOWN_TEMP_C` where none is known.

    Parameters
    ----------
    battery : Battery
    temp_c : float or None
        Battery temperature [degC].

    Returns
    -------
    float
        Standard deviation of the log [-].

    Raises
    ------
    InputError
        Temperature outside `DATA_TEMP_C`.
    """
    away_c = UNKNOWN_TEMP_C if temp_c is None else temp_c
    return HEAT_SHARE * abs(float(np.log(resistance_factor(battery.chemistry, away_c))))


def history_log_sd(history: History, on: date | None) -> float:
    """Spread of the log time constant that a history tells, on a day.

    ``hypot(charge_time_rel_sd, DRIFT_PER_ROOT_YEAR sqrt(years))`` since its last taper.

    Parameters
    ----------
    history : History
    on : date or None
        Day of the connection; without it, or without the day of the last taper, nothing is added.

    Returns
    -------
    float
        Standard deviation of the log [-].
    """
    drift = DRIFT_PER_ROOT_YEAR * float(np.sqrt(history.years_before(on)))
    return float(np.hypot(history.charge_time_rel_sd, drift))


def slower_log(battery: Battery, held_v: float) -> float:
    """Log by which an ohmic current falls below the charging window, at most `MOST_SLOWER_LOG`.

    ``ln((low - E) / (V - E))`` with ``E`` the rest voltage of the full battery and ``low`` the
    window's lower end.

    Parameters
    ----------
    battery : Battery
    held_v : float
        Voltage that the supply holds [V].

    Returns
    -------
    float
        Log [-]; 0 inside the window.
    """
    low = limit_for(battery, "charge_voltage_min_v").value
    full = float(rest_voltage_v(battery, 1.0, REFERENCE_TEMP_C))
    drives = max(low - full, 0.0)
    left = max(held_v - full, drives * float(np.exp(-MOST_SLOWER_LOG)))
    return max(float(np.log(drives / left)), 0.0) if drives > 0.0 else 0.0


def _float_current_a(battery: Battery, taper: TaperPrior) -> tuple[float, float]:
    """Current left after the taper, with its spread between batteries [A]."""
    known: KindBelief | TaperPrior = battery.kind or taper
    plate = battery.rated_capacity_ah
    return known.float_current_per_ah * plate, known.float_current_per_ah_sd * plate


def _believed(
    battery: Battery, taper: TaperPrior, on: date | None
) -> tuple[float, float, float, float]:
    """Log time constant and fast share at a small current, each with its sd for a connection."""
    (time, time_sd), (share, share_sd) = _chemistry(taper)
    if battery.history is not None:
        (time, time_sd), (share, share_sd) = _own(battery.history, battery.kind, taper, on)
    elif battery.kind is not None:
        (time, time_sd), (share, share_sd) = _of_kind(battery.kind)
    share_sd = float(np.hypot(share_sd, taper.share_transfer_sd))
    if battery.history is None and battery.kind is None:
        return time, time_sd, share, share_sd
    time_sd = float(np.hypot(time_sd, taper.time_transfer_log_sd))
    if battery.history is None:
        time_sd = min(time_sd, taper.time_constant_log_sd)
    return time, time_sd, share, share_sd


Believed = tuple[float, float]


def _chemistry(taper: TaperPrior) -> tuple[Believed, Believed]:
    time = float(np.log(3600.0 * taper.time_constant_h))
    return (time, taper.time_constant_log_sd), (taper.fast_share, taper.fast_share_sd)


def _of_kind(kind: KindBelief) -> tuple[Believed, Believed]:
    time = float(np.log(3600.0 * kind.time_constant_h))
    return (time, kind.time_constant_log_sd), (kind.fast_share, kind.fast_share_sd)


def _own(
    history: History, kind: KindBelief | None, taper: TaperPrior, on: date | None
) -> tuple[Believed, Believed]:
    """What the battery's own tapers taught; with the kind's belief in place of the chemistry's."""
    share, share_sd = history.fast_share, history.fast_share_sd
    if share is None:
        share, share_sd = taper.fast_share, taper.fast_share_sd
    of_charge = float(charge_time_share(share, taper.fast_ratio))
    time = float(np.log(3600.0 * history.charge_time_h / of_charge)), history_log_sd(history, on)
    if kind is None:
        return time, (share, share_sd)
    (in_time, in_share), (kind_time, kind_share) = _chemistry(taper), _of_kind(kind)
    return instead(time, in_time, kind_time), instead((share, share_sd), in_share, kind_share)


def instead(known: Believed, held: Believed, new: Believed) -> Believed:
    """What is known, with another belief in place of the one it holds, all normal.

    Precisions add: ``1 / v = 1 / v_known - 1 / v_held + 1 / v_new``.

    Parameters
    ----------
    known, held, new : two floats
        Mean and standard deviation each, in one unit.

    Returns
    -------
    mean, sd : float
        The new belief where what is known holds no more than the old one.
    """
    gained = known[1] ** -2 - held[1] ** -2
    if gained <= 0.0:
        return new
    precision = gained + new[1] ** -2
    moment = known[0] * known[1] ** -2 - held[0] * held[1] ** -2 + new[0] * new[1] ** -2
    return float(moment / precision), float(precision**-0.5)
