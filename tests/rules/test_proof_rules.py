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


@pytest.mark.long
@pytest.mark.parametrize(
    ("chemistry", "volts", "expected"),
    [
        ("vrla", 25.62, "watch"),
        ("vrla", 25.68, "ok"),
        ("vented_lead_acid", 25.43, "watch"),
        ("vented_lead_acid", 25.49, "ok"),
    ],
)
def test_a_rest_voltage_confirms_that_hardly_any_battery_at_the_limit_shows(
    chemistry, volts, expected
):
    """Nineteen in twenty at 75 % show less than 1.645 times 0.187 V above the curve.

    The curve there: twelve times 2.112 V, and of vented cells 2.0964 V (specific gravity 1.250).
    The spread: twelve times 15 mV, a quarter of the way from 12 mV when full to 24 mV when empty,
    and a meter of 50 mV. A full vented battery shows 25.50 V, so that one can confirm its charge.
    """
    battery = BARE.model_copy(update={"chemistry": Chemistry(chemistry)})
    case = case_of(line(0.0), battery, rest_voltage_v=volts)
    assert severity(charge_confirmed(case)) == expected


def test_a_rest_voltage_confirms_by_the_temperature_it_was_read_at():
    """Cold cells show 0.2 mV less for each degree: 0.11 V over twelve cells and 45 degC."""
    cold = case_of(line(0.0), BARE, rest_voltage_v=25.58, ambient_c=-20.0)
    assert severity(charge_confirmed(cold)) == "ok"


def test_a_rest_voltage_confirms_no_nickel_cadmium():
    nicd = Battery(tail="D", chemistry=Chemistry.NICD, cells=20, rated_capacity_ah=40.0)
    case = case_of(line(0.0), nicd, rest_voltage_v=29.0)
    assert severity(charge_confirmed(case)) == "watch"


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


def test_a_current_that_is_no_taper_is_held_against_no_taper():
    """Lithium iron phosphate falls late and steeply, as no exponential of the belief does."""
    lithium = Battery(tail="D", chemistry=Chemistry.LFP, cells=8, rated_capacity_ah=40.0)
    case = case_of(simulated_connection(0.1), lithium)
    moved = replace(case, fit=replace(case.fit, conflict=9.0))
    assert unlike_any_taper(moved) is None
    assert unlike_any_taper(replace(case, unlike_history=True)) is None


def test_a_taper_unlike_any_says_which_way(battery):
    case = quiet_case(battery)
    fit = replace(case.fit, conflict=2.0)
    place = fit.names.index("log_time_constant")
    for change, word in ((-1.0, "faster"), (1.0, "slowly")):
        parameters = fit.parameters.copy()
        parameters[place] = fit.belief.log_time_s + change
        moved = replace(case, fit=replace(fit, parameters=parameters))
        assert word in unlike_any_taper(moved).text


@pytest.mark.parametrize(
    ("volts", "log_change", "expected"),
    [(25.68, -1.0, "note"), (25.62, -1.0, "watch"), (25.68, 1.0, "watch"), (None, -1.0, "watch")],
)
def test_a_fall_that_is_too_fast_is_a_note_beside_a_rest_voltage_that_confirms(
    volts, log_change, expected
):
    """A worn battery falls fast, and its rest voltage tells its charge; one that accepts little
    falls slowly, and must be watched at any charge."""
    case = case_of(simulated_connection(0.1), BARE, rest_voltage_v=volts)
    fit = replace(case.fit, conflict=2.0, parameters=case.fit.parameters.copy())
    fit.parameters[fit.names.index("log_time_constant")] = fit.belief.log_time_s + log_change
    assert severity(unlike_any_taper(replace(case, fit=fit))) == expected


@pytest.mark.long
def test_the_ends_of_a_steep_fall_show_it_on_a_coarse_meter():
    """A needle on the edge between two marks moves by one; 1.5 A on a 1 A meter is no edge.

    The line through a current that falls in the first minute alone moves by less than two marks.
    """
    time = np.arange(0.0, 301.0, 5.0)
    for first_a, expected in ((5.5, "ok"), (5.0, "watch")):
        current = 8.0 + np.where(time < 20.0, first_a, 4.0)
        readings = Readings(elapsed_s=time, supply_current_a=current)
        case = case_of(readings, BARE)
        signal = replace(case.fit.signal, resolution_a=1.0, sigma_a=0.2)
        case = replace(case, fit=replace(case.fit, signal=signal))
        assert severity(charge_confirmed(case)) == expected


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
