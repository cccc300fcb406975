"""Killed in the middle of an import, fifty times: what was confirmed is there, to the byte.

The files lie on a memory disk where there is one: a killed process needs no more, and the loss of
the whole machine's power is not what is tested here.
"""

from __future__ import annotations

import os
import random
import tempfile
from pathlib import Path

import pytest

from batterymodel.store import open_store
from batterymodel.store.folder_intake import connection_files, import_connections
from batterymodel.store.intake import (
    Told,
    add_battery,
)
from batterymodel.store.records import Aircraft, Connection, Move
from tests.store.cases import BARE, write_logs
from tests.store.killing import confirmed_before_kill

KILLS, KILLS_BY_DEFAULT = 50, 8
MEMORY_DISK = Path("/dev/shm")
FILES = 24


def run_import(database: Path, folder: Path, confirm: int) -> None:
    """Import a folder as the command does, writing each confirmed name into a pipe."""
    store = open_store(database)
    if store.is_empty():
        with store.writing():
            aircraft = store.add(Aircraft(tail="DEMO-1")).id
            battery = add_battery(store, "B-1", BARE).id
            store.add(Move(battery_id=battery, aircraft_id=aircraft, on="2020-01-01", reason="n"))
    files = connection_files(store, folder, "B-1")
    for path, _ in import_connections(store, files, Told()):
        os.write(confirm, f"{path.name}\n".encode())


def killed_import(database: Path, folder: Path, after: int, wait_s: float) -> list[str]:
    """Names confirmed by an import that was killed some time after its n-th confirmation."""
    return confirmed_before_kill(run_import, database, folder, after=after, wait_s=wait_s)


@pytest.fixture
def folder(tmp_path):
    if not (MEMORY_DISK.is_dir() and os.access(MEMORY_DISK, os.W_OK)):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        yield Path(name)


@pytest.mark.slow
def test_fifty_kills_lose_nothing_that_was_confirmed(folder):
    stopped_at = kill_imports(folder, KILLS)
    assert len(stopped_at) >= 8, "the kills must fall at different moments"


@pytest.mark.long
def test_a_few_kills_lose_nothing_that_was_confirmed(folder):
    assert len(kill_imports(folder, KILLS_BY_DEFAULT)) >= 4


def kill_imports(folder: Path, kills: int) -> set[int]:
    """Kill imports into some records one after another; how many files each had confirmed."""
    chance = random.Random(20260302)
    stopped_at = set()
    for kill in range(kills):
        database, logs = folder / f"record-{kill // 10}.sqlite", folder / f"logs-{kill}"
        write_logs(logs, FILES)
        after = 0 if kill % 10 == 0 else chance.randrange(10)
        confirmed = killed_import(database, logs, after, chance.uniform(0.0, 0.05))
        assert len(confirmed) >= after
        stopped_at.add(len(confirmed))
        if confirmed:
            check_confirmed(database, logs, confirmed)
    for database in folder.glob("*.sqlite"):
        assert open_store(database).faults() == ()
    return stopped_at


def check_confirmed(database: Path, folder: Path, confirmed: list[str]) -> None:
    store = open_store(database)
    assert store.faults() == ()
    with store.reading():
        kept = {
            (entry.record.file_name, store.file(entry.record.readings_sha256))
            for entry in store.entries(Connection)
        }
    for name in confirmed:
        assert (name, (folder / name).read_bytes()) in kept


@pytest.mark.long
def test_an_import_goes_on_where_it_was_killed(folder):
    database, logs = folder / "record.sqlite", folder / "logs"
    write_logs(logs, FILES)
    confirmed = killed_import(database, logs, 5, 0.0)
    assert 5 <= len(confirmed) < FILES
    store = open_store(database)
    there = len(store.entries(Connection))
    assert there >= len(confirmed)
    files = connection_files(store, logs, "B-1")
    again = [taken.was_there for _, taken in import_connections(store, files, Told())]
    assert again.count(True) == there
    assert len(store.entries(Connection)) == FILES
    assert store.faults() == ()
