"""What the record says of a battery's kind: never its own part, only of others, as of a day."""

from __future__ import annotations

import json
import shutil
import sqlite3
import time
from contextlib import closing
from datetime import date, datetime, timedelta

import pytest
from sqlalchemy import update

from batterymodel import InputError, Limits
from batterymodel.inputs.column_map import Column, ColumnMap, Quantity
from batterymodel.store import Store, kinds, older_lessons, open_store
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.kinds import kind_of, known_battery, with_kind
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    Move,
)
from batterymodel.store.tables import ConnectionRow
from tests.soc.test_kinds import taper
from tests.store.cases import BARE, DAY, LOG

INSTALLED = date(2022, 3, 2)


def fitted(store: Store, serial: str, battery=BARE, **more) -> str:
    """Id of a battery in an aircraft of its own."""
    plate = add_battery(store, serial, battery, INSTALLED, **more)
    aircraft = store.add(Aircraft(tail=f"T-{serial}"))
    store.add(Move(battery_id=plate.id, aircraft_id=aircraft.id, on=INSTALLED, reason="new"))
    return plate.id


def log_of(serial: str) -> bytes:
    """Readings that are this battery's alone: its clamp read a little otherwise once."""
    head, first, *lines = LOG.read_text().splitlines(keepends=True)
    at_s, current_a, *others = first.split(",")
    own = float(current_a) + sum(serial.encode()) / 1e5
    return "".join([head, ",".join([at_s, f"{own:.5f}", *others]), *lines]).encode()


def connected(store: Store, serial: str, on: date = DAY, **told):
    known = {"load_a": 8.0, "ambient_c": 20.0, **told}
    return add_connection(store, serial, log_of(serial), LOG.name, Told(on=on, **known)).entry


@pytest.fixture(scope="module")
def two_file(new_sqlite):
    """Batteries B-1 and B-2 with a completed taper each, and B-3 without any."""
    path = new_sqlite("kinds")
    store = open_store(path)
    for serial in ("B-1", "B-2", "B-3"):
        fitted(store, serial)
    for serial in ("B-1", "B-2"):
        connected(store, serial)
    store.engine.dispose()
    return path


@pytest.fixture
def two(two_file, tmp_path):
    """The same, to be added to."""
    return open_store(shutil.copy(two_file, tmp_path / "record.sqlite"))


def counts(store: Store, serial: str, on: date | None = None):
    kind = known_battery(store, serial, on).kind
    return None if kind is None else (kind.batteries, kind.connections)


def test_a_battery_is_taught_by_the_others_and_never_by_itself(two):
    assert [counts(two, serial) for serial in ("B-1", "B-2", "B-3")] == [(1, 1), (1, 1), (2, 2)]
    before = known_battery(two, "B-1").kind
    two.add(
        BenchCheck(battery_id=two.plate("B-1").id, on=DAY, capacity_ah=20.0, capacity_sd_ah=0.5)
    )
    assert known_battery(two, "B-1").kind == before
    assert len(known_battery(two, "B-2").kind.checks) == 1


def test_only_plates_that_are_alike_are_of_one_kind(two):
    fitted(two, "B-4", BARE.model_copy(update={"rated_capacity_ah": 39.0}))
    fitted(two, "B-5", BARE.model_copy(update={"cells": 10}))
    fitted(two, "B-6", BARE.model_copy(update={"chemistry": "vented_lead_acid"}))
    assert [counts(two, serial) for serial in ("B-4", "B-5", "B-6")] == [None] * 3


def test_invented_batteries_teach_invented_ones_only(two):
    fitted(two, "X-1", invented=True)
    fitted(two, "X-2", invented=True)
    connected(two, "X-1")
    assert counts(two, "X-2") == (1, 1)
    assert counts(two, "B-3") == (2, 2)


def test_a_kind_is_as_of_a_day(two):
    assert counts(two, "B-3", DAY - timedelta(days=1)) is None
    assert counts(two, "B-3", DAY) == (2, 2)


def test_a_deleted_connection_teaches_nothing_until_it_is_restored(two):
    there = two.entries(Connection, battery_id=two.plate("B-1").id)[0]
    two.delete(there.id, "wrong battery")
    assert counts(two, "B-3") == (1, 1)
    two.restore(there.id)
    assert counts(two, "B-3") == (2, 2)


