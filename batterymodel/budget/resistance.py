"""Resistance of the battery with its leads, and of the supply, from load steps of a connection.

The voltage of the readings (``supply_voltage_v``) is the supply's own meter's, at its terminals:
the cable comes between it and the bus, in every function here.

A load step moves the bus voltage and the battery's current together; their ratio is what the
battery shows within some seconds. What is generic for the chemistry and capacity counts beside it,
so that a step too small to tell anything changes nothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot

import numpy as np
from scipy.special import logsumexp

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.basis.intervals import Interval, weighted_interval
from batterymodel.budget.learning import measured_steps
from batterymodel.budget.steps import StepSize, step_size
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, RESISTANCE_LOG_SD, data_for
from batterymodel.reference.resistance_growth import ResistanceGrowth
from batterymodel.reference.temperature import resistance_factor, within_data_c
from batterymodel.reference.wiring import cable_ohm
from batterymodel.taper.signals import meter_resolution_a, reading_sigma_a

LEADS_OHM, LEADS_LOG_SD = 0.005, 0.9
"""Leads, joints and contactor between battery and bus [ohm], and the spread of the logarithm
(common practice, no source)."""

SUPPLY_OHM, SUPPLY_LOG_SD = 0.002, 1.0
"""Fall of a supply's voltage at its own terminals with its current [ohm], and the spread of the
logarithm (common practice, no source: a tenth of a volt at 60 A)."""

UNTOLD_CABLE_OHM, UNTOLD_CABLE_LOG_SD = 0.006, 0.9
"""Resistance of a cable that nobody told, out and return [ohm], and the spread of the logarithm
(own choice: 6 m of gauge 2 have 6.2 mohm by `reference.wiring`)."""

CABLE_LOG_SD = 0.2
"""Spread of the logarithm of a told cable's resistance with its plugs and clamps, as a start meets
them [ln] (own choice: contacts wear; `reference.wiring.CABLE_REL_SD` is of clean ones)."""

TEMP_LOG_SD = 0.25
"""Part of the log of the temperature's factor by which it may be wrong [-] (own choice)."""

CHARGING_LOG, CHARGING_LOG_SD = 0.45, 0.8
"""Log by which a step between two charging currents shows more than the battery's resistance when
it gives current, and its spread [ln] (own choice: near the end of charge a battery takes little
more for a higher voltage; circuits of `tests.benchmarks.sickbay` show 0.9 to 5 times, median
1.6)."""

GIVING_LOG_SD = 0.1
"""Spread of the log of what a step with the battery giving current shows [ln] (own choice: how much
of the slower part has come by the next readings)."""

LEAST_STEP_A = 0.5
"""Change of the current from which on a step tells a resistance [A] (own choice)."""

CLEAR_SIGMAS = 2.0
"""Errors of a change of the current that it is at least [-] (own choice)."""

NEAR_LIMIT = 0.97
"""Share of its limit from which on the supply counts as at it [-] (own choice)."""

NEAR_S = 15.0
"""Time beside a step that is looked at for the limit and for the sign of the battery's current [s]
(own choice)."""

LEAST_VOLT_READINGS = 4
"""Readings with a voltage from which on steps are looked for (own choice)."""

NARROWED = 0.8
"""Spread over that of the generic value above which the estimate still counts as generic [-] (own
choice)."""

LOG_REACH, LOG_POINTS = 4.5, 901
"""Reach of the grid of logarithms to each side of the generic value [ln], and its points (own
choice, numerical)."""


SPREAD_REACH, SPREAD_POINTS = 3.0, 25
"""Standard deviations to each side that the factor of a step is summed over, and its points (own
choice, numerical)."""


SOUND_AND_FULL = ResistanceGrowth()


@dataclass(frozen=True)
class Resistance:
    """A resistance [ohm] with its interval, as a log-normal quantity too.

    ``median_ohm`` and ``log_sd`` are those of the logarithm; ``steps`` is how many load steps it
    rests on; ``generic`` where they hardly narrowed what is believed of any.
    """

    ohm: Interval
    median_ohm: float
    log_sd: float
    steps: int
    generic: bool


