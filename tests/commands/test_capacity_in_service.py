"""``capacity`` and ``record capacity`` from connections: text, JSON, and what is refused."""

import json
import re

import numpy as np
import pandas as pd
import pytest

from batterymodel import Battery, Supply, in_service_capacity, read_battery
from batterymodel.cli import main
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.samples.discharges import DISCHARGE_PASSES
from batterymodel.store import open_store
from batterymodel.store.records import Connection
from tests.conftest import simulated_connection

TOML = SAMPLE_FOLDER / "healthy-top-off.toml"
BATTERY = ["--battery", str(TOML)]
RESTS = ["--rest-voltage", "24.84", "--rest-after", "25.75"]
BENCH = SAMPLE_FOLDER / DISCHARGE_PASSES


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    return status, *capsys.readouterr()


def flat(text):
    return re.sub(r"\s+", " ", text)


@pytest.fixture
def taper(tmp_path):
    """A battery that took half its 40 Ah, read to the end of its taper at 18 degC."""
    readings = simulated_connection(0.5, minutes=300.0, every_s=60.0)
    columns = {"elapsed_s": readings.elapsed_s, "supply_current_a": readings.supply_current_a}
    columns["battery_temp_c"] = np.full(len(readings), 18.0)
    path = tmp_path / "taper.csv"
    pd.DataFrame(columns).to_csv(path, index=False)
    return path


def test_json_is_what_the_library_says(capsys, taper):
    status, out, err = run(capsys, "capacity", taper, *BATTERY, *RESTS, "--load", "8", "--json")
    assert (status, err) == (0, "")
    expected = in_service_capacity(
        taper, read_battery(TOML), rest_before_v=24.84, rest_after_v=25.75, load_a=8.0
    )
    assert json.loads(out) == json.loads(expected.model_dump_json())
    assert json.loads(out)["temp_before_c"] == 18.0


def test_text_says_capacity_range_and_that_it_is_no_check(capsys, taper):
    status, out, _ = run(capsys, "capacity", taper, *BATTERY, *RESTS, "--load", "8")
    assert status == 0
    assert out.startswith("Capacity in service: ")
    for part in ("90 % range", "18 °C", "Charge returned", "replaces no capacity check"):
        assert part in flat(out)
    assert max(len(line) for line in out.splitlines()) <= 92


def test_a_told_temperature_fills_in_where_the_file_has_none(capsys, tmp_path, taper):
    bare = tmp_path / "bare.csv"
    pd.read_csv(taper).drop(columns="battery_temp_c").to_csv(bare, index=False)
    known = run(capsys, "capacity", bare, *BATTERY, *RESTS, "--temp", "18", "--json")[1]
    unknown = run(capsys, "capacity", bare, *BATTERY, *RESTS, "--json")[1]
    assert json.loads(known)["temp_before_c"] == 18.0
    assert json.loads(unknown)["temp_before_c"] is None
    assert "No battery temperature" in " ".join(json.loads(unknown)["notes"])


def test_another_loggers_file_is_taken_by_its_columns(capsys, tmp_path, taper):
    foreign = tmp_path / "foreign.csv"
    names = {"elapsed_s": "t", "supply_current_a": "CH1", "battery_temp_c": "probe"}
    pd.read_csv(taper).rename(columns=names).to_csv(foreign, index=False)
    taken = ("t=elapsed_s:s", "CH1=supply_current_a:A", "probe=battery_temp_c:degC")
    told = [word for column in taken for word in ("--column", column)]
    own = run(capsys, "capacity", taper, *BATTERY, *RESTS, "--load", "8", "--json")[1]
    status, out, err = run(
        capsys, "capacity", foreign, *BATTERY, *RESTS, "--load", "8", *told, "--json"
    )
    assert (status, err) == (0, "")
    assert json.loads(out)["capacity_ah"] == json.loads(own)["capacity_ah"]


