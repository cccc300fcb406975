"""What bench checks of other batteries of a kind tell of start and loss of capacity of one more.

The chemistry's belief is a set of starts and losses per year with their weights. A battery of a
kind shares the kind's start and loss with probability ``k``, else it has any of the chemistry's; so
one more battery has those of the chemistry as long as nothing is known, whatever ``k`` is.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.special import logsumexp
from scipy.stats import norm

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.kinds import KindCheck

ALIKE = np.array([0.1, 0.3, 0.5, 0.7, 0.9])
"""Probabilities that a battery ages as its kind does, equally likely [0..1] (own choice)."""

KIND_LOG_SD = 0.05
"""How far batteries that age alike lie apart, standard deviation of the log of capacity over plate
[-] (own choice: that of new ones, `capacity.FadePrior.start_sd`, rounded down)."""


def start_and_loss(
    start: FloatArray, loss: FloatArray, loss_weight: FloatArray, checks: Sequence[KindCheck]
) -> FloatArray:
    """Weights of starts and losses per year of one more battery of a kind.

    Each check is the log of capacity over plate at an age: normal around ``ln(start) - loss age``
    with its error and `KIND_LOG_SD`. ``k`` is integrated over `ALIKE`.

    Parameters
    ----------
    start : ndarray, shape (s,)
        Equally likely starts over the plate [-].
    loss : ndarray, shape (f,)
        Losses per year [1/a].
    loss_weight : ndarray, shape (f,)
        Their weights, which sum to 1.
    checks : sequence of KindCheck
        One of each other battery.

    Returns
    -------
    ndarray, shape (s, f)
        Weights that sum to 1; the chemistry's without checks.
    """
    known = np.broadcast_to(loss_weight / start.size, (start.size, loss.size))
    if not checks:
        return known
    log = np.broadcast_to(np.log(known), (ALIKE.size, *known.shape))
    for check in checks:
        expected = np.log(start)[:, None] - loss * check.age_years
        spread = float(np.hypot(check.share_log_sd, KIND_LOG_SD))
        of_kind = norm.logpdf(np.log(check.share), expected, spread)
        of_any = logsumexp(of_kind, b=known)
        alike = ALIKE[:, None, None]
        log = log + np.logaddexp(np.log(alike) + of_kind, np.log1p(-alike) + of_any)
    weight = np.exp(log - logsumexp(log))
    by_share = weight.sum(axis=(1, 2))
    return np.asarray(np.tensordot(ALIKE, weight, 1) + (1.0 - ALIKE) @ by_share * known)
