"""Capacity in service: what a completed taper and two rest voltages say, without a bench.

Charge returned over the change of state of charge. The interval is wide; it is no substitute for a
capacity check.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from scipy.special import ndtri

from batterymodel.basis.intervals import Interval, weighted_interval
from batterymodel.basis.meters import LOAD_SD_A, VOLTMETER_SD_V
from batterymodel.errors import FitError
from batterymodel.inputs.readings import read_readings
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.inputs.second_starts import starts_anew
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.temperature import (
    REST_AFTER,
    check_rest_voltage,
    rest_voltage_v,
    within_data_c,
)
from batterymodel.rules.results import Result
from batterymodel.soc.evidence import SOC_GRID
from batterymodel.soc.learning import is_complete
from batterymodel.taper.fit import TaperFit, fit_taper
from batterymodel.taper.posterior import ChargePosterior, charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from batterymodel.taper.slips import slip_mask

COMMON_SHARE = 0.7
"""Share of the variance of a battery's rest voltage curve that is the same before and after (own
choice): acid strength and filling stay, rest time and mixing of the acid do not."""

FULL_SOC, FULL_SOC_SD = 0.985, 0.015
"""State of charge after a completed taper, and its spread (own choice)."""

LEAST_CHANGE = 0.15
"""Least change of the state of charge that can tell a capacity (own choice)."""

MOST_CHANGE_REL_SD = 0.3
"""Relative error of that change above which it tells nothing (own choice)."""

TAPER_REL_SD = 0.02
"""What two exponentials and a float current leave undescribed of a whole taper's charge (own
choice)."""

AT_AN_END = 3
"""Temperatures at either end of the readings that stand for the rest there (own choice: one
mistyped among them changes nothing)."""

_NODES = 9
_EFFICIENCY_NODES = 9
"""Equally likely values that stand for a normal quantity (own choice)."""

NO_SUBSTITUTE = (
    "An estimate in service from rest voltages and one taper: it shows a trend and replaces no "
    "capacity check."
)
NO_TEMPERATURE = (
    f"No battery temperature was read or told: {REFERENCE_TEMP_C:.0f} °C was taken, and rest "
    "voltages of a colder or warmer battery mean another charge."
)


@dataclass(frozen=True)
class BatteryTemps:
    """Battery temperature [degC] at the rest before, over the taper, and at the rest after.

    None where nobody read or told it.
    """

    before_c: float | None
    taper_c: float | None
    after_c: float | None


class InServiceCapacity(Result):
    """Capacity estimated in service [Ah], with what it was made of.

    ``capacity_ah.mean`` is the geometric mean, because the change of state of charge stands below
    the line. ``charge_returned_ah`` is what the battery took above the float
    current; ``soc_change`` the rise of the state of charge; ``rel_sd_by_cause`` are relative
    standard deviations.
    """

    tail: str
    on: date | None
    capacity_ah: Interval
    capacity_sd_ah: float
    percent_of_rated: Interval
    charge_returned_ah: Interval
    soc_before: Interval
    soc_change: Interval
    temp_before_c: float | None = None
    temp_after_c: float | None = None
    rel_sd_by_cause: dict[str, float]
    notes: tuple[str, ...]


@dataclass(frozen=True)
class _Change:
    """Joint probability of the states of charge before and after, on `SOC_GRID` twice."""

    probability: np.ndarray

    @property
    def before(self) -> np.ndarray:
        return np.repeat(SOC_GRID, SOC_GRID.size)

    @property
    def rise(self) -> np.ndarray:
        return (SOC_GRID[None, :] - SOC_GRID[:, None]).ravel()


def in_service_capacity(
    readings: Readings | str | Path,
    battery: Battery,
    supply: Supply | None = None,
    *,
    rest_before_v: float,
    rest_after_v: float,
    temp_c: float | None = None,
    load_a: float | None = None,
    load_sd_a: float = LOAD_SD_A,
    on: date | None = None,
) -> InServiceCapacity:
    """Capacity from a completed taper and the rest voltages around it.

    ``C = efficiency * charge returned / change of state of charge``

    1. Charge returned: that of the taper's posterior, less what is left at the last reading; load,
       float current and meter are uncertain in it.
    2. Change of state of charge: both rest voltages on the curve. Of the curve's spread
       `COMMON_SHARE` is common to both and largely cancels; a completed taper ends near full.
    3. Efficiency of the chemistry with its spread. All three are independent.

    Parameters
    ----------
    readings : Readings or path
        Of the connection, from its start to the end of the taper.
    battery : Battery
    supply : Supply, optional
    rest_before_v, rest_after_v : float
        Rest voltage of the whole battery [V] before connection, and after the taper and at least
        the same rest.
    temp_c : float, optional
        Battery temperature [degC] where the readings hold none; else `REFERENCE_TEMP_C`.
    load_a, load_sd_a : float, optional
        Bus load without the battery [A] and its standard error.
    on : date, optional
        Day of the connection; else that of the readings' time column.

    Returns
    -------
    InServiceCapacity

    Raises
    ------
    InputError
        Readings that cannot be used, or a rest voltage that cannot be the battery's.
    FitError
        The taper is not completed, the readings may be of two connections, the state of charge
        changed too little to tell, or the chemistry's current is no exponential taper.
    """
    _check_tapers(battery)
    _check_rests(battery, rest_before_v, rest_after_v)
    if not isinstance(readings, Readings):
        readings = read_readings(readings)
    temps = battery_temps(readings, temp_c)
    fit = connection_fit(readings, battery, supply, temps, load_a=load_a, load_sd_a=load_sd_a)
    return in_service_of_fit(
        fit, readings, battery, temps, rest_before_v=rest_before_v, rest_after_v=rest_after_v, on=on
    )


def battery_temps(readings: Readings, temp_c: float | None) -> BatteryTemps:
    """Battery temperatures of a connection, those of its readings before one that was told.

    A rest is as warm as the first or last `AT_AN_END` of them, by their median; the taper counts
    by the median of all.

    Parameters
    ----------
    readings : Readings
        Temperatures that look mistyped are left out.
    temp_c : float or None
        Told temperature [degC], for readings that hold none.

    Returns
    -------
    BatteryTemps
    """
    _, read = readings.battery_temps(but=slip_mask(readings, ("battery_temp_c",)))
    if not read.size:
        return BatteryTemps(temp_c, temp_c, temp_c)
    first, last = read[:AT_AN_END], read[-AT_AN_END:]
    return BatteryTemps(*(float(np.median(some)) for some in (first, read, last)))


def connection_fit(
    readings: Readings,
    battery: Battery,
    supply: Supply | None,
    temps: BatteryTemps,
    *,
    load_a: float | None = None,
    load_sd_a: float = LOAD_SD_A,
) -> TaperFit:
    """The fit of a connection's taper from which its capacity in service is read.

    Parameters
    ----------
    readings : Readings
    battery : Battery
    supply : Supply or None
    temps : BatteryTemps
        See `battery_temps`.
    load_a, load_sd_a : float, optional
        Bus load without the battery [A] and its standard error.

    Returns
    -------
    TaperFit

    Raises
    ------
    FitError
        Too few readings at constant voltage.
    """
    signal = signal_from(readings, supply, load_a, load_sd_a)
    temp_c = None if temps.taper_c is None else within_data_c(temps.taper_c)
    return fit_taper(signal, prior_for(battery, temp_c))


def in_service_of_fit(
    fit: TaperFit,
    readings: Readings,
    battery: Battery,
    temps: BatteryTemps,
    *,
    rest_before_v: float,
    rest_after_v: float,
    on: date | None = None,
) -> InServiceCapacity:
    """`in_service_capacity` of a connection that is fitted already.

    Parameters
    ----------
    fit : TaperFit
        See `connection_fit`.
    readings : Readings
        Those of the fit; their day and notes are read.
    battery : Battery
    temps : BatteryTemps
    rest_before_v, rest_after_v : float
        Rest voltage of the whole battery [V].
    on : date, optional
        Day of the connection; else that of the readings' time column.

    Returns
    -------
    InServiceCapacity

    Raises
    ------
    InputError
        A rest voltage that cannot be the battery's.
    FitError
        As `in_service_capacity`.
    """
    _check_tapers(battery)
    _check_rests(battery, rest_before_v, rest_after_v)
    _check_one(readings)
    posterior = charge_posterior(fit)
    if not is_complete(fit, posterior):
        raise FitError(
            "the taper is not completed, or too little charge returned: read on until the current "
            "no longer falls, after a connection that starts lower"
        )
    change = _change(battery, rest_before_v, rest_after_v, temps)
    _check_tells(change, battery)
    on = on or (readings.started_at.date() if readings.started_at else None)
    notes = readings.notes if temps.before_c is not None else (*readings.notes, NO_TEMPERATURE)
    found = _estimate(battery, *_returned(posterior), change, on, notes)
    warmth = {"temp_before_c": temps.before_c, "temp_after_c": temps.after_c}
    return found.model_copy(update=warmth)


def _check_one(readings: Readings) -> None:
    if starts := starts_anew(readings):
        raise FitError(
            f"the current falls anew at {readings.elapsed_s[starts[0]]:.0f} s, as in a second "
            "connection: the readings of one tell its capacity; if a load was switched in the "
            "pause, say so as an event there"
        )


def _check_tapers(battery: Battery) -> None:
    chemistry = data_for(battery.chemistry)
    if not chemistry.taper.exponential:
        raise FitError(
            f"the current of a {chemistry.label} battery is no exponential taper: a connection "
            "cannot tell its capacity, use a capacity check"
        )


def _check_rests(battery: Battery, before_v: float, after_v: float) -> None:
    check_rest_voltage(battery, before_v, "rest_voltage_v", "rest voltage before connection")
    check_rest_voltage(battery, after_v, "rest_after_v", REST_AFTER)


def _returned(posterior: ChargePosterior) -> tuple[np.ndarray, np.ndarray]:
    """Charge returned until the last reading [Ah] and its probability, shape ``(p,)``."""
    node, at, weight = posterior.pairs()
    left = posterior.charge_at_ah(posterior.window_end_s, node, at)
    return posterior.charge_ah[at] - left, weight


def _change(battery: Battery, before_v: float, after_v: float, temps: BatteryTemps) -> _Change:
    curves = [_rest_curve_v(battery, temp_c) for temp_c in (temps.before_c, temps.after_c)]
    spread = battery.cells * data_for(battery.chemistry).rest.sd_v
    own_sd = float(np.hypot(np.sqrt(1.0 - COMMON_SHARE) * spread, VOLTMETER_SD_V))
    likely_after = np.exp(-0.5 * ((SOC_GRID - FULL_SOC) / FULL_SOC_SD) ** 2)
    total = np.zeros((SOC_GRID.size, SOC_GRID.size))
    for z in ndtri((np.arange(_NODES) + 0.5) / _NODES):
        shift = np.sqrt(COMMON_SHARE) * spread * z
        before, after = (
            np.exp(-0.5 * ((min(volts - shift, curve[-1]) - curve) / own_sd) ** 2)
            for volts, curve in zip((before_v, after_v), curves, strict=True)
        )
        total += np.outer(before, after * likely_after)
    total[SOC_GRID[None, :] <= SOC_GRID[:, None]] = 0.0
    if total.sum() <= 0.0:
        raise FitError(
            f"rest voltages of {before_v:g} V before and {after_v:g} V after do not fit a battery "
            "that was charged in between: check both"
        )
    return _Change((total / total.sum()).ravel())


def _rest_curve_v(battery: Battery, temp_c: float | None) -> np.ndarray:
    """Rest voltage [V] on `SOC_GRID`."""
    at_c = REFERENCE_TEMP_C if temp_c is None else within_data_c(temp_c)
    return np.asarray(rest_voltage_v(battery, SOC_GRID, at_c))


def _check_tells(change: _Change, battery: Battery) -> None:
    mean = float(change.rise @ change.probability)
    sd = float(np.sqrt(change.probability @ (change.rise - mean) ** 2))
    if mean < LEAST_CHANGE or sd > MOST_CHANGE_REL_SD * mean:
        remark = data_for(battery.chemistry).rest_voltage_remark
        raise FitError(
            f"the state of charge changed by {100 * mean:.0f} ± {100 * sd:.0f} points by its rest "
            "voltages, too little to tell a capacity"
            + (f" ({remark})" if remark else "")
            + ": use a connection that starts lower, or a capacity check"
        )


def _estimate(
    battery: Battery,
    charge_ah: np.ndarray,
    charge_weight: np.ndarray,
    change: _Change,
    on: date | None,
    notes: tuple[str, ...],
) -> InServiceCapacity:
    taper = data_for(battery.chemistry).taper
    z = ndtri((np.arange(_EFFICIENCY_NODES) + 0.5) / _EFFICIENCY_NODES)
    efficiency_rel_sd = taper.efficiency_sd / taper.efficiency
    efficiency = taper.efficiency * np.exp(np.hypot(efficiency_rel_sd, TAPER_REL_SD) * z)
    charge, weight = _thinned(charge_ah, charge_weight)
    rise, rise_weight = _thinned(change.rise, change.probability)
    capacity = efficiency[:, None, None] * charge[None, :, None] / rise[None, None, :]
    together = np.ones(efficiency.size)[:, None, None] / efficiency.size
    together = together * weight[None, :, None] * rise_weight[None, None, :]
    found = weighted_interval(capacity, together)
    middle = float(np.exp((together * np.log(capacity)).sum()))
    found = found.model_copy(update={"mean": middle})
    rated = battery.rated_capacity_ah
    return InServiceCapacity(
        tail=battery.tail,
        on=on,
        capacity_ah=found,
        capacity_sd_ah=found.sd,
        percent_of_rated=found.scaled(100.0 / rated),
        charge_returned_ah=weighted_interval(charge, weight),
        soc_before=weighted_interval(change.before, change.probability),
        soc_change=weighted_interval(rise, rise_weight),
        rel_sd_by_cause={
            "change of state of charge": _rel_sd(rise, rise_weight),
            "charge returned": _rel_sd(charge, weight),
            "shape of the taper": TAPER_REL_SD,
            "efficiency": efficiency_rel_sd,
        },
        notes=(*notes, NO_SUBSTITUTE),
    )


def _thinned(values: np.ndarray, weight: np.ndarray, most: int = 200) -> tuple[np.ndarray, ...]:
    """The distribution gathered into at most so many equal steps of its values; empty ones out."""
    kept = weight > 1e-9 * weight.max()
    values, weight = values[kept], weight[kept]
    edges = np.linspace(values.min(), values.max() + 1e-9, most + 1)
    step = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, most - 1)
    total = np.bincount(step, weight, most)
    mean = np.bincount(step, weight * values, most)
    full = total > 0.0
    return mean[full] / total[full], total[full] / total.sum()


def _rel_sd(values: np.ndarray, weight: np.ndarray) -> float:
    mean = float(weight @ values)
    return float(np.sqrt(weight @ (values - mean) ** 2)) / mean
