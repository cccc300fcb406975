"""Export and import: the same record gives the same bytes, and comes back as it was."""

from __future__ import annotations

import csv
import hashlib
import io
import itertools
import random
import tomllib
import zipfile
import zlib
from datetime import date

import pytest

from batterymodel import Battery, StoreError, assess
from batterymodel.inputs.records import record_from
from batterymodel.store import open_store
from batterymodel.store.archive import TABLES, export_zip, packs_fairly
from batterymodel.store.records import Aircraft, BatteryPlate, BenchCheck, Connection, Move
from batterymodel.store.zip_import import Merged, import_zip
from tests.store.cases import DAY, LOG, small_record

COUNT = itertools.count()


def zipped(store, tmp_path):
    path = tmp_path / f"all-{next(COUNT)}.zip"
    export_zip(store, path)
    return path


@pytest.fixture
def full(store):
    """A record with every kind of entry, a correction, a deletion and a restoration."""
    ids = small_record(store)
    plate = store.plate("B-1").record
    store.correct(ids.battery, plate.model_copy(update={"note": 'a "note",\nof two lines'}), "why")
    store.delete(ids.sheet, "wrong sheet")
    store.restore(store.delete(ids.connection, "by mistake").id)
    return store


def test_export_import_export_gives_the_same_bytes(full, new_url, tmp_path):
    first = zipped(full, tmp_path)
    other = open_store(new_url())
    merged = import_zip(other, first)
    assert merged.there_already == 0
    assert zipped(other, tmp_path).read_bytes() == first.read_bytes()
    assert other.battery("B-1") == full.battery("B-1")
    assert other.deletions() == full.deletions()
    assert zipped(full, tmp_path).read_bytes() == first.read_bytes()


def test_both_databases_write_the_same_zip(full, tmp_path, sqlite_store):
    first = zipped(full, tmp_path)
    import_zip(sqlite_store, first)
    assert zipped(sqlite_store, tmp_path).read_bytes() == first.read_bytes()


def test_what_is_there_already_is_passed_over(full, tmp_path):
    path = zipped(full, tmp_path)
    merged = import_zip(full, path)
    assert merged == Merged(added=0, there_already=merged.there_already)
    assert merged.there_already > 20
    assert zipped(full, tmp_path).read_bytes() == path.read_bytes()


def test_two_records_grow_together(full, new_url, tmp_path):
    other = open_store(new_url())
    import_zip(other, zipped(full, tmp_path))
    other.add(Aircraft(tail="DEMO-8"))
    full.add(Aircraft(tail="DEMO-9"))
    other.correct(other.aircraft("DEMO-1").id, Aircraft(tail="DEMO-1", note="painted"), "painted")
    import_zip(full, zipped(other, tmp_path))
    import_zip(other, zipped(full, tmp_path))
    assert zipped(full, tmp_path).read_bytes() == zipped(other, tmp_path).read_bytes()
    assert {a.record.tail for a in full.entries(Aircraft)} >= {"DEMO-8", "DEMO-9"}
    assert full.aircraft("DEMO-1").record.note == "painted"


def test_corrections_of_one_row_in_both_records_stop_the_import(full, new_url, tmp_path):
    other = open_store(new_url())
    import_zip(other, zipped(full, tmp_path))
    row = full.aircraft("DEMO-1").row_id
    full.correct(row, Aircraft(tail="DEMO-1", note="red"), "painted")
    other.correct(row, Aircraft(tail="DEMO-1", note="blue"), "painted")
    before = zipped(full, tmp_path).read_bytes()
    with pytest.raises(StoreError, match=f"row {row} was corrected both in the record and"):
        import_zip(full, zipped(other, tmp_path))
    assert zipped(full, tmp_path).read_bytes() == before


def test_one_serial_given_in_both_records_stops_the_import(full, new_url, tmp_path):
    other = open_store(new_url())
    other.add(BatteryPlate(serial="B-1", chemistry="lfp", cells=8, rated_capacity_ah=20.0))
    other.add(Aircraft(tail="DEMO-6"))
    before = zipped(full, tmp_path).read_bytes()
    with pytest.raises(StoreError, match=r"batteries: rows .* are both called 'B-1'; correct the"):
        import_zip(full, zipped(other, tmp_path))
    assert zipped(full, tmp_path).read_bytes() == before


def test_a_name_like_one_on_record_stops_the_import_and_both_are_named(full, new_url, tmp_path):
    other = open_store(new_url())
    other.add(BatteryPlate(serial="b -1", chemistry="lfp", cells=8, rated_capacity_ah=20.0))
    before = zipped(full, tmp_path).read_bytes()
    for store, one, two in ((full, "B-1", "b -1"), (other, "b -1", "B-1")):
        words = f"batteries: '{one}' on record and '{two}' that would come in differ only in letter"
        with pytest.raises(StoreError, match=words):
            import_zip(store, zipped(other if store is full else full, tmp_path))
    assert zipped(full, tmp_path).read_bytes() == before


def test_a_backup_with_two_names_alike_can_be_read_and_read_again(
    full, new_url, tmp_path, monkeypatch
):
    with monkeypatch.context() as lax:
        lax.setattr("batterymodel.store.entries._refuse_alike", lambda *_: None)
        full.add(Aircraft(tail="demo-1"))
    backup, other = zipped(full, tmp_path), open_store(new_url())
    assert import_zip(other, backup).added > 0
    assert import_zip(other, backup).added == 0
    assert {a.record.tail for a in other.entries(Aircraft)} >= {"DEMO-1", "demo-1"}


