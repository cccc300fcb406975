"""``record`` at the command line: every deed, and one line for everything that cannot be done."""

from __future__ import annotations

import io
import os
import re
import signal
import subprocess
import sys
import zipfile

import pytest

from batterymodel.cli import main
from batterymodel.inputs.load_plan import read_aircraft_loads
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.store import open_store
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, leave, note, tell
from tests.store.cases import write_logs

LOG = SAMPLE_FOLDER / "healthy-top-off.csv"
BATTERY = SAMPLE_FOLDER / "healthy-top-off.toml"
SUPPLY = SAMPLE_FOLDER / "supply.toml"
ID = re.compile(r"\[([0-9a-f-]{36})\]")
PLAN = """document = "Load list, revision B"
said_by = "shift lead"
on = 2026-03-02

[[consumers]]
name = "Radio"
continuous_a = 3.0

[[tasks]]
name = "Database update"
minutes = 25
needs = ["Radio"]
"""
CART = """name = "Cart 1"
rated_current_a = 60.0
input_voltage_v = 120.0
input_current_full_load_a = 17.5

[[circuits]]
name = "Hangar east"
circuit_breaker_a = 20.0
"""
LOADS = 'name = "Ramp"\n[[consumers]]\nname = "Radio"\ncontinuous_a = 3.0\npeak_a = 5.5\n'


@pytest.fixture
def record(capsys, new_sqlite, monkeypatch):
    """Runs one deed on a record of its own; gives what it said."""
    monkeypatch.setenv("BATTERYMODEL_DATABASE_URL", str(new_sqlite("record")))

    def run(*arguments, fails=False):
        status = main(["record", *map(str, arguments)])
        out, err = capsys.readouterr()
        assert status == (2 if fails else 0), err
        assert (out == "" and err.count("\n") == 1) if fails else err == ""
        return err if fails else out

    return run


@pytest.fixture
def fleet(record):
    """The same, with an aircraft and a battery in it."""
    record("add", "aircraft", "DEMO-1", "--note", "invented")
    more = ("--installed", "2024-01-05", "--aircraft", "DEMO-1", "--note", "spare")
    record("add", "battery", "B-1", BATTERY, *more)
    return record


def entry_id(said):
    return ID.search(said).group(1)


def test_an_empty_record_says_what_to_do(record):
    assert "record add" in record("list")
    assert record("list", "--deleted").strip() == "Nothing deleted."


def test_a_connection_is_added_and_assessed(fleet):
    said = fleet(
        "add", "connection", LOG, "--serial", "B-1", "--supply", SUPPLY, "--rest-voltage", 25.6,
        "--load", 8, "--load-error", 0.5, "--ambient", 18,
    )  # fmt: skip
    assert said.startswith("confirmed: healthy-top-off.csv: 2026-03-02: Top off in place")
    shown = fleet("show", "B-1")
    assert "healthy-top-off.csv: Top off in place" in shown
    assert "Move: to DEMO-1 (installed)" in shown
    assert "[limits]" in shown
    assert "2026-03-02: Top off in place" in fleet("list")
    assert fleet("add", "connection", LOG, "--serial", "B-1").startswith("already in the record")


def test_readings_of_another_battery_are_kept_and_said(fleet):
    fleet("add", "battery", "B-2", BATTERY, "--installed", "2024-01-05", "--aircraft", "DEMO-1")
    first = fleet("add", "connection", LOG, "--serial", "B-1", "--load", 8)
    said = fleet("add", "connection", LOG, "--serial", "B-2", "--load", 8).splitlines()
    assert len(first.splitlines()) == 1
    assert said[0].startswith("confirmed: healthy-top-off.csv: 2026-03-02")
    assert said[1].startswith("these readings are on record for battery B-1 too, as ")
    assert entry_id(first) in said[1]
    assert "healthy-top-off.csv" in fleet("show", "B-2")


@pytest.mark.parametrize("ah", [(40, 30), (30, 40)])
def test_list_show_and_forecast_take_the_least_check_of_a_day(fleet, ah, capsys):
    for one in ah:
        fleet("add", "check", "B-1", "--on", "2026-01-10", "--capacity", one)
    assert "2026-01-10: 30 Ah" in fleet("list")
    assert "capacity_ah = 30.0" in fleet("show", "B-1")
    assert main(["fade", "--serial", "B-1"]) == 0
    assert "Capacity measured, 2026-01-10          30.0 Ah" in capsys.readouterr().out


