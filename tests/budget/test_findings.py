"""Each rule fires on its story and stays quiet beside it."""

import pytest

from batterymodel import Outcome, Severity, Supply
from batterymodel.budget.findings import RULES
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Verdict
from batterymodel.budget.wording import CHECK_WORDS, RULE_WORDS, TEXTS, VERDICT_SIGNS, VERDICT_WORDS
from batterymodel.inputs.load_plan import Task
from batterymodel.inputs.records import Cable
from tests.budget.plans import AIRCRAFT, ON_15_A, PLAIN, consumer, drawing

SMALL = Supply(rated_current_a=15.0)
WARM = Supply(rated_current_a=60.0, rated_at_c=40.0)
THIN = Supply(rated_current_a=60.0, cable=Cable(length_m=20.0, area_mm2=4.0))
GUESSED = Supply(rated_current_a=60.0, input_voltage_v=120.0, circuit_breaker_a=15.0)
DRAW = drawing(6.0)


def found(rule, supply=PLAIN, battery=DRAW, task="Update databases", loads=AIRCRAFT, **told):
    """The finding of a rule; None where it does not speak."""
    result = budget(loads, task, supply, battery, **told)
    named = [finding for finding in result.findings if finding.rule == rule]
    assert len(named) <= 1
    return named[0] if named else None


def test_the_load_is_held_against_the_tightest_limit():
    fits, over = found("output_limit"), found("output_limit", SMALL)
    assert (fits.severity, over.severity) == (Severity.OK, Severity.WATCH)
    assert (fits.limit, fits.unit, fits.source) == (60.0, "A", "the supply's plate")
    assert fits.value == pytest.approx(38.0 + 6.0 + 1.645, abs=1e-3)
    assert "draws 44 A" in fits.text
    assert "14 A below the 60 A of the supply rating" in fits.text
    assert "2.7 A over the 15 A" in over.text


def test_a_limit_that_is_no_plates_must_be_confirmed():
    told = found("limit_unconfirmed", GUESSED)
    assert (told.severity, told.generic) == (Severity.WATCH, True)
    assert "estimated" in told.source
    assert found("limit_unconfirmed", ON_15_A) is None
    assert found("limit_unconfirmed", ON_15_A, drawing(2.0), "Panel training").generic


def test_a_short_task_hears_what_three_hours_would_do():
    """38 + 6 + 1.6 A are more than the 41.1 A over hours and less than the 51.4 A before."""
    told = found("over_hours", ON_15_A)
    assert told.severity is Severity.NOTE
    assert told.generic
    assert "from memory" in told.source
    assert "carries 41 A" in told.text
    assert found("over_hours", ON_15_A, drawing(1.0)) is None
    assert found("over_hours", ON_15_A, drawing(4.0), "Panel training") is None


def test_what_is_left_off_for_want_of_room_comes_before_what_nobody_asked_for():
    assert found("left_off", ON_15_A, drawing(13.0)).severity is Severity.WATCH
    assert "no room for Blower" in found("left_off", ON_15_A, drawing(13.0)).text
    assert found("left_off").severity is Severity.NOTE
    assert "left off: Fuel pump" in found("left_off").text


def test_what_must_stay_on_is_told_by_the_aircrafts_document():
    told = found("stays_on")
    assert "Clock" in told.text
    assert told.source == AIRCRAFT.document
    movable = AIRCRAFT.model_copy(update={"consumers": AIRCRAFT.consumers[:5]})
    assert found("stays_on", loads=movable) is None


def test_an_unknown_or_hidden_draw_is_watched():
    assert found("battery_draw", battery=None).severity is Severity.WATCH
    at_limit = found("battery_draw", battery=drawing(90.0, at_limit=True))
    assert (at_limit.severity, at_limit.value) == (Severity.WATCH, 90.0)
    assert found("battery_draw") is None


@pytest.mark.parametrize(
    ("outcome", "severity"),
    [(Outcome.SERVICE, Severity.SERVICE), (Outcome.DISCONNECT, Severity.DISCONNECT)],
)
def test_a_battery_that_must_come_off_comes_first(outcome, severity):
    result = budget(AIRCRAFT, "Update databases", PLAIN, drawing(6.0, outcome=outcome))
    assert result.findings[0].rule == "battery_outcome"
    assert result.findings[0].severity is severity


