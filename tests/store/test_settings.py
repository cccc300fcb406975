"""Settings of a record: the last one holds, none is exported, and a change can be taken back."""

from sqlalchemy import func, select

from batterymodel.inputs.column_map import Column, ColumnMap, Quantity, header_fingerprint
from batterymodel.inputs.temperature_unit import TemperatureUnit
from batterymodel.store import open_store
from batterymodel.store.archive import TABLES
from batterymodel.store.settings import (
    COLUMNS,
    TEMPERATURE_UNIT,
    choose_temperature_unit,
    remember_columns,
    remembered_columns,
    set_to,
    setting,
    temperature_unit,
)
from batterymodel.store.tables import SettingRow


def amps(unit):
    columns = (
        Column(header="t", quantity=Quantity.ELAPSED, unit="s"),
        Column(header="Amps", quantity=Quantity.SUPPLY_CURRENT, unit=unit),
    )
    return ColumnMap(columns=columns)


def rows(store):
    with store.reading() as session:
        return session.scalar(select(func.count()).select_from(SettingRow))


def test_the_last_setting_holds_and_the_same_again_adds_no_row(store):
    assert setting(store, "x") is None
    for value in ("one", "two", "two", "one"):
        set_to(store, "x", value)
    assert setting(store, "x") == "one"
    assert rows(store) == 3


def test_temperatures_are_in_celsius_until_another_unit_is_chosen(store):
    assert temperature_unit(store) is TemperatureUnit.CELSIUS
    choose_temperature_unit(store, TemperatureUnit.FAHRENHEIT)
    assert temperature_unit(store) is TemperatureUnit.FAHRENHEIT
    choose_temperature_unit(store, TemperatureUnit.CELSIUS)
    assert temperature_unit(store) is TemperatureUnit.CELSIUS
    set_to(store, TEMPERATURE_UNIT, "kelvin")
    assert temperature_unit(store) is TemperatureUnit.CELSIUS


def test_columns_are_remembered_by_header_and_a_wrong_unit_is_taken_back(store):
    right, wrong, key = amps("A"), amps("mA"), header_fingerprint(["Amps"])
    assert remembered_columns(store, key) is None
    remember_columns(store, key, wrong)
    assert remembered_columns(store, key) == wrong
    remember_columns(store, key, right)
    assert remembered_columns(store, key) == right
    set_to(store, f"{COLUMNS}{key}", "{}")
    assert remembered_columns(store, key) is None


def test_settings_stay_when_the_record_is_opened_again_and_are_not_exported(new_sqlite):
    path = new_sqlite("settings")
    choose_temperature_unit(open_store(path), TemperatureUnit.FAHRENHEIT)
    assert temperature_unit(open_store(path)) is TemperatureUnit.FAHRENHEIT
    assert SettingRow not in TABLES
