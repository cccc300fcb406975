"""The ground power budget of one task: aircraft, task and supply in, a `Budget` out."""

from __future__ import annotations

from datetime import date

import numpy as np

from batterymodel.basis.intervals import interval_around
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.capability import bus_voltage, capability
from batterymodel.budget.case import BudgetCase, Told
from batterymodel.budget.demand import current_sd_a, load_of
from batterymodel.budget.findings import findings_for
from batterymodel.budget.fit import choice_of, room_of, wait_minutes
from batterymodel.budget.results import (
    Budget,
    Configuration,
    ConsumerLine,
    Part,
    Verdict,
)
from batterymodel.budget.selection import Choice
from batterymodel.budget.timeline import timeline_of
from batterymodel.budget.wording import (
    BUDGET_CAUTIONS,
    HEADLINE_WITHOUT_BATTERY,
    HEADLINES,
    NEXT_STEPS,
    WHY,
    amperes,
    amperes_short,
    amperes_spare,
    listed,
    supply_words,
)
from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, outside
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.records import Supply
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.supply import circuit_output_a
from batterymodel.rules.wording import minutes_words

TEMP_RANGE_C = (-60.0, 80.0)
"""Temperatures of the air at a supply that are taken [degC] (own choice)."""


def budget(
    loads: AircraftLoads,
    task: str | Task,
    supply: Supply,
    battery_now: BatteryNow | None = None,
    *,
    supply_temp_c: float | None = None,
    on: date | None = None,
) -> Budget:
    """What of a task fits on a supply, what is left off, and how much is to spare.

    1. What the supply can give, limit by limit.
    2. The consumers that run: the fewest left off, the least needed first.
    3. What each limit leaves, and the voltage at the aircraft.
    4. Findings, and what to do.

    Parameters
    ----------
    loads : AircraftLoads
    task : str or Task
        The name of a task of these loads, or one of its own of their consumers.
    supply : Supply
    battery_now : BatteryNow, optional
        The battery's present draw (`battery.battery_now` of an assessment); without, it is not
        counted and a finding says so.
    supply_temp_c : float, optional
        Air at the supply [degC], -60 to 80.
    on : date, optional
        The day, for the configuration that is kept.

    Returns
    -------
    Budget

    Raises
    ------
    InputError
        No such task or consumer, or a value that cannot be right.
    """
    told = _told(loads, task, supply, battery_now, supply_temp_c, on)
    case = _case(told)
    return Budget(
        verdict=case.verdict,
        headline=_headline(case),
        tail=loads.tail,
        task=told.task.name,
        minutes=told.task.minutes,
        supply=supply_words(supply),
        capability=case.capability,
        load=case.load,
        battery_a=None if told.battery is None else told.battery.current_a,
        room=case.room,
        spare_a=case.tightest.spare_a,
        consumers=_consumer_lines(case),
        wait_minutes=case.wait_minutes,
        voltage=case.voltage,
        configuration=_configuration(case),
        findings=findings_for(case),
        next_steps=_next_steps(case),
        not_checked=_not_checked(told),
        cautions=BUDGET_CAUTIONS,
        timeline=timeline_of(case),
    )


def _case(told: Told) -> BudgetCase:
    """What follows from what was told."""
    able = capability(told.supply, told.task.minutes, bus_min(told.loads), told.supply_temp_c)
    choice = choice_of(told, able)
    rooms = {limit: room_of(told, limit, choice.runs) for limit in able.limits}
    applying = [room for limit, room in rooms.items() if limit.applies]
    at_once = next(room for limit, room in rooms.items() if not limit.over_hours)
    running = [one for one, on in zip(told.loads.consumers, choice.runs, strict=True) if on]
    return BudgetCase(
        told=told,
        capability=able,
        runs=tuple(bool(on) for on in choice.runs),
        load=load_of(running, told.task.minutes),
        room=tuple(sorted(applying, key=lambda room: room.spare_a)),
        over_hours=next((room for limit, room in rooms.items() if not limit.applies), None),
        verdict=_verdict(told, choice),
        voltage=bus_voltage(told.supply, at_once.load_a),
        wait_minutes=wait_minutes(told, able),
    )


def _verdict(told: Told, choice: Choice) -> Verdict:
    if not choice.fits:
        return Verdict.TOO_MUCH
    everything = bool(np.all(choice.runs[list(told.wants)]))
    return Verdict.FITS if everything else Verdict.FITS_WITH_LESS


