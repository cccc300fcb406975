"""Consumers' currents as the connections on record taught them, load step by load step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from math import isclose

from batterymodel.basis.text import alike
from batterymodel.budget.learned import learned_from, with_learned
from batterymodel.budget.results import Learned
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.load_edits import SAME_A
from batterymodel.inputs.load_plan import AircraftLoads, Consumer
from batterymodel.store.as_of import latest
from batterymodel.store.entries import Entry
from batterymodel.store.power import add_load_plan, loads_in_force
from batterymodel.store.records import Connection, LoadConfiguration, LoadPlan
from batterymodel.store.store import Store
from batterymodel.store.told_readings import readings_of

Since = tuple[date, datetime | None]
"""The day a figure was told for, and when that was written down, where it is known."""


@dataclass(frozen=True)
class LearnedLoads:
    """Loads with what was learned: ``names`` of the consumers, from so many ``connections``.

    ``said_first`` is the day since which the same document and the same person are named for them.
    """

    loads: AircraftLoads
    names: tuple[str, ...] = ()
    connections: int = 0
    said_first: date | None = None


def learned_loads(store: Store, loads: AircraftLoads, but: str | None = None) -> LearnedLoads:
    """An aircraft's loads with what the load steps of its connections teach, oldest first.

    A consumer whose entry rests on readings already learns from connections after the load plan
    only, so that no step counts twice; one of which another current was told than before, from
    connections after that: those before it speak of what was corrected.

    Parameters
    ----------
    store : Store
    loads : AircraftLoads
        As told, under the tail of an aircraft on record.
    but : str, optional
        Id of a connection that is left out: the one that is looked at.

    Returns
    -------
    LearnedLoads
        Connections that cannot be read, or in which nothing that is named was switched, teach
        nothing.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    names, connections = dict[str, None](), 0
    with store.reading():
        aircraft = store.aircraft(loads.tail)
        plans = plans_up_to(store, loads)
        since = _told_since(loads, plans)
        for entry in store.entries(Connection, aircraft_id=aircraft.id):
            found = () if entry.id == but else _taught_by(store, entry, loads, since)
            if found:
                loads, connections = with_learned(loads, found), connections + 1
                names.update(dict.fromkeys(one.name for one in found))
    return LearnedLoads(loads, tuple(names), connections, _said_first(plans))


def _taught_by(
    store: Store, entry: Entry[Connection], so_far: AircraftLoads, since: dict[str, Since]
) -> tuple[Learned, ...]:
    """What a connection teaches beyond what is known so far."""
    try:
        readings = readings_of(store, entry.record)
        found = learned_from(so_far, readings, entry.record.supply) if readings.events else ()
    except BatteryModelError:
        return ()
    after = _told_after(since, entry.record.day, _moment_of(store, entry)) if found else ()
    return tuple(one for one in found if one.name not in after)


def told_after(
    store: Store, loads: AircraftLoads, entry_id: str | None, read_at: datetime | None
) -> frozenset[str]:
    """Consumers of which another current was told after a connection: it teaches nothing of them.

    Those that rest on readings are compared with it all the same.

    Parameters
    ----------
    store : Store
    loads : AircraftLoads
        As told.
    entry_id : str or None
        Of a connection on record.
    read_at : datetime or None
        The last reading of one in progress, with its UTC offset.

    Returns
    -------
    frozenset of str
    """
    with store.reading():
        anew = {one.name for one in loads.consumers if not one.readings}
        every = _told_since(loads, plans_up_to(store, loads))
        since = {name: told for name, told in every.items() if name in anew}
        if read_at is not None:
            return _told_after(since, read_at.astimezone().date(), read_at)
        if entry_id is None:
            return frozenset()
        entry: Entry[Connection] = store.entry(entry_id)
        return _told_after(since, entry.record.day, _moment_of(store, entry))


def _told_after(since: dict[str, Since], day: date, moment: datetime) -> frozenset[str]:
    """Names of what was told on a later day, or later on the same."""
    return frozenset(
        name
        for name, (told_on, written_at) in since.items()
        if day < told_on or (day == told_on and (written_at is None or moment <= written_at))
    )


def _moment_of(store: Store, entry: Entry[Connection]) -> datetime:
    """When a connection began, by its clock; else when it was written down."""
    began = entry.record.started_at
    if began is not None and began.tzinfo is not None:
        return began
    return store.history(entry.id)[0].recorded_at


