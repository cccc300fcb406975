"""The likelihood of the charge to return: against brute force, limits and conservation."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import minimize
from scipy.special import expit

from batterymodel import Supply
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import _hold_likelihood, _nodes, charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.problem import jacobian, residuals, shape_of
from batterymodel.taper.shape import Shape, current_limited
from batterymodel.taper.signals import signal_from
from tests.conftest import simulated_connection
from tests.sparing import sparing

SUPPLY = Supply(rated_current_a=60.0)


def posterior_of(readings, battery, load_a=8.0, load_sd_a=0.1):
    signal = signal_from(readings, SUPPLY, load_a, load_sd_a)
    fit = fit_taper(signal, prior_for(battery, 25.0))
    return fit, charge_posterior(fit)


def moments(posterior):
    weight = posterior.of_charge * posterior.charge_ah
    weight = weight / weight.sum()
    mean = float(weight @ posterior.charge_ah)
    return mean, float(np.sqrt(weight @ (posterior.charge_ah - mean) ** 2))


@pytest.mark.long
@pytest.mark.parametrize("depth", sparing([0.25, 0.08], every=2))
def test_charge_agrees_with_sampling_the_same_problem(battery, depth):
    """Random-walk sampling of the fit's own residuals, a second method with no grid."""
    fit, posterior = posterior_of(simulated_connection(depth), battery)
    rng = np.random.default_rng(11)

    def energy(p):
        if p[0] < 0:
            return np.inf
        r = residuals(p, fit.data, fit.prior, fit.weights)
        return 0.5 * float(r @ r)

    start = minimize(
        energy,
        fit.parameters,
        method="BFGS",
        jac=lambda p: (
            jacobian(p, fit.data, fit.prior, fit.weights).T
            @ residuals(p, fit.data, fit.prior, fit.weights)
        ),
    ).x
    root = np.linalg.cholesky(fit.covariance + 1e-14 * np.eye(start.size))
    at, level, charges, kept = start, energy(start), [], 0
    for _ in range(25_000):
        trial = at + 0.6 * root @ rng.normal(size=start.size)
        new = energy(trial)
        if np.log(rng.uniform()) < level - new:
            at, level, kept = trial, new, kept + 1
        charges.append(at[0] * shape_of(at, fit.prior).charge_time_s / 3600.0)
    sampled = np.array(charges[2_000:])
    assert 0.1 < kept / 25_000 < 0.8
    mean, sd = moments(posterior)
    assert mean == pytest.approx(sampled.mean(), abs=0.25 * sampled.std())
    assert sd == pytest.approx(sampled.std(), rel=0.25)


def test_charge_left_falls_with_time_by_what_is_taken(battery):
    readings = simulated_connection(0.2, minutes=10.0)
    fit, posterior = posterior_of(readings, battery)
    taken = (
        np.trapezoid(
            fit.predict(readings.elapsed_s) - fit.base(readings.elapsed_s), readings.elapsed_s
        )
        / 3600.0
    )
    node, at, weight = posterior.pairs()
    start = float(weight @ posterior.charge_at_ah(0.0, node, at))
    left = float(weight @ posterior.charge_at_ah(600.0, node, at))
    assert start - left == pytest.approx(taken, rel=0.02)


def test_time_to_a_charge_left_is_the_inverse_of_the_charge_left(battery):
    _, posterior = posterior_of(simulated_connection(0.2, minutes=5.0), battery)
    node, at, _ = posterior.pairs()
    minutes = posterior.minutes_until_ah(0.8, node, at)
    best = int(np.argmax(posterior.likelihood[node, at]))
    later = posterior.window_end_s + 60.0 * float(minutes[best])
    assert posterior.charge_at_ah(later, node, at)[best] == pytest.approx(0.8, rel=0.01)
    assert (posterior.minutes_until_ah(1e3, node, at) == 0.0).all()


def test_supply_limited_throughout_only_bounds_the_charge_from_below(battery):
    _, posterior = posterior_of(simulated_connection(0.9), battery)
    assert posterior.limited_throughout
    low = np.interp(8.0, posterior.charge_ah, posterior.of_charge)
    deep = np.interp([28.0, 38.0], posterior.charge_ah, posterior.of_charge)
    assert low < 1e-3
    assert deep[0] == pytest.approx(deep[1], rel=0.25)


def test_longer_readings_never_widen_much_and_finally_narrow(battery):
    spread = []
    for minutes in (3.0, 10.0, 40.0):
        _, posterior = posterior_of(simulated_connection(0.2, minutes=minutes), battery)
        spread.append(moments(posterior)[1])
    assert spread[2] < 0.5 * spread[0]
    assert spread[1] < 1.1 * spread[0]


def test_an_unsure_end_of_the_limit_folds_the_likelihood_and_keeps_its_area(battery):
    """Folding with a normal keeps an area; numerical sum over the amplitude, node by node."""
    readings = simulated_connection(0.5, limit_a=40.0, load_a=8.0, minutes=15.0)
    signal = signal_from(readings, Supply(rated_current_a=40.0), 8.0, 0.1)
    fit = fit_taper(signal, prior_for(battery, 25.0))
    assert fit.data.limit_time_s > 60.0
    log_time, share = _nodes(fit)
    shape = Shape(np.exp(log_time)[:, None], expit(share)[:, None], fit.prior.fast_ratio)
    growth = current_limited(fit.data.limit_time_s, shape)[2]
    hold_a = np.repeat(np.linspace(10.0, 60.0, 20001)[None, :], log_time.size, axis=0)

    def log_likelihood(end_sd_s):
        own = replace(fit, signal=replace(fit.signal, limit_end_sd_s=end_sd_s))
        return _hold_likelihood(hold_a, shape, growth, own)

    sure, unsure = log_likelihood(0.0), log_likelihood(20.0)
    areas = [np.exp(log - sure.max()).sum(axis=1) for log in (sure, unsure)]
    seen = areas[0] > 1e-6 * areas[0].max()
    np.testing.assert_allclose(areas[1][seen], areas[0][seen], rtol=0.01)
