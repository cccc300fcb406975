"""What is left off, against every set tried, greedy rules, counting and hypothesis."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel.budget.selection import HELD, HELD_SD, Ceiling, most_kept
from tests.budget.cases import kept_by_greed, random_configuration, tried_all

SEEDS = (
    range(100),
    *(pytest.param(range(k, k + 100), marks=pytest.mark.slow) for k in range(100, 1000, 100)),
)


@pytest.mark.parametrize("seeds", SEEDS, ids=str)
def test_the_choice_is_that_of_every_set_tried(seeds):
    """Up to 14 consumers; a thousand configurations with the slow ones."""
    fitting = 0
    for seed in seeds:
        ceilings, must, wants = random_configuration(seed)
        choice, best = most_kept(ceilings, must, wants), tried_all(ceilings, must, wants)
        if best is None:
            assert not choice.fits, seed
            continue
        fitting += 1
        assert choice.fits, seed
        assert choice.runs.tolist() == best.tolist(), seed
    assert 70 <= fitting <= 95


@pytest.mark.parametrize("seed", range(3))
def test_sixty_consumers_are_chosen_as_by_greed(seed):
    """One limit without spread: there the number that fits is found by adding the smallest."""
    rng = np.random.default_rng(seed)
    means = np.round(rng.uniform(0.3, 20.0, 60), 1)
    ceiling = Ceiling(means, np.zeros(60), 8.0, 0.0, 8.0 + 0.45 * means.sum())
    must = rng.random(60) < 0.1
    wants = tuple(int(k) for k in rng.permutation(np.flatnonzero(~must)))
    choice = most_kept((ceiling,), must, wants)
    assert np.flatnonzero(choice.runs).tolist() == kept_by_greed(ceiling, must, wants)


@pytest.mark.parametrize("sd", [0.0, 0.15, 0.6])
def test_sixty_alike_are_counted_and_the_most_important_stay(sd):
    """Of k equal ones ``2 k + 1.645 sqrt(1 + k sd^2)`` must stay below 71.5 A: by counting."""
    ceiling = Ceiling(np.full(60, 2.0), np.full(60, sd), 0.0, 1.0, 71.5)
    counts = np.arange(61)
    fitting = counts[2.0 * counts + 1.6448536 * np.sqrt(1.0 + counts * sd**2) <= 71.5].max()
    wants = tuple(int(k) for k in np.random.default_rng(4).permutation(60))
    choice = most_kept((ceiling,), np.zeros(60, dtype=bool), wants)
    assert set(np.flatnonzero(choice.runs)) == set(wants[:fitting])
    assert 30 <= fitting <= 35


@pytest.mark.parametrize("sd", [0.0, 0.3])
def test_sixty_of_one_current_and_many_spreads_keep_the_surest(sd):
    """As many as fit are those of the smallest spreads, found by adding these first; of sets of
    that number the one that keeps the most important must be within the limit too."""
    rng = np.random.default_rng(5)
    ceiling = Ceiling(np.full(60, 2.0), sd + rng.uniform(0.0, 1.0, 60), 0.0, 1.0, 80.0)
    choice = most_kept((ceiling,), np.zeros(60, dtype=bool), tuple(range(60)))
    added = 2.0 * np.arange(1, 61) + 1.6448536 * np.sqrt(1.0 + np.cumsum(np.sort(ceiling.sds_a**2)))
    assert choice.runs.sum() == (added <= 80.0).sum()
    assert choice.fits


def one_limit(means, sds, limit, fixed_sd=0.0):
    return Ceiling(np.array(means), np.array(sds), 0.0, fixed_sd, limit)


def test_two_small_ones_are_not_left_off_for_one_large():
    """10 + 4 + 3 A in 10 A: leaving the most important off leaves one off, the other way two."""
    ceiling = one_limit([10.0, 4.0, 3.0], [0.0, 0.0, 0.0], 10.0)
    choice = most_kept((ceiling,), np.zeros(3, dtype=bool), (0, 1, 2))
    assert choice.runs.tolist() == [False, True, True]


def test_of_equal_numbers_the_most_important_stays():
    """Any one of three in 10 A: the first of the order."""
    ceiling = one_limit([6.0, 6.0, 6.0], [0.0, 0.0, 0.0], 10.0)
    for order in ((2, 0, 1), (1, 2, 0)):
        choice = most_kept((ceiling,), np.zeros(3, dtype=bool), order)
        assert np.flatnonzero(choice.runs).tolist() == [order[0]]


def test_a_load_right_at_the_limit_fits_and_a_milliampere_more_does_not():
    for limit, fits in ((10.0, True), (9.999, False)):
        ceiling = one_limit([6.0, 4.0], [0.0, 0.0], limit)
        choice = most_kept((ceiling,), np.ones(2, dtype=bool), ())
        assert choice.fits is fits
        assert choice.short_a == pytest.approx(10.0 - limit, abs=1e-9)


def test_spreads_add_as_roots_of_squares_with_95_percent_held():
    """3 and 4 A of spread make 5 A; the margin is 1.645 times that, by the normal law's table."""
    ceiling = one_limit([10.0, 10.0], [3.0, 4.0], 20.0)
    both = np.array([True, True])
    assert ceiling.excess_a(both) == pytest.approx(1.645 * 5.0, abs=0.003)
    assert HELD == 0.95


def test_the_load_stays_below_the_limit_in_95_percent_of_draws():
    """Drawn, not computed: a load right at its margin is over the limit once in twenty."""
    rng = np.random.default_rng(7)
    means, sds = rng.uniform(1.0, 8.0, 10), rng.uniform(0.1, 1.0, 10)
    ceiling = Ceiling(means, sds, 6.0, 1.5, 0.0)
    limit_a = ceiling.excess_a(np.ones(10, dtype=bool))
    drawn = rng.normal(means, sds, (40_000, 10)).sum(axis=1) + rng.normal(6.0, 1.5, 40_000)
    assert np.mean(drawn <= limit_a) == pytest.approx(0.95, abs=0.005)


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.floats(0.0, 30.0))
def test_a_higher_limit_never_leaves_more_off(seed, more_a):
    ceilings, must, wants = random_configuration(seed, most=6)
    raised = tuple(
        Ceiling(c.means_a, c.sds_a, c.fixed_a, c.fixed_sd_a, c.limit_a + more_a) for c in ceilings
    )
    before, after = most_kept(ceilings, must, wants), most_kept(raised, must, wants)
    assert before.fits <= after.fits
    if before.fits:
        assert after.runs.sum() >= before.runs.sum()


@settings(max_examples=40)
@given(st.integers(0, 10_000))
def test_what_must_run_runs_and_nothing_unasked_does(seed):
    ceilings, must, wants = random_configuration(seed, most=6)
    runs = most_kept(ceilings, must, wants).runs
    assert runs[must].all()
    assert set(np.flatnonzero(runs & ~must)) <= set(wants)


def test_the_margin_constant_is_the_normal_quantile():
    """1.6449 (table of the normal distribution)."""
    assert pytest.approx(1.6449, abs=1e-4) == HELD_SD
