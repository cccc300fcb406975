"""The rules of the ground power budget: each looks at a `BudgetCase` and says what it found.

A rule returns a finding, or None where it cannot speak. Where a spread straddles a limit the
finding is `Severity.WATCH`.
"""

from __future__ import annotations

from collections.abc import Callable

from batterymodel.budget.case import BudgetCase
from batterymodel.budget.results import OutputLimit, Part, Verdict
from batterymodel.budget.start_findings import (
    battery_alone,
    draws_more,
    long_start,
    start_alone,
    start_circuit,
    start_dip,
)
from batterymodel.budget.wording import (
    BATTERY_COUNTED,
    BATTERY_NOT_COUNTED,
    BY_READINGS,
    amperes,
    amperes_short,
    amperes_spare,
    bears_words,
    listed,
    need_words,
    settled_words,
    tell,
    volts,
)
from batterymodel.reference.bus_power import bus_max, bus_min
from batterymodel.reference.limits import Limit
from batterymodel.reference.supply import circuit_output_a, warm_output_a
from batterymodel.reference.wiring import WIRE_TABLE, bundled_a
from batterymodel.rules.case import OWN_RULE, against
from batterymodel.rules.results import SEVERITY_ORDER, Finding, Outcome, Severity
from batterymodel.rules.wording import OUTCOME_MEANING, OUTCOME_WORDS


def findings_for(case: BudgetCase) -> tuple[Finding, ...]:
    """All findings of a budget, gravest first, in the order of `RULES` within a severity.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of Finding
    """
    found = [finding for rule in RULES if (finding := rule(case)) is not None]
    return tuple(sorted(found, key=lambda f: -SEVERITY_ORDER.index(f.severity)))


def output_limit(case: BudgetCase) -> Finding:
    """The load of what runs, with its margin, against the limit that leaves least.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding
    """
    room, battery = case.tightest, case.told.battery
    fits = room.spare_a >= 0.0
    limit = _as_limit(case, room.name)
    if case.settled is not None and battery is not None and not fits:
        text = tell(
            "output_limit.at_limit",
            draw=amperes(battery.current_a.mean),
            float=amperes(case.settled.battery_a.mean),
            then=settled_words(case.settled),
        )
        return against("output_limit", Severity.WATCH, text, room.with_margin_a, limit)
    text = tell(
        "output_limit.ok" if fits else "output_limit.watch",
        load=amperes(room.load_a.mean),
        low=amperes(room.load_a.low),
        high=amperes(room.load_a.high),
        battery=BATTERY_NOT_COUNTED
        if battery is None
        else BATTERY_COUNTED.format(draw=amperes(battery.current_a.mean)),
        spare=amperes_spare(room.spare_a),
        short=amperes_short(-room.spare_a),
        limit=amperes(room.limit_a),
        name=room.name,
    )
    severity = Severity.OK if fits else Severity.WATCH
    return against("output_limit", severity, text, room.with_margin_a, limit)


def limit_unconfirmed(case: BudgetCase) -> Finding | None:
    """The limit that leaves least is no plate's and no document's.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    room = case.tightest
    limit = _as_limit(case, room.name)
    if not limit.generic:
        return None
    text = tell(
        "limit_unconfirmed.watch",
        limit=amperes(room.limit_a),
        name=room.name,
        source=limit.source,
    )
    return against("limit_unconfirmed", Severity.WATCH, text, room.with_margin_a, limit)


def bus_limit_unconfirmed(case: BudgetCase) -> Finding | None:
    """Bounds of the bus voltage that the aircraft's papers did not tell.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    bounds = (("at least", bus_min(case.told.loads)), ("at most", bus_max(case.told.loads)))
    untold = [(words, limit) for words, limit in bounds if limit.generic]
    if not untold:
        return None
    which = listed(f"{words} {volts(limit.value)}" for words, limit in untold)
    text = tell("bus_limit_unconfirmed.watch", which=which)
    source = untold[0][1].source
    return Finding(
        rule="bus_limit_unconfirmed",
        severity=Severity.WATCH,
        text=text,
        source=source,
        generic=True,
    )


