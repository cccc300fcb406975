"""Readings that are on record under several batteries: one file is one battery's, and counts once.

Nobody can tell but who read them whose they are. Until one entry is deleted they count for the
battery they were entered for first; columns taken otherwise are other readings.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, NamedTuple

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from batterymodel.inputs.column_map import ColumnMap
from batterymodel.store.entries import live
from batterymodel.store.records import Connection
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_RECORD, ConnectionRow

ELSEWHERE = (
    "these readings are on record for battery {serial} too, as {entry_id}: what they teach and "
    "score counts once, for {serial}; delete the entry of the battery they were not read on"
)


def doubled_readings(session: Session) -> set[str]:
    """Connections whose readings were entered for another battery before.

    Parameters
    ----------
    session : Session

    Returns
    -------
    set of str
        Their entries; empty where every file is one battery's.
    """
    row = ConnectionRow
    every = select(row.readings_sha256).group_by(row.readings_sha256)
    digests = session.scalars(every.having(func.count(row.battery_id.distinct()) > 1)).all()
    owner: dict[tuple[str, str], str] = {}
    found = set()
    for one in _first_written(session, digests):
        if owner.setdefault((one.sha256, one.columns), one.battery_id) != one.battery_id:
            found.add(one.entry_id)
    return found


def said_of_another(
    store: Store, battery_id: str, sha256: str, column_map: ColumnMap | None
) -> str | None:
    """A sentence where the same readings are on record for another battery.

    Parameters
    ----------
    store : Store
    battery_id : str
        Battery they are told of.
    sha256 : str
        Digest of their file.
    column_map : ColumnMap or None
        How its columns are taken.

    Returns
    -------
    str or None

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    columns = _words(column_map)
    with store.reading() as session:
        for one in _first_written(session, [sha256]):
            if one.columns == columns and one.battery_id != battery_id:
                serial = store.entry(one.battery_id).record.serial
                return ELSEWHERE.format(serial=serial, entry_id=one.entry_id)
    return None


class _Written(NamedTuple):
    entry_id: str
    battery_id: str
    sha256: str
    columns: str


def _first_written(session: Session, digests: Any) -> Iterator[_Written]:
    """Connections of files, deleted ones left out, in order of their first writing."""
    if not digests:
        return
    row, kind = ConnectionRow, KIND_OF_RECORD[Connection]
    among = row.readings_sha256.in_(digests)
    firsts = select(row.entry_id, func.min(row.recorded_at).label("at"))
    firsts = firsts.where(among).group_by(row.entry_id)
    written = {one.entry_id: one.at for one in session.execute(firsts)}
    columns = row.entry_id, row.battery_id, row.readings_sha256, row.column_map
    found = session.execute(live(kind).where(among).with_only_columns(*columns)).all()
    for entry_id, battery_id, sha256, column_map in sorted(
        found, key=lambda one: (written[one.entry_id], one.entry_id)
    ):
        yield _Written(entry_id, battery_id, sha256, _words(column_map))


def _words(column_map: ColumnMap | None) -> str:
    return "" if column_map is None else column_map.model_dump_json()
