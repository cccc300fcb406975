"""Killed while readings are noted, and two devices at once: none is lost, none is there twice."""

from __future__ import annotations

import itertools
import os
import random
import tempfile
from collections.abc import Callable
from pathlib import Path

import pytest

from batterymodel.store import Store, open_store
from batterymodel.store.acts import State
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, connections_in_progress, load, note, strike, tell
from batterymodel.store.records import Connection
from tests.store.killing import FORK, confirmed_before_kill
from tests.store.test_in_progress import at, with_battery
from tests.store.test_kill import MEMORY_DISK

KILLS, KILLS_BY_DEFAULT = 50, 5
READINGS = 30
NOW = at(1e6)
PRESSES = READINGS + 4


def current_a(k: int) -> float:
    return round(22.0 * 0.95**k + 8.0, 1)


def do_press(store: Store, number: int, k: int) -> None:
    """The k-th press of a connection: begun, its readings, one struck, a load told, finished."""
    connection, start_s = f"connection-{number}", 1800.0 * number
    key = f"{connection}-{k:03}"
    if k == 0:
        begin(store, connection, at(start_s), serial="B-1")
    elif k <= READINGS:
        note(store, connection, key, "supply_current_a", current_a(k), at(start_s + 20.0 * k))
    elif k == READINGS + 1:
        strike(store, connection, key, f"{connection}-{2:03}")
    elif k == READINGS + 2:
        tell(store, connection, key, load_a=8.0)
    else:
        finish(store, connection, key)


def serve(database: str | Path, number: int, confirm: int) -> None:
    """Press everything from the start, as a page does that does not know what came through."""
    store = with_clock(database)
    for k in range(PRESSES):
        do_press(store, number, k)
        os.write(confirm, f"{k}\n".encode())


def with_clock(database: str | Path) -> Store:
    store = open_store(database)
    return store.with_clock(lambda: NOW, store.new_id)


def killed_at(database: str | Path, number: int, after: int, wait_s: float) -> int:
    """How many presses were confirmed by a server killed some time after its n-th."""
    return len(confirmed_before_kill(serve, database, number, after=after, wait_s=wait_s))


@pytest.fixture
def folder(tmp_path):
    if not (MEMORY_DISK.is_dir() and os.access(MEMORY_DISK, os.W_OK)):
        yield tmp_path
        return
    with tempfile.TemporaryDirectory(dir=MEMORY_DISK) as name:
        yield Path(name)


def check_killed(store: Store, connection: str, confirmed: int) -> None:
    """All that was confirmed is there, and at most the one press beyond it."""
    assert store.faults() == ()
    listed = [c.id for state in State for c in connections_in_progress(store, state)]
    assert listed.count(connection) == 1 if confirmed else listed.count(connection) <= 1
    if not listed.count(connection):
        return
    there = load(store, connection)
    seen = [n.what.value for n in there.noted]
    assert seen == [current_a(k) for k in range(1, len(seen) + 1)]
    least = min(max(confirmed - 1, 0), READINGS)
    assert least <= len(seen) <= least + 1
    if confirmed >= READINGS + 2:
        assert there.noted[1].struck
    if confirmed >= READINGS + 3:
        assert there.told.load_a == 8.0
    assert (there.state is State.FINISHED) or confirmed < PRESSES


def kill_servers(new_database: Callable[[], str | Path], kills: int) -> set[int]:
    """Kill servers in one record after another; how many presses each had confirmed."""
    chance = random.Random(20260302)
    confirmed_at = set()
    for number in range(kills):
        connection = f"connection-{number}"
        if number % 10 == 0:
            database = new_database()
            with_battery(open_store(database))
        after = PRESSES - 1 if number % 5 == 4 else chance.randrange(PRESSES)
        confirmed = killed_at(database, number, after, chance.uniform(0.0, 0.02))
        assert confirmed >= after
        confirmed_at.add(confirmed)
        store = with_clock(database)
        check_killed(store, connection, confirmed)
        for k in range(PRESSES):
            do_press(store, number, k)
        check_whole(store, connection)
        assert len(store.entries(Connection)) == number % 10 + 1
    return confirmed_at


def check_whole(store: Store, connection: str) -> None:
    there = load(store, connection)
    assert [n.what.value for n in there.noted] == [current_a(k) for k in range(1, READINGS + 1)]
    assert [n.struck for n in there.noted].count(True) == 1
    assert there.late == ()
    assert there.state is State.FINISHED
    assert store.faults() == ()


@pytest.mark.slow
def test_fifty_kills_lose_no_press_and_double_none(folder):
    names = (folder / f"record-{k}.sqlite" for k in itertools.count())
    stopped_at = kill_servers(lambda: next(names), KILLS)
    assert len(stopped_at) >= 15, "the kills must fall at different moments"


@pytest.mark.long
def test_a_few_kills_lose_no_press_and_double_none(new_url):
    assert len(kill_servers(new_url, KILLS_BY_DEFAULT)) >= 3


@pytest.mark.long
def test_two_devices_at_once_lose_nothing(new_url):
    """Both press the same queue and each one of its own; both finish."""
    url = new_url()
    store = with_battery(open_store(url))
    do_press(store, 1, 0)

    def device(name: str) -> None:
        own = open_store(url)
        own = own.with_clock(lambda: NOW, own.new_id)
        for k in range(1, 16):
            do_press(own, 1, k)
            amperes = 100.0 + k
            note(
                own, "connection-1", f"{name}-only-{k:03}", "load_a", amperes, at(1800.0 + 20.0 * k)
            )
        os._exit(0)

    join([FORK.Process(target=device, args=(name,)) for name in ("phone", "tablet")])
    there = load(store, "connection-1")
    assert len(there.noted) == 15 + 2 * 15
    supply = [r.value for _, r in there.readings if r.quantity == "supply_current_a"]
    assert supply == [current_a(k) for k in range(1, 16)]

    def finisher(name: str) -> None:
        own = open_store(url)
        own = own.with_clock(lambda: NOW, own.new_id)
        finish(own, "connection-1", f"{name}-finish")
        os._exit(0)

    join([FORK.Process(target=finisher, args=(name,)) for name in ("phone", "tablet")])
    assert len(store.entries(Connection)) == 1
    assert store.faults() == ()


def join(children) -> None:
    for child in children:
        child.start()
    for child in children:
        child.join(60)
    assert [child.exitcode for child in children] == [0] * len(children)
