"""Taking connections in: assessed on the way, kept to the byte even where that fails."""

from datetime import UTC, date, datetime, timedelta

import pytest

from batterymodel import InputError, assess
from batterymodel.inputs.records import CapacityCheck
from batterymodel.samples.connections import load_scenario, sample_readings_path
from batterymodel.sheet.case import recorded_case
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.folder_intake import connection_files, import_connections
from batterymodel.store.intake import (
    TODAY_TAKEN,
    Told,
    add_battery,
    add_check,
    add_connection,
    add_fitted_battery,
)
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    Connection,
    HistoryRevision,
    Move,
    Servicing,
    ServicingFound,
)
from batterymodel.store.servicing import add_servicing
from tests.store.cases import BARE, DAY, LOG, small_record, write_logs

HEALTHY = sample_readings_path("healthy-top-off").read_bytes()


@pytest.fixture
def fleet(sqlite_store):
    """One aircraft with the battery of the healthy sample."""
    samples, _ = load_scenario()
    aircraft = sqlite_store.add(Aircraft(tail="DEMO-1")).id
    battery = add_battery(sqlite_store, "B-1", samples[0].battery, date(2024, 1, 1)).id
    move = {"battery_id": battery, "aircraft_id": aircraft, "reason": "new"}
    sqlite_store.add(Move(on=date(2024, 1, 1), **move))
    return sqlite_store


def test_a_connection_is_assessed_as_the_library_does(fleet):
    samples, supply = load_scenario()
    told = Told(supply=supply, rest_voltage_v=25.6, load_a=8.0)
    entry = add_connection(fleet, "B-1", HEALTHY, "a.csv", told).entry
    same = assess(
        sample_readings_path("healthy-top-off"),
        samples[0].battery,
        supply,
        rest_voltage_v=25.6,
        load_a=8.0,
        on=DAY,
    )
    assert entry.record.day == DAY
    assert entry.record.started_at.isoformat() == "2026-03-02T07:43:00"
    assert entry.record.result["outcome"] == same.outcome
    assert entry.record.result["state_of_charge"] == same.model_dump()["state_of_charge"]
    assert fleet.file(entry.record.readings_sha256) == HEALTHY


@pytest.mark.parametrize(
    ("data", "why"),
    [
        (b"", "is empty"),
        (b"\x00\xff" * 50, "not a text file"),
        (b"elapsed_s,supply_current_a\n0,1\n", "at least 3"),
        (HEALTHY, "rest voltage: 40 V cannot be that of 12"),
    ],
)
def test_readings_that_cannot_be_assessed_are_kept_with_the_sentence(fleet, data, why):
    told = Told(on=DAY, rest_voltage_v=40.0)
    taken = add_connection(fleet, "B-1", data, "odd.csv", told)
    [connection] = fleet.entries(Connection)
    assert connection == taken.entry
    assert fleet.file(connection.record.readings_sha256) == data
    assert connection.record.assessment is None
    assert why in connection.record.not_assessed


def test_the_day_is_told_or_read_or_said_to_be_todays(fleet):
    bare = LOG.read_bytes()
    first = add_connection(fleet, "B-1", bare, "a.csv", Told())
    assert first.entry.record.day == date.today()
    assert first.remark == TODAY_TAKEN
    told = add_connection(fleet, "B-1", HEALTHY, "b.csv", Told(on=date(2025, 5, 5)))
    assert (told.entry.record.day, told.remark) == (date(2025, 5, 5), None)


def test_the_same_readings_are_taken_once(fleet):
    first = add_connection(fleet, "B-1", HEALTHY, "a.csv", Told())
    again = add_connection(fleet, "B-1", HEALTHY, "renamed.csv", Told())
    assert again.was_there
    assert again.entry == first.entry
    assert len(fleet.entries(Connection)) == 1


def test_a_battery_on_no_aircraft_needs_one_named(fleet):
    add_battery(fleet, "B-2", BARE)
    with pytest.raises(InputError, match="is on no aircraft on 2026-03-02: name the aircraft"):
        add_connection(fleet, "B-2", HEALTHY, "a.csv", Told())
    entry = add_connection(fleet, "B-2", HEALTHY, "a.csv", Told(tail="DEMO-1")).entry
    assert entry.record.aircraft_id == fleet.aircraft("DEMO-1").id
    with pytest.raises(InputError, match="no battery 'B-3'"):
        add_connection(fleet, "B-3", HEALTHY, "a.csv")


