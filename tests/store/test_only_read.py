"""Records on a write-protected medium: read as ever, and one sentence where something would write.

The superuser may write anywhere, so what is tried here is tried as a user who may not.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import sqlite3
import tempfile
from collections.abc import Callable, Iterator
from contextlib import closing
from pathlib import Path

import pytest

from batterymodel.cli import main
from batterymodel.commands import record_work, report  # noqa: F401 (read before the user changes)
from batterymodel.say.record_view import record_view
from batterymodel.store import Store, open_store
from batterymodel.store import engine as engine_module
from batterymodel.store.engine import engine_for, is_only_read, url_from, write_transaction
from batterymodel.store.records import Aircraft
from batterymodel.store.upgrade import upgrade
from tests.store.cases import DAY, small_record
from tests.store.test_faults import in_child, says

NOBODY = 65534


@pytest.fixture
def medium() -> Iterator[Path]:
    """A folder that any user can come to, and in the end is taken away."""
    folder = Path(tempfile.mkdtemp())
    yield folder
    folder.chmod(0o755)
    shutil.rmtree(folder)


@pytest.fixture
def protected(medium, empty_sqlite) -> Path:
    """A small record that was closed by its writer, in a folder nobody may write in."""
    path = Path(shutil.copy(empty_sqlite, medium / "record 1.sqlite"))
    small_record(open_store(path))
    record_view(open_store(path), "B-1", DAY)
    protect(path)
    return path


def protect(path: Path) -> None:
    for file in path.parent.iterdir():
        file.chmod(0o444)
    path.parent.chmod(0o555)


def as_user(work: Callable[[], str]) -> str:
    """What a piece of work says, done by a user who may not write in the folder."""

    def done() -> str:
        if os.geteuid() == 0:
            os.setgroups([])
            os.setgid(NOBODY)
            os.setuid(NOBODY)
        engine_module._engine.cache_clear()
        return work()

    return in_child(done)


def commanded(*words: str) -> str:
    """Status and all that a command prints."""
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        status = main(words)
    return f"{status} {out.getvalue()}{err.getvalue()}"


def content_of(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in folder.iterdir()}


READING = (
    ("record", "list"),
    ("record", "show", "B-1"),
    ("record", "score"),
    ("record", "capacity", "B-1"),
    ("record", "loads", "DEMO-2"),
)


@pytest.mark.parametrize("words", READING, ids=" ".join)
def test_a_protected_record_reads_as_an_open_one(protected, empty_sqlite, words):
    before = content_of(protected.parent)
    said = as_user(lambda: commanded(*words, "--database", str(protected)))
    assert said.startswith("0 ")
    assert content_of(protected.parent) == before
    protected.parent.chmod(0o755)
    protected.chmod(0o644)
    assert said == commanded(*words, "--database", str(protected))


def test_the_page_of_a_battery_is_read_from_it(protected):
    def work() -> str:
        store = open_store(protected)
        view = record_view(store, "B-1", DAY)
        return f"{is_only_read(store.engine)} {view.battery.tail} {len(view.timeline)}"

    said = as_user(work)
    protected.parent.chmod(0o755)
    store = open_store(protected)
    view = record_view(store, "B-1", DAY)
    assert not is_only_read(store.engine)
    assert said == f"True {view.battery.tail} {len(view.timeline)}"


def test_writing_into_it_is_one_sentence(protected):
    before = content_of(protected.parent)
    said = as_user(lambda: str(open_store(protected).add(Aircraft(tail="DEMO-9"))))
    assert said == (
        f"said: {protected}: cannot be written to; choose a folder you may write in. Nothing was "
        "changed"
    )
    assert content_of(protected.parent) == before


def test_only_the_file_is_protected(protected):
    protected.parent.chmod(0o777)
    listed = as_user(lambda: commanded("record", "list", "--database", str(protected)))
    assert listed.startswith("0 ")
    assert "B-1" in listed
    said = as_user(lambda: str(open_store(protected).add(Aircraft(tail="DEMO-9"))))
    assert "cannot be written to" in said


def test_an_older_record_that_may_only_be_read_is_said(medium):
    path = medium / "old.sqlite"
    with write_transaction(engine_for(url_from(path))) as connection:
        upgrade(connection, "0006")
    protect(path)
    before = content_of(medium)
    said = as_user(lambda: str(open_store(path)))
    assert "was written by an older version and must be brought up to date" in said
    assert content_of(medium) == before


def test_last_writes_that_cannot_be_read_are_never_left_out(medium, own_store):
    """A copy of a record that is open: its last writes stand beside it."""
    small_record(own_store)
    path = Path(str(own_store.engine.url.database))
    with closing(sqlite3.connect(path)) as held:
        held.execute("SELECT * FROM aircraft").fetchone()
        own_store.add(Aircraft(tail="DEMO-7"))
        for end in ("", "-wal"):
            shutil.copy(f"{path}{end}", medium / f"copy.sqlite{end}")
    copy = medium / "copy.sqlite"
    assert (medium / "copy.sqlite-wal").stat().st_size > 0
    protect(copy)
    said = as_user(lambda: listed_tails(open_store(copy)))
    assert "as its last writes stand in a file beside it; copy both" in said
    assert said.endswith("(copy.sqlite-wal)")
    medium.chmod(0o755)
    assert "DEMO-7" in listed_tails(open_store(copy))


def test_a_record_that_another_writes_is_read_with_its_last_writes(medium, empty_sqlite):
    path = Path(shutil.copy(empty_sqlite, medium / "record.sqlite"))
    store = open_store(path)
    with closing(sqlite3.connect(path)) as held:
        held.execute("SELECT * FROM aircraft").fetchone()
        store.add(Aircraft(tail="DEMO-7"))
        assert (medium / "record.sqlite-wal").stat().st_size > 0
        protect(path)
        said = as_user(lambda: listed_tails(open_store(path)))
    assert said == "DEMO-7"


def listed_tails(store: Store) -> str:
    return " ".join(entry.record.tail for entry in store.entries(Aircraft))


def test_no_record_is_made_where_nobody_may_write(medium):
    medium.chmod(0o555)
    path = medium / "new.sqlite"
    assert "cannot be opened" in as_user(lambda: str(open_store(path)))
    assert says(lambda: open_store(medium)).endswith("give the path of a database file")
