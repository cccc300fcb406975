"""Migrations: an older record comes up to date with a backup, a newer one is left alone."""

from __future__ import annotations

import re
import sqlite3
from contextlib import closing
from datetime import date
from pathlib import Path

import pytest
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory
from sqlalchemy import create_engine, inspect, text

from batterymodel import StoreError
from batterymodel.store import open_store
from batterymodel.store import upgrade as upgrade_module
from batterymodel.store.archive import export_zip
from batterymodel.store.engine import engine_for, url_from, write_transaction
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, note
from batterymodel.store.power import add_supply, loads_in_force
from batterymodel.store.records import (
    Aircraft,
    BenchCheck,
    LoadConfiguration,
    LoadPlan,
    Move,
    ServicingFound,
)
from batterymodel.store.records import Connection as ConnectionRecord
from batterymodel.store.servicing import add_servicing
from batterymodel.store.tables import Base
from batterymodel.store.upgrade import BROUGHT_BY_IT, HEAD, LEFT_OUT, REVISIONS, lacking, upgrade
from tests.store.cases import PLAN, SUPPLY

A, B, M, L = (f"{n}0000000-0000-4000-8000-000000000000" for n in "1234")
OLD_ROWS = (
    f"INSERT INTO aircraft (row_id, recorded_at, entry_id, tail, invented) "
    f"VALUES ('{A}', '2025-01-02 03:04:05.000006', '{A}', 'DEMO-1', false)",
    f"INSERT INTO batteries (row_id, recorded_at, entry_id, serial, chemistry, cells, "
    f"rated_capacity_ah, invented) VALUES "
    f"('{B}', '2025-01-02 03:04:06.000000', '{B}', 'B-1', 'vrla', 12, 40.0, false)",
    f'INSERT INTO moves (row_id, recorded_at, entry_id, battery_id, aircraft_id, "on", reason) '
    f"VALUES ('{M}', '2025-01-02 03:04:07.000000', '{M}', '{B}', '{A}', '2025-01-02', 'new')",
)
LOAD_ROW = (
    f"INSERT INTO load_configurations (row_id, recorded_at, entry_id, aircraft_id, name, consumers)"
    f" VALUES ('{L}', '2025-01-02 03:04:08.000000', '{L}', '{A}', 'Ramp', "
    """'[{"name":"Radio","continuous_a": 3.0, "peak_a": 5.5}]')"""
)
PLAN_RECORD = LoadPlan(aircraft_id=A, on=date(2025, 6, 2), loads=PLAN)


def revision_of(connection):
    return connection.execute(text("SELECT version_num FROM alembic_version")).scalar()


@pytest.fixture
def old_url(new_url, tmp_path):
    """A record of the first tables with rows in it, as an older version left it."""
    url = new_url()
    if "://" not in url:
        url = str(tmp_path / "old.sqlite")
    engine = engine_for(url_from(url))
    with write_transaction(engine) as connection:
        upgrade(connection, "0001")
        for statement in OLD_ROWS:
            connection.execute(text(statement))
    return url


def test_an_older_record_comes_up_to_date_and_loses_nothing(old_url):
    store = open_store(old_url)
    assert store.battery("B-1", date(2025, 1, 2)).tail == "DEMO-1"
    assert [move.record.reason for move in store.entries(Move)] == ["new"]
    assert store.aircraft("DEMO-1").recorded_at.microsecond == 6
    store.add(LoadConfiguration(aircraft_id=A, name="Ramp", consumers=()))
    assert open_store(old_url).backup is None


