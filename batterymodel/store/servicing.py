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


def add_servicing(
    store: Store,
    serial: str,
    found: ServicingFound,
    on: date,
    capacity_ah: float | None = None,
    note: str | None = None,
    *,
    again: bool = False,
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
    again : bool
        The capacity was measured once more, within days of a check of the same capacity.

    Returns
    -------
    entry : Entry of Servicing
    was_there : bool

    Raises
    ------
    InputError
        A battery that is not there, a day still to come or before the installation, a capacity
        that is missing, told beside another find, cannot be a battery's or may be that of a check
        on record of another day; nothing is added.
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
            check_id = add_check(store, check, again=again).entry.id
        told = {**about, "found": found, "check_id": check_id, "note": note}
        servicing = record_from(told, Servicing, "what servicing found")
        refuse_day_of(store, servicing, "what servicing found")
        return add_once(store, servicing, "note")
