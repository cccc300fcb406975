"""Question, answers and consequences follow from the finding that decided, whatever it was."""

from __future__ import annotations

import re
from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as some

from batterymodel.basis.intervals import Interval
from batterymodel.rules.findings import RULES
from batterymodel.rules.results import (
    OUTCOME_OF_SEVERITY,
    Assessment,
    Finding,
    Outcome,
    Severity,
    StateOfCharge,
)
from batterymodel.rules.wording import RULE_WORDS, TEXTS
from batterymodel.sheet import consequences
from batterymodel.sheet.consequences import HALF, HALF_EMPTY, TOPPED_OFF, consequence_of, deciding
from tests.conftest import assessed_sample
from tests.sheet.cases import BY_KEY, KEYS, content_of

LEAD = BY_KEY["healthy-top-off"].battery
NICD = BY_KEY["rising-current-nicd"].battery
DECIDES = {Severity.WATCH, Severity.SERVICE, Severity.DISCONNECT}

SPEAKS_OF = {
    "warm": {"battery_temperature", "temperature_rise"},
    "cold": {"battery_temperature"},
    "voltage": {"set_voltage"},
    "less than is asked": {"capacity"},
    "went off": {"supply_trip"},
    "plate": {"rated_capacity"},
    "cell has failed": {"rest_voltage"},
}
"""Words of the question or its consequences, with the rules that may be behind them."""

STAYS_ON = re.compile(r"ground power (stay|be used)")
COMES_OFF = re.compile(r"taken off|off the supply")


def interval(low: float, mean: float, high: float) -> Interval:
    return Interval(mean=mean, low=low, high=high, level=0.9)


def decided_by(rule: str, severity: Severity, now: Interval | None = None) -> Assessment:
    """A sample's assessment as if this finding had decided it."""
    result = assessed_sample("deeply-discharged")
    found = Finding(rule=rule, severity=severity, text="It was seen.")
    soc = result.state_of_charge
    return result.model_copy(
        update={
            "outcome": OUTCOME_OF_SEVERITY[severity],
            "findings": (found, *(f for f in result.findings if f.severity not in DECIDES)),
            "state_of_charge": StateOfCharge(at_connection=soc.at_connection, now=now or soc.now),
        }
    )


def topped_off(minutes: float, now: Interval) -> Assessment:
    result = assessed_sample("healthy-top-off")
    return result.model_copy(
        update={
            "minutes_to_top_off": interval(0.0, minutes, 2.0 * minutes),
            "state_of_charge": StateOfCharge(at_connection=now, now=now),
        }
    )


def said_of(assessment: Assessment, battery=LEAD) -> str:
    found = consequence_of(assessment, battery)
    return " ".join((found.asked, *found.choices, *found.nothing))


@pytest.mark.parametrize(("rule", "severity"), [*product(RULE_WORDS, sorted(DECIDES))])
def test_no_question_assumes_another_outcome_and_no_sentence_another_finding(rule, severity):
    """Power stays on only while the battery is watched, and comes off only where it must."""
    found = consequence_of(decided_by(rule, severity), LEAD)
    assert len(found.choices) >= 2
    assert found.nothing
    assert found.asked.endswith("?")
    watching = severity is Severity.WATCH
    assert bool(STAYS_ON.search(found.asked)) == watching
    assert bool(COMES_OFF.search(found.asked)) == (not watching)
    assert "stops falling" not in found.asked
    said = " ".join((found.asked, *found.choices, *found.nothing))
    for words, rules in SPEAKS_OF.items():
        assert words not in said or rule in rules, words


def rules_that_send_for_service() -> set[str]:
    """Rules with a sentence for service, or for a battery that is low, cold or too highly fed."""
    named = {key.split(".")[0] for key in TEXTS if ".service" in key or key.endswith(".cold")}
    return named | {"set_voltage"}


@pytest.mark.parametrize("rule", sorted(rules_that_send_for_service()))
def test_every_rule_that_sends_for_service_has_a_consequence_of_its_own(rule):
    """All but a battery that is too far down, of which the supply's own sentence is true."""
    own = (Outcome.SERVICE, rule) in consequences._NOTHING
    assert own != (rule in {"deep_discharge", "supply_at_limit"})


def test_every_rule_named_here_is_a_rule():
    names = {rule.__name__ for rule in RULES}
    told = {*consequences._ASKED, *consequences._CHOICES, *consequences._NOTHING}
    assert {rule for _, rule in told} <= names | {TOPPED_OFF}


@given(some.floats(0.0, 120.0), some.floats(0.5, 1.0))
def test_a_battery_that_is_full_is_not_said_to_fill_on(minutes, mean):
    """And one that is not full is not said to be done."""
    now = interval(0.9 * mean, mean, 1.0)
    assessment = topped_off(minutes, now)
    said = said_of(assessment)
    full = minutes < 1.0
    assert assessment.is_topped_off == full
    assert deciding(assessment) == (TOPPED_OFF if full else "")
    assert ("stops falling" in said) == (not full)
    assert ("topped off later" in said) == (not full)
    assert ("no longer needs it" in said) == full


@given(
    some.floats(0.0, 1.0),
    some.floats(0.0, 1.0),
    some.sampled_from([LEAD, NICD]),
    some.sampled_from(sorted(DECIDES)),
)
def test_half_empty_is_said_only_of_a_lead_battery_that_is_or_may_be(low, by, battery, severity):
    mean = low + by * (1.0 - low)
    rule = "deep_discharge" if severity is not Severity.DISCONNECT else "current_rising"
    said = said_of(decided_by(rule, severity, interval(low, mean, 1.0)), battery)
    may_be = low <= HALF and battery is LEAD and severity is not Severity.DISCONNECT
    assert (HALF_EMPTY in said) == may_be
    assert ("may hold as little" in said) == (may_be and mean > HALF)


@pytest.mark.parametrize(("low", "said"), [(0.49, True), (0.5, True), (0.51, False), (0.94, False)])
def test_half_empty_is_half_empty(low, said):
    """Half is one half: what the words say, not a limit of ours."""
    text = said_of(decided_by("deep_discharge", Severity.SERVICE, interval(low, 0.95, 1.0)))
    assert (HALF_EMPTY in text) == said


@pytest.mark.parametrize(("mean", "may_be"), [(0.47, False), (0.5, False), (0.51, True)])
def test_a_battery_half_empty_by_its_best_value_is_not_said_to_be_so_at_worst(mean, may_be):
    text = said_of(decided_by("deep_discharge", Severity.SERVICE, interval(0.2, mean, 0.9)))
    assert HALF_EMPTY in text
    assert ("may hold as little" in text) == may_be


@pytest.mark.parametrize(("minutes", "full"), [(0.99, True), (1.0, False)])
def test_topping_off_is_done_below_one_minute(minutes, full):
    assert topped_off(minutes, interval(0.9, 0.95, 1.0)).is_topped_off == full


@pytest.mark.long
@pytest.mark.parametrize("key", KEYS)
def test_the_sheets_of_the_samples_say_what_their_finding_says(key):
    result, made = assessed_sample(key), content_of(key)
    found = consequence_of(result, BY_KEY[key].battery)
    assert made.section("asked").sentences == (found.asked,)
    assert made.section("asked").choices == found.choices
    assert made.section("nothing").sentences == found.nothing


def test_a_full_battery_is_not_said_to_be_topped_off_still():
    done, on_the_way = content_of("completed-taper"), content_of("healthy-top-off")
    assert done.meaning.startswith("The supply has topped off")
    assert on_the_way.meaning.startswith("The supply is only topping off")