def over_hours(case: BudgetCase) -> Finding | None:
    """A load that the circuit carries for this task, and would not for three hours.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    room = case.over_hours
    if room is None or room.spare_a >= 0.0:
        return None
    text = tell("over_hours.note", limit=amperes(room.limit_a), short=amperes_short(-room.spare_a))
    limit = _as_limit(case, room.name)
    return against("over_hours", Severity.NOTE, text, room.with_margin_a, limit)


def left_off(case: BudgetCase) -> Finding | None:
    """What is left off: for want of room, or as no part of the task.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    for parts, severity, key in (
        (Part.WANTED, Severity.WATCH, "left_off.watch"),
        (Part.NOT_IN_TASK, Severity.NOTE, "left_off.note"),
    ):
        names = case.names(parts, runs=False)
        if names:
            text = tell(key, names=listed(names))
            return Finding(rule="left_off", severity=severity, text=text, source=OWN_RULE)
    return None


def stays_on(case: BudgetCase) -> Finding | None:
    """Consumers that nobody asked for and that may not be switched off.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    names = case.names(Part.STAYS_ON, runs=True)
    if not names:
        return None
    text = tell("stays_on.note", names=listed(names))
    source = case.told.loads.document
    return Finding(rule="stays_on", severity=Severity.NOTE, text=text, source=source)


def battery_draw(case: BudgetCase) -> Finding | None:
    """A draw of the battery that is not known, or that the supply's limit hides.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    battery = case.told.battery
    if battery is None:
        text = tell("battery_draw.unknown")
        return Finding(rule="battery_draw", severity=Severity.WATCH, text=text, source=OWN_RULE)
    if not battery.at_limit:
        return None
    drawn_a = battery.current_a.mean
    return Finding(
        rule="battery_draw",
        severity=Severity.WATCH,
        text=tell("battery_draw.at_limit", value=amperes(drawn_a)),
        value=drawn_a,
        unit="A",
        source=OWN_RULE,
    )


def battery_outcome(case: BudgetCase) -> Finding | None:
    """A battery that must come off the supply, whatever the load.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    battery = case.told.battery
    outcome = None if battery is None else battery.outcome
    if battery is None or outcome not in OFF_THE_SUPPLY:
        return None
    text = tell(
        "battery_outcome.bad",
        by=BY_READINGS if battery.judged_by is None else f"{battery.judged_by} says",
        outcome=OUTCOME_WORDS[outcome],
        meaning=OUTCOME_MEANING[outcome],
    )
    source = battery.judged_by or "assessment of the connection"
    return Finding(
        rule="battery_outcome", severity=OFF_THE_SUPPLY[outcome], text=text, source=source
    )


def bus_voltage_low(case: BudgetCase) -> Finding | None:
    """The voltage at the aircraft, cable deducted, against the lowest that its bus needs.

    A supply that is asked for too much does not hold its voltage: then this rule cannot speak.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    if case.verdict is Verdict.TOO_MUCH:
        return None
    at_v, limit = case.voltage.at_aircraft_v, bus_min(case.told.loads)
    enough = at_v.low >= limit.value
    told = case.told.supply.cable is not None
    sure = told and not limit.generic
    by_itself = case.voltage.at_supply_v.low < limit.value
    watch = "bus_voltage_low.supply" if by_itself else "bus_voltage_low.watch"
    fine = "bus_voltage_low.ok" if told else "bus_voltage_low.note"
    text = tell(
        fine if enough else watch,
        supply=volts(case.voltage.at_supply_v.low),
        value=volts(at_v.mean),
        low=volts(at_v.low),
        high=volts(at_v.high),
        limit=volts(limit.value),
        need=need_words(limit),
    )
    severity = (Severity.OK if sure else Severity.NOTE) if enough else Severity.WATCH
    return against("bus_voltage_low", severity, text, at_v.mean, limit)


