"""The models that bend: against a simulated walk, far ahead, and where fade turns."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel.fade.bends import AcceleratingKnee, GaussianProcessTrend, LocalTrend
from batterymodel.fade.models import LinePrior
from batterymodel.reference.capacity import LITHIUM_LOSS_POWERS

PRIOR = LinePrior(1.0, 0.06, 0.05, 0.04)
AT = np.array([0.0, 0.6, 1.3, 2.1, 2.8, 3.3])[:, None]
SD = np.full(6, 0.02)
FALLING = 1.0 - 0.05 * AT[:, 0] + np.array([0.004, -0.006, 0.002, 0.005, -0.004, 0.001])


def test_local_trend_covariance_is_that_of_an_integrated_walk():
    """Second method: covariance of a simulated walk's integral."""
    rng, steps, dt = np.random.default_rng(2), 400, 0.005
    slopes = np.cumsum(rng.standard_normal((8000, steps)) * np.sqrt(dt), axis=1)
    level = np.cumsum(slopes, axis=1) * dt
    a, b = 200, 400
    measured = (level[:, a - 1] * level[:, b - 1]).mean()
    at = np.array([a * dt, b * dt])
    assert LocalTrend(PRIOR).kernel(at, at, (1.0,))[0, 1] == pytest.approx(measured, rel=0.06)


def test_gaussian_process_returns_to_the_line_far_ahead():
    bent = FALLING - 0.04 * np.exp(-((AT[:, 0] - 3.3) ** 2))
    fitted = GaussianProcessTrend(PRIOR).fit(AT, bent, SD)
    far = fitted.predict(np.array([[40.0], [41.0]]))
    assert far[1] - far[0] == pytest.approx(-0.05, abs=0.03)


def test_knee_finds_where_fade_turns():
    at = np.linspace(0.0, 5.0, 11)[:, None]
    truth = 1.0 - 0.01 * at[:, 0] - 0.12 * np.maximum(at[:, 0] - 3.0, 0.0)
    fitted = AcceleratingKnee(PRIOR).fit(at, truth, np.full(11, 0.01))
    weights = {}
    for (knee, _), share in fitted.hyperposterior_:
        weights[knee] = weights.get(knee, 0.0) + share
    best = max(weights, key=weights.get) * PRIOR.life
    assert best == pytest.approx(3.0, abs=0.8)
    ahead = fitted.predict(np.array([[5.0], [6.0]]))
    assert ahead[0] - ahead[1] == pytest.approx(0.13, abs=0.04)


def test_belief_in_a_knee_sums_to_one():
    fitted = AcceleratingKnee(PRIOR).fit(AT, FALLING, SD)
    assert fitted.hyperprior().sum() == pytest.approx(1.0)
    assert fitted.hyperprior()[-len(PRIOR.powers) :].sum() >= 0.2


def test_loss_by_a_power_of_time_is_followed():
    """By hand: 0.04 of rated in the first year, and 1.5 as the power: 0.32 in the first four."""
    at = np.linspace(0.0, 3.0, 10)[:, None]
    fitted = AcceleratingKnee(PRIOR).fit(at, 1.0 - 0.04 * at[:, 0] ** 1.5, np.full(10, 0.005))
    weights = {}
    for (_, power), share in fitted.hyperposterior_:
        weights[power] = weights.get(power, 0.0) + share
    assert weights[1.5] > 0.8
    assert fitted.predict(np.array([[4.0]]))[0] == pytest.approx(1.0 - 0.32, abs=0.03)


def test_loss_by_the_square_root_of_time_is_followed_where_it_is_believed():
    """By hand: 0.06 of rated in the first year, so 0.134 in five. Further ahead knees may come:
    there the 0.18 of nine years need only be believed more."""
    at = np.linspace(0.0, 4.0, 9)[:, None]
    fraction, sd = 1.0 - 0.06 * np.sqrt(at[:, 0]), np.full(9, 0.005)
    believed = replace(PRIOR, powers=LITHIUM_LOSS_POWERS)
    slows = AcceleratingKnee(believed).fit(at, fraction, sd)
    weights = {}
    for (_, power), share in slows.hyperposterior_:
        weights[power] = weights.get(power, 0.0) + share
    assert weights[0.5] > 0.8
    without = AcceleratingKnee(PRIOR).fit(at, fraction, sd)
    soon, far = np.array([[5.0]]), np.array([[9.0]])
    away = [abs(model.predict(soon)[0] - 0.8658) for model in (slows, without)]
    assert away[0] < 0.5 * away[1]
    density = [model.log_density(far, np.array([0.82]), np.array([0.005]))[0] for model in
               (slows, without)]  # fmt: skip
    assert density[0] > density[1] + 1.0


def test_the_square_root_counts_from_new():
    """By hand, of a battery four lives old: sqrt(9) - sqrt(4) = 1 in the five lives ahead, a mean
    loss of 0.2 in place of 1.0 in one by time itself."""
    prior = replace(PRIOR, powers=(0.5,), began=4.0 * PRIOR.life)
    shift = AcceleratingKnee(prior).mean_shift(np.array([0.0, 5.0]), (np.inf, 0.5))
    loss_of_a_life = PRIOR.loss * PRIOR.life
    assert shift == pytest.approx([0.0, loss_of_a_life * (5.0 - 1.0)])


def test_without_knee_and_power_it_is_the_straight_line():
    at, line = np.linspace(-1.0, 5.0, 7), (np.inf, 1.0)
    model = AcceleratingKnee(PRIOR)
    assert not model.kernel(at, at, line).any()
    assert not model.mean_shift(at, line).any()
