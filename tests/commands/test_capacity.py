"""The commands ``capacity`` and ``fade``: text, one JSON object, bad input as one line."""

import json
import re
from datetime import date, timedelta

import pytest

from batterymodel.cli import main
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.samples.discharges import CHECKS_FADING, DISCHARGE_PASSES, DISCHARGE_STOPPED

BATTERY = ["--battery", str(SAMPLE_FOLDER / "healthy-top-off.toml")]
WORN = ["--battery", str(SAMPLE_FOLDER / "worn-battery.toml")]
PASSES, STOPPED = SAMPLE_FOLDER / DISCHARGE_PASSES, SAMPLE_FOLDER / DISCHARGE_STOPPED
CHECKS = SAMPLE_FOLDER / CHECKS_FADING
BY_HAND = ["--current", "40", "--minutes", "50"]


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    return status, *capsys.readouterr()


def flat(text):
    return re.sub(r"\s+", " ", text)


def test_log_that_passes(capsys):
    status, out, err = run(capsys, "capacity", PASSES, *BATTERY, "--on", "2026-03-02")
    assert (status, err) == (0, "")
    assert out.startswith("Pass: ")
    assert "[capacity_check]" in out
    assert "on = 2026-03-02" in out
    assert max(len(line) for line in out.splitlines()) <= 92
    for part in ("IEEE 485", "maker's instructions govern", "DEMO-MM-1"):
        assert part in flat(out)


def test_log_that_stops_early(capsys):
    status, out, _ = run(capsys, "capacity", STOPPED, *BATTERY)
    assert status == 0
    assert out.startswith("Not finished: ")
    assert "at least" in out
    assert "[capacity_check]" not in out


def test_capacity_json_is_one_object(capsys):
    status, out, _ = run(capsys, "capacity", PASSES, *BATTERY, "--json")
    found = json.loads(out)
    assert status == 0
    assert found["verdict"] == "pass"
    assert found["percent_of_rated"]["low"] < found["percent_of_rated"]["mean"]
    assert {c["name"] for c in found["corrections"]} == {"discharge rate", "temperature"}
    assert found["limit"]["source"].startswith("Invented")


def test_capacity_by_hand(capsys):
    reached = run(capsys, "capacity", *BATTERY, *BY_HAND, "--end-voltage-reached", "--temp", "25")
    assert reached[0] == 0
    assert "83.3 %" in reached[1]
    _, out, _ = run(capsys, "capacity", *BATTERY, *BY_HAND, "--stopped-early", "--temp", "25")
    assert out.startswith("Not finished: ")


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        ([], "give LOG.csv"),
        (BY_HAND, "--end-voltage-reached or --stopped-early"),
        (["--current", "40", "--stopped-early"], "both --current and --minutes"),
        ([str(PASSES), *BY_HAND], "give either LOG.csv"),
        ([str(PASSES), "--stopped-early"], "give either LOG.csv"),
        (["no-such.csv"], "no such file"),
        ([*BY_HAND, "--stopped-early", "--temp", "400"], "temperature"),
        ([*BY_HAND, "--stopped-early", "--meter-error", "90"], "current meter"),
    ],
)
def test_bad_capacity_input_is_one_line_and_exit_2(capsys, arguments, part):
    status, out, err = run(capsys, "capacity", *BATTERY, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert part in err


def test_fade_text(capsys):
    status, out, err = run(capsys, "fade", CHECKS, *WORN, "--on", "2025-06-02")
    assert (status, err) == (0, "")
    assert "85 % of rated already" in flat(out)
    assert "Next capacity check 2025-" in flat(out)
    assert "2022-01-02" in out
    assert "Models of fade, by their share of the forecast" in out
    assert max(len(line) for line in out.splitlines()) <= 92


LAST_CHECK = CHECKS.read_text().split()[-1].split(",")[0]


@pytest.mark.parametrize(
    ("on", "said"),
    [
        ("2010-01-01", "--on 2010-01-01 is before the last check, of {last}; that day or a later"),
        ("{before}", "is before the last check"),
        ("{late}-01-01", "is more than 20 years after the last check, of {last}; a day up to "),
    ],
)
def test_a_day_that_the_checks_say_nothing_of_is_one_line(capsys, on, said):
    last = date.fromisoformat(LAST_CHECK)
    at = on.format(before=last - timedelta(days=1), late=last.year + 21)
    status, out, err = run(capsys, "fade", CHECKS, *WORN, "--on", at)
    assert (status, out) == (2, "")
    assert said.format(last=last) in err
    assert err.count("\n") == 1


def test_the_day_of_the_last_check_and_twenty_years_on_are_taken(capsys):
    last = date.fromisoformat(LAST_CHECK)
    for at in (last, date(last.year + 20, 12, 31)):
        assert run(capsys, "fade", CHECKS, *WORN, "--on", str(at))[0] == 0


@pytest.mark.parametrize("on", ["9999-12-31", "2200-01-01", "1899-12-31", "0001-01-01"])
@pytest.mark.parametrize("command", ["fade", "capacity"])
def test_a_day_of_another_age_is_one_line(capsys, command, on):
    with pytest.raises(SystemExit) as stopped:
        main([command, str(CHECKS), *map(str, WORN), "--on", on])
    assert stopped.value.code == 2
    err = capsys.readouterr().err
    assert f"'{on}' is no day from 1900 to 2199; one like 2026-03-02 would be right" in err
    assert err.count("\n") == 1


def test_fade_json_is_one_object(capsys):
    status, out, _ = run(capsys, "fade", CHECKS, *WORN, "--json")
    found = json.loads(out)
    assert status == 0
    assert found["crossing"]["level"] == 0.8
    assert found["crossing"]["low"] <= found["crossing"]["best"] <= found["crossing"]["high"]
    assert sum(model["after"] for model in found["models"]) == pytest.approx(1.0)
    assert found["limit"]["generic"] is False


def test_fade_marks_generic_limits(capsys):
    bare = ["--battery", str(SAMPLE_FOLDER / "no-card-no-load.toml")]
    _, out, _ = run(capsys, "fade", CHECKS, *bare)
    assert "generic" in out


def test_fade_by_cycles(capsys, tmp_path):
    path = tmp_path / "cycles.csv"
    rows = "".join(f"{k},{40.0 - 0.05 * k:.2f},0.3\n" for k in range(1, 120, 4))
    path.write_text("cycle,capacity_ah,capacity_sd_ah\n" + rows)
    status, out, _ = run(capsys, "fade", path, *WORN)
    assert status == 0
    assert "last cycle at or above 85 %" in out
    assert "a cycle" in out


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("", "is empty"),
        ("on,capacity_ah\n2024-01-01,40000\n", "milliampere-hours"),
        ("on,capacity_ah\nsoon,40\n", "is not a date"),
        ("on,capacity_ah,lower_bound\n2024-01-01,30,yes\n", "every check stopped early"),
    ],
)
def test_bad_fade_input_is_one_line_and_exit_2(capsys, tmp_path, text, part):
    path = tmp_path / "checks.csv"
    path.write_text(text)
    status, out, err = run(capsys, "fade", path, *WORN)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert "checks.csv" in err
    assert part in err
