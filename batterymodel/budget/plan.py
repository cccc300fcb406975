"""The ground power budget of one task: aircraft, task and supply in, a `Budget` out."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from typing import Any

import numpy as np

from batterymodel.basis.intervals import interval_around
from batterymodel.budget.alone import task_on_battery
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.buts import buts_of
from batterymodel.budget.capability import bound_by, bus_voltage, capability
from batterymodel.budget.case import BudgetCase, Told
from batterymodel.budget.demand import current_sd_a, load_of
from batterymodel.budget.findings import findings_for
from batterymodel.budget.fit import choice_of, room_of, settled_of, wait_minutes
from batterymodel.budget.learned import as_counted, learned_from
from batterymodel.budget.results import (
    Budget,
    But,
    Capability,
    Configuration,
    ConsumerLine,
    Learned,
    Part,
    Settled,
    Verdict,
)
from batterymodel.budget.selection import Choice
from batterymodel.budget.start_findings import deepest, long_starts, surges
from batterymodel.budget.starts import resistance_of, starts_of
from batterymodel.budget.timeline import timeline_of
from batterymodel.budget.wording import (
    BUDGET_CAUTIONS,
    BUT,
    CIRCUIT_UNKNOWN,
    HEADLINE_AT_LIMIT,
    HEADLINE_START,
    HEADLINE_WITHOUT_BATTERY,
    HEADLINES,
    NEXT_STEPS,
    TEMPERATURES,
    WHY,
    about_minutes,
    amperes,
    amperes_short,
    amperes_spare,
    listed,
    settled_words,
    supply_words,
    volts,
)
from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, outside
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.records import AIR_CELSIUS_RANGE, CELSIUS_RANGE, Battery, Readings, Supply
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.supply import circuit_output_a


def budget(
    loads: AircraftLoads,
    task: str | Task,
    supply: Supply,
    battery_now: BatteryNow | None = None,
    *,
    battery: Battery | None = None,
    readings: Readings | None = None,
    battery_temp_c: float | None = None,
    supply_temp_c: float | None = None,
    on: date | None = None,
    readings_supply: Supply | None = None,
    told_after: frozenset[str] = frozenset(),
) -> Budget:
    """What of a task fits on a supply, what is left off, and how much is to spare.

    1. What the supply can give, limit by limit.
    2. The consumers that run: the fewest left off, the least needed first.
    3. What each limit leaves, and the voltage at the aircraft.
    4. What each motor's start does to the bus, and how long the battery alone would last.
    5. What the load steps of a connection teach of the consumers; it is counted from step 2 on.
    6. Findings, and what to do.

    Parameters
    ----------
    loads : AircraftLoads
    task : str or Task
        The name of a task of these loads, or one of its own of their consumers.
    supply : Supply
    battery_now : BatteryNow, optional
        The battery's present draw (`battery.battery_now` of an assessment); without, it is not
        counted and a finding says so.
    battery : Battery, optional
        The battery by its plate and record; without it, or without `battery_now`, starts are
        those on the supply alone, and nothing is said of the battery alone.
    readings : Readings, optional
        Of a connection: their load steps tell resistances and consumers' currents.
    battery_temp_c : float, optional
        The battery's temperature [degC], -60 to 120.
    supply_temp_c : float, optional
        Air at the supply [degC], -60 to 80.
    on : date, optional
        The day, for the configuration that is kept.
    readings_supply : Supply, optional
        The supply on which the readings were taken, where it was another than this one.
    told_after : frozenset of str, optional
        Consumers whose current was told after the readings, which teach nothing of it.

    Returns
    -------
    Budget

    Raises
    ------
    InputError
        No such task or consumer, or a value that cannot be right.
    """
    told = Told(
        loads=_checked("loads", loads, AircraftLoads),
        task=_task(task, loads),
        supply=_checked("supply", supply, Supply),
        battery=_checked("battery_now", battery_now, BatteryNow, type(None)),
        plate=_checked("battery", battery, Battery, type(None)),
        readings=_checked("readings", readings, Readings, type(None)),
        battery_temp_c=_temperature("battery_temp_c", battery_temp_c, CELSIUS_RANGE),
        supply_temp_c=_temperature("supply_temp_c", supply_temp_c, AIR_CELSIUS_RANGE),
        on=on,
        readings_supply=_checked("readings_supply", readings_supply, Supply, type(None)),
        told_after=told_after,
    )
    case = _case(told, _learned(told))
    buts = buts_of(case)
    return Budget(
        verdict=case.verdict,
        headline=_headline(case, buts),
        buts=buts,
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
        settled=case.settled,
        voltage=case.voltage,
        starts=case.starts,
        battery_ohm=case.battery_ohm,
        on_battery=case.on_battery,
        learned=case.learned,
        configuration=_configuration(case),
        findings=findings_for(case),
        next_steps=_next_steps(case),
        not_checked=_not_checked(case),
        cautions=BUDGET_CAUTIONS,
        timeline=timeline_of(case),
    )


def _case(as_told: Told, learned: tuple[Learned, ...]) -> BudgetCase:
    """What follows from what was told, its consumers counted with what was learned of them."""
    told = replace(as_told, loads=as_counted(as_told.loads, learned))
    able = capability(told.supply, told.task.minutes, bus_min(told.loads), told.supply_temp_c)
    choice = choice_of(told, able)
    rooms = {limit: room_of(told, limit, choice.runs) for limit in able.limits}
    applying = [room for limit, room in rooms.items() if limit.applies]
    at_once = next(room for limit, room in rooms.items() if not limit.over_hours)
    running = tuple(one for one, on in zip(told.loads.consumers, choice.runs, strict=True) if on)
    load, ohm = load_of(running, told.task.minutes), resistance_of(told)
    verdict = _verdict(told, choice)
    room = tuple(sorted(applying, key=lambda one: one.spare_a))
    return BudgetCase(
        told=told,
        capability=bound_by(able, room),
        runs=tuple(bool(on) for on in choice.runs),
        load=load,
        room=room,
        over_hours=next((room for limit, room in rooms.items() if not limit.applies), None),
        verdict=verdict,
        voltage=bus_voltage(told.supply, at_once.load_a),
        wait_minutes=wait_minutes(told, able),
        starts=() if verdict is Verdict.TOO_MUCH else starts_of(told, running, able, ohm),
        battery_ohm=ohm,
        on_battery=task_on_battery(told, load, ohm),
        learned=learned,
        settled=None if verdict is Verdict.FITS else _settled(told, able),
    )


def _settled(told: Told, able: Capability) -> Settled | None:
    found = settled_of(told, able)
    if found is None or told.battery is None:
        return None
    choice, room = found
    wants = (told.loads.consumers[place].name for place in told.wants if not choice.runs[place])
    return Settled(
        verdict=_verdict(told, choice),
        battery_a=told.battery.settled().current_a,
        room=room,
        left_off=tuple(wants),
    )


def _learned(told: Told) -> tuple[Learned, ...]:
    if told.readings is None:
        return ()
    found = learned_from(told.loads, told.readings, told.supply_read)
    return tuple(one for one in found if one.name not in told.told_after)


def _verdict(told: Told, choice: Choice) -> Verdict:
    if not choice.fits:
        return Verdict.TOO_MUCH
    everything = bool(np.all(choice.runs[list(told.wants)]))
    return Verdict.FITS if everything else Verdict.FITS_WITH_LESS


def _headline(case: BudgetCase, buts: tuple[But, ...]) -> str:
    said = _fit_words(case)
    start = deepest(case)
    if start is not None and not any(but.rule == "start_dip" for but in buts):
        said += HEADLINE_START.format(name=start[0].name, value=volts(start[1].least_bus_v.mean))
    said += "".join(BUT.format(said=but.said) for but in buts)
    return said + (HEADLINE_WITHOUT_BATTERY if case.told.battery is None else "")


def _fit_words(case: BudgetCase) -> str:
    """Whether the load fits; at the supply's limit, what holds now and what would hold later."""
    room, off = case.tightest, case.names(Part.WANTED, runs=False)
    at_limit = case.verdict is Verdict.TOO_MUCH and case.settled is not None
    return (HEADLINE_AT_LIMIT if at_limit else HEADLINES[case.verdict]).format(
        task=case.told.task.name,
        supply=supply_words(case.told.supply),
        spare=amperes_spare(room.spare_a),
        short=amperes_short(-room.spare_a),
        limit=amperes(room.limit_a),
        name=room.name,
        off=listed(off) if off else "",
        but="" if circuit_output_a(case.told.supply) is not None else CIRCUIT_UNKNOWN,
        **_settled_values(case),
    )


