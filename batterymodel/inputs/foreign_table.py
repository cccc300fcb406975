"""Tables as other loggers and spreadsheets write them: from bytes to cells as text.

Encoding, separator, lines before the header, a row of units and a row of totals are found here;
what the columns mean is not. Rows keep the numbers a person sees in the file.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import pandas as pd

from batterymodel.basis.text import one_line
from batterymodel.inputs.cell_values import (
    clock_s,
    date_order,
    duration_s,
    is_missing,
    number_of,
)
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.headings import Heading, filled, heading_of
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.remarks import Remarks
from batterymodel.inputs.split_decimals import doubts_of_cuts
from batterymodel.inputs.tables import check_size
from batterymodel.inputs.totals import without_totals
from batterymodel.inputs.unit_columns import with_units_joined
from batterymodel.inputs.workbook import is_old_workbook, is_workbook, workbook_rows

MOST_COLUMNS = 200
"""Columns of a table that are read."""

HEADER_WITHIN = 60
"""Rows of the table among which the header must stand (own choice)."""

_SEPARATORS = "\t;|,"
_SAMPLE_ROWS = 1000
_SEPARATOR_LINE = re.compile(r'"?sep=(.)"?', re.I)
_COMMENT = re.compile(r"\s*#(?![\t;|,])")
_NOT_TEXT = re.compile("[\x00-\x08\x0e-\x1f]")
_WIDE = "write decimals as 12.5 or put text with the separator in double quotes"
Row = tuple[int, list[str]]


@dataclass(frozen=True)
class _Rows:
    """Rows of a file, the comments among them, and what stood between the cells."""

    rows: list[Row]
    comments: Sequence[tuple[int, str]] = ()
    separator: str = ""


@dataclass(frozen=True)
class ForeignTable:
    """Cells under the headers, with what was found on the way.

    ``cells`` are stripped texts, one column per header, indexed by the row's number as seen;
    ``header_row`` is that of the headers, which carry the unit of a row of units in brackets;
    ``units_apart`` says why the units of its values are in doubt, empty where they are not;
    ``above`` is the text above each header that is no part of it, and ``doubts`` says of a header
    why its cells may not be those of its column.
    """

    cells: pd.DataFrame
    header_row: int
    faults: Faults
    units_apart: str = ""
    above: Mapping[str, str] = field(default_factory=dict)
    doubts: Mapping[str, str] = field(default_factory=dict)

    @property
    def headers(self) -> tuple[str, ...]:
        """Headers of all columns, each once."""
        return tuple(str(name) for name in self.cells.columns)

    @property
    def remarks(self) -> Remarks:
        """Name of the file, and notes of what was left out."""
        return self.faults.remarks


def foreign_table(content: bytes, name: str) -> ForeignTable:
    """The table in a file of any kind that is read.

    Parameters
    ----------
    content : bytes
        CSV text with comma, semicolon, tab or bar between the cells, or a workbook (xlsx).
    name : str
        Name of the file, for messages.

    Returns
    -------
    ForeignTable
        With the faults of rows that could not be taken apart.

    Raises
    ------
    InputError
        Too large, neither text nor workbook, empty, or without header or values.
    """
    remarks = Remarks(one_line(name), FORMAT)
    check_size(len(content), 0, remarks)
    faults = Faults(remarks)
    if is_old_workbook(content):
        raise remarks.error("is a spreadsheet in an old format; save it as .xlsx or as CSV text")
    if is_workbook(content):
        found = _Rows(workbook_rows(content, remarks))
    else:
        found = _text_rows(content, faults)
    if not found.rows:
        faults.raise_any()
        raise remarks.error("is empty; a header row and one row per reading would be right")
    return _table(found, faults)


def text_of(content: bytes, remarks: Remarks) -> str:
    """Text of a file: UTF-8 or UTF-16, else Western European with a note.

    Parameters
    ----------
    content : bytes
    remarks : Remarks
        Takes the note.

    Returns
    -------
    str
        Without byte order mark, lines ended by a line feed.

    Raises
    ------
    InputError
        Too many rows, or not text.
    """
    text = _decoded(content, remarks)
    if _NOT_TEXT.search(text):
        raise remarks.error("is not a text file; save the readings as CSV text or as .xlsx")
    text = text.replace("\ufeff", "").replace("\r\n", "\n").replace("\r", "\n")
    check_size(0, text.count("\n"), remarks)
    return text


def _decoded(content: bytes, remarks: Remarks) -> str:
    marked = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    if marked:
        return content.decode("utf-16", errors="replace")
    for encoding, zeros in (("utf-16-le", content[1:400:2]), ("utf-16-be", content[0:400:2])):
        if len(zeros) > 1 and zeros.count(0) > 0.8 * len(zeros):
            return content.decode(encoding, errors="replace")
    try:
        return content.decode("utf-8")
    except UnicodeDecodeError:
        remarks.notes.append("the file is not UTF-8; its text was read as Western European")
        return content.decode("cp1252", errors="replace")


def _text_rows(content: bytes, faults: Faults) -> _Rows:
    """Cells of each line that is neither blank nor a comment, and the comments."""
    numbered = enumerate(text_of(content, faults.remarks).split("\n"), 1)
    given = [(row, text) for row, text in numbered if text.strip(" \t;,|")]
    comments = [(row, text) for row, text in given if _COMMENT.match(text)]
    lines = [(row, text) for row, text in given if not _COMMENT.match(text)]
    told = _SEPARATOR_LINE.fullmatch(lines[0][1].strip()) if lines else None
    lines = lines[1:] if told else lines
    separator = told.group(1) if told else separator_of([line for _, line in lines])
    rows: list[Row] = []
    for row, line in lines:
        try:
            rows.append((row, _cells_of(line, separator)))
        except csv.Error:
            faults.add("a quote mark is not closed; close it in the same row", row)
    return _Rows(rows, comments, separator)


def separator_of(lines: Sequence[str]) -> str:
    """The separator that cuts most lines into equally many cells.

    Parameters
    ----------
    lines : sequence of str

    Returns
    -------
    str
        Tab, semicolon, bar or comma; the comma only where none of the others does as well, since it
        may stand before decimals.
    """

    def agreeing(separator: str) -> int:
        counts = Counter(line.count(separator) for line in lines[:_SAMPLE_ROWS])
        return max((times for cuts, times in counts.items() if cuts), default=0)

    return max(_SEPARATORS, key=agreeing)


def _cells_of(line: str, separator: str) -> list[str]:
    if '"' not in line:
        return [cell.strip() for cell in line.split(separator)]
    reader = csv.reader([line], delimiter=separator, strict=True, skipinitialspace=True)
    return [cell.strip() for cell in next(reader)]


def _table(found: _Rows, faults: Faults) -> ForeignTable:
    remarks, rows = faults.remarks, found.rows
    first = _first_of_values(rows)
    if first is None:
        raise remarks.error(
            "holds no rows of values below a header; one row per reading would be right"
        )
    if first == 0:
        raise remarks.error("holds values; a row of column names must come first", rows[0][0])
    said = [text for row, text in found.comments if row < rows[first][0]]
    heading = heading_of(rows[:first], _is_value, said)
    if len(heading.labels) > MOST_COLUMNS:
        raise remarks.error(
            f"has {len(heading.labels)} columns; at most {MOST_COLUMNS} are read", heading.row
        )
    if at := heading.before:
        remarks.notes.append(f"{at} row{'s' * (at > 1)} before the header not used")
    values = without_totals(rows[first:], _is_value, remarks)
    cells, apart = _framed(values, heading, faults)
    cut = doubts_of_cuts(cells) if found.separator == "," else {}
    return ForeignTable(cells, heading.row, faults, apart, heading.above, cut)


def _is_value(cell: str) -> bool:
    """Whether a cell holds a number, a time or a date, and no words."""
    if any(number_of(cell, mark) for mark in ".,"):
        return True
    return duration_s(cell, "h:min:s") is not None or _is_time_or_date(cell)


def _is_time_or_date(cell: str) -> bool:
    return clock_s(cell) is not None or date_order([cell]) is not None


def _is_row_of_values(cells: list[str]) -> bool:
    said = [cell for cell in cells if cell and not is_missing(cell)]
    values = sum(map(_is_value, said))
    return values >= 2 and 2 * values >= len(said)


def _first_of_values(rows: list[Row]) -> int | None:
    """Place of the first row of values: the row below it holds one too, where there is one."""
    among = [cells for _, cells in rows[: HEADER_WITHIN + 2]]
    looked_at = enumerate(among[: HEADER_WITHIN + 1])
    places = [place for place, cells in looked_at if _is_row_of_values(cells)]
    for place in places:
        below = among[place + 1 : place + 2]
        if not below or any(map(_is_value, below[0])):
            return _with_those_above(place, among)
    return next(iter(places), None)


def _with_those_above(place: int, rows: list[list[str]]) -> int:
    """The first of the rows above that hold a value and else none, like ``0;OL``: no header."""
    while place > 1 and _is_value_alone(rows[place - 1]):
        place -= 1
    return place


def _is_value_alone(cells: list[str]) -> bool:
    said = [cell for cell in cells if cell and not is_missing(cell)]
    return bool(said) and len(cells) > 1 and all(map(_is_value, said))


def _framed(rows: list[Row], heading: Heading, faults: Faults) -> tuple[pd.DataFrame, str]:
    """The cells by header, and why their units are in doubt."""
    width, kept = len(heading.labels), []
    headers = [[*names, *[""] * width][:width] for names in heading.rows]
    for row, cells in rows:
        over = len(cells) - width
        if over > 0 and any(cells[width:]):
            faults.add(f"has {len(cells)} cells where the header has {width}; {_WIDE}", row)
        elif any(filled(cells)) and [*cells, *[""] * -over] in headers:
            problem = f"is the header of row {heading.row} again"
            faults.add(f"{problem}; give the readings of one connection", row)
        else:
            kept.append((row, cells[:width] + [""] * -over))
    index = pd.Index([row for row, _ in kept], dtype="int64")
    columns = {label: [cells[k] for _, cells in kept] for k, label in enumerate(heading.labels)}
    joined, apart = with_units_joined(columns, index.tolist(), faults)
    return pd.DataFrame(joined, index=index, dtype=object), apart
