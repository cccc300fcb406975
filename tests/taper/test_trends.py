"""Trends worked by hand."""

import numpy as np
import pytest

from batterymodel import Readings, assess
from batterymodel.taper.trends import line_change, warming_c_per_min


def test_line_change_of_a_line_is_its_rise():
    t = np.arange(0.0, 100.0, 10.0)
    change = line_change(t, 2.0 + 0.05 * t, 0.1)
    assert change.amount == pytest.approx(0.05 * 90.0)
    assert change.span_s == 90.0


def test_line_change_error_against_the_textbook():
    """Slope error is sigma / sqrt(sum (t - mean)^2): for t = 0..9 that sum is 82.5."""
    t = np.arange(10.0)
    assert line_change(t, np.zeros(10), 0.3).standard_error == pytest.approx(
        9.0 * 0.3 / np.sqrt(82.5)
    )


def test_scatter_larger_than_stated_counts():
    t = np.arange(50.0)
    values = np.random.default_rng(0).normal(0.0, 2.0, 50)
    assert (
        line_change(t, values, 0.1).standard_error > 5 * line_change(t, 0 * t, 0.1).standard_error
    )


def test_warming_rate():
    t = np.arange(0.0, 301.0, 30.0)
    assert warming_c_per_min(t, 20.0 + 0.8 * t / 60.0) == pytest.approx(0.8)
    assert warming_c_per_min(t, np.full(t.size, 20.0)) == 0.0
    assert warming_c_per_min(t, None) is None
    assert warming_c_per_min(t[:3], np.array([20.0, 21.0, 22.0])) is None
    assert warming_c_per_min(t, np.full(t.size, np.nan)) is None


def test_one_late_reading_after_a_long_gap_is_assessed(battery):
    """Found with a log whose last reading came minutes after the others: no trend, no traceback."""
    taper = 8.0 + 6.0 * np.exp(-np.arange(0.0, 301.0, 10.0) / 900.0)
    readings = Readings(
        elapsed_s=np.append(np.arange(0.0, 301.0, 10.0), 999.0),
        supply_current_a=np.round(np.append(taper, 8.1), 1),
    )
    assert assess(readings, battery, load_a=8.0).outcome