@pytest.mark.parametrize("outcome", [None, Outcome.TOP_OFF, Outcome.KEEP_WATCHING])
def test_another_battery_says_nothing_of_itself(outcome):
    assert found("battery_outcome", battery=drawing(6.0, outcome=outcome)) is None


def test_the_bus_voltage_is_held_against_the_document_else_the_standard():
    short = PLAIN.model_copy(update={"cable": Cable(length_m=1.0, area_mm2=50.0)})
    low = found("bus_voltage_low", short)
    assert (low.severity, low.limit, low.generic) == (Severity.NOTE, 22.0, True)
    assert "22.0 V of the power standard" in low.text
    told = AIRCRAFT.model_copy(update={"bus_min_v": 26.9, "bus_max_v": 28.4})
    sure = found("bus_voltage_low", short, loads=told)
    assert (sure.severity, "26.9 V that it needs" in sure.text) == (Severity.OK, True)
    tight = told.model_copy(update={"bus_min_v": 27.6})
    assert found("bus_voltage_low", loads=tight).severity is Severity.WATCH
    assert not found("bus_voltage_low", loads=tight).generic
    assert found("bus_voltage_high", loads=told).severity is Severity.WATCH
    assert found("bus_voltage_high") is None
    high = PLAIN.model_copy(update={"set_voltage_v": 28.6})
    assert found("bus_voltage_high", high).limit == 29.0


@pytest.mark.parametrize(
    ("told", "which"),
    [
        ({}, "at least 22.0 V and at most 29.0 V"),
        ({"bus_min_v": 24.0}, "at most 29.0 V is"),
        ({"bus_max_v": 28.8}, "at least 22.0 V is"),
    ],
)
def test_a_bus_voltage_that_no_paper_told_is_to_be_confirmed(told, which):
    """What is from memory decides nothing unsaid (MIL-STD-704F, Table IV, from memory (high))."""
    said = found("bus_limit_unconfirmed", loads=AIRCRAFT.model_copy(update=told))
    assert (said.severity, said.generic, which in said.text) == (Severity.WATCH, True, True)
    assert "from memory" in said.source


def test_a_bus_voltage_that_was_told_needs_no_confirming():
    told = AIRCRAFT.model_copy(update={"bus_min_v": 24.0, "bus_max_v": 28.8})
    assert found("bus_limit_unconfirmed", loads=told) is None


def test_a_supply_without_a_cable_told_says_nothing_of_the_voltage_at_the_aircraft():
    told = found("bus_voltage_low")
    assert (told.severity, "at the aircraft" in told.text) == (Severity.NOTE, False)
    assert "What the cable takes of it nobody told" in told.text


def test_a_thin_cable_binds_before_the_bus_is_too_low():
    """40 m of 4 mm2 are 0.1744 ohm with contacts: from 27.5 down to 22 V 31.5 A."""
    result = budget(AIRCRAFT, "Update databases", THIN, drawing(0.0))
    assert (result.room[0].name, result.configuration.left_off[0]) == ("cable", "Blower")
    assert result.voltage.at_aircraft_v.low > 22.0
    assert found("limit_unconfirmed", THIN, drawing(0.0)).generic


def test_a_supply_whose_own_voltage_is_too_low_is_not_blamed_on_its_cable():
    low = THIN.model_copy(update={"set_voltage_v": 22.2})
    assert "cable" not in {room.name for room in budget(AIRCRAFT, "Update databases", low).room}
    assert found("bus_voltage_low", low).severity is Severity.WATCH


def test_nothing_is_said_of_a_voltage_that_the_supply_cannot_hold():
    assert found("bus_voltage_low", SMALL) is None


def test_a_warm_supply_is_watched_where_its_derating_is_not_known():
    assert found("supply_warm", WARM, supply_temp_c=45.0).severity is Severity.WATCH
    assert found("supply_warm", WARM, supply_temp_c=40.0) is None
    assert found("supply_warm", WARM) is None
    known = WARM.model_copy(update={"derating_a_per_c": 1.0})
    told = found("supply_warm", known, supply_temp_c=45.0)
    assert told.severity is Severity.NOTE
    assert "gives 55 A instead of 60 A" in told.text


