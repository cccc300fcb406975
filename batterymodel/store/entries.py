"""Entries and their rows: add, correct, delete, restore, and how each came to be as it is.

Every function works in a session that the store opened. An *entry* is one thing told to the
record; its *rows* are its first writing and its corrections. The entry keeps the id of its first
row, so that what refers to it need not change when it is corrected.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from functools import cache
from typing import Any, Generic, TypeVar

from sqlalchemy import ColumnElement, Select, exists, select
from sqlalchemy.orm import Session, aliased, object_session

from batterymodel.basis.text import alike, one_line
from batterymodel.errors import InputError
from batterymodel.inputs.records import Record, record_from
from batterymodel.store.records import day_of
from batterymodel.store.tables import (
    KIND_OF_RECORD,
    KIND_OF_TABLE,
    KINDS,
    DeletionRow,
    EntryRow,
    Kind,
    RestorationRow,
)

RecordT = TypeVar("RecordT", bound=Record)

BOOKKEEPING = ("row_id", "entry_id", "recorded_at", "replaces", "correction_reason")
"""What a row holds beside its record."""


@dataclass(frozen=True)
class Entry(Generic[RecordT]):
    """One row of an entry: the record as it was written then, and how it came about.

    `id` stays the same through all corrections; `row_id` is this row's own.
    """

    id: str
    row_id: str
    recorded_at: datetime
    replaces: str | None
    correction_reason: str | None
    record: RecordT
    first_recorded_at: datetime

    @property
    def order(self) -> tuple[date, datetime, str]:
        """Order of entries: by their day, then by their first writing: a correction moves none."""
        return (day_of(self.record) or date.min, self.first_recorded_at, self.id)


@dataclass(frozen=True)
class Deletion:
    """Entries taken out of sight together, and restored together."""

    id: str
    recorded_at: datetime
    reason: str
    entries: tuple[tuple[str, str], ...]

    def __len__(self) -> int:
        return len(self.entries)


def entry_of(row: EntryRow, kind: Kind) -> Entry[Any]:
    """The row as an entry.

    Parameters
    ----------
    row : EntryRow
    kind : Kind
        The one of the row's table.

    Returns
    -------
    Entry

    Raises
    ------
    InputError
        Content that the record's model refuses, because other hands wrote it.
    """
    data = {name: getattr(row, name) for name in kind.record.model_fields}
    record = record_from(data, kind.record, f"{kind.word} {row.row_id} in the database")
    return Entry(
        row.entry_id,
        row.row_id,
        row.recorded_at,
        row.replaces,
        row.correction_reason,
        record,
        _first_recorded_at(row),
    )


def _first_recorded_at(row: EntryRow) -> datetime:
    session = None if row.replaces is None else object_session(row)
    first = None if session is None else session.get(type(row), row.entry_id)
    return row.recorded_at if first is None else first.recorded_at


def row_of(record: Record, kind: Kind, **bookkeeping: Any) -> EntryRow:
    """A new row for the record.

    Parameters
    ----------
    record : Record
    kind : Kind
        The one of the record's class.
    **bookkeeping : object
        Values of `BOOKKEEPING`; what is left out stays empty.

    Returns
    -------
    EntryRow
        In no session yet.
    """
    content = {name: getattr(record, name) for name in kind.record.model_fields}
    content = {k: str(v) if isinstance(v, StrEnum) else v for k, v in content.items()}
    return kind.row(**content, **bookkeeping)


def live_entries(
    session: Session, record: type[RecordT], **equal: object
) -> tuple[Entry[RecordT], ...]:
    """Present rows of the entries that are not deleted, in order of their day.

    Parameters
    ----------
    session : Session
    record : type of Record
        The kind, by its record's class.
    **equal : object
        Field names and the values they must have; none for the whole kind.

    Returns
    -------
    tuple of Entry
        Sorted by `Entry.order`.

    Raises
    ------
    InputError
        A row whose content was spoilt by other hands.
    """
    kind = KIND_OF_RECORD[record]
    wanted = [getattr(kind.row, name) == value for name, value in equal.items()]
    rows = session.scalars(live(kind).where(*wanted))
    return tuple(sorted((entry_of(row, kind) for row in rows), key=lambda entry: entry.order))


def live_values(session: Session, record: type[Record], *names: str) -> list[tuple[Any, ...]]:
    """Some fields of the present rows that are not deleted, without reading the others.

    Parameters
    ----------
    session : Session
    record : type of Record
        The kind, by its record's class.
    *names : str
        Fields of the record or of `BOOKKEEPING`.

    Returns
    -------
    list of tuple
        One for each row, in order of writing.
    """
    kind = KIND_OF_RECORD[record]
    columns = [getattr(kind.row, name) for name in names]
    wanted = select(*columns).where(_is_present(kind), ~_is_deleted(kind))
    ordered = wanted.order_by(kind.row.recorded_at, kind.row.row_id)
    return [tuple(row) for row in session.execute(ordered)]


def present_entry(session: Session, entry_id: str) -> tuple[Kind, Entry[Any]]:
    """The present row of an entry, deleted or not.

    Parameters
    ----------
    session : Session
    entry_id : str
        `Entry.id`; the `row_id` of a correction is none.

    Returns
    -------
    Kind, Entry

    Raises
    ------
    InputError
        An id that is not in the record.
    """
    for kind in KINDS:
        wanted = kind.row.entry_id == entry_id
        row = session.scalar(select(kind.row).where(wanted, _is_present(kind)))
        if row is not None:
            return kind, entry_of(row, kind)
    raise InputError(f"there is no entry {entry_id} in the record; 'show' and 'list' give the ids")


def all_rows(session: Session, entry_id: str) -> tuple[Entry[Any], ...]:
    """Every row of an entry, first writing first.

    Parameters
    ----------
    session : Session
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
    kind, _ = present_entry(session, entry_id)
    rows = session.scalars(select(kind.row).where(kind.row.entry_id == entry_id))
    after = {row.replaces: row for row in rows}
    ordered, last = [], None
    while (row := after.get(last)) is not None:
        ordered.append(entry_of(row, kind))
        last = row.row_id
    return tuple(ordered)


