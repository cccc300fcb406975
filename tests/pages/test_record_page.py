"""The record page shows nothing old: after any act it is the page of a process that knows nothing.

The page keeps its view in the process and results in the record; both are held against a copy of
the record without results, read anew.
"""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing, suppress
from dataclasses import fields, is_dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import streamlit as st
from hypothesis import given, settings, strategies
from pydantic import BaseModel

from batterymodel.errors import InputError
from batterymodel.pages import kept
from batterymodel.say.record_view import record_view
from batterymodel.store import Store, open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.intake import Told, add_connection, add_fitted_battery
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    KnownState,
    Move,
    OwnerSheet,
)
from batterymodel.store.zip_import import import_zip
from tests.pages.test_battery_record import html_of, shown
from tests.say.test_connection_looks import ON, PLAIN, log

SERIAL = "B-1"
LOGS = [log(seed, 120.0) for seed in range(3)]
TOLD = Told(on=ON, load_a=8.0, rest_voltage_v=24.84, rest_after_v=25.75)


def plain(value: Any) -> Any:
    """Records, results and arrays as lists and dicts that can be compared."""
    if isinstance(value, np.ndarray):
        return value.tolist()
    if isinstance(value, BaseModel):
        return {name: plain(getattr(value, name)) for name in type(value).model_fields}
    if is_dataclass(value) and not isinstance(value, type):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, tuple | list):
        return [plain(one) for one in value]
    return value


def new_record(path: Path) -> Store:
    store = open_store(str(path))
    add_fitted_battery(store, SERIAL, PLAIN, "HANGAR-1", date(2024, 1, 5))
    return store


def without_results(path: Path, copy: Path) -> Store:
    """A copy of the record, as no process has seen it."""
    with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
        target.execute("DELETE FROM kept_results")
        target.commit()
    return open_store(str(copy))


def last(store: Store, kind: type) -> Any:
    found = store.entries(kind)
    return found[-1] if found else None


def add_check(store: Store, n: int) -> None:
    plate = store.plate(SERIAL)
    on = date(2024, 6, 1) + timedelta(days=40 * n)
    store.add(BenchCheck(battery_id=plate.id, on=on, capacity_ah=38.0 - 0.1 * n))


def correct_check(store: Store, n: int) -> None:
    if check := last(store, BenchCheck):
        record = check.record.model_copy(update={"capacity_ah": 36.0 - 0.1 * n})
        store.correct(check.id, record, f"reading {n}")


def take_connection(store: Store, n: int) -> None:
    told = Told(**{**vars(TOLD), "on": ON + timedelta(days=n)})
    add_connection(store, SERIAL, LOGS[n % len(LOGS)], f"log-{n}.csv", TOLD if n < 3 else told)


def correct_connection(store: Store, n: int) -> None:
    if found := last(store, Connection):
        corrected_entry(store, found.id, {"rest_voltage_v": 24.7 + 0.01 * n}, f"meter {n}")


def move_connection(store: Store, n: int) -> None:
    if found := last(store, Connection):
        corrected_entry(store, found.id, {"day": ON - timedelta(days=30 + n)}, f"day {n}")


def new_card(store: Store, n: int) -> None:
    plate = store.plate(SERIAL)
    card = {"document": f"Manual {n}", "min_capacity_fraction": 0.7 + 0.01 * n}
    on = date(2025, 1, 1) + timedelta(days=n)
    store.add(CardRevision(battery_id=plate.id, on=on, limits=card, reason=f"revision {n}"))


def correct_plate(store: Store, n: int) -> None:
    plate = store.plate(SERIAL)
    record = plate.record.model_copy(update={"rated_capacity_ah": 41.0 + 0.1 * n})
    store.correct(plate.id, record, f"misread {n}")


def rename_aircraft(store: Store, n: int) -> None:
    store.correct(last(store, Aircraft).id, Aircraft(tail=f"HANGAR-1{n}"), f"misread {n}")


def take_off(store: Store, n: int) -> None:
    plate = store.plate(SERIAL)
    on = date(2026, 4, 1) + timedelta(days=n)
    store.add(Move(battery_id=plate.id, aircraft_id=None, on=on, reason="bench"))


def tell_state(store: Store, n: int) -> None:
    plate = store.plate(SERIAL)
    store.add(KnownState(battery_id=plate.id, on=date(2025, 2, 1), state_of_charge=0.5 + 0.01 * n))