def test_unreadable_readings_are_kept_and_said(fleet, tmp_path):
    [path] = write_logs(tmp_path / "x", 1)
    said = fleet("add", "connection", path, "--serial", "B-1", "--on", "2026-03-01")
    assert "2026-03-01: not assessed (log-0000.csv: is not a text file" in said


def test_checks_moves_cards_loads_and_sheets_are_added(fleet, tmp_path):
    bench = tmp_path / "bench.bin"
    bench.write_bytes(b"\x00log")
    said = fleet(
        "add", "check", "B-1", "--on", "2025-06-01", "--capacity", 38.5, "--capacity-error", 0.6,
        "--at-least", "--current", 40, "--minutes", 57, "--temperature", 22, "--end-voltage", 20,
        "--log", bench, "--note", "stopped early",
    )  # fmt: skip
    assert "Capacity check: at least 38.5 Ah" in said
    off = fleet("add", "move", "B-1", "--off", "--on", "2025-05-01", "--reason", "to the bench")
    assert "Move: off aircraft (to the bench)" in off
    fleet("add", "move", "B-1", "--to", "DEMO-1", "--on", "2025-07-01", "--reason", "back")
    card = tmp_path / "card.toml"
    card.write_text('document = "Manual, revision D"\nmin_top_off_soc = 0.9\n')
    fleet("add", "card", "B-1", card, "--on", "2025-08-01", "--reason", "revision D")
    fleet("add", "card", "B-1", BATTERY, "--on", "2025-09-01", "--reason", "as before")
    loads = tmp_path / "loads.toml"
    loads.write_text(LOADS)
    assert "Load configuration: Ramp" in fleet("add", "loads", "DEMO-1", loads)
    connection = entry_id(fleet("add", "connection", LOG, "--serial", "B-1"))
    sheet = fleet("add", "sheet", connection, bench, "--kind", "for owner", "--on", "2026-03-03")
    assert "Owner's sheet: for owner: bench.bin" in sheet
    then = fleet("show", "B-1", "--on", "2025-08-15")
    assert 'document = "Manual, revision D"' in then
    assert "healthy-top-off.csv" not in then
    assert 'tail = "B-1"' in fleet("show", "B-1", "--on", "2025-05-02")
    now = fleet("show", "B-1")
    assert 'document = "Invented maintenance manual' in now
    assert "for owner: bench.bin" in now
    assert "Load configuration: Ramp" in now


@pytest.mark.long
def test_what_is_added_twice_is_kept_once_and_said(fleet, tmp_path):
    """Of each kind: the same id, exit 0, and the record shows it once."""
    bench, card, loads = (tmp_path / name for name in ("bench.csv", "card.toml", "loads.toml"))
    plan, cart = tmp_path / "plan.toml", tmp_path / "cart.toml"
    plan.write_text(PLAN)
    cart.write_text(CART)
    bench.write_bytes(b"\x00log")
    card.write_text('document = "Manual, revision D"\nmin_top_off_soc = 0.9\n')
    loads.write_text(LOADS)
    connection = entry_id(fleet("add", "connection", LOG, "--serial", "B-1"))
    check = ("check", "B-1", "--on", "2025-06-01", "--capacity", 38.5, "--current", 40)
    things = {
        "connection": ("connection", LOG, "--serial", "B-1"),
        "check": check,
        "discharge with its log": (*check, "--capacity", 38.6, "--minutes", 57, "--log", bench),
        "move": ("move", "B-1", "--off", "--on", "2025-05-01", "--reason", "to the bench"),
        "card": ("card", "B-1", card, "--on", "2025-08-01", "--reason", "revision D"),
        "loads": ("loads", "DEMO-1", loads),
        "plan": ("loads", "DEMO-1", plan),
        "supply": ("supply", cart),
        "sheet": ("sheet", connection, bench, "--kind", "for owner", "--on", "2026-03-03"),
        "aircraft": ("aircraft", "DEMO-7"),
    }
    for name, thing in things.items():
        first = fleet("add", *thing)
        assert first.startswith("confirmed") == (name != "connection")
        shown = fleet("list"), fleet("show", "B-1")
        for _ in range(2):
            again = fleet("add", *thing)
            assert again.startswith("already in the record: ")
            assert entry_id(again) == entry_id(first)
        assert (fleet("list"), fleet("show", "B-1")) == shown