def test_a_wall_circuit_nobody_told_of_is_watched():
    assert found("wall_circuit_unknown").severity is Severity.WATCH
    assert found("wall_circuit_unknown", ON_15_A) is None


def test_currents_without_a_document_are_noted_unless_measured():
    silent = AIRCRAFT.model_copy(update={"document": None})
    assert found("load_figures", loads=silent).severity is Severity.NOTE
    assert found("load_figures") is None
    learned = tuple(one.model_copy(update={"readings": 3}) for one in silent.consumers)
    measured = silent.model_copy(update={"consumers": learned})
    assert found("load_figures", loads=measured) is None


def test_findings_stand_gravest_first():
    result = budget(AIRCRAFT, "Update databases", GUESSED)
    order = [tuple(Severity).index(finding.severity) for finding in result.findings]
    assert order == sorted(order, reverse=True)


def test_every_rule_has_its_words():
    assert {rule.__name__ for rule in RULES} == set(RULE_WORDS)
    assert {key.partition(".")[0] for key in TEXTS} == set(RULE_WORDS)
    assert set(VERDICT_WORDS) == set(VERDICT_SIGNS)
    assert set(budget(AIRCRAFT, "Update databases", PLAIN, None).not_checked) <= set(CHECK_WORDS)
    assert consumer("x", 1.0).continuous_sd_a == 0.0


def test_what_current_a_cable_may_carry_is_never_checked_and_is_said_so():
    """Two metres of gauge 14 lose little voltage at 50 A, and burn."""
    thin = Supply(rated_current_a=60.0, cable=Cable(length_m=2.0, gauge_awg=14))
    left = budget(AIRCRAFT, "Update databases", thin, DRAW).not_checked
    assert "cable_current" in left
    assert "cable" not in left


def on_cable(amperes, **cable):
    """The finding about a cable that carries so much, and what was not checked."""
    supply = Supply(rated_current_a=200.0, cable=Cable(length_m=6.0, **cable))
    loads = AIRCRAFT.model_copy(update={"consumers": (consumer("Heater", amperes),), "tasks": ()})
    task = Task(name="t", minutes=10.0, needs=("Heater",))
    result = budget(loads, task, supply, drawing(0.0))
    named = [finding for finding in result.findings if finding.rule == "cable_current"]
    return (named[0] if named else None), result


@pytest.mark.parametrize(
    ("cable", "carries_a"), [({"gauge_awg": 4}, 80.0), ({"area_mm2": 10.0}, 46.0)]
)
def test_a_load_beyond_a_wire_table_asks_to_look_at_the_cable(cable, carries_a):
    """The high end of the load counts: 1.645 A above it, the error of a panel ammeter."""
    beyond, result = on_cable(carries_a - 1.6, **cable)
    assert (beyond.severity, beyond.limit, beyond.generic) == (Severity.WATCH, carries_a, True)
    assert "not seen" in beyond.source
    assert "read what the cable may carry off its marking" in beyond.text
    assert "cable_current" in result.not_checked
    below, result = on_cable(carries_a - 1.7, **cable)
    assert below is None
    assert "cable_current" in result.not_checked


def test_a_table_that_was_not_seen_pins_no_limit_and_a_marking_does():
    _, unmarked = on_cable(90.0, gauge_awg=4)
    assert unmarked.verdict is Verdict.FITS
    found_, marked = on_cable(90.0, gauge_awg=4, rated_current_a=85.0)
    assert (found_, marked.verdict) == (None, Verdict.TOO_MUCH)
    assert (marked.capability.binding, marked.capability.limit_a) == ("cable rating", 85.0)
    assert "cable_current" not in marked.not_checked
    _, enough = on_cable(90.0, gauge_awg=4, rated_current_a=120.0)
    assert enough.verdict is Verdict.FITS
    limits = {one.name: one for one in enough.capability.limits}
    assert limits["cable rating"].source == "the cable's marking or its maker's papers"
    assert not limits["cable rating"].generic


def test_a_cable_thinner_than_any_that_is_listed_is_not_judged():
    assert on_cable(90.0, gauge_awg=22)[0] is None