@pytest.mark.long
@pytest.mark.parametrize("revision", REVISIONS[:-1])
def test_a_record_of_any_former_tables_keeps_its_rows_and_takes_new_ones(
    new_url, tmp_path, revision
):
    url = new_url()
    if "://" not in url:
        url = str(tmp_path / "old.sqlite")
    engine = engine_for(url_from(url))
    with write_transaction(engine) as connection:
        upgrade(connection, revision)
        for statement in OLD_ROWS if revision == "0001" else (*OLD_ROWS, LOAD_ROW):
            connection.execute(text(statement))
        was = rows_of(connection)
    store = open_store(url)
    with store.engine.connect() as connection:
        now = rows_of(connection)
        assert revision_of(connection) == HEAD
    assert {name: now[name] for name in was} == was
    new = {"connections_in_progress", "acts_in_progress", "settings", "supplies", "load_plans"}
    new |= {"kept_results", "servicings"}
    assert set(now) >= {*was, *new}
    begin(store, "connection-1", "2026-03-02T07:43:00Z", serial="B-1")
    note(store, "connection-1", "press-0001", "supply_current_a", 22.4, "2026-03-02T07:43:30Z")
    finish(store, "connection-1", "press-0002")
    [kept] = store.entries(ConnectionRecord)
    assert (kept.record.battery_id, kept.record.aircraft_id) == (B, A)
    for loads in store.entries(LoadConfiguration):
        assert (loads.record.name, loads.record.on) == ("Ramp", None)
        assert loads.record.consumers[0].peak_a == 5.5
    assert len(store.entries(LoadConfiguration)) == (revision != "0001")
    store.add(PLAN_RECORD)
    assert add_supply(store, SUPPLY).entry.record == SUPPLY
    assert loads_in_force(store, "DEMO-1") == PLAN.model_copy(update={"tail": "DEMO-1"})
    found, _ = add_servicing(store, "B-1", ServicingFound.CAPACITY, date(2026, 3, 3), 38.0)
    [check] = store.entries(BenchCheck)
    assert (found.record.check_id, check.record.capacity_ah) == (check.id, 38.0)
    assert store.faults() == ()


def rows_of(connection):
    """Every row of every table but Alembic's own; columns that are new and empty left out."""
    names = set(inspect(connection).get_table_names()) - {"alembic_version"}
    rows = {n: connection.execute(text(f"SELECT * FROM {n}")).mappings() for n in names}
    return {n: [{k: v for k, v in row.items() if v is not None} for row in rows[n]] for n in names}


def test_the_backup_beside_it_is_the_older_record(old_url):
    store = open_store(old_url)
    if store.engine.dialect.name != "sqlite":
        assert store.backup is None
        return
    assert re.fullmatch(r"old\.sqlite\.tables-0001\.\d{8}T\d{12}Z\.backup", store.backup.name)
    with closing(sqlite3.connect(store.backup)) as backup:
        assert backup.execute("SELECT version_num FROM alembic_version").fetchall() == [("0001",)]
        assert backup.execute("SELECT tail FROM aircraft").fetchall() == [("DEMO-1",)]
        assert backup.execute("PRAGMA integrity_check").fetchall() == [("ok",)]


def test_a_migration_that_fails_changes_nothing(old_url, monkeypatch):
    def fail(connection, revision):
        upgrade(connection, revision)
        raise StoreError("stopped")

    monkeypatch.setattr(upgrade_module, "upgrade", fail)
    with pytest.raises(StoreError, match="stopped"):
        open_store(old_url)
    with engine_for(url_from(old_url)).connect() as connection:
        assert "load_configurations" not in inspect(connection).get_table_names()
        assert revision_of(connection) == "0001"
    monkeypatch.undo()
    assert open_store(old_url).aircraft("DEMO-1").id == A


def test_a_backup_that_cannot_be_written_stops_the_migration(tmp_path, old_url, monkeypatch):
    if "://" in old_url:
        pytest.skip("only SQLite files are backed up")
    genuine = sqlite3.connect

    def no_room(path, *arguments, **more):
        if str(path).endswith(".backup"):
            return genuine("/proc/nowhere/at/all")
        return genuine(path, *arguments, **more)

    monkeypatch.setattr(upgrade_module.sqlite3, "connect", no_room)
    with pytest.raises(StoreError, match="cannot be opened"):
        open_store(old_url)
    monkeypatch.undo()
    with engine_for(url_from(old_url)).connect() as connection:
        assert revision_of(connection) == "0001"


def test_a_newer_record_is_left_alone(store):
    with store.engine.begin() as connection:
        connection.execute(text("UPDATE alembic_version SET version_num = '0999'"))
    with pytest.raises(StoreError, match=r"newer version of this tool \(tables 0999") as caught:
        open_store(store.engine.url.render_as_string(hide_password=False))
    assert "\n" not in str(caught.value)
    with store.engine.connect() as connection:
        assert revision_of(connection) == "0999"


