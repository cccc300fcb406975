"""ZIPs that no export wrote: one sentence that names the place, and nothing is changed."""

from __future__ import annotations

import copy
import csv
import hashlib
import io
import re
import zipfile

import pytest

from batterymodel import StoreError
from batterymodel.store import open_store
from batterymodel.store import zip_import as unpack_module
from batterymodel.store.archive import export_zip
from batterymodel.store.records import Connection, LoadConfiguration, Move
from batterymodel.store.zip_import import import_zip
from tests.sparing import sparing
from tests.store.cases import small_record


@pytest.fixture(scope="module")
def exported(tmp_path_factory, new_sqlite):
    """Members of the small record's ZIP."""
    folder = tmp_path_factory.mktemp("export")
    store = open_store(new_sqlite("exported"))
    ids = small_record(store)
    store.correct(
        ids.aircraft, store.aircraft("DEMO-1").record.model_copy(update={"note": "n"}), "w"
    )
    store.delete(ids.sheet, "why")
    export_zip(store, folder / "all.zip")
    with zipfile.ZipFile(folder / "all.zip") as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def refused(store, path):
    with pytest.raises(StoreError) as caught:
        import_zip(store, path)
    message = str(caught.value)
    assert "\n" not in message
    assert store.is_empty()
    with store.reading() as session:
        assert session.connection().exec_driver_sql("SELECT count(*) FROM files").scalar() == 0
    return message


def member(members, prefix):
    return next(name for name in members if name.startswith(prefix))


def swapped(name, old, new, count=1):
    """A change of a member: text replaced."""

    def change(members):
        text = members[name].decode()
        assert old in text
        members[name] = text.replace(old, new, count).encode()

    return change


def first_cell(name, column, new):
    """A change of a member: the first row's cell of a column."""

    def change(members):
        lines = members[name].decode().split("\n")
        at = lines[0].split(",").index(column)
        cells = lines[1].split(",")
        cells[at] = new
        members[name] = "\n".join([lines[0], ",".join(cells), *lines[2:]]).encode()

    return change


def removed(prefix):
    return lambda members: members.pop(member(members, prefix))


def put(name, content):
    return lambda members: members.__setitem__(name, content)


def with_row_again(members):
    lines = members["moves.csv"].decode().split("\n")
    members["moves.csv"] = "\n".join([*lines[:2], lines[1], *lines[2:]]).encode()


