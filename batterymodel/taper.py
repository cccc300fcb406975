"""The taper fit: bus load, load steps, supply limit, meter and priors in one least-squares problem.

Model of a reading at ``t`` in the constant-voltage phase, which began at ``t_h``::

    y(t) = B s(t - t_h) + floor + load + sum_j step_j [t >= t_j] + B0 * sum_k z_k phi_k(t)

``B`` is the battery current when the hold began (the amplitude at connection where the supply was
never at its limit), ``s`` the two-exponential shape of `batterymodel.tapershape`, ``z_k`` small
unknown deviations from that shape with unit variance along smooth functions ``phi_k``. Priors
enter as further residuals. Readings at the supply's limit carry no more than the current
delivered, and the moment the limit ended.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import OptimizeResult, least_squares

from batterymodel.chemistry import data_for
from batterymodel.errors import FitError
from batterymodel.records import Battery
from batterymodel.signals import Signal
from batterymodel.tapershape import Shape, at_limit, branches_current, hold_gradient
from batterymodel.temperature import resistance_factor

SHAPE_TERM_SCALES = (1.0, 1.0, 0.5, 0.25, 0.12, 0.06)
"""Relative size of the smooth deviations, coarse to fine (calibrated on the reference set)."""

SHAPE_TERMS = len(SHAPE_TERM_SCALES)
UNSHAPED_SHARE = 0.1
DEVIATION_PER_DEPTH = 2.5
STEP_SD_A = 40.0
ROBUST_SCALE = 4.0
SHARE_BOUNDS = (0.01, 0.75)
MAX_FIT_ROWS = 300
LOG_TIME_KNEE_S = 30.0
FIXED_NAMES = ("hold_amplitude_a", "log_charge_time", "fast_share", "floor_a", "load_a")


@dataclass(frozen=True)
class Prior:
    """What is believed of one connection before its readings; see `chemistry.TaperPrior`."""

    log_charge_time_s: float
    log_charge_time_sd: float
    depth_shift: float
    depth_shift_sd: float
    fast_share: float
    fast_share_shift: float
    fast_share_sd: float
    fast_ratio: float
    floor_a: float
    floor_sd_a: float
    shape_rel_sd: float
    capacity_ah: float
    from_history: bool


@dataclass(frozen=True)
class TaperData:
    """Rows of the fit, thinned so that cost does not grow with the log; shape ``(n,)``.

    ``since_hold_s`` counts from the start of the hold, ``sigma_a`` is the error of each row, and
    ``steps`` the step functions, shape ``(n, m)``; ``deviations`` the smooth functions times
    their standard deviation [A], shape ``(n, SHAPE_TERMS)``.
    """

    time_s: np.ndarray
    since_hold_s: np.ndarray
    current_a: np.ndarray
    sigma_a: np.ndarray
    steps: np.ndarray
    deviations: np.ndarray
    limit_time_s: float
    limit_row: tuple[float, float] | None
    load_a: tuple[float, float]
    amplitude_guess_a: float


@dataclass(frozen=True)
class TaperFit:
    """Result of `fit_taper`: best values, their covariance, residuals, and a `predict`.

    ``parameters`` follow ``names``; ``covariance`` is that of all parameters under data and
    priors. ``rmse_a`` and ``residuals_a`` are over the rows of the fit.
    """

    names: tuple[str, ...]
    parameters: np.ndarray
    covariance: np.ndarray
    residuals_a: np.ndarray
    weights: np.ndarray
    window_s: tuple[float, float]
    signal: Signal
    data: TaperData
    prior: Prior
    evaluations: int

    def __getitem__(self, name: str) -> float:
        return float(self.parameters[self.names.index(name)])

    @property
    def shape(self) -> Shape:
        """Best shape."""
        return Shape(
            float(np.exp(self["log_charge_time"])), self["fast_share"], self.prior.fast_ratio
        )

    @property
    def amplitude_a(self) -> float:
        """Battery current at the moment of connection, were the supply without limit [A]."""
        return float(self["hold_amplitude_a"] * at_limit(self.data.limit_time_s, self.shape)[2])

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
        """Standard error of amplitude, time constant, charge time, fast share, floor, load."""
        derivatives = {
            name: np.eye(len(self.names))[self.names.index(name)]
            for name in ("fast_share", "floor_a", "load_a")
        }
        growth = self.amplitude_a / self["hold_amplitude_a"] if self["hold_amplitude_a"] else 1.0
        by_log_tau, by_share = _growth_gradient(self.data.limit_time_s, self.shape)
        derivatives["amplitude_a"] = self._direction(
            growth, self["hold_amplitude_a"] * by_log_tau, self["hold_amplitude_a"] * by_share
        )
        r, tau = self.prior.fast_ratio, self.time_constant_s
        per_share = tau * (1.0 - r) / (1.0 - self["fast_share"] * (1.0 - r))
        derivatives["time_constant_s"] = self._direction(0.0, tau, per_share)
        derivatives["charge_time_h"] = self._direction(0.0, self.charge_time_h, 0.0)
        return {
            name: float(np.sqrt(max(d @ self.covariance @ d, 0.0)))
            for name, d in derivatives.items()
        }

    @property
    def rmse_a(self) -> float:
        """Root mean square of the residuals [A]; 0 where no reading was in the hold phase."""
        return float(np.sqrt(np.mean(self.residuals_a**2))) if self.residuals_a.size else 0.0

    def predict(self, time_s: np.ndarray) -> np.ndarray:
        """Meter reading expected at times since connection [A], same shape.

        Includes load, steps, floor and the supply's limit; leaves out the shape deviations.
        """
        t = np.asarray(time_s, dtype=float)
        hold = np.maximum(t - self.data.limit_time_s, 0.0)
        fast, slow, _ = at_limit(self.data.limit_time_s, self.shape)
        return self["hold_amplitude_a"] * branches_current(hold, self.shape, fast, slow) + (
            self.base(t)
        )

    def base(self, time_s: np.ndarray) -> np.ndarray:
        """Floor, load and load steps at times since connection [A], same shape."""
        t = np.asarray(time_s, dtype=float)
        base = np.full(t.shape, self["floor_a"] + self["load_a"])
        for step, name in zip(self.signal.steps, self.names[5:], strict=False):
            base = base + self[name] * (t >= step.elapsed_s)
        return base

    def predict_sd(self, time_s: np.ndarray) -> np.ndarray:
        """Standard error of `predict` from the covariance [A], same shape as ``time_s``."""
        t = np.asarray(time_s, dtype=float)
        hold = np.maximum(t - self.data.limit_time_s, 0.0)
        current, by_time, by_share = hold_gradient(hold, self.data.limit_time_s, self.shape)
        amplitude = self["hold_amplitude_a"]
        steps = [(t >= s.elapsed_s).astype(float) for s in self.signal.steps]
        ones = np.ones_like(t)
        columns = [current, amplitude * by_time, amplitude * by_share, ones, ones, *steps]
        gradient = np.column_stack(columns)
        covariance = self.covariance[: gradient.shape[1], : gradient.shape[1]]
        return np.sqrt(np.maximum(np.einsum("ij,jk,ik->i", gradient, covariance, gradient), 0.0))

    def _direction(self, by_amplitude: float, by_log_time: float, by_share: float) -> np.ndarray:
        direction = np.zeros(len(self.names))
        direction[:3] = by_amplitude, by_log_time, by_share
        return direction


def prior_for(battery: Battery, temp_c: float | None) -> Prior:
    """Prior of one connection: the chemistry's, or this battery's history where it has one.

    Temperature away from 25 degC widens the charge time by half the log of the resistance
    factor; an unknown temperature is taken as 15 degC away.
    """
    data = data_for(battery.chemistry)
    taper, history = data.taper, battery.history
    away_c = 10.0 if temp_c is None else temp_c
    heat = 0.5 * abs(float(np.log(resistance_factor(battery.chemistry, away_c))))
    if history is None:
        centre, spread = np.log(3600.0 * taper.charge_time_h), taper.charge_time_log_sd
    else:
        centre = np.log(3600.0 * history.charge_time_h)
        heat = heat if temp_c is not None else 0.0
        spread = np.hypot(history.charge_time_rel_sd, taper.transfer_log_sd)
    capacity = present_capacity_ah(battery)[0]
    return Prior(
        log_charge_time_s=float(centre),
        log_charge_time_sd=float(np.hypot(spread, heat)),
        depth_shift=taper.depth_shift,
        depth_shift_sd=taper.depth_shift_sd,
        fast_share=taper.fast_share,
        fast_share_shift=taper.fast_share_shift,
        fast_share_sd=taper.fast_share_sd,
        fast_ratio=taper.fast_ratio,
        floor_a=taper.floor_per_ah * battery.rated_capacity_ah,
        floor_sd_a=taper.floor_per_ah_sd * battery.rated_capacity_ah,
        shape_rel_sd=taper.shape_rel_sd,
        capacity_ah=capacity,
        from_history=history is not None,
    )


def present_capacity_ah(battery: Battery) -> tuple[float, float]:
    """Capacity to count on and its standard deviation [Ah]: last capacity check, else the plate."""
    check = battery.capacity_check
    if check is not None:
        return check.capacity_ah, check.capacity_sd_ah or 0.03 * check.capacity_ah
    spread = data_for(battery.chemistry).capacity_unchecked_sd
    return battery.rated_capacity_ah, spread * battery.rated_capacity_ah


def fit_taper(signal: Signal, prior: Prior) -> TaperFit:
    """Fit the taper of one connection.

    1. Thin the readings of the hold phase to at most `MAX_FIT_ROWS` rows.
    2. Start from the prior shape with the amplitude the readings suggest.
    3. Minimise data and prior residuals (scipy trust-region least squares, analytic Jacobian);
       the data residuals under a soft loss that bounds the pull of single rows.
    4. Covariance from the Jacobian at the optimum with the loss's weights.

    Raises
    ------
    FitError
        Fewer than three readings tell anything of the battery.
    """
    if not signal.limited_throughout and int(signal.usable.sum()) < 3:
        raise FitError(
            f"only {int(signal.usable.sum())} readings show the battery at constant voltage: "
            "take at least three"
        )
    data = taper_data(signal, prior)
    parameters, evaluations = _least_squares(data, prior)
    return _fit_from(parameters, evaluations, signal, data, prior)


def taper_data(signal: Signal, prior: Prior) -> TaperData:
    """Rows of the fit from a signal: thinned within load steps, with shape deviations scaled."""
    end = signal.limit_end_s
    limit_time = 0.0 if end is None else float(signal.time_s[-1]) if np.isinf(end) else float(end)
    usable = signal.usable & (signal.time_s >= limit_time)
    time_s, current, sigma = thinned(
        signal.time_s[usable], signal.current_a[usable], signal.sigma_a, signal.steps
    )
    steps = np.array([[t >= s.elapsed_s for s in signal.steps] for t in time_s], dtype=float)
    since = time_s - limit_time
    guess = _amplitude_guess(signal, current)
    depth = depth_of(guess, prior.log_charge_time_s, prior)
    deviation = prior.shape_rel_sd * (1.0 + DEVIATION_PER_DEPTH * depth) * guess
    return TaperData(
        time_s=time_s,
        since_hold_s=since,
        current_a=current,
        sigma_a=np.hypot(sigma, UNSHAPED_SHARE * deviation),
        steps=steps.reshape(time_s.size, len(signal.steps)),
        deviations=deviation * deviation_basis(since),
        limit_time_s=limit_time,
        limit_row=_limit_row(signal),
        load_a=(signal.load.mean_a, signal.load.sd_a),
        amplitude_guess_a=guess,
    )


def thinned(
    time_s: np.ndarray, current_a: np.ndarray, sigma_a: float, steps: tuple
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Block means over at most `MAX_FIT_ROWS` blocks, evenly in the log of time.

    Blocks never reach across a load step; the error of a block of k readings is
    ``sigma / sqrt(k)``.
    """
    n = time_s.size
    if n <= MAX_FIT_ROWS:
        return time_s, current_a, np.full(n, sigma_a)
    x = np.log1p((time_s - time_s[0]) / LOG_TIME_KNEE_S)
    block = np.minimum((x / x[-1] * MAX_FIT_ROWS).astype(int), MAX_FIT_ROWS - 1)
    for step in steps:
        block = block + (MAX_FIT_ROWS + 1) * (time_s >= step.elapsed_s)
    starts = np.flatnonzero(np.diff(block, prepend=-1))
    counts = np.diff(np.append(starts, n))
    mean_time = np.add.reduceat(time_s, starts) / counts
    return mean_time, np.add.reduceat(current_a, starts) / counts, sigma_a / np.sqrt(counts)