def _settled_values(case: BudgetCase) -> dict[str, str]:
    """What the sentences of a supply at its limit are filled in with."""
    settled, battery = case.settled, case.told.battery
    if settled is None or battery is None:
        return {}
    return {
        "draw": amperes(battery.current_a.mean),
        "float": amperes(settled.battery_a.mean),
        "then": settled_words(settled),
    }


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
    keys += ["one_by_one"] if len(case.starts) > 1 else []
    expect = "expect_without" if case.told.battery is None else "expect"
    still = case.verdict if case.settled is None else case.settled.verdict
    keys += [expect] if case.verdict is not Verdict.TOO_MUCH else []
    keys += ["settle"] if case.settled is not None else []
    keys += ["too_much"] if still is Verdict.TOO_MUCH else []
    keys += ["wait"] if case.wait_minutes is not None else []
    return tuple(NEXT_STEPS[key].format(**values) for key in keys)


def _step_values(case: BudgetCase) -> dict[str, str]:
    off = case.names(*Part, runs=False)
    load_a, room = case.total_a, case.tightest if case.settled is None else case.settled.room
    return {
        **_settled_values(case),
        "names": listed(off) if off else "",
        "starting": listed(one.name for one in case.starts) if case.starts else "",
        "load": amperes(load_a.mean),
        "low": amperes(load_a.low),
        "high": amperes(load_a.high),
        "short": amperes_short(-room.spare_a),
        "wait": "" if case.wait_minutes is None else about_minutes(case.wait_minutes),
    }


