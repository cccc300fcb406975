"""A record spoilt by a failing disk: each command gives its answer or one sentence."""

from __future__ import annotations

import contextlib
import io
import random
import shutil
import sqlite3
import uuid
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime, timedelta
from itertools import count
from pathlib import Path

import pytest

from batterymodel.cli import BAD_INPUT, main
from batterymodel.store import open_store
from batterymodel.store.tables import Base
from tests.store.cases import small_record

COMMANDS = (
    ("record", "list"),
    ("record", "score"),
    ("record", "show", "B-1"),
    ("record", "capacity", "B-1"),
    ("record", "loads", "DEMO-2"),
)
HEADER_BYTES = 100
"""Of a SQLite file; without them it is none, which is said in other words."""

FIRST = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
DAMAGED = "is damaged; keep the file as it is"


@pytest.fixture(scope="module")
def whole(tmp_path_factory, empty_sqlite) -> Path:
    """A small record in one file."""
    path = Path(shutil.copy(empty_sqlite, tmp_path_factory.mktemp("whole") / "record.sqlite"))
    moments, ids = count(), count()
    small_record(
        open_store(path).with_clock(
            lambda: FIRST + timedelta(seconds=next(moments)),
            lambda: str(uuid.UUID(int=next(ids), version=4)),
        )
    )
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return path


@pytest.fixture
def spoilt(tmp_path) -> Iterator[Path]:
    """Where the spoilt copy stands."""
    yield tmp_path / "record.sqlite"
    for file in tmp_path.iterdir():
        file.unlink()


def answered(path: Path, *words: str) -> tuple[int, str]:
    """Status and complaints of a command; an exception goes through."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main([*words, "--database", str(path)])
    assert bool(out.getvalue()) == (status == 0)
    return status, err.getvalue()


def all_answered(path: Path) -> set[int]:
    """Every command's status, once it gave its answer or one sentence."""
    found = set()
    for words in COMMANDS:
        status, said = answered(path, *words)
        assert status in (0, BAD_INPUT), said
        assert said.count("\n") == (status != 0), said
        assert "Traceback" not in said
        found.add(status)
    return found


def with_flips(content: bytes, seed: int) -> bytes:
    """The bytes with some of them changed: many anywhere, or a few where something is written."""
    rng, flipped = random.Random(seed), bytearray(content)
    if seed % 2:
        places = [rng.randrange(HEADER_BYTES, len(content)) for _ in range(200)]
    else:
        written = [k for k in range(HEADER_BYTES, len(content)) if content[k]]
        places = rng.sample(written, rng.randint(1, 3))
    for place in places:
        flipped[place] ^= rng.randrange(1, 256)
    return bytes(flipped)


def tried(whole: Path, spoilt: Path, seeds: range) -> set[int]:
    found = set()
    for seed in seeds:
        for old in spoilt.parent.iterdir():
            old.unlink()
        spoilt.write_bytes(with_flips(whole.read_bytes(), seed))
        found |= all_answered(spoilt)
    return found


def test_the_whole_record_is_answered(whole, spoilt):
    shutil.copy(whole, spoilt)
    assert all_answered(spoilt) == {0}


def test_flipped_bytes_are_answered_or_said(whole, spoilt):
    assert BAD_INPUT in tried(whole, spoilt, range(8))


@pytest.mark.slow
@pytest.mark.parametrize("start", range(8, 408, 50))
def test_flipped_bytes_are_answered_or_said_at_length(whole, spoilt, start):
    assert BAD_INPUT in tried(whole, spoilt, range(start, start + 50))


@pytest.mark.parametrize(
    ("whole_text", "spoilt_text"),
    [
        (b"CREATE TABLE moves", b"\xff\xfe\xfdATE TABLE moves"),
        (b"movesmoves", b"mo\xff\xfesmoves"),
    ],
)
def test_a_spoilt_name_of_a_table_is_said(whole, spoilt, whole_text, spoilt_text):
    """Python cannot read what SQLite says of it."""
    content = whole.read_bytes()
    assert content.count(whole_text) == 1
    spoilt.write_bytes(content.replace(whole_text, spoilt_text))
    for words in COMMANDS:
        status, said = answered(spoilt, *words)
        assert (status, DAMAGED in said) == (BAD_INPUT, True)


COLUMNS = [(t.name, c.name) for t in Base.metadata.tables.values() for c in t.columns]
WRONG = ("x", b"\xff\xfe", '{"a":1}', "")


def put_into(path: Path, table: str, column: str, value: str | bytes | int) -> int:
    """How many rows took the value; none where the table is empty or refuses it."""
    with closing(sqlite3.connect(path)) as connection:
        connection.execute("PRAGMA foreign_keys=OFF")
        last = f"rowid = (SELECT max(rowid) FROM {table})"
        try:
            done = connection.execute(f'UPDATE {table} SET "{column}" = ? WHERE {last}', (value,))
        except sqlite3.IntegrityError:
            return 0
        connection.commit()
        return done.rowcount


@pytest.mark.parametrize(
    ("table", "column", "value", "command"),
    [
        ("connections", "recorded_at", "2026-11-2x 10:00:00.000000", "list"),
        ("connections", "day", "2026-13-01", "list"),
        ("connections", "started_at", "yesterday", "list"),
        ("connections", "file_name", b"\xff\xfe", "list"),
        ("connections", "seen_later", '{"returned":', "list"),
        ("connections", "answers", '[{"outcome":"keep_wxtching"}]', "list"),
        ("batteries", "serial", b"\xff\xfe", "list"),
        ("batteries", "installed_on", "soon", "list"),
        ("batteries", "invented", 2, "list"),
        ("batteries", "invented", "false", "list"),
    ],
)
def test_a_value_of_another_kind_is_damage(whole, spoilt, table, column, value, command):
    shutil.copy(whole, spoilt)
    assert put_into(spoilt, table, column, value) == 1
    status, said = answered(spoilt, "record", command)
    assert (status, DAMAGED in said) == (BAD_INPUT, True), said


@pytest.mark.parametrize(
    ("old", "new"),
    [('"outcome":"', '"outxome":"'), ('"now":{"mean"', '"now":{"mxan"')],
)
def test_an_assessment_without_what_is_read_of_it_is_said(whole, spoilt, old, new):
    shutil.copy(whole, spoilt)
    with closing(sqlite3.connect(spoilt)) as connection:
        changed = "UPDATE connections SET assessment = replace(assessment, ?, ?)"
        assert connection.execute(changed, (old, new)).rowcount == 1
        connection.commit()
    status, said = answered(spoilt, "record", "list")
    assert status == BAD_INPUT
    assert "assessment" in said


@pytest.mark.slow
@pytest.mark.parametrize("value", WRONG, ids=repr)
def test_every_column_may_hold_anything(whole, spoilt, value):
    tried = 0
    for table, column in COLUMNS:
        shutil.copy(whole, spoilt)
        if put_into(spoilt, table, column, value):
            all_answered(spoilt)
            tried += 1
    assert tried > len(COLUMNS) / 2