def test_supplies_and_load_plans_are_shown(fleet, tmp_path):
    plan, cart = tmp_path / "plan.toml", tmp_path / "cart.toml"
    plan.write_text(PLAN)
    cart.write_text(CART)
    said = fleet("add", "loads", "DEMO-1", plan, "--said-by", "the mechanic")
    words = "1 consumer, 1 task, Load list, revision B, said by the mechanic"
    assert f"Load plan: {words}" in said
    said = fleet("add", "supply", cart)
    assert "Supply: Cart 1: 60 A at 28 V, circuits: Hangar east 20 A" in said
    assert words in fleet("show", "B-1")
    listed = fleet("list")
    assert "2026-03-02: 1 consumer, 1 task" in listed
    assert re.search(r"Cart 1 +60 A at 28 V +Hangar east 20 A", listed)


def test_a_supply_with_other_figures_asks_why(fleet, tmp_path):
    cart = tmp_path / "cart.toml"
    cart.write_text(CART)
    entry = entry_id(fleet("add", "supply", cart))
    cart.write_text(CART.replace("60.0", "50.0"))
    refused = fleet("add", "supply", cart, fails=True)
    assert "(rated_current_a); say why they change" in refused
    assert fleet("add", "supply", cart, "--reason", "new plate").startswith("corrected: Supply")
    fleet("correct", entry, "set_voltage_v=27.5", "--reason", "adjusted")
    history = fleet("history", entry)
    assert "rated_current_a = 50.0" in history
    assert "set_voltage_v = 27.5" in history
    assert fleet("add", "supply", cart, "--name", "Cart 2").startswith("confirmed")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (("3.0", "-3.0"), "consumer 1 ('Radio'): continuous_a: at least 0 A"),
        (('needs = ["Radio"]', 'needs = ["Radar"]'), "'Radar', which is no consumer"),
        (("minutes = 25", "minutes = 1500"), "at most a day"),
        (("document", 'tail = "DEMO-8"\ndocument'), "those of 'DEMO-8', not of 'DEMO-1'"),
    ],
)
def test_a_load_plan_that_cannot_be_right_is_one_line(fleet, tmp_path, change, words):
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.replace(*change))
    assert words in fleet("add", "loads", "DEMO-1", plan, fails=True)


def test_a_configuration_of_a_day_to_come_is_refused(fleet, tmp_path):
    path = tmp_path / "ahead.toml"
    path.write_text('name = "Ramp"\non = 2999-01-01\nconsumers = []\n')
    said = fleet("add", "loads", "DEMO-1", path, fails=True)
    assert "the loads of 'Ramp' were said on 2999-01-01, which is later than today" in said


def test_a_circuit_of_0_a_is_one_line(fleet, tmp_path):
    cart = tmp_path / "cart.toml"
    cart.write_text(CART.replace("= 20.0", "= 0"))
    said = fleet("add", "supply", cart, fails=True)
    assert "cart.toml: circuit 1 ('Hangar east'): circuit_breaker_a: more than 0 A" in said


def test_loads_are_printed_with_what_connections_taught_as_the_budget_takes_them(fleet, tmp_path):
    assert "no loads of 'DEMO-1'" in fleet("loads", "DEMO-1", fails=True)
    plan = tmp_path / "plan.toml"
    plan.write_text(PLAN.replace("Radio", "Avionics").replace("3.0", "9.5"))
    fleet("add", "loads", "DEMO-1", plan)
    steps = SAMPLE_FOLDER / "marked-load-steps.csv"
    fleet("add", "connection", steps, "--serial", "B-1", "--on", "2026-03-02")
    told = fleet("loads", "DEMO-1", "--as-told")
    assert "continuous_a = 9.5" in told
    learned = fleet("loads", "DEMO-1")
    assert learned.startswith("# Currents of Avionics are as 1 connection on record taught them.")
    assert "readings = 1" in learned  # its two steps share their meter's error
    again = tmp_path / "learned.toml"
    again.write_text(learned)
    consumer = read_aircraft_loads(again).consumer("Avionics")
    assert consumer.continuous_a != 9.5
    assert "no loads" in fleet("loads", "DEMO-1", "--on", "2026-01-01", fails=True)


