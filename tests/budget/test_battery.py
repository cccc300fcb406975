"""The battery's draw: as readings tell it, and how it falls."""

import functools
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from batterymodel import InputError, assess, read_battery, read_readings, read_supply
from batterymodel.budget.battery import battery_now
from batterymodel.inputs.records import Chemistry
from tests.budget.plans import drawing

SAMPLES = Path(__file__).parents[2] / "sample_data"


@functools.cache
def assessed(name: str):
    battery = read_battery(SAMPLES / f"{name}.toml")
    supply = read_supply(SAMPLES / "supply.toml")
    return assess(SAMPLES / f"{name}.csv", battery, supply, load_a=8.0)


def test_the_draw_is_what_the_meter_shows_above_the_load():
    """An invented connection with 8 A of bus load; its last reading, within the interval."""
    last_a = read_readings(SAMPLES / "healthy-top-off.csv").supply_current_a[-1]
    now = battery_now(assessed("healthy-top-off"), Chemistry.VRLA)
    assert now.current_a.low < last_a - 8.0 < now.current_a.high
    assert 0.3 < now.sd_a < 1.0
    assert not now.at_limit
    assert now.time_constant_s > 60.0
    assert 0.02 < now.time_constant_log_sd < 0.5
    assert 0.0 < now.floor_sd_a < 1.0


def test_a_clamp_on_the_battery_lead_tells_the_draw_itself():
    last_a = read_readings(SAMPLES / "rising-current-nicd.csv").battery_current_a[-1]
    now = battery_now(assessed("rising-current-nicd"), Chemistry.NICD)
    assert now.current_a.mean == pytest.approx(last_a, abs=0.5)


def test_at_the_supplys_limit_the_draw_is_what_a_larger_one_would_see():
    """60 A with 8 A of load leave 52 A, and the battery would take more."""
    now = battery_now(assessed("supply-at-its-limit"), Chemistry.VRLA)
    assert now.at_limit
    assert now.current_a.mean > 52.0


def test_it_falls_to_a_third_in_a_time_constant():
    """1 A of floor and 10 A above it: 1 + 10 / e = 4.68 A after ten minutes of 600 s."""
    now = drawing(11.0, 1.1, floor_a=1.0, time_constant_s=600.0)
    assert now.later(10.0).current_a.mean == pytest.approx(1.0 + 10.0 / np.e)
    assert now.later(10.0).sd_a == pytest.approx(0.1 * now.later(10.0).current_a.mean)
    assert now.later(0.0).current_a == now.current_a


def test_a_fall_that_nobody_knows_is_not_counted_on():
    now = drawing(11.0, 1.0)
    assert now.later(60.0).current_a.mean == 11.0
    assert now.average_a(60.0) == now.current_a


@given(st.floats(0.0, 80.0), st.floats(0.0, 5.0), st.floats(60.0, 5000.0), st.floats(0.5, 1440.0))
def test_the_mean_is_the_integral_of_the_fall(amperes, floor, tau_s, minutes):
    """By numerical integration; the draw never rises, whatever the floor."""
    now = drawing(amperes, 0.5, floor_a=floor, time_constant_s=tau_s)
    area, _ = quad(lambda m: now.later(m).current_a.mean, 0.0, minutes, limit=200)
    assert now.average_a(minutes).mean == pytest.approx(area / minutes, rel=1e-5, abs=1e-6)
    assert now.later(minutes).current_a.mean <= amperes + 1e-9


def with_last(assessment, amperes, many):
    """The assessment, its last readings changed after the fit."""
    current = assessment.curves.current_a.copy()
    current[-many:] = amperes
    curves = assessment.curves.model_copy(update={"current_a": current})
    return assessment.model_copy(update={"curves": curves})


@pytest.mark.parametrize(("many", "draw_a"), [(1, 6.9), (2, 22.0)])
def test_one_mistyped_reading_is_no_draw_and_two_are(many, draw_a):
    """8 A of bus load below 30 A: 22 A, where two of the last three readings say so."""
    changed = with_last(assessed("healthy-top-off"), 30.0, many)
    assert battery_now(changed, Chemistry.VRLA).current_a.mean == pytest.approx(draw_a, abs=0.3)


def test_a_current_below_the_fit_does_not_lower_the_draw():
    told = assessed("healthy-top-off")
    lower, as_read = (battery_now(one, Chemistry.VRLA) for one in (with_last(told, 9.0, 3), told))
    assert lower.current_a == as_read.current_a


def test_nothing_is_said_of_when_a_current_falls_that_is_no_taper():
    now = battery_now(assessed("healthy-top-off"), Chemistry.LFP)
    assert now.time_constant_s is None
    assert now.later(600.0).current_a == now.current_a


@pytest.mark.parametrize(
    ("told", "says"),
    [
        ({"amperes": -10.0}, "0 A or more would be right"),
        ({"amperes": float("nan")}, "plain numbers in A"),
        ({"amperes": float("inf")}, "plain numbers in A"),
        ({"amperes": 1.0, "floor_a": -1.0}, "0 A or more would be right"),
        ({"amperes": 1.0, "time_constant_s": 0.0}, "more than 0 s would be right"),
        ({"amperes": 1.0, "time_constant_s": float("nan")}, "more than 0 s would be right"),
    ],
)
def test_a_draw_that_cannot_be_is_refused_in_one_sentence(told, says):
    """A battery that "draws" -10 A made room for 65 A of consumers on a supply of 60 A."""
    with pytest.raises(InputError, match=says) as caught:
        drawing(**told)
    assert "\n" not in str(caught.value)
