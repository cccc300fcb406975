"""The capacity check: a timed bench discharge brought to percent of rated capacity.

Charge delivered until the end voltage, corrected for discharge rate and temperature, with its
uncertainty. A discharge that stopped early gives a lower bound and never a number.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from enum import StrEnum

import numpy as np
from pydantic import Field

from batterymodel.basis.intervals import LEVEL_SD, Interval, interval_around
from batterymodel.capacity.correction import (
    Correction,
    rate_correction,
    temperature_correction,
)
from batterymodel.capacity.wording import CAPACITY_TEXTS, VERDICT_WORDS, say_capacity
from batterymodel.errors import InputError
from batterymodel.inputs.discharge_log import LOADED_SHARE, DischargeLog, end_of_discharge
from batterymodel.inputs.entry_faults import EntryError, outside
from batterymodel.inputs.records import Battery, CapacityCheck, Chemistry
from batterymodel.reference.capacity import (
    CURRENT_REL_SD,
    PAUSE_REL_SD,
    REPEAT_REL_SD,
    TIMED_SD_S,
)
from batterymodel.reference.limits import Limit, limit_for
from batterymodel.rules.results import Result
from batterymodel.rules.wording import CAUTIONS, HEADLINE, NICD_CAUTION

STEADY_SPREAD = 0.05
"""Spread of the current over its mean from which it is called not constant (own choice)."""

LEAST_BELIEVED, MOST_BELIEVED = 0.03, 2.0
"""Fractions of rated outside which a unit is taken to be wrong (own choice)."""

LEAST_START, MOST_START = 0.6, 1.25
"""Voltage under load at the start over the least and the most charge voltage, outside which it is
not this battery's (own choice)."""

_PAUSE_S = 60.0
"""Time without load from which a discharge counts as paused [s] (own choice)."""


class Verdict(StrEnum):
    """What a capacity check says against the limit."""

    PASS = "pass"
    MARGINAL = "marginal"
    FAIL = "fail"
    NOT_FINISHED = "not_finished"


@dataclass(frozen=True)
class TimedDischarge:
    """A discharge at one current [A] for so many minutes, with or without end voltage reached."""

    current_a: float
    minutes: float
    reached_end_voltage: bool = True


class DischargeCurves(Result):
    """Arrays for the chart of a discharge log; not part of the JSON."""

    minutes: np.ndarray
    voltage_v: np.ndarray
    current_a: np.ndarray
    end_minutes: float | None


class CapacityResult(Result):
    """Result of one capacity check; it reports itself.

    ``capacity_ah`` is at the reference temperature and the rated discharge rate. After a discharge
    that stopped early it is None and ``at_least_ah`` holds the lower bound that `LEVEL` of a
    central interval leaves below. ``rel_sd_by_cause`` are relative standard deviations.
    """

    tail: str
    on: date | None
    verdict: Verdict
    headline: str
    reason: str = Field(exclude=True, repr=False)
    next_step: str
    capacity_ah: Interval | None
    capacity_sd_ah: float
    percent_of_rated: Interval | None
    at_least_ah: float | None
    at_least_percent: float | None
    rated_capacity_ah: float
    delivered_ah: float
    minutes: float
    mean_current_a: float
    temp_c: float | None
    method: str
    corrections: tuple[Correction, ...]
    rel_sd_by_cause: dict[str, float]
    limit: Limit
    end_voltage: Limit
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    curves: DischargeCurves | None = Field(default=None, exclude=True, repr=False)

    @property
    def limit_ah(self) -> float:
        """The limit as a capacity [Ah]."""
        return self.limit.value * self.rated_capacity_ah

    @property
    def record(self) -> CapacityCheck | None:
        """The check as the battery's record keeps it; None for a lower bound or without a day."""
        if self.capacity_ah is None or self.on is None:
            return None
        return CapacityCheck(
            on=self.on,
            capacity_ah=round(self.capacity_ah.mean, 2),
            capacity_sd_ah=round(self.capacity_sd_ah, 2),
        )


@dataclass(frozen=True)
class _Discharge:
    """What was measured: step lengths [h] and currents [A] until the end, and how well."""

    hours: np.ndarray
    current_a: np.ndarray
    reached: bool
    end_sd_s: float
    temp_c: float | None
    paused_s: float
    notes: tuple[str, ...]

    @property
    def total_h(self) -> float:
        return float(self.hours.sum()) - self.paused_s / 3600.0

    @property
    def delivered_ah(self) -> float:
        return float(self.hours @ self.current_a)

    @property
    def mean_current_a(self) -> float:
        return self.delivered_ah / self.total_h


