"""One look: it says what the store says, and reads nothing twice."""

from __future__ import annotations

import shutil

from batterymodel.store import open_store
from batterymodel.store.one_look import one_look
from batterymodel.store.records import BatteryPlate, BenchCheck, Connection
from tests.store.cases import small_record


def test_the_battery_before_each_connection_is_the_stores(demo_sqlite, tmp_path):
    path = tmp_path / "record.sqlite"
    shutil.copy(demo_sqlite, path)
    store, seen = open_store(str(path)), 0
    first = store.entries(Connection)[0]
    told = first.record.model_copy(update={"rest_after_v": 25.5})
    store.correct(first.id, told, "read afterwards")
    with one_look(store) as look:
        for plate in store.entries(BatteryPlate):
            for entry in look.entries(Connection, battery_id=plate.id):
                day, moment = entry.record.day, entry.record.started_at
                expected = store.battery(plate.record.serial, day, moment, entry.id)
                assert look.battery_before(plate, entry) == expected
                seen += 1
    assert seen >= 10


def test_a_look_reads_each_kind_once_and_a_new_look_anew(store, monkeypatch):
    ids, asked = small_record(store), []
    genuine = store.entries
    monkeypatch.setattr(store, "entries", lambda *k, **e: (asked.append(k), genuine(*k, **e))[1])
    with one_look(store) as look:
        first = look.entries(BenchCheck, battery_id=ids.battery)
        assert look.entries(BenchCheck, battery_id=ids.battery) is first
        assert len(look.entries(BenchCheck, battery_id=ids.battery, is_lower_bound=True)) == 0
        assert look.history(first[0].id) == store.history(first[0].id)
        assert look.entry(ids.aircraft) == store.entry(ids.aircraft)
    assert len(asked) == 2
    store.delete(first[0].id, "entered twice")
    with one_look(store) as look:
        assert len(look.entries(BenchCheck, battery_id=ids.battery)) == len(first) - 1
