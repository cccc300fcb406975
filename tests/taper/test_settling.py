"""The settling start: a spike of seconds and a hump within a minute are no part of the taper."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Supply
from batterymodel.taper.settling import settling_mask
from batterymodel.taper.signals import signal_from
from tests.benchmarks.sickbay.tapers import measured_tapers
from tests.conftest import simulated_connection

TIME = np.arange(0.0, 301.0, 10.0)
FALL = 20.0 * np.exp(-TIME / 900.0)


def left_out(current, sigma=0.05):
    return int(settling_mask(TIME, current, sigma).sum())


@pytest.mark.parametrize(("name", "first_s"), [("14", 50.0), ("46", 70.0)])
def test_measured_tapers_start_at_their_hump(name, first_s):
    """Source: `tests/data/README.md`; the highest value after the spike, read off the file."""
    taper = next(t for t in measured_tapers() if t.name == name)
    mask = settling_mask(taper.elapsed_s, taper.battery_a, 0.07)
    assert taper.elapsed_s[~mask][0] == first_s


def test_a_smooth_taper_keeps_all_its_readings():
    assert left_out(FALL) == 0


@pytest.mark.parametrize(("spike", "readings"), [(0.05, 0), (0.3, 1)])
def test_a_spike_of_a_tenth_is_left_out(spike, readings):
    current = FALL.copy()
    current[0] *= 1.0 + spike
    assert left_out(current) == readings


@pytest.mark.parametrize(("dip", "readings"), [(0.01, 0), (0.05, 3)])
def test_a_hump_of_a_fiftieth_starts_the_taper(dip, readings):
    """A dip in the second and third reading, half as deep there: the fourth is the hump."""
    current = FALL.copy()
    current[1:3] *= 1.0 - dip * np.array([1.0, 0.5])
    assert left_out(current) == readings


def test_a_load_switched_on_is_no_hump():
    current = FALL.copy()
    current[3:] += 5.0
    assert left_out(current) == 0


@pytest.mark.parametrize(("climb", "readings"), [(0.015, 0), (0.025, 3)])
def test_a_hump_is_a_fiftieth_above_the_lowest_reading_before_it(climb, readings):
    """A precise meter: 10 A, then a dip by so much of the hump's 10 A, and the fall after it."""
    current = 10.0 - 0.005 * np.maximum(TIME - 30.0, 0.0)
    current[1:3] -= 10.0 * climb * np.array([1.0, 0.5])
    assert left_out(current, sigma=0.01) == readings


@pytest.mark.parametrize(("spike", "readings"), [(0.08, 0), (0.12, 1)])
def test_a_spike_is_a_tenth_of_the_current_after_it(spike, readings):
    """10 A that then fall by 5 mA/s: 0.8 A in ten seconds are sixteen times as steep."""
    current = 10.0 - 0.005 * np.maximum(TIME - 10.0, 0.0)
    current[0] = 10.0 * (1.0 + spike)
    assert left_out(current, sigma=0.01) == readings


@pytest.mark.parametrize(("steeper", "readings"), [(7.0, 0), (9.0, 1)])
def test_a_spike_falls_eight_times_as_steeply_as_what_follows(steeper, readings):
    """20 A that then fall by 50 mA/s; the first ten seconds are over a tenth of it either way."""
    current = 20.0 - 0.05 * (TIME - 10.0)
    current[0] = 20.0 + 0.05 * steeper * 10.0
    assert left_out(current, sigma=0.01) == readings


@pytest.mark.parametrize(("until_s", "readings"), [(80.0, 8), (150.0, 0)])
def test_a_current_that_climbs_on_is_no_hump(until_s, readings):
    """Ninety seconds are the settling start; what climbs beyond is a rise."""
    current = 10.0 + 3.0 * np.minimum(TIME, until_s) / until_s
    current = np.where(until_s < TIME, 13.0 - 0.01 * (TIME - until_s), current)
    assert left_out(current) == readings


def test_the_signal_leaves_the_settling_start_out():
    readings = simulated_connection(0.1)
    spiked = readings.supply_current_a.copy()
    spiked[0] += 25.0
    moved = readings.model_copy(update={"supply_current_a": spiked})
    signal = signal_from(moved, Supply(rated_current_a=150.0), 8.0)
    assert not signal.usable[0]
    assert signal.usable[2:].all()


@given(st.lists(st.floats(-50.0, 500.0), min_size=1, max_size=40), st.floats(0.01, 5.0))
def test_some_readings_are_always_left(values, sigma):
    time = 7.0 * np.arange(len(values))
    mask = settling_mask(time, np.array(values), sigma)
    assert mask.size == len(values)
    assert mask.sum() <= max(len(values) - 4, 0)