def capacity_check(
    discharge: DischargeLog | TimedDischarge,
    battery: Battery,
    *,
    temp_c: float | None = None,
    on: date | None = None,
    current_rel_sd: float = CURRENT_REL_SD,
) -> CapacityResult:
    """Percent of rated capacity from a bench discharge.

    1. Integrate the current from load on to the end voltage, found by
       `discharge_log.end_of_discharge`; where it was not reached, to load off.
    2. Rate: without a published table on the limits card, ``(I / I_rated)**(k - 1)`` with
       Peukert's exponent, which is the time-adjusted method with the rated time of this current.
       With one, rate-adjusted up to 60 minutes and time-adjusted above.
    3. Temperature at the start of the discharge: over the capacity factor (limits card, else
       chemistry).
    4. Relative errors in quadrature: meter, end of discharge, rate, temperature, repetition.
    5. Compare with the limits card's least capacity.

    Parameters
    ----------
    discharge : DischargeLog or TimedDischarge
    battery : Battery
    temp_c : float, optional
        Battery temperature at the start where the log gives none [degC].
    on : date, optional
        Day of the check; else that of the log's time column.
    current_rel_sd : float
        Relative standard error of the current meter [-].

    Returns
    -------
    CapacityResult

    Raises
    ------
    InputError
        A discharge that cannot be used, in one sentence.

    Notes
    -----
    Errors of single checks are 2 to 4 % of rated at 20 to 30 degC and the rated current.

    References
    ----------
    IEEE 450-2002/2010, 7.3.1 and 7.3.2 (clause names verified, formulas from memory (high)).
    """
    if not 0.0 <= current_rel_sd <= 0.2:
        raise InputError("error of the current meter is out of range: give 0 to 20 %")
    end_voltage = limit_for(battery, "end_voltage_v")
    if isinstance(discharge, DischargeLog):
        measured = _from_log(discharge, battery, end_voltage.value, temp_c)
    else:
        measured = _from_timed(discharge, temp_c)
    steps = measured.hours, measured.current_a, measured.total_h
    rate, method = rate_correction(*steps, battery)
    temperature = temperature_correction(measured.temp_c, battery)
    capacity = measured.delivered_ah * rate.factor * temperature.factor
    _check_believable(capacity, measured, battery, discharge)
    errors = _errors(measured, rate, temperature, current_rel_sd)
    return _result(
        discharge, battery, measured, (rate, temperature), method, capacity, errors, on, end_voltage
    )


def _from_log(
    log: DischargeLog, battery: Battery, end_voltage_v: float, temp_c: float | None
) -> _Discharge:
    _check_battery_voltage(log, battery)
    end = end_of_discharge(log, end_voltage_v)
    end_s = log.stop_s if end is None else end.at_s
    if end_s <= log.start_s:
        raise InputError(
            f"{log.source}: current flows in one row alone ({log.start_s:g} s); a row at every "
            "reading from load on to load off would be right"
        )
    hours, current = log.until(end_s)
    paused_s = log.paused_s(end_s)
    notes = list(log.notes)
    if paused_s > _PAUSE_S:
        notes.append(
            f"the discharge paused for {paused_s / 60.0:.0f} min, in which a battery recovers: "
            "the result may read high and is taken as less certain"
        )
    running = current[current > LOADED_SHARE * np.median(current)]
    if running.std() > STEADY_SPREAD * running.mean():
        notes.append(
            f"the current was not constant ({running.min():.1f} to {running.max():.1f} A): the "
            "charge is summed step by step"
        )
    first_temp = log.start_temp_c
    return _Discharge(
        hours,
        current,
        end is not None,
        0.0 if end is None else end.sd_s,
        temp_c if first_temp is None else first_temp,
        paused_s,
        tuple(notes),
    )


def _from_timed(timed: TimedDischarge, temp_c: float | None) -> _Discharge:
    if not 0.2 <= timed.current_a <= 2000.0:
        problem = outside(timed.current_a, 0.2, 2000.0)
        raise EntryError("", "discharge_current_a", problem, name="discharge current")
    if not 0.5 <= timed.minutes <= 6000.0:
        raise EntryError("", "minutes", outside(timed.minutes, 0.5, 6000.0))
    hours, current = np.array([timed.minutes / 60.0]), np.array([timed.current_a])
    return _Discharge(hours, current, timed.reached_end_voltage, TIMED_SD_S, temp_c, 0.0, ())


def _check_battery_voltage(log: DischargeLog, battery: Battery) -> None:
    first = float(log.voltage_v[log.loaded][0])
    low, high = (limit_for(battery, f"charge_voltage_{end}_v").value for end in ("min", "max"))
    if not LEAST_START * low <= first <= MOST_START * high:
        raise InputError(
            f"{log.source}: {first:g} V under load at the start cannot be that of "
            f"{battery.cells} cells; volts of the whole battery, {LEAST_START * low:.0f} to "
            f"{MOST_START * high:.0f}, would be right"
        )


def _errors(
    measured: _Discharge, rate: Correction, temperature: Correction, current_rel_sd: float
) -> dict[str, float]:
    pause = PAUSE_REL_SD if measured.paused_s > _PAUSE_S else 0.0
    return {
        "current meter": current_rel_sd,
        "end of the discharge": measured.end_sd_s / 3600.0 / measured.total_h,
        "discharge rate": rate.rel_sd,
        "temperature": temperature.rel_sd,
        "repetition": float(np.hypot(REPEAT_REL_SD, pause)),
    }


