"""``assess`` on other loggers' files: taken where sure, else asked for; each fault a line."""

import json
import re

import pytest

from batterymodel.cli import main
from batterymodel.inputs.readings import read_readings
from batterymodel.samples.connections import SAMPLE_FOLDER

KEY = "marked-load-steps"
OWN = SAMPLE_FOLDER / f"{KEY}.csv"
BASE = ["--battery", str(SAMPLE_FOLDER / f"{KEY}.toml"), "--load", "8", "--on", "2026-03-02"]


def run(capsys, *arguments):
    status = main([str(a) for a in arguments])
    return status, *capsys.readouterr()


def foreign_text(header="t [s];Amps;Volts;Battery temp [°F];Note", milli=1.0):
    readings = read_readings(OWN)
    events = {event.elapsed_s: event.text for event in readings.events}
    lines = [header]
    columns = (readings.elapsed_s, readings.supply_current_a, readings.supply_voltage_v)
    for s, a, v, c in zip(*map(list, (*columns, readings.battery_temp_c)), strict=True):
        cells = (f"{s:g}", f"{a * milli:.7g}", f"{v:.7g}", f"{1.8 * c + 32:.7g}", events.get(s, ""))
        lines.append(";".join(cell.replace(".", ",") for cell in cells[:4]) + ";" + cells[4])
    return "\n".join(lines) + "\n"


def test_a_foreign_log_is_assessed_as_the_same_readings(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(foreign_text(), encoding="utf-8")
    own = json.loads(run(capsys, "assess", OWN, *BASE, "--json")[1])
    foreign = json.loads(run(capsys, "assess", log, *BASE, "--json")[1])
    assert foreign.pop("notes")[0].startswith("columns: 't [s]' as time since the connection [s]")
    own.pop("notes")
    assert foreign == own


def test_the_text_begins_with_how_the_columns_were_taken(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(foreign_text(), encoding="utf-8")
    status, out, err = run(capsys, "assess", log, *BASE)
    assert (status, err) == (0, "")
    taken, report = out.split("\n\n", 1)
    assert re.sub(r"\s+", " ", taken) == (
        "Columns taken: 't [s]' as time since the connection [s], 'Amps' as supply current [A], "
        "'Volts' as supply voltage [V], 'Battery temp [°F]' as battery temperature [degF], 'Note' "
        "as events; decimals behind a comma."
    )
    assert report.startswith("Top off in place: ")
    assert not run(capsys, "assess", OWN, *BASE)[1].startswith("Columns")


def test_a_doubt_is_one_line_that_says_which_option_settles_it(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(foreign_text("t [s];Amps;Volts;Temp;Note"), encoding="utf-8")
    status, out, err = run(capsys, "assess", log, *BASE)
    assert (status, out) == (2, "")
    assert err == (
        f"batterymodel: {log}: 'Temp' as battery temperature [degC] is not sure (no unit: degC or "
        'degF); tell it with options like --column "Temp=battery_temp_c:degC" '
        "(columns: 't [s]', 'Amps', 'Volts', 'Temp', 'Note')\n"
    )
    status, out, _ = run(capsys, "assess", log, *BASE, "--column", "temp=battery_temp_c:degF")
    assert status == 0
    assert "'Temp' as battery temperature [degF]" in re.sub(r"\s+", " ", out)


def test_columns_without_known_words_are_told(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(foreign_text("X1;X2;X3;X4;X5", milli=1000.0), encoding="utf-8")
    status, _, err = run(capsys, "assess", log, *BASE)
    assert status == 2
    assert "no column is known as the time; no column is known as the supply current" in err
    assert '"HEADER=supply_current_a:A"' in err
    told = ["--column", "X1=elapsed_s", "--column", "X2=supply_current_a:mA"]
    assert run(capsys, "assess", log, *BASE, *told, "--decimal", ",")[0] == 0


def test_a_decimal_mark_in_doubt_is_asked_for(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("t [s];I (mA)\n0;250,500\n5;240,200\n10;230,100\n")
    status, _, err = run(capsys, "assess", log, *BASE)
    assert status == 2
    assert (
        "a comma may stand before decimals or thousands; tell it with options like --decimal" in err
    )
    assert run(capsys, "assess", log, *BASE, "--decimal", ".")[0] == 0


def test_every_fault_is_a_line(capsys, tmp_path):
    log = tmp_path / "log.csv"
    rows = "".join(f"{k};{'x' if k < 25 else 18.5};28\n" for k in range(70))
    log.write_text("t [s];Amps;Volts\n" + rows)
    status, out, err = run(capsys, "assess", log, *BASE)
    assert (status, out) == (2, "")
    lines = err.splitlines()
    assert len(lines) == 21
    assert lines[0].startswith(f"batterymodel: {log}: row 2, column 'Amps': 'x' is not a number")
    assert lines[-1] == f"batterymodel: {log}: and 5 more"


def test_a_slip_in_the_own_format_is_told_by_its_own_reader(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("elapsed_s,supply_curent_a\n0,20\n5,19\n10,18\n")
    status, _, err = run(capsys, "assess", log, *BASE)
    assert status == 2
    assert err.count("\n") == 1
    assert "name it 'supply_current_a'" in err


@pytest.mark.parametrize("wrong", ["Amps", "Amps=watts", "Amps=supply_current_a:V", "No=ignored"])
def test_a_wrong_column_option_is_one_line(capsys, tmp_path, wrong):
    log = tmp_path / "log.csv"
    log.write_text(foreign_text(), encoding="utf-8")
    status, out, err = run(capsys, "assess", log, *BASE, "--column", wrong)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
