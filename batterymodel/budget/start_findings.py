"""Rules of the budget about motors' starts, the battery alone, and currents that have grown."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

from batterymodel.basis.intervals import Interval
from batterymodel.budget.alone import reserve_of
from batterymodel.budget.case import BudgetCase
from batterymodel.budget.endurance import LEAST_LOAD_A, Endurance
from batterymodel.budget.learned import MORE
from batterymodel.budget.peaks import STARTING_REL_SD, Dip
from batterymodel.budget.results import OutputLimit, Start
from batterymodel.budget.selection import HELD, HELD_SD
from batterymodel.budget.wording import (
    DEPTH,
    DEPTH_BEYOND,
    TIMED,
    UNTIL,
    UNTIMED,
    WEAR,
    amperes,
    lasting_words,
    listed,
    need_words,
    tell,
    volts,
)
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.limits import Limit
from batterymodel.rules.case import OWN_RULE, against
from batterymodel.rules.results import Finding, Outcome, Severity
from batterymodel.rules.wording import minutes_words

LONG_START_S = 10.0
"""Starting time from which on a start is long: the battery's charge and the slow part of its
resistance, which take tens of seconds, are not followed in a start [s] (own choice)."""

SURGE_S = 1.0
"""Starting time from which on the current of a start is held against the wall circuit and the
cable's marking as one that stays [s] (own choice: breakers bear a motor's surge of less; how long
they bear what current, their curve tells, which nobody gave)."""

HELD_IN_SURGE = ("wall circuit", "cable rating")
"""Limits, by name, that are no supply's own: what passes them is not cut off at once."""

TASK_LENGTH = "length of the task, as it was told"


@dataclass(frozen=True)
class Surge:
    """A start in which the supply may give more than a limit carries, up to ``most_a`` [A]."""

    start: Start
    limit: OutputLimit
    most_a: float

    @property
    def is_short(self) -> bool:
        """Whether it is over before it is held against the limit (`SURGE_S`)."""
        return self.start.starting_s < SURGE_S


def start_dip(case: BudgetCase) -> Finding | None:
    """The start that brings the bus down most, the battery on it, against the voltage it needs.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    found = deepest(case)
    if found is None:
        return None
    start, dip = found
    limit = bus_min(case.told.loads)
    held = is_held(dip)
    sure = held and _is_proven(case) and not is_long(start)
    text = tell(
        _dip_key(case, start, held),
        name=start.name,
        starting=amperes(start.starting_a),
        seconds=(TIMED if start.timed else UNTIMED).format(seconds=start.starting_s),
        limit=volts(limit.value),
        need=need_words(limit),
        peak=amperes(dip.battery_peak_a.mean),
        **_in_volts(dip.least_bus_v),
    )
    covered = Severity.NOTE if limit.generic else Severity.OK
    severity = covered if sure else Severity.WATCH
    return against("start_dip", severity, text, dip.least_bus_v.mean, limit)


def _dip_key(case: BudgetCase, start: Start, held: bool) -> str:
    """Which sentence tells of a dip: held or not, proven or not, followed to its end or not."""
    if not held:
        return "start_dip.watch"
    if not _is_proven(case):
        return "start_dip.unproven"
    return "start_dip.long" if is_long(start) else "start_dip.ok"


def is_long(start: Start) -> bool:
    """Whether a start lasts longer than the battery is followed (`LONG_START_S`).

    Parameters
    ----------
    start : Start

    Returns
    -------
    bool
    """
    return start.starting_s >= LONG_START_S


def long_starts(case: BudgetCase) -> tuple[Start, ...]:
    """Starts on the battery that last longer than it is followed.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of Start
    """
    return tuple(one for one in case.starts if one.with_battery is not None and is_long(one))


def long_start(case: BudgetCase) -> Finding | None:
    """Starts that last longer than the battery is followed.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    found = long_starts(case)
    if not found:
        return None
    longest_s = max(one.starting_s for one in found)
    text = tell("long_start.watch", names=listed(one.name for one in found), most=LONG_START_S)
    limit = Limit(LONG_START_S, "s", OWN_RULE, generic=False)
    return against("long_start", Severity.WATCH, text, longest_s, limit)


def surges(case: BudgetCase) -> tuple[Surge, ...]:
    """Starts in which wall circuit or cable carry more than they may, the longest first.

    The supply gives ``min(own, others + starting + HELD_SD spread)``, battery or not: its
    electronics hold their own limit, and know nothing of the breaker before them.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of Surge
        One for each start and limit.
    """
    limits = [one for one in case.capability.limits if one.name in HELD_IN_SURGE]
    found = [
        Surge(start, limit, most_a)
        for start in case.starts
        for limit in limits
        if (most_a := _most_given_a(case, start)) > limit.limit_a - HELD_SD * limit.sd_a
    ]
    return tuple(sorted(found, key=lambda one: (-one.start.starting_s, one.limit.limit_a)))