def test_a_corrected_plate_belongs_to_its_new_kind(two):
    plate = two.plate("B-1")
    right = plate.record.model_copy(update={"rated_capacity_ah": 24.0})
    two.correct(plate.id, right, "misread")
    assert counts(two, "B-3") == (1, 1)
    assert counts(two, "B-1") is None


def test_what_was_learned_by_a_mistyped_plate_teaches_nothing(two):
    """Typed 100 Ah, then 40: lessons stand over 100 Ah, until the connection is assessed anew."""
    fitted(two, "B-4", BARE.model_copy(update={"rated_capacity_ah": 100.0}))
    there = connected(two, "B-4", rest_voltage_v=24.9)
    plate = two.plate("B-4")
    assert there.record.result["taper_lesson"] is not None
    two.correct(plate.id, plate.record.model_copy(update={"rated_capacity_ah": 40.0}), "misread")
    assert counts(two, "B-3") == (2, 2)
    corrected_entry(two, there.id, {"rest_voltage_v": 24.95}, "by the right plate")
    assert counts(two, "B-3") == (3, 3)
    noted = two.plate("B-4").record.model_copy(update={"note": "spare"})
    two.correct(plate.id, noted, "a note changes no kind")
    assert counts(two, "B-3") == (3, 3)


@pytest.mark.long
def test_files_of_one_connection_teach_once(two):
    """Three lengths of one connection: the longest teaches, whatever else was told beside it."""
    fitted(two, "B-4")
    head, *lines = LOG.read_text().splitlines(keepends=True)
    clock = datetime(2026, 3, 2, 7, 43)
    first = connected(two, "B-4", rest_voltage_v=24.9).record
    left = [first.result["taper_lesson"]["left"]]
    two.correct(
        two.entries(Connection, battery_id=two.plate("B-4").id)[0].id,
        first.model_copy(update={"started_at": clock}),
        "its clock",
    )
    for count in (10, 20):
        data = "".join([head, *lines[:-count]]).encode()
        record = add_connection(
            two, "B-4", data, LOG.name, Told(on=DAY, load_a=8.0, ambient_c=20.0)
        ).entry
        left.append(record.record.result["taper_lesson"]["left"])
        two.correct(
            record.id, record.record.model_copy(update={"started_at": clock}), "the same clock"
        )
    assert left == sorted(left)
    kind = known_battery(two, "B-3").kind
    assert (kind.batteries, kind.connections, kind.rest_voltages) == (3, 3, 1)


def test_of_files_of_one_connection_the_longest_teaches():
    files = [kinds._Taught(taper(7.0 + left, left=left)) for left in (0.03, 0.01, 0.05)]
    assert kinds._of_one_connection(files).taper == files[1].taper


def test_a_connection_teaches_from_its_day_on_and_a_check_too(two):
    assert counts(two, "B-3", DAY - timedelta(days=1)) is None
    two.add(BenchCheck(battery_id=two.plate("B-1").id, on=DAY, capacity_ah=38.0))
    assert len(known_battery(two, "B-3", DAY).kind.checks) == 1
    assert len(known_battery(two, "B-3", DAY + timedelta(days=1)).kind.checks) == 1


def same_file(store: Store, *serials: str, **more):
    told = Told(on=DAY, load_a=8.0, ambient_c=20.0)
    data = log_of("S-1")
    return [add_connection(store, one, data, LOG.name, told, **more) for one in serials]


@pytest.mark.long
def test_one_file_of_several_batteries_teaches_once(two):
    """Entered for B-4 to B-6: B-4 teaches, and what it taught never comes back to it."""
    for serial in ("B-4", "B-5", "B-6"):
        fitted(two, serial)
    first, second, third = same_file(two, "B-4", "B-5", "B-6")
    assert counts(two, "B-3") == (3, 3)
    assert (counts(two, "B-4"), counts(two, "B-5")) == ((2, 2), (3, 3))
    assert first.elsewhere is None
    for again in (second, third):
        assert "for battery B-4 too" in again.elsewhere
        assert first.entry.id in again.elsewhere
    two.delete(first.entry.id, "not its readings")
    assert counts(two, "B-3") == (3, 3)
    assert (counts(two, "B-4"), counts(two, "B-5")) == ((3, 3), (2, 2))


