"""The record store: what pages and command line read and write."""

from __future__ import annotations

import hashlib
import threading
import uuid
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any, TypeVar

from sqlalchemy import Engine, event, func, select, text
from sqlalchemy.orm import Session

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError, StoreError
from batterymodel.inputs.records import Battery, Record
from batterymodel.store import as_of, entries
from batterymodel.store.engine import (
    engine_for,
    for_reading,
    for_writing,
    place_of,
    url_from,
    wait_for_writers,
)
from batterymodel.store.entries import Deletion, Entry
from batterymodel.store.faults import said_plainly
from batterymodel.store.records import MAX_FILE_BYTES, Aircraft, BatteryPlate
from batterymodel.store.tables import KINDS, FileRow, InProgressRow
from batterymodel.store.upgrade import bring_up_to_date

RecordT = TypeVar("RecordT", bound=Record)


def utc_now() -> datetime:
    """The moment, in UTC."""
    return datetime.now(UTC)


def random_id() -> str:
    """A new id that no other record has."""
    return str(uuid.uuid4())


def open_store(url: str | Path | None = None) -> Store:
    """Open the record, making or migrating its tables.

    Parameters
    ----------
    url : str or Path, optional
        Path of a SQLite file, or a database URL (``sqlite:///...``, ``postgresql://...``); else
        the variable ``BATTERYMODEL_DATABASE_URL``, else a file in the user's data folder.

    Returns
    -------
    Store
        ``store.backup`` is the copy written before an older SQLite database was migrated.

    Raises
    ------
    StoreError
        One sentence: no folder, not a database, damaged, locked, full, newer than this version.
    """
    database = url_from(url)
    where = place_of(database)
    engine = engine_for(database)
    return Store(engine, where, backup=bring_up_to_date(engine, where))


