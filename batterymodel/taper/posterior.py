"""What the taper says of the charge to return, with its full uncertainty.

The fit of `batterymodel.taper.fit` is one point. Here the two shape parameters (time constant,
fast share) run over a grid around it; at each node the problem is linear in everything else, so the
likelihood of the hold amplitude follows in closed form (separable least squares, Gaussian
nuisance parameters integrated out).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from scipy.special import expit, log_ndtr, logit

from batterymodel.taper.fit import TaperFit
from batterymodel.taper.prior import Prior
from batterymodel.taper.problem import STEP_SD_A
from batterymodel.taper.shape import (
    Shape,
    branches_charge_s,
    branches_current,
    current_limited,
)

TIME_NODES = 31
SHARE_NODES = 7
CHARGE_POINTS = 300
LEAST_CHARGE_FRACTION = 2e-4
MOST_CHARGE_FRACTION = 1.6
NEGLIGIBLE = 1e-6
LEAST_LEFT = 0.02
REACH_SD = 4.0
STEEP_PER_H = 0.4
SLOW_PHASE = (0.2, 0.4)
"""Fall of the battery current over capacity [1/h], and time in the hold over the slow time
constant, from which on the tail's discrepancy counts in full (read off the calibration half)."""

SHARE_REACH_SD = 3.0