@pytest.mark.parametrize(
    ("options", "part"),
    [
        (["--rest-voltage", "24.8"], "needs both rest voltages"),
        (["--rest-after", "25.7"], "needs both rest voltages"),
        ([*RESTS, "--current", "40"], "--current is of a bench discharge"),
        ([*RESTS, "--stopped-early"], "--stopped-early is of a bench discharge"),
        (["--load", "8"], "--load is of a connection"),
        (["--supply", "s.toml"], "--supply is of a connection"),
        (["--column", "A=supply_current_a:A"], "--column is of a connection"),
        (["--rest-voltage", "30", "--rest-after", "20"], "do not fit a battery"),
    ],
)
def test_options_that_do_not_go_together_are_one_line(capsys, taper, options, part):
    status, out, err = run(capsys, "capacity", taper, *BATTERY, *options)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert part in err


def test_without_a_log_it_says_what_is_missing(capsys):
    status, _, err = run(capsys, "capacity", *BATTERY, *RESTS)
    assert status == 2
    assert "needs LOG.csv" in err


def test_a_bench_log_is_no_connection(capsys):
    status, out, err = run(capsys, "capacity", BENCH, *BATTERY, *RESTS)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1


@pytest.fixture
def on_record(tmp_path, capsys, taper):
    """A record with the taper and its rest voltages; the options that name it."""
    database = ["--database", str(tmp_path / "record.sqlite")]
    bare = tmp_path / "bare.toml"
    bare.write_text('tail = "X"\nchemistry = "vrla"\ncells = 12\nrated_capacity_ah = 40.0\n')
    for words in (
        ("add", "aircraft", "HANGAR-1"),
        ("add", "battery", "B-1", bare, "--installed", "2024-01-05", "--aircraft", "HANGAR-1"),
        (
            "add",
            "connection",
            taper,
            "--serial",
            "B-1",
            *RESTS,
            "--load",
            "8",
            "--on",
            "2026-03-02",
        ),
    ):
        status, _, err = run(capsys, "record", *words, *database)
        assert status == 0, err
    return database


def test_the_record_tells_it_of_every_connection_with_both_rests(capsys, on_record):
    status, out, err = run(capsys, "record", "capacity", "B-1", *on_record)
    assert (status, err) == (0, "")
    assert "1 of 1 connection" in flat(out)
    assert "2026-03-02" in out
    found = json.loads(run(capsys, "record", "capacity", "B-1", *on_record, "--json")[1])
    (one,) = found["connections"]
    store = open_store(on_record[1])
    (entry,) = store.entries(Connection)
    assert (found["serial"], one["id"], one["why_not"]) == ("B-1", entry.id, None)
    interval = one["in_service"]["capacity_ah"]
    assert interval["low"] < 40.0 < interval["high"]
    assert f"{interval['low']:.0f} to" in out


@pytest.mark.long
def test_a_connection_that_tells_nothing_says_why(capsys, on_record):
    store = open_store(on_record[1])
    (entry,) = store.entries(Connection)
    battery: Battery = store.battery("B-1")
    volts = round(float(rest_voltage_v(battery, 0.95, 18.0)), 2)
    told = entry.record.model_copy(update={"rest_voltage_v": volts})
    store.correct(entry.id, told, "meter read wrongly")
    out = flat(run(capsys, "record", "capacity", "B-1", *on_record)[1])
    assert "0 of 1 connection" in out
    assert "too little to tell a capacity" in out
    found = json.loads(run(capsys, "record", "capacity", "B-1", *on_record, "--json")[1])
    assert found["connections"][0]["in_service"] is None


def test_a_battery_without_rests_is_told_how_they_come_into_the_record(capsys, on_record):
    store = open_store(on_record[1])
    (entry,) = store.entries(Connection)
    store.delete(entry.id, "by mistake")
    out = run(capsys, "record", "capacity", "B-1", *on_record)[1]
    assert "has a rest voltage before and after" in flat(out)
    assert run(capsys, "record", "capacity", "none", *on_record)[0] == 2


def test_a_supply_is_taken(capsys, taper, tmp_path):
    supply = tmp_path / "s.toml"
    supply.write_text("rated_current_a = 60.0\n")
    status, out, _ = run(
        capsys, "capacity", taper, *BATTERY, *RESTS, "--load", "8", "--supply", supply, "--json"
    )
    assert status == 0
    expected = in_service_capacity(
        taper,
        read_battery(TOML),
        Supply(rated_current_a=60.0),
        rest_before_v=24.84,
        rest_after_v=25.75,
        load_a=8.0,
    )
    assert json.loads(out)["capacity_ah"]["mean"] == expected.capacity_ah.mean
