"""The store on every database: add, correct, delete, restore, and what is in force on a day."""

from datetime import UTC, date, datetime, timedelta

import pytest
from sqlalchemy import text

from batterymodel import Battery, InputError, LastKnown, StoreError
from batterymodel.store.as_of import last_told_check
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    LoadConfiguration,
    Move,
    OwnerSheet,
    Servicing,
)
from batterymodel.store.tables import BatteryRow
from tests.store.cases import DAY, LOG, small_record

PLATE = BatteryPlate(serial="B-9", chemistry="nicd", cells=20, rated_capacity_ah=36.0)


def test_every_kind_comes_back_as_it_was_written(store):
    ids = small_record(store)
    assert store.plate("B-1").record.installed_on == date(2024, 1, 5)
    assert [m.record.reason for m in store.entries(Move)] == ["new", "to the bench", "spare fitted"]
    assert store.entries(LoadConfiguration)[0].record.consumers[0].peak_a == 5.5
    check = store.entries(BenchCheck)[-1].record
    assert check.note == "line one\nline two"
    assert store.file(check.log_sha256) == b"raw\x00log\r\n\xff"
    assert store.file(store.entry(ids.sheet).record.content_sha256) == b"%PDF invented"
    connection = store.entry(ids.connection).record
    assert store.file(connection.readings_sha256) == LOG.read_bytes()
    assert connection.result["outcome"] == "keep_watching"


def test_moments_are_utc_and_of_now(store):
    before = datetime.now(UTC)
    entry = store.add(PLATE)
    again = store.entry(entry.id)
    assert again == entry
    assert again.recorded_at.utcoffset() == timedelta(0)
    assert before <= again.recorded_at <= datetime.now(UTC)


@pytest.mark.parametrize(
    ("on", "tail", "capacity_ah", "document"),
    [
        (date(2024, 1, 4), "B-1", None, None),
        (date(2024, 1, 5), "DEMO-1", None, None),
        (date(2024, 5, 1), "DEMO-1", 39.5, None),
        (date(2025, 5, 9), "B-1", 39.5, None),
        (date(2025, 5, 31), "B-1", 37.25, None),
        (date(2025, 6, 1), "DEMO-2", 37.25, "Manual, revision C"),
        (None, "DEMO-2", 37.25, "Manual, revision C"),
    ],
)
def test_battery_is_what_was_in_force_on_the_day(store, on, tail, capacity_ah, document):
    small_record(store)
    battery = store.battery("B-1", on)
    assert battery.tail == tail
    assert battery.limits.document == document
    assert (battery.capacity_check.capacity_ah if battery.capacity_check else None) == capacity_ah


def test_a_completed_taper_is_learned_from_and_leaves_the_battery_full(store):
    small_record(store)
    assert store.battery("B-1", DAY - timedelta(days=1)).history is None
    after = store.battery("B-1")
    assert after.history.charge_time_h == pytest.approx(0.34, abs=0.05)
    assert after.last_known.on == DAY
    assert 0.98 <= after.last_known.state_of_charge <= 1.0


def test_a_capacity_check_leaves_the_state_open(store):
    ids = small_record(store)
    store.add(BenchCheck(battery_id=ids.battery, on=DAY + timedelta(days=1), capacity_ah=37.0))
    assert store.battery("B-1", DAY).last_known is not None
    assert store.battery("B-1").last_known is None


def test_a_state_that_was_told_is_the_last_known(store):
    ids = small_record(store)
    on = DAY + timedelta(days=3)
    store.add(KnownState(battery_id=ids.battery, on=on, state_of_charge=0.6, sd=0.1))
    assert store.battery("B-1").last_known == LastKnown(on=on, state_of_charge=0.6, sd=0.1)


def test_a_check_stopped_early_measures_no_capacity(store):
    ids = small_record(store)
    early = {"on": DAY, "capacity_ah": 20.0, "is_lower_bound": True}
    store.add(BenchCheck(battery_id=ids.battery, **early))
    assert store.battery("B-1").capacity_check.capacity_ah == 37.25


@pytest.mark.parametrize("ah", [(30.0, 40.0), (40.0, 30.0), (30.0, 40.0, 35.0)])
def test_of_checks_of_one_day_the_least_counts_and_a_correction_replaces_it(store, ah):
    """A repeat that passes does not hide one that failed, whichever was written first."""
    ids = small_record(store)
    told = [BenchCheck(battery_id=ids.battery, on=DAY, capacity_ah=one) for one in ah]
    written = [store.add(one) for one in told]
    assert store.battery("B-1").capacity_check.capacity_ah == 30.0
    k = ah.index(30.0)
    store.correct(written[k].id, told[k].model_copy(update={"capacity_ah": 41.0}), "slip")
    others = [*ah[:k], *ah[k + 1 :], 41.0]
    assert store.battery("B-1").capacity_check.capacity_ah == min(others)
    later = {"on": DAY + timedelta(days=1), "capacity_ah": 42.0}
    store.add(BenchCheck(battery_id=ids.battery, **later))
    assert store.battery("B-1").capacity_check.capacity_ah == 42.0
    assert store.battery("B-1", DAY).capacity_check.capacity_ah == min(others)


