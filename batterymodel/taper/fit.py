"""The taper fit: bus load, load steps, supply limit, meter and priors in one least-squares problem.

The problem is stated in `batterymodel.taper.problem`; here it is solved, and the result reports
itself.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.errors import FitError
from batterymodel.taper.prior import Prior
from batterymodel.taper.problem import (
    FIXED,
    FIXED_NAMES,
    MOST_LOG_TIME,
    SHAPE_TERMS,
    TaperData,
    jacobian,
    residuals,
    shape_of,
    taper_data,
)
from batterymodel.taper.shape import Shape, branches_current, current_limited, hold_gradient
from batterymodel.taper.signals import MAD_TO_SD, Signal
from batterymodel.taper.supply_limit import LEAST_HOLD_READINGS

ROBUST_SCALE = 4.0
"""Standard errors beyond which a reading's pull stops growing (own choice)."""

ROBUST_PASSES = 12
"""Passes after which the weights are taken as they are (own choice, numerical)."""

SETTLED_WEIGHT = 1e-3
"""Change of the weights below which they have settled [-] (own choice, numerical)."""

MISFIT_PASSES = 4
"""Times the errors of the rows are raised to what they miss by (own choice, numerical)."""

NO_MISFIT = 1.3
"""Misfit up to which the errors stand [-] (own choice)."""

MISFIT_SIGMAS = 2.5
"""Errors of a correlation from which neighbouring rows count as missing together [-] (own
choice)."""

MOST_CONFLICT = 1.6
"""Distance of a shape from belief, in its standard deviations, from which on it is that of no
battery of the kind [-] (own choice; seven in eight sound batteries of the calibration half of
`tests.benchmarks.sick` stay below)."""

MOST_PULL, MOST_TOGETHER = 3.0, 0.9
"""Residual, in errors, and correlation of neighbours that count at most [-] (own choice)."""

LEAST_OF_START = 0.1
"""Part of the highest current from which on readings give the slope to start from [-] (own choice,
numerical)."""

BELIEFS = 5
"""Rows of `residuals` that hold time constant, fast share, float current, load and amplitude to
belief."""

LEAST_MISFIT_ROWS = 6
"""Rows from which on their misfit can be told (own choice)."""

RELATIVE_STEP = 1e-5
"""Relative step of the central difference of `_growth_gradient` [-] (own choice, numerical)."""


