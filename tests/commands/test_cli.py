"""The command line: readable text, one JSON object, and bad input as one line with exit 2."""

import json
import re
import subprocess
import sys

import pytest

from batterymodel.cli import main, parser
from batterymodel.samples.connections import SAMPLE_FOLDER

LOG = SAMPLE_FOLDER / "marked-load-steps.csv"
BATTERY = SAMPLE_FOLDER / "marked-load-steps.toml"
SUPPLY = SAMPLE_FOLDER / "supply.toml"
BASE = ["--battery", str(BATTERY), "--supply", str(SUPPLY), "--load", "8", "--on", "2026-03-02"]


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    return status, *capsys.readouterr()


def test_text_answers_first_and_cautions_last(capsys):
    status, out, err = run(capsys, "assess", LOG, *BASE)
    assert (status, err) == (0, "")
    assert out.startswith("Top off in place: ")
    headings = [line for line in out.splitlines() if line and not line.startswith(" ")]
    assert [h for h in ("Findings", "What to do next", "Cautions") if h in headings] == [
        "Findings", "What to do next", "Cautions",
    ]  # fmt: skip
    assert max(len(line) for line in out.splitlines()) <= 92
    for caution in ("maker's instructions govern", "explosive gas", "not for engine starting"):
        assert caution in re.sub(r"\s+", " ", out)


def test_generic_limits_are_marked_in_the_text(capsys, tmp_path):
    bare = tmp_path / "b.toml"
    bare.write_text('tail="D"\nchemistry="nicd"\ncells=20\nrated_capacity_ah=40.0\n')
    _, out, _ = run(capsys, "assess", LOG, "--battery", bare)
    assert "generic" in out
    assert "can run away" in re.sub(r"\s+", " ", out)


def test_json_is_one_object(capsys):
    status, out, err = run(capsys, "assess", LOG, *BASE, "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["outcome"] == "top_off"


def test_a_completed_taper_prints_its_history(capsys):
    key = "completed-taper"
    _, out, _ = run(
        capsys, "assess", SAMPLE_FOLDER / f"{key}.csv", "--battery", SAMPLE_FOLDER / f"{key}.toml"
    )
    assert "[history]" in out
    assert "charge_time_h = 0.3" in out


HEAD = "elapsed_s,supply_current_a\n"
BAD_LOGS = {
    "empty": "",
    "header only": HEAD,
    "text in a number column": HEAD + "0,20\n5,twenty\n10,18\n15,17\n",
    "negative time": HEAD + "-5,20\n0,19\n5,18\n10,17\n",
    "all zero": HEAD + "0,0\n5,0\n10,0\n15,0\n",
    "one row": HEAD + "0,20\n",
    "milliamperes": HEAD + "0,25000\n5,24000\n10,23500\n15,23000\n",
    "kiloamperes": HEAD + "0,0.025\n5,0.024\n10,0.0235\n15,0.023\n",
    "not a number": HEAD + "0,nan\n5,nan\n10,nan\n15,nan\n",
    "infinity": HEAD + "0,20\n5,inf\n10,18\n15,17\n",
    "milliseconds": HEAD + "".join(f"{k * 5_000_000},{20 - k}\n" for k in range(40)),
}


@pytest.mark.parametrize("name", BAD_LOGS)
def test_each_fault_of_bad_readings_is_one_line_and_exit_2(capsys, tmp_path, name):
    path = tmp_path / "log.csv"
    path.write_text(BAD_LOGS[name])
    status, out, err = run(capsys, "assess", path, *BASE)
    assert (status, out) == (2, "")
    assert 1 <= err.count("\n") <= 21
    assert all(re.match(r"batterymodel: \S+log\.csv: ", line) for line in err.splitlines())


@pytest.mark.long
def test_two_million_rows_are_one_line_and_exit_2(capsys, tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEAD + "".join(f"{k / 100},20\n" for k in range(2_000_000)))
    status, out, err = run(capsys, "assess", path, *BASE)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert re.search(r"1[ ,_]?000[ ,_]?000", err)


def test_unknown_toml_key_is_one_line_and_exit_2(capsys, tmp_path):
    path = tmp_path / "b.toml"
    path.write_text(BATTERY.read_text().replace("rated_capacity_ah", "rated_capacty_ah"))
    status, out, err = run(capsys, "assess", LOG, "--battery", path)
    assert (status, out) == (2, "")
    assert "unknown key 'rated_capacty_ah'" in err or "'rated_capacity_ah' is missing" in err
    assert err.count("\n") == 1


@pytest.mark.parametrize(
    "arguments",
    [
        [],
        ["assess"],
        ["assess", str(LOG)],
        ["assess", str(LOG), *BASE, "--load", "many"],
        ["assess", str(LOG), *BASE, "--on", "yesterday"],
        ["guess", str(LOG)],
    ],
)
def test_bad_arguments_are_one_line_and_exit_2(capsys, arguments):
    with pytest.raises(SystemExit) as stopped:
        main(arguments)
    assert stopped.value.code == 2
    assert capsys.readouterr().err.count("\n") == 1


def test_bad_values_are_one_line_and_exit_2(capsys):
    status, out, err = run(capsys, "assess", LOG, *BASE, "--rest-voltage", "2.1")
    assert (status, out) == (2, "")
    assert "rest voltage: 2.1 V cannot" in err
    status, out, err = run(capsys, "assess", LOG, *BASE, "--load-error", "1e-300")
    assert (status, out, err.count("\n")) == (2, "", 1)
    assert "error of the bus load: 0.01 to 100 A would be right" in err


@pytest.mark.long
def test_module_runs_as_a_command():
    arguments = [sys.executable, "-m", "batterymodel", "assess", str(LOG), *BASE, "--json"]
    done = subprocess.run(arguments, capture_output=True, text=True, check=False)
    assert done.returncode == 0
    assert json.loads(done.stdout)["outcome"] == "top_off"


def test_every_command_has_help(capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["assess", "--help"])
    assert stopped.value.code == 0
    assert "--rest-voltage" in capsys.readouterr().out
    assert "maker's instructions govern" in parser().format_help().replace("\n", " ")


def test_an_option_that_is_no_number_is_said_in_plain_words(capsys):
    with pytest.raises(SystemExit) as stopped:
        main(["assess", str(LOG), *BASE, "--rest-voltage", "abc"])
    assert stopped.value.code == 2
    assert "'abc' is not a number" in capsys.readouterr().err
