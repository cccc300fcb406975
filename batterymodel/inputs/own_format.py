"""Whether a file is in the project's own format, by its first lines alone."""

from __future__ import annotations

import re

from batterymodel.inputs.cell_values import clock_s, moment_of
from batterymodel.inputs.readings import FORMAT

_LOOKED_AT_BYTES = 1 << 16
_LOOKED_AT_LINES = 50
_DECIMAL_COMMA = re.compile(r"[+-]?\d+,\d+", re.A)


def is_own_format(content: bytes) -> bool:
    """Whether the header names a time and ``supply_current_a``, and cells are written as they must.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    bool
        False for a workbook, UTF-16, decimal commas, and a ``time`` that is no date and time where
        there is no ``elapsed_s``: those are foreign, whatever their header.
    """
    separator, names, rows = _first_lines(content)
    if "supply_current_a" not in names or not {"elapsed_s", "time"} & set(names):
        return False
    if separator != "," and any(_DECIMAL_COMMA.fullmatch(cell) for row in rows for cell in row):
        return False
    return "elapsed_s" in names or not _is_foreign_time(rows, names.index("time"))


def has_own_names(content: bytes) -> bool:
    """Whether the header names a column with a unit as the project's own format does.

    Parameters
    ----------
    content : bytes

    Returns
    -------
    bool
        True where the own reader can say best what is wrong.
    """
    return bool({name for name in FORMAT.units if "_" in name} & set(_first_lines(content)[1]))


def _first_lines(content: bytes) -> tuple[str, list[str], list[list[str]]]:
    """Separator, names and first rows, as far as the own reader would see them."""
    text = content[:_LOOKED_AT_BYTES].decode("utf-8", errors="replace").removeprefix("\ufeff")
    lines = [t for t in text.splitlines() if t.strip(" \t;,") and t.lstrip()[:1] != "#"]
    first = lines[0] if lines else ""
    separator = max(",;\t", key=first.count)
    names = [name.strip().strip('"').lower() for name in first.split(separator)]
    rows = [[cell.strip() for cell in line.split(separator)] for line in lines[1:_LOOKED_AT_LINES]]
    return separator, names, rows


def _is_foreign_time(rows: list[list[str]], place: int) -> bool:
    """Whether the first time is one that this tool's own format does not know."""
    first = next((row[place] for row in rows if len(row) > place and row[place]), "")
    orders = (moment_of(first, order) for order in ("dmy", "mdy"))
    return clock_s(first) is not None or any(moment is not None for moment in orders)
