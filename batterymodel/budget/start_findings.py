"""Rules of the budget about motors' starts, the battery alone, and currents that have grown."""

from __future__ import annotations

from batterymodel.basis.intervals import Interval
from batterymodel.budget.alone import reserve_of
from batterymodel.budget.case import BudgetCase
from batterymodel.budget.endurance import LEAST_LOAD_A, Endurance
from batterymodel.budget.learned import MORE
from batterymodel.budget.peaks import Dip
from batterymodel.budget.results import Start
from batterymodel.budget.selection import HELD
from batterymodel.budget.wording import (
    DEPTH,
    DEPTH_BEYOND,
    UNTIL,
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

TASK_LENGTH = "length of the task, as it was told"


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
    held = _is_held(dip)
    sure = held and _is_proven(case) and not is_long(start)
    text = tell(
        _dip_key(case, start, held),
        name=start.name,
        starting=amperes(start.starting_a),
        seconds=start.starting_s,
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
        _is_held(one.with_battery) and not is_long(one) for one in beyond
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


def _is_held(dip: Dip | None) -> bool:
    """Whether the battery keeps the bus above what it needs."""
    return dip is not None and dip.chance_below <= 1.0 - HELD


def _in_volts(interval: Interval) -> dict[str, str]:
    return {
        "value": volts(interval.mean),
        "low": volts(interval.low),
        "high": volts(interval.high),
    }
