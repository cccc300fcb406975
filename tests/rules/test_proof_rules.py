"""Proof before topping off: what must have been seen, on both sides of each limit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import (
    Battery,
    CapacityCheck,
    Chemistry,
    History,
    Outcome,
    Readings,
    Supply,
    assess,
)
from batterymodel.reference.conditions import Condition
from batterymodel.rules.proof_rules import charge_confirmed, rated_capacity, unlike_any_taper
from batterymodel.rules.wording import CONDITION_WORDS, say
from batterymodel.soc.evidence import SOC_GRID, Evidence
from tests.benchmarks.sickbay.tapers import taper_cases
from tests.conftest import simulated_connection
from tests.rules.cases import ON, SUPPLY, case_of, quiet_case

BARE = Battery(tail="DEMO-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)


def severity(finding):
    return None if finding is None else str(finding.severity)


def line(fall_a: float, noise_a: float = 0.1, level_a: float = 5.0) -> Readings:
    """A battery current falling along a line in five minutes, beside a load of 8 A."""
    time = np.arange(0.0, 301.0, 5.0)
    wobble = noise_a * np.where(np.arange(time.size) % 2, 1.0, -1.0)
    current = 8.0 + level_a + 0.5 * fall_a - fall_a * time / 300.0 + wobble
    return Readings(elapsed_s=time, supply_current_a=current)


@pytest.mark.parametrize(("fall_a", "expected"), [(0.2, "watch"), (0.5, "ok")])
def test_a_fall_of_a_twentieth_must_be_seen(fall_a, expected):
    """A twentieth of 5 A is 0.25 A."""
    assert severity(charge_confirmed(case_of(line(fall_a), BARE))) == expected


@pytest.mark.parametrize(("noise_a", "expected"), [(0.2, "ok"), (1.5, "watch")])
def test_a_fall_within_the_meters_scatter_was_not_seen(noise_a, expected):
    """A line through 61 readings: its fall has an error of 0.44 times one reading's."""
    assert severity(charge_confirmed(case_of(line(0.6, noise_a), BARE))) == expected


@pytest.mark.parametrize(("above", "expected"), [(0.85, "watch"), (0.95, "ok")])
def test_a_rest_voltage_confirms_with_nine_in_ten(above, expected):
    case = case_of(line(0.0), BARE)
    shape = np.where(SOC_GRID >= 0.75, above / 0.25, (1.0 - above) / 0.75)
    told = Evidence("rest voltage", shape / shape.max())
    state = replace(case.state, evidence=(*case.state.evidence, told))
    assert severity(charge_confirmed(replace(case, state=state))) == expected


def test_a_rest_voltage_confirms_no_nickel_cadmium():
    nicd = Battery(tail="D", chemistry=Chemistry.NICD, cells=20, rated_capacity_ah=40.0)
    case = case_of(line(0.0), nicd)
    told = Evidence("rest voltage", np.exp(-0.5 * ((SOC_GRID - 1.0) / 0.05) ** 2))
    state = replace(case.state, evidence=(*case.state.evidence, told))
    assert severity(charge_confirmed(replace(case, state=state))) == "watch"


def test_a_last_known_state_alone_is_no_proof():
    """A battery that takes next to nothing, and a record that says it was full yesterday."""
    known = {"last_known": {"on": ON, "state_of_charge": 0.98, "sd": 0.03}}
    for chemistry, cells in ((Chemistry.VRLA, 12), (Chemistry.LFP, 8)):
        battery = Battery(
            tail="D", chemistry=chemistry, cells=cells, rated_capacity_ah=40.0, **known
        )
        result = assess(line(0.0, level_a=0.5), battery, SUPPLY, load_a=8.0, on=ON)
        assert result.outcome is not Outcome.TOP_OFF


@pytest.mark.parametrize(("conflict", "expected"), [(1.55, None), (1.65, "watch")])
def test_a_taper_unlike_any_is_said(battery, conflict, expected):
    case = quiet_case(battery)
    moved = replace(case, fit=replace(case.fit, conflict=conflict))
    assert severity(unlike_any_taper(moved)) == expected


def test_a_taper_unlike_any_says_which_way(battery):
    case = quiet_case(battery)
    fit = replace(case.fit, conflict=2.0)
    place = fit.names.index("log_time_constant")
    for change, word in ((-1.0, "faster"), (1.0, "slowly")):
        parameters = fit.parameters.copy()
        parameters[place] = fit.belief.log_time_s + change
        moved = replace(case, fit=replace(fit, parameters=parameters))
        assert word in unlike_any_taper(moved).text


def test_a_measured_worn_battery_falls_faster_than_any():
    """Source of the tapers: `tests/data/README.md`. Its plate says 50 Ah, it holds some ten."""
    found = [
        assess(c.readings, c.battery, c.supply, **c.keywords).findings
        for c in taper_cases()
        if c.taper.name == "46" and c.minutes >= 5.0
    ]
    for findings in found:
        assert "unlike_any_taper" in {f.rule for f in findings}


def test_a_history_the_readings_contradict_is_left_out():
    """A charge time of 0.4 h on record, and a battery that now takes four times as long."""
    known = History(charge_time_h=0.4, charge_time_rel_sd=0.05, fast_share=0.2, on=ON)
    battery = BARE.model_copy(update={"history": known})
    slow = simulated_connection(0.3, charge_time_h=1.6, minutes=20.0)
    result = assess(slow, battery, Supply(rated_current_a=150.0), load_a=8.0, load_sd_a=0.1, on=ON)
    said = next(f for f in result.findings if f.rule == "unlike_any_taper")
    assert "earlier connections" in said.text
    same = assess(
        simulated_connection(0.1), battery, Supply(rated_current_a=150.0), load_a=8.0, on=ON
    )
    assert "unlike_any_taper" not in {f.rule for f in same.findings}


@pytest.mark.parametrize(
    ("rated", "check", "expected"),
    [
        (3.9, None, "watch"),
        (4.1, None, None),
        (99.0, None, None),
        (101.0, None, "watch"),
        (150.0, 140.0, None),
        (150.0, 40.0, "watch"),
        (110.0, 160.0, None),
        (110.0, 172.0, "watch"),
    ],
)
def test_a_plate_no_light_aircraft_has_is_asked_about(rated, check, expected):
    given = CapacityCheck(on=ON, capacity_ah=check) if check else None
    case = quiet_case(BARE)
    battery = BARE.model_copy(update={"rated_capacity_ah": rated, "capacity_check": given})
    assert severity(rated_capacity(replace(case, battery=battery))) == expected


@pytest.mark.parametrize("condition", list(Condition))
def test_every_condition_has_its_words(condition):
    assert CONDITION_WORDS[condition]
    if condition is not Condition.SOUND:
        assert "5 %" in say(f"other_conditions.watch.{condition}", chance="5 %")


def test_a_taper_that_contradicts_the_history_teaches_nothing():
    """A whole taper of another battery: what was known must not be replaced by it."""
    known = History(charge_time_h=0.4, charge_time_rel_sd=0.05, fast_share=0.2, on=ON)
    other = simulated_connection(0.3, charge_time_h=1.2, minutes=240.0, every_s=30.0)
    told = {"load_a": 8.0, "load_sd_a": 0.1, "ambient_c": 25.0, "on": ON}
    battery = BARE.model_copy(update={"history": known})
    assert assess(other, BARE, Supply(rated_current_a=150.0), **told).learned_history is not None
    result = assess(other, battery, Supply(rated_current_a=150.0), **told)
    assert "unlike_any_taper" in {f.rule for f in result.findings}
    assert result.learned_history is None
