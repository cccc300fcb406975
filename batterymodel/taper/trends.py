"""Trends at constant voltage: does the battery current fall, stand or rise; does it warm?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.meters import THERMOMETER_SD_C
from batterymodel.taper.fit import TaperFit


@dataclass(frozen=True)
class Change:
    """Change of a straight line over a stretch of readings, with its standard error."""

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


def line_change(time_s: np.ndarray, values: np.ndarray, sigma: float) -> Change:
    """Change of the least-squares line over the stretch, shape ``(n,)`` in, ``n >= 3``.

    The error is the larger of the stated reading error and the scatter about the line.
    """
    span = float(time_s[-1] - time_s[0])
    centred = time_s - time_s.mean()
    slope = float(centred @ values / (centred @ centred))
    left = values - values.mean() - slope * centred
    scatter = np.sqrt(left @ left / max(time_s.size - 2, 1))
    error = max(sigma, float(scatter)) / np.sqrt(centred @ centred)
    return Change(slope * span, float(error * span), span)


def battery_current(fit: TaperFit) -> tuple[np.ndarray, np.ndarray]:
    """Times [s] and battery current with floor [A] of the constant-voltage readings.

    The load given or fitted and the fitted load steps are taken off.
    """
    signal = fit.signal
    rows = signal.usable & (signal.time_s >= fit.data.limit_time_s)
    t, current = signal.time_s[rows], signal.current_a[rows] - signal.load.mean_a
    for step, name in zip(signal.steps, fit.names[5:], strict=False):
        current = current - fit[name] * (t >= step.elapsed_s)
    return t, current


def rise_of(fit: TaperFit) -> Rise | None:
    """A rise of the battery current over the last 40 % (at least two minutes) of its readings.

    It counts when it is over four standard errors, two steps of the meter, 2 % of the battery
    current and 0.3 A (own choice).
    """
    t, current = battery_current(fit)
    if t.size < 6:
        return None
    since = t[-1] - max(120.0, 0.4 * (t[-1] - t[0]))
    late = t >= since
    if since < t[0] - 1.0 or late.sum() < 5:
        return None
    change = line_change(t[late], current[late], fit.signal.sigma_a)
    level = abs(float(np.median(current)))
    least = max(4.0 * change.standard_error, 2.0 * fit.signal.resolution_a, 0.02 * level, 0.3)
    if change.amount <= least:
        return None
    return Rise(change.amount, least, change.span_s, _turning_time_s(t, current))


def _turning_time_s(time_s: np.ndarray, current_a: np.ndarray) -> float:
    """Time of the least current after a running mean over a tenth of the readings [s]."""
    width = max(time_s.size // 10, 3)
    smooth = np.convolve(current_a, np.ones(width) / width, mode="valid")
    return float(time_s[int(np.argmin(smooth)) + width // 2])


def whole_change(fit: TaperFit) -> Change | None:
    """Change over all constant-voltage readings."""
    t, current = battery_current(fit)
    return line_change(t, current, fit.signal.sigma_a) if t.size >= 5 else None


def warming_c_per_min(time_s: np.ndarray, temp_c: np.ndarray | None) -> float | None:
    """Rate of rise of the battery temperature [degC/min], None with under 3 values or 2 minutes."""
    if temp_c is None:
        return None
    seen = np.isfinite(temp_c)
    if seen.sum() < 3 or np.ptp(time_s[seen]) < 120.0:
        return None
    change = line_change(time_s[seen], temp_c[seen], THERMOMETER_SD_C)
    if abs(change.amount) < 3.0 * change.standard_error:
        return 0.0
    return change.amount / change.span_s * 60.0