def _headline(case: BudgetCase) -> str:
    room, off = case.tightest, case.names(Part.WANTED, runs=False)
    said = HEADLINES[case.verdict].format(
        task=case.told.task.name,
        supply=supply_words(case.told.supply),
        spare=amperes_spare(room.spare_a),
        short=amperes_short(-room.spare_a),
        limit=amperes(room.limit_a),
        name=room.name,
        off=listed(off) if off else "",
    )
    return said + (HEADLINE_WITHOUT_BATTERY if case.told.battery is None else "")


def _consumer_lines(case: BudgetCase) -> tuple[ConsumerLine, ...]:
    """One line for each consumer, in the order of the aircraft's list."""
    rows = zip(case.told.loads.consumers, case.told.parts, case.runs, strict=True)
    return tuple(
        ConsumerLine(
            name=one.name,
            continuous_a=interval_around(one.continuous_a, current_sd_a(one), least=0.0),
            starting_a=one.starting_a,
            duty=one.duty,
            part=part,
            runs=runs,
            may_switch_off=one.may_switch_off,
            why=WHY[part, runs],
        )
        for one, part, runs in rows
    )


def _configuration(case: BudgetCase) -> Configuration:
    loads, every = case.told.loads, tuple(Part)
    return Configuration(
        tail=loads.tail,
        task=case.told.task.name,
        on=case.told.on,
        runs=case.names(*every, runs=True),
        left_off=case.names(*every, runs=False),
        document=loads.document,
        said_by=loads.said_by,
        said_on=loads.on,
    )


def _next_steps(case: BudgetCase) -> tuple[str, ...]:
    """What to do, in order."""
    values = _step_values(case)
    keys = ["leave_off"] if values["names"] else []
    expect = "expect_without" if case.told.battery is None else "expect"
    keys += ["too_much"] if case.verdict is Verdict.TOO_MUCH else [expect]
    keys += ["wait"] if case.wait_minutes is not None else []
    return tuple(NEXT_STEPS[key].format(**values) for key in keys)


def _step_values(case: BudgetCase) -> dict[str, str]:
    off = case.names(*Part, runs=False)
    load_a = case.total_a
    return {
        "names": listed(off) if off else "",
        "load": amperes(load_a.mean),
        "low": amperes(load_a.low),
        "high": amperes(load_a.high),
        "short": amperes_short(-case.tightest.spare_a),
        "minutes": minutes_words(case.wait_minutes or 0.0),
    }


def _not_checked(told: Told) -> tuple[str, ...]:
    """Keys of `wording.CHECK_WORDS` that nothing was known of."""
    supply = told.supply
    known = {
        "battery": told.battery is not None,
        "wall_circuit": circuit_output_a(supply) is not None,
        "cable": supply.cable is not None,
        "supply_temp": supply.rated_at_c is not None and told.supply_temp_c is not None,
        "other_loads": False,
    }
    return tuple(name for name, is_known in known.items() if not is_known)


def _told(
    loads: AircraftLoads,
    task: str | Task,
    supply: Supply,
    battery_now: BatteryNow | None,
    supply_temp_c: float | None,
    on: date | None,
) -> Told:
    """What was told, refused where it cannot be right."""
    _check_kind("loads", loads, AircraftLoads)
    _check_kind("task", task, Task, str)
    _check_kind("supply", supply, Supply)
    _check_kind("battery_now", battery_now, BatteryNow, type(None))
    _check_kind("supply_temp_c", supply_temp_c, float, int, type(None))
    least, most = TEMP_RANGE_C
    if supply_temp_c is not None and not least <= supply_temp_c <= most:
        problem = outside(supply_temp_c, least, most)
        raise EntryError("", "supply_temp_c", problem, name="temperature at the supply")
    chosen = loads.task(task) if isinstance(task, str) else _by_their_names(task, loads)
    return Told(loads, chosen, supply, battery_now, supply_temp_c, on)


def _by_their_names(task: Task, loads: AircraftLoads) -> Task:
    """The task with its consumers named as the aircraft's list names them."""
    needs, wants = (
        tuple(loads.consumer(name).name for name in names) for names in (task.needs, task.wants)
    )
    return task.model_copy(update={"needs": needs, "wants": wants})


def _check_kind(name: str, given: object, *kinds: type) -> None:
    """Refuse what a caller without type checks may give."""
    if not isinstance(given, kinds) or isinstance(given, bool):
        wanted = "a number" if float in kinds else kinds[0].__name__
        raise InputError(f"{name}: {wanted} is needed, not {type(given).__name__}")
