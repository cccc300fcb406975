"""Settings of a record: what its people chose once and need not choose again.

They are no entries: nothing corrects or deletes them, and no export takes them along. A change is
a row more, and the last row of a name holds.
"""

from __future__ import annotations

from sqlalchemy import select

from batterymodel.errors import InputError
from batterymodel.inputs.column_map import ColumnMap, map_from_json
from batterymodel.inputs.temperature_unit import TemperatureUnit
from batterymodel.store.store import Store
from batterymodel.store.tables import SettingRow

TEMPERATURE_UNIT = "temperature_unit"
COLUMNS = "columns."
"""Start of the names under which column maps are kept; the header's fingerprint follows."""


def setting(store: Store, name: str) -> str | None:
    """What was set last under a name.

    Parameters
    ----------
    store : Store
    name : str

    Returns
    -------
    str or None
        None where nothing was.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    last = select(SettingRow.value).where(SettingRow.name == name)
    with store.reading() as session:
        return session.scalars(last.order_by(SettingRow.number.desc()).limit(1)).first()


def set_to(store: Store, name: str, value: str) -> None:
    """Set a value; one that holds already adds no row.

    Parameters
    ----------
    store : Store
    name : str
        At most 64 characters.
    value : str

    Raises
    ------
    StoreError
        The record cannot be written.
    """
    if setting(store, name) != value:
        with store.writing() as session:
            session.add(SettingRow(recorded_at=store.now(), name=name, value=value))


def temperature_unit(store: Store) -> TemperatureUnit:
    """The unit in which temperatures are shown and entered.

    Parameters
    ----------
    store : Store

    Returns
    -------
    TemperatureUnit
        Degrees Celsius where nothing was chosen.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    chosen = setting(store, TEMPERATURE_UNIT)
    return TemperatureUnit.FAHRENHEIT if chosen == "degF" else TemperatureUnit.CELSIUS


def choose_temperature_unit(store: Store, unit: TemperatureUnit) -> None:
    """Remember the unit of temperatures.

    Parameters
    ----------
    store : Store
    unit : TemperatureUnit

    Raises
    ------
    StoreError
        The record cannot be written.
    """
    set_to(store, TEMPERATURE_UNIT, str(unit))


def remember_columns(store: Store, fingerprint: str, column_map: ColumnMap) -> None:
    """Remember confirmed columns for the next file with the same header.

    Parameters
    ----------
    store : Store
    fingerprint : str
        `ForeignGuess.fingerprint` of the file.
    column_map : ColumnMap

    Raises
    ------
    StoreError
        The record cannot be written.
    """
    set_to(store, f"{COLUMNS}{fingerprint}", column_map.model_dump_json())


def remembered_columns(store: Store, fingerprint: str) -> ColumnMap | None:
    """The columns that were confirmed last for a header.

    Parameters
    ----------
    store : Store
    fingerprint : str
        `ForeignGuess.fingerprint` of the file at hand.

    Returns
    -------
    ColumnMap or None
        None where none were, or what was kept cannot be read any more.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    document = setting(store, f"{COLUMNS}{fingerprint}")
    try:
        return None if document is None else map_from_json(document)
    except InputError:
        return None
