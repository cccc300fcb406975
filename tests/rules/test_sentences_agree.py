"""Sentences of one answer that speak of one thing must not contradict each other."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from batterymodel import Battery, Chemistry, Readings, assess
from batterymodel.reference.conditions import UNSAFE
from batterymodel.rules.battery_rules import TOLD_BY_REST, deep_discharge, other_conditions
from batterymodel.rules.current_rules import (
    charge_current,
    supply_at_limit,
    taper_missing,
    undeclared_load_step,
)
from batterymodel.rules.proof_rules import charge_confirmed
from batterymodel.rules.readings_rules import supply_trip
from batterymodel.taper.load_steps import LoadStep
from batterymodel.taper.problem import FIXED
from batterymodel.taper.trends import Rise
from tests.rules.cases import (
    case_of,
    quiet_case,
    with_fitted,
    with_limit_until,
    with_probability_below,
)

BARE = Battery(tail="DEMO-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)


def falling(fall_a: float, level_a: float = 5.0, step_a: float = 0.01) -> Readings:
    """A battery current falling along a line in five minutes, beside a load of 8 A."""
    time = np.arange(0.0, 301.0, 5.0)
    wobble = 0.05 * np.where(np.arange(time.size) % 2, 1.0, -1.0)
    current = 8.0 + level_a + fall_a * (0.5 - time / 300.0) + wobble
    return Readings(elapsed_s=time, supply_current_a=np.round(current / step_a) * step_a)


def test_the_most_that_a_battery_takes_is_a_bound_and_no_best_value():
    """10 A with an error of 2 A: 95 % lie below 10 + 1.645 x 2 = 13.3 A."""
    case = quiet_case(BARE, max_charge_current_a=40.0)
    covariance = np.zeros_like(case.fit.covariance)
    place = case.fit.names.index("hold_amplitude_a")
    covariance[place, place] = 4.0
    case = with_fitted(case, covariance, hold_amplitude_a=10.0, float_current_a=0.0)
    finding = charge_current(case)
    assert finding.severity == "ok"
    assert finding.value == pytest.approx(13.29, abs=0.01)
    assert "at most 13.3 A" in finding.text


@pytest.mark.parametrize(("fall_a", "fell"), [(0.2, False), (0.6, True)])
def test_both_rules_on_the_fall_say_the_same_of_it(fall_a, fell):
    """A twentieth of 5 A, 0.25 A, is needed to have been seen."""
    case = case_of(falling(fall_a), BARE)
    missing, confirmed = taper_missing(case), charge_confirmed(case)
    assert missing.severity == "ok"
    assert ("falls, by 0.6 A" in missing.text) == fell
    assert ("not clearly fallen" in missing.text) != fell
    assert ("not clearly fallen" in confirmed.text) != fell


@pytest.mark.parametrize(("fall_a", "fell"), [(0.8, False), (2.0, True)])
def test_beside_an_unknown_load_a_level_current_was_not_seen_to_fall(fall_a, fell):
    """Ends 0.8 A apart on a meter of half an ampere; a level may move by two marks, 1 A."""
    case = case_of(falling(fall_a, level_a=3.0, step_a=0.5), BARE, load_a=None)
    assert (taper_missing(case) is None) == fell
    assert (charge_confirmed(case).severity == "ok") == fell


def test_a_fall_before_a_rise_is_called_so():
    readings = falling(3.0, level_a=9.0)
    late_s = np.maximum(readings.elapsed_s - 150.0, 0.0)
    rising = readings.supply_current_a + 0.06 * late_s
    case = case_of(readings.model_copy(update={"supply_current_a": rising}), BARE)
    assert case.rise is not None
    assert charge_confirmed(case).text == "The current was seen to fall before it rose."


def test_a_charge_in_doubt_is_not_called_unlikely_to_be_low():
    """2 % below the limit by the range, while the conditions leave less than 1 % for all else."""
    case = quiet_case(BARE, depth=0.06)
    case = replace(case, conditions=replace(case.conditions, low_charge=none_low(case)))
    case = with_probability_below(case, case.limit("min_top_off_soc").value, 0.02, 0.7)
    doubtful, finding = deep_discharge(case), other_conditions(case)
    assert (doubtful.severity, finding.severity) == ("watch", "ok")
    assert finding.text.startswith("A shorted cell, a leak")
    sure = with_probability_below(case, case.limit("min_top_off_soc").value, 0.002, 0.7)
    assert other_conditions(sure).text.startswith("Too low a charge")


@pytest.mark.parametrize(("rest_v", "explained"), [(23.0, False), (23.4, True), (24.6, True)])
def test_no_charge_is_sure_beside_a_rest_voltage_that_no_charge_explains(rest_v, explained):
    """Twelve cells of 1.98 V are empty at 23.76 V, give or take 0.29 V."""
    time = np.arange(0.0, 601.0, 15.0)
    taper = 8.0 + 6.0 * (0.6 * np.exp(-time / 250.0) + 0.4 * np.exp(-time / 1500.0))
    readings = Readings(elapsed_s=time, supply_current_a=np.round(taper, 1))
    found = assess(readings, BARE, load_a=8.0, rest_voltage_v=rest_v, on=date(2026, 3, 2))
    told = {finding.rule: finding for finding in found.findings}
    if not explained:
        assert "23.00 V is below the 23.76 V of an empty battery" in told["contradiction"].text
        assert told["deep_discharge"].severity == "watch"
        assert "other_conditions" not in told
        assert found.outcome != "top_off"
    assert ("an empty battery" in told["contradiction"].text) != explained


@pytest.mark.parametrize("gravest", sorted(UNSAFE))
@pytest.mark.parametrize("rest_v", [None, 25.0])
def test_a_rest_voltage_that_was_read_is_not_asked_for(gravest, rest_v):
    case = replace(quiet_case(BARE, depth=0.06), rest_voltage_v=rest_v)
    surely = dict.fromkeys(case.conditions.probability, 0.0) | {gravest: 1.0}
    case = replace(case, conditions=replace(case.conditions, probability=surely))
    finding = other_conditions(case)
    assert finding.severity == "watch"
    asked = "rest voltage" in finding.text
    assert asked == (rest_v is None and gravest in TOLD_BY_REST)


def none_low(case) -> dict:
    """No low charge in any condition."""
    return dict.fromkeys(case.conditions.low_charge, 0.0)


@pytest.mark.parametrize(
    ("jump_a", "fitted_a", "said"),
    [(2.0, 0.9, "+2.0 A"), (2.0, 1.1, "+1.1 A"), (-2.0, 0.5, "-2.0 A"), (-2.0, -1.1, "-1.1 A")],
)
def test_a_jump_after_which_the_current_does_not_stay_changed_is_no_step(jump_a, fitted_a, said):
    """Half of the jump must stay by the whole taper; the jump that was read is told else."""
    case = quiet_case(BARE)
    signal = replace(case.fit.signal, steps=(LoadStep(100.0, "", False, jump_a),))
    parameters = np.insert(case.fit.parameters, FIXED, fitted_a)
    case = replace(case, fit=replace(case.fit, signal=signal, parameters=parameters))
    finding = undeclared_load_step(case)
    assert finding.severity == "watch"
    assert said in finding.text
    assert ("does not stay changed" in finding.text) == (abs(finding.value) == 2.0)


def test_a_step_after_the_turn_to_a_rise_is_told_as_it_was_read():
    """The taper is read up to the turn: of a step after it the fit says nothing, and zero."""
    case = quiet_case(BARE)
    signal = replace(case.fit.signal, steps=(LoadStep(200.0, "", False, 2.0),))
    parameters = np.insert(case.fit.parameters, FIXED, 0.0)
    case = replace(case, fit=replace(case.fit, signal=signal, parameters=parameters))
    turned = replace(case, rise=Rise(1.0, 0.5, 120.0, 150.0))
    assert "The current jumps by +2.0 A at 200 s" in undeclared_load_step(turned).text
    before = replace(case, rise=Rise(1.0, 0.5, 120.0, 250.0))
    assert "does not stay changed" in undeclared_load_step(before).text


def test_a_limit_is_only_supposed_of_a_supply_whose_rating_nobody_told():
    case = with_limit_until(quiet_case(BARE), 240.0)
    assert "supply was at its limit" in supply_at_limit(case).text
    untold = supply_at_limit(replace(case, supply=None))
    assert "supply seems to have been at its limit" in untold.text


@pytest.mark.parametrize(
    ("left_a", "said"),
    [(0.0, "has given nothing"), (0.3, "has given nothing"), (2.7, "no more than 2.7 A")],
)
def test_a_supply_that_still_gives_the_bus_its_load_is_not_said_to_give_nothing(left_a, said):
    """Of 80 A a full lithium battery leaves the 2.7 A of the bus, less than a twentieth."""
    time = np.arange(0.0, 901.0, 30.0)
    current = np.where(time < 780.0, 80.0 - 0.02 * time, left_a)
    lithium = Battery(tail="D", chemistry=Chemistry.LFP, cells=8, rated_capacity_ah=35.0)
    case = case_of(Readings(elapsed_s=time, supply_current_a=current), lithium, load_a=2.7)
    finding = supply_trip(case)
    assert finding.severity == "watch"
    assert said in finding.text


def test_a_supply_that_gave_the_bus_its_load_meanwhile_is_not_said_to_have_given_nothing():
    time = np.arange(0.0, 901.0, 30.0)
    current = np.where((time >= 600.0) & (time <= 690.0), 2.7, 80.0 - 0.02 * time)
    lithium = Battery(tail="D", chemistry=Chemistry.LFP, cells=8, rated_capacity_ah=35.0)
    case = case_of(Readings(elapsed_s=time, supply_current_a=current), lithium, load_a=2.7)
    assert "gave no more than 2.7 A from 600 to 690 s" in supply_trip(case).text


def test_a_level_current_falls_by_no_negative_nothing():
    time = np.arange(0.0, 601.0, 15.0)
    level = np.full(time.size, 20.0)
    text = taper_missing(case_of(Readings(elapsed_s=time, supply_current_a=level), BARE)).text
    assert " 0.0 A less" in text
    assert "-0.0" not in text


@pytest.mark.parametrize(
    ("last_s", "said"), [(900.0, "nothing since 780 s"), (810.0, "nothing from 780 to 810 s")]
)
def test_a_supply_that_came_back_between_is_not_said_to_have_been_off_all_along(last_s, said):
    """Off from 300 to 330 s with 2 A left on the meter, and again from 780 s on with none."""
    time = np.arange(0.0, 901.0, 30.0)
    current = 20.0 + 60.0 * np.exp(-time / 600.0)
    current[(time >= 300.0) & (time <= 330.0)] = 2.0
    current[(time >= 780.0) & (time <= last_s)] = 0.0
    finding = supply_trip(case_of(Readings(elapsed_s=time, supply_current_a=current), BARE))
    assert said in finding.text
    assert finding.value == 780.0
