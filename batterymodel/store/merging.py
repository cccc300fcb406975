"""After rows of another record came in: does everything still fit together?"""

from __future__ import annotations

from collections.abc import Collection
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from batterymodel.basis.text import alike
from batterymodel.errors import StoreError
from batterymodel.store.entries import Entry, live_entries
from batterymodel.store.records import day_of
from batterymodel.store.tables import (
    KIND_OF_TABLE,
    KINDS,
    DeletionRow,
    FileRow,
    Kind,
    RestorationRow,
)

ONE_NAME = "correct the name of one of them, or delete it, and import then"
"""What would be right where two entries have one name."""


def check_merged(session: Session, where: str, before: Collection[str] = ()) -> None:
    """Check that every row still fits the others; the caller rolls back where one does not.

    Parameters
    ----------
    session : Session
        In the write transaction that took the rows in.
    where : str
        What the rows came from, as the message names it.
    before : collection of str
        From `named_entries`, before the rows came in.

    Raises
    ------
    StoreError
        The first row that does not fit: a broken chain of corrections, something named that is
        missing, a name given twice, one that came in and differs from one on record only in letter
        case or spaces, a deletion of nothing.
    """
    rows = {kind.table: _ids(session, kind) for kind in KINDS}
    files = set(session.scalars(select(FileRow.sha256)))
    for kind in KINDS:
        for problem in (
            _wrong_chain(kind, rows[kind.table]),
            _missing(session, kind, rows, files),
            _doubled(session, kind, before),
        ):
            if problem:
                raise StoreError(f"{where}: {kind.table}: {problem}; nothing was changed")
    problem = _wrong_deletions(session, rows)
    if problem:
        raise StoreError(f"{where}: {problem}; nothing was changed")


def named_entries(session: Session) -> frozenset[str]:
    """Ids of the entries that have a name of their own.

    Parameters
    ----------
    session : Session

    Returns
    -------
    frozenset of str
    """
    named = (kind for kind in KINDS if kind.unique)
    return frozenset(id for kind in named for id in session.scalars(select(kind.row.entry_id)))


def _ids(session: Session, kind: Kind) -> dict[str, tuple[str, str | None]]:
    row = kind.row
    found = session.execute(select(row.row_id, row.entry_id, row.replaces))
    return {row_id: (entry_id, replaces) for row_id, entry_id, replaces in found}


def _wrong_chain(kind: Kind, ids: dict[str, tuple[str, str | None]]) -> str | None:
    for row_id, (entry_id, replaces) in sorted(ids.items()):
        if replaces is None and entry_id != row_id:
            return f"row {row_id} is a first writing under another entry's id"
        if entry_id not in ids:
            return f"row {row_id} belongs to entry {entry_id}, which is missing"
        if replaces is not None and replaces not in ids:
            return f"row {row_id} replaces row {replaces}, which is missing"
        if replaces is not None and ids[replaces][0] != entry_id:
            return f"row {row_id} replaces a row of another entry"
    return None


def _missing(
    session: Session, kind: Kind, rows: dict[str, dict[str, Any]], files: set[str]
) -> str | None:
    columns = kind.row.__table__.columns  # type: ignore[attr-defined]
    named = {**kind.parents, **{c.name: "files" for c in columns if c.name.endswith("_sha256")}}
    for field, table in named.items():
        known = files if table == "files" else rows[table]
        found = session.execute(select(kind.row.row_id, getattr(kind.row, field)))
        for row_id, target in found:
            if target is not None and target not in known:
                return f"row {row_id} names {field} {target}, which is missing"
            if target is not None and table != "files" and rows[table][target][1] is not None:
                return f"row {row_id} names {field} {target}, which is a correction, no entry"
    return None


def _doubled(session: Session, kind: Kind, before: Collection[str]) -> str | None:
    """A name that two entries have, or that differs in one on record and one that came in.

    Two alike that came together, or were together before, are left: a backup must stay readable.
    """
    seen: dict[tuple[object, ...], Entry[Any]] = {}
    for entry in live_entries(session, kind.record) if kind.unique else ():
        if day_of(entry.record) is not None:
            continue
        *beside, name = (getattr(entry.record, field) for field in kind.unique)
        if other := seen.get((*beside, name)):
            return f"rows {other.row_id} and {entry.row_id} are both called '{name}'; {ONE_NAME}"
        is_on_record = entry.id in before
        seen[(*beside, name)] = seen[(*beside, alike(name), is_on_record)] = entry
        if other := seen.get((*beside, alike(name), not is_on_record)):
            here, new = (entry, other) if is_on_record else (other, entry)
            names = [getattr(one.record, kind.unique[-1]) for one in (here, new)]
            return (
                f"'{names[0]}' on record and '{names[1]}' that would come in differ only in letter "
                f"case or spaces; {ONE_NAME}"
            )
    return None


def _wrong_deletions(session: Session, rows: dict[str, dict[str, Any]]) -> str | None:
    deletions = session.scalars(select(DeletionRow)).all()
    for deletion in deletions:
        known = deletion.table_name in KIND_OF_TABLE and rows[deletion.table_name]
        if not known or deletion.entry_id not in known:
            return f"deletions: row {deletion.row_id} deletes an entry that is missing"
    ids = {deletion.row_id for deletion in deletions}
    for deletion_id in sorted(set(session.scalars(select(RestorationRow.deletion_id))) - ids):
        return f"restorations: deletion {deletion_id} is missing"
    return None