def deviation_basis(since_hold_s: np.ndarray) -> np.ndarray:
    """Smooth functions of the log of time, shape ``(n, SHAPE_TERMS)``: cosines over the window."""
    if since_hold_s.size == 0:
        return np.zeros((0, SHAPE_TERMS))
    x = np.log1p(since_hold_s / LOG_TIME_KNEE_S)
    x = x / max(float(x[-1]), 1e-9)
    return np.cos(np.pi * x[:, None] * np.arange(1, SHAPE_TERMS + 1)) * SHAPE_TERM_SCALES


def residuals(parameters: np.ndarray, data: TaperData, prior: Prior) -> np.ndarray:
    """All residuals in units of their standard error: readings, limit level, priors."""
    amplitude, log_time, share, floor, load = parameters[:5]
    m = data.steps.shape[1]
    steps, deviations = parameters[5 : 5 + m], parameters[5 + m :]
    shape = Shape(np.exp(log_time), share, prior.fast_ratio)
    current, _, _ = hold_gradient(data.since_hold_s, data.limit_time_s, shape)
    model = amplitude * current + floor + load + data.steps @ steps + data.deviations @ deviations
    rows = [(model - data.current_a) / data.sigma_a]
    if data.limit_row is not None:
        level, sd = data.limit_row
        rows.append(np.array([(amplitude + floor + load - level) / sd]))
    time_mean, time_sd, share_mean = depth_priors(amplitude, log_time, data, prior)
    rows.append(
        np.array(
            [
                (log_time - time_mean) / time_sd,
                (share - share_mean) / prior.fast_share_sd,
                (floor - prior.floor_a) / prior.floor_sd_a,
                (load - data.load_a[0]) / data.load_a[1],
            ]
        )
    )
    return np.concatenate([*rows, steps / STEP_SD_A, deviations])