@dataclass(frozen=True)
class TaperFit:
    """Result of `fit_taper`: best values, their covariance, residuals, and a `predict`.

    ``parameters``, shape ``(p,)``, follow ``names``; ``covariance``, ``(p, p)``, is that of all
    parameters under data and priors; ``weights``, ``(n,)``, are those of the rows of ``data``.
    ``window_s`` is the time of the first and the last usable reading [s]. ``conflict``
    is how far the shape lies from belief, in its standard deviations (root mean square), and
    ``misfit`` the factor by which the errors of the readings had to grow before the two agreed [-];
    ``prior`` and ``data`` are the grown ones, ``belief`` is that before the readings.
    """

    names: tuple[str, ...]
    parameters: FloatArray
    covariance: FloatArray
    weights: FloatArray
    window_s: tuple[float, float]
    signal: Signal
    data: TaperData
    prior: Prior
    belief: Prior
    conflict: float = 0.0
    misfit: float = 1.0

    def __getitem__(self, name: str) -> float:
        return float(self.parameters[self.names.index(name)])

    @property
    def step_sizes_a(self) -> tuple[float, ...]:
        """Size of each load step of the signal, in their order [A]."""
        steps = self.parameters[FIXED : FIXED + len(self.signal.steps)]
        return tuple(float(size) for size in steps)

    @property
    def shape(self) -> Shape:
        """Shape of the best values."""
        return shape_of(self.parameters, self.prior)

    @property
    def amplitude_a(self) -> float:
        """Battery current at the moment of connection, were the supply without limit [A]."""
        return float(
            self["hold_amplitude_a"] * current_limited(self.data.limit_time_s, self.shape)[2]
        )

    @property
    def time_constant_s(self) -> float:
        """Slow time constant [s]."""
        return float(self.shape.time_constant_s)

    @property
    def charge_time_h(self) -> float:
        """Charge to return at connection over ``amplitude_a`` [h]."""
        return float(self.shape.charge_time_s) / 3600.0

    @property
    def standard_errors(self) -> dict[str, float]:
        """Standard errors by name of the value, each in the unit of its name.

        Linear in the covariance: ``sqrt(g' C g)`` with ``g`` the derivatives of the value by the
        fixed parameters.
        """
        share, ratio = self.shape.fast_share, self.prior.fast_ratio
        hold, by_log_time, by_share = self["hold_amplitude_a"], 0.0, 0.0
        growth = float(current_limited(self.data.limit_time_s, self.shape)[2])
        if self.data.limit_time_s > 0.0:
            by_log_time, by_share = _growth_gradient(self.data.limit_time_s, self.shape)
        spread = share * (1.0 - share)
        charge_by_share = -self.time_constant_s * (1.0 - ratio) / 3600.0
        directions = {
            "amplitude_a": (growth, hold * by_log_time, hold * by_share * spread, 0.0, 0.0),
            "time_constant_s": (0.0, self.time_constant_s, 0.0, 0.0, 0.0),
            "charge_time_h": (0.0, self.charge_time_h, charge_by_share * spread, 0.0, 0.0),
            "fast_share": (0.0, 0.0, spread, 0.0, 0.0),
            "float_current_a": (0.0, 0.0, 0.0, 1.0, 0.0),
            "load_a": (0.0, 0.0, 0.0, 0.0, 1.0),
        }
        table = np.array(list(directions.values()))
        variances = np.einsum("ij,jk,ik->i", table, self.covariance[:FIXED, :FIXED], table)
        errors = np.sqrt(np.maximum(variances, 0.0))
        return dict(zip(directions, errors.tolist(), strict=True))

    @property
    def residuals_a(self) -> FloatArray:
        """Reading less model, shape deviations left out, for each row of the fit [A], ``(n,)``."""
        return self.data.current_a - self.predict(self.data.time_s)

    @property
    def rmse_a(self) -> float:
        """Root mean square of the residuals [A]; 0 where no reading was in the hold phase."""
        return float(np.sqrt(np.mean(self.residuals_a**2))) if self.residuals_a.size else 0.0

    def predict(self, time_s: FloatArray) -> FloatArray:
        """Meter reading expected at times since connection.

        Includes load, steps, float current and the supply's limit; leaves out the shape deviations.

        Parameters
        ----------
        time_s : ndarray, any shape
            Times since connection [s].

        Returns
        -------
        ndarray
            Current [A], shape of ``time_s``.
        """
        t = np.asarray(time_s, dtype=float)
        hold = np.maximum(t - self.data.limit_time_s, 0.0)
        fast, slow, _ = current_limited(self.data.limit_time_s, self.shape)
        return self["hold_amplitude_a"] * branches_current(hold, self.shape, fast, slow) + (
            self.base(t)
        )

    def base(self, time_s: FloatArray) -> FloatArray:
        """Float current, load and load steps at times since connection.

        Parameters
        ----------
        time_s : ndarray, any shape
            Times since connection [s].

        Returns
        -------
        ndarray
            Current [A], shape of ``time_s``.
        """
        t = np.asarray(time_s, dtype=float)
        base = np.full(t.shape, self["float_current_a"] + self["load_a"])
        for step, size_a in zip(self.signal.steps, self.step_sizes_a, strict=True):
            base = base + size_a * (t >= step.elapsed_s)
        return base

    def predict_sd(self, time_s: FloatArray) -> FloatArray:
        """Standard error of `predict`: ``sqrt(g' C g)``, gradient ``g``, covariance ``C``.

        Parameters
        ----------
        time_s : ndarray, shape (t,)
            Times since connection [s].

        Returns
        -------
        ndarray, shape (t,)
            Standard error [A].
        """
        t = np.asarray(time_s, dtype=float)
        hold = np.maximum(t - self.data.limit_time_s, 0.0)
        current, by_time, by_share = hold_gradient(hold, self.data.limit_time_s, self.shape)
        amplitude = self["hold_amplitude_a"]
        steps = [(t >= s.elapsed_s).astype(float) for s in self.signal.steps]
        ones = np.ones_like(t)
        by_logit = by_share * self.shape.fast_share * (1.0 - self.shape.fast_share)
        columns = [current, amplitude * by_time, amplitude * by_logit, ones, ones, *steps]
        gradient = np.column_stack(columns)
        covariance = self.covariance[: gradient.shape[1], : gradient.shape[1]]
        return np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", gradient, covariance, gradient), 0.0))


