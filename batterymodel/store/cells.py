"""Values of the tables as cells of a CSV and back, exactly.

A spreadsheet takes a cell that begins with one of ``= + - @``, a tab or a carriage return for a
formula and runs it. Text that begins so gets an apostrophe in front, which a spreadsheet shows as
text; so does text that begins with apostrophes and then so, and the way back is exact.
"""

from __future__ import annotations

import re
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Column, Double, Integer

from batterymodel.store.column_types import Clock, Day, Json, Name, Truth, Utc, Words

_BOOL = {"true": True, "false": False}
_FORMULA = re.compile(r"'*[=+\-@\t\r]")


def cell_of(column: Column[Any], value: Any) -> str:
    """The value as the text of a cell; an empty cell is no value.

    Parameters
    ----------
    column : Column
        Its type decides the spelling.
    value : value of the column's type, or None

    Returns
    -------
    str
        `value_of` reads the same value from it; numbers lose no digit.
    """
    if value is None:
        return ""
    if isinstance(column.type, Json):
        return column.type.text(value)
    if isinstance(column.type, Utc):
        return value.astimezone(UTC).isoformat(timespec="microseconds")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(value)
    if isinstance(value, date | datetime):
        return value.isoformat()
    return no_formula(value) if isinstance(column.type, Words | Name) else str(value)


def no_formula(text: str) -> str:
    """Text that no spreadsheet runs; `as_told` gives back what it was.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        With an apostrophe in front where a spreadsheet would take it for a formula.

    Examples
    --------
    >>> no_formula("=1+1"), no_formula("'=1+1"), no_formula("B-1")
    ("'=1+1", "''=1+1", 'B-1')
    """
    return f"'{text}" if _FORMULA.match(text) else text


def as_told(cell: str) -> str:
    """The text that `no_formula` made a cell of.

    Parameters
    ----------
    cell : str

    Returns
    -------
    str
        Without the apostrophe that `no_formula` put in front; any other is kept.

    Examples
    --------
    >>> as_told("'=1+1"), as_told("'t was full")
    ('=1+1', "'t was full")
    """
    return cell[1:] if cell.startswith("'") and _FORMULA.match(cell) else cell


def value_of(column: Column[Any], cell: str, escaped: bool = True) -> Any:
    """The value of a cell, its text as `no_formula` wrote it or as it stands.

    Parameters
    ----------
    column : Column
        Its type says how the cell is read.
    cell : str
    escaped : bool
        Whether text was written by `no_formula`; False takes it as it stands.

    Returns
    -------
    value of the column's type, or None
        None for an empty cell of a column that may be empty.

    Raises
    ------
    ValueError
        A cell that holds no such value; pydantic's ``ValidationError`` is one.
    """
    if cell == "":
        if not column.nullable:
            raise ValueError("is empty")
        return None
    kind = column.type
    if isinstance(kind, Json):
        return kind.value(cell)
    if isinstance(kind, Utc | Clock):
        moment = datetime.fromisoformat(cell)
        if isinstance(kind, Utc) and moment.tzinfo is None:
            raise ValueError("has no UTC offset")
        return moment
    if isinstance(kind, Day):
        return date.fromisoformat(cell)
    if isinstance(kind, Truth):
        if cell not in _BOOL:
            raise ValueError("is neither true nor false")
        return _BOOL[cell]
    if isinstance(kind, Double):
        return float(cell)
    if isinstance(kind, Integer):
        return int(cell)
    return as_told(cell) if escaped and isinstance(kind, Words | Name) else cell