@dataclass(frozen=True)
class ChargeLikelihood:
    """Likelihood of the charge to return at connection, on a grid, node by node.

    Attributes
    ----------
    charge_ah : ndarray, shape (q,)
        Charge to return at connection [Ah], evenly spaced in its logarithm.
    likelihood : ndarray, shape (k, q)
        Of the readings, times the prior of the node; only ratios mean anything.
    window_end_s : float
        End of the readings [s].
    """

    charge_ah: np.ndarray
    likelihood: np.ndarray
    window_end_s: float

    @property
    def of_charge(self) -> np.ndarray:
        """Likelihood of each charge to return, all nodes together, its highest value 1."""
        total = self.likelihood.sum(axis=0)
        return total / total.max()

    def pairs(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Indices of node and charge of every pair that matters, and its probability.

        Under the current alone, with all states of charge equally likely before it.
        """
        share = self.likelihood * self.charge_ah
        node, at = np.nonzero(share > NEGLIGIBLE * share.max())
        weight = share[node, at]
        return node, at, weight / weight.sum()


@dataclass(frozen=True)
class ChargePosterior(ChargeLikelihood):
    """Likelihood of the charge to return under the two-exponential taper.

    Attributes
    ----------
    shape : Shape
        Shape of each node, fields of shape ``(k, 1)``.
    limit_time_s : float
        End of the opening phase at the supply's limit [s].
    limited_throughout : bool
    limit_charge_ah : float
        Charge delivered to the battery while the supply was at its limit [Ah].
    tail_log, tail_log_sd : float
        What two exponentials miss of the charge left after the readings, log-normal [ln].
    """

    shape: Shape
    limit_time_s: float
    limited_throughout: bool
    limit_charge_ah: float
    tail_log: float
    tail_log_sd: float

    def charge_at_ah(self, time_s: float, node: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Charge still to return at a time since connection [Ah] for pairs, shape ``(p,)``."""
        charge = self.charge_ah[at]
        if self.limited_throughout:
            taken = self.limit_charge_ah * time_s / self.limit_time_s
            return np.maximum(charge - taken, LEAST_LEFT * charge)
        left = branches_charge_s(time_s - self.limit_time_s, self.shape, *self._levels[:2])
        return charge * (left / (self._levels[2] * self.shape.charge_time_s))[node, 0]

    def current_per_ah(self, time_s: np.ndarray) -> np.ndarray:
        """Battery current above the floor at times in the hold phase over the charge to return
        at connection [A/Ah], shape ``(k, times)``.
        """
        current = branches_current(time_s - self.limit_time_s, self.shape, *self._levels[:2])
        return current * 3600.0 / (self.shape.charge_time_s * self._levels[2])

    def minutes_until_ah(self, left_ah: float, node: np.ndarray, at: np.ndarray) -> np.ndarray:
        """Minutes after the last reading until so much is left to return, for pairs.

        Zero where less is left already. The slow branch alone is followed, corrected once for
        what the fast branch still holds then; after readings at the supply's limit throughout,
        the slow branch takes all that is left.
        """
        now = self.charge_at_ah(self.window_end_s, node, at)
        tau = self.shape.time_constant_s[node, 0]
        if self.limited_throughout:
            return tau * np.log(np.maximum(now / left_ah, 1.0)) / 60.0
        fast, slow, growth = (level[node, 0] for level in self._levels)
        share, tau_fast = self.shape.fast_share[node, 0], self.shape.fast_time_constant_s[node, 0]
        scale = self.charge_ah[at] / (self.shape.charge_time_s[node, 0] * growth)
        slow_left, fast_left = scale * (1.0 - share) * slow * tau, scale * share * fast * tau_fast
        since_hold = tau * np.log(np.maximum(slow_left / left_ah, 1.0))
        still_fast = fast_left * np.exp(-since_hold / tau_fast)
        of_slow = np.maximum(left_ah - still_fast, left_ah / 2.0)
        since_hold = tau * np.log(np.maximum(slow_left / of_slow, 1e-12))
        after = self.limit_time_s + since_hold - self.window_end_s
        return np.where(now <= left_ah, 0.0, np.maximum(after, 0.0)) / 60.0

    @cached_property
    def _levels(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        return current_limited(self.limit_time_s, self.shape)


def charge_posterior(fit: TaperFit) -> ChargePosterior:
    """Likelihood of the charge to return at connection, from a taper fit; see the class."""
    log_time, logit_share = _nodes(fit)
    shape = Shape(np.exp(log_time)[:, None], expit(logit_share)[:, None], fit.prior.fast_ratio)
    charge = charge_grid_ah(fit.prior.capacity_ah)
    growth = current_limited(fit.data.limit_time_s, shape)[2]
    hold_a = charge[None, :] * 3600.0 / (shape.charge_time_s * growth)
    if fit.signal.limited_throughout:
        log_likelihood = _limit_not_ended(hold_a, fit)
        depth_current = np.full_like(hold_a, fit["hold_amplitude_a"])
    else:
        log_likelihood = _hold_likelihood(hold_a, shape, growth, fit)
        depth_current = hold_a
    log_likelihood = log_likelihood + _shape_prior(depth_current, shape, fit)
    shift, spread = tail_doubt(fit)
    return ChargePosterior(
        charge_ah=charge,
        likelihood=np.exp(log_likelihood - log_likelihood.max()),
        shape=shape,
        limit_time_s=fit.data.limit_time_s,
        window_end_s=float(fit.signal.time_s[-1]),
        limited_throughout=fit.signal.limited_throughout,
        limit_charge_ah=fit["hold_amplitude_a"] * fit.data.limit_time_s / 3600.0,
        tail_log=shift * fit.prior.tail_log,
        tail_log_sd=spread * fit.prior.tail_log_sd,
    )


@dataclass(frozen=True)
class NodeLikelihood:
    """Likelihood of the readings node by node, without any belief in shapes.

    Attributes
    ----------
    log_time, share_logit : ndarray, shape (k,)
        Log of the slow time constant [ln s] and logit of the fast share of each node.
    c_rate_per_h, log_likelihood : ndarray, shape (k, q)
        C-rate of the hold amplitude that each charge means, and the log likelihood there; relative
        to no battery current at all.
    log_cell : float
        Log of the area of one node in ``log_time`` and ``share_logit``.
    c_rate_guess_per_h : float
        C-rate at which spreads are taken [1/h].
    """

    log_time: np.ndarray
    share_logit: np.ndarray
    c_rate_per_h: np.ndarray
    log_likelihood: np.ndarray
    log_cell: float
    c_rate_guess_per_h: float


def node_likelihood(fit: TaperFit, prior: Prior, charge_ah: np.ndarray) -> NodeLikelihood:
    """Likelihood of charges to return [Ah], shape ``(q,)``, at the nodes around a fit.

    ``prior`` gives the belief in the float current; its belief in shapes is left out.
    """
    log_time, share_logit = _nodes(fit)
    shape = Shape(np.exp(log_time)[:, None], expit(share_logit)[:, None], prior.fast_ratio)
    growth = current_limited(fit.data.limit_time_s, shape)[2]
    hold_a = charge_ah[None, :] * 3600.0 / (shape.charge_time_s * growth)
    if fit.signal.limited_throughout:
        log_likelihood = _limit_not_ended(hold_a, fit)
    else:
        log_likelihood = _hold_likelihood(hold_a, shape, growth, replace(fit, prior=prior))
    return NodeLikelihood(
        log_time=log_time,
        share_logit=share_logit,
        c_rate_per_h=np.asarray(prior.c_rate_per_h(hold_a)),
        log_likelihood=log_likelihood,
        log_cell=_log_cell(fit),
        c_rate_guess_per_h=fit.data.c_rate_guess_per_h,
    )


def charge_grid_ah(capacity_ah: float) -> np.ndarray:
    """Charges to return that are looked at [Ah], shape ``(q,)``."""
    return capacity_ah * np.geomspace(LEAST_CHARGE_FRACTION, MOST_CHARGE_FRACTION, CHARGE_POINTS)


def tail_doubt(fit: TaperFit) -> tuple[float, float]:
    """How much of the tail's shift and of its spread applies, each 0..1.

    The spread counts by the part of the time constant's variance that the readings removed, times
    how long the slow branch was seen alone (`SLOW_PHASE`); the shift counts besides by how steeply
    the current fell (`STEEP_PER_H`). Both are 0 while the supply is at its limit.
    """
    if fit.signal.limited_throughout:
        return 0.0, 0.0
    hold_a, end = fit["hold_amplitude_a"], fit.signal.time_s[-1:]
    fall_a = hold_a - float((fit.predict(end) - fit.base(end))[0])
    before_sd = fit.prior.log_time_sd_at(float(fit.prior.c_rate_per_h(hold_a)))
    phase = (float(end[0]) - fit.data.limit_time_s) / fit.time_constant_s
    learned = 1.0 - float(fit.covariance[1, 1]) / before_sd**2
    alone = (phase - SLOW_PHASE[0]) / (SLOW_PHASE[1] - SLOW_PHASE[0])
    steep = float(fit.prior.c_rate_per_h(fall_a)) / STEEP_PER_H
    learned, alone, steep = np.clip([learned, alone, steep], 0.0, 1.0)
    return float(learned * alone * steep), float(learned * alone)


def _nodes(fit: TaperFit) -> tuple[np.ndarray, np.ndarray]:
    """Grid of log time constant and logit of the fast share along the ridge of the covariance."""
    cov = fit.covariance[1:3, 1:3]
    time_sd = float(np.sqrt(cov[0, 0]))
    share_given_time = float(np.sqrt(max(cov[1, 1] - cov[0, 1] ** 2 / cov[0, 0], 1e-8)))
    a = np.linspace(-REACH_SD, REACH_SD, TIME_NODES)[:, None]
    b = np.linspace(-SHARE_REACH_SD, SHARE_REACH_SD, SHARE_NODES)[None, :]
    log_time = fit["log_time_constant"] + time_sd * a + 0.0 * b
    share = fit["fast_share_logit"] + cov[0, 1] / time_sd * a + share_given_time * b
    return log_time.ravel(), share.ravel()


def _log_cell(fit: TaperFit) -> float:
    """Log of the area between four neighbouring nodes of `_nodes`."""
    cov = fit.covariance[1:3, 1:3]
    time_step = 2.0 * REACH_SD / (TIME_NODES - 1)
    share_step = 2.0 * SHARE_REACH_SD / (SHARE_NODES - 1)
    determinant = max(float(cov[0, 0] * cov[1, 1] - cov[0, 1] ** 2), 1e-16)
    return float(np.log(time_step * share_step) + 0.5 * np.log(determinant))


def _hold_likelihood(
    hold_a: np.ndarray, shape: Shape, growth: np.ndarray, fit: TaperFit
) -> np.ndarray:
    """Log likelihood of hold amplitudes ``(k, q)``, all linear nuisances integrated out."""
    data = fit.data
    levels = current_limited(data.limit_time_s, shape)[:2]
    current = branches_current(data.since_hold_s[None, :], shape, *levels)
    n, m = data.time_s.size, data.steps.shape[1]
    others = np.column_stack([np.ones((n, 2)), data.steps, data.deviations])
    weight, target = fit.weights / data.sigma_a**2, data.current_a
    if data.limit_row is not None:
        level, sd = data.limit_row
        current = np.column_stack([current, np.ones(current.shape[0])])
        others = np.vstack([others, np.eye(1, others.shape[1]) + np.eye(1, others.shape[1], 1)])
        weight, target = np.append(weight, 1.0 / sd**2), np.append(target, level)
    precision = np.concatenate(
        [
            [fit.prior.float_current_sd_a**-2, data.load_a[1] ** -2],
            np.full(m, STEP_SD_A**-2),
            np.ones(data.deviations.shape[1]),
        ]
    )
    centre = np.zeros(precision.size)
    centre[:2] = fit.prior.float_current_a, data.load_a[0]
    mean, variance, gain = _amplitude_given_shape(
        current, others, weight, target - others @ centre, precision
    )
    end_spread_a = mean * fit.signal.limit_end_sd_s / (shape.charge_time_s * growth)[:, 0]
    spread = (variance + end_spread_a**2)[:, None]
    return 0.5 * gain[:, None] - 0.5 * (hold_a - mean[:, None]) ** 2 / spread


def _amplitude_given_shape(
    current: np.ndarray,
    others: np.ndarray,
    weight: np.ndarray,
    target: np.ndarray,
    precision: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Mean and variance of the amplitude per node, and the chi-square it saves there."""
    weighted = others * weight[:, None]
    inner = np.linalg.cholesky(weighted.T @ others + np.diag(precision))
    project = np.linalg.solve(inner, weighted.T)
    crossed = current @ project.T
    explained = project @ target
    information = (current**2) @ weight - (crossed**2).sum(axis=1)
    information = np.maximum(information, 1e-12)
    mean = ((current * weight) @ target - crossed @ explained) / information
    return mean, 1.0 / information, mean**2 * information


def _limit_not_ended(hold_a: np.ndarray, fit: TaperFit) -> np.ndarray:
    """Log probability that a battery which would now take ``hold_a`` keeps the supply limited."""
    level_sd = fit.data.limit_row[1] if fit.data.limit_row else 1.0
    spread = float(np.hypot(level_sd, fit.data.load_a[1]))
    return log_ndtr((hold_a - fit["hold_amplitude_a"]) / spread)


def _shape_prior(hold_a: np.ndarray, shape: Shape, fit: TaperFit) -> np.ndarray:
    """Log prior of each node's shape at the rate each amplitude means, shape ``(k, q)``."""
    prior, rate = fit.prior, fit.prior.c_rate_per_h(hold_a)
    time_sd = prior.log_time_sd_at(fit.data.c_rate_guess_per_h)
    time_away = (np.log(shape.time_constant_s) - prior.log_time_at(rate)) / time_sd
    share_sd = prior.logit_share_sd(fit.data.c_rate_guess_per_h)
    share_away = (logit(shape.fast_share) - prior.logit_share_at(rate)) / share_sd
    return -0.5 * (time_away**2 + share_away**2)
