"""One condition's account of the readings: how it splits them into charge, capacity and law.

An account holds a belief in the charge to return, node by node (`taper.posterior`), equally likely
charge factors (state of charge per ampere-hour), and the other evidence. Charge delivered during
the readings was measured; what is left was carried on by a model of the taper that no battery
follows exactly, so that it counts times a factor of `laws_at`::

    soc = 1 - k (delivered + law * left)
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import coo_array
from scipy.special import ndtr

from batterymodel.basis.arrays import FloatArray, IntArray
from batterymodel.soc.evidence import BEYOND_EMPTY, SOC_GRID
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.posterior import ChargePosterior

LAW_LOG_SD = 0.08
"""Spread of the log of charge left over that of two exponentials, for batteries that follow them
[-] (own choice: intervals of the reference set's calibration half then cover 97 %)."""

OTHER_LAW_LOG_SD = 0.4
"""The same for batteries of another charging law [-] (own choice after a look at the calibration
half of `tests.benchmarks.sick`: the charge missing is under-rated by a log of 0.6 in one sound
battery of twenty)."""

TAKEN_FOR_CHARGE, MOST_BELOW_LOG_SD = 0.03, 1.2
"""Charge over capacity that side reactions of a nearly full battery are taken for, which widens
that spread downwards, and the most it may come to [-] (own choice after the same look)."""

OTHER_LAW_SHARE = 0.4
"""Share of batteries of another charging law [0..1] (own choice, settled on both halves)."""

LAW_NODES = 11
"""Equally likely factors of `law_factors` (own choice, numerical)."""

LEAST_WEIGHT = 1e-300
"""Weight that stands for none, so that its log is a number (own choice, numerical)."""

NOW_BINS = 400
"""Bins of the charge left (own choice, numerical)."""

NOW_RANGE = 1e-6
"""Least charge left over the most that bins reach to [-] (own choice, numerical)."""

NEGLIGIBLE = 1e-5
"""Weight over the highest below which a value is left out [-] (own choice, numerical)."""

NEGLIGIBLE_CHARGE = 1e-12
"""The same of a charge before the other evidence is weighed in [-] (own choice, numerical)."""


def law_factors(below_log_sd: float) -> FloatArray:
    """Equally likely values of charge left over that of two exponentials.

    Quantiles of a mixture, over their mean: log-normal with `LAW_LOG_SD`, and a share
    `OTHER_LAW_SHARE` with `OTHER_LAW_LOG_SD` above and ``below_log_sd`` below.

    Parameters
    ----------
    below_log_sd : float
        Spread of the log below 1 [-].

    Returns
    -------
    ndarray, shape (t,)
        Factors from low to high, of mean 1 [-].
    """
    log = np.linspace(-6.0 * below_log_sd, 6.0 * OTHER_LAW_LOG_SD, 4001)
    sd = np.where(log < 0.0, below_log_sd, OTHER_LAW_LOG_SD)
    share = (1.0 - OTHER_LAW_SHARE) * ndtr(log / LAW_LOG_SD) + OTHER_LAW_SHARE * ndtr(log / sd)
    factors = np.exp(np.interp((np.arange(LAW_NODES) + 0.5) / LAW_NODES, share, log))
    return np.asarray(factors / factors.mean())


_BELOW = np.linspace(OTHER_LAW_LOG_SD, MOST_BELOW_LOG_SD, 9)
_LAWS = np.array([law_factors(sd) for sd in _BELOW])


def laws_at(left_of_capacity: FloatArray) -> FloatArray:
    """`law_factors` by what part of the capacity is left to return.

    Downwards ``hypot(OTHER_LAW_LOG_SD, TAKEN_FOR_CHARGE / left)``, at most `MOST_BELOW_LOG_SD`.

    Parameters
    ----------
    left_of_capacity : ndarray, shape (n,)
        Charge left over capacity [0..1].

    Returns
    -------
    ndarray, shape (n, t)
        Factors [-].
    """
    below = np.hypot(OTHER_LAW_LOG_SD, TAKEN_FOR_CHARGE / np.maximum(left_of_capacity, 1e-6))
    below = np.minimum(below, MOST_BELOW_LOG_SD)
    place = (below - _BELOW[0]) / (_BELOW[1] - _BELOW[0])
    low = np.minimum(place.astype(int), _BELOW.size - 2)
    part = (place - low)[:, None]
    return np.asarray((1.0 - part) * _LAWS[low] + part * _LAWS[low + 1])


def likelihood_at(soc: FloatArray, evidence: FloatArray) -> FloatArray:
    """Evidence at the nearest states of charge of `SOC_GRID`; 0 below empty.

    Parameters
    ----------
    soc : ndarray, any shape
        States of charge, 1 at most [-].
    evidence : ndarray, shape (s,)
        Likelihood over `SOC_GRID`.

    Returns
    -------
    ndarray
        Likelihood, shape of ``soc``.
    """
    place = np.rint(soc * (SOC_GRID.size - 1)).astype(int)
    return np.where(place >= 0, evidence[np.maximum(place, 0)], 0.0)


@dataclass(frozen=True)
class Weighted:
    """Values and their weights, both of shape ``(n,)``; only ratios of weights mean anything."""

    values: FloatArray
    weight: FloatArray

    def scaled(self, probability: float) -> Weighted:
        """The same values, their weights with this sum.

        Parameters
        ----------
        probability : float
            Sum of the new weights [0..1].

        Returns
        -------
        Weighted
        """
        return Weighted(self.values, self.weight * (probability / self.weight.sum()))


@dataclass(frozen=True)
class Account:
    """One condition's account of the readings.

    ``posterior`` weighs charges to return at connection, ``factors``, shape ``(f,)``, are equally
    likely states of charge per ampere-hour [1/Ah], and ``evidence``, shape ``(s,)``, is the
    likelihood of everything but the current over `SOC_GRID`.
    """

    posterior: ChargePosterior | ChargeBounds
    factors: FloatArray
    evidence: FloatArray

    @property
    def log_total(self) -> float:
        """Log of the integral over charge, law and factor; the posterior's scale left out."""
        return float(np.log(max(float(self._weight.sum()), LEAST_WEIGHT)))

    @cached_property
    def at_connection(self) -> Weighted:
        """State of charge at connection [0..1]."""
        weight = self._weight.ravel()
        kept = weight > NEGLIGIBLE * weight.max()
        return Weighted(self._soc.ravel()[kept], weight[kept])

    @cached_property
    def left_ah(self) -> Weighted:
        """Charge still to return after the last reading [Ah]."""
        return Weighted(self._left_by_law.ravel(), self._left_weight.ravel())

    @cached_property
    def now(self) -> Weighted:
        """State of charge at the last reading [0..1]."""
        left = self._left_by_law.ravel()
        most = max(float(left.max()), 1e-9) * (1.0 + 1e-9)
        edges = np.geomspace(max(float(left.min()), NOW_RANGE * most), most, NOW_BINS + 1)
        bins = np.clip(np.searchsorted(edges, left, side="right") - 1, 0, NOW_BINS - 1)
        middle = np.sqrt(edges[:-1] * edges[1:])
        soc = np.clip(1.0 - self.factors * middle[:, None], 0.0, 1.0)
        return Weighted(soc.ravel(), self._weight_in(bins).ravel())

    def _weight_in(self, bins: IntArray) -> FloatArray:
        """Weight in each bin of the charge left by factor, ``(p t,)`` to ``(NOW_BINS, f)``."""
        _, at, weight = self._pairs
        laws, factors = self._support.shape[1:]
        held = (at[:, None] * laws + np.arange(laws)).ravel()
        support = self._support.reshape(-1, factors)
        shape = (NOW_BINS, support.shape[0])
        by_bin = coo_array((np.repeat(weight, laws), (bins, held)), shape)
        return np.asarray(by_bin @ support)

    def minutes_until(self, done_ah: float) -> Weighted:
        """Time after the last reading until so much is left to return.

        Parameters
        ----------
        done_ah : float
            Charge left then [Ah].

        Returns
        -------
        Weighted
            Times [min].
        """
        node, at, _ = self._pairs
        done_by_law = done_ah / self._law_of(self._left_ah).T
        minutes = self.posterior.minutes_until_ah(done_by_law, node, at)
        return Weighted(minutes.T.ravel(), self._left_weight.ravel())

    def share_below(self, soc: float) -> float:
        """Probability that the state of charge at connection was below a value.

        Parameters
        ----------
        soc : float
            State of charge [0..1].

        Returns
        -------
        float
            Probability [0..1].
        """
        found = self.at_connection
        return float(found.weight[found.values < soc].sum() / found.weight.sum())

    def split_by(self, soc: float) -> tuple[FloatArray, FloatArray]:
        """Probability of each charge, law and factor, from a state of charge on and below it.

        Parameters
        ----------
        soc : float
            [0..1].

        Returns
        -------
        above, below : ndarray, shape (q, t, f)
            Together summing to 1.
        """
        every = np.zeros_like(self._support)
        every[self._kept] = self._weight / max(float(self._weight.sum()), LEAST_WEIGHT)
        below = np.zeros_like(every)
        below[self._kept] = np.where(self._soc < soc, every[self._kept], 0.0)
        return every - below, below

    @cached_property
    def pair_weight(self) -> tuple[IntArray, IntArray, FloatArray]:
        """Node, charge and probability of each pair under all evidence, shapes ``(p,)``."""
        node, at, _ = self._pairs
        weight = self._left_weight.sum(axis=1)
        return node, at, weight / weight.sum()

    def _law_of(self, left_ah: FloatArray) -> FloatArray:
        """Factors of the charging law by what is left to return, ``(n,)`` to ``(n, t)``."""
        if not self.posterior.follows_a_law:
            return np.ones((left_ah.size, 1))
        return laws_at(left_ah * self._middle_factor)

    @cached_property
    def _middle_factor(self) -> float:
        return float(np.median(self.factors))

    @cached_property
    def _charges(self) -> FloatArray:
        """Weight of each charge: the grid is even in the log, so that each counts by its size."""
        return np.asarray(self.posterior.likelihood.sum(axis=0) * self.posterior.charge_ah)

    @cached_property
    def laws(self) -> FloatArray:
        """Equally likely factors of the charging law by charge, shape ``(q, t)`` [-]."""
        return self._law_of(self._mean_left * self.posterior.charge_ah)

    @cached_property
    def _mean_left(self) -> FloatArray:
        """Charge still to return over that at connection, mean over the nodes, shape ``(q,)``."""
        likelihood = self.posterior.likelihood
        left = (likelihood * self.posterior.left_share).sum(axis=0)
        return np.asarray(left / np.maximum(likelihood.sum(axis=0), LEAST_WEIGHT))

    @cached_property
    def _kept(self) -> IntArray:
        """Charges that are not negligible, shape ``(k,)``."""
        return np.flatnonzero(self._charges >= NEGLIGIBLE_CHARGE * self._charges.max())

    @cached_property
    def _soc(self) -> FloatArray:
        """State of charge at connection by charge kept, law and factor, shape ``(k, t, f)``."""
        of_charge = 1.0 + self._mean_left[self._kept, None] * (self.laws[self._kept] - 1.0)
        charge = self.posterior.charge_ah[self._kept, None] * of_charge
        soc = 1.0 - charge[:, :, None] * self.factors
        return np.maximum(soc, 0.0) if self._beyond_empty(soc) else soc

    def _beyond_empty(self, soc: FloatArray) -> bool:
        """Whether only more charge than the battery holds explains the readings."""
        support = likelihood_at(soc, self.evidence).mean(axis=(1, 2))
        charges = self._charges[self._kept]
        return float(charges @ support) < BEYOND_EMPTY * float(charges.sum())

    @cached_property
    def _support(self) -> FloatArray:
        """Other evidence by charge, law and factor, with an even prior in state of charge."""
        support = np.zeros((self._charges.size, self.laws.shape[1], self.factors.size))
        found = likelihood_at(self._soc, self.evidence)
        support[self._kept] = found * self.factors / (found.shape[1] * self.factors.size)
        return support

    @cached_property
    def _weight(self) -> FloatArray:
        """Weight by charge kept, law and factor, not normalised, shape ``(k, t, f)``."""
        return self._charges[self._kept, None, None] * self._support[self._kept]

    @cached_property
    def _pairs(self) -> tuple[IntArray, IntArray, FloatArray]:
        return self.posterior.pairs()

    @cached_property
    def _left_ah(self) -> FloatArray:
        node, at, _ = self._pairs
        return self.posterior.charge_at_ah(self.posterior.window_end_s, node, at)

    @cached_property
    def _left_by_law(self) -> FloatArray:
        return self._left_ah[:, None] * self._law_of(self._left_ah)

    @cached_property
    def _left_weight(self) -> FloatArray:
        """Weight of each pair and law, not normalised, shape ``(p, t)``."""
        _, at, weight = self._pairs
        return weight[:, None] * self._support.sum(axis=2)[at]
