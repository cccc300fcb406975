"""The invented record: the same every time, marked, and gone in one go."""

import shutil
from datetime import date
from pathlib import Path

import numpy as np
import pytest
from platformdirs import user_data_path

from batterymodel import StoreError
from batterymodel.samples.connections import load_scenario, sample_readings_path
from batterymodel.samples.demo import WEAR, fill_demo, open_demo, remove_demo
from batterymodel.store import open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.engine import DEMO_NAME, URL_VARIABLE, demo_url
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    Connection,
    LoadConfiguration,
    Move,
)


@pytest.fixture
def filled(demo_sqlite, new_sqlite):
    path = new_sqlite("demo")
    shutil.copy(demo_sqlite, path)
    return open_store(path)


def test_every_sample_is_there_with_the_outcome_it_deserves(filled):
    found = {e.record.file_name: e.record for e in filled.entries(Connection)}
    samples, _ = load_scenario()
    assert len(found) == len(samples) == 12
    for sample in samples:
        record = found[f"{sample.key}.csv"]
        assert record.result["outcome"] == sample.deserves, sample.key
        assert filled.file(record.readings_sha256) == sample_readings_path(sample.key).read_bytes()
        assert filled.entry(record.aircraft_id).record.tail == sample.battery.tail


def test_everything_is_marked_invented(filled):
    marked = [*filled.entries(Aircraft), *filled.entries(BatteryPlate)]
    assert len(marked) == 9 + 10
    assert all(e.record.invented and "Invented" in e.record.note for e in marked)


def slope_per_year(checks):
    years = [(c.on - checks[0].on).days / 365.25 for c in checks]
    return np.polyfit(years, [c.capacity_ah for c in checks], 1)[0]


def test_three_batteries_tell_three_stories(filled):
    told = {}
    for serial in WEAR:
        checks = filled.entries(BenchCheck, battery_id=filled.plate(serial).id)
        told[serial] = [entry.record for entry in checks]
        assert len(told[serial]) == 12
        assert told[serial][-1].on.year - told[serial][0].on.year >= 5
    steady, turned, fine = told["SF-106"], told["SF-103"], told["SF-101"]
    assert slope_per_year(steady[:6]) == pytest.approx(slope_per_year(steady[6:]), abs=1.0)
    assert slope_per_year(turned[8:]) < slope_per_year(turned[:8]) - 2.0
    assert fine[-1].capacity_ah > 0.95 * 40.0
    assert steady[-1].capacity_ah < 0.85 * 40.0
    assert all(c.minutes == pytest.approx(60 * c.capacity_ah / 40, abs=0.1) for c in steady)


def test_a_battery_went_from_one_place_to_another(filled):
    moves = filled.entries(Move, battery_id=filled.plate("SF-102").id)
    assert len(moves) == 3
    day = date(2026, 2, 20)
    assert filled.aircraft_of("SF-102", day) is None
    assert filled.aircraft_of("SF-110", day).record.tail == "DEMO-2"
    assert filled.aircraft_of("SF-110") is None
    assert filled.aircraft_of("SF-102").record.tail == "DEMO-2"
    assert {e.record.name for e in filled.entries(LoadConfiguration)} == {
        "Ramp check",
        "Everything on",
    }


@pytest.mark.long
def test_two_records_filled_with_it_are_equal(filled, tmp_path, new_url):
    other = open_store(new_url())
    fill_demo(other)
    export_zip(filled, tmp_path / "one.zip")
    export_zip(other, tmp_path / "two.zip")
    assert (tmp_path / "one.zip").read_bytes() == (tmp_path / "two.zip").read_bytes()


def test_it_goes_into_an_empty_record_only(sqlite_store):
    sqlite_store.add(Aircraft(tail="DEMO-1"))
    with pytest.raises(StoreError, match="has entries already"):
        fill_demo(sqlite_store)
    assert len(sqlite_store.entries(Aircraft)) == 1
    with pytest.raises(StoreError, match="no demo data"):
        remove_demo(sqlite_store)


def test_it_is_removed_in_one_go_and_leaves_what_is_ones_own(filled, tmp_path):
    own = filled.add(Aircraft(tail="OWN-1"))
    kinds = (Aircraft, BatteryPlate, Connection, BenchCheck, Move, LoadConfiguration)
    before = {kind: filled.entries(kind) for kind in kinds}
    gone = remove_demo(filled)
    assert filled.entries(Aircraft) == (own,)
    assert all(filled.entries(kind) == () for kind in kinds[1:])
    filled.restore(gone.id)
    assert {kind: filled.entries(kind) for kind in kinds} == before


@pytest.mark.long
def test_the_demo_record_is_a_file_of_its_own_beside_the_own_one(tmp_path, monkeypatch):
    own = tmp_path / "fleet.sqlite"
    monkeypatch.setenv(URL_VARIABLE, str(own))
    demo = open_demo()
    assert Path(demo.where) == tmp_path / "fleet-invented-demo.sqlite"
    assert len(demo.entries(BatteryPlate)) == 10
    assert not own.exists()


@pytest.mark.long
def test_the_demo_record_is_filled_once(tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "fleet.sqlite"))
    demo = open_demo()
    demo.delete(demo.plate("SF-101").id, "looked around")
    assert len(open_demo().entries(BatteryPlate)) == 9


@pytest.mark.parametrize("url", ["postgresql://user@host/name", None])
def test_without_a_file_of_ones_own_the_demo_record_is_in_the_users_folder(url, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, url or "")
    assert Path(demo_url()).parent == user_data_path("batterymodel", appauthor=False)
    assert Path(demo_url()).name == DEMO_NAME
