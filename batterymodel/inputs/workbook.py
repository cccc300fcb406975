"""Rows of a workbook (xlsx, ISO/IEC 29500) as text, within limits of size."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta
from typing import Any

from batterymodel.basis.text import one_line
from batterymodel.inputs.cell_formats import with_shown_unit
from batterymodel.inputs.remarks import Remarks, shown
from batterymodel.inputs.tables import MAX_ROWS

MOST_UNPACKED_BYTES = 64 << 20
"""Bytes that a workbook may unpack to (own choice: over a million cells)."""

MOST_PARTS = 1000
"""Files that a workbook may be made of (own choice)."""

MOST_WORKBOOK_COLUMNS = 201
"""Columns that are looked at: one more than a table may have."""


def is_workbook(content: bytes) -> bool:
    """Whether the bytes are those of a ZIP, as a workbook is.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    bool
    """
    return content.startswith(b"PK\x03\x04")


def is_old_workbook(content: bytes) -> bool:
    """Whether the bytes are those of a compound document, as workbooks were before xlsx.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    bool
    """
    return content.startswith(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1")


def workbook_rows(content: bytes, remarks: Remarks) -> list[tuple[int, list[str]]]:
    """Cells of the first sheet that holds any, row by row.

    Parameters
    ----------
    content : bytes
    remarks : Remarks
        Takes a note of sheets that are not read.

    Returns
    -------
    list of (int, list of str)
        Row as numbered in the sheet, and its cells as text; blank rows and comments are left out.

    Raises
    ------
    InputError
        Too large when unpacked, or no workbook that can be read.
    """
    _check_parts(content, remarks)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return _first_table(content, remarks)
    except _TooLongError:
        raise remarks.error(
            f"has more than {MAX_ROWS:,} rows; give {remarks.format.what}"
        ) from None
    except Exception:  # whatever the parser stumbles over in bytes that anybody wrote
        raise remarks.error(
            "cannot be read as a workbook (.xlsx); save it again, or as CSV text"
        ) from None


class _TooLongError(Exception):
    """More rows than are read."""


def _check_parts(content: bytes, remarks: Remarks) -> None:
    """Refuse what would unpack to too much, before any of it is unpacked."""
    try:
        with zipfile.ZipFile(io.BytesIO(content)) as parts:
            infos = parts.infolist()
    except (zipfile.BadZipFile, ValueError, OSError, NotImplementedError, OverflowError):
        raise remarks.error(
            "is a damaged workbook (.xlsx); save it again, or as CSV text"
        ) from None
    if len(infos) > MOST_PARTS or sum(part.file_size for part in infos) > MOST_UNPACKED_BYTES:
        raise remarks.error(
            f"unpacks to more than {MOST_UNPACKED_BYTES >> 20} MB; give {remarks.format.what} "
            "as CSV text"
        )


def _first_table(content: bytes, remarks: Remarks) -> list[tuple[int, list[str]]]:
    from openpyxl import load_workbook  # slow to load, and only workbooks need it

    book = load_workbook(io.BytesIO(content), read_only=True, data_only=True)
    sheets = [sheet for sheet in book.worksheets if sheet.sheet_state == "visible"]
    for place, sheet in enumerate(sheets):
        sheet.reset_dimensions()
        if rows := list(_rows_of(sheet)):
            if others := len(sheets) - place - 1:
                said = f"sheet {shown(one_line(sheet.title))} is read, {others} after it not"
                remarks.notes.append(said)
            return rows
    return []


def _rows_of(sheet: Any) -> Iterator[tuple[int, list[str]]]:
    cells_of = sheet.iter_rows(max_col=MOST_WORKBOOK_COLUMNS)
    for row, found in enumerate(cells_of, 1):
        if row > MAX_ROWS + 1:
            raise _TooLongError
        cells = [_as_seen(cell) for cell in found]
        while cells and not cells[-1]:
            cells.pop()
        if cells and not next(filter(None, cells)).startswith("# "):
            yield row, cells


def _as_seen(cell: Any) -> str:
    """A cell's text, with the unit that its format shows.

    A time that is shown without seconds has none, since it may be minutes.
    """
    value = cell.value
    text = _text(value)
    if isinstance(value, int | float) and not isinstance(value, bool):
        return with_shown_unit(text, float(value), cell.number_format)
    if not isinstance(value, (time, timedelta)) or not text.endswith(":00"):
        return text
    shown_parts = re.sub(r'"[^"]*"|\[\$[^]]*\]|\\.', "", cell.number_format.lower())
    hours_and_minutes = "h" in shown_parts and "s" not in shown_parts and "am/pm" not in shown_parts
    return text.removesuffix(":00") if hours_and_minutes else text


def _text(value: object) -> str:
    """A cell as a person sees it, numbers with a decimal point and no rounding."""
    if value is None:
        return ""
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, (date, time)):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _clock(value)
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    return one_line(str(value))


def _clock(span: timedelta) -> str:
    """A span as hours, minutes and seconds, with fractions where it has any."""
    seconds = span.days * 86_400 + span.seconds
    parts = f"{seconds // 3600}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return parts + f".{span.microseconds:06}" * bool(span.microseconds)
