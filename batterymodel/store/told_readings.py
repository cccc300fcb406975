"""What an answer is made from: the readings of a connection on record, and what was told beside."""

from __future__ import annotations

from typing import Any

from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.foreign import readings_from_foreign
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.records import Readings
from batterymodel.store.records import Connection
from batterymodel.store.store import Store

TOLD_FIELDS = ("supply", "rest_voltage_v", "load_a", "load_sd_a", "ambient_c")
"""Fields of a connection that `assess` takes beside readings and battery, by its names."""

FACTS = ("battery_id", "day", "started_at", *TOLD_FIELDS)
"""What an answer is made from beside the readings and the record."""


def told_beside(connection: Connection) -> dict[str, Any]:
    """What `assess` takes beside readings, battery and day.

    Parameters
    ----------
    connection : Connection

    Returns
    -------
    dict
        By the names of `TOLD_FIELDS`.
    """
    return {name: getattr(connection, name) for name in TOLD_FIELDS}


def readings_of(store: Store, connection: Connection) -> Readings:
    """The readings of a connection on record, from its file as it was kept.

    Parameters
    ----------
    store : Store
    connection : Connection

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        A file that cannot be read, or one that is not there.
    """
    data = store.file(connection.readings_sha256)
    return readings_from(data, connection.file_name, connection.column_map)


def readings_from(data: bytes, file_name: str, column_map: ColumnMap | None) -> Readings:
    """The readings of a file as its columns are taken.

    Parameters
    ----------
    data : bytes
        The file as it is.
    file_name : str
        As messages name it.
    column_map : ColumnMap or None
        None for a file of this tool's own columns.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        A file that cannot be read.
    """
    if column_map is None:
        return readings_from_bytes(data, file_name)
    return readings_from_foreign(data, file_name, column_map)
