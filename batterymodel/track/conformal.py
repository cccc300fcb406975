"""How much ranges must be widened to hold the truth as often as they say (split-conformal).

For one case the *needed factor* is the least one at which its range holds the truth: with ``d`` the
distance of the truth from the median, ``h`` the half range on that side and ``s`` the truth's own
error::

    needed = sqrt(max(d**2 - (LEVEL_SD s)**2, 0)) / h

so that ``d`` lies within ``hypot(needed h, LEVEL_SD s)``. Of ``n`` cases that could be exchanged
for the next one, the ``ceil(LEVEL (n + 1))``-th smallest needed factor holds the next one with
`LEVEL` or more (V. Vovk, A. Gammerman, G. Shafer, *Algorithmic Learning in a Random World*,
Springer 2005, from memory; derived here by counting: each rank of the next one is equally likely).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil

import numpy as np
from scipy.stats import binom

from batterymodel.basis.intervals import LEVEL, LEVEL_SD
from batterymodel.track.kept import Spread

LEAST_CASES = 9
"""Cases from which on ranges may be widened (derived: ``ceil(0.9 (n + 1)) <= n`` holds from 9 on;
with fewer no finite factor holds the next case with 90 %)."""

MANY_CASES = 100
"""Cases from which on ranges may be narrowed (own choice: the bound that holds 90 % with
`SURE_TO_NARROW` exists from 29 cases on, as ``0.9**29 < 0.05``, but is the largest factor of all
then; of 100 it is the fifth largest, so that no single case decides)."""

BY_CHANCE = 0.05
"""Probability below which so many misses are taken for more than chance [0..1] (own choice)."""

SURE_TO_NARROW = 0.95
"""How sure it must be that narrowed ranges hold `LEVEL` [0..1] (own choice)."""

FACTORS = (0.5, 5.0)
"""Least and most that ranges are widened [-] (own choice)."""

LEAST_HALF = 1e-6
"""Half range below which there is none, in the range's unit (own choice, numerical)."""


@dataclass(frozen=True)
class Widening:
    """The factor of ranges [-], and the cases it rests on."""

    factor: float = 1.0
    cases: int = 0
    misses: int = 0


def needed_factor(told: Spread, truth: float, truth_sd: float) -> float | None:
    """Least factor at which a range holds a truth that has an error of its own.

    Parameters
    ----------
    told : Spread
        The range as the model alone had it.
    truth, truth_sd : float
        In its unit.

    Returns
    -------
    float or None
        None where the truth is less sure than the range, `LEVEL_SD` of its errors reaching further
        than half its width: it cannot tell. Which side it lies on does not count for that, so that
        misses and hits are left out alike.
    """
    if LEVEL_SD * truth_sd > max(0.5 * (told.high - told.low), LEAST_HALF):
        return None
    distance = truth - told.middle
    half = told.high - told.middle if distance > 0.0 else told.middle - told.low
    beyond = max(distance**2 - (LEVEL_SD * truth_sd) ** 2, 0.0)
    return float(np.sqrt(beyond) / max(half, LEAST_HALF))


def widening_of(needed: Sequence[float]) -> Widening:
    """The factor of the next ranges, from what those before would have needed.

    Ranges that miss are widened from `LEAST_CASES` on, where they miss more often than chance
    explains (`BY_CHANCE`). They are narrowed from `MANY_CASES` on, to the factor that holds `LEVEL`
    with `SURE_TO_NARROW`.

    Parameters
    ----------
    needed : sequence of float
        `needed_factor` of each case.

    Returns
    -------
    Widening
    """
    n, misses = len(needed), sum(factor > 1.0 for factor in needed)
    factor, ranked = 1.0, sorted(needed)
    if n >= LEAST_CASES and _more_than_chance(misses, n):
        factor = max(ranked[ceil(round(LEVEL * (n + 1), 9)) - 1], 1.0)
    elif n >= MANY_CASES:
        factor = min(ranked[_sure_rank(n) - 1], 1.0)
    return Widening(float(np.clip(factor, *FACTORS)), n, misses)


def _more_than_chance(misses: int, cases: int) -> bool:
    return float(binom.sf(misses - 1, cases, 1.0 - LEVEL)) <= BY_CHANCE


def _sure_rank(cases: int) -> int:
    """Least rank whose value holds `LEVEL` of all with `SURE_TO_NARROW`, whatever their spread.

    The ``k``-th smallest of ``n`` holds a share of at least ``p`` with the probability that a
    binomial count of ``n`` with ``p`` stays below ``k`` (derived).
    """
    ranks = np.arange(1, cases + 1)
    return int(ranks[np.argmax(binom.cdf(ranks - 1, cases, LEVEL) >= SURE_TO_NARROW)])
