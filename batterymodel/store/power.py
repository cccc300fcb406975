"""Ground power on record: supplies, load plans of aircraft, and the configurations chosen."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any

from batterymodel.basis.text import alike, one_line
from batterymodel.budget.results import Budget, ConsumerLine
from batterymodel.errors import InputError
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import record_from
from batterymodel.store.as_of import latest
from batterymodel.store.entries import Entry
from batterymodel.store.once import add_once
from batterymodel.store.records import (
    Aircraft,
    Consumer,
    LoadConfiguration,
    LoadPlan,
    ShopSupply,
    WallCircuit,
)
from batterymodel.store.store import Store

LONGEST_LINE = 300
"""Letters and signs of a line in the record (`records.Line`)."""

OTHER_FIGURES = (
    "there is a supply '{name}' in the record with other figures ({changed}); say why they change, "
    "to correct it, or give this one another name"
)


@dataclass(frozen=True)
class TakenSupply:
    """A supply in the record: as it was there before, new, or corrected."""

    entry: Entry[ShopSupply]
    was_there: bool = False
    corrected: bool = False


def supplies_of(store: Store) -> tuple[ShopSupply, ...]:
    """The supplies on record, by name.

    Parameters
    ----------
    store : Store

    Returns
    -------
    tuple of ShopSupply

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    found = (entry.record for entry in store.entries(ShopSupply))
    return tuple(sorted(found, key=lambda supply: supply.name))


def supply_named(store: Store, name: str) -> ShopSupply:
    """The supply of a name; letter case and spaces do not count.

    Parameters
    ----------
    store : Store
    name : str

    Returns
    -------
    ShopSupply

    Raises
    ------
    InputError
        A name that is not on record; says which are.
    """
    supplies = supplies_of(store)
    for supply in supplies:
        if alike(supply.name) == alike(name):
            return supply
    known = ", ".join(f"'{supply.name}'" for supply in supplies)
    raise InputError(
        f"there is no supply '{one_line(name)}' in the record; "
        + (f"it has {known}" if known else "'record add supply' adds one")
    )


def shop_supply_from(data: dict[str, Any], where: str) -> ShopSupply:
    """A supply of the shop from a plain dict, its circuits named in what is said of them.

    Parameters
    ----------
    data : dict
        As `toml_data` gives it.
    where : str
        What messages call the data: a file name or a form.

    Returns
    -------
    ShopSupply

    Raises
    ------
    InputError
        Names circuit, key and what would be right.
    """
    rows = data.get("circuits")
    if isinstance(rows, list):
        circuits = tuple(
            record_from(row, WallCircuit, f"{where}: circuit {number}{_name_in(row)}")
            for number, row in enumerate(rows, 1)
        )
        data = {**data, "circuits": circuits}
    return record_from(data, ShopSupply, where)


def _name_in(row: object) -> str:
    name = row.get("name") if isinstance(row, dict) else None
    return f" ('{one_line(name)[:60]}')" if isinstance(name, str) else ""


def add_supply(store: Store, supply: ShopSupply, reason: str | None = None) -> TakenSupply:
    """A supply of the shop, once; with a reason, one of the same name is corrected.

    Parameters
    ----------
    store : Store
    supply : ShopSupply
    reason : str, optional
        Why its figures change, where one of this name is on record.

    Returns
    -------
    TakenSupply

    Raises
    ------
    InputError
        One of this name, or of a name that a person would take for it, has other figures and no
        reason is given.
    """
    with store.writing():
        for entry in store.entries(ShopSupply):
            if alike(entry.record.name) == alike(supply.name):
                return _taken_again(store, entry, supply, reason)
        return TakenSupply(store.add(supply))


def _taken_again(
    store: Store, entry: Entry[ShopSupply], supply: ShopSupply, reason: str | None
) -> TakenSupply:
    names = [n for n in ShopSupply.model_fields if getattr(entry.record, n) != getattr(supply, n)]
    if not names:
        return TakenSupply(entry, was_there=True)
    if not (reason or "").strip():
        changed = ", ".join(names)
        raise InputError(OTHER_FIGURES.format(name=entry.record.name, changed=changed))
    return TakenSupply(store.correct(entry.id, supply, str(reason)), corrected=True)


def add_load_plan(
    store: Store, tail: str, loads: AircraftLoads, on: date
) -> tuple[Entry[LoadPlan], bool]:
    """Consumers and tasks of an aircraft, in force from the day they were said, once.

    Parameters
    ----------
    store : Store
    tail : str
    loads : AircraftLoads
        Its `tail` names the same aircraft.
    on : date
        The day where the loads state none.

    Returns
    -------
    entry : Entry
    was_there : bool

    Raises
    ------
    InputError
        An aircraft that is not on record, loads of another aircraft, or a day that is still to
        come.
    """
    aircraft = store.aircraft(tail)
    if alike(loads.tail) != alike(aircraft.record.tail):
        raise InputError(
            f"these loads are those of '{loads.tail}', not of '{aircraft.record.tail}'; the loads "
            "of this aircraft, or its tail in them, would be right"
        )
    day = loads.on or on
    refuse_day_ahead(store, day, f"the loads of {loads.tail}")
    told = loads.model_copy(update={"tail": aircraft.record.tail, "on": day})
    return add_once(store, LoadPlan(aircraft_id=aircraft.id, on=day, loads=told))