def test_a_check_stopped_early_does_not_hide_one_of_its_day_that_ran_to_its_end(store):
    ids = small_record(store)
    for told in ({"capacity_ah": 30.0}, {"capacity_ah": 38.0, "is_lower_bound": True}):
        store.add(BenchCheck(battery_id=ids.battery, on=DAY, **told))
    checks = store.entries(BenchCheck, battery_id=ids.battery)
    assert last_told_check(checks).record.capacity_ah == 30.0
    later = {"on": DAY + timedelta(days=1), "capacity_ah": 33.0, "is_lower_bound": True}
    bound = store.add(BenchCheck(battery_id=ids.battery, **later))
    assert last_told_check((*checks, bound)).id == bound.id
    assert last_told_check(()) is None


def test_a_battery_goes_in_and_comes_out_the_same(store):
    told = Battery(
        tail="B-7",
        chemistry="nicd",
        cells=20,
        rated_capacity_ah=36.5,
        limits={"document": "M", "end_voltage_v": 20.0},
        history={"charge_time_h": 0.3, "on": "2025-01-01"},
        capacity_check={"on": "2025-02-01", "capacity_ah": 38.0, "capacity_sd_ah": 1.0},
        last_known={"on": "2025-03-01", "state_of_charge": 0.9},
    )
    add_battery(store, "B-7", told, date(2024, 12, 1))
    installed = store.plate("B-7").record.installed_on
    assert installed is not None
    assert store.battery("B-7") == told.model_copy(update={"installed_on": installed})
    assert store.battery("B-7", installed - timedelta(days=1)).installed_on is None
    assert store.battery("B-7", installed).installed_on == installed


def test_a_correction_keeps_the_old_row(store):
    entry = store.add(PLATE)
    right = PLATE.model_copy(update={"cells": 19})
    new = store.correct(entry.id, right, "counted again")
    assert store.plate("B-9") == new
    assert (new.id, new.replaces, new.correction_reason) == (entry.id, entry.id, "counted again")
    assert [row.record.cells for row in store.history(entry.id)] == [20, 19]
    third = store.correct(entry.id, PLATE.model_copy(update={"cells": 18}), "and again")
    assert [row.row_id for row in store.history(entry.id)] == [entry.id, new.row_id, third.row_id]


@pytest.mark.parametrize("reason", ["", "  \n ", None])
def test_corrections_and_deletions_need_a_reason(store, reason):
    entry = store.add(PLATE)
    with pytest.raises(InputError, match="a correction needs a reason"):
        store.correct(entry.id, PLATE.model_copy(update={"cells": 19}), reason)
    with pytest.raises(InputError, match="a deletion needs a reason"):
        store.delete(entry.id, reason)
    assert store.plate("B-9") == entry


def test_what_refers_to_a_corrected_entry_still_finds_it(store):
    ids = small_record(store)
    plate = store.plate("B-1")
    store.correct(ids.battery, plate.record.model_copy(update={"serial": "B-1A"}), "misread")
    assert len(store.entries(Move, battery_id=store.plate("B-1A").id)) == 3
    with pytest.raises(InputError, match="no battery 'B-1'"):
        store.plate("B-1")
    store.add(PLATE.model_copy(update={"serial": "B-1"}))


def test_a_deletion_takes_what_belongs_to_it_and_comes_back(store):
    ids = small_record(store)
    kinds = (Move, Connection, BenchCheck, Servicing, CardRevision, HistoryRevision, OwnerSheet)
    before = {kind: store.entries(kind) for kind in kinds}
    gone = store.delete(ids.battery, "sold")
    assert {e for e, _ in store.deletions()[0].entries} == {t for t, _ in gone.entries}
    assert all(store.entries(kind) == () for kind in kinds)
    assert len(store.entries(Aircraft)) == 2
    assert store.entry(ids.battery).record.serial == "B-1"
    with pytest.raises(InputError, match="no battery 'B-1'"):
        store.battery("B-1")
    assert len(store.restore(gone.id)) == len(gone) == sum(map(len, before.values())) + 1
    assert {kind: store.entries(kind) for kind in kinds} == before
    assert store.deletions() == ()


def test_acts_are_restored_one_by_one(store):
    ids = small_record(store)
    first = store.delete(ids.connection, "wrong file")
    store.delete(ids.battery, "sold")
    with pytest.raises(InputError, match="is deleted; restore it first"):
        store.restore(first.id)
    store.restore(ids.battery)
    assert store.entries(Connection) == ()
    store.restore(ids.connection)
    assert [e.id for e in store.entries(Connection)] == [ids.connection]
    store.delete(ids.connection, "once more")
    assert store.entries(OwnerSheet) == ()


