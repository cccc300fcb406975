"""The taper fit as a problem: its rows, residuals and derivatives.

Model of a reading at ``t`` in the constant-voltage phase, which began at ``t_h``::

    y(t) = B s(t - t_h) + float + load + sum_j step_j [t >= t_j] + sum_k z_k phi_k(t - t_h)

``B`` is the battery current when the hold began (the amplitude at connection where the supply was
never at its limit), ``float`` the float current that is left after the taper, ``s`` the two-
exponential shape of `batterymodel.taper.shape`, ``z_k`` small unknown deviations from that shape
with unit variance along smooth functions ``phi_k``. Priors enter as further residuals. Readings at
the supply's limit carry no more than the current delivered, and the moment the limit ended.

Parameters stand in the order of `FIXED_NAMES`, then load steps, then deviations; the slow time
constant enters by its log and the fast share by its logit, so that neither needs bounds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import expit

from batterymodel.basis.arrays import FloatArray, FloatOrArray
from batterymodel.taper.load_steps import LoadStep
from batterymodel.taper.prior import MOST_C_RATE_PER_H, SHARE_RANGE, Prior
from batterymodel.taper.shape import Shape, current_limited, hold_gradient
from batterymodel.taper.signals import Signal

SHAPE_TERM_SCALES = (1.0, 1.0, 0.6, 0.3, 0.15, 0.08)
"""Relative size of the smooth deviations, coarse to fine [-] (calibrated on the reference set)."""

SHAPE_TERMS = len(SHAPE_TERM_SCALES) + 1
"""Deviations in all: the smooth ones, and the fast ratio's."""

UNSHAPED_SHARE = 0.1
"""Part of the deviations no smooth function describes, an error of each row [-] (own choice)."""

STEP_SD_A = 40.0
"""Standard deviation of a load step before it is seen [A] (own choice)."""

AMPLITUDE_SPREAD = 100.0
"""Standard deviation of the amplitude around zero, over the larger of its first guess and the
one-hour current [-]: says nothing where readings do, and keeps it finite where none was taken
before the taper was over (own choice, numerical)."""

MAX_FIT_ROWS = 300
"""Rows above which readings are averaged in blocks (own choice, numerical)."""

MOST_LOG_TIME = float(np.log(1e6))
"""Longest time constant the fit may try [ln s] (own choice, numerical)."""

GUESS_READINGS, GUESS_SIGMAS, LEAST_GUESS_A = 3, 4.0, 0.02
"""The first amplitude is the median of so many readings less the load, at least so many errors of a
reading, and at least so much [A] (own choice, numerical)."""

LIMIT_LEVEL_REL_SD = 0.01
"""How far a supply's limit drifts while it lasts [-], standard deviation (own choice)."""

LOG_TIME_FROM_S = 30.0
"""Time from which on rows and deviations are spread by the log of time [s] (own choice)."""

FIXED_NAMES = (
    "hold_amplitude_a",
    "log_time_constant",
    "fast_share_logit",
    "float_current_a",
    "load_a",
)
"""Parameters every fit has, in their order; load steps and deviations follow."""

FIXED = len(FIXED_NAMES)


@dataclass(frozen=True)
class TaperData:
    """Rows of the fit, thinned so that cost does not grow with the log; shape ``(n,)``.

    ``since_hold_s`` counts from the start of the hold, ``sigma_a`` is the error of each row, and
    ``steps`` the step functions, shape ``(n, m)``; ``deviations`` the smooth functions times
    their standard deviation [A], shape ``(n, SHAPE_TERMS)``. ``limit_time_s`` is the time the
    supply was at its limit [s]; ``limit_row`` its level and error, ``load_a`` the load and its
    error [A]. Amplitude [A] and C-rate [1/h] are guesses, to scale and to start from.
    """

    time_s: FloatArray
    since_hold_s: FloatArray
    current_a: FloatArray
    sigma_a: FloatArray
    steps: FloatArray
    deviations: FloatArray
    limit_time_s: float
    limit_row: tuple[float, float] | None
    load_a: tuple[float, float]
    amplitude_guess_a: float
    c_rate_guess_per_h: float


def taper_data(signal: Signal, prior: Prior) -> TaperData:
    """Rows of the fit from a signal: thinned within load steps, with shape deviations scaled.

    The error of a row is that of its readings and `UNSHAPED_SHARE` of the shape's deviation, added
    in quadrature.

    Parameters
    ----------
    signal : Signal
        Only its usable readings after the supply's limit become rows.
    prior : Prior

    Returns
    -------
    TaperData
        Without rows where the supply stayed at its limit.
    """
    end = signal.limit_end_s
    limit_time = 0.0 if end is None else float(signal.time_s[-1]) if np.isinf(end) else float(end)
    usable = signal.usable & (signal.time_s >= limit_time)
    time_s, current, sigma = thinned(
        signal.time_s[usable], signal.current_a[usable], signal.sigma_a, signal.steps
    )
    steps = np.array([[t >= s.elapsed_s for s in signal.steps] for t in time_s], dtype=float)
    since = time_s - limit_time
    guess = _amplitude_guess(signal, current)
    c_rate = float(prior.c_rate_per_h(guess))
    return TaperData(
        time_s=time_s,
        since_hold_s=since,
        current_a=current,
        sigma_a=np.hypot(sigma, UNSHAPED_SHARE * prior.shape_rel_sd * guess),
        steps=steps.reshape(time_s.size, len(signal.steps)),
        deviations=guess * deviation_basis(since, limit_time, c_rate, prior),
        limit_time_s=limit_time,
        limit_row=_limit_row(signal),
        load_a=(signal.load.mean_a, signal.load.sd_a),
        amplitude_guess_a=guess,
        c_rate_guess_per_h=c_rate,
    )


