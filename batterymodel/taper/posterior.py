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

from batterymodel.basis.arrays import FloatArray, IntArray
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.prior import Prior
from batterymodel.taper.problem import MOST_LOG_TIME, STEP_SD_A
from batterymodel.taper.shape import (
    Shape,
    branches_charge_s,
    branches_current,
    current_limited,
)

TIME_NODES = 31
"""Nodes along the log time constant (own choice, numerical)."""

SHARE_NODES = 7
"""Nodes along the fast share given the time constant (own choice, numerical)."""

CHARGE_POINTS = 300
"""Charges to return that are looked at, 3 % from one to the next (own choice, numerical)."""

LEAST_CHARGE_FRACTION = 2e-4
"""Least charge to return that is looked at, over capacity [-] (own choice)."""

MOST_CHARGE_FRACTION = 1.6
"""Most charge to return that is looked at, over capacity [-]: more than a whole one, because the
plate or an old check may say too little (own choice)."""

NEGLIGIBLE = 1e-6
"""Probability over the highest below which a pair of node and charge is left out [-] (own choice,
numerical)."""

LEAST_LEFT = 0.02
"""Least part of the charge to return that is taken to be left while nothing shows its end [-] (own
choice)."""

LEAST_SHARE_VARIANCE = 1e-8
"""Keeps the grid of the fast share's logit from being a point [-] (own choice, numerical)."""

REACH_SD = 4.0
"""Reach of the nodes on either side of the fit's time constant [standard errors] (own choice,
numerical)."""

MOST_LOGIT = 20.0
"""Reach of the nodes of the fast share's logit, as that of the time constant is limited by
`problem.MOST_LOG_TIME`: beyond, exponentials over- and underflow [-] (own choice, numerical)."""

SHARE_REACH_SD = 3.0
"""Reach of the nodes on either side of the fast share [standard errors] (own choice, numerical)."""