class Store:
    """The record of one fleet. Rows are only added; every write is one transaction.

    Methods that name a battery or an aircraft take its serial or tail; ids are those of
    `Entry.id`. All raise `StoreError` for faults of the database and `InputError` for what is
    not in the record or cannot be put into it.

    Parameters
    ----------
    engine : Engine
        Its tables are up to date; `open_store` makes one.
    where : str
        Name of the place in messages.
    backup : Path, optional
        Copy that was made before the tables were brought up to date.
    now : callable
        Gives the moment of writing, with its UTC offset.
    new_id : callable
        Gives a new id at each call, spelled as `UUID_PATTERN` has it.
    """

    def __init__(
        self,
        engine: Engine,
        where: str,
        *,
        backup: Path | None = None,
        now: Callable[[], datetime] = utc_now,
        new_id: Callable[[], str] = random_id,
    ) -> None:
        """Work on an engine whose tables are up to date; `open_store` makes one."""
        self.engine, self.where, self.backup = engine, where, backup
        self.now, self.new_id = now, new_id
        self._open = threading.local()

    def with_clock(self, now: Callable[[], datetime], new_id: Callable[[], str]) -> Store:
        """The same record with another clock and other new ids, for data made by script.

        Parameters
        ----------
        now : callable
            Gives the moment of writing, with its UTC offset.
        new_id : callable
            Gives a new id at each call, spelled as `UUID_PATTERN` has it.

        Returns
        -------
        Store
        """
        return Store(self.engine, self.where, now=now, new_id=new_id)

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One write transaction; writes inside it are kept together or not at all."""
        inside = getattr(self._open, "session", None)
        if inside is not None:
            yield inside
            return
        with said_plainly(self.where), Session(for_writing(self.engine)) as session:
            event.listen(session, "before_flush", _only_adds)
            with session.begin():
                wait_for_writers(session.connection())
                self._open.session = session
                try:
                    yield session
                finally:
                    self._open.session = None

    @contextmanager
    def reading(self) -> Iterator[Session]:
        """A look at one moment of the record; inside a write, at what it has written so far."""
        inside = getattr(self._open, "session", None) or getattr(self._open, "look", None)
        if inside is not None:
            yield inside
            return
        with said_plainly(self.where), Session(for_reading(self.engine)) as session:
            self._open.look = session
            try:
                yield session
            finally:
                self._open.look = None

    def add(self, record: RecordT) -> Entry[RecordT]:
        """Write a new entry.

        Parameters
        ----------
        record : Record
            Of one of the kinds in `KINDS`.

        Returns
        -------
        Entry
            With the id it now has.

        Raises
        ------
        InputError
            A name that another entry of the kind has, or a parent that is missing, deleted or of
            another kind.
        StoreError
            A fault of the database.
        """
        with self.writing() as session:
            return entries.added(session, record, self.now(), self.new_id())

    def correct(self, entry_id: str, record: RecordT, reason: str) -> Entry[RecordT]:
        """Correct an entry; the row it replaces stays in `history`.

        Parameters
        ----------
        entry_id : str
        record : Record
            The whole record as it should have been, of the same class as the old one.
        reason : str
            Why, in a few words.

        Returns
        -------
        Entry
            As it is now.

        Raises
        ------
        InputError
            Another kind of record, a deleted or missing entry, no reason, nothing changed, or what
            `add` refuses.
        StoreError
            A fault of the database.
        """
        with self.writing() as session:
            return entries.corrected(session, entry_id, record, reason, self.now(), self.new_id())

    def delete(self, entry_ids: str | Iterable[str], reason: str) -> Deletion:
        """Take entries and all that belongs to them out of sight; `restore` brings them back.

        Parameters
        ----------
        entry_ids : str or iterable of str
            Ids that go in one deletion.
        reason : str
            Why, in a few words.

        Returns
        -------
        Deletion
            Its `id` is what `restore` takes.

        Raises
        ------
        InputError
            An entry that is missing or deleted already, or no reason.
        StoreError
            A fault of the database.
        """
        ids = [entry_ids] if isinstance(entry_ids, str) else list(entry_ids)
        with self.writing() as session:
            return entries.deleted(session, ids, reason, self.now(), self.new_id)

    def restore(self, some_id: str, reason: str = "restored") -> Deletion:
        """Undo a deletion by its id, or by the id of an entry that went with it.

        Parameters
        ----------
        some_id : str
            `Deletion.id` or `Entry.id`.
        reason : str
            Why, in a few words; empty is refused.

        Returns
        -------
        Deletion
            The one that was undone.

        Raises
        ------
        InputError
            Nothing deleted under that id, no reason, a parent that is still deleted, or a name
            taken meanwhile.
        StoreError
            A fault of the database.
        """
        with self.writing() as session:
            return entries.restored(session, some_id, reason, self.now(), self.new_id)

    def going_with(self, entry_id: str) -> dict[str, str]:
        """What a deletion of the entry would take with it: id to table, itself included.

        Parameters
        ----------
        entry_id : str

        Returns
        -------
        dict of str to str
            The entry itself first.

        Raises
        ------
        InputError
            An id that is not in the record.
        """
        with self.reading() as session:
            kind, entry = entries.present_entry(session, entry_id)
            return {entry.id: kind.table} | entries.belonging(session, kind, entry_id)

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
        with self.reading() as session:
            return entries.present_entry(session, entry_id)[1]

    def entries(self, record: type[RecordT], **equal: object) -> tuple[Entry[RecordT], ...]:
        """Present entries of a kind whose fields equal those given, in order of their day.

        Parameters
        ----------
        record : type of Record
            The kind, by its record's class.
        **equal : object
            Field names and the values they must have; none for the whole kind.

        Returns
        -------
        tuple of Entry
            Without those that are deleted.
        """
        with self.reading() as session:
            return entries.live_entries(session, record, **equal)

    def history(self, entry_id: str) -> tuple[Entry[Any], ...]:
        """Every row of an entry, first writing first.

        Parameters
        ----------
        entry_id : str

        Returns
        -------
        tuple of Entry
            The present row is the last one.

        Raises
        ------
        InputError
            An id that is not in the record.
        """
        with self.reading() as session:
            return entries.all_rows(session, entry_id)

    def deletions(self) -> tuple[Deletion, ...]:
        """Deletions that were not undone, oldest first."""
        with self.reading() as session:
            rows = entries.standing_deletions(session)
            acts = {row.act_id: row for row in reversed(rows)}
            gone: dict[str, list[tuple[str, str]]] = {act: [] for act in acts}
            for row in rows:
                gone[row.act_id].append((row.table_name, row.entry_id))
        found = [
            Deletion(act, row.recorded_at, row.reason, tuple(gone[act]))
            for act, row in acts.items()
        ]
        return tuple(sorted(found, key=lambda deletion: (deletion.recorded_at, deletion.id)))

    def aircraft(self, tail: str) -> Entry[Aircraft]:
        """The aircraft of a tail.

        Parameters
        ----------
        tail : str
            Spelled as on record; invisible characters do not count.

        Returns
        -------
        Entry of Aircraft

        Raises
        ------
        InputError
            A tail that is not in the record.
        """
        found = self.entries(Aircraft, tail=one_line(tail))
        if not found:
            raise InputError(f"there is no aircraft '{tail}' in the record; add it first")
        return found[0]

    def plate(self, serial: str) -> Entry[BatteryPlate]:
        """The battery of a serial, as its plate says.

        Parameters
        ----------
        serial : str
            Spelled exactly as on record.

        Returns
        -------
        Entry of BatteryPlate

        Raises
        ------
        InputError
            A serial that is not in the record.
        """
        found = self.entries(BatteryPlate, serial=one_line(serial))
        if not found:
            raise InputError(f"there is no battery '{serial}' in the record; add it first")
        return found[0]

    def battery(
        self,
        serial: str,
        on: date | None = None,
        before: datetime | None = None,
        again: str | None = None,
    ) -> Battery:
        """The battery with what is in force on a day.

        Parameters
        ----------
        serial : str
        on : date, optional
            Later entries are left out; None takes the latest of everything.
        before : datetime, optional
            Leaves out connections of the day `on` that started at this moment or later.
        again : str, optional
            Id of a connection on record that is assessed once more, as if it were not there yet.

        Returns
        -------
        Battery
            As `assess` takes it.

        Raises
        ------
        InputError
            A serial that is not in the record.
        """
        with self.reading():
            return as_of.battery_in_force(self, self.plate(serial), on, before, again)

    def aircraft_of(self, serial: str, on: date | None = None) -> Entry[Aircraft] | None:
        """The aircraft a battery is in on a day; None while it is off aircraft.

        Parameters
        ----------
        serial : str
        on : date, optional
            None goes by the last move of all.

        Returns
        -------
        Entry of Aircraft or None

        Raises
        ------
        InputError
            A serial that is not in the record.
        """
        with self.reading():
            return as_of.aircraft_in_force(self, self.plate(serial).id, on)

    def keep_file(self, content: bytes) -> str:
        """Keep the bytes exactly as they are, once however often they are given.

        Parameters
        ----------
        content : bytes
            At most `MAX_FILE_BYTES`.

        Returns
        -------
        str
            Their SHA-256, by which records name the file: 64 hexadecimal digits.

        Raises
        ------
        InputError
            Too many bytes.
        StoreError
            A fault of the database.
        """
        if len(content) > MAX_FILE_BYTES:
            raise InputError(
                f"a file of {len(content):,} bytes is too large; the record keeps files up to "
                f"{MAX_FILE_BYTES:,} bytes"
            )
        sha256 = hashlib.sha256(content).hexdigest()
        with self.writing() as session:
            known = session.scalar(select(FileRow.sha256).where(FileRow.sha256 == sha256))
            if known is None:
                session.add(FileRow(sha256=sha256, content=content))
                session.flush()
        return sha256

    def file(self, sha256: str) -> bytes:
        """The bytes of a kept file, checked against their SHA-256.

        Parameters
        ----------
        sha256 : str
            As `keep_file` gave it.

        Returns
        -------
        bytes

        Raises
        ------
        InputError
            A file that is not in the record.
        StoreError
            Bytes that do not fit their SHA-256, or a fault of the database.
        """
        with self.reading() as session:
            content = session.scalar(select(FileRow.content).where(FileRow.sha256 == sha256))
        if content is None:
            raise InputError(f"there is no file {sha256} in the record")
        if hashlib.sha256(content).hexdigest() != sha256:
            raise StoreError(f"{self.where}: file {sha256} is damaged; go on from a backup")
        return content

    def is_empty(self) -> bool:
        """Whether nothing was ever written into the record."""
        with self.reading() as session:
            tables: tuple[type[Any], ...] = (*(kind.row for kind in KINDS), InProgressRow)
            return not any(session.scalar(select(func.count()).select_from(t)) for t in tables)

    def faults(self) -> tuple[str, ...]:
        """What the database's own check finds wrong; empty where all is well (SQLite only)."""
        if self.engine.dialect.name != "sqlite":
            return ()
        with self.reading() as session:
            found = session.scalars(text("PRAGMA integrity_check")).all()
            strays = session.execute(text("PRAGMA foreign_key_check")).all()
        return tuple(f for f in found if f != "ok") + tuple(f"stray row {row}" for row in strays)


def _only_adds(session: Session, _context: object, _objects: object) -> None:
    changed = [row for row in session.dirty if session.is_modified(row)]
    if changed or session.deleted:
        raise StoreError("a row of the record cannot be changed; write a correction instead")
