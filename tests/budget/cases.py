"""Random configurations, and the same question answered by trying every set."""

from __future__ import annotations

from itertools import product

import numpy as np

from batterymodel.budget.selection import ROUNDING_A, Ceiling


def random_configuration(
    seed: int, most: int = 14
) -> tuple[tuple[Ceiling, ...], np.ndarray, tuple]:
    """Ceilings, what must run, and the wanted in order, of up to so many consumers.

    Half of them have currents of whole half amperes without spread, so that sets of one load and
    loads right at the limit turn up; some have a second limit for the mean over hours.
    """
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, most + 1))
    plain = seed % 2 == 0
    means = rng.uniform(0.2, 20.0, n)
    means = np.round(2.0 * means) / 2.0 if plain else means
    sds = np.zeros(n) if plain else rng.uniform(0.0, 0.4, n) * means
    fixed, fixed_sd = (2.0, 0.0) if plain else (rng.uniform(0.0, 15.0), rng.uniform(0.0, 2.0))
    limit = rng.uniform(0.1, 1.1) * (means.sum() + fixed + 1.645 * np.hypot(sds.sum(), fixed_sd))
    limit = round(2.0 * limit) / 2.0 if plain else limit
    ceilings = [Ceiling(means, sds, fixed, fixed_sd, limit)]
    if seed % 3 == 0:
        duty = rng.uniform(0.1, 1.0, n)
        ceilings.append(Ceiling(duty * means, duty * sds, fixed, fixed_sd, 0.7 * limit))
    must = rng.random(n) < 0.2
    wants = tuple(int(k) for k in rng.permutation(np.flatnonzero(~must & (rng.random(n) < 0.9))))
    return tuple(ceilings), must, wants


def tried_all(
    ceilings: tuple[Ceiling, ...], must: np.ndarray, wants: tuple[int, ...]
) -> np.ndarray | None:
    """The set with most of the wanted, among those the most important; None where none fits."""
    told = np.array(list(product((True, False), repeat=len(wants))), dtype=bool)
    runs = np.tile(must, (len(told), 1))
    runs[:, list(wants)] = told
    fits = np.ones(len(told), dtype=bool)
    for one in ceilings:
        spread = np.sqrt(one.fixed_sd_a**2 + runs @ one.sds_a**2)
        load = runs @ one.means_a + one.fixed_a + 1.6448536269514722 * spread
        fits &= load <= one.limit_a + ROUNDING_A
    if not fits.any():
        return None
    kept = told[fits]
    importance = kept @ 2 ** np.arange(len(wants) - 1, -1, -1)
    best = must.copy()
    best[list(wants)] = kept[np.lexsort((importance, kept.sum(axis=1)))[-1]]
    return best


def kept_by_greed(ceiling: Ceiling, must: np.ndarray, wants: tuple[int, ...]) -> list[int]:
    """Those that run under one limit without spread, by adding the smallest first."""
    room = ceiling.limit_a - ceiling.fixed_a - ceiling.means_a[must].sum() + ROUNDING_A

    def how_many(left: float, others: tuple[int, ...]) -> int:
        return int((np.cumsum(np.sort(ceiling.means_a[list(others)])) <= left).sum())

    still, kept = how_many(room, wants), list(np.flatnonzero(must))
    for place, one in enumerate(wants):
        after = room - ceiling.means_a[one]
        if after >= 0.0 and still and how_many(after, wants[place + 1 :]) >= still - 1:
            room, still, kept = after, still - 1, [*kept, one]
    return sorted(int(k) for k in kept)