@dataclass(frozen=True)
class VoltageStep:
    """What one load step showed: change of the voltage [V] and of the current [A], with errors.

    Signs are such that a plain resistance makes their ratio positive. ``giving``: the battery gave
    current on both sides of the step; else it charged on both.
    """

    volts: StepSize
    amperes: StepSize
    giving: bool = True


def generic_resistance(
    battery: Battery, temp_c: float | None = None, growth: ResistanceGrowth = SOUND_AND_FULL
) -> Resistance:
    """What is believed of a battery's resistance with its leads before any step.

    ``cells r / C exp(k (T - 25) + g) + leads``, with ``r`` of the chemistry
    (`ChemistryData.resistance_vh`) and ``g`` the growth; log-normal with the spreads of all parts
    together.

    Parameters
    ----------
    battery : Battery
    temp_c : float, optional
        Battery temperature [degC]; outside the data the nearest inside, none: the reference.
    growth : ResistanceGrowth
        By low charge and wear (`reference.resistance_growth`).

    Returns
    -------
    Resistance

    References
    ----------
    Common practice, no source, for ``r``, growth, leads and spreads.
    """
    data = data_for(battery.chemistry)
    at_c = within_data_c(REFERENCE_TEMP_C if temp_c is None else temp_c)
    factor = float(resistance_factor(battery.chemistry, at_c))
    sound = battery.cells * data.resistance_vh.value / battery.rated_capacity_ah
    inner = sound * factor * np.exp(growth.log)
    inner_sd = inner * hypot(RESISTANCE_LOG_SD, TEMP_LOG_SD * np.log(factor), growth.log_sd)
    leads_sd = LEADS_OHM * LEADS_LOG_SD
    log_sd = float(np.hypot(inner_sd, leads_sd) / (inner + LEADS_OHM))
    return _log_normal(inner + LEADS_OHM, log_sd)


def generic_supply_resistance() -> Resistance:
    """What is believed of the fall of a supply's voltage at its terminals before any step.

    Returns
    -------
    Resistance
    """
    return _log_normal(SUPPLY_OHM, SUPPLY_LOG_SD)


def cable_resistance(supply: Supply | None = None) -> Resistance:
    """What is believed of the resistance between the supply's terminals and the bus.

    Parameters
    ----------
    supply : Supply, optional
        With its cable by length and cross-section; else `UNTOLD_CABLE_OHM`.

    Returns
    -------
    Resistance
    """
    if supply is None or supply.cable is None:
        return _log_normal(UNTOLD_CABLE_OHM, UNTOLD_CABLE_LOG_SD)
    return _log_normal(cable_ohm(supply.cable), CABLE_LOG_SD)


def line_resistance(supply: Supply, readings: Readings | None = None) -> Resistance:
    """Resistance between the supply's set voltage and the bus: its own fall, and the cable.

    Parameters
    ----------
    supply : Supply
    readings : Readings, optional
        Their load steps tell the supply's own fall (`supply_resistance`).

    Returns
    -------
    Resistance
        Medians added, and the variances of both.
    """
    own = generic_supply_resistance() if readings is None else supply_resistance(readings, supply)
    cable = cable_resistance(supply)
    median = own.median_ohm + cable.median_ohm
    sd = float(np.hypot(own.median_ohm * own.log_sd, cable.median_ohm * cable.log_sd))
    return replace(_log_normal(median, sd / median), steps=own.steps)


def battery_resistance(
    readings: Readings,
    battery: Battery,
    supply: Supply | None = None,
    temp_c: float | None = None,
    growth: ResistanceGrowth = SOUND_AND_FULL,
) -> Resistance:
    """Resistance of a battery with its leads from a connection's load steps, else generic.

    Parameters
    ----------
    readings : Readings
        Tell something where they have voltages, and a clamp on the battery lead or the supply at
        its limit beside a load column.
    battery : Battery
    supply : Supply, optional
        Gives the current at which the supply limits, and the cable between its meter and the bus.
    temp_c : float, optional
        Battery temperature [degC].
    growth : ResistanceGrowth
        By low charge and wear, of what is believed before any step.

    Returns
    -------
    Resistance
    """
    return combined(generic_resistance(battery, temp_c, growth), battery_steps(readings, supply))