def added(session: Session, record: RecordT, now: datetime, new_id: str) -> Entry[RecordT]:
    """Write a new entry.

    Parameters
    ----------
    session : Session
        In a write transaction.
    record : Record
    now : datetime
        Moment of writing, with its UTC offset.
    new_id : str
        Id of the entry and of its first row.

    Returns
    -------
    Entry
        As it was written.

    Raises
    ------
    InputError
        A name that another entry of the kind has, or a parent that is missing, deleted or of
        another kind.
    """
    kind = KIND_OF_RECORD[type(record)]
    _check(session, kind, record, new_id)
    _refuse_alike(session, kind, record, new_id)
    row = row_of(record, kind, row_id=new_id, entry_id=new_id, recorded_at=now)
    session.add(row)
    session.flush()
    return entry_of(row, kind)


def corrected(
    session: Session, entry_id: str, record: Record, reason: str, now: datetime, new_id: str
) -> Entry[Any]:
    """Write a correction; the row it replaces stays readable.

    Parameters
    ----------
    session : Session
        In a write transaction.
    entry_id : str
    record : Record
        The whole record as it should have been, of the same class as the old one.
    reason : str
        Not empty; kept as one line.
    now : datetime
        Moment of writing, with its UTC offset.
    new_id : str
        Id of the new row; the entry keeps its own.

    Returns
    -------
    Entry
        As it is now.

    Raises
    ------
    InputError
        Another kind of record, a deleted or missing entry, a correction that changes nothing or
        has no reason, or what `added` refuses.
    """
    kind, old = present_entry(session, entry_id)
    if type(record) is not kind.record:
        raise InputError(f"entry {entry_id} is a {kind.word} and cannot become another kind")
    if deletions_of(session, [entry_id]):
        raise InputError(f"{kind.word} {entry_id} is deleted; restore it before correcting it")
    if record == old.record:
        raise InputError(f"the correction of {kind.word} {entry_id} changes nothing")
    _check(session, kind, record, entry_id)
    if _name_of(kind, record) != _name_of(kind, old.record):
        _refuse_alike(session, kind, record, entry_id)
    row = row_of(
        record,
        kind,
        row_id=new_id,
        entry_id=entry_id,
        recorded_at=now,
        replaces=old.row_id,
        correction_reason=_reason(reason, "a correction"),
    )
    session.add(row)
    session.flush()
    return entry_of(row, kind)


