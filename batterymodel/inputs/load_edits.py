"""One consumer or one task of an aircraft's loads at a time: added, altered, taken away."""

from __future__ import annotations

from collections.abc import Iterable
from math import isclose
from typing import Any

from batterymodel.basis.text import alike
from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, fixed
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.inputs.records import RecordT, record_from

CONSUMER, TASK = "consumer", "task"
SAME_A = 0.005
"""Difference up to which a current that was told is the one it was before [A] (own choice: pages
show hundredths)."""

NAME_TAKEN = "another {kind} has this name; a name of its own would be right"
NEEDED_AND_USEFUL = (
    "{names} is also among needed_for; each task among needed_for or among useful_for would be "
    "right"
)
RUNS_IN = (
    "{name} runs in {tasks}; take it out of the tasks, or the tasks away, before it, would be right"
)
FILLERS: dict[type[Any], dict[str, Any]] = {
    Consumer: {"name": "?", "continuous_a": 0.0, "starting_a": 2000.0},
    Task: {"name": "?", "minutes": 1.0, "needs": ()},
}
"""Values in place of those that are wrong by themselves, which nothing beside them contradicts."""


def with_consumer(
    loads: AircraftLoads,
    told: dict[str, Any],
    was: str | None = None,
    needed_for: Iterable[str] | None = (),
    useful_for: Iterable[str] | None = (),
) -> AircraftLoads:
    """The loads with one consumer more, or one of them altered.

    Parameters
    ----------
    loads : AircraftLoads
    told : dict
        What was told of the consumer, by the names of the record; None where nothing was told,
        and what is not in it stays as it was.
    was : str, optional
        Name of the consumer that is altered; it may get another one.
    needed_for, useful_for : iterable of str
        Tasks, each in one of both or in none; a task keeps the order of what is useful. None
        leaves them as they are.

    Returns
    -------
    AircraftLoads
        Whose currents are no longer those of readings where another current was told.

    Raises
    ------
    InputError
        All that is wrong, each an `EntryError` of its own (``others``).
    """
    before = None if was is None else loads.consumer(was)
    known = {} if before is None else _kept_of(before, told)
    needed = _tasks_of(before, "needs", loads) if needed_for is None else tuple(needed_for)
    useful = _tasks_of(before, "wants", loads) if useful_for is None else tuple(useful_for)
    faults = _name_faults(told, loads.consumers, was, CONSUMER)
    if twice := [name for name in useful if name in needed]:
        said = NEEDED_AND_USEFUL.format(names=", ".join(twice))
        faults.append(EntryError("", "", fixed(said)))
    consumer = _checked({**known, **told}, Consumer, faults)
    consumers = _exchanged(loads.consumers, before, consumer)
    was = None if before is None else before.name
    tasks = tuple(
        _with_consumer_in(task, was, consumer.name, needed, useful) for task in loads.tasks
    )
    return _whole(loads, consumers=consumers, tasks=tasks)


def _tasks_of(before: Consumer | None, part: str, loads: AircraftLoads) -> tuple[str, ...]:
    """Tasks that name a consumer among what they need or want."""
    if before is None:
        return ()
    return tuple(task.name for task in loads.tasks if before.name in getattr(task, part))


def _kept_of(before: Consumer, told: dict[str, Any]) -> dict[str, Any]:
    """What stays of a consumer; a current told anew rests on no readings."""
    known = before.model_dump(exclude_none=True)
    current_a = told.get("continuous_a", before.continuous_a)
    if current_a is not None and isclose(current_a, before.continuous_a, abs_tol=SAME_A):
        return known
    return {key: v for key, v in known.items() if key not in ("continuous_sd_a", "readings")}


def without_consumer(loads: AircraftLoads, name: str) -> AircraftLoads:
    """The loads without one of their consumers, which no task may name any more.

    Parameters
    ----------
    loads : AircraftLoads
    name : str

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        It is none of them, or a task names it; says which.
    """
    gone = loads.consumer(name)
    tasks = [task.name for task in loads.tasks if gone.name in (*task.needs, *task.wants)]
    if tasks:
        raise InputError(RUNS_IN.format(name=gone.name, tasks=", ".join(tasks)))
    return _whole(loads, consumers=tuple(one for one in loads.consumers if one is not gone))