def supply_resistance(readings: Readings, supply: Supply | None = None) -> Resistance:
    """Fall of the supply's voltage at its terminals with its current, from load steps.

    Parameters
    ----------
    readings : Readings
        Tell something where they have voltages.
    supply : Supply, optional
        Gives the current at which the supply limits; there its voltage tells nothing of this.

    Returns
    -------
    Resistance
        Without the cable, which comes after the meter.
    """
    return combined(generic_supply_resistance(), supply_steps(readings, supply))


def combined(generic: Resistance, steps: Sequence[VoltageStep]) -> Resistance:
    """Generic belief and steps together, on a grid of the logarithm.

    The probability of ``R`` is the log-normal belief times the normal densities of
    ``dV - m R dI`` with variance ``s_V**2 + (m R s_I)**2``, summed over what the steps may show
    beyond the resistance, ``m`` (`CHARGING_LOG`, `GIVING_LOG_SD`), which is one for all steps of
    a kind.

    Parameters
    ----------
    generic : Resistance
    steps : sequence of VoltageStep

    Returns
    -------
    Resistance
        The generic one where there is no step.
    """
    if not steps:
        return generic
    log_ohm = np.log(generic.median_ohm) + np.linspace(-LOG_REACH, LOG_REACH, LOG_POINTS)
    log_weight = -0.5 * ((log_ohm - np.log(generic.median_ohm)) / generic.log_sd) ** 2
    for giving in (True, False):
        kind = [step for step in steps if step.giving is giving]
        if kind:
            log_weight = log_weight + _log_likelihood(kind, np.exp(log_ohm))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean_log = float(weight @ log_ohm)
    log_sd = float(np.sqrt(weight @ (log_ohm - mean_log) ** 2))
    log_sd = max(log_sd, 2.0 * LOG_REACH / (LOG_POINTS - 1))  # no finer than the grid
    return Resistance(
        ohm=weighted_interval(np.exp(log_ohm), weight),
        median_ohm=float(np.exp(mean_log)),
        log_sd=log_sd,
        steps=len(steps),
        generic=log_sd > NARROWED * generic.log_sd,
    )


def _log_likelihood(steps: list[VoltageStep], ohm: FloatArray) -> FloatArray:
    """Log of the probability density of steps of one kind at each resistance, shape of ``ohm``."""
    shift, spread = (0.0, GIVING_LOG_SD) if steps[0].giving else (CHARGING_LOG, CHARGING_LOG_SD)
    nodes = np.linspace(-SPREAD_REACH, SPREAD_REACH, SPREAD_POINTS)
    times = np.exp(shift + spread * nodes)[:, None] * ohm
    total = np.repeat(-0.5 * nodes[:, None] ** 2, ohm.size, axis=1)
    for step in steps:
        variance = step.volts.sd**2 + (times * step.amperes.sd) ** 2
        off_v = step.volts.size - times * step.amperes.size
        total -= 0.5 * (off_v**2 / variance + np.log(variance))
    return np.asarray(logsumexp(total, axis=0))


