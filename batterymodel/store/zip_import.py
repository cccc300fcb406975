"""Reads an exported ZIP back into a record: all of it, or nothing.

Rows that are there already with the same content are passed over; the same id with another
content stops the import, as does everything in the ZIP that an export would not have written.
Tables are read first: a file that no row names is refused unread.
"""

from __future__ import annotations

import csv
import hashlib
import io
import re
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from pydantic import ValidationError
from sqlalchemy import select
from sqlalchemy.orm import Session

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError, StoreError
from batterymodel.inputs.records import Limits, record_from, toml_data
from batterymodel.store.archive import (
    FORMAT,
    MANIFEST,
    MOST_RATIO,
    TABLES,
    Progress,
    card_member,
    cells_of,
    columns_of,
    file_columns,
    first_columns_of,
    in_silence,
    tables_of,
)
from batterymodel.store.cells import cell_of, value_of
from batterymodel.store.entries import BOOKKEEPING, entry_of, row_of
from batterymodel.store.faults import said_plainly
from batterymodel.store.merging import check_merged, named_entries
from batterymodel.store.records import MAX_FILE_BYTES, UUID_PATTERN
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_TABLE, BatteryRow, CardRow, FileRow

MAX_ALL_BYTES = 16 * 1024**3
"""Most bytes a ZIP may unpack to."""

READ_FORMATS = (1, 2, 3, 4, FORMAT)
"""Format 1 wrote text that begins like a formula as it stood, and at first no rest voltage after a
connection; 2 knew no files of other loggers; 3 knew no supplies and load plans; 4 no answers as
they were given and no servicings."""

_MAX_MEMBERS = 5_000_000
[_CARD_COLUMN] = [column for column in columns_of(CardRow) if column.name == "limits"]
_UUID = UUID_PATTERN.pattern
_MEMBER = re.compile(
    rf"{re.escape(MANIFEST)}|({'|'.join(t.__tablename__ for t in TABLES)})\.csv"
    rf"|(cards|batteries)/{_UUID}\.toml|files/[0-9a-f]{{64}}"
)


@dataclass(frozen=True)
class Merged:
    """What an import did: rows and files added, and those that were there already."""

    added: int
    there_already: int


def import_zip(store: Store, path: str | Path, progress: Progress = in_silence) -> Merged:
    """Take everything of an exported ZIP into the record, in one transaction.

    Parameters
    ----------
    store : Store
    path : str or Path
        As `export_zip` wrote it, of this record or another.
    progress : Progress
        Called once for the tables and once for the kept files; shows nothing where left out.

    Returns
    -------
    Merged
        How many rows and files were new.

    Raises
    ------
    StoreError
        A ZIP that is damaged or was not exported by this tool, or the first row that the record
        holds with another content; nothing is changed then.
    """
    path = Path(path)
    with _opened(path) as archive, store.writing() as session:
        added = there = 0
        before, tables = named_entries(session), tables_of(archive.format)
        named = {MANIFEST, *(f"{table.__tablename__}.csv" for table in tables)}
        for table in progress(tables, "tables"):
            new, old = _take_table(archive, session, table, named)
            added, there = added + new, there + old
        _check_named(archive, named)
        new, old = _take_files(archive, session, progress)
        added, there = added + new, there + old
        check_merged(session, archive.where, before)
    return Merged(added, there)


@dataclass(frozen=True)
class _Archive:
    """An opened ZIP whose members are all of names and sizes that an export writes."""

    where: str
    file: zipfile.ZipFile
    names: frozenset[str]
    format: int = FORMAT

    def error(self, problem: str) -> StoreError:
        return StoreError(f"{self.where}: {problem}; nothing was changed")

    def read(self, name: str) -> bytes:
        if name not in self.names:
            raise self.error(f"'{name}' is missing in the ZIP")
        try:
            return self.file.read(name)
        except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError):
            raise self.error(f"'{name}' is damaged in the ZIP") from None

    def text(self, name: str) -> str:
        try:
            return self.read(name).decode("utf-8-sig")
        except UnicodeDecodeError:
            raise self.error(f"'{name}' is not UTF-8 text") from None


@contextmanager
def _opened(path: Path) -> Iterator[_Archive]:
    where = str(path)
    if not path.is_file():
        raise StoreError(f"{where}: no such file; give the path of an exported ZIP")
    with said_plainly(where):
        try:
            file = zipfile.ZipFile(path)
        except (zipfile.BadZipFile, NotImplementedError, ValueError):
            raise StoreError(
                f"{where}: is not a ZIP file, or is damaged; nothing was changed"
            ) from None
        with file:
            archive = _Archive(where, file, frozenset(file.namelist()))
            _check_members(archive)
            yield replace(archive, format=_format_of(archive))