def test_the_battery_a_file_was_entered_for_first_stays_the_first(two):
    """The younger battery's, and corrected since: its first writing counts."""
    for serial in ("B-4", "B-5"):
        fitted(two, serial)
    first, _ = same_file(two, "B-5", "B-4")
    corrected_entry(two, first.entry.id, {"ambient_c": 21.0}, "read again")
    assert (counts(two, "B-4"), counts(two, "B-5")) == ((3, 3), (2, 2))


def test_two_columns_of_one_file_are_two_batteries(two):
    """A logger of two clamps: each battery has a column of its own."""
    fitted(two, "B-4")
    fitted(two, "B-5")
    time = Column(header="t", quantity=Quantity.ELAPSED, unit="s")
    rows = [line.split(",")[:2] for line in LOG.read_text().splitlines()[1:]]
    data = "\n".join(["t,one,two", *(f"{t},{a},{a}" for t, a in rows)]).encode()
    told = Told(on=DAY, load_a=8.0, ambient_c=20.0)
    for serial, taken in (("B-4", "one"), ("B-5", "two")):
        clamps = {one: Column(header=one) for one in ("one", "two")}
        clamps[taken] = Column(header=taken, quantity=Quantity.SUPPLY_CURRENT, unit="A")
        own = ColumnMap(columns=(time, *clamps.values()))
        assert add_connection(two, serial, data, "two.csv", told, own).elsewhere is None
    assert counts(two, "B-3") == (4, 4)


def test_rest_voltages_before_and_after_teach_where_the_card_has_no_curve(two):
    fitted(two, "B-4")
    connected(two, "B-4", rest_voltage_v=25.2, rest_after_v=25.9)
    assert known_battery(two, "B-3").kind.rest_voltages == 2
    card = Limits(document="manual", rest_voltage_soc=(0.0, 1.0), rest_voltage_v=(23.0, 26.0))
    battery_id = two.plate("B-4").id
    two.add(CardRevision(battery_id=battery_id, on=DAY, limits=card, reason="from the manual"))
    assert known_battery(two, "B-3").kind.rest_voltages == 0


def test_the_last_check_that_ran_to_its_end_counts(two):
    about = {"battery_id": two.plate("B-1").id, "capacity_sd_ah": 0.4}
    two.add(BenchCheck(on=date(2024, 3, 2), capacity_ah=38.0, **about))
    two.add(BenchCheck(on=date(2025, 3, 2), capacity_ah=36.0, **about))
    two.add(BenchCheck(on=date(2025, 9, 2), capacity_ah=20.0, is_lower_bound=True, **about))
    (check,) = known_battery(two, "B-3").kind.checks
    assert (check.share, check.age_years) == pytest.approx((0.9, 3.0), abs=0.01)
    assert len(known_battery(two, "B-3", date(2024, 6, 1)).kind.checks) == 1
    assert known_battery(two, "B-3", date(2023, 6, 1)).kind is None


@pytest.mark.parametrize("shares", [(0.75, 1.0), (1.0, 0.75)])
def test_of_checks_of_one_day_the_least_teaches(two, shares):
    plate = two.plate("B-1")
    rated = plate.record.rated_capacity_ah
    for share in shares:
        told = {"on": date(2024, 3, 2), "capacity_ah": share * rated}
        two.add(BenchCheck(battery_id=plate.id, **told))
    (check,) = known_battery(two, "B-3").kind.checks
    assert check.share == pytest.approx(0.75)


def test_a_check_of_a_battery_of_unknown_age_teaches_nothing(two):
    plate = two.add(BatteryPlate(serial="B-9", chemistry="vrla", cells=12, rated_capacity_ah=40.0))
    two.add(BenchCheck(battery_id=plate.id, on=DAY, capacity_ah=30.0))
    assert known_battery(two, "B-3").kind.checks == ()


def test_a_check_beyond_what_a_battery_may_hold_teaches_nothing(two):
    battery_id = two.plate("B-1").id
    two.add(BenchCheck(battery_id=battery_id, on=date(2024, 3, 2), capacity_ah=53.0))
    assert known_battery(two, "B-3").kind.checks == ()
    two.add(BenchCheck(battery_id=battery_id, on=date(2024, 3, 3), capacity_ah=51.0))
    assert len(known_battery(two, "B-3").kind.checks) == 1


