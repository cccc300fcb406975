"""Entries that are told twice are kept once: a second press, or a command that is repeated."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TypeVar

from batterymodel.inputs.records import Record
from batterymodel.store.entries import Entry
from batterymodel.store.records import (
    CardRevision,
    LoadConfiguration,
    LoadPlan,
    Move,
    day_of,
)
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_RECORD

RecordT = TypeVar("RecordT", bound=Record)

IN_SEQUENCE: dict[type[Record], tuple[str, ...]] = {
    Move: ("battery_id",),
    CardRevision: ("battery_id",),
    LoadPlan: ("aircraft_id",),
    LoadConfiguration: ("aircraft_id", "name"),
}
"""Kinds of which the last of a day is in force: going back to an earlier one is news. With the
fields that say what it is in force of."""


def add_once(store: Store, record: RecordT, *besides: str) -> tuple[Entry[RecordT], bool]:
    """The entry of a record, written only where the record does not hold the same already.

    Parameters
    ----------
    store : Store
    record : Record
        Of a kind the store keeps.
    *besides : str
        Fields that may differ, such as a note: the first writing stays.

    Returns
    -------
    entry : Entry
    was_there : bool

    Raises
    ------
    InputError
        A record that cannot be put into the store.
    """
    with store.writing():
        there = [e for e in _of_its_day(store, record) if _same(e.record, record, besides)]
        return (there[-1], True) if there else (store.add(record), False)


def _of_its_day(store: Store, record: RecordT) -> list[Entry[RecordT]]:
    """Entries of its kind and parents; of a sequence only the one in force on its day."""
    parents = IN_SEQUENCE.get(type(record)) or _parents(record)
    values = {name: getattr(record, name) for name in parents}
    found = store.entries(type(record), **{name: v for name, v in values.items() if v is not None})
    if type(record) not in IN_SEQUENCE:
        return list(found)
    return [entry for entry in found if day_of(entry.record) == day_of(record)][-1:]


def _parents(record: Record) -> Iterable[str]:
    """Fields that name the entry a record belongs to."""
    return KIND_OF_RECORD[type(record)].parents


def _same(one: Record, other: Record, besides: tuple[str, ...]) -> bool:
    return one.model_dump(exclude=set(besides)) == other.model_dump(exclude=set(besides))
