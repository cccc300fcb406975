"""CSV tables with named columns: what readings, discharge logs and records of checks share.

A `TableFormat` says which columns a table has and what it is called in messages. Functions take raw
cells to checked columns; what cannot be right raises `InputError`, one sentence with file, row and
column.
"""

from __future__ import annotations

import csv
import difflib
import re
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from itertools import zip_longest
from pathlib import Path
from typing import cast

import numpy as np
import pandas as pd

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError

MAX_ROWS = 1_000_000
"""Lines below the header that are read; a longer file is refused before it is parsed."""

MAX_BYTES = 256 * MAX_ROWS
"""Bytes of a file that are read (own choice: 256 a line)."""

MISSING = frozenset({"", "nan", "nat", "na", "n/a", "null", "none", "-", "--", "---"})
"""What people write, in small letters, where a meter gave no value."""

LONGEST_LOG_S = 86_400.0
"""Longest log of a connection, and span of its clock times [s] (own choice: one day)."""

GAP_RATIO, LEAST_GAP_S = 10.0, 60.0
"""A gap is noted that is so many times the usual step, and longer than so much [s] (own choice)."""

OUT_OF_ORDER = "out of order of time: all rows were sorted"
"""How the note ends that rows went back in time."""

_MAX_COLUMNS = 200
_CAUSES: dict[type[Exception], str] = {
    FileNotFoundError: "no such file",
    IsADirectoryError: "is a folder",
}
_BLOCK_BYTES = 1 << 20
_WIDE_ROW = "write decimals as 12.5, not 12,5, and put text with the separator in double quotes"
_NOT_TEXT = re.compile("[\x00-\x08\x0e-\x1f]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?inf(inity)?|nan", re.A | re.I)


@dataclass(frozen=True)
class TableFormat:
    """A kind of table: its columns with what they hold, and the words messages need.

    ``other_names`` maps a column to the habits that mean it. A missing ``elapsed_s`` is excused by
    ``time``. ``bounds`` are rows of column, least, most and what a value outside says.
    """

    what: str
    rows: str
    units: dict[str, str]
    other_names: dict[str, str]
    required: tuple[str, ...]
    texts: frozenset[str] = frozenset()
    bounds: tuple[tuple[str, float, float, str], ...] = ()

    @property
    def row(self) -> str:
        """What one line holds."""
        return self.rows.removesuffix("s")


@dataclass(frozen=True)
class Remarks:
    """What is said of a table while it is read: notes so far, and errors with their place.

    ``source``, ``format`` and ``header_row`` are the table's name, its format and the number of
    the row with the column names.
    """

    source: str
    format: TableFormat
    notes: list[str] = field(default_factory=list)
    header_row: int = 1

    def error(self, problem: str, row: int | None = None, column: str | None = None) -> InputError:
        """The error to raise: file, place, problem.

        Parameters
        ----------
        problem : str
            What is wrong and what would be right.
        row : int, optional
            As numbered in the file.
        column : str, optional

        Returns
        -------
        InputError
            Not yet raised; parts joined by colons.
        """
        places = [f"row {row}"] * (row is not None) + [f"column '{column}'"] * (column is not None)
        parts = [one_line(self.source), ", ".join(places), problem]
        return InputError(": ".join(part for part in parts if part))

    def refuse_first(self, wrong: pd.Series, values: pd.Series, problem: str) -> None:
        """Raise for the first row that is wrong, if any.

        Parameters
        ----------
        wrong : Series of bool
            One per row, indexed by the row's number in the file.
        values : Series
            What stands there, under the same index, named as the column.
        problem : str
            Said behind the value: ``is ...; ... would be right``.

        Raises
        ------
        InputError
            Some row is wrong; names the first.
        """
        if wrong.any():
            row = first_row(wrong)
            value = values.loc[row]
            said = shown(value) if isinstance(value, str) else f"{value:.10g}"
            raise self.error(f"{said} {problem}", row, str(values.name))

    def note_rows(self, chosen: pd.Series, what: str) -> None:
        """Note how many rows were treated in some way, if any.

        Parameters
        ----------
        chosen : Series of bool
            The rows that were treated so.
        what : str
            Said behind their count.
        """
        if count := int(chosen.sum()):
            self.notes.append(f"{count} row{'s' * (count > 1)} {what}")