@pytest.mark.parametrize(("field", "value"), [("load_a", -3.0), ("rest_voltage_v", 2500.0)])
def test_what_was_told_is_checked_before_anything_is_kept(fleet, field, value):
    with pytest.raises(InputError, match=field):
        add_connection(fleet, "B-1", HEALTHY, "a.csv", Told(**{field: value}))
    assert fleet.entries(Connection) == ()


def test_a_correction_assesses_anew_and_unlearns(store):
    ids = small_record(store)
    before = store.entry(ids.connection).record
    assert len(store.entries(HistoryRevision)) == 1
    corrected_entry(store, ids.connection, {"rest_voltage_v": "25.2"}, "it was read after all")
    after = store.entry(ids.connection).record
    assert after.rest_voltage_v == 25.2
    assert after.assessment != before.assessment
    [taught] = store.entries(HistoryRevision)
    assert taught.record.connection_id == ids.connection
    assert [row.record.rest_voltage_v for row in store.history(ids.connection)] == [None, 25.2]
    deleted = [table for deletion in store.deletions() for table, _ in deletion.entries]
    assert deleted == ["histories"]


def test_a_mistyped_rest_voltage_in_a_correction_takes_no_answer_away(store):
    ids = small_record(store)
    before = store.entry(ids.connection).record
    with pytest.raises(InputError, match=r"5 V cannot be that of .* V would be right"):
        corrected_entry(store, ids.connection, {"rest_voltage_v": "5"}, "it was read after all")
    assert store.entry(ids.connection).record == before
    assert len(store.entries(HistoryRevision)) == 1


def test_corrections_of_fields_are_checked(store):
    ids = small_record(store)
    for changes, says in (
        ({"cells": "many"}, "cells"),
        ({"sells": "12"}, "has no field 'sells' to correct; fields are serial"),
        ({"cells": None}, "cells"),
    ):
        with pytest.raises(InputError, match=says):
            corrected_entry(store, ids.battery, changes, "why")
    with pytest.raises(InputError, match="no field 'assessment'"):
        corrected_entry(store, ids.connection, {"assessment": "{}"}, "why")
    corrected_entry(store, ids.battery, {"installed_on": None, "cells": "11"}, "why")
    assert store.plate("B-1").record.installed_on is None
    assert store.plate("B-1").record.cells == 11


def test_a_folder_holds_a_subfolder_for_each_battery(fleet, tmp_path):
    add_battery(fleet, "B-2", BARE)
    write_logs(tmp_path / "B-1", 2)
    write_logs(tmp_path / "B-2", 1)
    files = connection_files(fleet, tmp_path, None)
    assert [(serial, path.name) for serial, path in files] == [
        ("B-1", "log-0000.csv"), ("B-1", "log-0001.csv"), ("B-2", "log-0000.csv"),
    ]  # fmt: skip
    assert len(connection_files(fleet, tmp_path / "B-2", "B-1")) == 1
    write_logs(tmp_path / "B-3", 1)
    with pytest.raises(InputError, match="no battery 'B-3'"):
        connection_files(fleet, tmp_path, None)
    with pytest.raises(InputError, match="no CSV files there"):
        connection_files(fleet, tmp_path, "B-1")


def test_each_file_of_a_folder_is_committed_before_the_next(fleet, tmp_path):
    write_logs(tmp_path, 3)
    (tmp_path / "log-0002.csv").unlink()
    (tmp_path / "log-0002.csv").symlink_to(tmp_path / "nowhere")
    files = [("B-1", path) for path in sorted(tmp_path.glob("*.csv"))]
    taken = import_connections(fleet, files, Told())
    for count in (1, 2):
        next(taken)
        assert len(fleet.entries(Connection)) == count
    with pytest.raises(InputError, match=r"log-0002.csv: cannot be read \(no such file"):
        next(taken)
    assert len(fleet.entries(Connection)) == 2


