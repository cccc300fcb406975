"""What the record holds of a battery after an answer, as the score takes it."""

import json
from datetime import datetime, timedelta
from types import SimpleNamespace

import pytest

from batterymodel import Outcome
from batterymodel.say.track_record import outcome_lines, outcome_sentences, score_json
from batterymodel.store import track_record as module
from batterymodel.store.intake import Told, add_battery, add_check, add_connection
from batterymodel.store.kept_answers import _rested
from batterymodel.store.records import BenchCheck, Move, ServicingFound
from batterymodel.store.servicing import add_servicing
from batterymodel.store.track_record import track_record
from batterymodel.track.score import Found, TruthFrom, Verdict
from tests.conftest import simulated_connection
from tests.soc.test_kinds import taper
from tests.store.cases import BARE, DAY
from tests.store.test_track_record import NEW, cases_at_rest, csv_of, fleet, taken

__all__ = ["fleet"]


@pytest.fixture
def left(fleet, monkeypatch):
    """A battery whose only answer was to top it off in place."""
    real = module._answered

    def topped_off(one, plate, answer):
        return real(one, plate, answer.model_copy(update={"outcome": Outcome.TOP_OFF}))

    monkeypatch.setattr(module, "_answered", topped_off)
    taken(fleet, minutes=10.0)
    return fleet


def checked(store, capacity_ah, day, **more):
    about = {"battery_id": store.plate("B-1").id, "capacity_sd_ah": 0.5, **more}
    on = DAY + timedelta(days=day)
    return add_check(store, BenchCheck(on=on, capacity_ah=capacity_ah, **about)).entry


def serviced(store, found, day, capacity_ah=None):
    return add_servicing(store, "B-1", found, DAY + timedelta(days=day), capacity_ah)


def verdicts(store):
    return [(case.verdict, case.found) for case in track_record(store).outcomes]


WRONG_BY_LOW, WRONG_BY_CELL = (Verdict.WRONG, Found.LOW), (Verdict.WRONG, Found.FAULTY_CELL)


def test_a_servicing_does_not_turn_a_check_of_half_a_battery_right(left):
    checked(left, 20.0, 1)
    assert verdicts(left) == [WRONG_BY_LOW]
    serviced(left, ServicingFound.NOTHING_WRONG, 3)
    assert verdicts(left) == [WRONG_BY_LOW]
    record = track_record(left)
    assert outcome_lines(record)[0].endswith(
        "found 2026-03-03: capacity too low (wrong); contradicted by 2026-03-05: nothing wrong"
    )
    assert outcome_sentences(record)[0].endswith("In 1 of them, finds contradict each other.")
    [case] = json.loads(score_json(record))["outcomes"]
    assert case["contradicted_by"] == [{"found": "nothing_wrong", "found_on": "2026-03-05"}]


def test_a_faulty_cell_found_later_makes_it_wrong(left):
    serviced(left, ServicingFound.NOTHING_WRONG, 3)
    assert verdicts(left) == [(Verdict.RIGHT, Found.NOTHING_WRONG)]
    assert "contradict" not in outcome_sentences(track_record(left))[0]
    serviced(left, ServicingFound.FAULTY_CELL, 4)
    assert verdicts(left) == [WRONG_BY_CELL]


@pytest.mark.parametrize("capacities", [(40.0, 20.0), (20.0, 40.0)])
def test_of_checks_of_one_day_the_least_counts(left, capacities):
    for capacity_ah in capacities:
        checked(left, capacity_ah, 1)
    assert verdicts(left) == [WRONG_BY_LOW]


def test_the_least_of_a_day_counts_for_a_battery_that_was_sent_away_too(left, monkeypatch):
    real = module.outcome_case
    sent = {"outcome": Outcome.SERVICE, "decided_by": "capacity"}

    def sent_away(answered, finds):
        answer = answered.answer.model_copy(update=sent)
        return real(module.replace(answered, answer=answer), finds)

    monkeypatch.setattr(module, "outcome_case", sent_away)
    serviced(left, ServicingFound.CAPACITY, 1, 40.0)
    assert verdicts(left) == [(Verdict.WRONG, Found.ENOUGH)]
    checked(left, 20.0, 1)
    assert verdicts(left) == [(Verdict.RIGHT, Found.LOW)]


