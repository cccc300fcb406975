"""The size of a step in readings that move on their own, as the current does while a taper runs.

On both sides of the step the readings follow one smooth curve; the step is what has to be added to
the later ones. More readings than three on each side carry it, so that a meter of whole amperes
still tells a step to some tenths.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray, IntArray

SIDE_S = 90.0
"""Longest stretch on each side of a step that is looked at [s] (own choice: shorter ones do worse
on the tapers of `tests.budget.test_learning`, whose faster part takes some minutes)."""

MOST_SIDE_READINGS = 15
"""Most readings on each side that are looked at (own choice)."""

LEAST_CURVED_READINGS = 4
"""Readings on each side from which on the curve is a parabola, else a line (own choice)."""

LEAST_SLOPED_READINGS = 2
"""Readings on each side from which on the curve has a slope, else it is level (own choice)."""


@dataclass(frozen=True)
class StepSize:
    """Size of a step and its standard deviation, in the unit of the readings."""

    size: float
    sd: float


def step_size(
    time_s: FloatArray,
    values: FloatArray,
    at_s: float,
    sigma: float,
    other_steps_s: tuple[float, ...] = (),
) -> StepSize | None:
    """Size of a step at a time, the smooth change of the readings taken off.

    Least squares of ``a + b x + c x**2 + step (t >= at)`` with ``x = t - at``, over the readings
    within `SIDE_S` and `MOST_SIDE_READINGS` that no other step parts from it.

    Parameters
    ----------
    time_s, values : ndarray, shape (n,)
        Readings, times rising [s]; NaN is left out.
    at_s : float
        Time from which on the step is in the readings [s].
    sigma : float
        Standard error of one reading, in the unit of `values`; raised where the readings scatter
        more around the curve.
    other_steps_s : tuple of float
        Times of other steps [s].

    Returns
    -------
    StepSize or None
        In the unit of `values`; None without a reading on each side.

    Examples
    --------
    >>> t = np.arange(0.0, 60.0, 5.0)
    >>> round(step_size(t, 20.0 - 0.1 * t + 4.0 * (t >= 30.0), 30.0, 0.1).size, 6)
    4.0
    """
    rows = _rows(time_s, values, at_s, other_steps_s)
    x, y = time_s[rows] - at_s, values[rows]
    later = x >= 0.0
    sides = min(int(later.sum()), int((~later).sum()))
    if sides == 0:
        return None
    design = _design(x, later, _degree(sides))
    solution, *_ = np.linalg.lstsq(design, y, rcond=None)
    freedom = y.size - design.shape[1]
    scatter = np.sqrt(np.sum((y - design @ solution) ** 2) / freedom) if freedom > 0 else 0.0
    error = max(sigma, float(scatter)) * np.sqrt(np.linalg.pinv(design.T @ design)[-1, -1])
    return StepSize(float(solution[-1]), float(error))


def _design(x: FloatArray, later: BoolArray, degree: int) -> FloatArray:
    """Columns of the least squares, powers of time scaled to one and the step; shape ``(n, k)``."""
    scaled = x / np.abs(x).max()
    return np.stack([*(scaled**k for k in range(degree + 1)), later.astype(float)], axis=1)


def _degree(sides: int) -> int:
    """Degree of the curve that so many readings on the shorter side carry."""
    if sides >= LEAST_CURVED_READINGS:
        return 2
    return 1 if sides >= LEAST_SLOPED_READINGS else 0


def _rows(
    time_s: FloatArray, values: FloatArray, at_s: float, other_steps_s: tuple[float, ...]
) -> IntArray:
    """Rows near the step, as many as may count on each side, in order of time."""
    from_s = max([at_s - SIDE_S, *(s for s in other_steps_s if s < at_s)])
    to_s = min([at_s + SIDE_S, *(s for s in other_steps_s if s > at_s)])
    near = np.isfinite(values) & (time_s >= from_s) & (time_s <= to_s)
    near &= (time_s < to_s) | (to_s == at_s + SIDE_S)
    before = np.flatnonzero(near & (time_s < at_s))[-MOST_SIDE_READINGS:]
    after = np.flatnonzero(near & (time_s >= at_s))[:MOST_SIDE_READINGS]
    return np.concatenate([before, after])
