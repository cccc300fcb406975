"""How long a task lasts on the battery alone, what it takes, and what that does to the battery.

The battery runs until the reserve for the start is left, or until its voltage falls to the least
the bus may have, whichever comes first. Charge, capacity, temperature, load and the law of the
discharge are each known with an error; possible batteries are drawn from what is known and
discharged all at once.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from functools import cache

import numpy as np
from scipy.special import ndtri
from scipy.stats import qmc

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import Interval, sample_interval
from batterymodel.budget.resistance import Resistance, generic_resistance
from batterymodel.capacity.correction import temperature_correction
from batterymodel.capacity.peukert import peukert_hours
from batterymodel.errors import InputError
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import (
    PEUKERT_DEVIATION_SD,
    RATED_HOURS,
    capacity_data_for,
)
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.limits import limit_for
from batterymodel.reference.temperature import rest_voltage_v, within_data_c

BATTERIES = 1024
"""Batteries drawn for one task, a power of two [-] (own choice)."""

LEAST_CAPACITY_SHARE = 0.02
"""Least capacity of a drawn battery over its plate [-] (own choice, numerical)."""

LONG_DROP_LOG, LONG_DROP_LOG_SD = 0.4, 0.3
"""Log by which minutes of discharge show more resistance than a step within a second, and its
spread [ln] (own choice: half as much again for the acid or the ions that have to move up)."""

LAW_REL_SD = 0.06
"""Error of the charge a battery gives because discharges follow other laws than Peukert's, relative
[-] (own choice, settled beside the two wells of `tests.budget.two_wells`)."""

SLOWEST_HOURS = 20.0
"""Hours at the rated charge over a current from which on a smaller current brings no more charge
[h] (own choice: twenty hours are the slowest rate that tables give; Peukert's law would go on)."""

SOC_POINTS = 201
"""Points of the rest voltage over the state of charge (own choice, numerical)."""

LEAST_LOAD_A = 1e-3
"""Load below which a battery is taken to last without end [A] (own choice, numerical)."""

MOST_MINUTES = 7.0 * 24.0 * 60.0
"""Longest time that is told [min] (own choice: a week)."""

SHALLOW_DEPTH, DEEP_DEPTH = 0.10, 0.50
"""Depths of discharge below which a discharge is shallow, and from which on it is deep [-] (common
practice, no source)."""


class StoppedBy(StrEnum):
    """What ends the time on the battery alone."""

    RESERVE = "reserve"
    LEAST_VOLTAGE = "least_voltage"


class WearGrade(StrEnum):
    """How a discharge bears on the battery, gravest last."""

    SHALLOW = "shallow"
    MARKED = "marked"
    BELOW_TOP_OFF = "below_top_off"
    DEEP = "deep"


@dataclass(frozen=True)
class LoadProfile:
    """The load of a task: ``load_a`` in each of its parts of ``minutes``, one after another.

    ``rel_sd`` is the standard deviation of all of them together, relative. After its end the task
    is taken to go on with its mean load. ``at_once_a`` is the highest current that the voltage has
    to bear in any part, where ``load_a`` is a mean of consumers that come and go.
    """

    minutes: tuple[float, ...]
    load_a: tuple[float, ...]
    rel_sd: float = 0.05
    at_once_a: float = 0.0

    def __post_init__(self) -> None:
        """Refuse a load that is none."""
        if not self.minutes or len(self.minutes) != len(self.load_a):
            raise InputError(
                f"a task of {len(self.minutes)} times and {len(self.load_a)} loads: one load for "
                "each time, at least one, would be right"
            )
        if not (min(self.minutes) > 0.0 and min(self.load_a) >= 0.0):
            raise InputError(
                f"a part of the task of {min(self.minutes):g} min with {min(self.load_a):g} A: "
                "more than 0 min and no negative load would be right"
            )

    @property
    def length_min(self) -> float:
        """Length of the task [min]."""
        return float(sum(self.minutes))

    @property
    def charge_ah(self) -> float:
        """Charge the task takes [Ah]."""
        return float(np.dot(self.minutes, self.load_a)) / 60.0


@dataclass(frozen=True)
class BatteryAlone:
    """What is known of the battery at the start: charge [0..1], capacity [Ah], temperature [degC].

    ``capacity_ah`` is at the rated rate and the reference temperature, without a temperature the
    reference is taken with its error. Without a resistance the generic one is.
    """

    battery: Battery
    soc: float
    soc_sd: float
    capacity_ah: float
    capacity_sd_ah: float
    temp_c: float | None = None
    resistance: Resistance | None = None

    def __post_init__(self) -> None:
        """Refuse a battery that cannot be."""
        if not 0.0 <= self.soc <= 1.0:
            raise InputError(f"a state of charge of {self.soc:g}: 0 to 1 would be right")
        if not self.capacity_ah > 0.0:
            raise InputError(f"a capacity of {self.capacity_ah:g} Ah: more than 0 would be right")


@dataclass(frozen=True)
class Wear:
    """What the task takes of the battery's life.

    ``depth`` is the charge it takes over what the battery holds; ``chance_below_top_off`` the
    probability that the charge left is below what may be topped off in place; ``capacity_lost`` the
    fraction of the rated capacity that the discharge costs (`FadePrior.per_cycle` times the depth).
    """

    grade: WearGrade
    depth: Interval
    chance_below_top_off: float
    capacity_lost: Interval


@dataclass(frozen=True)
class Endurance:
    """How long the battery lasts, and how it stands after the task.

    ``minutes`` until the reserve or the least voltage is reached, ``stopped_by`` the likelier of
    both; ``chance_enough`` the probability that the task is done before. ``charge_ah`` is what the
    whole task takes and ``soc_after`` the state of charge after it, where it is done.
    """

    minutes: Interval
    stopped_by: StoppedBy
    chance_enough: float
    charge_ah: Interval
    soc_after: Interval
    wear: Wear


@dataclass(frozen=True)
class DrawnBatteries:
    """Equally likely batteries, arrays of shape ``(n,)``.

    ``warm_ah`` is the capacity at the battery's temperature and the rated rate, ``exponent``
    Peukert's, ``drop_ohm`` the resistance that minutes of load show, ``off_v`` how far the rest
    voltage lies off its curve, ``load_factor`` the load over what was said.
    """

    soc: FloatArray
    warm_ah: FloatArray
    exponent: FloatArray
    drop_ohm: FloatArray
    off_v: FloatArray
    load_factor: FloatArray


def endurance(
    load: LoadProfile,
    now: BatteryAlone,
    reserve_fraction: float,
    least_v: float | None = None,
) -> Endurance:
    """Minutes of a task on the battery alone until the reserve is left or the voltage too low.

    1. Draw batteries from what is known (`drawn_batteries`).
    2. Discharge each by the task's parts: the state of charge falls by ``dt / t(I)`` with Peukert's
       ``t``, until it is at the reserve or where ``rest voltage - R I`` is `least_v`.
    3. Read off time, charge and wear, each as mean and central interval.

    Parameters
    ----------
    load : LoadProfile
    now : BatteryAlone
    reserve_fraction : float
        Part of the capacity to keep for the start [0..1].
    least_v : float, optional
        Least voltage of the bus [V]; the battery's end voltage where none is given.

    Returns
    -------
    Endurance

    Raises
    ------
    InputError
        For a reserve outside 0 to 1.

    Notes
    -----
    Intervals are checked against discharges by another law in `tests.budget.test_endurance`.
    Currents below the rated one last longer by Peukert's law than by the plate; what its exponent
    may be wrong by grows with that, down to the current of `SLOWEST_HOURS`. The
    last tenth of the charge, where the voltage falls off, is not in the rest voltage: a least
    voltage above the battery's end voltage may then come sooner. A reserve keeps away from there.
    """
    if not 0.0 <= reserve_fraction <= 1.0:
        raise InputError(f"a reserve of {reserve_fraction:g}: 0 to 1 would be right")
    end_v = limit_for(now.battery, "end_voltage_v").value
    least = end_v if least_v is None else max(least_v, end_v)
    drawn = drawn_batteries(now, load.rel_sd)
    minutes, by_voltage = _minutes(load, now, drawn, reserve_fraction, least)
    used = _used(load, drawn)
    return Endurance(
        minutes=sample_interval(minutes),
        stopped_by=StoppedBy.LEAST_VOLTAGE if by_voltage.mean() > 0.5 else StoppedBy.RESERVE,
        chance_enough=float((minutes >= load.length_min).mean()),
        charge_ah=sample_interval(load.charge_ah * drawn.load_factor),
        soc_after=sample_interval(np.maximum(drawn.soc - used, 0.0)),
        wear=_wear(now.battery, drawn.soc, np.minimum(used, drawn.soc)),
    )


def drawn_batteries(now: BatteryAlone, load_rel_sd: float) -> DrawnBatteries:
    """Equally likely batteries of what is known.

    Parameters
    ----------
    now : BatteryAlone
    load_rel_sd : float
        Standard deviation of the load, relative.

    Returns
    -------
    DrawnBatteries
        `BATTERIES` of them; the same for the same arguments.

    References
    ----------
    Temperature: `capacity.correction.temperature_correction`; Peukert's exponent:
    `reference.capacity`.
    """
    z, data = _normal_draws(), capacity_data_for(now.battery.chemistry)
    at_c = None if now.temp_c is None else within_data_c(now.temp_c)
    correction = temperature_correction(at_c, now.battery)
    warm = now.capacity_ah + now.capacity_sd_ah * z[1]
    warm = np.maximum(warm, LEAST_CAPACITY_SHARE * now.battery.rated_capacity_ah)
    spread = np.hypot(data.peukert_exponent_sd, PEUKERT_DEVIATION_SD)
    ohm = now.resistance or generic_resistance(now.battery, now.temp_c)
    drop_log = LONG_DROP_LOG + np.hypot(ohm.log_sd, LONG_DROP_LOG_SD) * z[4]
    rest = data_for(now.battery.chemistry).rest
    return DrawnBatteries(
        soc=np.clip(now.soc + now.soc_sd * z[0], 0.0, 1.0),
        warm_ah=warm / correction.factor * np.exp(np.hypot(correction.rel_sd, LAW_REL_SD) * z[2]),
        exponent=data.peukert_exponent.value + spread * z[3],
        drop_ohm=ohm.median_ohm * np.exp(drop_log),
        off_v=now.battery.cells * rest.sd_v * z[5],
        load_factor=np.maximum(1.0 + load_rel_sd * z[6], 0.0),
    )


@cache
def _normal_draws() -> FloatArray:
    """Eight standard normal numbers for each battery, spread evenly, shape ``(8, BATTERIES)``."""
    points = qmc.Sobol(8, seed=2).random(BATTERIES)
    return np.asarray(ndtri(np.clip(points, 1e-6, 1.0 - 1e-6)).T)


def _per_hour(load_a: float, drawn: DrawnBatteries) -> FloatArray:
    """Fraction of its capacity that each battery gives in an hour at a load [1/h].

    One over Peukert's hours; below the current of `SLOWEST_HOURS` in proportion to the current.
    """
    current = np.maximum(load_a * drawn.load_factor, LEAST_LOAD_A)
    hours = peukert_hours(current, drawn.warm_ah, 1.0, RATED_HOURS)
    by_law = np.minimum(hours, SLOWEST_HOURS)
    slower = by_law / hours
    return np.asarray(slower / (RATED_HOURS * (by_law / RATED_HOURS) ** drawn.exponent))


def _used(load: LoadProfile, drawn: DrawnBatteries) -> FloatArray:
    """Fraction of its capacity that the whole task takes of each battery."""
    parts = zip(load.minutes, load.load_a, strict=True)
    return np.asarray(sum(minutes / 60.0 * _per_hour(a, drawn) for minutes, a in parts))


def _minutes(
    load: LoadProfile,
    now: BatteryAlone,
    drawn: DrawnBatteries,
    reserve_fraction: float,
    least_v: float,
) -> tuple[FloatArray, FloatArray]:
    """Minutes each battery lasts, and whether the voltage ended it (0 or 1)."""
    left, ran = drawn.soc.copy(), np.zeros(drawn.soc.size)
    by_voltage, stopped = np.zeros(drawn.soc.size), np.zeros(drawn.soc.size, dtype=bool)
    mean_a = 60.0 * load.charge_ah / load.length_min
    for part_min, load_a in (*zip(load.minutes, load.load_a, strict=True), (np.inf, mean_a)):
        low = _soc_at_voltage(now, drawn, max(load_a, load.at_once_a), least_v)
        floor = np.maximum(low, reserve_fraction)
        per_min = _per_hour(load_a, drawn) / 60.0
        can_min = np.maximum(left - floor, 0.0) / per_min
        ends = ~stopped & (can_min < part_min)
        ran = ran + np.where(stopped, 0.0, np.minimum(can_min, part_min))
        by_voltage = np.where(ends, low > reserve_fraction, by_voltage)
        stopped |= ends
        left = left - np.minimum(can_min, part_min) * per_min
    return np.minimum(ran, MOST_MINUTES), np.asarray(by_voltage, dtype=float)


def _soc_at_voltage(
    now: BatteryAlone, drawn: DrawnBatteries, load_a: float, least_v: float
) -> FloatArray:
    """State of charge at which each battery's voltage under the load is the least allowed.

    The least that has it, where the curve is level; 1 where the voltage is too low even when full,
    0 where it never is.
    """
    at_c = REFERENCE_TEMP_C if now.temp_c is None else within_data_c(now.temp_c)
    soc = np.linspace(0.0, 1.0, SOC_POINTS)
    curve = np.maximum.accumulate(rest_voltage_v(now.battery, soc, at_c))
    wanted = least_v - drawn.off_v + drawn.drop_ohm * load_a * drawn.load_factor
    return np.interp(wanted, curve, soc, left=0.0, right=1.0)


def _wear(battery: Battery, soc: FloatArray, used: FloatArray) -> Wear:
    """Depth, charge left and capacity lost of one discharge, graded on their means."""
    least = limit_for(battery, "min_top_off_soc").value
    chance_below = float((soc - used < least).mean())
    prior, z = capacity_data_for(battery.chemistry).fade, _normal_draws()[7]
    lost = np.maximum(prior.per_cycle + prior.per_cycle_sd * z, 0.0) * used
    return Wear(
        grade=_grade(float(used.mean()), chance_below),
        depth=sample_interval(used),
        chance_below_top_off=chance_below,
        capacity_lost=sample_interval(lost),
    )


def _grade(depth: float, chance_below_top_off: float) -> WearGrade:
    if depth >= DEEP_DEPTH:
        return WearGrade.DEEP
    if chance_below_top_off > 0.5:
        return WearGrade.BELOW_TOP_OFF
    return WearGrade.SHALLOW if depth < SHALLOW_DEPTH else WearGrade.MARKED