def plans_up_to(store: Store, loads: AircraftLoads) -> tuple[Entry[LoadPlan], ...]:
    """The load plans of an aircraft up to the one that holds these loads, oldest first.

    Parameters
    ----------
    store : Store
    loads : AircraftLoads

    Returns
    -------
    tuple of Entry
        Empty where none holds them.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    aircraft = store.aircraft(loads.tail)
    plans = sorted(store.entries(LoadPlan, aircraft_id=aircraft.id), key=lambda entry: entry.order)
    named = loads.model_copy(update={"tail": ""})
    last = [
        place
        for place, plan in enumerate(plans)
        if plan.record.loads.model_copy(update={"tail": ""}) == named
    ]
    return tuple(plans[: last[-1] + 1]) if last else ()


def said_first(store: Store, loads: AircraftLoads) -> date | None:
    """The day since which the same document and the same person are named for loads on record.

    Parameters
    ----------
    store : Store
    loads : AircraftLoads

    Returns
    -------
    date or None
        None where they are not on record.
    """
    with store.reading():
        return _said_first(plans_up_to(store, loads))


def choice_said_first(store: Store, chosen: LoadConfiguration) -> date | None:
    """The day since which the document and the person of a kept configuration are named.

    Its ``said_on`` is the day of the last alteration before it was chosen.

    Parameters
    ----------
    store : Store
    chosen : LoadConfiguration

    Returns
    -------
    date or None
        None where no plan up to that day names both.
    """
    if chosen.said_on is None:
        return None
    with store.reading():
        every = store.entries(LoadPlan, aircraft_id=chosen.aircraft_id)
    plans = sorted((e for e in every if e.record.on <= chosen.said_on), key=lambda e: e.order)
    while plans and _source_of(plans[-1]) != (chosen.document, chosen.said_by):
        plans.pop()
    return _said_first(tuple(plans))


def _source_of(plan: Entry[LoadPlan]) -> tuple[str | None, str | None]:
    return plan.record.loads.document, plan.record.loads.said_by


def _told_since(loads: AircraftLoads, plans: tuple[Entry[LoadPlan], ...]) -> dict[str, Since]:
    """By consumer, the day and moment from which on connections teach of it; all, without."""
    last = (loads.on, None) if not plans else (plans[-1].record.on, plans[-1].recorded_at)
    found: dict[str, Since] = {}
    for one in loads.consumers:
        told_on, at = last if one.readings else _told_anew(one, plans)
        if told_on is not None:
            found[one.name] = (told_on, at)
    return found


def _told_anew(
    consumer: Consumer, plans: tuple[Entry[LoadPlan], ...]
) -> tuple[date | None, datetime | None]:
    """The plan that gave a consumer another current than those before it; None where none did."""
    since: tuple[date | None, datetime | None] = (None, None)
    before_a: float | None = None
    for plan in plans:
        for one in plan.record.loads.consumers:
            if alike(one.name) != alike(consumer.name):
                continue
            if before_a is not None and not isclose(one.continuous_a, before_a, abs_tol=SAME_A):
                since = (plan.record.on, plan.recorded_at)
            before_a = one.continuous_a
    return since


def _said_first(plans: tuple[Entry[LoadPlan], ...]) -> date | None:
    """The day of the first of the last plans in a row that name the same document and person."""
    day = None
    for plan in reversed(plans):
        if _source_of(plan) != _source_of(plans[-1]):
            break
        day = plan.record.on
    return day


def loads_to_alter(store: Store, tail: str, on: date) -> AircraftLoads:
    """An aircraft's loads in force as a plan of a later day must hold them to lose nothing.

    Parameters
    ----------
    store : Store
    tail : str
    on : date
        The day.

    Returns
    -------
    AircraftLoads
        A consumer whose entry rests on readings with what later connections taught of it: from
        that day on those would teach it nothing. No consumers where none are on record.

    Raises
    ------
    InputError
        An aircraft that is not on record.
    """
    with store.reading():
        told = loads_in_force(store, tail, on)
        if told is None:
            return AircraftLoads(tail=store.aircraft(tail).record.tail, consumers=())
        if not any(one.readings for one in told.consumers):
            return told
        taught = {one.name: one for one in learned_loads(store, told).loads.consumers}
    rows = tuple(taught[one.name] if one.readings else one for one in told.consumers)
    return told.model_copy(update={"consumers": rows})


def alter_loads(
    store: Store, tail: str, change: Callable[[AircraftLoads], AircraftLoads], on: date
) -> tuple[Entry[LoadPlan], bool]:
    """One change of an aircraft's loads as another load plan, in force from its day on.

    Where a plan is on record for a day to come (tomorrow, by the clocks of the world), the change
    is made in that one too: it would be gone when that comes into force.

    Parameters
    ----------
    store : Store
    tail : str
    change : callable
        From `loads_to_alter` to the altered ones.
    on : date
        The day.

    Returns
    -------
    entry : Entry
    was_there : bool
        The change altered nothing.

    Raises
    ------
    InputError
        An aircraft that is not on record, or whatever the change refuses.
    """
    with store.writing():
        before = loads_to_alter(store, tail, on)
        altered = change(before)
        plans = store.entries(LoadPlan, aircraft_id=store.aircraft(tail).id)
        in_force = latest(plans, on)
        if in_force is not None and altered == before:
            return in_force, True
        kept = add_load_plan(store, tail, altered.model_copy(update={"on": on}), on)
        for ahead in sorted({plan.record.on for plan in plans if plan.record.on > on}):
            then = change(loads_to_alter(store, tail, ahead)).model_copy(update={"on": ahead})
            add_load_plan(store, tail, then, ahead)
        return kept
