"""Meter, plateau, load steps and transients found in readings whose truth is known."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Readings, Supply
from batterymodel.samples.simulate import battery_current_a
from batterymodel.taper.shape import Shape, current_limited
from batterymodel.taper.signals import (
    meter_resolution_a,
    reading_sigma_a,
    signal_from,
    transient_mask,
)
from tests.conftest import simulated_connection, true_path


@pytest.mark.parametrize("step", [1.0, 0.5, 0.1, 0.02])
def test_resolution_is_the_meters_step(step):
    values = np.round(np.random.default_rng(3).uniform(5, 40, 60) / step) * step
    assert meter_resolution_a(values) == step


def test_rounding_alone_is_step_over_root_twelve():
    steady = np.full(50, 12.0)
    assert reading_sigma_a(steady, 1.0) == pytest.approx(1.0 / np.sqrt(12.0))


@given(st.floats(0.02, 1.0), st.integers(0, 20))
def test_reading_error_finds_the_noise(noise, seed):
    t = np.arange(400.0)
    values = 30.0 * np.exp(-t / 900.0) + np.random.default_rng(seed).normal(0, noise, t.size)
    assert reading_sigma_a(values, 0.001) == pytest.approx(noise, rel=0.35)


def test_motor_transients_are_set_aside_and_the_taper_is_not():
    readings = simulated_connection(0.2)
    current = readings.supply_current_a.copy()
    assert transient_mask(current, 0.1).sum() == 0
    current[[20, 41, 42]] += 25.0
    np.testing.assert_array_equal(np.flatnonzero(transient_mask(current, 0.1)), [20, 41, 42])


@pytest.mark.parametrize("every_s", [1.0, 5.0, 15.0])
@pytest.mark.parametrize("depth", [0.45, 0.55])
def test_end_of_the_limit_is_where_the_model_has_it(depth, every_s):
    readings = simulated_connection(depth, every_s=every_s, minutes=10.0)
    signal = signal_from(readings, Supply(rated_current_a=60.0), load_a=8.0)
    path = true_path(depth)
    fine = np.arange(0.0, 600.0, 1.0)
    limited = battery_current_a(path, fine, np.full(fine.size, 52.0), 0.1) >= 52.0 - 1e-6
    truth = fine[np.argmin(limited)]
    assert abs(signal.limit_end_s - truth) <= 2.0 * every_s + 4.0
    assert signal.limit_current_a == pytest.approx(60.0, abs=0.1)
    of_charge = 1.0 - (1.0 - path.fast_ratio) * path.fast_share
    shape = Shape(3600.0 * path.charge_time_h / of_charge, path.fast_share, path.fast_ratio)
    assert 52.0 * current_limited(truth, shape)[2] == pytest.approx(path.amplitude_a, rel=0.03)


def test_limit_throughout_is_never_ended():
    signal = signal_from(simulated_connection(0.9), Supply(rated_current_a=60.0), load_a=8.0)
    assert signal.limited_throughout
    assert not signal.usable.any()


@pytest.mark.parametrize("depth", [0.02, 0.1, 0.2, 0.3])
@pytest.mark.parametrize("resolution", [0.1, 1.0])
def test_no_limit_is_seen_in_a_plain_taper(depth, resolution):
    readings = simulated_connection(depth, resolution_a=resolution, every_s=5.0)
    for supply in (None, Supply(rated_current_a=60.0)):
        assert signal_from(readings, supply, load_a=8.0).limit_end_s is None


def test_limit_is_found_without_knowing_the_supply():
    signal = signal_from(simulated_connection(0.45, minutes=10.0), None, load_a=8.0)
    assert signal.limit_end_s is not None
    assert np.isfinite(signal.limit_end_s)


@pytest.mark.parametrize("size", [-9.0, 6.0, 14.0])
def test_unmarked_step_is_found_once_at_its_time(size):
    readings = simulated_connection(0.12, load_a=12.0, steps=((150.0, size),), marked=False)
    steps = signal_from(readings, load_a=12.0).steps
    assert [(s.marked, s.elapsed_s) for s in steps] == [(False, 150.0)]


@pytest.mark.parametrize("depth", [0.05, 0.3, 0.45])
@pytest.mark.parametrize("every_s", [1.0, 5.0, 30.0])
@pytest.mark.parametrize("resolution", [0.1, 1.0])
def test_no_step_is_seen_in_a_taper_without_one(depth, every_s, resolution):
    for seed in range(4):
        readings = simulated_connection(
            depth, every_s=every_s, resolution_a=resolution, minutes=10.0, seed=seed
        )
        assert signal_from(readings, Supply(rated_current_a=60.0), load_a=8.0).steps == ()


def test_events_become_marked_steps_and_are_not_found_twice():
    readings = simulated_connection(0.12, steps=((120.0, 10.0), (200.0, -10.0)))
    steps = signal_from(readings, load_a=8.0).steps
    assert [(s.marked, s.elapsed_s, s.text) for s in steps] == [
        (True, 120.0, "switch"),
        (True, 200.0, "switch"),
    ]


def test_clamp_meter_replaces_the_supply_meter():
    plain = simulated_connection(0.12)
    clamp = plain.supply_current_a - 8.0
    readings = plain.model_copy(update={"battery_current_a": clamp})
    signal = signal_from(readings)
    assert signal.from_clamp
    assert signal.load.mean_a == 0.0
    np.testing.assert_array_equal(signal.current_a, clamp)


def test_load_column_is_taken_off():
    load = np.where(np.arange(61) < 30, 8.0, 15.0)
    plain = simulated_connection(0.12, steps=((150.0, 7.0),), marked=False)
    readings = plain.model_copy(update={"load_a": load})
    signal = signal_from(readings)
    np.testing.assert_allclose(signal.current_a, plain.supply_current_a - load)
    assert signal.steps == ()


def test_late_first_reading_is_said():
    plain = simulated_connection(0.12)
    late = Readings(elapsed_s=plain.elapsed_s + 36_000.0, supply_current_a=plain.supply_current_a)
    signal = signal_from(late)
    assert signal.time_s[0] == 0.0
    assert "36000 s" in signal.notes[0]


@pytest.mark.parametrize("seed", range(10))
@pytest.mark.parametrize("limit", [17.0, 30.0, 60.0])
@pytest.mark.parametrize("resolution", [0.1, 1.0])
def test_noise_does_not_hide_a_limit_that_lasts(seed, limit, resolution):
    noise = np.random.default_rng(seed).normal(0.0, 0.03 if resolution < 1 else 0.1, 61)
    flat = np.round((limit + noise) / resolution) * resolution
    readings = Readings(elapsed_s=5.0 * np.arange(61), supply_current_a=flat)
    assert signal_from(readings, Supply(rated_current_a=limit)).limited_throughout