def jacobian(parameters: np.ndarray, data: TaperData, prior: Prior) -> np.ndarray:
    """Derivatives of `residuals`, shape ``(rows, parameters)``."""
    amplitude, log_time, share = parameters[:3]
    n, m, p = data.time_s.size, data.steps.shape[1], parameters.size
    shape = Shape(np.exp(log_time), share, prior.fast_ratio)
    current, by_time, by_share = hold_gradient(data.since_hold_s, data.limit_time_s, shape)
    top = (
        np.column_stack(
            [
                current,
                amplitude * by_time,
                amplitude * by_share,
                np.ones((n, 2)),
                data.steps,
                data.deviations,
            ]
        )
        / data.sigma_a[:, None]
    )
    blocks = [top]
    if data.limit_row is not None:
        level = np.zeros((1, p))
        level[0, [0, 3, 4]] = 1.0 / data.limit_row[1]
        blocks.append(level)
    blocks += [_prior_jacobian(amplitude, log_time, data, prior, p)]
    tail = np.zeros((m + SHAPE_TERMS, p))
    tail[:, 5:] = np.diag([1.0 / STEP_SD_A] * m + [1.0] * SHAPE_TERMS)
    return np.vstack([*blocks, tail])


def depth_of(amplitude_a: float, log_charge_time: float, prior: Prior) -> float:
    """Charge that the hold phase returns over capacity [-], 0 to 1."""
    depth = amplitude_a * np.exp(log_charge_time) / 3600.0 / prior.capacity_ah
    return float(np.clip(depth, 0.0, 1.0))


