"""What servicing found of a battery, taken into the record; a capacity goes in as a check.

A check that the bench entered itself is that check, told once more: it is named, not added.
"""

from __future__ import annotations

from datetime import date

from batterymodel.errors import InputError
from batterymodel.inputs.records import record_from
from batterymodel.store.entries import Entry
from batterymodel.store.intake import add_check, refuse_day_of
from batterymodel.store.once import add_once
from batterymodel.store.records import BenchCheck, Servicing, ServicingFound
from batterymodel.store.store import Store

SAME_CAPACITY_AH = 0.05
"""Capacities of one day that lie no further apart are one capacity [Ah] (own choice: they are told
to a tenth)."""


def add_servicing(
    store: Store,
    serial: str,
    found: ServicingFound,
    on: date,
    capacity_ah: float | None = None,
    note: str | None = None,
) -> tuple[Entry[Servicing], bool]:
    """What servicing found of a battery, kept once; a capacity with its own check, in one go.

    Parameters
    ----------
    store : Store
    serial : str
    found : ServicingFound
    on : date
        Day it was found.
    capacity_ah : float, optional
        As measured, at the reference temperature [Ah]; with `CAPACITY`, and with that alone.
    note : str, optional

    Returns
    -------
    entry : Entry of Servicing
    was_there : bool

    Raises
    ------
    InputError
        A battery that is not there, a day still to come or before the installation, a capacity
        that is missing, told beside another find or cannot be a battery's; nothing is added.
    """
    if (found is ServicingFound.CAPACITY) != (capacity_ah is not None):
        raise InputError(
            "what servicing found: a capacity in ampere-hours is told where a capacity was "
            "measured, and not beside another find"
        )
    with store.writing():
        plate = store.plate(serial)
        about = {"battery_id": plate.id, "on": on}
        check_id = None
        if capacity_ah is not None:
            told = {**about, "capacity_ah": capacity_ah, "note": note}
            check = record_from(told, BenchCheck, "capacity as servicing measured it")
            check_id = _on_record(store, check) or add_check(store, check).entry.id
        told = {**about, "found": found, "check_id": check_id, "note": note}
        servicing = record_from(told, Servicing, "what servicing found")
        refuse_day_of(store, servicing, "what servicing found")
        return add_once(store, servicing, "note")


def _on_record(store: Store, check: BenchCheck) -> str | None:
    """The bench's own entry of a check, of the same day and capacity and to its end."""
    of_day = {"battery_id": check.battery_id, "on": check.on, "is_lower_bound": False}
    for entry in store.entries(BenchCheck, **of_day):
        if abs(entry.record.capacity_ah - check.capacity_ah) <= SAME_CAPACITY_AH:
            return entry.id
    return None
