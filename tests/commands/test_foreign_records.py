"""``report`` and ``record add connection`` on other loggers' files, and columns remembered."""

import pytest

from batterymodel.cli import main
from batterymodel.inputs.column_map import Quantity
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.store import open_store
from batterymodel.store.archive import export_zip
from batterymodel.store.records import Connection
from batterymodel.store.told_readings import readings_of
from batterymodel.store.zip_import import import_zip
from tests.commands.test_foreign_logs import KEY, OWN, foreign_text

BATTERY = SAMPLE_FOLDER / f"{KEY}.toml"
UNSURE = "t [s];Amps;Volts;Temp;Note"
TOLD = ("--column", "Temp=battery_temp_c:degF")


@pytest.fixture
def fleet(capsys, new_sqlite, monkeypatch):
    """Runs one command on a record with one battery; gives its status, output and errors."""
    monkeypatch.setenv("BATTERYMODEL_DATABASE_URL", str(new_sqlite("record")))

    def run(*arguments):
        status = main(list(map(str, arguments)))
        return status, *capsys.readouterr()

    run("record", "add", "aircraft", "DEMO-1")
    more = ("--installed", "2024-01-05", "--aircraft", "DEMO-1")
    run("record", "add", "battery", "B-1", BATTERY, *more)
    return run


def written(path, header=UNSURE, milli=1.0):
    path.write_text(foreign_text(header, milli), encoding="utf-8")
    return path


def add(fleet, log, *more):
    told = ("--serial", "B-1", "--on", "2026-03-02", "--load", "8")
    return fleet("record", "add", "connection", log, *told, *more)


def the_connection():
    [entry] = open_store().entries(Connection)
    return entry.record


@pytest.mark.long
def test_report_takes_a_foreign_log_and_says_how(capsys, tmp_path):
    log, to = written(tmp_path / "log.csv"), tmp_path / "sheet.pdf"
    files = [str(log), "--battery", str(BATTERY), "--on", "2026-03-02", "--to", str(to)]
    assert main(["report", *files]) == 2
    assert '--column "Temp=battery_temp_c:degC"' in capsys.readouterr().err
    assert not to.exists()
    assert main(["report", *files, *TOLD]) == 0
    out = " ".join(capsys.readouterr().out.split())
    assert out.startswith("Columns taken: 't [s]' as time since the connection [s]")
    assert "'Temp' as battery temperature [degF]" in out
    assert out.endswith(f"wrote {to}")
    assert to.read_bytes().startswith(b"%PDF-")


@pytest.mark.long
def test_the_sheet_of_a_foreign_log_is_that_of_the_same_readings(capsys, tmp_path):
    log = written(tmp_path / "log.csv")
    sheets = []
    for name, path, told in (("own", OWN, ()), ("foreign", log, TOLD)):
        sheets.append(tmp_path / f"{name}.pdf")
        files = [str(path), "--battery", str(BATTERY), "--on", "2026-03-02"]
        assert main(["report", *files, "--to", str(sheets[-1]), *told]) == 0
    assert sheets[0].read_bytes() == sheets[1].read_bytes()


def test_report_from_the_record_refuses_columns(capsys, tmp_path):
    status = main(["report", "--serial", "B-1", "--to", str(tmp_path / "s.pdf"), *TOLD])
    assert status == 2
    assert "leave out --column" in capsys.readouterr().err


def test_a_foreign_log_goes_into_the_record_as_it_is_with_its_columns(fleet, tmp_path):
    log = written(tmp_path / "log.csv")
    status, out, err = add(fleet, log)
    assert (status, out) == (2, "")
    assert "'Temp' as battery temperature [degC] is not sure" in err
    assert not open_store().entries(Connection)
    status, out, err = add(fleet, log, *TOLD)
    assert (status, err) == (0, "")
    assert "'Temp' as battery temperature [degF]" in " ".join(out.split())
    kept, store = the_connection(), open_store()
    assert store.file(kept.readings_sha256) == log.read_bytes()
    assert kept.assessment is not None
    taken = {column.header: column.quantity for column in kept.column_map.columns}
    assert taken["Temp"] is Quantity.BATTERY_TEMP
    assert 15.0 < float(readings_of(store, kept).battery_temp_c[0]) < 25.0


@pytest.mark.long
def test_told_columns_are_remembered_for_the_next_file_of_the_logger(fleet, tmp_path):
    add(fleet, written(tmp_path / "log.csv"), *TOLD)
    other = written(tmp_path / "later.csv", UNSURE.replace("Temp", "TEMP "))
    other.write_text(other.read_text(encoding="utf-8") + "999;8,1;28;70;\n", encoding="utf-8")
    status, out, err = add(fleet, other)
    assert (status, err) == (0, "")
    assert "'TEMP' as battery temperature [degF]" in " ".join(out.split())


@pytest.mark.long
def test_a_wrong_unit_can_be_taken_back(fleet, tmp_path):
    log = written(tmp_path / "log.csv")
    wrong = ("--column", "Temp=battery_temp_c:degC")
    add(fleet, log, *wrong)
    status, _, err = add(fleet, log, *TOLD)
    assert status == 2
    assert "its columns taken otherwise" in err
    assert err.count("\n") == 1
    [entry] = open_store().entries(Connection)
    assert fleet("record", "delete", entry.id, "--reason", "degrees Fahrenheit", "--yes")[0] == 0
    assert add(fleet, log, *TOLD)[0] == 0
    temps_c = readings_of(open_store(), the_connection()).battery_temp_c
    assert 15.0 < float(temps_c[0]) < 25.0
    later = written(tmp_path / "later.csv", UNSURE.replace("Temp", "temp"))
    later.write_text(later.read_text(encoding="utf-8") + "999;8,1;28;70;\n", encoding="utf-8")
    assert "'temp' as battery temperature [degF]" in " ".join(add(fleet, later)[1].split())


def test_another_record_reads_the_foreign_file_after_an_import(fleet, tmp_path, new_sqlite):
    add(fleet, written(tmp_path / "log.csv"), *TOLD)
    export_zip(open_store(), tmp_path / "all.zip")
    other = open_store(new_sqlite("other"))
    import_zip(other, tmp_path / "all.zip")
    [entry] = other.entries(Connection)
    assert entry.record == the_connection()
    assert float(readings_of(other, entry.record).battery_temp_c[0]) < 25.0


def test_a_foreign_log_with_faults_is_kept_with_them(fleet, tmp_path):
    log = written(tmp_path / "log.csv")
    lines = log.read_text(encoding="utf-8").splitlines()
    lines[3] = lines[3].replace(";", ";x", 1)
    log.write_text("\n".join(lines), encoding="utf-8")
    status, out, _ = add(fleet, log, *TOLD)
    assert status == 0
    assert "not assessed (log.csv: row 4, column 'Amps'" in out


def test_columns_that_do_not_fit_keep_nothing(fleet, tmp_path):
    status, _, err = add(fleet, written(tmp_path / "log.csv"), "--column", "Other=load_a")
    assert status == 2
    assert "'Other' is no column of the table" in err
    assert not open_store().entries(Connection)