def depth_priors(
    amplitude_a: float, log_charge_time: float, data: TaperData, prior: Prior
) -> tuple[float, float, float]:
    """Mean and sd of the log charge time, and mean of the fast share, at this depth.

    The sd uses the depth at the guessed amplitude, so that it stays constant in the fit.
    """
    depth = depth_of(amplitude_a, log_charge_time, prior)
    guess = depth_of(data.amplitude_guess_a, prior.log_charge_time_s, prior)
    sd = float(np.hypot(prior.log_charge_time_sd, prior.depth_shift_sd * guess**2))
    mean = prior.log_charge_time_s - prior.depth_shift * depth**2
    return mean, sd, prior.fast_share + prior.fast_share_shift * depth**2


def _prior_jacobian(
    amplitude: float, log_time: float, data: TaperData, prior: Prior, p: int
) -> np.ndarray:
    rows = np.zeros((4, p))
    depth = depth_of(amplitude, log_time, prior)
    _, time_sd, _ = depth_priors(amplitude, log_time, data, prior)
    inside = 0.0 < depth < 1.0
    by_amplitude = np.exp(log_time) / 3600.0 / prior.capacity_ah if inside else 0.0
    by_time = depth if inside else 0.0
    pull = 2.0 * prior.depth_shift * depth
    share_pull = 2.0 * prior.fast_share_shift * depth
    rows[0, :2] = pull * by_amplitude / time_sd, (1.0 + pull * by_time) / time_sd
    rows[1, :3] = (
        np.array([-share_pull * by_amplitude, -share_pull * by_time, 1.0]) / prior.fast_share_sd
    )
    rows[2, 3] = 1.0 / prior.floor_sd_a
    rows[3, 4] = 1.0 / data.load_a[1]
    return rows