def _check_members(archive: _Archive) -> None:
    members = archive.file.infolist()
    if len(members) != len(archive.names) or len(members) > _MAX_MEMBERS:
        raise archive.error("holds a member twice, or far too many")
    for member in members:
        shown = "".join(c if c.isprintable() else "?" for c in member.filename[:80])
        if not _MEMBER.fullmatch(member.filename):
            raise archive.error(f"member '{shown}' is none that an export writes")
        if member.file_size > MAX_FILE_BYTES:
            raise archive.error(f"member '{shown}' is too large ({member.file_size:,} bytes)")
        if member.flag_bits & 0x1:
            raise archive.error("is locked with a password")
    if sum(member.file_size for member in members) > MAX_ALL_BYTES:
        raise archive.error(f"would unpack to more than {MAX_ALL_BYTES:,} bytes")
    _check_ratio(archive, members)


def _check_ratio(archive: _Archive, members: list[zipfile.ZipInfo]) -> None:
    """No member, and not the whole, unpacks to more than an export's ratio."""
    for member in members:
        if member.file_size > MOST_RATIO * member.compress_size:
            raise archive.error(
                f"member '{member.filename}' would unpack to more than {MOST_RATIO} times its size"
            )
    whole = Path(archive.where).stat().st_size
    if sum(member.file_size for member in members) > MOST_RATIO * whole:
        raise archive.error(f"would unpack to more than {MOST_RATIO} times its size")


def _check_named(archive: _Archive, named: set[str]) -> None:
    stray = min(archive.names - named, default=None)
    if stray is not None:
        raise archive.error(f"no row names '{stray}'")


def _format_of(archive: _Archive) -> int:
    try:
        found = toml_data(archive.text(MANIFEST), f"'{MANIFEST}'").get("format")
    except InputError as error:
        raise archive.error(str(error)) from None
    if found not in READ_FORMATS:
        raise archive.error(f"has another format; this version reads format {FORMAT}")
    return found


def _take_files(archive: _Archive, session: Session, progress: Progress) -> tuple[int, int]:
    there = set(session.scalars(select(FileRow.sha256)))
    added = kept = 0
    names = sorted(name for name in archive.names if name.startswith("files/"))
    for name in progress(names, "files"):
        sha256, content = name.removeprefix("files/"), archive.read(name)
        if hashlib.sha256(content).hexdigest() != sha256:
            raise archive.error(f"'{name}' does not hold what its name says")
        if sha256 in there:
            kept += 1
            continue
        session.add(FileRow(sha256=sha256, content=content))
        session.flush()
        session.expunge_all()
        added += 1
    return added, kept


def _take_table(
    archive: _Archive, session: Session, table: Any, named: set[str]
) -> tuple[int, int]:
    """Take a table's rows in, and note the members that they name."""
    there = {row.row_id: cells_of(table, row) for row in session.scalars(select(table))}
    cards = _cards_there(session) if table is CardRow else {}
    once = _undone_or_replaced(session, table)
    session.expunge_all()
    added = kept = 0
    row: Any
    for row in _rows(archive, table):
        named.update(_members_of(table, row))
        if row.row_id not in there:
            _check_once(archive, table, row, once)
            session.add(row)
            added += 1
            continue
        same_card = table is not CardRow or cards[row.row_id] == _card_cell(row)
        if there[row.row_id] != cells_of(table, row) or not same_card:
            raise archive.error(
                f"row {row.row_id} of {table.__tablename__} is in the record with another content"
            )
        kept += 1
    session.flush()
    session.expunge_all()
    return added, kept


def _members_of(table: type, row: Any) -> Iterator[str]:
    """Members that belong to a row: kept files, its card, the battery as it was."""
    for column in file_columns(table):
        if (sha256 := getattr(row, column.name)) is not None:
            yield f"files/{sha256}"
    if table is CardRow:
        yield card_member(row.row_id)
    if table is BatteryRow:
        yield f"batteries/{row.entry_id}.toml"


def _undone_or_replaced(session: Session, table: Any) -> set[str]:
    """Ids of rows that have a correction, or of deletions that have a restoration."""
    column = getattr(table, "replaces", getattr(table, "deletion_id", None))
    return set() if column is None else set(session.scalars(select(column))) - {None}


