"""What paths say: crossings, losses and lower bounds, on paths laid out by hand."""

import numpy as np
import pytest

from batterymodel.fade.models import LinePrior, TrendModel
from batterymodel.fade.paths import Paths, scattered_paths, trend_paths

AT = np.arange(0.0, 6.0)


def paths(*rows, last=2.0):
    return Paths(AT, np.array(rows, dtype=float), last)


def test_crossing_ahead_is_interpolated():
    """1.0, .95, .9, .85, .75: falls through 0.8 half way from 3 to 4."""
    found = paths([1.0, 0.95, 0.9, 0.85, 0.75, 0.7]).crossing(0.8)
    assert found[0] == pytest.approx(3.5)


def test_crossing_behind_is_where_it_last_came_from_above():
    found = paths([1.0, 0.7, 0.9, 0.7, 0.7, 0.7], [0.9, 0.7, 0.7, 0.9, 0.7, 0.7]).crossing(0.8)
    np.testing.assert_allclose(found, [2.5, 0.5])


def test_never_crossing_is_infinite_and_below_from_the_start_is_the_start():
    found = paths([1.0] * 6, [0.7] * 6).crossing(0.8)
    assert found.tolist() == [np.inf, 0.0]


def test_last_above():
    found = paths([1.0, 0.7, 0.9, 0.7, 0.8, 0.7], [1.0] * 6, [0.5] * 6).last_above(0.8)
    assert found.tolist() == [4.0, np.inf, 0.0]


def test_loss_per_unit_by_hand():
    """From 0.95 at 1 to 0.85 at 3: 0.05 a unit."""
    found = paths([1.0, 0.95, 0.9, 0.85, 0.75, 0.7]).loss_per_unit(1.0)
    assert found[0] == pytest.approx(0.05)


def test_falling_paths_never_rise_ahead():
    found = paths([1.0, 0.9, 0.8, 0.85, 0.75, 0.9]).falling()
    assert found[0].tolist() == [1.0, 0.9, 0.8, 0.8, 0.75, 0.75]


def test_widening_keeps_the_mean_and_what_is_known():
    drawn = paths([1.0, 0.95, 0.9, 0.85, 0.8, 0.75], [1.0, 0.97, 0.92, 0.91, 0.90, 0.89])
    wide = drawn.widened(2.0)
    np.testing.assert_allclose(wide.fraction.mean(axis=0), drawn.fraction.mean(axis=0))
    np.testing.assert_array_equal(wide.fraction[:, :3], drawn.fraction[:, :3])
    grown = (np.ptp(wide.fraction, axis=0) - 0.02) / (np.ptp(drawn.fraction, axis=0) - 0.02)
    np.testing.assert_allclose(grown[3:], 2.0)


def fitted():
    at = np.array([[0.0], [1.0], [2.0]])
    return TrendModel(LinePrior(1.0, 0.06, 0.05, 0.04)).fit(
        at, np.array([1.0, 0.95, 0.9]), np.full(3, 0.03)
    )


def test_a_lower_bound_lifts_the_paths():
    model = fitted()
    free = trend_paths(model, 3.0, 5.0)
    bounds = (np.array([3.0]), np.array([0.92]), np.array([0.01]))
    held = trend_paths(model, 3.0, 5.0, bounds)
    assert held.value(3.0).mean() > free.value(3.0).mean() + 0.02
    low = (np.array([3.0]), np.array([0.5]), np.array([0.01]))
    assert trend_paths(model, 3.0, 5.0, low).value(3.0).mean() == pytest.approx(
        free.value(3.0).mean(), abs=2e-3
    )


def test_grid_holds_the_last_check_and_the_horizon():
    drawn = trend_paths(fitted(), 2.0, 5.0)
    assert drawn.at[0] == 0.0
    assert 2.0 in drawn.at
    assert drawn.at[-1] == pytest.approx(7.0)


def test_scattered_paths_start_after_the_last_check():
    drawn = scattered_paths(fitted(), 2.0, 10.0, widening=2.0)
    assert drawn.at[0] == 3.0
    plain = scattered_paths(fitted(), 2.0, 10.0)
    np.testing.assert_allclose(
        drawn.fraction.std(axis=0), 2.0 * plain.fraction.std(axis=0), rtol=1e-9
    )