def _not_checked(case: BudgetCase) -> tuple[str, ...]:
    """Keys of `wording.CHECK_WORDS` that nothing was known of."""
    told, supply = case.told, case.told.supply
    known = {
        "battery": told.battery is not None,
        "battery_since": told.battery is None or not told.battery.is_overtaken,
        "wall_circuit": circuit_output_a(supply) is not None,
        "cable": supply.cable is not None,
        "cable_current": supply.cable is not None and supply.cable.rated_current_a is not None,
        "supply_temp": supply.rated_at_c is not None and told.supply_temp_c is not None,
        "bus_limit": not bus_min(told.loads).generic,
        "long_start": not long_starts(case),
        "start_time": all(start.timed for start in case.starts),
        "start_circuit": not any(one.is_short for one in surges(case)),
        "other_loads": False,
    }
    return tuple(name for name, is_known in known.items() if not is_known)


def _task(task: str | Task, loads: AircraftLoads) -> Task:
    """The task of that name, or the one given with its consumers' names as the list has them."""
    _checked("task", task, Task, str)
    _checked("loads", loads, AircraftLoads)
    return loads.task(task) if isinstance(task, str) else _by_their_names(task, loads)


def _by_their_names(task: Task, loads: AircraftLoads) -> Task:
    """The task with its consumers named as the aircraft's list names them."""
    needs, wants = (
        tuple(loads.consumer(name).name for name in names) for names in (task.needs, task.wants)
    )
    return task.model_copy(update={"needs": needs, "wants": wants})


def _temperature(name: str, temp_c: float | None, within_c: tuple[float, float]) -> float | None:
    """A temperature that can be, or none."""
    _checked(name, temp_c, float, int, type(None))
    if temp_c is not None and not within_c[0] <= temp_c <= within_c[1]:
        raise EntryError("", name, outside(temp_c, *within_c), name=TEMPERATURES[name])
    return temp_c


def _checked(name: str, given: Any, *kinds: type) -> Any:
    """What was given; refused where a caller without type checks gave another kind."""
    if not isinstance(given, kinds) or isinstance(given, bool):
        wanted = "a number" if float in kinds else kinds[0].__name__
        raise InputError(f"{name}: {wanted} is needed, not {type(given).__name__}")
    return given
