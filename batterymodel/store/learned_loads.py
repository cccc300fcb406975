"""Consumers' currents as the connections on record taught them, load step by load step."""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.budget.learned import learned_from, with_learned
from batterymodel.budget.results import Learned
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.store.entries import Entry
from batterymodel.store.intake import readings_of
from batterymodel.store.records import Connection
from batterymodel.store.store import Store


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
