"""Values of the tables as cells of a CSV and back, exactly."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import Boolean, Column, Date, Double, Integer

from batterymodel.store.tables import Clock, Json, Utc

_BOOL = {"true": True, "false": False}


def cell_of(column: Column[Any], value: Any) -> str:
    """The value as the text of a cell; an empty cell is no value."""
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
    return value.isoformat() if isinstance(value, date | datetime) else str(value)


def value_of(column: Column[Any], cell: str) -> Any:
    """The value of a cell; raises ``ValueError`` (pydantic's too) for one that holds none."""
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
    if isinstance(kind, Date):
        return date.fromisoformat(cell)
    if isinstance(kind, Boolean):
        if cell not in _BOOL:
            raise ValueError("is neither true nor false")
        return _BOOL[cell]
    if isinstance(kind, Double):
        return float(cell)
    return int(cell) if isinstance(kind, Integer) else cell