def _check_believable(
    capacity_ah: float,
    measured: _Discharge,
    battery: Battery,
    discharge: DischargeLog | TimedDischarge,
) -> None:
    share = capacity_ah / battery.rated_capacity_ah
    least = LEAST_BELIEVED if measured.reached else 0.0
    if not least <= share <= MOST_BELIEVED:
        where, checks = "", "time is in minutes and current in amperes"
        if isinstance(discharge, DischargeLog):
            where = f"{discharge.source}: "
            checks = "time is in seconds, current in amperes and voltage that of the whole battery"
        raise InputError(
            f"{where}{_plain(measured.delivered_ah)} Ah in {_plain(60.0 * measured.total_h)} min "
            f"cannot be the discharge of a {battery.rated_capacity_ah:g} Ah battery to its end "
            f"voltage: check that {checks}"
        )


def _plain(value: float) -> str:
    """Three digits, or all before the point, and never a power of ten."""
    return f"{value:.0f}" if abs(value) >= 100.0 else f"{value:.3g}"


def _result(
    discharge: DischargeLog | TimedDischarge,
    battery: Battery,
    measured: _Discharge,
    corrections: tuple[Correction, ...],
    method: str,
    capacity_ah: float,
    errors: dict[str, float],
    on: date | None,
    end_voltage: Limit,
) -> CapacityResult:
    rated = battery.rated_capacity_ah
    sd = capacity_ah * float(np.sqrt(sum(value**2 for value in errors.values())))
    limit = limit_for(battery, "min_capacity_fraction")
    interval, percent, at_least = None, None, None
    if measured.reached:
        interval = interval_around(capacity_ah, sd, least=0.0)
        percent = interval_around(100.0 * capacity_ah / rated, 100.0 * sd / rated, least=0.0)
    else:
        at_least = max(capacity_ah - LEVEL_SD * sd, 0.0)
    at_least_percent = None if at_least is None else 100.0 * at_least / rated
    verdict = _verdict(interval, at_least, limit.value * rated)
    log = discharge if isinstance(discharge, DischargeLog) else None
    if on is None and log is not None and log.started_at is not None:
        on = log.started_at.date()
    nicd = (NICD_CAUTION,) if battery.chemistry is Chemistry.NICD else ()
    reason = _reason(verdict, percent, at_least_percent, 100.0 * limit.value)
    return CapacityResult(
        tail=battery.tail,
        on=on,
        verdict=verdict,
        headline=HEADLINE.format(words=VERDICT_WORDS[verdict], reason=reason),
        reason=reason,
        next_step=CAPACITY_TEXTS[_next_key(verdict, percent, measured.temp_c)],
        capacity_ah=interval,
        capacity_sd_ah=sd,
        percent_of_rated=percent,
        at_least_ah=at_least,
        at_least_percent=at_least_percent,
        rated_capacity_ah=rated,
        delivered_ah=measured.delivered_ah,
        minutes=60.0 * measured.total_h,
        mean_current_a=measured.mean_current_a,
        temp_c=measured.temp_c,
        method=method,
        corrections=corrections,
        rel_sd_by_cause=errors,
        limit=limit,
        end_voltage=end_voltage,
        notes=measured.notes,
        cautions=CAUTIONS[:2] + nicd,
        curves=None if log is None else _curves(log, measured),
    )


def _text_key(verdict: Verdict, percent: Interval | None) -> str:
    return "pass_bound" if verdict is Verdict.PASS and percent is None else verdict.value


def _next_key(verdict: Verdict, percent: Interval | None, temp_c: float | None) -> str:
    if verdict is Verdict.MARGINAL and temp_c is None:
        return "next.marginal_temp"
    return f"next.{_text_key(verdict, percent)}"


def _reason(
    verdict: Verdict, percent: Interval | None, at_least_percent: float | None, limit: float
) -> str:
    values = {"limit": limit, "at_least": at_least_percent}
    if percent is not None:
        values |= {"percent": percent.mean, "low": percent.low, "high": percent.high}
    return say_capacity(_text_key(verdict, percent), **values)


def _verdict(interval: Interval | None, at_least_ah: float | None, limit_ah: float) -> Verdict:
    if interval is None:
        return Verdict.PASS if (at_least_ah or 0.0) >= limit_ah else Verdict.NOT_FINISHED
    if interval.low >= limit_ah:
        return Verdict.PASS
    return Verdict.FAIL if interval.high < limit_ah else Verdict.MARGINAL


def _curves(log: DischargeLog, measured: _Discharge) -> DischargeCurves:
    end = log.start_s + 3600.0 * float(measured.hours.sum())
    return DischargeCurves(
        minutes=(log.elapsed_s - log.start_s) / 60.0,
        voltage_v=log.voltage_v,
        current_a=log.current_a,
        end_minutes=(end - log.start_s) / 60.0 if measured.reached else None,
    )
