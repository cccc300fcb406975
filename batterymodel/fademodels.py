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
from sklearn.base import BaseEstimator, RegressorMixin
from sklearn.gaussian_process.kernels import Matern

LIFE_FRACTION = 0.2
"""Loss of capacity that counts as a battery's life when time is scaled [-]."""

BAD_SHARE = 0.03
"""Share of checks that are taken to be bad: not full, stopped early, misread (own choice)."""

BAD_SD = 0.15
"""Error of a bad check [fraction of rated] (own choice)."""

SURELY_BAD = 20.0
"""Odds from which a check is called bad outright (own choice)."""

SCATTER = (0.0, 0.005, 0.01, 0.02, 0.035)
"""Scatter of checks beyond their stated errors [fraction of rated]."""

SCATTER_HALVED = 0.01
"""Scatter that is half as likely before the checks as none (own choice, on the calibration fleets:
equally likely scatter made intervals too wide)."""

RECOVERY_LIFE = (0.0, 0.05, 0.15)
"""Time over which that scatter persists, in lives: 0 is none. Rest lets capacity recover, and the
recovery wears off (own choice)."""

LEAST_FOR_RECOVERY = 20
"""Checks from which persisting scatter is considered."""

NEGLIGIBLE_WEIGHT = 5e-3


@dataclass(frozen=True)
class LinePrior:
    """Belief on the straight line: start and loss per unit of time, fractions of rated."""

    start: float
    start_sd: float
    loss: float
    loss_sd: float

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
    log_belief: float


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
        self.bad_ = np.zeros(x.size)
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
        """Mean of the trend at times, with its standard deviation; shapes ``(m,)``.

        ``scatter`` adds what a check scatters beyond its stated error.
        """
        at = self._scaled(X)
        moments = [self._moments(part, at, scatter) for part in self.parts_]
        weight = np.array([part.weight for part in self.parts_])
        means = np.array([mean for mean, _ in moments])
        mean = weight @ means
        if not return_std:
            return mean
        variances = np.array([np.diag(covariance) for _, covariance in moments])
        spread = weight @ (variances + (means - mean) ** 2)
        return mean, np.sqrt(np.maximum(spread, 0.0))

    def log_density(self, X: np.ndarray, y: np.ndarray, sd: np.ndarray) -> np.ndarray:  # noqa: N803
        """Log probability density of each later check, one by one; shape ``(m,)``."""
        at, total = self._scaled(X), np.zeros(len(y))
        for part in self.parts_:
            mean, covariance = self._moments(part, at, scatter=True)
            variance = np.diag(covariance) + sd**2
            total += part.weight * _mixed_density(y - mean, variance)
        return np.log(np.maximum(total, 1e-300))

    def sample_paths(
        self,
        X: np.ndarray,  # noqa: N803
        count: int,
        seed: int = 0,
        scatter: bool = False,
    ) -> np.ndarray:
        """Paths of the trend at times drawn from what is believed, shape ``(count, m)``."""
        rng = np.random.default_rng(seed)
        at = self._scaled(X)
        weight = np.array([part.weight for part in self.parts_])
        shares = rng.multinomial(count, weight)
        drawn = [
            _drawn(*self._moments(part, at, scatter), share, rng)
            for part, share in zip(self.parts_, shares, strict=True)
            if share
        ]
        return rng.permutation(np.concatenate(drawn))

    def own_settings(self) -> list[tuple[float, ...]]:
        """Settings of this model's own."""
        return [()]

    def own_belief(self) -> np.ndarray:
        """How likely each of them is before the checks, shape of `own_settings`."""
        count = len(self.own_settings())
        return np.full(count, 1.0 / count)

    def bend(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Covariance of what the model adds to the line, lives ``a`` against ``b``."""
        return np.zeros((a.size, b.size))

    def bend_mean(self, a: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Mean of what the model adds to the line at lives ``a``."""
        return np.zeros(a.size)

    def _nodes(self) -> list[_Node]:
        lengths = RECOVERY_LIFE if self.x_.size >= LEAST_FOR_RECOVERY else (0.0,)
        pairs = [(s, r) for s, r in product(SCATTER, lengths) if s > 0.0 or r == 0.0]
        own = list(zip(self.own_settings(), np.log(self.own_belief()), strict=True))
        return [
            _Node(s, r, setting, belief - np.log1p(s / SCATTER_HALVED))
            for (s, r), (setting, belief) in product(pairs, own)
        ]

    def _line(self, at: np.ndarray) -> np.ndarray:
        return self.prior.start - self.prior.loss * self.prior.life * at

    def _scaled(self, times: np.ndarray) -> np.ndarray:
        at = np.asarray(times, dtype=float).reshape(len(times), -1)[:, 0]
        return (at - self.origin_) / self.prior.life

    def _trend_covariance(self, a: np.ndarray, b: np.ndarray, node: _Node) -> np.ndarray:
        slope_sd = self.prior.loss_sd * self.prior.life
        line = self.prior.start_sd**2 + slope_sd**2 * np.outer(a, b)
        return line + self.bend(a, b, node.own)

    def _weigh(self, variance: np.ndarray) -> None:
        """Weights of all settings with no or one further bad check; keeps those that matter."""
        found, log_weights = [], []
        already = variance >= BAD_SD**2
        for node in self._nodes():
            covariance = self._trend_covariance(self.x_, self.x_, node)
            covariance += _scatter_covariance(self.x_, self.x_, node)
            covariance[np.diag_indices_from(covariance)] += variance + 1e-8
            residual = self.residual_ - self.bend_mean(self.x_, node.own)
            inverse, log_det = _inverse(covariance)
            alpha = inverse @ residual
            plain = node.log_belief - 0.5 * (residual @ alpha + log_det)
            stiff = 1.0 + BAD_SD**2 * np.diag(inverse)
            gain = 0.5 * BAD_SD**2 * alpha**2 / stiff - 0.5 * np.log(stiff)
            one_bad = plain + gain + np.log(BAD_SHARE / (1.0 - BAD_SHARE))
            one_bad[already] = -np.inf
            found.append((node, alpha, inverse, stiff))
            log_weights.append(np.concatenate([[plain], one_bad]))
        logs = np.array(log_weights)
        weights = np.exp(logs - logs.max())
        scatters = logs.shape[0] / len(self.own_settings())
        total_log = float(logs.max() + np.log(weights.sum() / scatters))
        self.log_evidence_ = total_log - 0.5 * self.x_.size * float(np.log(2.0 * np.pi))
        weights /= weights.sum()
        self.bad_ = weights[:, 1:].sum(axis=0)
        self.own_weights_ = [(found[k][0].own, float(weights[k].sum())) for k in range(len(found))]
        self.parts_ = _parts(found, weights)

    def _moments(self, part: _Part, at: np.ndarray, scatter: bool) -> tuple[np.ndarray, np.ndarray]:
        node = part.node
        cross = self._trend_covariance(at, self.x_, node)
        own = self._trend_covariance(at, at, node)
        if scatter:
            if node.recovery > 0.0:
                cross = cross + _scatter_covariance(at, self.x_, node)
            own = own + _scatter_covariance(at, at, node)
        mean = self._line(at) + self.bend_mean(at, node.own) + cross @ part.alpha
        return mean, own - cross @ part.precision @ cross.T


class LocalTrend(TrendModel):
    """Line whose slope wanders: an integrated random walk, so the latest slope counts most."""

    label = "local trend"

    def own_settings(self) -> list[tuple[float, ...]]:
        """Standard deviation of the slope's change over one life [fraction per life]."""
        return [(q,) for q in (0.01, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0)]

    def own_belief(self) -> np.ndarray:
        """The more a slope wanders, the less likely before the checks."""
        steps = np.array([q for (q,) in self.own_settings()])
        likely = 1.0 / (1.0 + steps / 0.1)
        return likely / likely.sum()

    def bend(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Integrated Wiener process from the first check."""
        low = np.minimum(a[:, None], b[None, :]).clip(min=0.0)
        high = np.maximum(a[:, None], b[None, :])
        return own[0] ** 2 * low**2 * (high / 2.0 - low / 6.0)


class GaussianProcessTrend(TrendModel):
    """Line plus a smooth deviation that forgets itself: far ahead the line alone is followed."""

    label = "Gaussian process"

    def own_settings(self) -> list[tuple[float, ...]]:
        """Size [fraction of rated] and length [lives] of the deviation."""
        return list(product((0.01, 0.03, 0.08), (0.4, 0.8, 1.6)))

    def bend(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Matern covariance, twice differentiable."""
        size, length = own
        return size**2 * Matern(length_scale=length, nu=2.5)(a[:, None], b[:, None])


class KneeRidge(TrendModel):
    """Ridge regression on hinges: one knee at an unknown time, after which fade is faster."""

    label = "knee"

    KNEE_LOSS, KNEE_LOSS_SD = 0.15, 0.15
    """Extra loss after a knee [fraction per life], and its spread (own choice)."""

    KNEES_PER_LIFE = 0.15
    """Knees a battery meets per life (own choice)."""

    AHEAD = 3.0
    """Lives ahead of the last check in which a knee is looked for."""

    SEEN = 10
    """Knees that are tried between the first and the last check."""

    def own_settings(self) -> list[tuple[float, ...]]:
        """Time of the knee [lives since the first check]; the last one is no knee at all."""
        end = float(self.x_.max())
        seen = np.linspace(0.0, end, self.SEEN + 1)[1:] if end > 0.0 else np.empty(0)
        ahead = np.linspace(end, end + self.AHEAD, 9)[1:]
        return [(float(at),) for at in (*seen, *ahead)] + [(np.inf,)]

    def own_belief(self) -> np.ndarray:
        """A knee is as likely in any stretch of time as in any other of its length."""
        at = np.array([knee for (knee,) in self.own_settings()])
        each = self.KNEES_PER_LIFE * np.diff(at[:-1], prepend=0.0)
        none = max(1.0 - each.sum(), 0.2)
        return np.append(each, none) / (each.sum() + none)

    def bend(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Covariance of the hinge's ridge weight."""
        return self.KNEE_LOSS_SD**2 * np.outer(_hinge(a, own[0]), _hinge(b, own[0]))

    def bend_mean(self, a: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Mean extra loss after the knee."""
        return -self.KNEE_LOSS * _hinge(a, own[0])


MODELS = (TrendModel, LocalTrend, GaussianProcessTrend, KneeRidge)
"""The models that are compared, the straight line first."""


def _hinge(at: np.ndarray, knee: float) -> np.ndarray:
    return np.maximum(at - knee, 0.0) if np.isfinite(knee) else np.zeros(at.size)


def _scatter_covariance(a: np.ndarray, b: np.ndarray, node: _Node) -> np.ndarray:
    apart = np.abs(a[:, None] - b[None, :])
    if node.recovery == 0.0:
        return node.scatter**2 * (apart == 0.0)
    return node.scatter**2 * (0.7 * np.exp(-apart / node.recovery) + 0.3 * (apart == 0.0))


def _inverse(covariance: np.ndarray) -> tuple[np.ndarray, float]:
    factor = np.linalg.cholesky(covariance)
    root = np.linalg.inv(factor)
    return root.T @ root, 2.0 * float(np.log(np.diag(factor)).sum())


def _parts(
    found: list[tuple[_Node, np.ndarray, np.ndarray, np.ndarray]], weights: np.ndarray
) -> list[_Part]:
    parts = []
    for k, bad in zip(*np.nonzero(weights > NEGLIGIBLE_WEIGHT * weights.max()), strict=True):
        node, alpha, inverse, stiff = found[k]
        if bad:
            column, scale = inverse[:, bad - 1], BAD_SD**2 / stiff[bad - 1]
            alpha = alpha - column * (scale * alpha[bad - 1])
            inverse = inverse - scale * np.outer(column, column)
        parts.append(_Part(node, float(weights[k, bad]), alpha, inverse))
    total = sum(part.weight for part in parts)
    return [_Part(p.node, p.weight / total, p.alpha, p.precision) for p in parts]


def _mixed_density(away: np.ndarray, variance: np.ndarray) -> np.ndarray:
    """Density of checks of which a share `BAD_SHARE` has the error of a bad one."""
    bad = variance + BAD_SD**2
    good = np.exp(-0.5 * away**2 / variance) / np.sqrt(2.0 * np.pi * variance)
    poor = np.exp(-0.5 * away**2 / bad) / np.sqrt(2.0 * np.pi * bad)
    return (1.0 - BAD_SHARE) * good + BAD_SHARE * poor


def _drawn(
    mean: np.ndarray, covariance: np.ndarray, count: int, rng: np.random.Generator
) -> np.ndarray:
    values, vectors = np.linalg.eigh(covariance)
    root = vectors * np.sqrt(np.maximum(values, 0.0))
    return mean + rng.standard_normal((count, mean.size)) @ root.T
