"""Several finds after one answer: which of them judges it."""

from datetime import timedelta
from itertools import permutations

import pytest

from batterymodel import Outcome
from batterymodel.track.finds import outcome_case
from batterymodel.track.score import FAULT_RULES, Answered, Find, Found, Verdict
from tests.track.test_score import DAY, answer

SENT, LEFT = Outcome.SERVICE, Outcome.TOP_OFF
CELL, NOTHING, LOW, ENOUGH = Found.FAULTY_CELL, Found.NOTHING_WRONG, Found.LOW, Found.ENOUGH


def find(found, day, **more):
    measured = found in (LOW, ENOUGH, None)
    return Find(found, DAY + timedelta(days=day), is_measured=measured, **more)


def judged(outcome, *finds):
    """The same whatever the order they stand in."""
    given = answer(outcome, min(FAULT_RULES))
    answered = Answered("c", "b", "vrla", "kind", 40.0, DAY, given)
    [case] = {outcome_case(answered, every) for every in permutations(finds)}
    return case


@pytest.mark.parametrize(
    ("outcome", "finds", "verdict", "found"),
    [
        (LEFT, [(LOW, 1), (NOTHING, 3)], Verdict.WRONG, LOW),
        (LEFT, [(NOTHING, 3), (CELL, 4)], Verdict.WRONG, CELL),
        (LEFT, [(ENOUGH, 1), (CELL, 2)], Verdict.WRONG, CELL),
        (LEFT, [(NOTHING, 1), (ENOUGH, 2)], Verdict.RIGHT, ENOUGH),
        (LEFT, [(CELL, 1), (LOW, 3)], Verdict.WRONG, LOW),
        (SENT, [(NOTHING, 1), (LOW, 3)], Verdict.RIGHT, LOW),
        (SENT, [(NOTHING, 1), (ENOUGH, 3)], Verdict.WRONG, ENOUGH),
        (SENT, [(NOTHING, 1), (CELL, 3)], Verdict.WRONG, NOTHING),
        (SENT, [(ENOUGH, 1), (LOW, 3)], Verdict.WRONG, ENOUGH),
    ],
)
def test_a_find_against_the_answer_judges_it(outcome, finds, verdict, found):
    case = judged(outcome, *(find(*one) for one in finds))
    assert (case.verdict, case.found) == (verdict, found)


@pytest.mark.parametrize("days", [0, 20])
@pytest.mark.parametrize("sound", [NOTHING, ENOUGH])
def test_a_battery_that_was_mended_does_not_make_it_wrong_to_send_it_away(sound, days):
    case = judged(SENT, find(CELL, 2), find(sound, 2 + days))
    assert (case.verdict, case.found) == (Verdict.RIGHT, CELL)
    assert [one.found for one in case.opposite] == [sound]


def test_finds_that_say_the_opposite_are_named_in_order_of_their_days():
    case = judged(LEFT, find(NOTHING, 5), find(LOW, 1), find(ENOUGH, 3), find(CELL, 2))
    assert [one.found for one in case.opposite] == [ENOUGH, NOTHING]
    assert judged(LEFT, find(LOW, 1), find(CELL, 2)).opposite == ()


def test_a_lower_capacity_of_the_day_stands_for_the_others():
    case = judged(SENT, find(LOW, 1), find(ENOUGH, 1, counts=False))
    assert (case.verdict, case.found) == (Verdict.RIGHT, LOW)
    assert [one.found for one in case.opposite] == [ENOUGH]
    assert judged(SENT, find(ENOUGH, 1, counts=False)) is None


def test_a_capacity_near_the_limit_tells_nothing_and_outranks_that_nothing_was_wrong():
    assert judged(LEFT, find(None, 1)) is None
    assert judged(LEFT, find(None, 1), find(NOTHING, 2)) is None
    case = judged(LEFT, find(None, 1), find(CELL, 2), find(NOTHING, 3))
    assert (case.found, [one.found for one in case.opposite]) == (CELL, [NOTHING])


def test_an_answer_that_had_not_decided_stays_open():
    case = judged(Outcome.KEEP_WATCHING, find(LOW, 1), find(NOTHING, 2))
    assert (case.verdict, case.found) == (Verdict.OPEN, LOW)
