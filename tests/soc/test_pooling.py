"""Partial pooling: no batteries leave the belief, more narrow it, and a second method agrees."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import norm
from scipy.stats import t as student_t

from batterymodel.soc.pooling import own_value, pooled

M0, S0 = 7.39, 0.36
BATTERIES = st.lists(
    st.tuples(st.floats(M0 - 3.0, M0 + 3.0), st.floats(0.02, 0.5)), min_size=1, max_size=12
)


def test_no_batteries_give_exactly_the_belief():
    assert pooled([], [], M0, S0) == (M0, S0)


@given(BATTERIES, st.randoms())
def test_the_order_of_batteries_does_not_matter(batteries, random):
    mixed = list(batteries)
    random.shuffle(mixed)
    assert pooled(*zip(*batteries, strict=True), M0, S0) == pooled(
        *zip(*mixed, strict=True), M0, S0
    )


@given(BATTERIES)
def test_batteries_never_widen_beyond_the_belief(batteries):
    mean, sd = pooled(*zip(*batteries, strict=True), M0, S0)
    values = [v for v, _ in batteries]
    assert 0.0 < sd <= S0
    assert min(M0, *values) - 1e-9 <= mean <= max(M0, *values) + 1e-9


@given(BATTERIES, st.floats(-5.0, 5.0), st.floats(0.1, 10.0))
def test_another_unit_gives_the_same_answer(batteries, shift, scale):
    mean, sd = pooled(*zip(*batteries, strict=True), M0, S0)
    other = pooled(
        [shift + scale * v for v, _ in batteries],
        [scale * s for _, s in batteries],
        shift + scale * M0,
        scale * S0,
    )
    assert other == pytest.approx((shift + scale * mean, scale * sd), rel=1e-6, abs=1e-6)


@pytest.mark.parametrize("count", [1, 5, 20])
def test_a_battery_of_which_nothing_was_read_teaches_nothing(count):
    assert pooled([9.0] * count, [1e3] * count, M0, S0) == pytest.approx((M0, S0), rel=1e-3)


def test_agreeing_batteries_narrow_towards_their_own_spread():
    """20 batteries 0.1 apart leave about that spread, and 0.1 / sqrt(20) of the mean."""
    rng = np.random.default_rng(4)
    found = [pooled(7.7 + rng.normal(0.0, 0.1, 20), [0.03] * 20, M0, S0) for _ in range(20)]
    means, sds = np.array(found).T
    assert abs(means.mean() - 7.7) < 0.02
    assert 0.10 < np.median(sds) < 0.16


def sampled(values, sds, count=400_000, seed=1):
    """The same by importance sampling: means, spreads and shares drawn before any battery."""
    rng = np.random.default_rng(seed)
    within = S0 * rng.choice(np.arange(1, 11) / 10.0, count)
    foreign = rng.choice([0.02, 0.1, 0.2, 0.35], count, p=[0.4, 0.3, 0.2, 0.1])
    mean = rng.normal(M0, np.sqrt(S0**2 - within**2))
    log = np.zeros(count)
    for value, sd in zip(values, sds, strict=True):
        of_kind = norm.pdf(value, mean, np.hypot(within, sd))
        of_another = student_t.pdf((value - M0) / np.hypot(S0, sd), 4.0) / np.hypot(S0, sd)
        log += np.log((1.0 - foreign) * of_kind + foreign * of_another)
    weight = np.exp(log - log.max())
    new = np.where(rng.random(count) < foreign, rng.normal(M0, S0, count), rng.normal(mean, within))
    at = weight @ new / weight.sum()
    return at, np.sqrt(weight @ (new - at) ** 2 / weight.sum())


@pytest.mark.parametrize(
    "values",
    [(7.9,), (7.6, 7.7, 7.65), (7.6, 7.7, 7.65, 6.6), (7.7, 7.72, 7.6, 7.8, 7.7, 6.9, 6.95, 9.4)],
)
def test_a_second_method_finds_the_same(values):
    """400,000 draws leave an error of about 0.002 of both."""
    sds = [0.06] * len(values)
    mean, sd = pooled(values, sds, M0, S0)
    expected = sampled(values, sds)
    assert mean == pytest.approx(expected[0], abs=0.006)
    assert sd == pytest.approx(min(expected[1], S0), abs=0.006)


def test_three_sick_batteries_leave_most_of_what_many_teach():
    """Fourteen that agree and three ten spreads away: the mean stays with the many."""
    rng = np.random.default_rng(2)
    many = 7.6 + rng.normal(0.0, 0.08, 14)
    alone = pooled(many, [0.05] * 14, M0, S0)
    beside = pooled([*many, 11.0, 11.0, 11.0], [0.05] * 17, M0, S0)
    assert abs(beside[0] - alone[0]) < 0.06
    assert beside[1] < 0.65 * S0


def test_one_battery_counts_once_however_often_it_was_connected():
    """By hand: 400 connections of error 0.06 that move by 0.045 leave 0.075 / 20 = 0.00375."""
    values = 7.6 + 0.075 * np.sqrt(1.0) * np.tile([1.0, -1.0], 200)
    mean, sd = own_value(values, [0.06] * 400, 0.045)
    assert mean == pytest.approx(7.6)
    assert sd == pytest.approx(0.00375 * np.sqrt((4 + 400) / (4 + 399)), rel=1e-6)
    once = pooled([7.6], [0.05], M0, S0)[1]
    assert pooled([mean], [sd], M0, S0)[1] > 0.9 * once


def test_connections_further_apart_than_known_widen_the_battery_itself():
    """By hand: two, 0.3 apart, of error 0.075: chi2 = 8, times (4 + 8) / (4 + 1) = 2.4."""
    mean, sd = own_value([7.45, 7.75], [0.06, 0.06], 0.045)
    assert (mean, sd) == pytest.approx((7.6, 0.075 / np.sqrt(2.0) * np.sqrt(2.4)))
    assert own_value([7.6, 7.6], [0.06, 0.06], 0.045)[1] == pytest.approx(0.075 / np.sqrt(2.0))


def test_no_connections_are_no_value():
    with pytest.raises(ValueError, match="no values"):
        own_value([], [], 0.045)