DEEP, DIGITS = b"a = " + b"[" * 100_000 + b"]" * 100_000, b"9" * 5000
EMPTY_SHA256 = hashlib.sha256(b"").hexdigest()
UNKNOWN = "00000000-0000-4000-8000-000000000000"
BAD = {
    "member missing": (removed("moves.csv"), "'moves.csv' is missing"),
    "manifest missing": (removed("record.toml"), "'record.toml' is missing"),
    "card missing": (removed("cards/"), "'cards/.*' is missing"),
    "file missing": (removed("files/"), "which is missing"),
    "newer format": (swapped("record.toml", "format = 5", "format = 6"), "reads format 5"),
    "manifest no TOML": (put("record.toml", b"]["), "not valid TOML"),
    "manifest nested too deep": (put("record.toml", DEEP), "nested too deep"),
    "manifest of many digits": (put("record.toml", b"format = " + DIGITS), "too many digits"),
    "format of many digits": (put("record.toml", b"format = 0x" + b"f" * 5000), "reads format 5"),
    "wrong header": (swapped("moves.csv", "reason", "why"), "'moves.csv' has another header than"),
    "empty table": (put("moves.csv", b""), "has another header"),
    "no text": (put("moves.csv", b"\xff\xfe\x00"), "not UTF-8"),
    "too few cells": (swapped("moves.csv", ",new\n", "\n"), "line 2: 8 cells where 9"),
    "open quote": (swapped("moves.csv", ",new\n", ',"new\n'), "not CSV"),
    "row twice": (with_row_again, "stands there twice"),
    "no date": (first_cell("moves.csv", "on", "someday"), "line 2: 'on'"),
    "no offset": (first_cell("moves.csv", "recorded_at", "2026-01-01T00:00:00"), "no UTC offset"),
    "no id": (first_cell("moves.csv", "row_id", "../../x"), "'row_id' is not an id"),
    "empty cell": (first_cell("moves.csv", "reason", ""), "'reason': is empty"),
    "not a number": (first_cell("batteries.csv", "cells", "a dozen"), "'cells'"),
    "out of range": (first_cell("batteries.csv", "cells", "4000"), "cells"),
    "infinite": (first_cell("batteries.csv", "rated_capacity_ah", "inf"), "rated_capacity_ah"),
    "neither": (first_cell("batteries.csv", "invented", "maybe"), "neither true nor false"),
    "control character": (first_cell("deletions.csv", "reason", "a\x00b"), "one plain line"),
    "no such chemistry": (first_cell("batteries.csv", "chemistry", "agm"), "chemistry"),
    "correction without reason": (swapped("aircraft.csv", ",w,", ",,"), "what it replaces and why"),
    "stray parent": (first_cell("moves.csv", "battery_id", UNKNOWN), "which is missing"),
    "stray deletion": (first_cell("deletions.csv", "entry_id", UNKNOWN), "entry that is missing"),
    "stray kind": (first_cell("deletions.csv", "table_name", "files"), "entry that is missing"),
    "stray restoration": (
        swapped(
            "restorations.csv",
            "reason\n",
            f"reason\n{UNKNOWN},2026-01-01T00:00:00+00:00,{UNKNOWN},x\n",
        ),
        "deletion .* is missing",
    ),
    "another's first writing": (first_cell("moves.csv", "entry_id", UNKNOWN), "another entry's id"),
    "file changed": (
        lambda m: m.__setitem__(member(m, "files/"), b"forged"),
        "does not hold what its name says",
    ),
    "card no TOML": (lambda m: m.__setitem__(member(m, "cards/"), b"a = "), "not valid TOML"),
    "card nested too deep": (lambda m: m.__setitem__(member(m, "cards/"), DEEP), "too deep"),
    "card of many digits": (
        lambda m: m.__setitem__(member(m, "cards/"), b"end_voltage_v = " + DIGITS),
        "too many digits",
    ),
    "card unknown key": (lambda m: m.__setitem__(member(m, "cards/"), b"a = 1"), "unknown key 'a'"),
    "card elsewhere": (first_cell("cards.csv", "limits", "record.toml"), "must stand in cards/"),
    "climbing path": (put("../../etc/x", b"x"), "none that an export writes"),
    "absolute path": (put("/tmp/x", b"x"), "none that an export writes"),
    "file of no row": (put(f"files/{EMPTY_SHA256}", b""), f"no row names 'files/{EMPTY_SHA256}'"),
    "card of no row": (put(f"cards/{UNKNOWN}.toml", b""), "no row names 'cards/"),
    "battery of no row": (put(f"batteries/{UNKNOWN}.toml", b""), "no row names 'batteries/"),
    "unknown member": (put("notes.txt", b"x"), "none that an export writes"),
}  # fmt: skip


@pytest.mark.parametrize("name", sparing(BAD, every=2))
def test_a_spoilt_zip_is_one_sentence_and_changes_nothing(exported, sqlite_store, tmp_path, name):
    change, words = BAD[name]
    members = dict(exported)
    change(members)
    path = tmp_path / "bad.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for key, content in members.items():
            archive.writestr(key, content)
    message = refused(sqlite_store, path)
    assert message.startswith(str(path))
    assert re.search(words, message), message


def test_members_unspoilt_are_taken(exported, sqlite_store, tmp_path):
    path = tmp_path / "good.zip"
    with zipfile.ZipFile(path, "w") as archive:
        for key, content in exported.items():
            archive.writestr(key, content)
    tables = [content for name, content in exported.items() if name.endswith(".csv")]
    files = [name for name in exported if name.startswith("files/")]
    rows = sum(len(list(csv.reader(io.StringIO(text.decode())))) - 1 for text in tables)
    assert import_zip(sqlite_store, path).added == rows + len(files)


def write(path, members):
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as archive:
        for key, content in members.items():
            archive.writestr(key, content)
    return path


@pytest.mark.parametrize(
    ("content", "words"),
    [(b"", "not a ZIP file"), (b"PK\x03\x04 no more", "not a ZIP file"), (b"x" * 999, "not a ZIP")],
)
def test_what_is_no_zip_is_said(sqlite_store, tmp_path, content, words):
    path = tmp_path / "bad.zip"
    path.write_bytes(content)
    assert words in refused(sqlite_store, path)


def test_no_file_and_a_folder_are_said(sqlite_store, tmp_path):
    assert "no such file" in refused(sqlite_store, tmp_path / "none.zip")
    assert "no such file" in refused(sqlite_store, tmp_path)