def first_row(wrong: pd.Series) -> int:
    """Number of the first row of which it is true, as in the file.

    Parameters
    ----------
    wrong : Series of bool
        One per row, indexed by the row's number in the file.

    Returns
    -------
    int
        The table's first row where it is true of none.
    """
    return int(cast(int, wrong.idxmax()))


def file_bytes(path: str | Path, remarks: Remarks) -> bytes:
    """Content of a file; reads no further than the limits of size.

    Parameters
    ----------
    path : str or Path
    remarks : Remarks
        Names the file in the error.

    Returns
    -------
    bytes
        Cut soon after `MAX_ROWS` or `MAX_BYTES`, which `check_size` then refuses.

    Raises
    ------
    InputError
        No such file, or it cannot be opened.
    """
    data, lines = bytearray(), 0
    try:
        with open(path, "rb") as file:
            while chunk := file.read(_BLOCK_BYTES):
                data += chunk
                lines += chunk.count(b"\n")
                if lines > MAX_ROWS + 1 or len(data) > MAX_BYTES:
                    break
    except (OSError, ValueError) as error:
        cause = _CAUSES.get(type(error), "cannot be opened")
        raise remarks.error(f"{cause}; give the path of a CSV file") from None
    return bytes(data)


def decoded(data: bytes, remarks: Remarks) -> str:
    """Text of a file: UTF-8, else Western European with a note.

    Parameters
    ----------
    data : bytes
    remarks : Remarks
        Takes the note.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Too large, or UTF-16.
    """
    check_size(len(data), data.count(b"\n"), remarks)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise remarks.error("is UTF-16 (Unicode) text; save it again as CSV in UTF-8")
    try:
        return data.decode("utf-8")
    except UnicodeDecodeError:
        remarks.notes.append("the file is not UTF-8; its text was read as Western European")
        return data.decode("cp1252", errors="replace")


def table_from_text(text: str, remarks: Remarks) -> tuple[pd.DataFrame, Remarks]:
    """Raw cells under the names of the header row, rows numbered as in the file.

    Parameters
    ----------
    text : str
        CSV with comma, semicolon or tab, whichever the header holds most of; blank lines and those
        that begin with # are skipped.
    remarks : Remarks

    Returns
    -------
    frame : DataFrame
        Cells as text, indexed by the row's number in the file.
    remarks : Remarks
        The same with the number of the header row.

    Raises
    ------
    InputError
        Not text, empty, too large, an open quote mark, or more cells than the header.
    """
    if _NOT_TEXT.search(text):
        raise remarks.error(
            f"is not a text file; save the {remarks.format.rows} as CSV text in UTF-8"
        )
    text = text.replace("\ufeff", "").replace("\r\n", "\n").replace("\r", "\n")
    check_size(len(text), text.count("\n"), remarks)
    numbered = enumerate(text.split("\n"), 1)
    lines = {row: t for row, t in numbered if t.strip(" \t;,") and t.lstrip()[:1] != "#"}
    if not lines:
        raise remarks.error(
            f"is empty; a header row and one row per {remarks.format.row} would be right"
        )
    remarks = replace(remarks, header_row=next(iter(lines)))
    cells = _cells(lines, max(",;\t", key=lines[remarks.header_row].count), remarks)
    return cells.iloc[1:].set_axis(cells.iloc[0], axis=1), remarks


def table_from_frame(frame: pd.DataFrame) -> pd.DataFrame:
    """A table as `table_from_text` gives it; its first line counts as row 2.

    Parameters
    ----------
    frame : DataFrame
        Any index.

    Returns
    -------
    DataFrame
        Column names as text, index from 2.
    """
    frame = frame.set_axis([str(name) for name in frame.columns], axis=1)
    return frame.set_axis(range(2, len(frame) + 2), axis=0)


