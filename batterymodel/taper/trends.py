"""Trends at constant voltage: does the battery current fall, stand or rise; does it warm?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.meters import THERMOMETER_SD_C
from batterymodel.taper.fit import TaperFit

LEAST_TREND_READINGS = 5
"""Readings below which no trend is told (own choice)."""

LEAST_RISE_READINGS = 6
"""Readings in all below which no rise is looked for (own choice)."""

RISE_SHARE = 0.4
"""Last part of the readings in which a rise is looked for [-] (own choice)."""

LEAST_RISE_S = 120.0
"""Shortest stretch in which a rise is looked for [s] (own choice)."""

RISE_SLACK_S = 1.0
"""How far that stretch may begin before the first reading [s] (own choice)."""

RISE_ERRORS = 4.0
"""A rise is over so many standard errors [-] (own choice)."""

RISE_METER_STEPS = 2.0
"""A rise is over so many steps of the meter [-] (own choice)."""

RISE_OF_CURRENT = 0.02
"""A rise is over this share of the battery current [-] (own choice)."""

LEAST_RISE_A = 0.3
"""A rise is over this [A] (own choice)."""

SMOOTHING_PARTS = 10
"""The turn is sought in a running mean over one part of the readings in so many (own choice)."""

LEAST_SMOOTHED = 3
"""Readings in that running mean at least (own choice)."""

LEAST_WARMING_READINGS = 3
"""Temperatures below which no warming is told (own choice)."""

LEAST_WARMING_S = 120.0
"""Shortest span of temperatures that tells of warming [s] (own choice)."""

WARMING_ERRORS = 3.0
"""Warming by less than so many standard errors counts as none [-] (own choice)."""


@dataclass(frozen=True)
class Change:
    """Change of a straight line over a stretch, with its standard error, in the values' unit."""

    amount: float
    standard_error: float
    span_s: float


@dataclass(frozen=True)
class Rise:
    """A rise of the battery current: how much [A], the least that counts, over how long, since."""

    amount: float
    least: float
    span_s: float
    since_s: float


def line_change(time_s: FloatArray, values: FloatArray, sigma: float) -> Change:
    """Change of the least-squares line over a stretch of readings.

    ``slope * span`` with the error ``e span / sqrt(sum (t - mean t)**2)``, ``e`` the larger of the
    stated reading error and the scatter about the line.

    Parameters
    ----------
    time_s : ndarray, shape (n,), n >= 3
        Times, rising [s].
    values : ndarray, shape (n,)
        In any unit.
    sigma : float
        Error of one value, in that unit.

    Returns
    -------
    Change
        In that unit.
    """
    span = float(time_s[-1] - time_s[0])
    centred = time_s - time_s.mean()
    slope = float(centred @ values / (centred @ centred))
    left = values - values.mean() - slope * centred
    scatter = np.sqrt(left @ left / max(time_s.size - 2, 1))
    error = max(sigma, float(scatter)) / np.sqrt(centred @ centred)
    return Change(slope * span, float(error * span), span)


def battery_current(fit: TaperFit) -> tuple[FloatArray, FloatArray]:
    """Battery current, float current included, of the constant-voltage readings.

    The load as it was given (or taken for unknown) and the fitted load steps are taken off.

    Returns
    -------
    time_s, current_a : ndarray, shape (n,)
        Times since connection [s] and currents [A].
    """
    signal = fit.signal
    rows = signal.usable & (signal.time_s >= fit.data.limit_time_s)
    t, current = signal.time_s[rows], signal.current_a[rows] - signal.load.mean_a
    for step, size_a in zip(signal.steps, fit.step_sizes_a, strict=True):
        current = current - size_a * (t >= step.elapsed_s)
    return t, current


def rise_of(fit: TaperFit) -> Rise | None:
    """A rise of the battery current over the last part of its readings, None where there is none.

    Looked for in the last `RISE_SHARE`, at least `LEAST_RISE_S`. It counts when it is over
    `RISE_ERRORS` standard errors, `RISE_METER_STEPS` steps of the meter, `RISE_OF_CURRENT` of the
    battery current and `LEAST_RISE_A`.
    """
    t, current = battery_current(fit)
    if t.size < LEAST_RISE_READINGS:
        return None
    since = t[-1] - max(LEAST_RISE_S, RISE_SHARE * (t[-1] - t[0]))
    late = t >= since
    if since < t[0] - RISE_SLACK_S or late.sum() < LEAST_TREND_READINGS:
        return None
    change = line_change(t[late], current[late], fit.signal.sigma_a)
    level = abs(float(np.median(current)))
    least = max(
        RISE_ERRORS * change.standard_error,
        RISE_METER_STEPS * fit.signal.resolution_a,
        RISE_OF_CURRENT * level,
        LEAST_RISE_A,
    )
    if change.amount <= least:
        return None
    return Rise(change.amount, least, change.span_s, _turning_time_s(t, current))


def _turning_time_s(time_s: FloatArray, current_a: FloatArray) -> float:
    """Time of the least current after a running mean over a part of the readings [s]."""
    width = max(time_s.size // SMOOTHING_PARTS, LEAST_SMOOTHED)
    smooth = np.convolve(current_a, np.ones(width) / width, mode="valid")
    return float(time_s[int(np.argmin(smooth)) + width // 2])


def whole_change(fit: TaperFit) -> Change | None:
    """Change of the battery current over all constant-voltage readings [A]; None with too few."""
    t, current = battery_current(fit)
    return line_change(t, current, fit.signal.sigma_a) if t.size >= LEAST_TREND_READINGS else None


def warming_c_per_min(time_s: FloatArray, temp_c: FloatArray | None) -> float | None:
    """Rate of rise of the battery temperature.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Times, rising [s].
    temp_c : ndarray, shape (n,), or None
        Temperatures, NaN where none was read [degC].

    Returns
    -------
    float or None
        [degC/min]; 0 where it is under `WARMING_ERRORS` standard errors; None with fewer values
        than `LEAST_WARMING_READINGS` or over less than `LEAST_WARMING_S`.
    """
    if temp_c is None:
        return None
    seen = np.isfinite(temp_c)
    few = seen.sum() < LEAST_WARMING_READINGS
    if few or np.ptp(time_s[seen]) < LEAST_WARMING_S:
        return None
    change = line_change(time_s[seen], temp_c[seen], THERMOMETER_SD_C)
    if abs(change.amount) < WARMING_ERRORS * change.standard_error:
        return 0.0
    return change.amount / change.span_s * 60.0