def test_the_first_note_of_a_check_told_twice_stays(fleet):
    check = ("add", "check", "B-1", "--on", "2025-06-01", "--capacity", 38.5)
    first = fleet(*check, "--note", "bench two")
    assert "already in the record" in fleet(*check, "--note", "bench three")
    assert "note = bench two" in fleet("history", entry_id(first))
    assert fleet(*check, "--minutes", 57).startswith("completed: Capacity check: 38.5 Ah")
    assert fleet(*check, "--minutes", 57).startswith("already in the record")
    assert "kept once" in fleet(*check, "--minutes", 57, "--measured-again")
    assert fleet(*check, "--minutes", 59).startswith("confirmed")


def test_corrections_keep_the_old_row(fleet):
    said = fleet(
        "add", "check", "B-1", "--on", "2025-06-01", "--capacity", 53.5, "--current", 40
    )  # fmt: skip
    check = entry_id(said)
    fleet(
        "correct", check, "capacity_ah=38.5", "discharge_current_a=", "--reason", "digits swapped"
    )
    history = fleet("history", check)
    assert "first writing" in history
    assert "capacity_ah = 53.5" in history
    assert "digits swapped" in history
    assert "capacity_ah = 38.5" in history
    assert "discharge_current_a = None" in history
    assert "is no change" in fleet("correct", check, "capacity", "--reason", "x", fails=True)


def test_deleting_asks_unless_told_and_is_restored(fleet, monkeypatch, capsys):
    connection = entry_id(fleet("add", "connection", LOG, "--serial", "B-1"))
    refused = fleet("delete", connection, "--reason", "wrong file", fails=True)
    assert "give --yes" in refused
    for answer, words in (("n\n", "nothing was deleted"), ("y\n", "deleted: 1 x connection")):
        terminal = io.StringIO(answer)
        terminal.isatty = lambda: True
        monkeypatch.setattr(sys, "stdin", terminal)
        assert main(["record", "delete", connection, "--reason", "wrong file"]) == 0
        out, err = capsys.readouterr()
        assert out.startswith(words)
        assert err == "Delete 1 x connection? [y/N] "
    assert "healthy-top-off.csv" not in fleet("show", "B-1")
    listed = fleet("list", "--deleted")
    assert "wrong file" in listed
    act = listed.split()[-1]
    assert "deleted: wrong file" in fleet("history", connection)
    assert "1 x connection" in fleet("restore", act, "--reason", "it was right")
    assert "healthy-top-off.csv" in fleet("show", "B-1")
    gone = fleet("delete", connection, "--reason", "wrong file", "--yes")
    assert "'record restore" in gone


def test_an_export_says_what_stays_behind(fleet, tmp_path):
    def on(name):
        return fleet("export", tmp_path / name)

    assert "not in it" not in on("1.zip")
    store = open_store()
    start = {"started_at": "2026-03-02T07:43:00Z"}
    for k in range(3):
        begin(store, f"connection-{k}", **start)
    leave(store, "connection-0", "leave-0001", "wrong aircraft")
    behind = "; not in it, and kept here alone: 2 connections in progress, 1 connection left"
    assert on("2.zip").strip().endswith(behind)
    tell(store, "connection-1", "tell-0001", serial="B-1")
    for k, key in enumerate(("press-0001", "press-0002")):
        about = ("supply_current_a", 20.0, f"2026-03-02T07:44:0{k}Z")
        note(store, "connection-1", key, *about)
        finish(store, "connection-1", "finish-0001")
    behind = "1 connection in progress, 1 connection left, 1 reading that came late"
    assert on("3.zip").strip().endswith(behind)
    with zipfile.ZipFile(tmp_path / "3.zip") as archive:
        assert not [n for n in archive.namelist() if "progress" in n]


def test_export_and_import(fleet, tmp_path, monkeypatch):
    fleet("add", "connection", LOG, "--serial", "B-1")
    path = tmp_path / "all.zip"
    assert "rows and files" in fleet("export", path)
    assert "is there already" in fleet("export", path, fails=True)
    there = fleet("import", path)
    assert there.startswith("took in 0 rows and files")
    other = ("--database", tmp_path / "other.sqlite")
    fleet("import", path, *other)
    fleet("export", tmp_path / "again.zip", *other)
    assert (tmp_path / "again.zip").read_bytes() == path.read_bytes()
    with zipfile.ZipFile(path) as archive:
        assert LOG.read_bytes() in [archive.read(n) for n in archive.namelist()]


