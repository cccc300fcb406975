"""The stepped simulation against the closed forms, which it does not use."""

import numpy as np
import pytest

from batterymodel.samples.simulate import TruePath, battery_current_a, meter_reading_a
from batterymodel.taper.shape import Shape, branches_current, current_limited, hold_current

PATH = TruePath(charge_to_return_ah=8.0, charge_time_h=0.3, fast_share=0.25, float_current_a=0.0)
SHAPE = Shape(0.3 * 3600.0 / (1.0 - 0.25 * 0.87), 0.25, 0.13)


def test_unlimited_supply_gives_the_taper():
    t = np.arange(0.0, 1800.0, 10.0)
    simulated = battery_current_a(PATH, t, np.full(t.size, 1e6), step_s=0.1)
    np.testing.assert_allclose(simulated, PATH.amplitude_a * hold_current(t, SHAPE), rtol=2e-3)


def test_limited_supply_gives_plateau_then_taper():
    t = np.arange(0.0, 2400.0, 1.0)
    simulated = battery_current_a(PATH, t, np.full(t.size, 15.0), step_s=0.1)
    ends = t[np.argmax(simulated < 15.0 - 1e-6)]
    fast, slow, amplitude = current_limited(ends, SHAPE)
    assert 15.0 * amplitude == pytest.approx(PATH.amplitude_a, rel=5e-3)
    after = t >= ends
    expected = 15.0 * branches_current(t[after] - ends, SHAPE, fast, slow)
    np.testing.assert_allclose(simulated[after], expected, rtol=2e-2, atol=0.02)


def test_all_the_charge_returns():
    t = np.arange(0.0, 4 * 3600.0, 5.0)
    simulated = battery_current_a(PATH, t, np.full(t.size, 12.0))
    assert np.trapezoid(simulated, t) / 3600.0 == pytest.approx(8.0, rel=2e-3)


def test_meter_rounds_to_its_steps():
    values = meter_reading_a(np.array([3.26, 7.74]), 0.5, 0.0, np.random.default_rng(0))
    np.testing.assert_array_equal(values, [3.5, 7.5])