def checked_columns(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    """The known columns, converted and within bounds.

    Parameters
    ----------
    frame : DataFrame
        Raw cells, indexed by the row's number.
    remarks : Remarks
        Brings the format; takes a note of columns that are not used.

    Returns
    -------
    DataFrame
        Numbers as floats, NaN where empty; texts stripped.

    Raises
    ------
    InputError
        No rows or too many, a column missing, twice or misnamed, or a value that cannot be right.
    """
    frame = _known_columns(frame, remarks)
    if not len(frame):
        right = f"one row per {remarks.format.row} would be right"
        raise remarks.error(f"has a header but no {remarks.format.rows}; {right}")
    check_size(0, len(frame) + 1, remarks)
    frame = pd.DataFrame({name: _converted(frame[name], remarks) for name in frame})
    _check_values(frame, remarks)
    return frame


def shown(text: str) -> str:
    """A cell's text in quotes, cut to what a message can hold.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        On one line, 40 characters at most.
    """
    line = one_line(text[:200])
    return f"'{line[:40]}…'" if len(line) > 40 else f"'{line}'"


def check_size(size: int, lines: int, remarks: Remarks) -> None:
    """Refuse a table of more bytes or lines than are read.

    Parameters
    ----------
    size : int
        Bytes or characters.
    lines : int
        With the header.
    remarks : Remarks

    Raises
    ------
    InputError
        Over `MAX_ROWS` below the header, or over `MAX_BYTES`.
    """
    if lines > MAX_ROWS + 1:
        raise remarks.error(f"has more than {MAX_ROWS:,} rows; give {remarks.format.what}")
    if size > MAX_BYTES:
        raise remarks.error(f"is too large; give {remarks.format.what} as CSV text")


def _cells(lines: dict[int, str], separator: str, remarks: Remarks) -> pd.DataFrame:
    """All cells as text, header first; each line must hold whole cells and keeps its number."""
    unclosed = "a quote mark is not closed; close it in the same row"
    rows: list[list[str]] = []
    reader, width = csv.reader([*lines.values(), ""], delimiter=separator), _MAX_COLUMNS
    for count, row in enumerate(lines, 1):
        try:
            cells = next(reader)
        except csv.Error:
            raise remarks.error(f"a cell is too long, or {unclosed}", row) from None
        if reader.line_num != count:
            raise remarks.error(unclosed, row)
        if len(cells) > width:
            problem = f"has {len(cells)} cells where at most {width} may be; {_WIDE_ROW}"
            raise remarks.error(problem, row)
        width = width if rows else len(cells)
        rows.append(cells)
    columns = dict(enumerate(zip_longest(*rows, fillvalue="")))
    return pd.DataFrame(columns, index=list(lines), dtype=object)


def _known_columns(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    names = [name.strip().lower() for name in frame.columns]
    _check_header(names, remarks)
    for i, name in enumerate(names):
        if name not in remarks.format.units and (name or any(texts_of(frame.iloc[:, i]))):
            remarks.notes.append(f"column {shown(name)} is not used")
    return frame.set_axis(names, axis=1)[[name for name in names if name in remarks.format.units]]


def _check_header(names: list[str], remarks: Remarks) -> None:
    given, timed = set(names), {"elapsed_s", "time"}
    missing = set(remarks.format.units) - given - (timed if timed & given else set())
    if names and all(map(_NUMBER.fullmatch, names)):
        raise remarks.error(
            "holds values; a row of column names must come first", remarks.header_row
        )
    for i, name in enumerate(names):
        if name and name in names[:i]:
            raise remarks.error(
                f"column {shown(name)} is there twice; name it once", remarks.header_row
            )
        if name not in remarks.format.units and (meant := _meant(name, remarks.format)) in missing:
            right = f"name it '{meant}' ({remarks.format.units[meant]}) or remove it"
            raise remarks.error(f"column {shown(name)} is not known; {right}", remarks.header_row)
    for needed in remarks.format.required:
        if needed in missing:
            wanted = f"'{needed}' ({remarks.format.units[needed]})"
            wanted += " or 'time'" * (needed == "elapsed_s")
            raise remarks.error(f"no column {wanted}; it is required", remarks.header_row)


def _meant(name: str, table: TableFormat) -> str | None:
    key = re.sub(r"[^a-z0-9]+", "_", name[:60]).strip("_")
    habits = [known for known, others in table.other_names.items() if key in others.split()]
    close = habits or difflib.get_close_matches(key, table.units, 1, cutoff=0.85)
    return next(iter(close), None)


def texts_of(cells: pd.Series) -> pd.Series:
    """Cells as stripped text, empty where there is none.

    Parameters
    ----------
    cells : Series
        Of any content.

    Returns
    -------
    Series of str
        Under the same index and name.
    """
    filled = cells.astype(object).where(cells.notna(), "")
    stripped = [str(cell).strip() for cell in filled]
    return pd.Series(stripped, cells.index, dtype=object, name=cells.name)


def _plain_numbers(cells: pd.Series) -> pd.Series | None:
    """The fast way: floats, if every cell is a number or an empty text."""
    if cells.dtype.kind in "fiu":
        return cells.astype("float64")
    try:
        return None if "_" in "".join(cells) else cells.where(cells != "", "nan").astype(float)
    except (TypeError, ValueError):
        return None


def _converted(cells: pd.Series, remarks: Remarks) -> pd.Series:
    """A number column as floats, NaN where empty; a text column stripped."""
    if cells.name in remarks.format.texts:
        return texts_of(cells)
    if (numbers := _plain_numbers(cells)) is not None:
        return numbers
    name, texts = str(cells.name), texts_of(cells)
    texts[[text.lower() in MISSING for text in texts]] = "nan"
    wrong = pd.Series([not _NUMBER.fullmatch(text) for text in texts], texts.index, dtype=bool)
    if wrong.any():
        row = first_row(wrong)
        text = texts.loc[row]
        problem = f"is not a number; {remarks.format.units[name]} as a plain number would be right"
        if name == "elapsed_s" and ":" in text:
            problem = "is a clock time; use a column 'time' in ISO 8601 (2024-05-01T10:05:00)"
        elif re.fullmatch(r"[+-]?\d+,\d+", text):
            problem = f"has a decimal comma; write {shown(text.replace(',', '.'))}"
        raise remarks.error(f"{shown(text)} {problem}", row, name)
    return texts.astype(float)


def _check_values(frame: pd.DataFrame, remarks: Remarks) -> None:
    for name, least, most, problem in remarks.format.bounds:
        if name in frame:
            values = frame[name]
            wrong = (values < least) | (values > most)
            first = float(values.loc[first_row(wrong)])
            said = problem.format(milli=first / 1000.0, celsius=first - 273.15)
            said = "is not a meter value; leave the cell empty" if np.isinf(first) else said
            remarks.refuse_first(wrong, values, said)


def timed(frame: pd.DataFrame, remarks: Remarks) -> tuple[pd.DataFrame, datetime | None]:
    """The rows that have a time, with `elapsed_s`, and the moment at which that is zero.

    Parameters
    ----------
    frame : DataFrame
        From `checked_columns`, with ``elapsed_s``, ``time`` or both; ``elapsed_s`` is preferred.
    remarks : Remarks
        Takes notes of rows without a time and of clocks that run apart.

    Returns
    -------
    frame : DataFrame
        With ``elapsed_s`` [s], without ``time``.
    started_at : datetime or None
        None where no clock time is given.

    Raises
    ------
    InputError
        A clock time that is none, a UTC offset in some rows only, or more than `LONGEST_LOG_S`.
    """
    started_at = None
    if "time" in frame:
        moments = _moments(frame["time"], remarks)
        first = min(moments, default=None)
        clock_s = pd.Series([(m - first).total_seconds() for m in moments], moments.index, float)
        problem = f"is over 24 h after the earliest time; give {remarks.format.what}"
        remarks.refuse_first(clock_s > LONGEST_LOG_S, frame["time"], problem)
        elapsed_s = frame.get("elapsed_s", clock_s)
        both = pd.DataFrame({"elapsed_s": elapsed_s, "clock_s": clock_s}).dropna()
        if "elapsed_s" in frame and len(both):
            apart_s = np.ptp((both["clock_s"] - both["elapsed_s"]).to_numpy())
            if apart_s > 1.0:
                remarks.notes.append(
                    f"elapsed_s is used; time runs apart from it by {apart_s:.0f} s"
                )
        frame = frame.assign(elapsed_s=elapsed_s)
        for row in both.sort_values(["elapsed_s", "clock_s"]).index[:1]:
            started_at = moments[row] - timedelta(seconds=elapsed_s[row])
    lost = frame["elapsed_s"].isna()
    remarks.note_rows(lost, "dropped: no time, and any event there is lost with it")
    return frame.drop(columns="time", errors="ignore")[~lost], started_at


def _moments(time: pd.Series, remarks: Remarks) -> pd.Series:
    """The times that are given, as datetimes that can be compared."""
    given = time[[text.lower() not in MISSING for text in time]]
    moments = pd.Series([_moment(text) for text in given], given.index, dtype=object)
    remarks.refuse_first(moments.isna(), given, "is not a time like 2024-05-01T10:05:00 (ISO 8601)")
    zoned = pd.Series([moment.tzinfo is not None for moment in moments], given.index, dtype=bool)
    if zoned.any():
        problem = f"has no UTC offset but row {zoned.idxmax()} has one; give all or none"
        remarks.refuse_first(~zoned, given, problem)
    return moments


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(re.sub(r" (?=[+Z-])", "", text.upper()))
    except ValueError:
        return None
    has_date_and_time = len(text) > len("2024-05-01")
    return moment if has_date_and_time and 1900 < moment.year < 2200 else None


def in_order(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    """Rows in order of time, those of one time averaged, the same whatever order they came in.

    Parameters
    ----------
    frame : DataFrame
        Numbers only, with ``elapsed_s`` [s] in every row.
    remarks : Remarks
        Takes notes of rows that were sorted or averaged.

    Returns
    -------
    DataFrame
        ``elapsed_s`` strictly rising.
    """
    elapsed_s = frame["elapsed_s"]
    shared = elapsed_s.duplicated(keep=False)
    if not _is_newest_first(elapsed_s):
        remarks.note_rows(elapsed_s < elapsed_s.cummax(), OUT_OF_ORDER)
    remarks.note_rows(shared, "at the same time as another: their mean is used")
    if shared.any():
        return (
            frame.sort_values([str(name) for name in frame])
            .groupby("elapsed_s", as_index=False)
            .mean()
        )
    return frame.sort_values("elapsed_s")


def _is_newest_first(elapsed_s: pd.Series) -> bool:
    """Whether every row is earlier than the one above it, as some meters write them."""
    return bool((np.diff(elapsed_s.to_numpy()) < 0.0).all()) and len(elapsed_s) > 2


def note_gaps(elapsed_s: np.ndarray, remarks: Remarks) -> None:
    """Note gaps between rows that are far longer than the usual step.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        Times of the rows, rising [s].
    remarks : Remarks
        Takes the note: how many gaps, and the longest.
    """
    intervals_s = np.diff(elapsed_s)
    if not intervals_s.size:
        return
    long = np.maximum(GAP_RATIO * np.median(intervals_s), LEAST_GAP_S)
    gaps = int((intervals_s > long).sum())
    if gaps:
        at = intervals_s.argmax()
        longest = f"{intervals_s[at]:.0f} s after {elapsed_s[at]:.0f} s"
        remarks.notes.append(
            f"{gaps} long gap{'s' * (gaps > 1)} in the readings, longest {longest}"
        )