@pytest.mark.parametrize("at", [0.3, 0.6, 0.9])
def test_a_zip_cut_short_or_spoilt_is_said(exported, sqlite_store, tmp_path, at):
    path = write(tmp_path / "whole.zip", exported)
    content = path.read_bytes()
    cut, spoilt = tmp_path / "cut.zip", tmp_path / "spoilt.zip"
    cut.write_bytes(content[: int(at * len(content))])
    assert "not a ZIP file, or is damaged" in refused(sqlite_store, cut)
    changed = bytearray(content)
    start = content.index(b"connections.csv") + 200
    changed[start : start + 40] = bytes(40)
    spoilt.write_bytes(changed)
    assert "'connections.csv' is damaged" in refused(sqlite_store, spoilt)


def test_a_member_twice_is_said(exported, sqlite_store, tmp_path):
    path = write(tmp_path / "twice.zip", exported)
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(path, "a") as archive:
        archive.writestr("moves.csv", exported["moves.csv"])
    assert "a member twice" in refused(sqlite_store, path)


def test_a_huge_member_is_refused_unread(exported, sqlite_store, tmp_path, monkeypatch):
    """A few kilobytes that would unpack to far more."""
    path = write(tmp_path / "bomb.zip", {**exported, "moves.csv": bytes(3_000_000)})
    assert path.stat().st_size < 100_000
    monkeypatch.setattr(unpack_module, "MAX_FILE_BYTES", 1_000_000)
    assert "'moves.csv' is too large (3,000,000 bytes)" in refused(sqlite_store, path)
    monkeypatch.setattr(unpack_module, "MAX_FILE_BYTES", 10_000_000)
    monkeypatch.setattr(unpack_module, "MAX_ALL_BYTES", 2_000_000)
    assert "would unpack to more than" in refused(sqlite_store, path)


def test_a_file_that_no_row_names_is_refused_unread(exported, sqlite_store, tmp_path, monkeypatch):
    """A ZIP that unpacks to a thousand times its size, as one file and as many."""
    zeros = bytes(20_000_000)
    name = f"files/{hashlib.sha256(zeros).hexdigest()}"
    path = write(tmp_path / "bomb.zip", {**exported, name: zeros})
    assert path.stat().st_size < 100_000
    monkeypatch.setattr(zipfile.ZipFile, "read", None)
    assert f"'{name}' would unpack to more than 100 times its size" in refused(sqlite_store, path)


def test_members_that_overlap_do_not_hide_the_ratio(exported, sqlite_store, tmp_path):
    """A directory that names one packed file many times, each with a true size of its own."""
    path = write(tmp_path / "whole.zip", exported)
    with zipfile.ZipFile(path, "a", zipfile.ZIP_DEFLATED) as archive:
        content = (b"%09d," % 7) * 9_000
        packed = b"".join(hashlib.sha256(b"%d" % k).digest() for k in range(60))
        archive.writestr(f"files/{hashlib.sha256(content + packed).hexdigest()}", content + packed)
        first = archive.filelist[-1]
        for k in range(400):
            again = copy.copy(first)
            again.filename = f"files/{hashlib.sha256(b'%d' % k).hexdigest()}"
            archive.filelist.append(again)
            archive.NameToInfo[again.filename] = again
        archive._didModify = True
    assert "would unpack to more than 100 times its size" in refused(sqlite_store, path)


def as_of_format(number, members):
    """The members as an export of a former format had them, without what came later."""
    swapped("record.toml", "format = 5", f"format = {number}")(members)
    members.pop("servicings.csv")
    cut(members, "connections.csv", ["answers", "seen_later"])
    if number < 4:
        for name in ("load_plans.csv", "supplies.csv"):
            members.pop(name)
        cut(members, "load_configurations.csv", CHOICE, lambda row: not row[-7])
    if number < 3:
        cut(members, "connections.csv", ["column_map"])


def cut(members, name, columns, keeps=lambda row: True):
    """Take the last columns off a table, and the rows that are not kept."""
    head, *rows = csv.reader(io.StringIO(members[name].decode(), newline=""))
    assert head[-len(columns) :] == columns
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerows(row[: -len(columns)] for row in (head, *filter(keeps, rows)))
    members[name] = text.getvalue().encode()


CHOICE = ["on", "left_off", "supply", "answer", "document", "said_by", "said_on"]


