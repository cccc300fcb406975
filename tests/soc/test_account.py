"""One condition's account of the readings: law, capacity and other evidence."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Supply
from batterymodel.soc.account import Account, Weighted, law_factors, laws_at, likelihood_at
from batterymodel.soc.evidence import SOC_GRID, charge_factors
from batterymodel.taper.charge_bounds import charge_bounds
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from tests.conftest import simulated_connection

SUPPLY = Supply(rated_current_a=60.0)
EVEN = np.ones(SOC_GRID.size)


def account_of(battery, depth=0.2, minutes=5.0, evidence=EVEN):
    signal = signal_from(simulated_connection(depth, minutes=minutes), SUPPLY, 8.0, 0.2)
    posterior = charge_posterior(fit_taper(signal, prior_for(battery, 25.0)))
    return Account(posterior, charge_factors(battery), evidence)


def mean(found: Weighted) -> float:
    return float(found.values @ found.weight / found.weight.sum())


def log_quantile(found: Weighted, share: float) -> float:
    order = np.argsort(found.values)
    cumulative = np.cumsum(found.weight[order]) / found.weight.sum()
    return float(np.log(found.values[order][np.searchsorted(cumulative, share)]))


def test_laws_keep_the_mean_and_reach_as_far_as_the_batteries_did():
    """A mixture of 60 % N(0, 0.08) and 40 % N(0, 0.4), by integration."""
    factors = law_factors(0.4)
    assert factors.mean() == pytest.approx(1.0)
    z = np.linspace(-3.0, 3.0, 200_001)
    density = (
        0.6 * np.exp(-0.5 * (z / 0.08) ** 2) / 0.08 + 0.4 * np.exp(-0.5 * (z / 0.4) ** 2) / 0.4
    )
    cumulative = np.cumsum(density) / density.sum()
    expected = np.exp(np.interp((np.arange(11) + 0.5) / 11, cumulative, z))
    np.testing.assert_allclose(factors, expected / expected.mean(), rtol=1e-3)


@pytest.mark.parametrize(
    ("left", "below"), [(0.5, 0.4045), (0.1, 0.5), (0.03, 1.0770), (1e-3, 1.2)]
)
def test_the_less_is_left_the_further_down_it_may_be(left, below):
    """hypot(0.4, 0.03 / left), at most 1.2."""
    expected = law_factors(below)
    np.testing.assert_allclose(laws_at(np.array([left]))[0], expected, rtol=0.02)


def test_what_was_delivered_was_measured(battery):
    """The law widens what is left, not what flowed: after a whole taper the start is known."""
    short, long = (account_of(battery, minutes=m).at_connection for m in (5.0, 180.0))
    spread = [
        log_quantile(Weighted(1.0 - a.values, a.weight), 0.95)
        - log_quantile(Weighted(1.0 - a.values, a.weight), 0.05)
        for a in (short, long)
    ]
    assert spread[1] < 0.4 * spread[0]


def test_charge_left_and_state_of_charge_agree(battery):
    account = account_of(battery)
    left = mean(account.left_ah)
    factor = account.factors.mean()
    assert 1.0 - mean(account.now) == pytest.approx(left * factor, rel=0.03)
    delivered = (mean(account.now) - mean(account.at_connection)) / factor
    readings = simulated_connection(0.2)
    flowed = np.trapezoid(readings.supply_current_a - 8.1, readings.elapsed_s) / 3600.0
    assert delivered == pytest.approx(flowed, rel=0.1)


def test_other_evidence_moves_law_and_charge_together(battery):
    """Evidence for a fuller battery takes charge left away, and minutes with it."""
    full = np.exp(-0.5 * ((SOC_GRID - 0.88) / 0.02) ** 2)
    plain, told = account_of(battery), account_of(battery, evidence=full)
    assert mean(told.at_connection) > mean(plain.at_connection) + 0.02
    assert mean(told.left_ah) < mean(plain.left_ah)
    assert mean(told.minutes_until(0.8)) < mean(plain.minutes_until(0.8))
    assert told.log_total < plain.log_total


def test_share_below_is_that_of_the_state_of_charge(battery):
    account = account_of(battery)
    found = account.at_connection
    middle = np.exp(0.0) * mean(found)
    expected = found.weight[found.values < middle].sum() / found.weight.sum()
    assert account.share_below(middle) == pytest.approx(expected)
    assert account.share_below(0.0) == 0.0


def test_a_supply_at_its_limit_bounds_and_follows_no_law(battery):
    signal = signal_from(simulated_connection(0.9), SUPPLY, 8.0, 0.2)
    fit = fit_taper(signal, prior_for(battery, 25.0))
    limited = Account(charge_posterior(fit), charge_factors(battery), EVEN)
    bounds = Account(charge_bounds(fit), charge_factors(battery), EVEN)
    for account in (limited, bounds):
        node, _, _ = account.pair_weight
        assert account.left_ah.values.size == node.size
        assert not account.posterior.follows_a_law


def test_what_a_current_that_is_no_taper_may_still_bring_follows_a_law(battery):
    """Its tail is carried on by one law of many too: each charge left counts with all factors."""
    signal = signal_from(simulated_connection(0.1, minutes=60.0), SUPPLY, 8.0, 0.2)
    bounds = charge_bounds(fit_taper(signal, prior_for(battery, 25.0)))
    account = Account(bounds, charge_factors(battery), EVEN)
    node, at, _ = account.pair_weight
    left_ah = bounds.charge_at_ah(bounds.window_end_s, node, at)
    laws = account.left_ah.values.reshape(node.size, -1) / left_ah[:, None]
    np.testing.assert_allclose(laws.mean(axis=1), 1.0)
    assert np.all(laws.max(axis=1) > 1.5 * laws.min(axis=1))


def test_more_charge_than_the_battery_holds_counts_as_empty(battery):
    small = charge_factors(battery) * 20.0
    account = replace(account_of(battery, depth=0.4), factors=small)
    assert mean(account.at_connection) == pytest.approx(0.0, abs=0.02)


@given(st.floats(-0.5, 1.0))
def test_evidence_is_read_at_the_nearest_point(soc):
    likelihood = np.linspace(0.0, 1.0, SOC_GRID.size)
    found = float(likelihood_at(np.array([soc]), likelihood)[0])
    assert found == pytest.approx(max(soc, 0.0), abs=0.5 / (SOC_GRID.size - 1) + 1e-12)