def thinned(
    time_s: FloatArray, current_a: FloatArray, sigma_a: float, steps: tuple[LoadStep, ...]
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Block means over at most `MAX_FIT_ROWS` blocks, evenly in the log of time.

    Blocks never reach across a load step; the error of a block of k readings is
    ``sigma / sqrt(k)``.

    Parameters
    ----------
    time_s, current_a : ndarray, shape (n,)
        Readings [s], [A], times rising.
    sigma_a : float
        Error of one reading [A].
    steps : tuple of LoadStep

    Returns
    -------
    time_s, current_a, sigma_a : ndarray, shape (rows,)
    """
    n = time_s.size
    if n <= MAX_FIT_ROWS:
        return time_s, current_a, np.full(n, sigma_a)
    x = np.log1p((time_s - time_s[0]) / LOG_TIME_FROM_S)
    block = np.minimum((x / x[-1] * MAX_FIT_ROWS).astype(int), MAX_FIT_ROWS - 1)
    for step in steps:
        block = block + (MAX_FIT_ROWS + 1) * (time_s >= step.elapsed_s)
    starts = np.flatnonzero(np.diff(block, prepend=-1))
    counts = np.diff(np.append(starts, n))
    mean_time = np.add.reduceat(time_s, starts) / counts
    return mean_time, np.add.reduceat(current_a, starts) / counts, sigma_a / np.sqrt(counts)


def deviation_basis(
    since_hold_s: FloatArray, limit_time_s: float, c_rate_per_h: float, prior: Prior
) -> FloatArray:
    """What two exponentials of a fixed ratio leave open, over the hold amplitude.

    Cosines over the window in the log of time, and the derivative of the shape by the log of the
    fast ratio, each times its standard deviation.

    Parameters
    ----------
    since_hold_s : ndarray, shape (n,)
        Times since the hold began [s].
    limit_time_s : float
        Time the supply was at its limit before [s].
    c_rate_per_h : float
        C-rate the sizes are taken at [1/h].
    prior : Prior

    Returns
    -------
    ndarray, shape (n, SHAPE_TERMS)
        Deviations over the hold amplitude [-].
    """
    if since_hold_s.size == 0:
        return np.zeros((0, SHAPE_TERMS))
    x = np.log1p(since_hold_s / LOG_TIME_FROM_S)
    x = x / max(float(x[-1]), 1e-9)
    cosines = np.cos(np.pi * x[:, None] * np.arange(1, SHAPE_TERMS)) * SHAPE_TERM_SCALES
    shape = Shape(
        float(np.exp(prior.log_time_at(c_rate_per_h))),
        float(prior.share_at(c_rate_per_h)),
        prior.fast_ratio,
    )
    phase = since_hold_s / shape.fast_time_constant_s
    fast = shape.fast_share * current_limited(limit_time_s, shape)[0] * phase * np.exp(-phase)
    current, _, _ = hold_gradient(since_hold_s, limit_time_s, shape)
    size = prior.shape_sd(c_rate_per_h) * current[:, None]
    return np.column_stack([size * cosines, prior.fast_ratio_log_sd * fast])


def shape_of(parameters: FloatArray, prior: Prior) -> Shape:
    """The shape a parameter vector stands for; time constants from a second to eleven days.

    Parameters
    ----------
    parameters : ndarray, shape (p,)
        In the order of the module's docstring.
    prior : Prior
        Gives the fast ratio.

    Returns
    -------
    Shape
    """
    log_time = min(max(float(parameters[1]), 0.0), MOST_LOG_TIME)
    return Shape(float(np.exp(log_time)), float(expit(parameters[2])), prior.fast_ratio)


def residuals(
    parameters: FloatArray, data: TaperData, prior: Prior, weights: FloatOrArray = 1.0
) -> FloatArray:
    """All residuals in units of their standard error: readings, limit level, priors.

    Parameters
    ----------
    parameters : ndarray, shape (p,)
        In the order of the module's docstring.
    data : TaperData
    prior : Prior
    weights : float or ndarray, shape (n,)
        Multiply the squares of the reading rows [-].

    Returns
    -------
    ndarray, shape (rows,)
        Rows ``(model - reading) / error`` [-].
    """
    amplitude, float_a, load = parameters[0], parameters[3], parameters[4]
    m = data.steps.shape[1]
    steps, deviations = parameters[FIXED : FIXED + m], parameters[FIXED + m :]
    current, _, _ = hold_gradient(data.since_hold_s, data.limit_time_s, shape_of(parameters, prior))
    model = amplitude * current + float_a + load + data.steps @ steps
    model = model + data.deviations @ deviations
    rows = [np.sqrt(weights) * (model - data.current_a) / data.sigma_a]
    if data.limit_row is not None:
        level, sd = data.limit_row
        rows.append(np.array([(amplitude + float_a + load - level) / sd]))
    rows.append(_prior_rows(parameters, data, prior))
    return np.concatenate([*rows, steps / STEP_SD_A, deviations])


def jacobian(
    parameters: FloatArray, data: TaperData, prior: Prior, weights: FloatOrArray = 1.0
) -> FloatArray:
    """Derivatives of `residuals` by each parameter.

    Parameters
    ----------
    parameters : ndarray, shape (p,)
        In the order of the module's docstring.
    data : TaperData
    prior : Prior
    weights : float or ndarray, shape (n,)
        Multiply the squares of the reading rows [-].

    Returns
    -------
    ndarray, shape (rows, p)
        Rows as in `residuals`, each over the unit of its parameter.
    """
    n, m, p = data.time_s.size, data.steps.shape[1], parameters.size
    amplitude, shape = parameters[0], shape_of(parameters, prior)
    current, by_time, by_share = hold_gradient(data.since_hold_s, data.limit_time_s, shape)
    by_logit = by_share * shape.fast_share * (1.0 - shape.fast_share)
    scale = np.sqrt(weights) / data.sigma_a
    top = np.empty((n, p))
    top[:, 0], top[:, 1], top[:, 2] = current, amplitude * by_time, amplitude * by_logit
    top[:, 3:FIXED] = 1.0
    top[:, FIXED : FIXED + m], top[:, FIXED + m :] = data.steps, data.deviations
    blocks = [top * scale[:, None]]
    if data.limit_row is not None:
        level = np.zeros((1, p))
        level[0, [0, 3, 4]] = 1.0 / data.limit_row[1]
        blocks.append(level)
    tail = np.zeros((m + SHAPE_TERMS, p))
    tail[:, FIXED:] = np.diag([1.0 / STEP_SD_A] * m + [1.0] * SHAPE_TERMS)
    return np.vstack([*blocks, _prior_jacobian(parameters, data, prior), tail])


def _prior_rows(parameters: FloatArray, data: TaperData, prior: Prior) -> FloatArray:
    amplitude, log_time, logit_share, float_a, load = parameters[:FIXED]
    c_rate = prior.c_rate_per_h(amplitude)
    time_sd = prior.log_time_sd_at(data.c_rate_guess_per_h)
    share_sd = prior.logit_share_sd(data.c_rate_guess_per_h)
    return np.array(
        [
            (log_time - prior.log_time_at(c_rate)) / time_sd,
            (logit_share - prior.logit_share_at(c_rate)) / share_sd,
            (float_a - prior.float_current_a) / prior.float_current_sd_a,
            (load - data.load_a[0]) / data.load_a[1],
            amplitude / _amplitude_sd_a(data, prior),
        ]
    )


def _prior_jacobian(parameters: FloatArray, data: TaperData, prior: Prior) -> FloatArray:
    c_rate = prior.c_rate_per_h(parameters[0])
    share, moves = prior.share_at(c_rate), c_rate < MOST_C_RATE_PER_H
    inside = moves and SHARE_RANGE[0] < share < SHARE_RANGE[1]
    by_share = prior.share_per_c_rate / (share * (1.0 - share)) if inside else 0.0
    share_sd = prior.logit_share_sd(data.c_rate_guess_per_h)
    rows = np.zeros((5, parameters.size))
    rows[0, :2] = moves * prior.log_time_per_c_rate / prior.capacity_ah, 1.0
    rows[0] /= prior.log_time_sd_at(data.c_rate_guess_per_h)
    rows[1, [0, 2]] = -by_share / prior.capacity_ah / share_sd, 1.0 / share_sd
    rows[2, 3] = 1.0 / prior.float_current_sd_a
    rows[3, 4] = 1.0 / data.load_a[1]
    rows[4, 0] = 1.0 / _amplitude_sd_a(data, prior)
    return rows


def _amplitude_sd_a(data: TaperData, prior: Prior) -> float:
    return AMPLITUDE_SPREAD * max(data.amplitude_guess_a, prior.capacity_ah)


def _amplitude_guess(signal: Signal, current: FloatArray) -> float:
    if signal.limit_current_a is not None:
        level = signal.limit_current_a
    else:
        level = float(np.median(current[:GUESS_READINGS])) if current.size else 0.0
    return max(level - signal.load.mean_a, GUESS_SIGMAS * signal.sigma_a, LEAST_GUESS_A)


def _limit_row(signal: Signal) -> tuple[float, float] | None:
    if signal.limit_current_a is None or signal.limit_end_s is None:
        return None
    return signal.limit_current_a, max(signal.sigma_a, LIMIT_LEVEL_REL_SD * signal.limit_current_a)