@pytest.mark.parametrize("number", [1, 2, 3, 4])
def test_a_zip_of_a_format_before_gives_the_same_connections(
    exported, sqlite_store, tmp_path, number
):
    members = dict(exported)
    as_of_format(number, members)
    import_zip(sqlite_store, write(tmp_path / "old.zip", members))
    [connection] = sqlite_store.entries(Connection)
    assert connection.record.column_map is None
    assert connection.record.readings_sha256
    assert (connection.record.answers, connection.record.seen_later) == (None, None)
    if number < 4:
        [loads] = sqlite_store.entries(LoadConfiguration)
        assert (loads.record.name, loads.record.on, loads.record.left_off) == ("Ramp", None, None)


def without(members, name, column):
    """Take one column off a table, wherever it stands."""
    rows = list(csv.reader(io.StringIO(members[name].decode(), newline="")))
    at = rows[0].index(column)
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows(row[:at] + row[at + 1 :] for row in rows)
    members[name] = text.getvalue().encode()


def test_a_zip_from_before_the_rest_voltage_after_a_connection_is_taken(
    exported, sqlite_store, tmp_path
):
    members = dict(exported)
    as_of_format(1, members)
    without(members, "connections.csv", "rest_after_v")
    assert members["connections.csv"].startswith(
        b"row_id,recorded_at,entry_id,replaces,correction_reason,battery_id,aircraft_id,day,"
        b"started_at,file_name,readings_sha256,supply,rest_voltage_v,load_a,load_sd_a,ambient_c,"
        b"assessment,not_assessed\n"
    )
    path = write(tmp_path / "first.zip", members)
    import_zip(sqlite_store, path)
    [connection] = sqlite_store.entries(Connection)
    assert connection.record.rest_after_v is None
    assert connection.record.assessment is not None  # the cells after it are where they belong
    assert import_zip(sqlite_store, path).added == 0


def test_only_the_first_format_may_lack_the_rest_voltage_after(exported, sqlite_store, tmp_path):
    members = dict(exported)
    as_of_format(2, members)
    without(members, "connections.csv", "rest_after_v")
    path = write(tmp_path / "second.zip", members)
    assert "'connections.csv' has another header than row_id" in refused(sqlite_store, path)


def test_a_table_of_a_later_format_is_refused_in_a_former_one(exported, sqlite_store, tmp_path):
    members = dict(exported)
    as_of_format(3, members)
    members["supplies.csv"] = exported["supplies.csv"]
    assert "no row names 'supplies.csv'" in refused(
        sqlite_store, write(tmp_path / "old.zip", members)
    )


def test_a_zip_of_the_format_before_keeps_its_text_as_it_stands(exported, sqlite_store, tmp_path):
    members = dict(exported)
    as_of_format(1, members)
    swapped("moves.csv", ",new\n", ",'=new\n")(members)
    import_zip(sqlite_store, write(tmp_path / "old.zip", members))
    assert "'=new" in {move.record.reason for move in sqlite_store.entries(Move)}


def test_a_locked_zip_is_said(exported, sqlite_store, tmp_path):
    path = write(tmp_path / "locked.zip", exported)
    content = bytearray(path.read_bytes())
    for signature, offset in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        at = content.find(signature)
        while at >= 0:
            content[at + offset] |= 1
            at = content.find(signature, at + 4)
    path.write_bytes(content)
    assert "locked with a password" in refused(sqlite_store, path)


def test_another_content_under_one_id_names_the_row(exported, sqlite_store, tmp_path):
    import_zip(sqlite_store, write(tmp_path / "good.zip", exported))
    before = tmp_path / "before.zip"
    export_zip(sqlite_store, before)
    row = exported["moves.csv"].decode().split("\n")[1].split(",")[0]
    card = member(exported, "cards/")
    for name, change in (
        ("moves", swapped("moves.csv", ",new\n", ",newer\n")),
        ("cards", put(card, b"min_top_off_soc = 0.5\n")),
    ):
        members = dict(exported)
        change(members)
        where = row if name == "moves" else card[6:-5]
        words = f"row {where} of {name} is in the record with another content"
        with pytest.raises(StoreError, match=words):
            import_zip(sqlite_store, write(tmp_path / f"{name}.zip", members))
    after = tmp_path / "after.zip"
    export_zip(sqlite_store, after)
    assert after.read_bytes() == before.read_bytes()
