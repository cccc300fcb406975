"""``report`` from files and from the record, and the cases behind it."""

import json
import shutil
from pathlib import Path

import pytest

from batterymodel.cli import main
from batterymodel.commands import report
from batterymodel.inputs.records import Limits
from batterymodel.rules.results import Outcome
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.samples.connections import SAMPLE_FOLDER, is_sample, load_scenario
from batterymodel.sheet.case import KIND, chosen_id, connections_of, recorded_case
from batterymodel.sheet.pdf import PAPERS
from batterymodel.sheet.wording import CHANGED, INVENTED
from batterymodel.store import Store, open_store
from batterymodel.store.records import CardRevision, Connection, OwnerSheet

LOG, BATTERY = SAMPLE_FOLDER / "healthy-top-off.csv", SAMPLE_FOLDER / "healthy-top-off.toml"
FILES = [str(LOG), "--battery", str(BATTERY), "--on", "2026-03-02"]


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, demo_sqlite: Path) -> Store:
    """An invented record of this module."""
    return open_store(shutil.copy(demo_sqlite, tmp_path_factory.mktemp("sheets")))


def run(capsys, *arguments):
    status = main([str(a) for a in ("report", *arguments)])
    return status, *capsys.readouterr()


def test_the_papers_to_choose_from_are_those_of_the_sheet():
    assert tuple(PAPERS) == report.PAPERS


@pytest.mark.long
def test_from_files_with_checks(capsys, tmp_path):
    checks = SAMPLE_FOLDER / "checks-fading.csv"
    to = tmp_path / "sheet.pdf"
    status, out, err = run(
        capsys, *FILES, "--load", 8, "--checks", checks, "--to", to, "--owner", "A. Owner",
        "--paper", "letter",
    )  # fmt: skip
    assert (status, err) == (0, "")
    assert out.strip() == f"wrote {to}"
    assert to.read_bytes().startswith(b"%PDF-")


def test_same_input_same_bytes(capsys, tmp_path):
    one, other = tmp_path / "one.pdf", tmp_path / "other.pdf"
    run(capsys, *FILES, "--to", one)
    run(capsys, *FILES, "--to", other)
    assert one.read_bytes() == other.read_bytes()


def test_from_the_record_and_kept_in_it(capsys, tmp_path, demo):
    to, place = tmp_path / "sheet.pdf", demo.where
    status, out, _ = run(
        capsys, "--serial", "SF-107", "--database", place, "--to", to, "--keep", "--owner", "A. O."
    )
    assert status == 0
    assert "confirmed: kept in the record" in out
    (sheet,) = demo.entries(OwnerSheet, connection_id=chosen_id(demo, "SF-107"))
    assert sheet.record.kind == KIND
    assert demo.file(sheet.record.content_sha256) == to.read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["--to", "x.pdf"], "give LOG.csv and --battery, or --serial"),
        ([str(LOG), "--to", "x.pdf"], "give LOG.csv and --battery, or --serial"),
        ([*FILES, "--keep", "--to", "x.pdf"], "give --serial"),
        ([*FILES, "--connection", "abc", "--to", "x.pdf"], "give --serial"),
        (["--serial", "S", "--rest-voltage", "25", "--to", "x.pdf"], "leave out --rest-voltage"),
        (["--serial", "S", str(LOG), "--to", "x.pdf"], "leave out LOG.csv"),
        ([*FILES, "--to", "/no/such/folder/x.pdf"], "cannot be written"),
        ([*FILES, "--owner", "x" * 61, "--to", "x.pdf"], "at most 60"),
    ],
)
def test_bad_input_is_one_line_and_exit_2(capsys, tmp_path, monkeypatch, arguments, said):
    monkeypatch.chdir(tmp_path)
    status, out, err = run(capsys, *arguments)
    assert (status, out) == (2, "")
    assert err.count("\n") == 1
    assert said in err
    assert not list(tmp_path.iterdir())


def test_unknown_battery_or_connection_is_one_line_and_exit_2(capsys, tmp_path, demo):
    for more, said in ((["NOPE"], "no battery 'NOPE'"), (["SF-103", "--connection", "x"], "'x'")):
        status, _, err = run(
            capsys, "--serial", *more, "--database", demo.where, "--to", tmp_path / "x.pdf"
        )
        assert status == 2
        assert said in err


def test_a_recorded_case_is_the_answer_on_record(demo):
    """Again from its kept readings, number by number."""
    (entry,) = connections_of(demo, "SF-107")
    case = recorded_case(demo, "SF-107", entry.id)
    assert json.loads(case.assessment.model_dump_json()) == entry.record.result
    assert case.remarks == (INVENTED,)
    assert case.on == entry.record.day


def test_latest_connection_and_forecast_are_taken(demo):
    case = recorded_case(demo, "SF-103")
    assert case.forecast is not None
    assert case.forecast.checks == 12
    assert case.on == max(entry.record.day for entry in connections_of(demo, "SF-103"))
    assert case.name == "SF-103, in DEMO-3"


def test_a_record_that_has_changed_since_is_said(demo):
    """A card told late, in force before the connection, that asks for nearly full: other answer."""
    plate = demo.plate("SF-110")
    entry = demo.entries(Connection, battery_id=plate.id)[-1]
    before = OUTCOME_WORDS[Outcome(entry.record.result["outcome"])]
    about = {"on": entry.record.day, "reason": "told late", "battery_id": plate.id}
    demo.add(CardRevision(limits=Limits(min_top_off_soc=0.99), **about))
    case = recorded_case(demo, "SF-110", entry.id)
    assert OUTCOME_WORDS[case.assessment.outcome] != before
    assert CHANGED.format(before=before) in case.remarks


def test_sheet_of_a_sample_battery_is_marked_as_invented():
    battery = load_scenario()[0][0].battery
    assert is_sample(battery)
    assert not is_sample(battery.model_copy(update={"tail": "OWN-1"}))