def test_a_completed_taper_is_not_its_own_prior(store):
    """Looked at again, a connection meets the record as it was just before it."""
    ids = small_record(store)
    first = store.entry(ids.connection).record
    [taught] = store.entries(HistoryRevision)
    before = store.battery("B-1", DAY, before=first.started_at, again=ids.connection)
    assert before.history is None
    assert before.last_known is None
    assert store.battery("B-1", DAY, before=first.started_at).history == taught.record.history
    again = recorded_case(store, "B-1", ids.connection).assessment
    for name in ("at_connection", "now"):
        assert again.state_of_charge.model_dump()[name] == first.result["state_of_charge"][name]


def test_a_later_taper_of_the_same_day_does_not_teach_an_earlier_one(store):
    ids = small_record(store)
    later = add_connection(store, "B-1", LOG.read_bytes() + b"\n", "later.csv", Told(on=DAY))
    assert len(store.entries(HistoryRevision)) == 2
    assert store.battery("B-1", DAY, again=ids.connection).history is None
    own = [e.record.history for e in store.entries(HistoryRevision, connection_id=ids.connection)]
    assert [store.battery("B-1", DAY, again=later.entry.id).history] == own


def check_on(fleet, day):
    plate = fleet.plate("B-1").id
    return BenchCheck(battery_id=plate, on=day, capacity_ah=36.0)


@pytest.mark.parametrize(
    ("days", "why"),
    [(2, "later than today"), (1, None), (0, None), (-790, None), (-792, "older than the inst")],
)
def test_a_check_is_of_a_day_on_which_it_can_have_been_made(fleet, days, why):
    """The battery was installed on 2024-01-01, 791 days before the clock of this store."""
    store = fleet.with_clock(lambda: datetime(2026, 3, 2, 12, tzinfo=UTC), fleet.new_id)
    before = store.entries(BenchCheck)
    check = check_on(store, date(2026, 3, 2) + timedelta(days=days))
    if why is None:
        assert not add_check(store, check).was_there
        return
    with pytest.raises(InputError, match=why):
        add_check(store, check)
    assert store.entries(BenchCheck) == before


@pytest.mark.parametrize(
    ("capacity_ah", "fits"),
    [(3.9, False), (4.1, True), (63.9, True), (64.1, False), (400.0, False)],
)
def test_a_check_is_of_a_capacity_that_the_battery_can_have(fleet, capacity_ah, fits):
    """From a tenth to 1.6 times the 40 Ah of the plate, by every way into the record."""
    about = {"on": date(2025, 3, 2), "capacity_ah": capacity_ah}
    plate, before = fleet.plate("B-1").id, len(fleet.entries(BenchCheck))
    ways = (
        lambda: add_check(fleet, BenchCheck(battery_id=plate, **about)),
        lambda: add_servicing(
            fleet, "B-1", ServicingFound.CAPACITY, date(2025, 3, 9), about["capacity_ah"]
        ),
        lambda: add_battery(fleet, "B-9", BARE.model_copy(update=checked(**about))),
    )
    for way in ways:
        if fits:
            way()
            continue
        with pytest.raises(InputError, match="cannot be that of a battery rated 40 Ah"):
            way()
    assert len(fleet.entries(BenchCheck)) == before + (3 if fits else 0)
    assert len(fleet.entries(Servicing)) == fits


def checked(**check):
    return {"capacity_check": CapacityCheck(**check)}


@pytest.mark.parametrize("rest_after_v", [2.5, 60.0])
def test_a_rest_voltage_after_is_one_that_the_battery_can_have(fleet, rest_after_v):
    with pytest.raises(InputError, match=r"rest voltage after: .* cannot be that of 12"):
        add_connection(fleet, "B-1", HEALTHY, "a.csv", Told(rest_after_v=rest_after_v))
    assert fleet.entries(Connection) == ()
    entry = add_connection(fleet, "B-1", HEALTHY, "a.csv", Told(rest_after_v=25.9)).entry
    with pytest.raises(InputError, match="cannot be that of 12"):
        corrected_entry(fleet, entry.id, {"rest_after_v": rest_after_v}, "misread")
    assert fleet.entry(entry.id).record.rest_after_v == 25.9


def test_a_connection_still_to_come_is_refused(fleet):
    store = fleet.with_clock(lambda: datetime(2026, 3, 2, 12, tzinfo=UTC), fleet.new_id)
    with pytest.raises(InputError, match="the connection of 2026-03-04 is later than today"):
        add_connection(store, "B-1", HEALTHY, "a.csv", Told(on=date(2026, 3, 4)))


