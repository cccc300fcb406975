"""Killed in the middle of an import, fifty times: what was confirmed is there, to the byte."""

from __future__ import annotations

import multiprocessing
import os
import random
import signal
import time
from pathlib import Path

from batterymodel.fleetrecords import Aircraft, Connection, Move
from batterymodel.store import open_store
from batterymodel.store.intake import (
    Told,
    add_battery,
    connection_files,
    import_connections,
)
from tests.record_cases import BARE, write_logs

KILLS = 50
FILES = 24
FORK = multiprocessing.get_context("fork")


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
    here, there = os.pipe()
    child = FORK.Process(target=run_import, args=(database, folder, there))
    child.start()
    os.close(there)
    said = b""
    while said.count(b"\n") < after and (piece := os.read(here, 4096)):
        said += piece
    time.sleep(wait_s)
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    while piece := os.read(here, 4096):
        said += piece
    os.close(here)
    assert child.exitcode == -signal.SIGKILL
    return said.decode().split()


def test_fifty_kills_lose_nothing_that_was_confirmed(tmp_path):
    chance = random.Random(20260302)
    stopped_at = set()
    for kill in range(KILLS):
        database = tmp_path / f"record-{kill // 10}.sqlite"
        folder = tmp_path / f"logs-{kill}"
        write_logs(folder, FILES)
        after = 0 if kill % 10 == 0 else chance.randrange(10)
        confirmed = killed_import(database, folder, after, chance.uniform(0.0, 0.05))
        assert len(confirmed) >= after
        stopped_at.add(len(confirmed))
        if database.exists() and confirmed:
            check_confirmed(database, folder, confirmed)
    assert len(stopped_at) >= 8, "the kills must fall at different moments"
    for database in tmp_path.glob("*.sqlite"):
        assert open_store(database).faults() == ()


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


def test_an_import_goes_on_where_it_was_killed(tmp_path):
    database, folder = tmp_path / "record.sqlite", tmp_path / "logs"
    write_logs(folder, FILES)
    confirmed = killed_import(database, folder, 5, 0.0)
    assert 5 <= len(confirmed) < FILES
    store = open_store(database)
    there = len(store.entries(Connection))
    assert there >= len(confirmed)
    files = connection_files(store, folder, "B-1")
    again = [taken.was_there for _, taken in import_connections(store, files, Told())]
    assert again.count(True) == there
    assert len(store.entries(Connection)) == FILES
    assert store.faults() == ()
