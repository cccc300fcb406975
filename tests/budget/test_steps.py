"""The size of a step in readings that move on their own."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel.budget.steps import step_size

TIME_S = np.arange(0.0, 200.0, 5.0)
LATER = TIME_S >= 100.0


@settings(max_examples=30)
@given(level=st.floats(-50, 50), slope=st.floats(-1, 1), bend=st.floats(-0.01, 0.01))
def test_a_parabola_with_a_step_gives_the_step(level, slope, bend):
    x = TIME_S - 100.0
    values = level + slope * x + bend * x**2 + 7.0 * LATER
    for others in ((), (125.0,)):
        found = step_size(TIME_S, values, 100.0, 0.1, others)
        assert found.size == pytest.approx(7.0, abs=1e-6)


def test_a_fast_taper_is_taken_off():
    """20 A falling with 100 s, 0.4 A from reading to reading at the step."""
    values = 20.0 * np.exp(-TIME_S / 100.0) + 4.0 * LATER
    assert step_size(TIME_S, values, 100.0, 0.01).size == pytest.approx(4.0, abs=0.25)


def test_many_readings_carry_a_step_further_than_three():
    rng = np.random.default_rng(2)
    found = [
        step_size(TIME_S, 3.0 * LATER + rng.normal(0.0, 0.3, TIME_S.size), 100.0, 0.3)
        for _ in range(200)
    ]
    errors = np.array([f.size - 3.0 for f in found])
    assert errors.std() < 0.3
    assert np.std(errors / [f.sd for f in found]) == pytest.approx(1.0, abs=0.2)


def test_other_steps_bound_the_window_and_gaps_are_left_out():
    values = 3.0 * LATER + 50.0 * (TIME_S >= 130.0) - 50.0 * (TIME_S < 70.0)
    values = np.where(np.isin(TIME_S, (90.0, 110.0)), np.nan, values)
    found = step_size(TIME_S, values, 100.0, 0.1, (70.0, 130.0))
    assert found.size == pytest.approx(3.0)


def test_without_a_reading_on_each_side_there_is_no_step():
    assert step_size(TIME_S, TIME_S, 0.0, 0.1) is None
    assert step_size(TIME_S, TIME_S, 500.0, 0.1) is None


def test_one_reading_on_a_side_takes_the_current_as_level():
    time, values = np.array([0.0, 5.0, 10.0]), np.array([9.0, 12.0, 12.0])
    assert step_size(time, values, 5.0, 0.1).size == pytest.approx(3.0)