@pytest.mark.parametrize(
    "told",
    [
        Told(rest_voltage_v=24.0),
        Told(rest_after_v=25.4),
        Told(load_a=3.0),
        Told(on=date(2026, 1, 9)),
    ],
)
def test_other_facts_beside_readings_on_record_are_refused_and_not_lost(store, told):
    first = small_record(store).connection
    again = add_connection(store, "B-1", LOG.read_bytes(), LOG.name, Told(on=DAY))
    assert (again.was_there, again.entry.id) == (True, first)
    with pytest.raises(InputError, match=f"{first} with other facts"):
        add_connection(store, "B-1", LOG.read_bytes(), LOG.name, told)


@pytest.mark.parametrize("hidden", ["\u2060", "\u200b", "\u00ad", "\ufeff"])
def test_invisible_characters_make_no_second_battery(fleet, hidden):
    battery = fleet.battery("B-1")
    with pytest.raises(InputError, match="there is a battery 'B-1' in the record already"):
        add_battery(fleet, f"B-{hidden}1", battery)
    assert fleet.plate(f"B-{hidden}1").record.serial == "B-1"
    add_fitted_battery(fleet, f"B-{hidden}2", battery, f"DEMO{hidden}-1", DAY)
    assert fleet.plate("B-2").record.serial == "B-2"
    assert [entry.record.tail for entry in fleet.entries(Aircraft)] == ["DEMO-1"]


@pytest.mark.parametrize("name", ["b-1", "B - 1", "b -1"])
def test_a_name_that_differs_in_case_or_spaces_alone_is_refused_with_the_other(fleet, name):
    battery = fleet.battery("B-1")
    with pytest.raises(InputError, match=f"battery '{name}' differs from 'B-1' on record only in"):
        add_battery(fleet, name, battery)
    with pytest.raises(InputError, match="aircraft 'demo -1' differs from 'DEMO-1' on record"):
        add_fitted_battery(fleet, "B-7", battery, "demo -1", DAY)
    assert [entry.record.serial for entry in fleet.entries(BatteryPlate)] == ["B-1"]


def test_a_correction_to_a_name_like_another_is_refused_with_the_other(fleet):
    add_fitted_battery(fleet, "B-2", fleet.battery("B-1"), "DEMO-2", DAY)
    for kind, name, words in (
        ("serial", "b-1", "battery 'b-1' differs from 'B-1' on record only in letter case or"),
        ("tail", "Demo - 1", "aircraft 'Demo - 1' differs from 'DEMO-1' on record only in"),
    ):
        entry = fleet.plate("B-2") if kind == "serial" else fleet.aircraft("DEMO-2")
        with pytest.raises(InputError, match=words):
            corrected_entry(fleet, entry.id, {kind: name}, "misread")
    own = corrected_entry(fleet, fleet.plate("B-2").id, {"serial": "b-2"}, "small letters")
    assert own.record.serial == "b-2"


def test_of_two_that_were_named_alike_before_each_can_be_corrected(fleet, monkeypatch):
    with monkeypatch.context() as lax:
        lax.setattr("batterymodel.store.entries._refuse_alike", lambda *_: None)
        add_battery(fleet, "b-1", fleet.battery("B-1"))
    entry = corrected_entry(fleet, fleet.plate("b-1").id, {"note": "second"}, "noted")
    assert (entry.record.serial, entry.record.note) == ("b-1", "second")
    assert corrected_entry(fleet, entry.id, {"serial": "C-1"}, "read anew").record.serial == "C-1"


def test_a_name_that_another_took_but_for_letter_case_is_not_restored_beside_it(fleet):
    first = fleet.aircraft("DEMO-1")
    fleet.delete(first.id, "sold")
    other = fleet.add(Aircraft(tail="demo-1"))
    with pytest.raises(InputError, match=r"'demo-1' on record only .*; correct the name of 'demo"):
        fleet.restore(first.id, "bought back")
    corrected_entry(fleet, other.id, {"tail": "DEMO-9"}, "misread")
    fleet.restore(first.id, "bought back")
    assert {entry.record.tail for entry in fleet.entries(Aircraft)} == {"DEMO-1", "DEMO-9"}
