"""The whole record as one ZIP: a CSV for each table, limits cards as TOML, files as they were.

The same record always gives the same bytes: rows stand in order of writing, and the times inside
the ZIP are fixed. `zip_import` reads it back. Connections in progress are not in it: they stay on
this record until they are finished, as two records could not go on with one connection.
"""

from __future__ import annotations

import csv
import io
import os
import zipfile
import zlib
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Column, select
from sqlalchemy.orm import Session

from batterymodel.errors import StoreError
from batterymodel.inputs.records import record_toml
from batterymodel.store.cells import cell_of
from batterymodel.store.faults import said_plainly
from batterymodel.store.records import BatteryPlate
from batterymodel.store.store import Store
from batterymodel.store.tables import KINDS, CardRow, DeletionRow, FileRow, RestorationRow

FORMAT = 5
_OF_A_CHOICE = ("on", "left_off", "supply", "answer", "document", "said_by", "said_on")
ADDED_IN = {
    "connections.column_map": 3,
    **{f"load_configurations.{name}": 4 for name in _OF_A_CHOICE},
    "connections.answers": 5,
    "connections.seen_later": 5,
}
"""Format that brought a column, by table and name; all others came with their table."""

MAY_LACK = {1: frozenset({"connections.rest_after_v"})}
"""Columns by format that its first exports did not write yet."""

TABLES_ADDED_IN = {"load_plans": 4, "supplies": 4, "servicings": 5}
"""Format that brought a table; all others were there from the first."""

MOST_RATIO = 100
"""Most that a member unpacks to, over its packed size (own choice; readings reach about ten).

What packs closer than this is written unpacked, so that an import can refuse it unread.
"""

MANIFEST = "record.toml"
MANIFEST_TEXT = (
    "# The record of a fleet's batteries. CSV: one table each; cards: limits cards; files: kept\n"
    "# files by SHA-256; batteries: each battery as it is now, for reading and for 'assess'.\n"
    f"format = {FORMAT}\n"
)
TABLES: tuple[type[Any], ...] = (*(kind.row for kind in KINDS), DeletionRow, RestorationRow)
_FIXED_TIME = (1980, 1, 1, 0, 0, 0)
_LEVEL = 6
_CHUNK_BYTES = 1 << 16

Progress = Callable[[Sequence[Any], str], Iterable[Any]]
"""Shows the progress through a sequence under a title while it is walked."""


def in_silence(items: Sequence[Any], _title: str) -> Iterable[Any]:
    """Walk the sequence and show nothing.

    Parameters
    ----------
    items : sequence
    _title : str
        Not used; a `Progress` is given one.

    Returns
    -------
    sequence
        `items` itself.
    """
    return items


def export_zip(store: Store, path: str | Path, progress: Progress = in_silence) -> int:
    """Write the whole record into a new ZIP, which appears under its name only when it is complete.

    Parameters
    ----------
    store : Store
    path : str or Path
        A file that is not there yet.
    progress : Progress
        Called once for the tables and once for the kept files; shows nothing where left out.

    Returns
    -------
    int
        Rows and files in the ZIP.

    Raises
    ------
    StoreError
        A file of that name is there already, or a fault of the database or the disk.
    """
    path = Path(path)
    if path.exists():
        raise StoreError(f"{path}: is there already; give the name of a new file")
    with (
        said_plainly(str(path)),
        _complete_or_not(path) as part,
        zipfile.ZipFile(part, "w") as archive,
        store.reading() as session,
    ):
        return _write_all(store, session, archive, progress)


@contextmanager
def _complete_or_not(path: Path) -> Iterator[Path]:
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        yield part
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _write_all(store: Store, session: Session, archive: zipfile.ZipFile, progress: Progress) -> int:
    _put(archive, MANIFEST, MANIFEST_TEXT.encode())
    count = 0
    for table in progress(TABLES, "tables"):
        rows = session.scalars(select(table).order_by(table.recorded_at, table.row_id)).all()
        _put(archive, f"{table.__tablename__}.csv", csv_of(table, rows).encode())
        for row in rows if table is CardRow else ():
            _put(archive, card_member(row.row_id), record_toml(row.limits).encode())
        count += len(rows)
        session.expunge_all()
    _write_batteries(store, archive)
    named = named_files(session)
    shas = [sha for sha in session.scalars(select(FileRow.sha256)).all() if sha in named]
    shas.sort()
    for sha256 in progress(shas, "files"):
        _put(archive, f"files/{sha256}", store.file(sha256))
    return count + len(shas)


def _write_batteries(store: Store, archive: zipfile.ZipFile) -> None:
    for plate in sorted(store.entries(BatteryPlate), key=lambda entry: entry.id):
        head = f"# battery {plate.record.serial}\n" + "# invented\n" * plate.record.invented
        text = head + record_toml(store.battery(plate.record.serial))
        _put(archive, f"batteries/{plate.id}.toml", text.encode())