def hand_over_sheet(store: Store, n: int) -> None:
    if found := last(store, Connection):
        content = store.keep_file(f"sheet {n}".encode())
        about = {"made_on": ON, "kind": "after connection", "file_name": f"{n}.pdf"}
        store.add(OwnerSheet(connection_id=found.id, content_sha256=content, **about))


def delete(store: Store, n: int) -> None:
    kinds = (BenchCheck, Connection, CardRevision, OwnerSheet, Move)
    present = [entry for kind in kinds for entry in store.entries(kind)]
    if present:
        store.delete(present[n % len(present)].id, "by mistake")


def restore(store: Store, n: int) -> None:
    if gone := store.deletions():
        store.restore(gone[n % len(gone)].id)


def import_other(store: Store, n: int) -> None:
    """A record that began as this one and went on elsewhere comes back."""
    folder = Path(store.where).parent
    copy = folder / f"other-{n}.sqlite"
    with closing(sqlite3.connect(store.where)) as source, closing(sqlite3.connect(copy)) as target:
        source.backup(target)
    other = open_store(str(copy))
    add_check(other, n + 20)
    export_zip(other, folder / f"other-{n}.zip")
    import_zip(store, folder / f"other-{n}.zip")


ACTS: tuple[Callable[[Store, int], None], ...] = (
    take_connection,
    add_check,
    hand_over_sheet,
    correct_check,
    delete,
    restore,
    import_other,
    correct_connection,
    new_card,
    rename_aircraft,
    correct_plate,
    move_connection,
    tell_state,
    take_off,
)


@pytest.fixture(autouse=True)
def _nothing_known() -> Iterator[None]:
    st.cache_data.clear()
    yield
    st.cache_data.clear()


def check_acts(
    folder: Path,
    acts: list[tuple[Callable[[Store, int], None], int]],
    *refused: type[Exception],
) -> None:
    """Hold the page against a fresh one after each act; acts refused so change nothing."""
    path = folder / "record.sqlite"
    store = new_record(path)
    for number, (act, n) in enumerate(acts):
        with suppress(*refused):
            act(store, n)
        page = kept.record_page(store, SERIAL).view
        fresh = without_results(path, folder / f"fresh-{number}.sqlite")
        assert plain(page) == plain(record_view(fresh, SERIAL, date.today())), (number, act)
        fresh.engine.dispose()


@pytest.mark.long
def test_every_act_once_in_turn(tmp_path):
    check_acts(tmp_path, [(act, n) for n, act in enumerate(ACTS)])


@pytest.mark.slow
@settings(max_examples=10)
@given(
    strategies.lists(
        strategies.tuples(strategies.sampled_from(ACTS), strategies.integers(0, 12)),
        min_size=2,
        max_size=9,
        unique_by=lambda pair: (pair[0].__name__, pair[1]),
    )
)
def test_any_acts_give_the_page_of_a_new_process(tmp_path_factory, acts):
    folder = tmp_path_factory.mktemp("acts")
    check_acts(folder, [(take_connection, 0), (add_check, 0), *acts], InputError)
    shutil.rmtree(folder)


@pytest.mark.long
def test_the_pages_words_follow_what_another_session_writes(tmp_path, monkeypatch):
    path = tmp_path / "record.sqlite"
    monkeypatch.setenv(URL_VARIABLE, str(path))
    store = new_record(path)
    take_connection(store, 0)
    add_check(store, 0)
    page = shown("battery_record")
    for n, act in enumerate((add_check, new_card, hand_over_sheet, correct_plate, delete), 3):
        act(store, n)
        after = html_of(page.run())
        st.cache_data.clear()
        st.cache_resource.clear()
        assert after == html_of(shown("battery_record")), act
    assert "Manual 4" in html_of(page)


def test_the_page_is_kept_while_nothing_changes(tmp_path, monkeypatch):
    store = new_record(tmp_path / "record.sqlite")
    add_check(store, 0)
    made = []

    def counted(*given):
        made.append(given)
        return record_view(*given)

    monkeypatch.setattr(kept, "record_view", counted)
    for _ in range(3):
        kept.record_page(store, SERIAL)
    assert len(made) == 1
    other = {"serial": "B-2", "chemistry": "vrla", "cells": 12, "rated_capacity_ah": 40.0}
    plate = store.add(BatteryPlate(**other))
    store.add(BenchCheck(battery_id=plate.id, on=ON, capacity_ah=38.0))
    kept.record_page(store, SERIAL)
    assert len(made) == 1
    add_check(store, 1)
    kept.record_page(store, SERIAL)
    assert len(made) == 2