def with_task(loads: AircraftLoads, told: dict[str, Any], was: str | None = None) -> AircraftLoads:
    """The loads with one task more, or one of them altered.

    Parameters
    ----------
    loads : AircraftLoads
    told : dict
        Name, minutes, needs and wants, by the names of the record; what is not in it stays as it
        was.
    was : str, optional
        Name of the task that is altered; it may get another one.

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        All that is wrong, each an `EntryError` of its own (``others``).
    """
    before = None if was is None else loads.task(was)
    faults = _name_faults(told, loads.tasks, was, TASK)
    known = {} if before is None else before.model_dump()
    task = _checked({**known, **told}, Task, faults)
    return _whole(loads, tasks=_exchanged(loads.tasks, before, task))


def without_task(loads: AircraftLoads, name: str) -> AircraftLoads:
    """The loads without one of their tasks; its consumers stay.

    Parameters
    ----------
    loads : AircraftLoads
    name : str

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        It is none of them.
    """
    gone = loads.task(name)
    return _whole(loads, tasks=tuple(one for one in loads.tasks if one is not gone))


def with_source(loads: AircraftLoads, told: dict[str, Any]) -> AircraftLoads:
    """The loads with what stands at their head: document, who said so, bus voltage, reserve.

    Parameters
    ----------
    loads : AircraftLoads
    told : dict
        By the names of the record; None takes an entry away.

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        All that is wrong, each an `EntryError` of its own (``others``).
    """
    return _whole(loads, **told)


def _name_faults(
    told: dict[str, Any], named: Iterable[Any], was: str | None, kind: str
) -> list[InputError]:
    """That another one has the name already; names with and without a space are one."""
    name = str(told.get("name") or "")
    others = {alike(one.name) for one in named} - ({alike(was)} if was else set())
    if not alike(name) or alike(name) not in others:
        return []
    return [EntryError("", "name", fixed(NAME_TAKEN.format(kind=kind)))]


def _checked(told: dict[str, Any], kind: type[RecordT], faults: list[InputError]) -> RecordT:
    """The record; refused with all that is wrong in it, alone and beside other entries."""
    told = {key: value for key, value in told.items() if value is not None}
    try:
        record = record_from(told, kind, "")
    except EntryError as error:
        found: list[InputError] = [error, *error.others]
        _say_missing(found)
        wrong = {one.key.split(".")[0] for one in found if isinstance(one, EntryError)} - {""}
        rest = {key: value for key, value in told.items() if key not in wrong}
        raise _all_of([*found, *_beside(rest, kind, wrong), *faults]) from None
    if faults:
        raise _all_of(faults)
    return record


def _say_missing(faults: list[InputError]) -> None:
    """Say of what is missing that it is, and not beside which other entry it is needed."""
    for one in faults:
        if isinstance(one, EntryError):
            one.beside = ()


def _beside(rest: dict[str, Any], kind: type[Any], wrong: set[str]) -> list[InputError]:
    """What is wrong between entries that are right by themselves."""
    if not wrong:
        return []
    fillers = {key: value for key, value in FILLERS[kind].items() if key in wrong}
    try:
        record_from({**rest, **fillers}, kind, "")
    except EntryError as error:
        return [error, *error.others]
    return []


def _all_of(faults: list[InputError]) -> InputError:
    first, *others = faults
    if isinstance(first, EntryError):
        first.others = tuple(others)
    return first


def _exchanged(records: tuple[RecordT, ...], was: RecordT | None, now: RecordT) -> tuple[Any, ...]:
    """The records with one in the place of another, or at the end."""
    if was is None:
        return (*records, now)
    return tuple(now if one is was else one for one in records)


def _with_consumer_in(
    task: Task, was: str | None, name: str, needed: tuple[str, ...], useful: tuple[str, ...]
) -> Task:
    """The task with a consumer as told: among what it needs, what is useful, or neither."""
    return task.model_copy(
        update={
            "needs": _listed(task.needs, was, name, task.name in needed),
            "wants": _listed(task.wants, was, name, task.name in useful),
        }
    )


def _listed(names: tuple[str, ...], was: str | None, name: str, is_in: bool) -> tuple[str, ...]:
    if is_in and was in names:
        return tuple(name if one == was else one for one in names)
    rest = tuple(one for one in names if one not in (was, name))
    return (*rest, name) if is_in else rest


def _whole(loads: AircraftLoads, **changed: Any) -> AircraftLoads:
    """The loads with changes, checked as a whole."""
    kept = {name: getattr(loads, name) for name in AircraftLoads.model_fields}
    return record_from({**kept, **changed}, AircraftLoads, loads.tail)