def test_a_newer_file_stays_the_same_to_the_byte(own_store):
    own_store.add(Aircraft(tail="DEMO-1"))
    path = own_store.engine.url.database
    with closing(sqlite3.connect(path)) as other:
        other.execute("UPDATE alembic_version SET version_num = '0999'")
        other.commit()
    with open(path, "rb") as file:
        before = file.read()
    with pytest.raises(StoreError, match="newer version"):
        open_store(path)
    with open(path, "rb") as file:
        assert file.read() == before


@pytest.fixture
def skipped_url(new_url, tmp_path):
    """A record of the time when 0008 followed 0006: it says 0008, and 0007 never ran."""
    url = new_url()
    if "://" not in url:
        url = str(tmp_path / "skipped.sqlite")
    with write_transaction(engine_for(url_from(url))) as connection:
        upgrade(connection, REVISIONS[REVISIONS.index(LEFT_OUT) - 1])
        for statement in (*OLD_ROWS, LOAD_ROW):
            connection.execute(text(statement))
        Base.metadata.tables["kept_results"].create(connection)
        connection.execute(text("UPDATE alembic_version SET version_num = '0008'"))
    return url


def test_what_the_left_out_migration_brings_is_what_the_code_says(skipped_url):
    with engine_for(url_from(skipped_url)).connect() as connection:
        assert lacking(connection) == BROUGHT_BY_IT


def test_a_record_whose_migration_was_left_out_gets_it_and_loses_nothing(skipped_url, tmp_path):
    with engine_for(url_from(skipped_url)).connect() as connection:
        was = rows_of(connection)
    store = open_store(skipped_url)
    with store.engine.connect() as connection:
        now = rows_of(connection)
        assert revision_of(connection) == HEAD
        assert lacking(connection) == frozenset()
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []
    assert {name: now[name] for name in was} == was
    add_servicing(store, "B-1", ServicingFound.CAPACITY, date(2026, 3, 3), 38.0)
    assert store.entries(ConnectionRecord) == ()
    export_zip(store, tmp_path / "all.zip")
    assert open_store(skipped_url).backup is None
    if store.engine.dialect.name == "sqlite":
        assert ".tables-0008." in store.backup.name
        with closing(sqlite3.connect(store.backup)) as backup:
            names = {name for (name,) in backup.execute("SELECT name FROM sqlite_master")}
        assert "servicings" not in names
        assert "moves" in names


@pytest.mark.parametrize(
    ("statement", "lacked"),
    [
        ("DROP TABLE settings", "settings"),
        ("ALTER TABLE capacity_checks DROP COLUMN note", "capacity_checks.note"),
        ("ALTER TABLE connections DROP COLUMN answers", "connections.answers"),
    ],
)
def test_a_record_that_lacks_something_else_is_said_and_left_alone(own_store, statement, lacked):
    path = own_store.engine.url.database
    with closing(sqlite3.connect(path)) as other:
        other.execute(statement)
        other.commit()
    for _ in range(2):
        with pytest.raises(StoreError, match=f"lacks '{lacked}', which") as caught:
            open_store(path)
    assert "exported ZIP" in str(caught.value)
    assert list(own_store_folder(own_store).glob("*.backup")) == []


def own_store_folder(store):
    return Path(str(store.engine.url.database)).parent


def test_an_older_record_that_lacks_something_is_left_as_it_was(old_url):
    engine = engine_for(url_from(old_url))
    with write_transaction(engine) as connection:
        connection.execute(text("ALTER TABLE capacity_checks DROP COLUMN note"))
    with pytest.raises(StoreError, match=r"lacks 'capacity_checks\.note', which"):
        open_store(old_url)
    with engine.connect() as connection:
        assert revision_of(connection) == "0001"
        assert "servicings" not in inspect(connection).get_table_names()
    if engine.dialect.name == "sqlite":
        assert list(Path(old_url).parent.glob("*.backup")) == []


def test_the_migrations_make_the_tables_of_the_code(store):
    with store.engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Base.metadata) == []


def test_the_comparison_can_fail():
    """An empty database differs by every table."""
    with create_engine("sqlite://").connect() as connection:
        found = compare_metadata(MigrationContext.configure(connection), Base.metadata)
    assert len([d for d in found if d[0] == "add_table"]) == len(Base.metadata.tables)


def test_revisions_are_those_of_the_migrations():
    folder = ScriptDirectory("batterymodel/store/migrations")
    assert tuple(s.revision for s in reversed(list(folder.walk_revisions()))) == REVISIONS
    assert folder.get_current_head() == HEAD