class _DataLoss:
    """Soft loss on the data rows, plain squares on the priors, in scipy's ``loss`` form."""

    def __init__(self, data_rows: int) -> None:
        self.data_rows = data_rows

    def __call__(self, squared: np.ndarray) -> np.ndarray:
        rho = np.vstack([squared, np.ones_like(squared), np.zeros_like(squared)])
        z = squared[: self.data_rows] / ROBUST_SCALE**2
        root = np.sqrt(1.0 + z)
        rho[0, : self.data_rows] = 2.0 * ROBUST_SCALE**2 * (root - 1.0)
        rho[1, : self.data_rows] = 1.0 / root
        rho[2, : self.data_rows] = -0.5 / (ROBUST_SCALE**2 * root**3)
        return rho


def _least_squares(data: TaperData, prior: Prior) -> tuple[np.ndarray, int]:
    """Optimum and number of model evaluations; amplitude and floor are held at zero or above.

    A parameter that runs below its least value is fixed there and the others fitted again, which
    is the constrained optimum of this nearly linear problem without the cost of walking along a
    bound.
    """
    parameters = _start(data, prior)
    free, evaluations = np.ones(parameters.size, dtype=bool), 0
    while True:
        result = _minimised(parameters, free, data, prior)
        parameters[free], evaluations = result.x, evaluations + result.nfev
        below = free & (parameters < _least_values(parameters.size))
        if not below.any():
            return parameters, evaluations
        parameters[below] = _least_values(parameters.size)[below]
        free &= ~below


def _minimised(
    start: np.ndarray, free: np.ndarray, data: TaperData, prior: Prior
) -> OptimizeResult:
    def whole(part: np.ndarray) -> np.ndarray:
        parameters = start.copy()
        parameters[free] = part
        return parameters

    return least_squares(
        lambda part: residuals(whole(part), data, prior),
        start[free],
        jac=lambda part: jacobian(whole(part), data, prior)[:, free],
        bounds=tuple(edge[free] for edge in _reach(start.size, prior)),
        loss=_DataLoss(data.time_s.size),
        x_scale="jac",
        xtol=1e-8,
        ftol=1e-9,
        gtol=1e-9,
        max_nfev=400,
    )