def deleted(
    session: Session, entry_ids: Iterable[str], reason: str, now: datetime, new_id: Any
) -> Deletion:
    """Take entries out of sight, with all that belongs to them.

    Parameters
    ----------
    session : Session
        In a write transaction.
    entry_ids : iterable of str
    reason : str
        Not empty; kept as one line.
    now : datetime
        Moment of writing, with its UTC offset.
    new_id : callable
        Gives a new id at each call: one for the deletion and one for each of its rows.

    Returns
    -------
    Deletion
        Its `entries` are all that went, as pairs of table and id.

    Raises
    ------
    InputError
        An entry that is missing or deleted already, or no reason.
    """
    reason, act = _reason(reason, "a deletion"), new_id()
    gone: dict[str, str] = {}
    for entry_id in entry_ids:
        kind, _ = present_entry(session, entry_id)
        if deletions_of(session, [entry_id]):
            raise InputError(f"{kind.word} {entry_id} is deleted already")
        gone |= {entry_id: kind.table} | belonging(session, kind, entry_id)
    for entry_id, table in gone.items():
        session.add(
            DeletionRow(
                row_id=new_id(),
                recorded_at=now,
                act_id=act,
                table_name=table,
                entry_id=entry_id,
                reason=reason,
            )
        )
    session.flush()
    return Deletion(act, now, reason, tuple((table, entry) for entry, table in gone.items()))


def belonging(session: Session, kind: Kind, entry_id: str) -> dict[str, str]:
    """Live entries that belong to one, and to those in turn: id to table.

    Parameters
    ----------
    session : Session
    kind : Kind
        The one of the entry.
    entry_id : str

    Returns
    -------
    dict of str to str
        Without the entry itself.
    """
    found: dict[str, str] = {}
    for child in KINDS:
        for field, table in child.parents.items():
            if table != kind.table:
                continue
            for entry in live_entries(session, child.record, **{field: entry_id}):
                found |= {entry.id: child.table} | belonging(session, child, entry.id)
    return found


def restored(session: Session, some_id: str, reason: str, now: datetime, new_id: Any) -> Deletion:
    """Undo a deletion by its id, or by the id of an entry that went with it.

    Parameters
    ----------
    session : Session
        In a write transaction.
    some_id : str
        `Deletion.id` or `Entry.id`.
    reason : str
        Not empty; kept as one line.
    now : datetime
        Moment of writing, with its UTC offset.
    new_id : callable
        Gives a new id at each call.

    Returns
    -------
    Deletion
        The one that was undone, with its own moment and reason.

    Raises
    ------
    InputError
        Nothing deleted under that id, no reason, a parent that is still deleted, or a name that
        another entry has taken meanwhile, or one but for letter case and spaces.
    """
    acts = {d.act_id for d in deletions_of(session, [some_id])} or {some_id}
    rows = [d for d in standing_deletions(session) if d.act_id in acts]
    if not rows:
        raise InputError(f"nothing is deleted under {some_id}; 'list --deleted' gives the ids")
    act = min(rows, key=lambda row: row.recorded_at)
    for row in rows:
        session.add(
            RestorationRow(
                row_id=new_id(),
                recorded_at=now,
                deletion_id=row.row_id,
                reason=_reason(reason, "a restoration"),
            )
        )
    session.flush()
    for row in rows:
        kind, entry = present_entry(session, row.entry_id)
        _check(session, kind, entry.record, entry.id)
        _refuse_alike(session, kind, entry.record, entry.id, "correct the name of '{there}' first")
    return Deletion(
        act.act_id, act.recorded_at, act.reason, tuple((r.table_name, r.entry_id) for r in rows)
    )


