"""What was learned while a plate was mistyped is learned anew, or dropped and said."""

from __future__ import annotations

from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest

from batterymodel import InputError
from batterymodel.commands.record_work import correct_entry
from batterymodel.inputs.records import History
from batterymodel.say.record import battery_text
from batterymodel.store import Store, intake
from batterymodel.store.corrections import assessed_with, corrected_entry
from batterymodel.store.former_plates import written_in
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.kinds import known_battery
from batterymodel.store.records import Aircraft, Connection, HistoryRevision, Move
from batterymodel.store.told_readings import readings_from
from batterymodel.store.track_record import track_record
from tests.store.cases import BARE, DAY
from tests.store.test_kinds import INSTALLED
from tests.store.test_track_record import csv_of, simulated_connection

MISTYPED = BARE.model_copy(update={"rated_capacity_ah": 100.0, "history": None})


def fleet_of(store: Store, battery) -> str:
    plate = add_battery(store, "B-1", battery, INSTALLED)
    aircraft = store.add(Aircraft(tail="DEMO-1"))
    store.add(Move(battery_id=plate.id, aircraft_id=aircraft.id, on=INSTALLED, reason="new"))
    return plate.id


def connected(store: Store, day: int):
    readings = simulated_connection(0.15, 0.3, minutes=150.0, every_s=30.0, seed=day)
    told = Told(on=DAY + timedelta(days=day), load_a=8.0, rest_voltage_v=25.2)
    return add_connection(store, "B-1", csv_of(readings), f"{day}.csv", told).entry


@pytest.fixture(scope="module")
def right(new_sqlite):
    """A battery whose plate was right from the beginning, after two connections and a third."""
    from batterymodel.store import open_store

    store = open_store(new_sqlite("right"))
    fleet_of(store, MISTYPED.model_copy(update={"rated_capacity_ah": 40.0}))
    found = []
    for day in (0, 1, 2):
        connected(store, day)
        found.append(store.battery("B-1").history)
    return found


@pytest.fixture
def mistyped(sqlite_store):
    """The same, typed with 100 Ah, after two connections."""
    plate_id = fleet_of(sqlite_store, MISTYPED)
    connected(sqlite_store, 0)
    connected(sqlite_store, 1)
    return sqlite_store, plate_id


def counts(store: Store, entry) -> tuple[int, int]:
    """How many connections were, and were not, assessed anew."""
    found = assessed_with(store, entry)
    return len(found.anew), len(found.kept)


def plate_of(store: Store, plate_id: str, **changes):
    return store.entry(plate_id).record.model_copy(update=changes)


def test_a_corrected_plate_has_its_connections_learned_anew(mistyped, right):
    store, plate_id = mistyped
    assert store.battery("B-1").history != right[1]
    entry = corrected_entry(store, plate_id, {"rated_capacity_ah": "40"}, "misread")
    assert counts(store, entry) == (2, 0)
    assert store.battery("B-1").history == right[1]
    assert len(store.entries(HistoryRevision, battery_id=plate_id)) == 2
    assert "do not count" not in battery_text(store, "B-1")
    reasons = {one.correction_reason for one in store.entries(Connection)}
    assert reasons == {"plate corrected: misread"}
    connected(store, 2)
    assert store.battery("B-1").history == right[2]


def test_a_connection_that_taught_nothing_is_assessed_anew_too(sqlite_store):
    plate_id = fleet_of(sqlite_store, MISTYPED)
    readings = simulated_connection(0.3, 0.3, minutes=10.0, every_s=30.0)
    add_connection(sqlite_store, "B-1", csv_of(readings), "s.csv", Told(on=DAY, load_a=8.0))
    entry = corrected_entry(sqlite_store, plate_id, {"rated_capacity_ah": "40"}, "misread")
    assert counts(sqlite_store, entry) == (1, 0)


def test_an_answer_stays_where_its_readings_give_none_now(mistyped, monkeypatch):
    """A file that could be read once, of which no later correction may take the answer."""

    def spoilt_0(data, file_name, column_map):
        if file_name == "0.csv":
            raise InputError("0.csv: row 3, not a number")
        return readings_from(data, file_name, column_map)

    store, plate_id = mistyped
    monkeypatch.setattr(intake, "readings_from", spoilt_0)
    before, _ = store.entries(Connection, battery_id=plate_id)
    told = SimpleNamespace(id=plate_id, changes=["rated_capacity_ah=40"], reason="misread")
    said = correct_entry(store, told)
    assert "; 1 connection was assessed and learned from anew by this plate; 1 connection" in said
    assert "not assessed anew, because 0.csv cannot be assessed now: the former answer" in said
    assert store.entry(before.id) == before
    assert len(store.entries(HistoryRevision, battery_id=plate_id)) == 1
    assert known_battery(store, "B-1").history is not None
    noted = corrected_entry(store, plate_id, {"note": "spare"}, "a note")
    assert counts(store, noted) == (0, 0)


def test_a_note_on_the_plate_assesses_nothing_anew(mistyped):
    store, plate_id = mistyped
    before = store.battery("B-1").history
    entry = corrected_entry(store, plate_id, {"note": "spare"}, "a note")
    assert counts(store, entry) == (0, 0)
    assert store.battery("B-1").history == before


def test_what_an_older_correction_left_is_dropped_and_said_until_learned_anew(mistyped, right):
    """The plate alone was corrected, and a third connection learned from what had been wrong."""
    store, plate_id = mistyped
    spells_end = store.correct(plate_id, plate_of(store, plate_id, rated_capacity_ah=40.0), "slip")
    assert store.battery("B-1").history is None
    assert "2 charge times learned while the plate was another" in battery_text(store, "B-1")
    third = connected(store, 2)
    assert third.recorded_at > spells_end.recorded_at
    assert store.battery("B-1").history is None
    entry = corrected_entry(store, plate_id, {"note": "learn anew"}, "an older slip")
    assert counts(store, entry) == (3, 0)
    assert store.battery("B-1").history == right[2]


def test_a_history_that_was_told_stays(mistyped):
    store, plate_id = mistyped
    told = History(charge_time_h=1.4, on=DAY + timedelta(days=3))
    store.add(HistoryRevision(battery_id=plate_id, on=told.on, history=told))
    store.correct(plate_id, plate_of(store, plate_id, rated_capacity_ah=40.0), "misread")
    assert known_battery(store, "B-1").history == told


def test_an_answer_by_a_mistyped_plate_is_not_scored(mistyped):
    store, plate_id = mistyped
    assert len(track_record(store).ranges) + track_record(store).unsure == 2
    plate = plate_of(store, plate_id, rated_capacity_ah=40.0)
    store.correct(plate_id, plate, "misread")
    assert len(track_record(store).ranges) + track_record(store).unsure == 0
    corrected_entry(store, plate_id, {"note": "learn anew"}, "an older slip")
    found = track_record(store)
    assert len(found.ranges) + found.unsure == 2
    assert {case.answered.rated_ah for case in found.ranges} <= {40.0}


def test_a_spell_begins_with_its_row_and_ends_before_the_next():
    """What is written at the very moment of the right plate is written by the right plate."""
    wrong, right = datetime(2026, 3, 2, 8), datetime(2026, 3, 2, 9)
    assert [written_in(((wrong, right),), at) for at in (wrong, right)] == [True, False]