def battery_steps(readings: Readings, supply: Supply | None = None) -> tuple[VoltageStep, ...]:
    """Steps of the bus voltage and of the battery's current in a connection's readings.

    The battery's current is the clamp's, else what the supply gives beyond a load column. The
    bus voltage is the supply's less what the cable takes, whose error grows with the step of the
    supply's current; at its limit there is none.

    Parameters
    ----------
    readings : Readings
    supply : Supply, optional
        With its cable; without, one that nobody told (`cable_resistance`).

    Returns
    -------
    tuple of VoltageStep
        Those of at least `LEAST_STEP_A`; none without voltages or battery current. A step over
        which the battery changes from charging to giving shows the overvoltage of charging and no
        resistance; it is left out.
    """
    battery_a, volts = _battery_a(readings), _volts(readings)
    if battery_a is None or volts is None:
        return ()
    cable, supply_a = cable_resistance(supply), readings.supply_current_a
    volts = volts - cable.median_ohm * supply_a
    told = []
    for at_s, (by_v, by_a, cable_a) in _all(readings, supply, (volts, battery_a, supply_a)):
        near_a = battery_a[_near(readings, at_s) & np.isfinite(battery_a)]
        giving, charging = (near_a < -LEAST_STEP_A).all(), (near_a > 0.0).all()
        if _is_clear(by_a) and (giving or charging):
            sd_v = float(np.hypot(by_v.sd, cable.median_ohm * cable.log_sd * cable_a.size))
            told.append(VoltageStep(StepSize(by_v.size, sd_v), by_a, bool(giving)))
    return tuple(told)


def supply_steps(readings: Readings, supply: Supply | None = None) -> tuple[VoltageStep, ...]:
    """Steps of the voltage against the supply's current, below its limit.

    Parameters
    ----------
    readings : Readings
    supply : Supply, optional

    Returns
    -------
    tuple of VoltageStep
        Those of at least `LEAST_STEP_A`; none without voltages.
    """
    volts, supply_a = _volts(readings), readings.supply_current_a
    if volts is None:
        return ()
    limit_a = np.inf if supply is None else NEAR_LIMIT * supply.rated_current_a
    return tuple(
        VoltageStep(StepSize(-by_v.size, by_v.sd), by_a)
        for at_s, (by_v, by_a) in _all(readings, supply, (volts, supply_a))
        if _is_clear(by_a) and (supply_a[_near(readings, at_s)] < limit_a).all()
    )


def _is_clear(by_a: StepSize) -> bool:
    return abs(by_a.size) >= max(LEAST_STEP_A, CLEAR_SIGMAS * by_a.sd)


def _near(readings: Readings, at_s: float) -> BoolArray:
    return np.asarray(np.abs(readings.elapsed_s - at_s) <= NEAR_S)


def _battery_a(readings: Readings) -> FloatArray | None:
    """Current into the battery [A]; None where no meter tells it."""
    if readings.battery_current_a is not None:
        return readings.battery_current_a
    if readings.load_a is not None:
        return np.asarray(readings.supply_current_a - readings.load_a)
    return None


def _volts(readings: Readings) -> FloatArray | None:
    """Voltages as read [V]; None where there are too few."""
    volts = readings.supply_voltage_v
    if volts is None or int(np.isfinite(volts).sum()) < LEAST_VOLT_READINGS:
        return None
    return volts


def _all(
    readings: Readings, supply: Supply | None, columns: tuple[FloatArray, ...]
) -> list[tuple[float, list[StepSize]]]:
    """Time and step of each column, at each load step of the readings that all of them show."""
    steps = measured_steps(readings, supply)
    at = [step.elapsed_s for step in steps]
    errors = [_error(values) for values in columns]
    found = []
    for at_s in at:
        others = tuple(s for s in at if s != at_s)
        sizes = [
            step_size(readings.elapsed_s, values, at_s, sigma, others)
            for values, sigma in zip(columns, errors, strict=True)
        ]
        told = [size for size in sizes if size is not None]
        if len(told) == len(columns):
            found.append((at_s, told))
    return found


def _error(values: FloatArray) -> float:
    """Error of one reading of a column, its rounding included."""
    seen = values[np.isfinite(values)]
    return reading_sigma_a(seen, meter_resolution_a(seen)) if seen.size else 0.0


def _log_normal(median: float, log_sd: float) -> Resistance:
    nodes = np.linspace(-4.0, 4.0, LOG_POINTS)
    weight = np.exp(-0.5 * nodes**2)
    ohm = weighted_interval(median * np.exp(log_sd * nodes), weight / weight.sum())
    return Resistance(ohm, median, log_sd, 0, True)