UNKNOWN_LEVEL_SD_A = 1.0
"""Error of the limit's level where no reading gives it [A] (own choice)."""


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

    charge_ah: FloatArray
    likelihood: FloatArray
    window_end_s: float

    @property
    def of_charge(self) -> FloatArray:
        """Likelihood of each charge to return over all nodes, its highest value 1, ``(q,)``."""
        total = self.likelihood.sum(axis=0)
        return total / total.max()

    def pairs(self) -> tuple[IntArray, IntArray, FloatArray]:
        """Every pair of node and charge that matters, under the current alone.

        All states of charge are equally likely before it: the charge's grid is even in its
        logarithm, so that each pair weighs ``likelihood * charge``.

        Returns
        -------
        node, at, weight : ndarray, shape (p,)
            Index of the node, index of the charge in ``charge_ah``, and probability [-].
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
        The supply was at its limit to the last reading.
    limit_charge_ah : float
        Charge delivered to the battery while the supply was at its limit [Ah].
    """

    shape: Shape
    limit_time_s: float
    limited_throughout: bool
    limit_charge_ah: float

    @property
    def follows_a_law(self) -> bool:
        """Whether what is left was carried on by a law of the taper."""
        return not self.limited_throughout

    @cached_property
    def left_share(self) -> FloatArray:
        """Charge still to return after the readings over that at connection [0..1].

        Shape ``(k, 1)`` by the shape of each node; ``(1, q)`` while the supply is at its limit,
        where what it delivered is known, and at least `LEAST_LEFT`.
        """
        if self.limited_throughout:
            taken = self.limit_charge_ah * self.window_end_s / self.limit_time_s
            return np.maximum(1.0 - taken / self.charge_ah, LEAST_LEFT)[None, :]
        since = self.window_end_s - self.limit_time_s
        left = branches_charge_s(since, self.shape, *self._levels[:2])
        return np.asarray(left / (self._levels[2] * self.shape.charge_time_s))

    def charge_at_ah(self, time_s: float, node: IntArray, at: IntArray) -> FloatArray:
        """Charge still to return at a time since connection.

        By the shape of each node; while the supply is at its limit, less what it delivered by
        then, and at least `LEAST_LEFT` of all.

        Parameters
        ----------
        time_s : float
            Time since connection [s].
        node, at : ndarray, shape (p,)
            Index of the node, and of the charge in ``charge_ah``.

        Returns
        -------
        ndarray, shape (p,)
            Charge [Ah].
        """
        charge = self.charge_ah[at]
        if self.limited_throughout:
            taken = self.limit_charge_ah * time_s / self.limit_time_s
            return np.maximum(charge - taken, LEAST_LEFT * charge)
        left = branches_charge_s(time_s - self.limit_time_s, self.shape, *self._levels[:2])
        share = np.asarray(left / (self._levels[2] * self.shape.charge_time_s))
        return charge * share[node, 0]

    def current_per_ah(self, time_s: FloatArray) -> FloatArray:
        """Battery current above the float current, over the charge to return at connection.

        Parameters
        ----------
        time_s : ndarray, shape (t,)
            Times since connection, in the hold [s].

        Returns
        -------
        ndarray, shape (k, t)
            By node [A/Ah].
        """
        current = branches_current(time_s - self.limit_time_s, self.shape, *self._levels[:2])
        return np.asarray(current * 3600.0 / (self.shape.charge_time_s * self._levels[2]))

    def fall_per_ah(self, node: IntArray, after_s: FloatArray) -> FloatArray:
        """Fall of the current after the last reading, over the charge to return at connection.

        Parameters
        ----------
        node : ndarray, shape (p,)
        after_s : ndarray, shape (p, t)
            Times after the last reading, in the hold [s].

        Returns
        -------
        ndarray, shape (p, t)
            [A/Ah].
        """
        tau, share = np.asarray(self.shape.time_constant_s), np.asarray(self.shape.fast_share)
        shape = Shape(tau[node], share[node], self.shape.fast_ratio)
        fast, slow, growth = (level[node] for level in self._levels)
        since_s = self.window_end_s - self.limit_time_s
        now = branches_current(since_s, shape, fast, slow)
        later = branches_current(since_s + after_s, shape, fast, slow)
        return np.asarray((now - later) * 3600.0 / (shape.charge_time_s * growth))

    def minutes_until_ah(
        self, left_ah: float | FloatArray, node: IntArray, at: IntArray
    ) -> FloatArray:
        """Time after the last reading until so much is left to return.

        The slow branch alone is followed, corrected once for what the fast branch still holds then;
        after readings at the supply's limit throughout, the slow branch takes all that is left.

        Parameters
        ----------
        left_ah : float or ndarray, shape (p,) or (t, p)
            Charge left then [Ah].
        node, at : ndarray, shape (p,)
            Index of the node, and of the charge in ``charge_ah``.

        Returns
        -------
        ndarray, shape (p,) or (t, p)
            Times [min]; 0 where less is left already.
        """
        now = self.charge_at_ah(self.window_end_s, node, at)
        shape = self.shape.of_nodes(node)
        tau = shape.time_constant_s
        if self.limited_throughout:
            return tau * np.log(np.maximum(now / left_ah, 1.0)) / 60.0
        fast, slow, growth = (level[node, 0] for level in self._levels)
        share, tau_fast = shape.fast_share, shape.fast_time_constant_s
        scale = self.charge_ah[at] / (shape.charge_time_s * growth)
        slow_left, fast_left = scale * (1.0 - share) * slow * tau, scale * share * fast * tau_fast
        since_hold = tau * np.log(np.maximum(slow_left / left_ah, 1.0))
        still_fast = fast_left * np.exp(-since_hold / tau_fast)
        of_slow = np.maximum(left_ah - still_fast, left_ah / 2.0)
        since_hold = tau * np.log(np.maximum(slow_left / of_slow, 1e-12))
        after = self.limit_time_s + since_hold - self.window_end_s
        return np.where(now <= left_ah, 0.0, np.maximum(after, 0.0)) / 60.0

    @cached_property
    def _levels(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        return current_limited(self.limit_time_s, self.shape)


def charge_posterior(fit: TaperFit) -> ChargePosterior:
    """Likelihood of the charge to return at connection, from a taper fit.

    1. Spread nodes of time constant and fast share along the ridge of the fit's covariance.
    2. At each node and charge, the hold amplitude ``B = 3600 q / (charge time * growth)``.
    3. Likelihood of that amplitude with load, steps, float current and deviations integrated out;
       while the supply never left its limit, the probability that it would still stand there.
    4. Times the prior of the node's shape at that amplitude's C-rate.

    Parameters
    ----------
    fit : TaperFit
        Gives the signal, the prior and where the nodes lie.

    Returns
    -------
    ChargePosterior
    """
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
    return _posterior_of(fit, charge, shape, log_likelihood)


def _posterior_of(
    fit: TaperFit, charge_ah: FloatArray, shape: Shape, log_likelihood: FloatArray
) -> ChargePosterior:
    return ChargePosterior(
        charge_ah=charge_ah,
        likelihood=np.exp(log_likelihood - log_likelihood.max()),
        shape=shape,
        limit_time_s=fit.data.limit_time_s,
        window_end_s=float(fit.signal.time_s[-1]),
        limited_throughout=fit.signal.limited_throughout,
        limit_charge_ah=fit["hold_amplitude_a"] * fit.data.limit_time_s / 3600.0,
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
        to no battery current at all under the fit's own belief in the float current.
    log_cell : float
        Log of the area of one node in ``log_time`` and ``share_logit``.
    c_rate_guess_per_h : float
        C-rate at which spreads are taken [1/h].
    fit : TaperFit
        Around which the nodes lie.
    charge_ah : ndarray, shape (q,)
        Charges to return [Ah].
    """

    log_time: FloatArray
    share_logit: FloatArray
    c_rate_per_h: FloatArray
    log_likelihood: FloatArray
    log_cell: float
    c_rate_guess_per_h: float
    fit: TaperFit
    charge_ah: FloatArray

    def posterior(self, log_weight: FloatArray) -> ChargePosterior:
        """Posterior of the charge to return under a belief in shapes.

        Parameters
        ----------
        log_weight : ndarray, shape (k, q)
            Log likelihood times the belief.

        Returns
        -------
        ChargePosterior
        """
        share, ratio = expit(self.share_logit)[:, None], self.fit.prior.fast_ratio
        shape = Shape(np.exp(self.log_time)[:, None], share, ratio)
        return _posterior_of(self.fit, self.charge_ah, shape, log_weight)


def node_likelihood(fit: TaperFit, prior: Prior, charge_ah: FloatArray) -> NodeLikelihood:
    """Likelihood of charges to return at the nodes around a fit.

    Parameters
    ----------
    fit : TaperFit
    prior : Prior
        Gives the belief in the float current; its belief in shapes is left out.
    charge_ah : ndarray, shape (q,)
        Charges to return [Ah].

    Returns
    -------
    NodeLikelihood
    """
    log_time, share_logit = _nodes(fit)
    shape = Shape(np.exp(log_time)[:, None], expit(share_logit)[:, None], prior.fast_ratio)
    growth = current_limited(fit.data.limit_time_s, shape)[2]
    hold_a = charge_ah[None, :] * 3600.0 / (shape.charge_time_s * growth)
    if fit.signal.limited_throughout:
        log_likelihood = _limit_not_ended(hold_a, fit)
    else:
        own = replace(fit, prior=prior)
        log_likelihood = _hold_likelihood(hold_a, shape, growth, own)
        log_likelihood += _log_evidence_without_battery(own) - _log_evidence_without_battery(fit)
    return NodeLikelihood(
        log_time=log_time,
        share_logit=share_logit,
        c_rate_per_h=np.asarray(prior.c_rate_per_h(hold_a)),
        log_likelihood=log_likelihood,
        log_cell=_log_cell(fit),
        c_rate_guess_per_h=fit.data.c_rate_guess_per_h,
        fit=fit,
        charge_ah=charge_ah,
    )


def charge_grid_ah(capacity_ah: float, points: int = CHARGE_POINTS) -> FloatArray:
    """Charges to return that are looked at for a capacity, even in the log.

    Parameters
    ----------
    capacity_ah : float
        Capacity [Ah].
    points : int, optional

    Returns
    -------
    ndarray, shape (points,)
        From `LEAST_CHARGE_FRACTION` to `MOST_CHARGE_FRACTION` of the capacity [Ah].
    """
    return capacity_ah * np.geomspace(LEAST_CHARGE_FRACTION, MOST_CHARGE_FRACTION, points)


def _nodes(fit: TaperFit) -> tuple[FloatArray, FloatArray]:
    """Grid of log time constant and logit of the fast share along the ridge of the covariance."""
    cov = fit.covariance[1:3, 1:3]
    time_sd = float(np.sqrt(cov[0, 0]))
    share_given_time = float(
        np.sqrt(max(cov[1, 1] - cov[0, 1] ** 2 / cov[0, 0], LEAST_SHARE_VARIANCE))
    )
    a = np.linspace(-REACH_SD, REACH_SD, TIME_NODES)[:, None]
    b = np.linspace(-SHARE_REACH_SD, SHARE_REACH_SD, SHARE_NODES)[None, :]
    log_time = fit["log_time_constant"] + time_sd * a + 0.0 * b
    share = fit["fast_share_logit"] + cov[0, 1] / time_sd * a + share_given_time * b
    log_time = np.clip(log_time, 0.0, MOST_LOG_TIME)
    return log_time.ravel(), np.clip(share, -MOST_LOGIT, MOST_LOGIT).ravel()


def _log_cell(fit: TaperFit) -> float:
    """Log of the area between four neighbouring nodes of `_nodes`."""
    cov = fit.covariance[1:3, 1:3]
    time_step = 2.0 * REACH_SD / (TIME_NODES - 1)
    share_step = 2.0 * SHARE_REACH_SD / (SHARE_NODES - 1)
    determinant = max(float(cov[0, 0] * cov[1, 1] - cov[0, 1] ** 2), 1e-16)
    return float(np.log(time_step * share_step) + 0.5 * np.log(determinant))


def _hold_likelihood(
    hold_a: FloatArray, shape: Shape, growth: FloatArray, fit: TaperFit
) -> FloatArray:
    """Log likelihood of hold amplitudes ``(k, q)``, all linear nuisances integrated out.

    Where the supply left its limit at an uncertain moment, that likelihood of variance ``v`` is
    folded with a normal of variance ``e``: ``sqrt(v / (v + e)) exp(-(a - mean)**2 / (v + e) / 2)``.
    """
    data = fit.data
    levels = current_limited(data.limit_time_s, shape)[:2]
    current = branches_current(data.since_hold_s[None, :], shape, *levels)
    if data.limit_row is not None:
        current = np.column_stack([current, np.ones(current.shape[0])])
    mean, variance, gain = _amplitude_given_shape(current, *_without_battery(fit))
    hold_charge_s = np.asarray(shape.charge_time_s * growth)
    end_spread_a = mean * fit.signal.limit_end_sd_s / hold_charge_s[:, 0]
    spread = variance + end_spread_a**2
    level = 0.5 * gain + 0.5 * np.log(variance / spread)
    return level[:, None] - 0.5 * (hold_a - mean[:, None]) ** 2 / spread[:, None]


def _without_battery(fit: TaperFit) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Rows without the battery's taper: what is linear in them ``(n, m)``, their weights, what is
    left of the readings at the centre of belief, and the precision of that belief ``(m,)``.
    """
    data = fit.data
    n, m = data.time_s.size, data.steps.shape[1]
    others = np.column_stack([np.ones((n, 2)), data.steps, data.deviations])
    weight, target = fit.weights / data.sigma_a**2, data.current_a
    if data.limit_row is not None:
        level, sd = data.limit_row
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
    return others, weight, target - others @ centre, precision


def _log_evidence_without_battery(fit: TaperFit) -> float:
    """Log probability of the rows were there no taper, but for a constant of rows and weights."""
    others, weight, left, precision = _without_battery(fit)
    weighted = others * weight[:, None]
    inner = np.linalg.cholesky(weighted.T @ others + np.diag(precision))
    explained = np.linalg.solve(inner, weighted.T @ left)
    chi = float(left @ (weight * left) - explained @ explained)
    size = float(0.5 * np.log(precision).sum() - np.log(np.diag(inner)).sum())
    return size - 0.5 * chi


def _amplitude_given_shape(
    current: FloatArray,
    others: FloatArray,
    weight: FloatArray,
    target: FloatArray,
    precision: FloatArray,
) -> tuple[FloatArray, FloatArray, FloatArray]:
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


def _limit_not_ended(hold_a: FloatArray, fit: TaperFit) -> FloatArray:
    """Log probability that a battery which would now take ``hold_a`` keeps the supply limited."""
    level_sd = fit.data.limit_row[1] if fit.data.limit_row else UNKNOWN_LEVEL_SD_A
    spread = float(np.hypot(level_sd, fit.data.load_a[1]))
    return log_ndtr((hold_a - fit["hold_amplitude_a"]) / spread)


def _shape_prior(hold_a: FloatArray, shape: Shape, fit: TaperFit) -> FloatArray:
    """Log prior of each node's shape at the C-rate each amplitude means, shape ``(k, q)``."""
    prior, c_rate = fit.prior, fit.prior.c_rate_per_h(hold_a)
    time_sd = prior.log_time_sd_at(fit.data.c_rate_guess_per_h)
    time_away = (np.log(shape.time_constant_s) - prior.log_time_at(c_rate)) / time_sd
    share_sd = prior.logit_share_sd(fit.data.c_rate_guess_per_h)
    share_away = (logit(shape.fast_share) - prior.logit_share_at(c_rate)) / share_sd
    return -0.5 * (time_away**2 + share_away**2)
