"""The invented connections: regenerated exactly, and each gets the outcome its story deserves."""

import json
import subprocess
import sys

import pytest

from batterymodel import read_battery
from batterymodel.samples.connections import (
    SAMPLE_FOLDER,
    SCENARIO_DAY,
    load_scenario,
    main,
    sample_readings_path,
    write_samples,
)
from tests.conftest import assessed_sample
from tests.sparing import sparing

SAMPLES, SUPPLY = load_scenario()


@pytest.mark.parametrize("sample", SAMPLES, ids=lambda s: s.key)
def test_outcome_deserved(sample):
    result = assessed_sample(sample.key)
    assert result.outcome.value == sample.deserves


@pytest.mark.parametrize("sample", sparing(SAMPLES), ids=lambda s: s.key)
def test_command_line_gives_the_same_outcome(sample, capsys):
    from batterymodel.cli import main as command_line

    arguments = [
        "assess", str(sample_readings_path(sample.key)),
        "--battery", str(SAMPLE_FOLDER / f"{sample.key}.toml"),
        "--supply", str(SAMPLE_FOLDER / "supply.toml"),
        "--on", SCENARIO_DAY.isoformat(), "--json",
    ]  # fmt: skip
    for flag, value in (
        ("--rest-voltage", sample.rest_voltage_v),
        ("--load", sample.load_a),
        ("--ambient", sample.ambient_c),
    ):
        arguments += [flag, str(value)] if value is not None else []
    assert command_line(arguments) == 0
    assert json.loads(capsys.readouterr().out)["outcome"] == sample.deserves


def test_the_scenario_covers_every_outcome_and_story():
    assert len(SAMPLES) >= 9
    assert {s.deserves for s in SAMPLES} == {"top_off", "keep_watching", "service", "disconnect"}
    assert all(s.battery.tail.startswith("DEMO-") for s in SAMPLES)


def test_sample_files_are_what_the_script_writes(tmp_path):
    write_samples(tmp_path)
    written = {p.name: p.read_bytes() for p in tmp_path.iterdir()}
    kept = {
        p.name: p.read_bytes() for p in SAMPLE_FOLDER.iterdir() if p.suffix in (".csv", ".toml")
    }
    assert written.keys() == kept.keys()
    assert [n for n in written if written[n] != kept[n]] == []


def test_script_says_what_it_wrote(tmp_path, capsys):
    assert main(["--to", str(tmp_path / "new")]) == 0
    assert "wrote 12 sample connections" in capsys.readouterr().out
    assert read_battery(tmp_path / "new" / "healthy-top-off.toml").tail == "DEMO-1"


def test_no_sample_folder_is_no_error(tmp_path):
    assert load_scenario(tmp_path)[0] == ()


def test_module_runs_as_a_command(tmp_path):
    run = subprocess.run(
        [sys.executable, "-m", "batterymodel.samples", "--to", str(tmp_path)],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert run.returncode == 0
    assert run.stderr == ""
