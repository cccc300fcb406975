"""Capacity against time or cycles: scikit-learn estimators of a falling trend with uncertainty.

Every model is a Gaussian process: a straight line with a prior by chemistry, plus what the model
adds to it. Unknown settings (scatter beyond the stated errors, bending) are averaged over a grid,
weighed by how well they explain the checks, instead of being set to one best value. Time is
measured in units of the prior's own life, so that years and cycles need no separate settings.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import product

import numpy as np
from scipy.linalg.lapack import dpstrf
from sklearn.base import (  # type: ignore[import-untyped]  # scikit-learn ships no types
    BaseEstimator,
    RegressorMixin,
)

from batterymodel.reference.capacity import LOSS_POWERS

LIFE_FRACTION = 0.2
"""Loss of capacity that counts as a battery's life when time is scaled [-] (own choice)."""

BAD_SHARE = 0.03
"""Share of checks that are taken to be bad: not full, stopped early, misread (own choice)."""

BAD_SD = 0.15
"""Error of a bad check [fraction of rated] (own choice)."""

SURELY_BAD = 20.0
"""Odds from which a check is called bad outright (own choice)."""

SCATTER = (0.0, 0.005, 0.01, 0.02, 0.035)
"""Scatter of checks beyond their stated errors [fraction of rated] (own choice)."""

SCATTER_HALVED = 0.01
"""Scatter that is half as likely before the checks as none (own choice, after 80 %
intervals with equally likely scatter covered 88 % of the calibration fleet)."""

RECOVERY_LIFE = (0.0, 0.05, 0.15)
"""Time over which that scatter persists, in lives: 0 is none. Rest lets capacity recover, and the
recovery wears off (own choice)."""

LEAST_FOR_RECOVERY = 20
"""Checks from which persisting scatter is considered (own choice)."""

LASTING_SHARE = 0.7
"""Share of the scatter's variance that persists where any does; the rest is new in every check (own
choice)."""

NEGLIGIBLE_WEIGHT = 5e-3
"""Weight over the largest below which a setting is left out (own choice)."""

MOST_NUMBERS = 8_000_000
"""Numbers of covariances that are held at once: 64 MB (own choice)."""


@dataclass(frozen=True)
class LinePrior:
    """Belief on the straight line: start and loss per unit of time, fractions of rated.

    ``powers`` of time are those the loss may follow besides: of the time since new, of which
    ``began`` had passed at the first check, where the loss slows, else since the first check.
    """

    start: float
    start_sd: float
    loss: float
    loss_sd: float
    powers: tuple[float, ...] = LOSS_POWERS
    began: float = 0.0

    @property
    def life(self) -> float:
        """Time in which a fast but believable battery loses `LIFE_FRACTION`."""
        return LIFE_FRACTION / (self.loss + self.loss_sd)


@dataclass(frozen=True)
class _Node:
    """One setting: scatter, its persistence in lives, and the model's own settings."""

    scatter: float
    recovery: float
    own: tuple[float, ...]
    log_hyperprior: float

    @property
    def spread(self) -> tuple[float, float]:
        """Scatter and its persistence."""
        return self.scatter, self.recovery


@dataclass(frozen=True)
class _Part:
    """One setting with one check taken as bad, or none: its weight and what predicts with it."""

    node: _Node
    weight: float
    alpha: np.ndarray
    precision: np.ndarray


