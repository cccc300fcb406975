"""The load over a task: by hand, and the same margin as the limits are held against."""

from math import exp, hypot

import numpy as np
import pytest

from batterymodel.basis.meters import PANEL_AMMETER_SD_A
from batterymodel.budget.plan import budget
from batterymodel.budget.selection import HELD_SD
from tests.budget.plans import AIRCRAFT, ON_15_A, drawing

FALLING = drawing(12.0, 1.0, floor_a=2.0, time_constant_s=1200.0)
RUNS_A = 9.0 + 4.0 + 6.0 + 1.0
"""Avionics, lights, screen and clock: the blower does not fit beside the battery's draw."""


def test_battery_falls_to_its_floor_and_consumers_stay():
    line = budget(AIRCRAFT, "Update databases", ON_15_A, FALLING).timeline
    assert (line.time_min[0], line.time_min[-1]) == (0.0, 60.0)
    np.testing.assert_allclose(line.consumers_a, RUNS_A)
    by_hand = [2.0 + 10.0 * exp(-60.0 * minute / 1200.0) for minute in line.time_min]
    np.testing.assert_allclose(line.battery_a, by_hand)


def test_margin_is_that_of_the_limit_and_shrinks_with_the_draw():
    made = budget(AIRCRAFT, "Update databases", ON_15_A, FALLING)
    margin_a = made.timeline.with_margin_a
    by_hand = RUNS_A + 12.0 + HELD_SD * hypot(1.0, PANEL_AMMETER_SD_A)
    assert margin_a[0] == pytest.approx(by_hand)
    assert margin_a[0] == pytest.approx(made.room[0].with_margin_a)
    load_a = made.timeline.consumers_a + made.timeline.battery_a
    assert (np.diff(margin_a) < 0.0).all()
    assert margin_a[-1] - load_a[-1] < margin_a[0] - load_a[0]


def test_unknown_battery_draws_nothing():
    line = budget(AIRCRAFT, "Update databases", ON_15_A).timeline
    assert not line.battery_a.any()


def test_arrays_are_no_part_of_the_json():
    assert "timeline" not in budget(AIRCRAFT, "Update databases", ON_15_A).model_dump(mode="json")
