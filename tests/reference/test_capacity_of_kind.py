"""Bench checks of other batteries of a kind: they weigh start and loss, never beyond reason."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import cauchy, norm

from batterymodel import Battery
from batterymodel.inputs.kinds import KindBelief, KindCheck
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.capacity_of_kind import start_and_loss

ON = date(2026, 3, 2)
START, USUAL = np.array([0.9, 1.0, 1.1]), np.array([0.02, 0.05, 0.2])
WEIGHT = np.array([0.3, 0.6, 0.1])
NEGLECTED = (0.12, 4.5)
CHECKS = st.lists(
    st.builds(
        KindCheck,
        age_years=st.floats(0.0, 20.0),
        share=st.floats(0.2, 1.4),
        share_log_sd=st.floats(0.01, 0.2),
    ),
    max_size=5,
)


def belief(*checks: KindCheck, **more: object):
    kind = KindBelief(
        batteries=max(len(checks), 1),
        connections=0,
        time_constant_h=0.45,
        time_constant_log_sd=0.36,
        fast_share=0.155,
        fast_share_sd=0.045,
        float_current_per_ah=0.003,
        float_current_per_ah_sd=0.003,
        rest_shift_sd_v=0.012,
        checks=checks,
    )
    battery = Battery(
        tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0, kind=kind, **more
    )
    return capacity_belief(battery, ON)


def weights(checks):
    return start_and_loss(START, USUAL, WEIGHT, NEGLECTED, checks)


def test_no_checks_are_the_chemistry():
    known = np.tile(WEIGHT / 3, (3, 1))
    assert np.allclose(weights(()), np.hstack([0.88 * known, 0.12 * known]))
    plain = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    assert np.array_equal(belief().capacity_ah, capacity_belief(plain, ON).capacity_ah)
    assert np.array_equal(belief().weight, capacity_belief(plain, ON).weight)


def test_a_check_that_says_nothing_leaves_the_chemistry():
    vague = KindCheck(age_years=5.0, share=0.8, share_log_sd=100.0)
    assert np.allclose(weights((vague,)), weights(()), atol=0.01)


@given(CHECKS, st.randoms())
def test_weights_sum_to_one_in_any_order(checks, random):
    mixed = list(checks)
    random.shuffle(mixed)
    found = weights(checks)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0.0).all()
    assert np.allclose(found, weights(mixed), atol=1e-12)


@given(CHECKS)
def test_no_kind_is_free_of_neglect(checks):
    found = weights(checks)
    assert found[:, 3:].sum() == pytest.approx(0.12)


def drawn(checks, count=400_000, seed=3):
    """The same by importance sampling over kinds, correlations and each battery's own ranks."""
    rng = np.random.default_rng(seed)
    edges_s, edges_u = norm.ppf([1 / 3, 2 / 3]), norm.ppf([0.3, 0.9])
    middle_s, middle_u = norm.ppf([1 / 6, 0.5, 5 / 6]), norm.ppf([0.15, 0.6, 0.95])
    kind_s = middle_s[rng.integers(3, size=count)]
    kind_u = middle_u[rng.choice(3, count, p=WEIGHT)]
    r_s, r_u = rng.choice([0.3, 0.7, 0.95], (2, count))

    def one():
        of_another = rng.random(count) < 0.1
        at = []
        for kind, r, edges in ((kind_s, r_s, edges_s), (kind_u, r_u, edges_u)):
            near = r * kind + np.sqrt(1 - r**2) * rng.standard_normal(count)
            at.append(np.digitize(np.where(of_another, rng.standard_normal(count), near), edges))
        return at

    weight = np.ones(count)
    for check in checks:
        s, u = one()
        left = np.log(START[s]) - np.array([[1.0], [4.5]]) * USUAL[u] * check.age_years
        seen = norm.pdf(np.log(check.share), left, check.share_log_sd)
        slip = cauchy.pdf(np.log(check.share), np.log(0.9), 0.15)
        weight *= 0.9 * (np.array([0.88, 0.12]) @ seen) + 0.1 * slip
    s, u = one()
    found = np.zeros((3, 3))
    np.add.at(found, (s, u), weight)
    return found / weight.sum()


@pytest.mark.parametrize("shares", [(0.8,), (0.95, 0.93), (0.6, 0.62, 0.9)])
def test_a_second_method_finds_the_same(shares):
    checks = [KindCheck(age_years=4.0, share=share, share_log_sd=0.12) for share in shares]
    found = weights(checks)
    assert np.allclose(found[:, :3] + found[:, 3:], drawn(checks), atol=0.012)


def test_a_kind_that_keeps_its_capacity_makes_a_worn_battery_unlikely():
    """Ten batteries of six years at 95 %: a battery of six years nobody checked is seldom worn."""
    good = [KindCheck(age_years=6.0, share=0.95, share_log_sd=0.02)] * 10
    poor = [KindCheck(age_years=6.0, share=0.65, share_log_sd=0.02)] * 10
    installed = {"installed_on": date(2020, 3, 2)}
    plain, better, worse = (belief(*c, **installed) for c in ((), good, poor))
    assert better.worn < 0.5 * plain.worn
    assert worse.worn > 1.5 * plain.worn
    assert better.rel_sd < plain.rel_sd
    assert better.worn > 0.01


def test_an_own_check_leaves_the_loss_since_to_the_kind():
    check = {"capacity_check": {"on": "2024-03-02", "capacity_ah": 38.0}}
    fast = [KindCheck(age_years=4.0, share=0.6, share_log_sd=0.02)] * 8
    plain, faster = belief(**check), belief(*fast, **check)
    assert faster.median_ah < 0.97 * plain.median_ah


@pytest.mark.parametrize(
    ("slip", "most"),
    [
        (KindCheck(age_years=1.0, share=1.25, share_log_sd=0.03), 0.02),
        (KindCheck(age_years=1.0, share=0.3, share_log_sd=0.03), 0.04),
        (KindCheck(age_years=20.0, share=0.95, share_log_sd=0.03), 0.21),
    ],
)
def test_one_slip_of_one_other_battery_decides_little(slip, most):
    """Read as it stands, each of the first two moves the odds by 0.2 to 0.3, the last by 0.29."""
    plain = belief(installed_on=date(2018, 3, 2))
    moved = belief(slip, installed_on=date(2018, 3, 2)).worn - plain.worn
    assert abs(moved) < most
