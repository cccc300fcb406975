"""``record score`` and ``record add servicing`` at the command line."""

from __future__ import annotations

import json
import shutil

import pytest

from batterymodel.cli import main
from batterymodel.say.track_record import NOTHING_YET
from batterymodel.store.engine import URL_VARIABLE


@pytest.fixture
def run(demo_sqlite, tmp_path, monkeypatch, capsys):
    """Runs one deed on a copy of the demo record; gives what it said."""
    path = shutil.copy(demo_sqlite, tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, str(path))

    def said(*arguments, fails=False):
        status = main(["record", *arguments])
        out, err = capsys.readouterr()
        assert status == (2 if fails else 0), err
        return err if fails else out

    return said


def test_the_score_of_the_demo_record_in_text_and_json(run):
    text, found = run("score"), json.loads(run("score", "--json"))
    assert text.startswith(f"{found['all']['cases']} range")
    assert found["all"]["covered"] <= found["all"]["cases"] == len(found["ranges"])
    assert found["widening"]["vrla"]["factor"] == 1.0
    assert found["another_version"] is None
    assert found["verdicts"] == {"right": 0, "wrong": 0, "open": 0, "not_told": 0}


def test_an_empty_record_says_what_would_be_scored(run, tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "new.sqlite"))
    assert run("score").strip() == NOTHING_YET
    assert json.loads(run("score", "--json"))["all"] is None


def test_what_servicing_found_is_kept_once_and_scores_the_outcome(run):
    told = ("add", "servicing", "SF-101", "--capacity", "39", "--on", "2026-03-05")
    assert run(*told).startswith("confirmed: Servicing: capacity 39 Ah")
    assert run(*told).startswith("already in the record: Servicing")
    again = run(*told, "--measured-again")
    assert again.startswith("already in the record: Servicing")
    assert "the same finding of one day is kept once, measured again or not" in again
    assert "kept once" not in run(*told)
    assert "found 2026-03-05: capacity enough" in run("score")
    [case] = json.loads(run("score", "--json"))["outcomes"]
    assert (case["found"], case["found_on"]) == ("capacity_enough", "2026-03-05")
    assert "Servicing: capacity 39 Ah" in run("show", "SF-101")


def test_a_cell_and_nothing_wrong_stand_without_a_number(run):
    assert "Servicing: a faulty cell" in run("add", "servicing", "SF-103", "--faulty-cell")
    assert "Servicing: nothing wrong" in run("add", "servicing", "SF-103", "--nothing-wrong")


@pytest.mark.parametrize(
    ("told", "words"),
    [
        (("SF-999", "--faulty-cell"), "there is no battery 'SF-999'"),
        (("SF-101", "--faulty-cell", "--on", "2150-01-01"), "later than today"),
        (("SF-101", "--capacity", "-3"), "capacity_ah"),
        (("SF-101", "--capacity", "nan"), "capacity_ah"),
    ],
)
def test_what_cannot_be_is_one_line(run, told, words):
    said = run("add", "servicing", *told, fails=True)
    assert words in said
    assert said.count("\n") == 1
