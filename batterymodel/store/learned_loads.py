"""Consumers' currents as the connections on record taught them, load step by load step."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from batterymodel.budget.learned import learned_from, with_learned
from batterymodel.budget.results import Learned
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.load_plan import LONGEST_NAME, AircraftLoads
from batterymodel.store.as_of import latest
from batterymodel.store.entries import Entry
from batterymodel.store.intake import readings_of
from batterymodel.store.power import add_load_plan, loads_in_force
from batterymodel.store.records import Connection, LoadPlan
from batterymodel.store.store import Store

BY_HAND = " and altered by hand"
"""Said behind the name of who told an aircraft's loads, before the day of the alteration."""


@dataclass(frozen=True)
class LearnedLoads:
    """Loads with what was learned: ``names`` of the consumers, from so many ``connections``."""

    loads: AircraftLoads
    names: tuple[str, ...] = ()
    connections: int = 0


def learned_loads(store: Store, loads: AircraftLoads, but: str | None = None) -> LearnedLoads:
    """An aircraft's loads with what the load steps of its connections teach, oldest first.

    A consumer whose entry rests on readings already learns from connections after the day of the
    load plan only, so that no step counts twice.

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
    told, names, connections = loads, dict[str, None](), 0
    with store.reading():
        aircraft = store.aircraft(loads.tail)
        for entry in store.entries(Connection, aircraft_id=aircraft.id):
            found = () if entry.id == but else _taught_by(store, entry, loads, told)
            if found:
                loads, connections = with_learned(loads, found), connections + 1
                names.update(dict.fromkeys(one.name for one in found))
    return LearnedLoads(loads, tuple(names), connections)


def _taught_by(
    store: Store, entry: Entry[Connection], so_far: AircraftLoads, told: AircraftLoads
) -> tuple[Learned, ...]:
    """What a connection teaches beyond what is known so far."""
    try:
        readings = readings_of(store, entry.record)
        found = learned_from(so_far, readings, entry.record.supply) if readings.events else ()
    except BatteryModelError:
        return ()
    counted = told.on is not None and entry.record.day <= told.on
    known = {one.name for one in told.consumers if one.readings} if counted else set()
    return tuple(one for one in found if one.name not in known)


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
        return add_load_plan(store, tail, _told_by_hand(before, altered, on), on)


def _told_by_hand(before: AircraftLoads, altered: AircraftLoads, on: date) -> AircraftLoads:
    """The altered loads of that day: who had told the others did so earlier.

    A name that becomes too long is left out rather than cut.
    """
    update: dict[str, object] = {"on": on}
    source = ("document", "said_by")
    kept = all(getattr(before, name) == getattr(altered, name) for name in source)
    told = altered.said_by
    if told is not None and kept and not told.endswith(BY_HAND):
        day = "" if before.on is None else f" on {before.on}"
        said = f"{told}{day}{BY_HAND}"
        update["said_by"] = said if len(said) <= LONGEST_NAME else None
    return altered.model_copy(update=update)