def _most_given_a(case: BudgetCase, start: Start) -> float:
    """The most that the supply gives while a motor starts beside the others [A]."""
    motor = case.told.loads.consumer(start.name)
    others_a = case.load.at_once_a - motor.continuous_a
    spread_a = hypot(case.load.at_once_sd_a, STARTING_REL_SD * start.starting_a)
    return min(case.capability.own_a, others_a + start.starting_a + HELD_SD * spread_a)


def lasting_surges(case: BudgetCase) -> tuple[Surge, ...]:
    """Those of `surges` that are long enough to be held against their limit.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of Surge
    """
    return tuple(one for one in surges(case) if not one.is_short)


def start_circuit(case: BudgetCase) -> Finding | None:
    """Starts that take more, and for longer, than wall circuit or cable may carry.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    found = lasting_surges(case)
    if not found:
        return None
    first = found[0].limit
    same = [one for one in found if one.limit is first]
    most_a = max(one.most_a for one in same)
    text = tell(
        "start_circuit.watch",
        names=listed(one.start.name for one in same),
        value=amperes(most_a),
        seconds=max(one.start.starting_s for one in same),
        limit=amperes(first.limit_a),
        which=first.name,
    )
    limit = Limit(first.limit_a, "A", first.source, first.generic)
    return against("start_circuit", Severity.WATCH, text, most_a, limit)


def is_held(dip: Dip | None) -> bool:
    """Whether the battery keeps the bus above what it needs.

    Parameters
    ----------
    dip : Dip, optional

    Returns
    -------
    bool
    """
    return dip is not None and dip.chance_below <= 1.0 - HELD


def deepest(case: BudgetCase) -> tuple[Start, Dip] | None:
    """The start with the lowest bus voltage, the battery on the bus.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    start, dip : Start, Dip, or None
        None without a start, or without a battery that may be used.
    """
    dips = [(one, one.with_battery) for one in case.starts if one.with_battery is not None]
    return min(dips, key=lambda pair: pair[1].least_bus_v.low, default=None)


def start_alone(case: BudgetCase) -> Finding | None:
    """Starts that the supply alone cannot be relied on for.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    beyond = beyond_the_supply(case)
    if not beyond:
        return None
    covered = _is_proven(case) and all(
        is_held(one.with_battery) and not is_long(one) for one in beyond
    )
    return Finding(
        rule="start_alone",
        severity=Severity.NOTE if covered else Severity.WATCH,
        text=tell(
            "start_alone.note" if covered else "start_alone.watch",
            names=listed(one.name for one in beyond),
        ),
        source=OWN_RULE,
    )


def beyond_the_supply(case: BudgetCase) -> tuple[Start, ...]:
    """Starts that likely take more than the supply gives.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of Start
    """
    return tuple(one for one in case.starts if one.supply_alone.chance_within < HELD)


def battery_alone(case: BudgetCase) -> Finding | None:
    """How long the battery carries the same load without ground power, and what it costs it.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    alone, reserve = case.on_battery, reserve_of(case.told)
    if alone is None:
        return None
    if case.load.at_once_a <= LEAST_LOAD_A:
        text = tell("battery_alone.no_load")
        return Finding(rule="battery_alone", severity=Severity.NOTE, text=text, source=OWN_RULE)
    text = tell(
        "battery_alone.note",
        minutes=lasting_words(alone.minutes),
        reserve=100.0 * reserve.value,
        source=reserve.source,
        until=UNTIL[alone.stopped_by].format(reserve=100.0 * reserve.value),
        task=minutes_words(case.told.task.minutes),
        depth=_depth_words(alone),
        wear=WEAR[alone.wear.grade],
    )
    limit = Limit(case.told.task.minutes, "min", TASK_LENGTH, generic=False)
    return against("battery_alone", Severity.NOTE, text, alone.minutes.mean, limit)


def draws_more(case: BudgetCase) -> Finding | None:
    """The consumer that most surely draws more than was known of it.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    grown = [one for one in case.learned if one.more_probability >= MORE]
    if not grown:
        return None
    surest = max(grown, key=lambda one: one.more_probability)
    text = tell(
        "draws_more.watch",
        name=surest.name,
        seen=amperes(surest.seen_a),
        before=amperes(surest.before_a.mean),
        more=amperes(surest.more_a.mean),
        low=amperes(surest.more_a.low),
        high=amperes(surest.more_a.high),
        counted=amperes(surest.counted_a.mean),
    )
    limit = Limit(surest.before_a.mean, "A", "what was known of it before", generic=False)
    return against("draws_more", Severity.WATCH, text, surest.seen_a, limit)


def _is_proven(case: BudgetCase) -> bool:
    """Whether nothing says that the battery is still under watch: a dip is that of a sound one."""
    battery = case.told.battery
    return battery is None or battery.outcome is not Outcome.KEEP_WATCHING


def _depth_words(alone: Endurance) -> str:
    """What the whole task takes of the battery, which cannot give more than is in it."""
    if alone.soc_after.high <= 0.0:
        return DEPTH_BEYOND
    return DEPTH.format(depth=100.0 * alone.wear.depth.mean)


def _in_volts(interval: Interval) -> dict[str, str]:
    return {
        "value": volts(interval.mean),
        "low": volts(interval.low),
        "high": volts(interval.high),
    }