def test_a_battery_in_hand_with_another_plate_stays_as_it_is(two):
    other = BARE.model_copy(update={"rated_capacity_ah": 24.0})
    assert with_kind(two, "B-3", other) == other
    assert with_kind(two, "B-3", BARE).kind == kind_of(two, two.plate("B-3"))


def test_a_connection_taken_in_is_assessed_with_its_kind_and_says_so(two):
    result = connected(two, "B-3").record.result
    assert result["kind"] == {
        "batteries": 2,
        "connections": 2,
        "rest_voltages": 0,
        "capacity_checks": 0,
        "in_use": True,
    }
    assert "2 connections of 2 other batteries of its kind" in result["notes"][-1]
    assert result["taper_lesson"] is not None


def test_a_lesson_that_other_hands_spoilt_teaches_nothing(two):
    there = two.entries(Connection, battery_id=two.plate("B-1").id)[0]
    result = {**there.record.result, "taper_lesson": {"log_time_s": "slow"}}
    spoilt = there.record.model_copy(update={"assessment": json.dumps(result)})
    two.correct(there.id, spoilt, "spoilt")
    assert counts(two, "B-3") == (1, 1)


@pytest.mark.long
def test_two_hundred_connections_cost_little_once_they_were_read(two):
    """Twenty batteries of ten completed tapers: under 50 ms of work each time after the first."""
    there = two.entries(Connection, battery_id=two.plate("B-1").id)[0].record
    with two.writing():
        for k in range(20):
            battery_id = fitted(two, f"C-{k}")
            for n in range(10):
                day, own = DAY - timedelta(days=n), two.keep_file(f"{k} {n}".encode())
                about = {"battery_id": battery_id, "day": day, "readings_sha256": own}
                two.add(there.model_copy(update=about))
    plate = two.plate("B-3")
    assert kind_of(two, plate).connections == 202
    times = []
    for _ in range(7):
        begun = time.process_time()
        kind_of(two, plate)
        times.append(time.process_time() - begun)
    assert sorted(times)[3] < 0.050


def without_lesson(store: Store, entry, **changes) -> None:
    """The entry as it stood before there were lessons: its assessment names none."""
    result = {k: v for k, v in (entry.record.result | changes).items() if k != "taper_lesson"}
    text = json.dumps(result, separators=(",", ":"))
    with store.engine.begin() as connection:
        row = ConnectionRow.__table__
        connection.execute(update(row).where(row.c.row_id == entry.row_id).values(assessment=text))


def of_before_lessons(path, *serials: str) -> Store:
    store = open_store(path)
    for serial in serials:
        (there,) = store.entries(Connection, battery_id=store.plate(serial).id)
        without_lesson(store, there)
    store.engine.dispose()
    return open_store(path)


def test_a_connection_of_before_there_were_lessons_teaches_at_once_and_once(two, tmp_path):
    fitted(two, "B-4")
    there = connected(two, "B-4", rest_voltage_v=25.2, rest_after_v=25.9)
    right = known_battery(two, "B-3").kind
    two.engine.dispose()
    store = of_before_lessons(tmp_path / "record.sqlite", "B-1", "B-4")
    found = known_battery(store, "B-3").kind
    assert (found.batteries, found.connections, found.rest_voltages) == (3, 3, 2)
    assert found == right
    assert store.entry(there.id).record.result.get("taper_lesson") is None
    corrected_entry(store, there.id, {"rest_after_v": 25.8}, "misread")
    assert counts(store, "B-3") == (3, 3)
    store.delete(there.id, "wrong battery")
    assert counts(store, "B-3") == (2, 2)


@pytest.mark.long
def test_a_lesson_kept_and_spoilt_is_read_from_its_file_again(two, tmp_path):
    two.engine.dispose()
    path = tmp_path / "record.sqlite"
    assert counts(of_before_lessons(path, "B-1", "B-2"), "B-3") == (2, 2)
    with closing(sqlite3.connect(path)) as connection:
        spoilt = "UPDATE kept_results SET value = '{\"x\":1}' WHERE kind = ?"
        assert connection.execute(spoilt, (older_lessons.KIND,)).rowcount == 2
        connection.commit()
    kinds._read.clear()
    assert counts(open_store(path), "B-3") == (2, 2)