def test_names_are_given_once(store):
    ids = small_record(store)
    for record in (
        PLATE.model_copy(update={"serial": "B-1"}),
        Aircraft(tail="DEMO-2"),
        LoadConfiguration(aircraft_id=ids.other, name="Ramp", consumers=()),
    ):
        with pytest.raises(InputError, match="in the record already"):
            store.add(record)
    store.add(LoadConfiguration(aircraft_id=ids.aircraft, name="Ramp", consumers=()))
    store.delete(ids.battery, "sold")
    store.add(PLATE.model_copy(update={"serial": "B-1"}))
    with pytest.raises(InputError, match="in the record already"):
        store.restore(ids.battery)


def test_what_cannot_be_is_refused(store):
    ids = small_record(store)
    unknown = "00000000-0000-4000-8000-000000000000"
    for wrong, says in (
        (lambda: store.add(Move(battery_id=unknown, on=DAY, reason="x")), "no entry"),
        (
            lambda: store.add(Move(battery_id=ids.other, on=DAY, reason="x")),
            "names another kind",
        ),
        (lambda: store.correct(ids.battery, Aircraft(tail="X"), "x"), "cannot become"),
        (lambda: store.correct(ids.battery, store.plate("B-1").record, "x"), "changes nothing"),
        (lambda: store.delete(unknown, "x"), "no entry"),
        (lambda: store.restore(ids.battery), "nothing is deleted under"),
        (lambda: store.aircraft("DEMO-7"), "no aircraft 'DEMO-7'"),
        (lambda: store.file("0" * 64), "no file"),
    ):
        with pytest.raises(InputError, match=says):
            wrong()
    store.delete(ids.sheet, "x")
    with pytest.raises(InputError, match="is deleted already"):
        store.delete(ids.sheet, "x")
    with pytest.raises(InputError, match="is deleted; restore it before"):
        store.correct(ids.sheet, store.entry(ids.sheet).record, "x")


def test_a_write_is_all_or_nothing(store):
    def stopped_halfway():
        with store.writing():
            store.add(PLATE)
            store.keep_file(b"bytes")
            assert store.plate("B-9")
            raise RuntimeError

    with pytest.raises(RuntimeError):
        stopped_halfway()
    assert store.is_empty()
    with store.writing():
        store.add(PLATE)
        store.add(Aircraft(tail="DEMO-3"))
    assert not store.is_empty()


def test_rows_cannot_be_changed_or_removed(store):
    entry = store.add(PLATE)
    with pytest.raises(StoreError, match="write a correction"), store.writing() as session:
        session.get(BatteryRow, entry.row_id).cells = 3
    with pytest.raises(StoreError, match="write a correction"), store.writing() as session:
        session.delete(session.get(BatteryRow, entry.row_id))
    assert store.plate("B-9").record.cells == 20


def test_foreign_keys_are_on(store):
    entry = store.add(PLATE)
    spoil = text("UPDATE batteries SET replaces = 'nowhere' WHERE row_id = :id")
    with pytest.raises(StoreError), store.writing() as session:
        session.execute(spoil, {"id": entry.row_id})
    assert store.history(entry.id) == (entry,)


def test_content_spoilt_by_other_hands_is_one_sentence(store):
    entry = store.add(PLATE)
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE batteries SET cells = 4000"))
    with pytest.raises(InputError, match=f"battery {entry.row_id} in the database: cells"):
        store.plate("B-9")


def test_a_spoilt_file_is_noticed(store):
    sha256 = store.keep_file(b"readings")
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE files SET content = :b"), {"b": b"reading5"})
    with pytest.raises(StoreError, match="is damaged"):
        store.file(sha256)


def test_connections_of_one_day_know_only_earlier_ones(store):
    ids = small_record(store)
    clocked = LOG.read_text().splitlines()
    head, rows = clocked[0], clocked[1:]
    stamped = [f"{head},time"] + [
        f"{row},2026-04-01T09:{int(float(row.split(',')[0])) // 60 % 60:02}:00" for row in rows[:1]
    ]
    data = "\n".join(stamped + [f"{row}," for row in rows[1:]]).encode()
    late = add_connection(store, "B-1", data, "late.csv", Told())
    assert late.entry.record.started_at == datetime(2026, 4, 1, 9)
    at = datetime(2026, 4, 1, 8)
    assert store.battery("B-1", date(2026, 4, 1), at).last_known.on == DAY
    assert store.battery("B-1", date(2026, 4, 1)).last_known.on == date(2026, 4, 1)
    assert store.entry(ids.connection).record.day == DAY
