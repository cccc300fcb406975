"""Partial pooling: what batteries of one kind share, learned from some of them for one more.

A battery's own value is ``N(mu, tau**2)`` around its kind's, and a kind's is ``N(m0, s0**2 -
tau**2)`` around its chemistry's, so that without a battery to learn from one more battery is
``N(m0, s0**2)`` whatever ``tau`` is: the chemistry's belief. A share ``e`` of the batteries is of
another kind, noted here by mistake, and says nothing of ``mu``. ``mu``, ``tau`` and ``e`` are
integrated over grids.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from scipy.special import logsumexp
from scipy.stats import norm
from scipy.stats import t as student_t

from batterymodel.basis.arrays import FloatArray

WITHIN_SHARES = np.linspace(0.1, 1.0, 10)
"""Spreads within a kind over those of the chemistry that are weighed, equally likely [-] (own
choice)."""

FOREIGN_SHARES = np.array([0.02, 0.1, 0.2, 0.35])
FOREIGN_WEIGHTS = np.array([0.4, 0.3, 0.2, 0.1])
"""Shares of batteries of another kind among those noted for one, and their probabilities [0..1]
(own choice)."""

FOREIGN_DEGREES = 4.0
"""Degrees of freedom of Student's t by which values of another kind, or of a sick battery, scatter
around the chemistry's [-] (own choice)."""

MEANS = np.linspace(-4.0, 4.0, 401)
"""Means of a kind that are looked at, in spreads of the chemistry around its mean [-] (own choice,
numerical)."""

SPREAD_DEGREES = 4.0
"""Connections that the known spread between connections of one battery counts for against its own
[-] (own choice)."""


def own_value(
    values: Iterable[float], sds: Iterable[float], moves_sd: float
) -> tuple[float, float]:
    """One battery's own value from its connections, so that it counts once, with its own spread.

    Weighed by ``1 / (sd**2 + moves_sd**2)``; where the connections lie further apart than that,
    the variance of the mean is raised to ``(d + chi2) / (d + n - 1)`` times itself, ``d`` being
    `SPREAD_DEGREES`.

    Parameters
    ----------
    values, sds : iterable of float
        What each connection says, and its error in the same unit.
    moves_sd : float
        How far one battery's values move between connections, same unit.

    Returns
    -------
    mean, sd : float

    Raises
    ------
    ValueError
        No values.
    """
    pairs = sorted(zip(values, sds, strict=True))
    if not pairs:
        raise ValueError("no values to weigh")
    value, sd = np.array(pairs).T
    weight = 1.0 / (sd**2 + moves_sd**2)
    mean = float(weight @ value / weight.sum())
    excess = (SPREAD_DEGREES + weight @ (value - mean) ** 2) / (SPREAD_DEGREES + value.size - 1)
    return mean, float(np.sqrt(max(float(excess), 1.0) / weight.sum()))


def pooled(
    values: Iterable[float], sds: Iterable[float], believed: float, believed_sd: float
) -> tuple[float, float]:
    """What to expect of one more battery of a kind, by its mean and standard deviation.

    Parameters
    ----------
    values, sds : iterable of float
        Own value of each other battery (`own_value`) and its error, in any order.
    believed, believed_sd : float
        The chemistry's belief in one battery, in the same unit.

    Returns
    -------
    mean, sd : float
        Those of the mixture over all means, spreads and shares; the belief itself without values,
        and never a greater spread than the belief's.

    Notes
    -----
    Second method in the tests: random walks over the same model.
    """
    pairs = sorted(zip(values, sds, strict=True))
    if not pairs:
        return believed, believed_sd
    value, sd = (np.array(pairs).T - np.array([[believed], [0.0]])) / believed_sd
    weight = _weights(value, sd)
    foreign = FOREIGN_SHARES[:, None, None]
    within = WITHIN_SHARES[None, :, None]
    mean = float((weight * (1.0 - foreign) * MEANS).sum())
    square = (1.0 - foreign) * (MEANS**2 + within**2) + foreign
    variance = float((weight * square).sum()) - mean**2
    return believed + believed_sd * mean, believed_sd * min(float(np.sqrt(variance)), 1.0)


def _weights(value: FloatArray, sd: FloatArray) -> FloatArray:
    """Probability of share, spread and mean, ``(e, t, m)``, all in the chemistry's spreads."""
    log = np.log(FOREIGN_WEIGHTS)[:, None, None] + _log_kinds()[None]
    scale = np.asarray(np.hypot(1.0, sd))
    of_another = np.asarray(student_t.logpdf(value, FOREIGN_DEGREES, scale=scale))
    for k in range(value.size):
        spread = np.asarray(np.hypot(WITHIN_SHARES, sd[k]))[:, None]
        of_kind = norm.logpdf(value[k], MEANS, spread)
        log = log + np.logaddexp(
            of_kind + np.log1p(-FOREIGN_SHARES)[:, None, None],
            np.log(FOREIGN_SHARES)[:, None, None] + of_another[k],
        )
    return np.asarray(np.exp(log - logsumexp(log)))


def _log_kinds() -> FloatArray:
    """Log of the belief in a kind's mean by spread within it, shape ``(t, m)``."""
    between = np.sqrt(np.maximum(1.0 - WITHIN_SHARES**2, (MEANS[1] - MEANS[0]) ** 2 / 12.0))
    log = norm.logpdf(MEANS, 0.0, between[:, None])
    return np.asarray(log - logsumexp(log, axis=1, keepdims=True))