def fit_taper(signal: Signal, prior: Prior) -> TaperFit:
    """Fit the taper of one connection.

    1. Thin the readings of the hold phase (`taper_data`).
    2. Start from the prior shape with the amplitude the readings suggest.
    3. Minimise data and prior residuals (scipy, Levenberg-Marquardt, analytic Jacobian). A
       parameter that must not be negative and runs below zero is held there.
    4. Weigh each reading by ``1 / sqrt(1 + (r / 4)**2)`` of its residual and repeat until the
       weights settle: single odd readings cannot pull without bound.
    5. Where the readings miss the model by more than their errors, or belief and fit lie apart by
       more than `NO_MISFIT` standard deviations, raise the errors, widen the belief, and fit again
       from two starts: the believed time constant, and the one the slope suggests. Errors of
       neighbours that miss together are raised once more.
    6. Covariance from the Jacobian at the optimum with these weights.

    Parameters
    ----------
    signal : Signal
    prior : Prior

    Returns
    -------
    TaperFit

    Raises
    ------
    FitError
        Fewer than three readings tell anything of the battery.
    """
    usable = int(signal.usable.sum())
    if not signal.limited_throughout and usable < LEAST_HOLD_READINGS:
        raise FitError(
            f"only {usable} readings show the battery at constant voltage: take at least three"
        )
    data = taper_data(signal, prior)
    parameters, weights = _settled([_start(data, prior)], data, prior)
    believed, misfit, wider = prior, 1.0, 1.0
    for _ in range(MISFIT_PASSES):
        more = max(_misfit(parameters, data, prior), 1.0)
        apart = max(_rms(_beliefs_apart(parameters, data, prior)), 1.0)
        if max(more, apart) <= NO_MISFIT:
            break
        misfit, wider = misfit * more, wider * apart
        prior = believed.widened(wider)
        data = _widened(taper_data(signal, prior), misfit, wider)
        start = _start(data, prior)
        parameters, weights = _settled([start, _start_by_slope(start, data)], data, prior)
    together = _together(parameters, data, prior)
    if together > NO_MISFIT:
        misfit *= together
        data = _widened(taper_data(signal, prior), misfit, wider)
        parameters, weights = _settled([parameters], data, prior)
    fit = _fit_from(parameters, weights, signal, data, prior, believed)
    return replace(fit, conflict=_conflict(fit), misfit=misfit)


def _widened(data: TaperData, misfit: float, wider: float) -> TaperData:
    """The rows with errors raised to their misfit, and the load's as all beliefs."""
    mean, sd = data.load_a
    return replace(data, sigma_a=misfit * data.sigma_a, load_a=(mean, wider * sd))


def _settled(
    starts: list[FloatArray], data: TaperData, prior: Prior
) -> tuple[FloatArray, FloatArray]:
    """Optimum and weights of the rows once these have settled, from the better of the starts."""
    weights = np.ones(data.time_s.size)
    ends = [_minimised(start, data, prior, weights) for start in starts]
    costs = [float(np.sum(residuals(end, data, prior) ** 2)) for end in ends]
    parameters = ends[int(np.argmin(costs))]
    for _ in range(ROBUST_PASSES):
        before, weights = weights, _robust_weights(parameters, data, prior)
        if np.abs(weights - before).max(initial=0.0) < SETTLED_WEIGHT:
            break
        parameters = _minimised(parameters, data, prior, weights)
    return parameters, weights


def _misfit(parameters: FloatArray, data: TaperData, prior: Prior) -> float:
    r"""By how much the rows miss the model over what their errors say: 1.4826 median(\|r\|) [-]."""
    rows = residuals(parameters, data, prior)[: data.time_s.size]
    if rows.size < LEAST_MISFIT_ROWS:
        return 1.0
    return MAD_TO_SD * float(np.median(np.abs(rows)))


def _together(parameters: FloatArray, data: TaperData, prior: Prior) -> float:
    """Factor by which errors grow because neighbouring rows miss together, at least 1 [-].

    ``sqrt((1 + a) / (1 - a))`` with ``a`` the correlation of neighbours (variance of the mean of a
    first-order autoregressive series), where it is significant.
    """
    rows = residuals(parameters, data, prior)[: data.time_s.size]
    if rows.size < LEAST_MISFIT_ROWS:
        return 1.0
    pull = np.clip(rows, -MOST_PULL, MOST_PULL)
    a = float(pull[1:] @ pull[:-1]) / max(float(pull @ pull), 1e-9)
    if a < MISFIT_SIGMAS / np.sqrt(rows.size):
        return 1.0
    a = min(a, MOST_TOGETHER)
    return float(np.sqrt((1.0 + a) / (1.0 - a)))


def _beliefs_apart(parameters: FloatArray, data: TaperData, prior: Prior) -> FloatArray:
    """How far belief and fit lie apart, in standard deviations: time constant, fast share, float
    current, load, deviations from two exponentials [-].
    """
    rows = residuals(parameters, data, prior)
    first = rows.size - SHAPE_TERMS - data.steps.shape[1] - BELIEFS
    return np.concatenate([rows[first : first + BELIEFS - 1], rows[-SHAPE_TERMS:]])


def _conflict(fit: TaperFit) -> float:
    """How far the shape lies from the belief before the readings [-]: `TaperFit.conflict`.

    Float current and load are left out: they have findings of their own. Deviations count in their
    first spread, however much that grew.
    """
    apart = _beliefs_apart(fit.parameters, fit.data, fit.belief)
    grown = fit.prior.shape_rel_sd / fit.belief.shape_rel_sd
    return _rms(np.concatenate([apart[:2], grown * apart[-SHAPE_TERMS:]]))