def refuse_day_ahead(store: Store, day: date, what: str) -> None:
    """Refuse loads of a day that is still to come, give or take the clocks of the world.

    Parameters
    ----------
    store : Store
    day : date
    what : str
        In the plural, such as ``the loads of N1``.

    Raises
    ------
    InputError
        The day after tomorrow, or later.
    """
    if (day - store.now().date()).days > 1:
        raise InputError(
            f"{what} were said on {day}, which is later than today; the day they were said would "
            "be right"
        )


def loads_in_force(store: Store, tail: str, on: date | None = None) -> AircraftLoads | None:
    """Consumers and tasks of an aircraft on a day, as they were told last.

    Parameters
    ----------
    store : Store
    tail : str
    on : date, optional
        Later plans are left out.

    Returns
    -------
    AircraftLoads or None
        Under the tail the aircraft has now; None without a plan.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    with store.reading():
        aircraft = store.aircraft(tail)
        plan = latest(store.entries(LoadPlan, aircraft_id=aircraft.id), on)
    if plan is None:
        return None
    return plan.record.loads.model_copy(update={"tail": aircraft.record.tail})


def first_loads_on(store: Store, tail: str) -> date | None:
    """The first day for which loads of an aircraft are on record.

    Parameters
    ----------
    store : Store
    tail : str

    Returns
    -------
    date or None
        None without a plan.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    with store.reading():
        plans = store.entries(LoadPlan, aircraft_id=store.aircraft(tail).id)
    return min((plan.record.on for plan in plans), default=None)


def tails_of(store: Store) -> dict[str, bool]:
    """Every aircraft by its tail, with whether a load plan of it is on record.

    Parameters
    ----------
    store : Store

    Returns
    -------
    dict
        Those with a plan first, then by tail.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        planned = {entry.record.aircraft_id for entry in store.entries(LoadPlan)}
        aircraft = store.entries(Aircraft)
    found = {entry.record.tail: entry.id in planned for entry in aircraft}
    return dict(sorted(found.items(), key=lambda item: (not item[1], item[0])))


def keep_configuration(
    store: Store, budget: Budget, supply: str, answer: str
) -> tuple[Entry[LoadConfiguration], bool]:
    """What is on and off for a task, as the known configuration of its aircraft; once a day.

    Parameters
    ----------
    store : Store
    budget : Budget
        With the day it is of.
    supply : str
        The supply and its circuit in words.
    answer : str
        What the budget said, in one sentence; the first writing of a day stays.

    Returns
    -------
    entry : Entry
    was_there : bool

    Raises
    ------
    InputError
        An aircraft that is not on record, or a budget without a day.
    """
    chosen = budget.configuration
    if chosen.on is None:
        raise InputError(f"{chosen.tail}: a configuration that is kept needs its day")
    running = [line for line in budget.consumers if line.runs]
    told = {
        "aircraft_id": store.aircraft(chosen.tail).id,
        "name": chosen.task,
        "consumers": tuple(map(_as_kept, running)),
        "on": chosen.on,
        "left_off": chosen.left_off,
        "supply": _within(supply, LONGEST_LINE),
        "answer": _within(answer, LONGEST_LINE),
        "document": chosen.document,
        "said_by": chosen.said_by,
        "said_on": chosen.said_on,
    }
    return add_once(store, record_from(told, LoadConfiguration, "configuration"), "answer")


def known_configuration(store: Store, tail: str, task: str) -> LoadConfiguration | None:
    """The configuration that was chosen last for a task, under a name it had before too.

    Parameters
    ----------
    store : Store
    tail : str
    task : str

    Returns
    -------
    LoadConfiguration or None
        None where none was chosen; one without a day was chosen for no task.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    with store.reading():
        aircraft = store.aircraft(tail)
        names = _names_of_task(task, store.entries(LoadPlan, aircraft_id=aircraft.id))
        every = store.entries(LoadConfiguration, aircraft_id=aircraft.id)
    found = (entry for entry in every if entry.record.name in names)
    last = latest(tuple(entry for entry in found if entry.record.on is not None), None)
    return None if last is None else last.record


def _names_of_task(task: str, plans: tuple[Entry[LoadPlan], ...]) -> frozenset[str]:
    """The names that a task has had: renamed in its place, with what must run as it was."""
    names, now = {task}, task
    ordered = sorted(plans, key=lambda entry: entry.order, reverse=True)
    for later, earlier in pairwise(plan.record.loads for plan in ordered):
        if was := _name_before(now, earlier, later):
            names.add(was)
            now = was
    return frozenset(names)


def _name_before(task: str, earlier: AircraftLoads, later: AircraftLoads) -> str | None:
    """The name a task had in the plan before; None where it was there by this one, or not at all.

    A plan of another number of tasks took some in or away, and renamed none.
    """
    before, after = ([one.name for one in loads.tasks] for loads in (earlier, later))
    if task in before or task not in after or len(before) != len(after):
        return None
    place = after.index(task)
    is_one = earlier.tasks[place].needs == later.tasks[place].needs
    return before[place] if is_one and before[place] not in after else None


def _as_kept(line: ConsumerLine) -> Consumer:
    steady_a = round(line.continuous_a.mean, 2)
    return Consumer(
        name=line.name, continuous_a=steady_a, peak_a=max(line.starting_a or 0.0, steady_a)
    )


def _within(words: str, most: int) -> str:
    line = one_line(words)
    return line if len(line) <= most else f"{line[: most - 1]}…"