class TrendModel(RegressorMixin, BaseEstimator):
    """Straight line with a prior; the base of the models that bend.

    Parameters
    ----------
    prior : LinePrior
        In the unit of time of ``X``.

    Attributes
    ----------
    log_evidence_ : float
        Log probability of the checks under the model, settings averaged.
    bad_ : ndarray, shape (n,)
        Probability that each check is bad.
    """

    label = "straight line"

    def __init__(self, prior: LinePrior) -> None:  # noqa: D107
        self.prior = prior

    def fit(self, X: np.ndarray, y: np.ndarray, sd: np.ndarray | None = None) -> TrendModel:  # noqa: N803
        """Learn from checks.

        Parameters
        ----------
        X : ndarray, shape (n, 1)
            Time of each check, rising or not, in the prior's unit.
        y, sd : ndarray, shape (n,)
            Capacity and its standard error [fraction of rated]; no error is taken as zero.

        Returns
        -------
        TrendModel
            Itself, fitted.

        Notes
        -----
        1. Checks whose odds of being bad exceed `SURELY_BAD` get the error of a bad check.
        2. Every setting, with no further or any one further check bad, is weighed by the
           probability of the checks (rank-one updates of one inverse).
        """
        x = np.asarray(X, dtype=float).reshape(len(X), -1)[:, 0]
        self.origin_ = float(x.min())
        self.x_ = (x - self.origin_) / self.prior.life
        variance = np.zeros(x.size) if sd is None else np.asarray(sd, dtype=float) ** 2
        self.residual_ = np.asarray(y, dtype=float) - self._line(self.x_)
        self._prepare()
        for _ in range(x.size // 4 + 1):
            self._weigh(variance)
            odds = self.bad_ / np.maximum(1.0 - self.bad_, 1e-12)
            odds[variance >= BAD_SD**2] = 0.0
            if odds.max() < SURELY_BAD:
                break
            variance[odds.argmax()] += BAD_SD**2
        self.bad_[variance >= BAD_SD**2] = 1.0
        self.noise_variance_ = variance
        return self

    def predict(
        self,
        X: np.ndarray,  # noqa: N803
        return_std: bool = False,
        scatter: bool = False,
    ) -> np.ndarray | tuple[np.ndarray, np.ndarray]:
        """Mean of the trend at times, and its standard deviation on demand.

        Parameters
        ----------
        X : ndarray, shape (m, 1)
            Times, in the prior's unit.
        return_std : bool
            Whether to return the standard deviation too.
        scatter : bool
            Whether to add what a check scatters beyond its stated error.

        Returns
        -------
        ndarray, or two of them, shape (m,)
            Capacity [fraction of rated].
        """
        weight, means, variances = self._moments(self._scaled(X), scatter)
        mean = weight @ means
        if not return_std:
            return mean
        return mean, np.sqrt(weight @ (variances + (means - mean) ** 2))

    def log_density(self, X: np.ndarray, y: np.ndarray, sd: np.ndarray) -> np.ndarray:  # noqa: N803
        """Log probability density of each later check, one by one.

        Parameters
        ----------
        X : ndarray, shape (m, 1)
            Time of each check, in the prior's unit.
        y, sd : ndarray, shape (m,)
            Capacity and its standard error [fraction of rated].

        Returns
        -------
        ndarray, shape (m,)
        """
        weight, means, variances = self._moments(self._scaled(X), scatter=True)
        density = weight @ _mixed_density(y - means, variances + sd**2)
        return np.log(np.maximum(density, 1e-300))

    def sample_paths(
        self,
        X: np.ndarray,  # noqa: N803
        count: int,
        seed: int = 0,
        scatter: bool = False,
    ) -> np.ndarray:
        """Paths of the trend drawn from what is believed.

        Parameters
        ----------
        X : ndarray, shape (m, 1)
            Times, in the prior's unit.
        count, seed : int
            Number of paths, and seed of the draw.
        scatter : bool
            Whether to add what a check scatters beyond its stated error.

        Returns
        -------
        ndarray, shape (count, m)
            Capacity [fraction of rated].
        """
        rng = np.random.default_rng(seed)
        at = self._scaled(X)
        weight = np.array([part.weight for part in self.parts_])
        shares = rng.multinomial(count, weight)
        shared, drawn = self._shared(at), []
        for part, share in zip(self.parts_, shares, strict=True):
            if share:
                mean, cross, own = self._crossed(part, at, scatter, shared)
                drawn.append(_drawn(mean, own - cross @ part.precision @ cross.T, share, rng))
        return rng.permutation(np.concatenate(drawn))

    def hyperparameters(self) -> list[tuple[float, ...]]:
        """Hyperparameters of this model's own, one tuple for each of its settings."""
        return [()]

    def hyperprior(self) -> np.ndarray:
        """Probability of each setting before the checks, shape of `hyperparameters`."""
        count = len(self.hyperparameters())
        return np.full(count, 1.0 / count)

    def kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Kernel of what the model adds to the line; the line alone adds nothing.

        Parameters
        ----------
        a, b : ndarray, shapes (i,) and (j,)
            Times [lives since the first check].
        own : tuple of floats
            One setting of `hyperparameters`.

        Returns
        -------
        ndarray, shape (i, j)
            Covariance [fraction of rated, squared].
        """
        return np.zeros((a.size, b.size))

    def mean_shift(self, a: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Mean of what the model adds to the line; the line alone adds nothing.

        Parameters
        ----------
        a : ndarray, shape (i,)
            Times [lives since the first check].
        own : tuple of floats
            One setting of `hyperparameters`.

        Returns
        -------
        ndarray, shape (i,)
            [fraction of rated].
        """
        return np.zeros(a.size)

    def _nodes(self) -> list[_Node]:
        lengths = RECOVERY_LIFE if self.x_.size >= LEAST_FOR_RECOVERY else (0.0,)
        pairs = [(s, r) for s, r in product(SCATTER, lengths) if s > 0.0 or r == 0.0]
        own = list(zip(self.hyperparameters(), np.log(self.hyperprior()), strict=True))
        return [
            _Node(s, r, setting, belief - np.log1p(s / SCATTER_HALVED))
            for (s, r), (setting, belief) in product(pairs, own)
        ]

    def _line(self, at: np.ndarray) -> np.ndarray:
        return self.prior.start - self.prior.loss * self.prior.life * at

    def _scaled(self, times: np.ndarray) -> np.ndarray:
        at = np.asarray(times, dtype=float).reshape(len(times), -1)[:, 0]
        return (at - self.origin_) / self.prior.life

    def _trend_kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        slope_sd = self.prior.loss_sd * self.prior.life
        line = self.prior.start_sd**2 + slope_sd**2 * np.outer(a, b)
        return line + self.kernel(a, b, own)

    def _prepare(self) -> None:
        """Covariances of the checks without their errors, by setting and by scatter."""
        self.nodes_ = self._nodes()
        own, spread = {n.own for n in self.nodes_}, {n.spread: n for n in self.nodes_}
        self.trend_ = {setting: self._trend_kernel(self.x_, self.x_, setting) for setting in own}
        self.scatter_ = {key: _scatter_kernel(self.x_, self.x_, n) for key, n in spread.items()}
        self.away_ = self.residual_ - [self.mean_shift(self.x_, n.own) for n in self.nodes_]

    def _covariances(self, nodes: list[_Node], variance: np.ndarray) -> np.ndarray:
        """Of the checks with their errors, shape (k, n, n)."""
        noise = np.diag(variance + 1e-8)
        return np.array([self.trend_[n.own] + self.scatter_[n.spread] + noise for n in nodes])

    def _explained(self, variance: np.ndarray) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Of every setting: log probability of the checks, ``alpha``, diagonal of the inverse."""
        found = []
        at_once = max(MOST_NUMBERS // self.x_.size**2, 1)
        for k in range(0, len(self.nodes_), at_once):
            own = slice(k, k + at_once)
            inverse, log_det = _inverses(self._covariances(self.nodes_[own], variance))
            alpha = (inverse @ self.away_[own, :, None])[:, :, 0]
            log_likelihood = -0.5 * ((self.away_[own] * alpha).sum(axis=1) + log_det)
            found.append((log_likelihood, alpha, np.diagonal(inverse, axis1=1, axis2=2).copy()))
        log_likelihood, alpha, diagonal = (
            np.concatenate(part) for part in zip(*found, strict=True)
        )
        return log_likelihood, alpha, diagonal

    def _weigh(self, variance: np.ndarray) -> None:
        """Weights of all settings with no or one further bad check; keeps those that matter."""
        log_likelihood, alpha, diagonal = self._explained(variance)
        belief = np.array([node.log_hyperprior for node in self.nodes_])
        plain = belief + log_likelihood
        stiff = 1.0 + BAD_SD**2 * diagonal
        gain = 0.5 * BAD_SD**2 * alpha**2 / stiff - 0.5 * np.log(stiff)
        one_bad = plain[:, None] + gain + np.log(BAD_SHARE / (1.0 - BAD_SHARE))
        one_bad[:, variance >= BAD_SD**2] = -np.inf
        logs = np.column_stack([plain, one_bad])
        weights = np.exp(logs - logs.max())
        total = np.log(weights.sum()) + logs.max() - np.log(np.exp(belief).sum())
        self.log_evidence_ = float(total) - 0.5 * self.x_.size * float(np.log(2.0 * np.pi))
        weights /= weights.sum()
        self.bad_ = weights[:, 1:].sum(axis=0)
        shares = weights.sum(axis=1)
        self.hyperposterior_ = [(n.own, float(w)) for n, w in zip(self.nodes_, shares, strict=True)]
        self.parts_ = self._parts(alpha, stiff, weights, variance)

    def _parts(
        self, alpha: np.ndarray, stiff: np.ndarray, weights: np.ndarray, variance: np.ndarray
    ) -> list[_Part]:
        parts = []
        kept = weights > NEGLIGIBLE_WEIGHT * weights.max()
        total = weights[kept].sum()
        for k in np.flatnonzero(kept.any(axis=1)):
            inverse = np.linalg.inv(self._covariances([self.nodes_[k]], variance)[0])
            for bad in np.flatnonzero(kept[k]):
                own_alpha, precision = alpha[k], inverse
                if bad:
                    column, scale = precision[:, bad - 1], BAD_SD**2 / stiff[k, bad - 1]
                    own_alpha = own_alpha - column * (scale * own_alpha[bad - 1])
                    precision = precision - scale * np.outer(column, column)
                weight = float(weights[k, bad] / total)
                parts.append(_Part(self.nodes_[k], weight, own_alpha, precision))
        return parts

    def _shared(self, at: np.ndarray) -> dict[tuple[float, ...], tuple[np.ndarray, ...]]:
        """Mean at times, covariance with the checks and with itself, by the model's own setting."""
        return {
            own: (
                self._line(at) + self.mean_shift(at, own),
                self._trend_kernel(at, self.x_, own),
                self._trend_kernel(at, at, own),
            )
            for own in {part.node.own for part in self.parts_}
        }

    def _crossed(
        self, part: _Part, at: np.ndarray, scatter: bool, shared: dict[tuple[float, ...], tuple]
    ) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Mean of one part, and the covariances that give its own."""
        mean, cross, own = shared[part.node.own]
        if scatter:
            if part.node.recovery > 0.0:
                cross = cross + _scatter_kernel(at, self.x_, part.node)
            own = own + _scatter_kernel(at, at, part.node)
        return mean + cross @ part.alpha, cross, own

    def _moments(self, at: np.ndarray, scatter: bool) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Weight ``(p,)``, mean and variance ``(p, m)`` of every part."""
        shared, means, variances = self._shared(at), [], []
        for part in self.parts_:
            mean, cross, own = self._crossed(part, at, scatter, shared)
            means.append(mean)
            variances.append(np.diag(own) - ((cross @ part.precision) * cross).sum(axis=1))
        weight = np.array([part.weight for part in self.parts_])
        return weight, np.array(means), np.maximum(np.array(variances), 0.0)


def _scatter_kernel(a: np.ndarray, b: np.ndarray, node: _Node) -> np.ndarray:
    apart = np.abs(a[:, None] - b[None, :])
    if node.recovery == 0.0:
        return node.scatter**2 * (apart == 0.0)
    lasting = LASTING_SHARE * np.exp(-apart / node.recovery)
    return node.scatter**2 * (lasting + (1.0 - LASTING_SHARE) * (apart == 0.0))


def _inverses(covariance: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Inverse ``(k, n, n)`` and log determinant ``(k,)`` of covariances."""
    factor = np.linalg.cholesky(covariance)
    log_det = 2.0 * np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    return np.linalg.inv(covariance), log_det


def _mixed_density(away: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Density of checks of which a share `BAD_SHARE` has the error of a bad one."""
    bad = variance + BAD_SD**2
    good = np.exp(-0.5 * away**2 / variance) / np.sqrt(2.0 * np.pi * variance)
    poor = np.exp(-0.5 * away**2 / bad) / np.sqrt(2.0 * np.pi * bad)
    return (1.0 - BAD_SHARE) * good + BAD_SHARE * poor


def _drawn(
    mean: np.ndarray, covariance: np.ndarray, count: int, rng: np.random.Generator
) -> np.ndarray:
    root = _root(covariance)
    return mean + rng.standard_normal((count, root.shape[1])) @ root.T


def _root(covariance: np.ndarray) -> np.ndarray:
    """Pivoted Cholesky factor, shape (m, rank): ``root @ root.T`` is the covariance."""
    factor, order, rank, _ = dpstrf(covariance, lower=1)
    root = np.empty((covariance.shape[0], rank))
    root[order - 1] = np.tril(factor)[:, :rank]
    return root
