"""A connection whose file cannot be read any more: a correction takes no answer from it."""

from __future__ import annotations

import json
from types import SimpleNamespace

import pytest

from batterymodel import InputError
from batterymodel.commands.record_work import correct_entry
from batterymodel.rules.results import Outcome, Severity
from batterymodel.rules.wording import OUTCOME_SIGNS, SEVERITY_SIGNS
from batterymodel.say.attention import outcome_remark
from batterymodel.store import intake
from batterymodel.store.as_of import _state_after
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import add_battery
from batterymodel.store.kinds import known_battery
from batterymodel.store.records import Connection, HistoryRevision, ServicingFound
from batterymodel.store.servicing import add_servicing
from batterymodel.store.track_record import track_record
from tests.store.test_former_plates import MISTYPED, connected, fleet_of
from tests.store.test_kinds import INSTALLED

RIGHT = MISTYPED.model_copy(update={"rated_capacity_ah": 40.0})


@pytest.fixture
def spoilt(sqlite_store, monkeypatch):
    """A battery after one connection that taught it, another of its kind, and no file to read."""
    fleet_of(sqlite_store, RIGHT)
    add_battery(sqlite_store, "B-2", RIGHT, INSTALLED)
    entry = connected(sqlite_store, 0)

    def none(data, file_name, column_map):
        raise InputError(f"{file_name}: row 3, not a number")

    monkeypatch.setattr(intake, "readings_from", none)
    assert taught(sqlite_store) == (1, True, 1)
    return sqlite_store, entry


def taught(store) -> tuple[int, bool, int]:
    """Histories of the battery, whether it teaches its kind, and scored answers."""
    histories = store.entries(HistoryRevision, battery_id=store.plate("B-1").id)
    record = track_record(store)
    scored = len(record.ranges) + record.unsure
    of_kind = known_battery(store, "B-2").kind is not None
    return len(histories), of_kind, scored


@pytest.mark.parametrize("change", [{"rest_after_v": 25.9}, {"file_name": "new.csv"}])
def test_an_answer_stays_with_all_it_taught_where_it_was_made_from_nothing_else(spoilt, change):
    store, before = spoilt
    after = corrected_entry(store, before.id, change, "a slip").record
    assert after.assessment == before.record.assessment
    assert after.answers == before.record.answers
    assert after.not_assessed is None
    assert taught(store) == (1, True, 1)


def test_an_answer_by_other_facts_stays_and_counts_for_nothing(spoilt):
    store, before = spoilt
    told = SimpleNamespace(id=before.id, changes=["load_a=12"], reason="a slip")
    said = correct_entry(store, told)
    after = store.entry(before.id).record
    assert after.assessment == before.record.assessment
    assert "not assessed anew: 0.csv: row 3, not a number" in after.not_assessed
    assert "as answered by what was told before" in said
    assert "as answered by what was told before" in outcome_remark(after).word
    assert taught(store) == (0, False, 0)
    assert _state_after(before.record) is not None
    assert _state_after(after) is None


@pytest.mark.parametrize(
    ("change", "answers"), [({"file_name": "new.csv"}, 1), ({"load_a": 12.0}, 0)]
)
def test_what_servicing_finds_judges_no_answer_by_other_facts(spoilt, change, answers):
    store, before = spoilt
    corrected_entry(store, before.id, change, "a slip")
    add_servicing(store, "B-1", ServicingFound.FAULTY_CELL, before.record.day)
    assert len(track_record(store).outcomes) == answers


def test_what_was_seen_by_other_facts_scores_no_answer_by_these(spoilt, monkeypatch):
    """Beside 12 A in place of 8 A the taper returned less: the first answer never spoke of that."""
    store, before = spoilt
    unreadable = intake.readings_from
    monkeypatch.undo()
    seen = corrected_entry(store, before.id, {"load_a": 12.0}, "a slip").record.seen_later
    assert seen is not None
    assert seen != before.record.seen_later
    monkeypatch.setattr(intake, "readings_from", unreadable)
    corrected_entry(store, before.id, {"load_a": 8.0}, "the slip was none")
    record = track_record(store)
    assert [case.truth for case in record.ranges] == []
    assert record.unsure == 0


@pytest.mark.parametrize("note", [None, "as answered by what was told before"])
@pytest.mark.parametrize("outcome", Outcome)
def test_an_answer_by_other_facts_calls_no_battery_fit_on_the_first_page(spoilt, outcome, note):
    _, entry = spoilt
    told = entry.record.model_dump() | {
        "assessment": json.dumps({"outcome": outcome}),
        "not_assessed": note,
    }
    remark = outcome_remark(Connection(**told))
    is_fit = outcome is Outcome.TOP_OFF and note is None
    assert (remark.severity is Severity.OK) == is_fit
    assert remark.sign == (
        SEVERITY_SIGNS[Severity.WATCH]
        if note and outcome is Outcome.TOP_OFF
        else OUTCOME_SIGNS[outcome]
    )


def test_an_answer_by_a_former_plate_does_not_become_one_by_this_plate(spoilt):
    store, before = spoilt
    corrected_entry(store, store.plate("B-1").id, {"rated_capacity_ah": "44"}, "misread")
    assert store.entry(before.id).record == before.record
    after = corrected_entry(store, before.id, {"rest_after_v": 25.9}, "a slip").record
    assert after.assessment == before.record.assessment
    assert "as answered by what was told before" in after.not_assessed


def test_the_answer_of_another_battery_does_not_move_along(spoilt):
    store, before = spoilt
    moved = {"battery_id": store.plate("B-2").id}
    after = corrected_entry(store, before.id, moved, "the other battery").record
    assert after.assessment is None
    assert after.not_assessed == "0.csv: row 3, not a number"


def test_an_answer_is_made_anew_once_its_file_can_be_read(spoilt, monkeypatch):
    store, before = spoilt
    corrected_entry(store, before.id, {"load_a": 12.0}, "a slip")
    monkeypatch.undo()
    corrected_entry(store, before.id, {"load_a": 8.0}, "the slip was none")
    (after,) = store.entries(Connection)
    assert after.record.assessment == before.record.assessment
    assert after.record.not_assessed is None
    assert taught(store) == (1, True, 1)
