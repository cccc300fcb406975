"""Closed forms of the two-branch taper against numerical integration, limits and conservation."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad, solve_ivp

from batterymodel.taper.shape import (
    Shape,
    branches_charge_s,
    branches_current,
    current_limited,
    hold_current,
    hold_gradient,
)

shapes = st.builds(
    Shape,
    time_constant_s=st.floats(300.0, 6000.0),
    fast_share=st.floats(0.0, 0.7),
    fast_ratio=st.floats(0.05, 0.5),
)
times = st.floats(0.0, 5000.0)


def test_single_branch_is_one_exponential():
    shape = Shape(1000.0, 0.0, 0.13)
    assert shape.time_constant_s == 1000.0
    assert hold_current(500.0, shape) == pytest.approx(np.exp(-0.5), rel=1e-12)


def test_single_branch_at_limit_by_hand():
    """One RC branch at constant current c falls by c t / tau: A = c (1 + t / tau)."""
    fast, slow, amplitude = current_limited(250.0, Shape(1000.0, 0.0, 0.13))
    assert amplitude == pytest.approx(1.25, rel=1e-12)
    assert slow == pytest.approx(1.0, rel=1e-12)
    assert fast < 1.0


@given(shapes)
def test_charge_time_is_the_area_under_the_shape(shape):
    area, _ = quad(
        lambda t: float(hold_current(t, shape)), 0.0, 60.0 * shape.charge_time_s, limit=200
    )
    assert area == pytest.approx(shape.charge_time_s, rel=1e-6)


@given(shapes, times)
def test_charge_is_conserved_through_the_limit(shape, limit_time):
    fast, slow, amplitude = current_limited(limit_time, shape)
    left = branches_charge_s(0.0, shape, fast, slow)
    assert amplitude * shape.charge_time_s == pytest.approx(limit_time + left, rel=1e-9)
    assert branches_current(0.0, shape, fast, slow) == pytest.approx(1.0, rel=1e-9)


@pytest.mark.parametrize("limit_time", [0.0, 40.0, 400.0, 2000.0])
def test_at_limit_against_numerical_integration(limit_time):
    shape = Shape(1100.0, 0.3, 0.12)
    w, tau_fast, tau = 0.3, shape.fast_time_constant_s, shape.time_constant_s

    def fill(_t, g):
        total = w * g[0] + (1 - w) * g[1]
        return [(1 + total - g[0]) / tau_fast, (1 + total - g[1]) / tau]

    g = solve_ivp(fill, (0.0, max(limit_time, 1e-9)), [0.0, 0.0], rtol=1e-10, atol=1e-12).y[:, -1]
    total = w * g[0] + (1 - w) * g[1]
    expected = (1 + total - g[0], 1 + total - g[1], 1 + total)
    assert current_limited(limit_time, shape) == pytest.approx(expected, rel=1e-6)


@given(shapes, times, times)
def test_current_falls_and_never_below_zero(shape, first, more):
    early, late = hold_current(first, shape), hold_current(first + more, shape)
    assert 0.0 <= late <= early <= 1.0


@given(shapes, times, st.floats(0.1, 10.0))
def test_time_scales_with_the_time_constant(shape, t, scale):
    slower = Shape(shape.time_constant_s * scale, shape.fast_share, shape.fast_ratio)
    assert hold_current(t * scale, slower) == pytest.approx(hold_current(t, shape), abs=1e-12)


@pytest.mark.parametrize("limit_time", [0.0, 300.0])
def test_gradient_against_finite_differences(limit_time):
    t, log_time, share, h = np.array([0.0, 12.0, 130.0, 900.0]), np.log(1300.0), 0.24, 1e-6

    def at(a, w):
        return hold_gradient(t, limit_time, Shape(np.exp(a), w, 0.13))

    current, by_time, by_share = at(log_time, share)
    numeric_time = (at(log_time + h, share)[0] - at(log_time - h, share)[0]) / (2 * h)
    numeric_share = (at(log_time, share + h)[0] - at(log_time, share - h)[0]) / (2 * h)
    np.testing.assert_allclose(by_time, numeric_time, rtol=1e-5, atol=1e-9)
    np.testing.assert_allclose(by_share, numeric_share, rtol=1e-5, atol=1e-9)
    shape = Shape(1300.0, share, 0.13)
    fast, slow, _ = current_limited(limit_time, shape)
    np.testing.assert_allclose(current, branches_current(t, shape, fast, slow), rtol=1e-12)


def test_vector_equals_scalar():
    shape, t = Shape(900.0, 0.2, 0.13), np.array([0.0, 60.0, 600.0])
    np.testing.assert_array_equal(hold_current(t, shape), [hold_current(x, shape) for x in t])