def test_a_folder_is_taken_in_and_each_file_confirmed(fleet, tmp_path):
    write_logs(tmp_path / "in" / "B-1", 3)
    said = fleet("import", tmp_path / "in", "--on", "2026-01-01").splitlines()
    assert [line.split(":")[1].strip() for line in said[:3]] == [
        f"B-1/log-000{k}.csv" for k in range(3)
    ]
    assert all(line.startswith("confirmed: ") for line in said[:3])
    assert said[3] == "took in 3 connections; 0 were there already"
    again = fleet("import", tmp_path / "in" / "B-1", "--serial", "B-1")
    assert again.endswith("took in 0 connections; 3 were there already\n")
    assert "no CSV files" in fleet("import", tmp_path / "in" / "B-1", fails=True)


@pytest.mark.long
def test_what_was_confirmed_on_the_terminal_survives_a_kill(tmp_path, fleet):
    """The whole command, killed once as soon as it has confirmed a file."""
    write_logs(tmp_path / "in" / "B-1", 200)
    command = [sys.executable, "-m", "batterymodel", "record", "import", str(tmp_path / "in")]
    child = subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=os.environ
    )
    said = child.stdout.readline()
    child.send_signal(signal.SIGKILL)
    said += child.stdout.read()
    child.wait()
    child.stderr.close()
    names = re.findall(r"^confirmed: B-1/(log-\d+\.csv)", said.decode(), re.M)
    assert 1 <= len(names) < 200
    shown = fleet("show", "B-1")
    assert all(name in shown for name in names)


@pytest.mark.long
def test_demo_data_comes_and_goes(record):
    assert "12 invented connections" in record("demo")
    assert "(invented)" in record("list")
    assert "has entries already" in record("demo", fails=True)
    removed = record("demo", "--remove")
    assert "record add" in record("list")
    record("restore", re.search(r"restore ([0-9a-f-]{36})", removed).group(1))
    assert "SF-101 (invented)" in record("list")
    assert "Battery SF-101 (invented)" in record("show", "SF-101")


BAD = {
    "unknown battery": (("show", "B-9"), "no battery 'B-9'"),
    "unknown entry": (("history", "nonsense"), "no entry nonsense"),
    "no such log": (("add", "connection", "none.csv", "--serial", "B-1"), "no such file"),
    "log is a folder": (("add", "connection", ".", "--serial", "B-1"), "is a directory"),
    "no such card": (("add", "card", "B-1", "none.toml", "--reason", "x"), "no such file"),
    "bad check": (("add", "check", "B-1", "--on", "2025-01-01", "--capacity", "-3"), "capacity_ah"),
    "unknown tail": (
        ("add", "move", "B-1", "--to", "X", "--on", "2025-01-01", "--reason", "x"),
        "no aircraft 'X'",
    ),
    "same tail": (("add", "aircraft", "DEMO-1"), "in the record already"),
    "blank tail": (("add", "aircraft", " "), "tail"),
    "no zip": (("import", "none.zip"), "no such file"),
    "blank reason": (("delete", "nonsense", "--reason", " ", "--yes"), "no entry"),
    "no demo": (("demo", "--remove"), "no demo data"),
    "not a database": (("list", "--database", __file__), "not a database of this tool"),
    "wrong database": (("list", "--database", "oracle://x/y"), "cannot hold the record"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_done_is_one_line(fleet, name):
    arguments, words = BAD[name]
    assert words in fleet(*arguments, fails=True)


@pytest.mark.parametrize(
    "arguments",
    [
        [], ["add"], ["add", "aircraft"], ["delete", "x"], ["add", "move", "B-1", "--off"],
        ["show", "B-1", "--on", "yesterday"], ["list", "--colour"],
    ],
)  # fmt: skip
def test_bad_arguments_are_one_line(capsys, arguments):
    with pytest.raises(SystemExit) as stopped:
        main(["record", *arguments])
    assert stopped.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_a_migration_says_where_the_backup_is(tmp_path, capsys):
    from batterymodel.store.engine import engine_for, url_from, write_transaction
    from batterymodel.store.upgrade import upgrade

    path = tmp_path / "old.sqlite"
    with write_transaction(engine_for(url_from(path))) as connection:
        upgrade(connection, "0001")
    assert main(["record", "list", "--database", str(path)]) == 0
    assert "as it was: " in capsys.readouterr().err
