"""Trends at constant voltage: does the battery current fall, stand or rise; does it warm?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.meters import THERMOMETER_SD_C
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.signals import Signal

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
"""A rise that takes power off is over so many steps of the meter [-] (own choice)."""

SEEN_METER_STEPS = 1.2
"""A rise that is watched is over so many steps of the meter [-] (own choice: a needle on the edge
between two marks moves by one)."""

RISE_OF_CURRENT = 0.02
"""A rise is over this share of the battery current [-] (own choice)."""

LEAST_RISE_A = 0.3
"""A rise is over this [A] (own choice)."""

RECENT_WINDOWS_S = (120.0, 300.0, 600.0)
"""Last stretches in which a rise is looked for however long the log is [s] (own choice)."""

LEAST_RECENT_READINGS = 4
"""Readings such a stretch takes at least (own choice)."""

RISING_READINGS = 4
"""Last readings that all rise, each over the one before, make a climb whatever the line through
them (own choice: a runaway read once a minute or less often is no straight line)."""

RISING_ERRORS = 3.0
"""Errors of a difference by which each of them rises [-] (own choice)."""

LEVEL_S = 20.0
"""Stretch of readings that makes one level of the current [s] (own choice)."""

LEAST_LEVEL_READINGS = 3
"""Readings in the lowest level at least (own choice)."""

LEAST_LAST_READINGS = 2
"""Readings in the last level at least: one slip must not make a rise (own choice)."""

SHARP_S = 10.0
"""A step of the load is over within this, or from one reading to the next [s] (own choice)."""

WANDERING_A = 1.0
"""A rise within minutes beside a bus load is over this: loads wander by about half an ampere [A]
(own choice)."""

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
    """A rise of the battery current: how much [A], the least that counts, over how long, since.

    ``gradual_a`` is the climb from the lowest level to the last one without the sharpest jump in
    between, which a load switched on would make. ``from_battery`` says that the current is the
    battery's own: of a clamp, or with the load read beside it.
    """

    amount: float
    least: float
    span_s: float
    since_s: float
    gradual_a: float = 0.0
    unsure_a: float = 0.0
    from_battery: bool = False


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

    Parameters
    ----------
    fit : TaperFit

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


def raw_current(signal: Signal) -> tuple[FloatArray, FloatArray]:
    """Readings from the end of the supply's first limit on, sharp load steps taken off.

    Where the supply tripped, those since its return, if they are enough to show a rise.

    Steps count with the jump of the readings, never with a size that was fitted: a fit may give a
    step what is a rise.

    Parameters
    ----------
    signal : Signal

    Returns
    -------
    time_s, current_a : ndarray, shape (n,)
        Times since connection [s] and currents with the bus load at the first reading in them [A].
    """
    rows = ~signal.set_aside
    if signal.limit_end_s is not None:
        rows = rows & (signal.time_s >= signal.limit_end_s)
    if signal.off.any():
        since = rows & (signal.time_s > signal.time_s[signal.off][-1])
        before = rows & (signal.time_s < signal.time_s[signal.off][0])
        rows = since if since.sum() >= LEAST_RISE_READINGS else before
    t, current = signal.time_s[rows], signal.current_a[rows]
    for step in signal.steps:
        current = current - step.size_a * (t >= step.elapsed_s)
    return t, current


def rise_of(fit: TaperFit) -> Rise | None:
    """A rise of the battery current over the last part of its readings, None where there is none.

    Looked for in the last `RISE_SHARE` of the readings, at least `LEAST_RISE_S`, and in each of
    `RECENT_WINDOWS_S`. The change of a line counts when it is over `RISE_ERRORS` standard errors,
    `SEEN_METER_STEPS` steps of the meter, `RISE_OF_CURRENT` of the battery current and
    `LEAST_RISE_A`; in the recent ones, beside a bus load, over `WANDERING_A`, and the climb without
    its sharpest jump as well. The last few readings that all rise count by themselves.

    Parameters
    ----------
    fit : TaperFit

    Returns
    -------
    Rise or None
        The largest that counts.
    """
    t, current = raw_current(fit.signal)
    if t.size < LEAST_RISE_READINGS:
        return None
    span_s = max(LEAST_RISE_S, RISE_SHARE * float(t[-1] - t[0]))
    windows = (span_s, *(w for w in RECENT_WINDOWS_S if w < t[-1] - t[0] + RISE_SLACK_S))
    climb = _climb(t, current, fit.signal.resolution_a, max(span_s, *RECENT_WINDOWS_S))
    found = [
        rise
        for k, window_s in enumerate(windows)
        if (rise := _rise_in(fit.signal, t, current, window_s, climb, recent=k > 0)) is not None
    ]
    largest = max(found, key=lambda rise: rise.amount - rise.least, default=None)
    steady = _steady_climb(fit.signal, t, current)
    if steady is None or (largest is not None and largest.gradual_a >= steady.gradual_a):
        return largest
    return steady


def _steady_climb(signal: Signal, time_s: FloatArray, current_a: FloatArray) -> Rise | None:
    """The climb of the last `RISING_READINGS`, where each rises over the one before.

    Only of readings further apart than `SHARP_S`: what climbs within seconds is a load that starts.
    On the supply's meter each must rise by more than the one before, as loads that are switched on
    one after the other do not. The last reading is left out of the gradual climb: it may be a slip.
    """
    t, y = time_s[-RISING_READINGS:], current_a[-RISING_READINGS:]
    rises = np.diff(y)
    noise = max(RISING_ERRORS * np.sqrt(2.0) * signal.sigma_a, signal.resolution_a)
    steepens = bool((np.diff(rises) > 0.0).all())
    if (rises <= noise).any() or (np.diff(t) <= SHARP_S).any():
        return None
    if not (signal.reads_battery or steepens):
        return None
    level = abs(float(np.median(current_a)) - signal.load.mean_a)
    unsure = max(RISE_METER_STEPS * signal.resolution_a, RISE_OF_CURRENT * level, LEAST_RISE_A)
    amount, gradual = float(y[-1] - y[0]), float(y[-2] - y[0])
    span_s, since_s = float(t[-1] - t[0]), float(t[0])
    return Rise(amount, unsure, span_s, since_s, gradual, unsure, signal.reads_battery)


def _rise_in(
    signal: Signal,
    time_s: FloatArray,
    current_a: FloatArray,
    window_s: float,
    climb: tuple[float, float],
    recent: bool,
) -> Rise | None:
    """A rise over the last seconds, None where it does not count or readings are too few."""
    since = time_s[-1] - window_s
    late = time_s >= since
    few = LEAST_RECENT_READINGS if recent else LEAST_TREND_READINGS
    if since < time_s[0] - RISE_SLACK_S or late.sum() < few:
        return None
    change = line_change(time_s[late], current_a[late], signal.sigma_a)
    level = abs(float(np.median(current_a)) - signal.load.mean_a)
    gradual, turn = climb
    unsure = max(RISE_METER_STEPS * signal.resolution_a, RISE_OF_CURRENT * level, LEAST_RISE_A)
    wanders = WANDERING_A if recent and not signal.reads_battery else 0.0
    seen = max(SEEN_METER_STEPS * signal.resolution_a, RISE_OF_CURRENT * level, LEAST_RISE_A)
    least = max(RISE_ERRORS * change.standard_error, seen, wanders)
    if change.amount <= least or (recent and gradual <= max(wanders, LEAST_RISE_A)):
        return None
    return Rise(change.amount, least, change.span_s, turn, gradual, unsure, signal.reads_battery)


def _climb(
    time_s: FloatArray, current_a: FloatArray, resolution_a: float, window_s: float
) -> tuple[float, float]:
    """Climb from the lowest level to the last one without its sharpest jump [A]; the turn [s].

    A jump is what changes from one reading to the next, or within `SHARP_S` where readings are
    denser: all of a load switched on, little of a ramp. One step of the meter is no jump.

    Parameters
    ----------
    time_s, current_a : ndarray, shape (n,)
        Readings [s], [A].
    resolution_a : float
        Step of the meter [A].
    window_s : float
        Last stretch in which the lowest level is sought [s].

    Returns
    -------
    gradual_a, turn_s : float
    """
    late = time_s >= time_s[-1] - window_s
    t, y = time_s[late], current_a[late]
    if t.size < LEAST_LEVEL_READINGS + LEAST_LAST_READINGS:
        return 0.0, float(t[0])
    each_s = float(np.median(np.diff(t)))
    width = max(int(LEVEL_S / each_s), LEAST_LEVEL_READINGS)
    if t.size < width + LEAST_LAST_READINGS:
        return 0.0, float(t[0])
    levels = np.convolve(y, np.ones(width) / width, mode="valid")
    lowest = int(np.argmin(levels))
    last = y[-max(int(LEVEL_S / each_s), LEAST_LAST_READINGS) :]
    end = float(np.quantile(last, 0.5, method="lower"))
    apart = min(max(int(SHARP_S / each_s), 1), t.size - lowest - 1)
    rest = y[lowest:]
    jump = max(float((rest[apart:] - rest[:-apart]).max()) - resolution_a, 0.0)
    return end - float(levels[lowest]) - jump, float(t[lowest + width // 2])


def whole_change(fit: TaperFit) -> Change | None:
    """Change of the battery current over all constant-voltage readings [A].

    Parameters
    ----------
    fit : TaperFit

    Returns
    -------
    Change or None
        None with fewer readings than `LEAST_TREND_READINGS`.
    """
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
