"""CSV tables with named columns: what readings, discharge logs and records of checks share.

From bytes to raw cells, or to one sentence with file and row; `table_columns` checks them.
"""

from __future__ import annotations

import csv
import re
from dataclasses import replace
from itertools import zip_longest
from pathlib import Path

import pandas as pd

from batterymodel.inputs.faults import Faults
from batterymodel.inputs.remarks import Remarks

MAX_ROWS = 1_000_000
"""Lines below the header that are read; a longer file is refused before it is parsed."""

MAX_BYTES = 256 * MAX_ROWS
"""Bytes of a file that are read (own choice: 256 a line)."""

MISSING = frozenset({"", "nan", "nat", "na", "n/a", "null", "none", "-", "--", "---"})
"""What people write, in small letters, where a meter gave no value."""

_MAX_COLUMNS = 200
_CAUSES: dict[type[Exception], str] = {
    FileNotFoundError: "no such file",
    IsADirectoryError: "is a folder",
}
_BLOCK_BYTES = 1 << 20
_WIDE_ROW = "write decimals as 12.5, not 12,5, and put text with the separator in double quotes"
_NOT_TEXT = re.compile("[\x00-\x08\x0e-\x1f]")


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
    faults = Faults(remarks)
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
            faults.add(problem, row)
        width = width if rows else len(cells)
        rows.append(cells[:width])
    faults.raise_any()
    columns = dict(enumerate(zip_longest(*rows, fillvalue="")))
    return pd.DataFrame(columns, index=list(lines), dtype=object)


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