def standing_deletions(session: Session) -> tuple[DeletionRow, ...]:
    """Deletions that were not undone, oldest first.

    Parameters
    ----------
    session : Session

    Returns
    -------
    tuple of DeletionRow
        One for each entry that went.
    """
    order = (DeletionRow.recorded_at, DeletionRow.row_id)
    return tuple(session.scalars(select(DeletionRow).where(~_undone()).order_by(*order)))


def deletions_of(session: Session, entry_ids: Iterable[str]) -> tuple[DeletionRow, ...]:
    """Standing deletions of the given entries.

    Parameters
    ----------
    session : Session
    entry_ids : iterable of str

    Returns
    -------
    tuple of DeletionRow
        Empty where none of them is deleted.
    """
    wanted = DeletionRow.entry_id.in_(list(entry_ids))
    return tuple(session.scalars(select(DeletionRow).where(wanted, ~_undone())))


@cache
def live(kind: Kind) -> Select[Any]:
    """The query of a kind's present rows whose entries are not deleted.

    Parameters
    ----------
    kind : Kind

    Returns
    -------
    Select
        To be narrowed down.
    """
    return select(kind.row).where(_is_present(kind), ~_is_deleted(kind))


@cache
def _is_present(kind: Kind) -> ColumnElement[bool]:
    newer = aliased(kind.row)
    return ~exists(select(newer.row_id).where(newer.replaces == kind.row.row_id))


@cache
def _is_deleted(kind: Kind) -> ColumnElement[bool]:
    own = DeletionRow.entry_id == kind.row.entry_id
    return exists(select(DeletionRow.row_id).where(own, ~_undone()))


@cache
def _undone() -> ColumnElement[bool]:
    own = RestorationRow.deletion_id == DeletionRow.row_id
    return exists(select(RestorationRow.row_id).where(own))


def _check(session: Session, kind: Kind, record: Record, entry_id: str) -> None:
    """A record's parents must be there, and its name must be its own."""
    for field, table in kind.parents.items():
        parent = getattr(record, field)
        if parent is None:
            continue
        known = KIND_OF_TABLE[table]
        if session.scalar(select(known.row.row_id).where(known.row.row_id == parent)) is None:
            other, _ = present_entry(session, parent)
            raise InputError(
                f"{field} {parent} names another kind of entry ({other.word}); give the id of a "
                f"{known.word}"
            )
        if deletions_of(session, [parent]):
            raise InputError(f"the {known.word} {parent} is deleted; restore it first")
    if _name_of(kind, record):
        values = {name: getattr(record, name) for name in kind.unique}
        named = live_entries(session, kind.record, **values)
        if any(other.id != entry_id and day_of(other.record) is None for other in named):
            name = values[kind.unique[-1]]
            raise InputError(f"there is a {kind.word} '{name}' in the record already")


_WRITE_THERE = "write '{there}' if that is the one, else a name that differs more"


def _refuse_alike(
    session: Session, kind: Kind, record: Record, entry_id: str, right: str = _WRITE_THERE
) -> None:
    """Refuse a name that differs from one on record in nothing but letter case or spaces."""
    if not _name_of(kind, record):
        return
    *beside, name = _name_of(kind, record)
    within = dict(zip(kind.unique, beside, strict=False))
    for other in live_entries(session, kind.record, **within):
        there = str((_name_of(kind, other.record) or ("",))[-1])
        if other.id != entry_id and alike(there) == alike(str(name)):
            raise InputError(
                f"{kind.word} '{name}' differs from '{there}' on record only in letter case or "
                f"spaces; {right.format(there=there)}"
            )


def _name_of(kind: Kind, record: Record) -> tuple[object, ...]:
    """What no other entry of its kind may be called; empty where it has no name, or is of a day."""
    if day_of(record) is not None:
        return ()
    return tuple(getattr(record, field) for field in kind.unique)


def _reason(reason: str, what: str) -> str:
    words = one_line(reason or "")
    if not words:
        raise InputError(f"{what} needs a reason; say in a few words why")
    return words