def test_a_check_stopped_early_counts_only_where_none_of_its_day_ran_to_its_end(left):
    """At least 33 Ah is enough; of the same day 20 Ah to the end is not."""
    checked(left, 33.0, 1, is_lower_bound=True)
    assert verdicts(left) == [(Verdict.RIGHT, Found.ENOUGH)]
    checked(left, 20.0, 1)
    assert verdicts(left) == [WRONG_BY_LOW]


@pytest.mark.parametrize(
    "told", [{"capacity_ah": 40.0}, {"capacity_ah": 33.0, "is_lower_bound": True}]
)
def test_a_capacity_at_the_limit_is_no_better_for_a_higher_one_of_its_day(left, told):
    """32 Ah with an error of 0.5 Ah is on neither side of 80 %: no other of that day tells."""
    checked(left, 32.0, 1)
    checked(left, day=1, **told)
    assert verdicts(left) == []
    checked(left, day=9, **told)
    assert verdicts(left) == [(Verdict.RIGHT, Found.ENOUGH)]


def test_a_check_stopped_early_below_the_limit_outranks_nothing(left):
    checked(left, 25.0, 1, is_lower_bound=True)
    serviced(left, ServicingFound.NOTHING_WRONG, 3)
    assert verdicts(left) == [(Verdict.RIGHT, Found.NOTHING_WRONG)]


def test_a_find_of_the_same_day_written_after_the_answer_scores_it(left):
    serviced(left, ServicingFound.FAULTY_CELL, 0)
    assert verdicts(left) == [WRONG_BY_CELL]


def test_one_file_of_several_batteries_scores_once(fleet):
    """Entered for B-2 too: the first of both alone is scored, by its range and its outcome."""
    other = add_battery(fleet, "B-2", BARE, NEW).id
    aircraft = fleet.aircraft("DEMO-1").id
    fleet.add(Move(battery_id=other, on=NEW, aircraft_id=aircraft, reason="new"))
    first = taken(fleet).entry
    data, told = fleet.file(first.record.readings_sha256), Told(on=DAY, load_a=8.0)
    again = add_connection(fleet, "B-2", data, "again.csv", told)
    assert first.id in again.elsewhere
    assert [one.answered.connection_id for one in track_record(fleet).ranges] == [first.id]
    add_servicing(fleet, "B-2", ServicingFound.FAULTY_CELL, DAY + timedelta(days=1))
    assert track_record(fleet).outcomes == ()
    fleet.delete(first.id, "read on the other battery")
    assert [one.answered.connection_id for one in track_record(fleet).ranges] == [again.entry.id]
    assert len(track_record(fleet).outcomes) == 1


def test_a_truth_counts_from_the_day_after_it_was_known(fleet):
    taken(fleet)
    assert track_record(fleet, before=DAY).ranges == ()
    assert len(track_record(fleet, before=DAY + timedelta(days=1)).ranges) == 1


def test_of_two_files_of_one_connection_the_longer_tells_the_truth_and_one_rest_counts(fleet):
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    lines = csv_of(readings, datetime(2026, 3, 2, 7, 43)).split(b"\n")
    told = Told(on=DAY, load_a=8.0, rest_after_v=25.9)
    entries = [
        add_connection(fleet, "B-1", b"\n".join(lines[:count]), f"{count}.csv", told).entry
        for count in (231, 242, 236)
    ]
    ends = [entry.record.seen_later.returned.charge_ah for entry in entries]
    assert len(set(ends)) == 3
    [case] = [c for c in track_record(fleet).ranges if c.truth_from is TruthFrom.TAPER]
    assert case.truth == ends[1]
    assert len(cases_at_rest(fleet)) == 1


@pytest.mark.parametrize(("left_over", "is_scored"), [(0.1, True), (0.11, False)])
def test_a_rest_voltage_scores_where_the_battery_was_nearly_full(fleet, left_over, is_scored):
    connection = taken(fleet, rest_after_v=25.9).entry.record
    result = SimpleNamespace(taper_lesson=taper(left=left_over))
    assert (_rested(connection, BARE, result) is not None) is is_scored