def bus_voltage_high(case: BudgetCase) -> Finding | None:
    """A supply whose voltage, with nothing lost in the cable, is more than the bus bears.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    highest_v, limit = case.voltage.at_supply_v.high, bus_max(case.told.loads)
    if highest_v <= limit.value:
        return None
    text = tell(
        "bus_voltage_high.watch",
        high=volts(highest_v),
        limit=volts(limit.value),
        bears=bears_words(limit),
    )
    return against("bus_voltage_high", Severity.WATCH, text, highest_v, limit)


def supply_warm(case: BudgetCase) -> Finding | None:
    """A supply in warmer air than its rating holds for.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    supply, temp_c = case.told.supply, case.told.supply_temp_c
    if temp_c is None or supply.rated_at_c is None or temp_c <= supply.rated_at_c:
        return None
    output_a = warm_output_a(supply, temp_c)
    limit = Limit(supply.rated_at_c, "°C", "the supply's plate", generic=False)
    text = tell(
        "supply_warm.watch" if output_a is None else "supply_warm.note",
        value=temp_c,
        limit=limit.value,
        output="" if output_a is None else amperes_spare(output_a),
        rated=amperes(supply.rated_current_a),
    )
    severity = Severity.WATCH if output_a is None else Severity.NOTE
    return against("supply_warm", severity, text, temp_c, limit)


def wall_circuit_unknown(case: BudgetCase) -> Finding | None:
    """A wall circuit that nobody told of, or not enough to say what it carries.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
    """
    if circuit_output_a(case.told.supply) is not None:
        return None
    text = tell("wall_circuit_unknown.watch")
    return Finding(rule="wall_circuit_unknown", severity=Severity.WATCH, text=text, source=OWN_RULE)


def cable_current(case: BudgetCase) -> Finding | None:
    """A load beyond what a wire table gives for the cable's size, where nobody told its rating.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
        None too where the load is below it: the table was not seen, and clears no cable.
    """
    cable, load = case.told.supply.cable, case.total_a
    if cable is None or cable.rated_current_a is not None:
        return None
    carried_a = bundled_a(cable)
    if carried_a is None or load.high <= carried_a:
        return None
    limit = Limit(carried_a, "A", WIRE_TABLE, generic=True)
    text = tell("cable_current.watch", load=amperes(load.high), limit=amperes(carried_a))
    return against("cable_current", Severity.WATCH, text, load.high, limit)


def load_figures(case: BudgetCase) -> Finding | None:
    """Currents that no document was named for.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Finding or None
        None too where every consumer that runs was learned from load steps.
    """
    rows = zip(case.told.loads.consumers, case.runs, strict=True)
    if case.told.loads.document or all(one.readings > 0 for one, on in rows if on):
        return None
    text = tell("load_figures.note")
    return Finding(rule="load_figures", severity=Severity.NOTE, text=text, source=OWN_RULE)


def _as_limit(case: BudgetCase, name: str) -> Limit:
    """The limit of the supply's output under a name, as findings have it."""
    found: OutputLimit = next(one for one in case.capability.limits if one.name == name)
    return Limit(found.limit_a, "A", found.source, found.generic)


OFF_THE_SUPPLY = {
    Outcome.SERVICE: Severity.SERVICE,
    Outcome.DISCONNECT: Severity.DISCONNECT,
}
"""Outcomes with which the battery does not stay on the supply."""

RULES: tuple[Callable[[BudgetCase], Finding | None], ...] = (
    battery_outcome,
    output_limit,
    bus_voltage_low,
    bus_voltage_high,
    left_off,
    battery_draw,
    start_dip,
    long_start,
    start_alone,
    start_circuit,
    draws_more,
    limit_unconfirmed,
    bus_limit_unconfirmed,
    supply_warm,
    over_hours,
    battery_alone,
    stays_on,
    wall_circuit_unknown,
    cable_current,
    load_figures,
)
