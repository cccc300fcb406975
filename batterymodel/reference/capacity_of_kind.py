"""What bench checks of other batteries of a kind tell of start and loss of capacity of one more.

The chemistry's belief is a set of starts over the plate and of usual losses per year, with their
weights, and a share of neglected batteries that lose a multiple. A kind has a start and a usual
loss of its own; a battery's lie around these, so that both ranks, taken as standard normal, go
together with a correlation ``r``. One more battery then has those of the chemistry as long as
nothing is known, whatever ``r`` is. Neglect is each battery's own fate, and no kind is free of it.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np
from scipy.special import ndtr, ndtri
from scipy.stats import cauchy, norm

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.kinds import KindCheck

ALIKE = (0.3, 0.7, 0.95)
"""Correlations between a kind and one of its batteries that are weighed, for starts and for losses
each, equally likely [-] (own choice)."""

OF_ANOTHER = 0.1
"""Share of batteries of another kind among those noted for one [0..1] (own choice)."""

MISTAKEN = 0.1
"""Share of checks whose capacity or age is a slip, and which tell nothing [0..1] (own choice)."""

MISTAKEN_AROUND, MISTAKEN_LOG_SCALE = 0.9, 0.15
"""Capacity over plate around which such a check lies [-], and the scale of its log there, which is
Cauchy distributed (own choice: most checks, whatever their day; a slip may lie anywhere)."""


def start_and_loss(
    start: FloatArray,
    usual: FloatArray,
    usual_weight: FloatArray,
    neglected: tuple[float, float],
    checks: Sequence[KindCheck],
) -> FloatArray:
    """Weights of starts and losses per year of one more battery of a kind.

    A check is the log of capacity over plate at an age, normal around ``ln(start) - loss age`` with
    its error; in a share `MISTAKEN` it lies anywhere, so that one slip cannot decide what a kind
    is. Correlations are integrated over `ALIKE`.

    Parameters
    ----------
    start : ndarray, shape (s,)
        Equally likely starts over the plate from low to high [-].
    usual : ndarray, shape (f,)
        Usual losses per year from few to many [1/a].
    usual_weight : ndarray, shape (f,)
        Their weights, which sum to 1.
    neglected : two floats
        Share of neglected batteries [0..1] and how much faster these lose capacity [-].
    checks : sequence of KindCheck
        One of each other battery.

    Returns
    -------
    ndarray, shape (s, 2 f)
        Weights that sum to 1, usual losses before those of neglected batteries; the chemistry's
        without checks.
    """
    share, by_start = neglected[0], usual_weight / start.size
    known = np.broadcast_to(by_start, (start.size, usual.size))
    if checks:
        seen = [_seen(start, usual, neglected, check) for check in checks]
        known = _of_one_more(known, usual_weight, seen)
    return np.concatenate([(1.0 - share) * known, share * known], axis=1)


def _seen(
    start: FloatArray, usual: FloatArray, neglected: tuple[float, float], check: KindCheck
) -> FloatArray:
    """Likelihood of a check by the battery's own start and usual loss, ``(s, f)``."""
    share, factor = neglected

    def at(loss: FloatArray) -> FloatArray:
        expected = np.log(start)[:, None] - loss * check.age_years
        return np.asarray(norm.pdf(np.log(check.share), expected, check.share_log_sd))

    meant = (1.0 - share) * at(usual) + share * at(factor * usual)
    slip = cauchy.pdf(np.log(check.share), np.log(MISTAKEN_AROUND), MISTAKEN_LOG_SCALE)
    return np.asarray((1.0 - MISTAKEN) * meant + MISTAKEN * slip)


def _of_one_more(known: FloatArray, usual_weight: FloatArray, seen: list[FloatArray]) -> FloatArray:
    """Weights of starts and usual losses after the others' checks, ``(s, f)``."""
    starts = [_around(np.full(known.shape[0], 1.0 / known.shape[0]), r) for r in ALIKE]
    losses = [_around(usual_weight, r) for r in ALIKE]
    found, total = np.zeros(known.shape), 0.0
    logs = [
        _log_of_kind(known, by_start, by_loss, seen)
        for by_start, by_loss in product(starts, losses)
    ]
    most = max(float(log.max()) for log in logs)
    for log, (by_start, by_loss) in zip(logs, product(starts, losses), strict=True):
        kind = np.exp(log - most)
        found += by_start.T @ kind @ by_loss
        total += float(kind.sum())
    return (1.0 - OF_ANOTHER) * found / total + OF_ANOTHER * known


def _log_of_kind(
    known: FloatArray, by_start: FloatArray, by_loss: FloatArray, seen: list[FloatArray]
) -> FloatArray:
    """Log of the weights of a kind's start and usual loss under one pair of correlations."""
    log = np.log(known)
    for likelihood in seen:
        of_kind = by_start @ likelihood @ by_loss.T
        of_any = float((known * likelihood).sum())
        mixed = (1.0 - OF_ANOTHER) * of_kind + OF_ANOTHER * of_any
        log = log + np.log(np.maximum(mixed, np.finfo(float).tiny))
    return np.asarray(log)


def _around(weight: FloatArray, correlation: float) -> FloatArray:
    """Chance of each node for a battery whose kind is at a node, ``(n, n)``, rows sum to 1."""
    edges = np.concatenate([[0.0], np.cumsum(weight)])
    edges[-1] = 1.0
    middle = ndtri(0.5 * (edges[1:] + edges[:-1]))[:, None]
    spread = float(np.sqrt(1.0 - correlation**2))
    return np.asarray(np.diff(ndtr((ndtri(edges) - correlation * middle) / spread), axis=1))