def _start(data: TaperData, prior: Prior) -> np.ndarray:
    guess = data.amplitude_guess_a
    depth = depth_of(guess, prior.log_charge_time_s, prior)
    log_time = prior.log_charge_time_s - prior.depth_shift * depth**2
    share = min(prior.fast_share + prior.fast_share_shift * depth**2, SHARE_BOUNDS[1] - 0.05)
    others = data.steps.shape[1] + SHAPE_TERMS
    opening = [guess, log_time, share, prior.floor_a, max(data.load_a[0], 0.0)]
    return np.concatenate([opening, np.zeros(others)])


def _reach(size: int, prior: Prior) -> tuple[np.ndarray, np.ndarray]:
    """Bounds that only keep the shape parameters where the model has a meaning."""
    lower, upper = np.full(size, -np.inf), np.full(size, np.inf)
    reach = max(6.0 * prior.log_charge_time_sd, 1.0) + prior.depth_shift
    lower[1], upper[1] = prior.log_charge_time_s - reach, prior.log_charge_time_s + reach
    lower[2], upper[2] = SHARE_BOUNDS
    return lower, upper


def _least_values(size: int) -> np.ndarray:
    least = np.full(size, -np.inf)
    least[0] = least[3] = 0.0
    return least


def _amplitude_guess(signal: Signal, current: np.ndarray) -> float:
    if signal.limit_current_a is not None:
        level = signal.limit_current_a
    else:
        level = float(np.median(current[:3])) if current.size else 0.0
    return max(level - signal.load.mean_a, 4.0 * signal.sigma_a, 0.02)


def _limit_row(signal: Signal) -> tuple[float, float] | None:
    if signal.limit_current_a is None or signal.limit_end_s is None:
        return None
    return signal.limit_current_a, max(signal.sigma_a, 0.01 * signal.limit_current_a)


def _growth_gradient(limit_time_s: float, shape: Shape) -> tuple[float, float]:
    """Derivatives of amplitude over hold amplitude by log charge time and fast share."""
    if limit_time_s == 0.0:
        return 0.0, 0.0
    h = 1e-5

    def growth(scale: float, share: float) -> float:
        moved = Shape(shape.charge_time_s * scale, shape.fast_share + share, shape.fast_ratio)
        return float(at_limit(limit_time_s, moved)[2])

    by_log = (growth(np.exp(h), 0.0) - growth(np.exp(-h), 0.0)) / (2.0 * h)
    return by_log, (growth(1.0, h) - growth(1.0, -h)) / (2.0 * h)


def _fit_from(
    parameters: np.ndarray, evaluations: int, signal: Signal, data: TaperData, prior: Prior
) -> TaperFit:
    n = data.time_s.size
    all_residuals = residuals(parameters, data, prior)
    weights = np.ones(all_residuals.size)
    weights[:n] = 1.0 / np.sqrt(1.0 + (all_residuals[:n] / ROBUST_SCALE) ** 2)
    jac = jacobian(parameters, data, prior)
    covariance = np.linalg.pinv((jac * weights[:, None]).T @ jac, hermitian=True)
    names = (
        *FIXED_NAMES,
        *(f"step_{j + 1}_a" for j in range(data.steps.shape[1])),
        *(f"deviation_{k + 1}" for k in range(SHAPE_TERMS)),
    )
    used = signal.time_s[signal.usable] if signal.usable.any() else signal.time_s
    fit = TaperFit(
        names=names,
        parameters=parameters,
        covariance=covariance,
        residuals_a=np.zeros(0),
        weights=weights[:n],
        window_s=(float(used[0]), float(used[-1])),
        signal=signal,
        data=data,
        prior=prior,
        evaluations=evaluations,
    )
    if n == 0:
        return fit
    return replace(fit, residuals_a=data.current_a - fit.predict(data.time_s))
