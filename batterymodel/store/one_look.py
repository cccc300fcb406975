"""One look at the record: what was read of it is not read again before the look ends."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, TypeVar

from batterymodel.inputs.records import Battery, Record
from batterymodel.store.as_of import battery_in_force
from batterymodel.store.entries import Entry
from batterymodel.store.records import BatteryPlate, Connection
from batterymodel.store.store import Store

RecordT = TypeVar("RecordT", bound=Record)


class OneLook:
    """A store's entries, each kind read once; `one_look` makes one.

    It sees one moment of the record, and is of no use once the look has ended.

    Parameters
    ----------
    store : Store
    """

    def __init__(self, store: Store) -> None:
        """Look at a store that is being read."""
        self._store = store
        self._kinds: dict[tuple[Any, ...], tuple[Entry[Any], ...]] = {}
        self._entries: dict[str, Entry[Any]] = {}
        self._histories: dict[str, tuple[Entry[Any], ...]] = {}

    def entries(self, record: type[RecordT], **equal: object) -> tuple[Entry[RecordT], ...]:
        """Present entries of a kind whose fields equal those given.

        Parameters
        ----------
        record : type of Record
            The kind, by its record's class.
        **equal : object
            Field names and the values they must have.

        Returns
        -------
        tuple of Entry
            In order of their day.
        """
        wanted = (record, *sorted(equal.items()))
        if wanted not in self._kinds:
            found = self._kinds[wanted] = self._store.entries(record, **equal)
            for entry in found:
                self._entries[entry.id] = entry
                if entry.replaces is None:
                    self._histories[entry.id] = (entry,)
        return self._kinds[wanted]

    def entry(self, entry_id: str) -> Entry[Any]:
        """The present row of an entry, deleted or not.

        Parameters
        ----------
        entry_id : str
            `Entry.id`, the same through all corrections.

        Returns
        -------
        Entry

        Raises
        ------
        InputError
            An id that is not in the record.
        """
        if entry_id not in self._entries:
            self._entries[entry_id] = self._store.entry(entry_id)
        return self._entries[entry_id]

    def history(self, entry_id: str) -> tuple[Entry[Any], ...]:
        """Every row of an entry, first writing first.

        Parameters
        ----------
        entry_id : str

        Returns
        -------
        tuple of Entry

        Raises
        ------
        InputError
            An id that is not in the record.
        """
        if entry_id not in self._histories:
            self._histories[entry_id] = self._store.history(entry_id)
        return self._histories[entry_id]

    def battery_before(self, plate: Entry[BatteryPlate], connection: Entry[Connection]) -> Battery:
        """The battery as a connection of it found it, without what that connection taught.

        Parameters
        ----------
        plate : Entry of BatteryPlate
        connection : Entry of Connection

        Returns
        -------
        Battery
        """
        told = connection.record
        return battery_in_force(self, plate, told.day, told.started_at, connection.id)


@contextmanager
def one_look(store: Store) -> Iterator[OneLook]:
    """A look at one moment of the record.

    Parameters
    ----------
    store : Store

    Yields
    ------
    OneLook
    """
    with store.reading():
        yield OneLook(store)