def test_a_progress_bar_walks_through_everything(full, tmp_path):
    seen = []

    def progress(items, title):
        seen.append((title, len(items)))
        return items

    export_zip(full, tmp_path / "p.zip", progress)
    import_zip(full, tmp_path / "p.zip", progress)
    assert seen == [("tables", len(TABLES)), ("files", 3)] * 2


FORMULAS = ("=1+1", "+1", "-1", "@A1", "'=1+1", "''-2", "'quoted", "-", "=HYPERLINK(1)\n=2")


def test_no_text_of_the_zip_is_a_formula_and_all_comes_back(store, new_url, tmp_path):
    """What a spreadsheet would run gets an apostrophe; numbers below zero stay numbers."""
    for k, text in enumerate(FORMULAS):
        store.add(Aircraft(tail=text.split("\n")[0], note=text))
        plate = {"chemistry": "vrla", "cells": 12, "rated_capacity_ah": 40.0}
        battery = store.add(BatteryPlate(serial=f"B-{k}", note=text, **plate)).id
        about = {"battery_id": battery, "on": DAY, "capacity_ah": 30.0}
        store.add(BenchCheck(temperature_c=-7.5, log_name=text.split("\n")[0], **about))
    first = zipped(store, tmp_path)
    with zipfile.ZipFile(first) as archive:
        tables = {n: archive.read(n).decode() for n in archive.namelist() if n.endswith(".csv")}
    for text in tables.values():
        for cell in (c for row in csv.reader(io.StringIO(text, newline="")) for c in row):
            assert cell == "-7.5" or not cell.startswith(("=", "+", "-", "@", "\t", "\r")), cell
    assert tables["capacity_checks.csv"].count(",-7.5,") == len(FORMULAS)
    other = open_store(new_url())
    import_zip(other, first)
    assert zipped(other, tmp_path).read_bytes() == first.read_bytes()
    assert {a.record.note for a in other.entries(Aircraft)} == set(FORMULAS)


def test_a_file_that_packs_too_well_still_comes_back(store, new_url, tmp_path):
    """An import refuses what unpacks to over a hundred times its size, so none is written."""
    small_record(store)
    battery = store.plate("B-1").id
    for content in (bytes(2_000_000), b"40.0,24.1\n" * 50_000):
        log = {"log_name": "bench.csv", "log_sha256": store.keep_file(content)}
        store.add(BenchCheck(battery_id=battery, on=DAY, capacity_ah=37.0, **log))
    other = open_store(new_url())
    import_zip(other, zipped(store, tmp_path))
    assert other.file(hashlib.sha256(bytes(2_000_000)).hexdigest()) == bytes(2_000_000)


@pytest.mark.parametrize("size", [0, 1, 99, 5_000, 300_000])
def test_what_packs_fairly_is_what_the_packer_says(size):
    rng = random.Random(size)
    for content in (bytes(size), rng.randbytes(size), rng.randbytes(size // 90) + bytes(size)):
        packed = zlib.compress(content, 6, wbits=-15)
        assert packs_fairly(content) == (100 * len(packed) >= len(content))


def test_a_file_that_no_row_names_stays_here(store, tmp_path):
    small_record(store)
    sha256 = store.keep_file(b"named by nothing")
    with zipfile.ZipFile(zipped(store, tmp_path)) as archive:
        assert f"files/{sha256}" not in archive.namelist()


def test_the_zip_is_for_people_too(full, tmp_path):
    with zipfile.ZipFile(zipped(full, tmp_path)) as archive:
        moves = list(csv.DictReader(io.StringIO(archive.read("moves.csv").decode())))
        assert [(m["on"], m["reason"]) for m in moves] == [
            ("2024-01-05", "new"), ("2025-05-01", "to the bench"), ("2025-06-01", "spare fitted"),
        ]  # fmt: skip
        cards = [n for n in archive.namelist() if n.startswith("cards/")]
        documents = [tomllib.loads(archive.read(n).decode()).get("document") for n in cards]
        assert documents == [None, "Manual, revision C"]
        assert LOG.read_bytes() in [
            archive.read(n) for n in archive.namelist() if n.startswith("files/")
        ]
        assert {i.date_time for i in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}


def test_an_exported_battery_can_be_assessed(full, tmp_path):
    with zipfile.ZipFile(zipped(full, tmp_path)) as archive:
        name = f"batteries/{full.plate('B-1').id}.toml"
        battery = record_from(tomllib.loads(archive.read(name).decode()), Battery, name)
    assert battery == full.battery("B-1")
    result = assess(LOG, battery, on=DAY)
    assert result.outcome == assess(LOG, full.battery("B-1"), on=DAY).outcome
    assert result.state_of_charge.at_connection.mean == pytest.approx(0.83, abs=0.02)


def test_an_export_never_writes_over_a_file(full, tmp_path):
    path = tmp_path / "all.zip"
    path.write_bytes(b"precious")
    with pytest.raises(StoreError, match="is there already"):
        export_zip(full, path)
    assert path.read_bytes() == b"precious"


def test_an_export_that_fails_leaves_no_half_zip(full, tmp_path):
    def stop(items, title):
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        export_zip(full, tmp_path / "all.zip", stop)
    assert list(tmp_path.glob("all.zip*")) == []
    with pytest.raises(StoreError, match="nowhere"):
        export_zip(full, tmp_path / "nowhere" / "all.zip")


def test_readings_survive_to_the_byte(full, new_url, tmp_path):
    other = open_store(new_url())
    import_zip(other, zipped(full, tmp_path))
    [connection] = other.entries(Connection)
    assert other.file(connection.record.readings_sha256) == LOG.read_bytes()
    assert connection.record.assessment == full.entries(Connection)[0].record.assessment
    assert other.entries(Move, on=date(2025, 5, 1))[0].record.aircraft_id is None