def named_files(session: Session) -> set[str]:
    """SHA-256 of every file that a row names; no other file is exported or taken in.

    Parameters
    ----------
    session : Session
        An open look at the record.

    Returns
    -------
    set of str
        64 hexadecimal digits each; deleted and replaced rows count too.
    """
    columns = [c for table in TABLES for c in file_columns(table)]
    found = (session.scalars(select(c).where(c.is_not(None)).distinct()) for c in columns)
    return {sha256 for shas in found for sha256 in shas}


def file_columns(table: type) -> tuple[Column[Any], ...]:
    """Columns of a table that name a kept file.

    Parameters
    ----------
    table : type
        One of `TABLES`.

    Returns
    -------
    tuple of Column
        Those whose name ends in ``_sha256``; empty for most tables.
    """
    return tuple(column for column in columns_of(table) if column.name.endswith("_sha256"))


def card_member(row_id: str) -> str:
    """Where the ZIP holds the limits card of a row.

    Parameters
    ----------
    row_id : str
        Id of a row of `CardRow`.

    Returns
    -------
    str
        Name of the ZIP's member.
    """
    return f"cards/{row_id}.toml"


def columns_of(table: type, format: int = FORMAT) -> tuple[Column[Any], ...]:
    """The table's columns in the order of its CSV.

    Parameters
    ----------
    table : type
        One of `TABLES`.
    format : int
        That of the ZIP; a former one had fewer.

    Returns
    -------
    tuple of Column
    """
    columns = table.__table__.columns  # type: ignore[attr-defined]
    return tuple(column for column in columns if ADDED_IN.get(str(column), 1) <= format)


def first_columns_of(table: type, format: int) -> tuple[Column[Any], ...]:
    """The columns that the first exports of a format wrote, in the order of their CSV.

    Parameters
    ----------
    table : type
        One of `TABLES`.
    format : int
        That of the ZIP.

    Returns
    -------
    tuple of Column
        Those of `columns_of` without what is in `MAY_LACK`.
    """
    lacked = MAY_LACK.get(format, frozenset())
    return tuple(c for c in columns_of(table, format) if str(c) not in lacked)


def tables_of(format: int) -> tuple[type[Any], ...]:
    """The tables that a ZIP of a format holds.

    Parameters
    ----------
    format : int

    Returns
    -------
    tuple of type
        Of `TABLES`, in their order.
    """
    return tuple(t for t in TABLES if TABLES_ADDED_IN.get(t.__tablename__, 1) <= format)


def cells_of(table: type, row: Any) -> list[str]:
    """A row as cells; a limits card stands in a TOML of its own, and its cell names that.

    Parameters
    ----------
    table : type
        One of `TABLES`.
    row : instance of `table`

    Returns
    -------
    list of str
        One cell for each of `columns_of`, in their order.
    """
    cells = []
    for column in columns_of(table):
        if table is CardRow and column.name == "limits":
            cells.append(card_member(row.row_id))
        else:
            cells.append(cell_of(column, getattr(row, column.name)))
    return cells


def csv_of(table: type, rows: Iterable[Any]) -> str:
    """The table as CSV text with a header.

    Parameters
    ----------
    table : type
        One of `TABLES`.
    rows : iterable of instances of `table`
        Written in the order given.

    Returns
    -------
    str
        Lines end in a line feed alone, on every system.
    """
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([column.name for column in columns_of(table)])
    writer.writerows(cells_of(table, row) for row in rows)
    return text.getvalue()


def _put(archive: zipfile.ZipFile, name: str, content: bytes) -> None:
    member = zipfile.ZipInfo(name, _FIXED_TIME)
    member.create_system, member.external_attr = 3, 0o644 << 16
    packs = packs_fairly(content)
    archive.writestr(member, content, zipfile.ZIP_DEFLATED if packs else zipfile.ZIP_STORED, _LEVEL)


def packs_fairly(content: bytes) -> bool:
    """Whether the content packs to no less than one part in `MOST_RATIO`.

    Parameters
    ----------
    content : bytes
        What a member of the ZIP would hold; read only as far as the answer needs.

    Returns
    -------
    bool
        True for empty content.
    """
    packer, packed = zlib.compressobj(_LEVEL, zlib.DEFLATED, -zlib.MAX_WBITS), 0
    for start in range(0, len(content), _CHUNK_BYTES):
        packed += len(packer.compress(content[start : start + _CHUNK_BYTES]))
        if packed * MOST_RATIO >= len(content):
            return True
    return (packed + len(packer.flush())) * MOST_RATIO >= len(content)
