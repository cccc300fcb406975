"""The load of a task against every limit of its supply, and what of it can run."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from math import hypot

import numpy as np

from batterymodel.basis.arrays import BoolArray
from batterymodel.basis.intervals import LEVEL, LEVEL_SD, Interval, interval_around
from batterymodel.basis.meters import PANEL_AMMETER_SD_A
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.case import Told
from batterymodel.budget.demand import columns
from batterymodel.budget.results import Capability, OutputLimit, Part, Room
from batterymodel.budget.selection import ROUNDING_A, Ceiling, Choice, most_kept
from batterymodel.reference.supply import LONG_LOAD_MINUTES

LONGEST_WAIT_MINUTES = 6 * 60
"""Longest wait for the battery's draw to fall that is proposed [min] (own choice)."""

NO_DRAW = Interval(mean=0.0, low=0.0, high=0.0, level=LEVEL)


def must_run(told: Told) -> BoolArray:
    """Which consumers run whatever else is left off.

    Parameters
    ----------
    told : Told

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    return np.array([part in (Part.NEEDED, Part.STAYS_ON) for part in told.parts], dtype=bool)


def ceiling_of(told: Told, limit: OutputLimit, battery: BatteryNow | None) -> Ceiling:
    """One limit as the choice of consumers takes it.

    Fixed are the battery's draw, now or its mean over the first three hours at most, and the
    spreads of battery, of the supply's ammeter and of the limit.

    Parameters
    ----------
    told : Told
    limit : OutputLimit
    battery : BatteryNow, optional

    Returns
    -------
    Ceiling
    """
    means_a, sds_a = columns(told.loads.consumers, told.task.minutes, limit.over_hours)
    draw = _draw(battery, limit, told.task.minutes)
    return Ceiling(
        means_a=means_a,
        sds_a=sds_a,
        fixed_a=draw.mean,
        fixed_sd_a=hypot(draw.sd, PANEL_AMMETER_SD_A, limit.sd_a),
        limit_a=limit.limit_a,
    )


def choice_of(told: Told, capability: Capability) -> Choice:
    """Which consumers run: the fewest left off, the least needed first.

    Parameters
    ----------
    told : Told
    capability : Capability

    Returns
    -------
    Choice
    """
    ceilings = _ceilings(told, capability, told.battery)
    return most_kept(ceilings, must_run(told), told.wants)


def room_of(told: Told, limit: OutputLimit, runs: BoolArray) -> Room:
    """What one limit leaves beside those that run.

    Parameters
    ----------
    told : Told
    limit : OutputLimit
    runs : ndarray of bool, shape (n,)

    Returns
    -------
    Room
    """
    ceiling = ceiling_of(told, limit, told.battery)
    mean_a = float(runs @ ceiling.means_a) + ceiling.fixed_a
    sd_a = np.sqrt(max(ceiling.load_sd_a(runs) ** 2 - limit.sd_a**2, 0.0))
    excess_a = ceiling.excess_a(runs)
    excess_a = 0.0 if abs(excess_a) <= ROUNDING_A else excess_a  # as `Choice.fits` has it
    return Room(
        name=limit.name,
        limit_a=limit.limit_a,
        load_a=interval_around(mean_a, float(sd_a), least=0.0),
        with_margin_a=limit.limit_a + excess_a,
        spare_a=-excess_a,
    )


def settled_of(told: Told, capability: Capability) -> tuple[Choice, Room] | None:
    """What would run, and the limit that leaves least, once the battery's draw has fallen.

    Parameters
    ----------
    told : Told
    capability : Capability

    Returns
    -------
    choice, room : Choice, Room, or None
        None where the supply is not at its limit now.
    """
    if told.battery is None or not told.battery.at_limit:
        return None
    then = replace(told, battery=told.battery.settled())
    choice = choice_of(then, capability)
    rooms = (room_of(then, one, choice.runs) for one in capability.limits if one.applies)
    return choice, min(rooms, key=lambda room: room.spare_a)


def wait_minutes(told: Told, capability: Capability) -> Interval | None:
    """Minutes until all that is needed and wanted fits, as the battery's draw falls.

    Parameters
    ----------
    told : Told
    capability : Capability

    Returns
    -------
    Interval or None
        Whole minutes [min], with the time constant as it is believed and at both ends of its
        interval, none above `LONGEST_WAIT_MINUTES`; None where it fits now, or not within that.
    """
    battery = told.battery
    if battery is None or battery.time_constant_s is None or battery.at_limit:
        return None
    reach = LEVEL_SD * battery.time_constant_log_sd
    mean, low, high = (
        _wait(told, capability, replace(battery, time_constant_s=battery.time_constant_s * by))
        for by in np.exp((0.0, -reach, reach))
    )
    if mean is None:
        return None
    return Interval(
        mean=mean,
        low=mean if low is None else low,
        high=LONGEST_WAIT_MINUTES if high is None else high,
        level=LEVEL,
    )


def _wait(told: Told, capability: Capability, battery: BatteryNow) -> float | None:
    everything = must_run(told)
    everything[list(told.wants)] = True

    def fits(minutes: float) -> bool:
        ceilings = _ceilings(told, capability, battery.later(minutes))
        return all(ceiling.excess_a(everything) <= ROUNDING_A for ceiling in ceilings)

    if fits(0.0) or not fits(LONGEST_WAIT_MINUTES):
        return None
    return float(_first_true(fits, LONGEST_WAIT_MINUTES))


def _first_true(fits: Callable[[float], bool], most: int) -> int:
    """The first whole number up to `most` from which on it is true."""
    low, high = 0, most
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if fits(middle) else (middle, high)
    return high


def _ceilings(
    told: Told, capability: Capability, battery: BatteryNow | None
) -> tuple[Ceiling, ...]:
    applying = (limit for limit in capability.limits if limit.applies)
    return tuple(ceiling_of(told, limit, battery) for limit in applying)


def _draw(battery: BatteryNow | None, limit: OutputLimit, minutes: float) -> Interval:
    if battery is None:
        return NO_DRAW
    if not limit.over_hours:
        return battery.current_a
    return battery.average_a(min(minutes, LONG_LOAD_MINUTES))