def _rms(values: FloatArray) -> float:
    return float(np.sqrt(np.mean(values**2)))


def _start_by_slope(start: FloatArray, data: TaperData) -> FloatArray:
    """The start with the time constant that the log of the current suggests."""
    battery_a = data.current_a - start[3] - start[4]
    kept = battery_a > LEAST_OF_START * battery_a.max(initial=0.0)
    if kept.sum() < LEAST_HOLD_READINGS or np.ptp(data.since_hold_s[kept]) == 0.0:
        return start
    slope, level = np.polyfit(data.since_hold_s[kept], np.log(battery_a[kept]), 1)
    moved = start.copy()
    if slope < 0.0:
        moved[:2] = np.exp(level), min(-np.log(-slope), MOST_LOG_TIME)
    return moved


def _minimised(start: FloatArray, data: TaperData, prior: Prior, weights: FloatArray) -> FloatArray:
    """Optimum at fixed weights; amplitude and float current not below zero.

    A parameter held at zero leaves the others' optimum the constrained one, because the problem
    is nearly linear; it costs less than walking along a bound.
    """
    least = np.full(start.size, -np.inf)
    least[[0, 3]] = 0.0
    parameters, free = np.maximum(start, least), np.ones(start.size, bool)
    while True:
        parameters[free] = _free_optimum(parameters, free, data, prior, weights).x
        below = free & (parameters < least)
        if not below.any():
            return parameters
        parameters[below] = least[below]
        free &= ~below


def _free_optimum(
    start: FloatArray, free: BoolArray, data: TaperData, prior: Prior, weights: FloatArray
) -> OptimizeResult:
    def whole(part: FloatArray) -> FloatArray:
        parameters = start.copy()
        parameters[free] = part
        return parameters

    def rows(part: FloatArray) -> FloatArray:
        return residuals(whole(part), data, prior, weights)

    def derivatives(part: FloatArray) -> FloatArray:
        return jacobian(whole(part), data, prior, weights)[:, free]

    return least_squares(
        rows,
        start[free],
        jac=derivatives,
        method="lm",
        xtol=1e-8,
        ftol=1e-10,
        gtol=1e-10,
        max_nfev=200,
    )


def _robust_weights(parameters: FloatArray, data: TaperData, prior: Prior) -> FloatArray:
    rows = residuals(parameters, data, prior)[: data.time_s.size]
    return 1.0 / np.sqrt(1.0 + (rows / ROBUST_SCALE) ** 2)


def _start(data: TaperData, prior: Prior) -> FloatArray:
    guess, c_rate = data.amplitude_guess_a, data.c_rate_guess_per_h
    opening = [
        guess,
        float(prior.log_time_at(c_rate)),
        float(prior.logit_share_at(c_rate)),
        prior.float_current_a,
        max(data.load_a[0], 0.0),
    ]
    return np.concatenate([opening, np.zeros(data.steps.shape[1] + SHAPE_TERMS)])


def _growth_gradient(limit_time_s: float, shape: Shape) -> tuple[float, float]:
    """Derivatives of amplitude over hold amplitude by log time constant and fast share."""
    if limit_time_s == 0.0:
        return 0.0, 0.0
    h = RELATIVE_STEP

    def growth(scale: float, share: float) -> float:
        moved = Shape(shape.time_constant_s * scale, shape.fast_share + share, shape.fast_ratio)
        return float(current_limited(limit_time_s, moved)[2])

    by_log = (growth(np.exp(h), 0.0) - growth(np.exp(-h), 0.0)) / (2.0 * h)
    return by_log, (growth(1.0, h) - growth(1.0, -h)) / (2.0 * h)


def _fit_from(
    parameters: FloatArray,
    weights: FloatArray,
    signal: Signal,
    data: TaperData,
    prior: Prior,
    belief: Prior,
) -> TaperFit:
    jac = jacobian(parameters, data, prior, weights)
    used = signal.time_s[signal.usable] if signal.usable.any() else signal.time_s
    names = (
        *FIXED_NAMES,
        *(f"step_{j + 1}_a" for j in range(data.steps.shape[1])),
        *(f"deviation_{k + 1}" for k in range(SHAPE_TERMS)),
    )
    return TaperFit(
        names=names,
        parameters=parameters,
        covariance=_covariance(jac),
        weights=weights,
        window_s=(float(used[0]), float(used[-1])),
        signal=signal,
        data=data,
        prior=prior,
        belief=belief,
    )


def _covariance(jac: FloatArray) -> FloatArray:
    """Inverse of ``J' J``, taken with columns of unit length, because their units differ widely."""
    size = np.linalg.norm(jac, axis=0)
    scaled = jac / size
    inverse = np.linalg.inv(scaled.T @ scaled)
    return np.asarray(inverse / np.outer(size, size), dtype=float)
