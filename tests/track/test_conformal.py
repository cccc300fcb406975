"""Widening of ranges: ranks and needed factors by hand, coverage by simulation."""

from math import comb

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.basis.intervals import LEVEL, LEVEL_SD
from batterymodel.track.conformal import (
    FACTORS,
    LEAST_CASES,
    MANY_CASES,
    needed_factor,
    widening_of,
)
from batterymodel.track.kept import Spread

TOLD = Spread(middle=0.8, low=0.6, high=0.9)
EXACT = 1e-9


@pytest.mark.parametrize(
    ("truth", "sd", "needed"),
    [
        (0.85, EXACT, 0.5),
        (0.5, EXACT, 1.5),
        (1.0, EXACT, 2.0),
        (0.8, 0.05, 0.0),
        (0.5, 0.05, np.sqrt(0.3**2 - (LEVEL_SD * 0.05) ** 2) / 0.2),
        (0.87, 0.05, 0.0),
    ],
)
def test_needed_factor_by_hand(truth, sd, needed):
    """Distance over the half range on that side, the truth's own error taken off."""
    assert needed_factor(TOLD, truth, sd) == pytest.approx(needed, rel=1e-6)


@pytest.mark.parametrize("truth", [0.3, 0.8, 0.99])
def test_a_truth_less_sure_than_the_range_cannot_tell(truth):
    """Half the width is 0.15, whichever side the truth lies on."""
    assert needed_factor(TOLD, truth, 1.01 * 0.15 / LEVEL_SD) is None
    assert needed_factor(TOLD, truth, 0.99 * 0.15 / LEVEL_SD) is not None


@pytest.mark.parametrize(
    ("misses", "cases", "widens"),
    [
        (8, 8, False),
        (3, 9, False),
        (4, 9, True),
        (4, 20, False),
        (5, 20, True),
        (6, 30, False),
        (7, 30, True),
    ],
)
def test_ranges_widen_from_nine_on_where_misses_are_more_than_chance(misses, cases, widens):
    """Chance of so many misses or more, by a sum over ``C(n, k) 0.1**k 0.9**(n - k)``.

    3 of 9: 0.053, 4 of 9: 0.008; 4 of 20: 0.133, 5 of 20: 0.043; 6 of 30: 0.073, 7 of 30: 0.026.
    """
    tail = sum(comb(cases, k) * 0.1**k * 0.9 ** (cases - k) for k in range(misses, cases + 1))
    assert (tail <= 0.05 and cases >= 9) == widens
    found = widening_of([2.0] * misses + [0.5] * (cases - misses))
    assert (found.cases, found.misses) == (cases, misses)
    assert (found.factor > 1.0) == widens


def test_the_factor_is_the_rank_that_holds_the_next_case():
    """Of 9 the 9th, of 20 the 19th (0.9 x 21 = 18.9), of 29 the 27th (0.9 x 30 = 27)."""
    for cases, rank in ((9, 9), (20, 19), (29, 27)):
        needed = list(np.linspace(1.1, 3.0, cases))
        assert widening_of(needed).factor == pytest.approx(needed[rank - 1])


def test_ranges_narrow_only_from_a_hundred_on_and_by_the_sure_rank():
    """Of 100 the 96th smallest holds 90 % with 95 %: P(Bin(100, 0.9) <= 95) = 0.976, 94: 0.942."""
    needed = list(np.linspace(0.01, 0.96, MANY_CASES))
    assert widening_of(needed[:-1]).factor == 1.0
    assert widening_of(needed).factor == pytest.approx(needed[95])


def test_ranges_that_needed_hardly_anything_narrow_to_half_at_most():
    assert widening_of([0.01] * MANY_CASES).factor == 0.5
    assert widening_of([50.0] * MANY_CASES).factor == 5.0


@given(st.lists(st.floats(0.0, 20.0), max_size=150))
def test_never_narrower_where_ranges_miss(needed):
    """Fewer cases than nine change nothing, and misses beyond chance never narrow."""
    found = widening_of(needed)
    assert FACTORS[0] <= found.factor <= FACTORS[1]
    if len(needed) < LEAST_CASES:
        assert found.factor == 1.0
    if found.misses > 0.3 * max(len(needed), 1):
        assert found.factor >= 1.0
    if len(needed) < MANY_CASES:
        assert found.factor >= 1.0


@given(st.lists(st.floats(0.0, 4.0), min_size=9, max_size=60), st.randoms())
def test_the_order_of_cases_does_not_matter(needed, random):
    shuffled = list(needed)
    random.shuffle(shuffled)
    assert widening_of(shuffled) == widening_of(needed)


@pytest.mark.parametrize("too_narrow", [2.0, 3.0])
def test_coverage_comes_back_where_ranges_are_too_narrow(too_narrow):
    """Normal errors, ranges two and three times too narrow: after 30 cases 80 % or more hold."""
    rng = np.random.default_rng(20261126)
    held = []
    for _ in range(400):
        errors = np.abs(rng.normal(0.0, too_narrow / LEVEL_SD, 40))
        factor = widening_of(errors[:30]).factor
        held.append(np.mean(errors[30:] <= factor))
    assert 0.80 < np.mean(held) < 0.95


def test_right_ranges_are_hardly_widened():
    """Normal errors in right ranges: the mean factor after 30 cases, and coverage, stay."""
    rng = np.random.default_rng(7)
    factors, held = [], []
    for _ in range(400):
        errors = np.abs(rng.normal(0.0, 1.0 / LEVEL_SD, 40))
        factors.append(widening_of(errors[:30]).factor)
        held.append(np.mean(errors[30:] <= factors[-1]))
    assert 1.0 <= np.mean(factors) < 1.03
    assert LEVEL - 0.01 < np.mean(held) < LEVEL + 0.02


def test_a_truths_own_error_does_not_widen_right_ranges():
    """Right ranges and truths half as sure as they are: needed factors stay as low."""
    rng = np.random.default_rng(8)
    sd, truth_sd = 0.04, 0.03
    half = LEVEL_SD * sd
    needed = [
        needed_factor(Spread(middle=0.0, low=-half, high=half), float(truth), truth_sd)
        for truth in rng.normal(0.0, np.hypot(sd, truth_sd), 4000)
    ]
    share = np.mean([factor <= 1.0 for factor in needed if factor is not None])
    assert share == pytest.approx(LEVEL, abs=0.02)
