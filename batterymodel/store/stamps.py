"""What tells that something of a battery changed, without reading it."""

from __future__ import annotations

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from batterymodel.store.store import Store
from batterymodel.store.tables import (
    KINDS,
    ActRow,
    AircraftRow,
    BatteryRow,
    DeletionRow,
    InProgressRow,
    RestorationRow,
    SheetRow,
)

_OF_ALL: tuple[Any, ...] = (AircraftRow, SheetRow, DeletionRow, RestorationRow)
_OF_A_BATTERY: tuple[Any, ...] = tuple(k.row for k in KINDS if hasattr(k.row, "battery_id"))


def battery_stamps(store: Store) -> dict[str, tuple[int, ...]]:
    """A stamp of every battery that changes with each write about it.

    Rows are only ever added, so their numbers tell. Aircraft, sheets, deletions, restorations and
    corrections are counted for all batteries together.

    Parameters
    ----------
    store : Store

    Returns
    -------
    dict of str to tuple of int
        By `Entry.id` of the battery, deleted ones included.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading() as session:
        common = [_count(session, row) for row in _OF_ALL]
        plates = _counts(session, BatteryRow, BatteryRow.entry_id)
        counted = [_counts(session, row, row.battery_id) for row in _OF_A_BATTERY]
    tables = [plates, *counted]
    corrections = sum(n for table in tables for _, n in table.values())
    return {
        battery_id: (*common, corrections, *(t.get(battery_id, (0, 0))[0] for t in tables))
        for battery_id in plates
    }


def _count(session: Session, row: Any) -> int:
    return int(session.scalar(select(func.count()).select_from(row)) or 0)


def _counts(session: Session, row: Any, owner: Any) -> dict[str, tuple[int, int]]:
    """Rows, and corrections among them, by what they belong to."""
    wanted = select(owner, func.count(), func.count(row.replaces)).group_by(owner)
    return {key: (rows, corrections) for key, rows, corrections in session.execute(wanted)}


def record_stamp(store: Store) -> tuple[int, ...]:
    """A stamp that changes with each write into the record, connections in progress included.

    Parameters
    ----------
    store : Store

    Returns
    -------
    tuple of int

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    tables: tuple[Any, ...] = (DeletionRow, RestorationRow, InProgressRow, ActRow)
    with store.reading() as session:
        return tuple(_count(session, row) for row in (*(kind.row for kind in KINDS), *tables))
