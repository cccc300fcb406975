"""Stamps: they change with every write about a battery, and with no write about another."""

from datetime import date

import pytest

from batterymodel import Battery
from batterymodel.store.intake import add_battery
from batterymodel.store.records import Aircraft, BenchCheck, Move
from batterymodel.store.stamps import battery_stamps
from tests.store.cases import small_record

BATTERY = Battery(tail="HANGAR-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
ON = date(2026, 1, 5)


@pytest.fixture
def two(store):
    return store, *(add_battery(store, serial, BATTERY, ON) for serial in ("B-1", "B-2"))


def check(battery_id: str) -> BenchCheck:
    return BenchCheck(battery_id=battery_id, on=ON, capacity_ah=38.0)


def test_a_check_changes_the_stamp_of_its_battery_only(two) -> None:
    store, one, other = two
    before = battery_stamps(store)
    store.add(check(one.id))
    after = battery_stamps(store)
    assert after[one.id] != before[one.id]
    assert after[other.id] == before[other.id]
    assert battery_stamps(store) == after


def test_every_kind_of_write_changes_the_stamp(two) -> None:
    store, one, other = two
    seen = [battery_stamps(store)[one.id]]

    def note() -> None:
        seen.append(battery_stamps(store)[one.id])

    entry = store.add(check(one.id))
    note()
    entry = store.correct(entry.id, check(one.id).model_copy(update={"capacity_ah": 37.0}), "typo")
    note()
    store.correct(entry.id, check(other.id), "of the other battery")
    note()
    aircraft = store.add(Aircraft(tail="HANGAR-1"))
    note()
    store.add(Move(battery_id=one.id, aircraft_id=aircraft.id, on=ON, reason="fitted"))
    note()
    store.correct(aircraft.id, Aircraft(tail="HANGAR-2"), "tail misread")
    note()
    gone = store.delete(entry.id, "entered twice")
    note()
    store.restore(gone.id)
    note()
    assert len(set(seen)) == len(seen)


def test_a_sheet_of_a_connection_changes_the_stamp(store) -> None:
    ids = small_record(store)
    before = battery_stamps(store)[ids.battery]
    sheet = store.entry(ids.sheet).record
    store.add(sheet.model_copy(update={"file_name": "b.pdf"}))
    assert battery_stamps(store)[ids.battery] != before


def test_an_empty_record_has_no_stamp(store) -> None:
    assert battery_stamps(store) == {}