def test_a_lesson_of_before_is_read_from_its_file_once(two, tmp_path, monkeypatch):
    two.engine.dispose()
    path = tmp_path / "record.sqlite"
    assert counts(of_before_lessons(path, "B-1", "B-2"), "B-3") == (2, 2)
    monkeypatch.setattr(older_lessons, "assess", None)
    kinds._read.clear()
    store = open_store(path)
    assert counts(store, "B-3") == (2, 2)
    kinds._read.clear()
    card = Limits(document="manual", rest_voltage_soc=(0.0, 1.0), rest_voltage_v=(23.0, 26.0))
    battery_id = store.plate("B-1").id
    store.add(CardRevision(battery_id=battery_id, on=DAY, limits=card, reason="from the manual"))
    with pytest.raises(TypeError, match="NoneType"):
        known_battery(store, "B-3")


def with_lesson_of_before_voltages(store: Store, serial: str) -> None:
    """The lesson as it stood before it said whether the supply's voltage was read."""
    (there,) = store.entries(Connection, battery_id=store.plate(serial).id)
    lesson = {k: v for k, v in there.record.result["taper_lesson"].items() if k != "voltage_read"}
    text = json.dumps(there.record.result | {"taper_lesson": lesson}, separators=(",", ":"))
    with store.engine.begin() as connection:
        row = ConnectionRow.__table__
        connection.execute(update(row).where(row.c.row_id == there.row_id).values(assessment=text))


def of_before_voltages(path, *serials: str) -> Store:
    store = open_store(path)
    for serial in serials:
        with_lesson_of_before_voltages(store, serial)
    store.engine.dispose()
    kinds._read.clear()
    return open_store(path)


def test_rest_voltages_beside_a_lesson_of_before_voltages_teach_on(two, tmp_path, monkeypatch):
    """Its file says whether the supply's voltage was read; it is looked at once."""
    fitted(two, "B-4")
    connected(two, "B-4", rest_voltage_v=25.2, rest_after_v=25.9)
    right = known_battery(two, "B-3").kind
    assert right.rest_voltages == 2
    two.engine.dispose()
    path = tmp_path / "record.sqlite"
    assert known_battery(of_before_voltages(path, "B-1", "B-4"), "B-3").kind == right
    monkeypatch.setattr(older_lessons, "assess", None)
    kinds._read.clear()
    assert known_battery(open_store(path), "B-3").kind == right


def test_a_lesson_of_before_voltages_without_rests_is_not_read_again(two, tmp_path, monkeypatch):
    right = known_battery(two, "B-3").kind
    two.engine.dispose()
    monkeypatch.setattr(older_lessons, "assess", None)
    store = of_before_voltages(tmp_path / "record.sqlite", "B-1", "B-2")
    assert known_battery(store, "B-3").kind == right


def test_a_lesson_of_before_voltages_stays_where_its_file_gives_none(two, tmp_path, monkeypatch):
    def spoilt(store, connection):
        raise InputError("spoilt")

    fitted(two, "B-4")
    connected(two, "B-4", rest_voltage_v=25.2, rest_after_v=25.9)
    two.engine.dispose()
    monkeypatch.setattr(older_lessons, "readings_of", spoilt)
    found = known_battery(of_before_voltages(tmp_path / "record.sqlite", "B-4"), "B-3").kind
    assert (found.batteries, found.connections, found.rest_voltages) == (3, 3, 0)


def test_a_taper_of_before_that_taught_no_battery_teaches_no_kind(two, tmp_path):
    (there,) = two.entries(Connection, battery_id=two.plate("B-1").id)
    without_lesson(two, there, learned_history=None)
    assert counts(two, "B-3") == (1, 1)


def test_a_file_of_before_that_cannot_be_read_teaches_nothing(two, tmp_path, monkeypatch):
    def spoilt(store, connection):
        raise InputError("spoilt")

    two.engine.dispose()
    store = of_before_lessons(tmp_path / "record.sqlite", "B-1")
    monkeypatch.setattr(older_lessons, "readings_of", spoilt)
    assert counts(store, "B-3") == (1, 1)