def _check_once(archive: _Archive, table: Any, row: Any, once: set[str]) -> None:
    target = getattr(row, "replaces", getattr(row, "deletion_id", None))
    if target in once:
        what = "restored" if table.__tablename__ == "restorations" else "corrected"
        raise archive.error(
            f"row {target} was {what} both in the record and in the ZIP (row {row.row_id} of "
            f"{table.__tablename__}); two versions of one row cannot both hold"
        )
    if target is not None:
        once.add(target)


def _cards_there(session: Session) -> dict[str, str]:
    return {row.row_id: _card_cell(row) for row in session.scalars(select(CardRow))}


def _card_cell(row: Any) -> str:
    return cell_of(_CARD_COLUMN, row.limits)


def _rows(archive: _Archive, table: Any) -> Iterator[Any]:
    """The rows of a table's CSV, each checked; raises `StoreError` naming the line."""
    name = f"{table.__tablename__}.csv"
    seen: set[str] = set()
    lines = _lines(archive, name)
    columns = _columns(archive, table, next(lines, (0, []))[1])
    for number, cells in lines:
        place = f"'{name}', line {number}"
        if len(cells) != len(columns):
            raise archive.error(f"{place}: {len(cells)} cells where {len(columns)} should be")
        row = _row(archive, table, dict(zip(columns, cells, strict=True)), place)
        if row.row_id in seen:
            raise archive.error(f"{place}: row {row.row_id} stands there twice")
        seen.add(row.row_id)
        yield row


def _columns(archive: _Archive, table: Any, header: list[str]) -> tuple[Any, ...]:
    columns = columns_of(table, archive.format)
    for known in (columns, first_columns_of(table, archive.format)):
        if header == [column.name for column in known]:
            return known
    wanted = ",".join(column.name for column in columns)
    raise archive.error(f"'{table.__tablename__}.csv' has another header than {wanted}")


def _lines(archive: _Archive, name: str) -> Iterator[tuple[int, list[str]]]:
    csv.field_size_limit(MAX_FILE_BYTES)
    reader = csv.reader(io.StringIO(archive.text(name), newline=""), strict=True)
    try:
        for cells in reader:
            yield reader.line_num, cells
    except csv.Error as error:
        raise archive.error(f"'{name}', line {reader.line_num}: not CSV ({error})") from None


def _row(archive: _Archive, table: type, cells: dict[Any, str], place: str) -> Any:
    values: dict[str, Any] = {}
    for column, cell in cells.items():
        try:
            if table is CardRow and column.name == "limits":
                values["limits"] = _card(archive, values["row_id"], cell)
            else:
                values[column.name] = value_of(column, cell, escaped=archive.format > 1)
        except ValidationError as error:
            problem = error.errors()[0]["msg"].lower()
            raise archive.error(f"{place}: '{column.name}': {problem}") from None
        except ValueError as error:
            if isinstance(error, StoreError):
                raise
            raise archive.error(f"{place}: '{column.name}': {error}") from None
    return _checked(archive, table, values, place)


def _card(archive: _Archive, row_id: str, cell: str) -> Limits:
    if cell != card_member(row_id):
        raise archive.error(f"card {row_id} must stand in {card_member(row_id)}")
    try:
        return record_from(toml_data(archive.text(cell), cell), Limits, cell)
    except InputError as error:
        raise archive.error(str(error)) from None


def _checked(archive: _Archive, table: type, values: dict[str, Any], place: str) -> Any:
    """The row of the values, once its ids and its record hold what they should."""
    for name in ("row_id", "entry_id", "replaces", "act_id", "deletion_id"):
        if values.get(name) is not None and not UUID_PATTERN.fullmatch(values[name]):
            raise archive.error(f"{place}: '{name}' is not an id")
    for name in ("reason", "correction_reason"):
        if values.get(name) is not None and one_line(values[name]) != values[name]:
            raise archive.error(f"{place}: '{name}' must be one plain line")
    row = table(**values)
    kind = KIND_OF_TABLE.get(row.__tablename__)
    if kind is None:
        return row
    if (row.replaces is None) != (row.correction_reason is None):
        raise archive.error(f"{place}: a correction must say what it replaces and why")
    try:
        record = entry_of(row, kind).record
    except InputError as error:
        raise archive.error(f"{place}: {error}") from None
    own = {name: getattr(row, name) for name in BOOKKEEPING}
    return row_of(record, kind, **own)
