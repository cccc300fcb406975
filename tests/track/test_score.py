"""What is counted: shares and errors by hand, verdicts, and cases that do not count."""

from datetime import date, timedelta

import pytest
from scipy.stats import beta

from batterymodel import Outcome
from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.track.kept import KeptAnswer, Spread
from batterymodel.track.score import (
    FAULT_RULES,
    LATEST,
    LEAST_SHOWN,
    Answered,
    Found,
    OutcomeCase,
    RangeCase,
    TruthFrom,
    Verdict,
    over_time,
    record_of,
    tallies,
    tally_of,
    verdict_of,
)

DAY = date(2026, 3, 2)
CHARGE = Spread(middle=4.0, low=2.0, high=8.0)


def answer(outcome=Outcome.KEEP_WATCHING, by="deep_discharge", widening=1.0, made_by="present"):
    return KeptAnswer(
        outcome=outcome,
        decided_by=by,
        until_s=300.0,
        soc_now=Spread(middle=0.9, low=0.8, high=1.0),
        charge_to_return_ah=CHARGE,
        widening=widening,
        made_by=ESTIMATE_VERSION if made_by == "present" else made_by,
    )


def case(truth, day=0, chemistry="vrla", sd=0.01, **of_answer):
    answered = Answered(
        f"c{day}", "b", chemistry, f"kind of {chemistry}", 40.0, DAY, answer(**of_answer)
    )
    on = DAY + timedelta(days=day)
    return RangeCase(answered, CHARGE, truth, sd, TruthFrom.TAPER, on, per_point=0.4)


def test_shares_and_errors_by_hand():
    """Truths 4, 5, 9 against 2 to 8 around 4: two held; errors 0, 2.5 and 12.5 points of 40 Ah."""
    tally = tally_of("all", [case(4.0), case(5.0), case(9.0)])
    assert (tally.cases, tally.covered) == (3, 2)
    assert (tally.error_points, tally.bias_points) == pytest.approx((2.5, -2.5))
    assert (tally.low, tally.high) == pytest.approx(tuple(beta(2.5, 1.5).ppf([0.05, 0.95])))
    assert tally_of("one", [case(4.0)]).high == 1.0


def test_a_range_is_held_as_it_was_shown():
    """Truth 9 needs 1.25 times the range; shown 1.3 times as wide it was held."""
    assert not case(9.0).is_covered
    assert case(9.0, widening=1.3).is_covered
    assert case(9.0, widening=1.3).needed == pytest.approx(1.25, abs=1e-3)


def test_answers_of_another_version_are_told_apart_and_do_not_widen():
    former = [case(20.0, k, made_by=v) for k, v in enumerate(["0", None] * 15)]
    record = record_of([*former, case(4.0, 40)], ())
    assert (len(record.present), len(record.former)) == (1, 30)
    assert record.widening("vrla").factor == 1.0
    assert record_of([case(20.0, k) for k in range(30)], ()).widening("vrla").factor > 2.0


def test_one_chemistry_does_not_widen_another():
    record = record_of([case(20.0, k) for k in range(30)], ())
    assert record.widening("vented_lead_acid").factor == 1.0


def test_a_truth_that_cannot_tell_is_counted_apart():
    record = record_of([case(4.0), case(4.0, sd=3.0)], ())
    assert (len(record.ranges), record.unsure) == (1, 1)


def test_groups_stand_by_how_many_there_are():
    cases = [case(4.0), case(4.0, chemistry="nicd"), case(9.0)]
    found = tallies(cases, lambda one: one.answered.kind)
    assert [(t.name, t.cases, t.covered) for t in found] == [
        ("kind of vrla", 2, 1),
        ("kind of nicd", 1, 1),
    ]


def test_coverage_over_time_counts_the_latest():
    """Twenty misses, then twenty hits, one a day: 0, a half in the middle, 1 at the end."""
    cases = [case(20.0 if k < LATEST else 4.0, k) for k in range(2 * LATEST)]
    moments = over_time(cases)
    assert moments[0].on == DAY + timedelta(days=LEAST_SHOWN - 1)
    by_day = {m.on: m.share for m in moments}
    assert by_day[DAY + timedelta(days=LATEST - 1)] == 0.0
    assert by_day[DAY + timedelta(days=LATEST + 9)] == 0.5
    assert moments[-1].share == 1.0
    assert over_time(cases[: LEAST_SHOWN - 1]) == ()


FAULT = min(FAULT_RULES)


@pytest.mark.parametrize(
    ("outcome", "by", "found", "verdict"),
    [
        (Outcome.TOP_OFF, "deep_discharge", Found.NOTHING_WRONG, Verdict.RIGHT),
        (Outcome.TOP_OFF, "deep_discharge", Found.ENOUGH, Verdict.RIGHT),
        (Outcome.TOP_OFF, "deep_discharge", Found.FAULTY_CELL, Verdict.WRONG),
        (Outcome.TOP_OFF, "deep_discharge", Found.LOW, Verdict.WRONG),
        (Outcome.SERVICE, FAULT, Found.NOTHING_WRONG, Verdict.WRONG),
        (Outcome.SERVICE, "deep_discharge", Found.NOTHING_WRONG, Verdict.NOT_TOLD),
        (Outcome.SERVICE, "deep_discharge", Found.LOW, Verdict.RIGHT),
        (Outcome.DISCONNECT, "current_rising", Found.FAULTY_CELL, Verdict.RIGHT),
        (Outcome.DISCONNECT, "battery_temperature", Found.ENOUGH, Verdict.NOT_TOLD),
        (Outcome.KEEP_WATCHING, FAULT, Found.FAULTY_CELL, Verdict.OPEN),
    ],
)
def test_what_a_find_says_of_an_outcome(outcome, by, found, verdict):
    assert verdict_of(answer(outcome, by), found) is verdict


def test_verdicts_are_counted():
    answered = Answered("c", "b", "vrla", "kind", 40.0, DAY, answer(Outcome.TOP_OFF))
    cases = [OutcomeCase(answered, found, DAY) for found in (Found.LOW, Found.ENOUGH, Found.LOW)]
    count = record_of((), cases).verdicts()
    assert (count[Verdict.WRONG], count[Verdict.RIGHT], count[Verdict.OPEN]) == (2, 1, 0)
