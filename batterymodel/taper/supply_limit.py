"""The opening phase in which the supply gives all it can, found in its current."""

from __future__ import annotations

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.inputs.records import Readings, Supply
from batterymodel.reference.supply import output_limit

LIMIT_BAND = 0.06
"""A supply holds its rated limit within this relative band (common practice, no source)."""

LIMIT_END_LINE_S = 30.0
"""Stretch after the limit over which the fall is taken as a line [s] (own choice)."""

LEAST_HOLD_READINGS = 3
"""Readings at constant voltage below which there is no taper to read (own choice)."""

LEVEL_SIGMAS = 4.0
"""Readings within so many errors of the highest may be at the supply's limit [-] (own choice)."""

LEVEL_OF_TOP = 0.015
"""Readings within this share of the highest may be at the supply's limit [-] (own choice)."""

SAG_V = 0.2
"""Below set voltage and tolerance by this, the supply gives way to its limit [V] (own choice)."""

LEAST_LIMIT_S = 15.0
"""Shortest opening stretch that may be the supply's limit [s] (own choice)."""

LEAST_LIMIT_READINGS = 4
"""Fewest readings of an opening stretch that may be the supply's limit (own choice)."""

DROPS_IN_A_STRETCH = 2.0
"""Fall along a straight stretch over the difference between the means of its halves [-]
(derived)."""

FLAT_SHARE = 0.35
"""Fall along a stretch at the supply's limit, over the fall from its first half to half its length
after it, below which it is level [-] (own choice)."""

LATEST_LIMIT_S = 60.0
"""A limit that begins later than this, from a current under `BELOW_LIMIT` of it, is no opening
phase: the current rose to it [s] (own choice)."""

BELOW_LIMIT = 0.8
"""Share of the highest current under which the supply was not at its limit [-] (own choice)."""

LIMIT_END_READINGS = 4
"""Readings after the limit that always belong to the line of the fall (own choice)."""

LEAST_LINE_READINGS = 3
"""Readings after the limit below which no line is drawn (own choice)."""

LEAST_END_SD_S = 0.5
"""Least error of the moment the limit ended [s] (own choice)."""


def limited_phase(
    time_s: FloatArray,
    supply_current_a: FloatArray,
    readings: Readings,
    held: BoolArray,
    supply: Supply | None,
    sigma_a: float,
) -> tuple[BoolArray, float | None, float]:
    """Mask of readings at the supply's limit, end of the first such phase, error of that end.

    Parameters
    ----------
    time_s, supply_current_a : ndarray, shape (n,)
        Rows that are kept [s], [A].
    readings : Readings
    held : ndarray of bool
        Which of the readings are kept.
    supply : Supply, optional
        Gives the current at which the supply limits.
    sigma_a : float
        Error of one reading [A].

    Returns
    -------
    mask : ndarray of bool, shape (n,)
    end_s : float or None
        None: never at its limit at the start; inf: still at it [s].
    end_sd_s : float
        Standard error of the end [s].
    """
    level = _middle_of_three(supply_current_a)
    top = float(level.max())
    band = max(LEVEL_SIGMAS * sigma_a, LEVEL_OF_TOP * top)
    if not _could_be_limit(top, readings, held, supply):
        return np.zeros(time_s.size, dtype=bool), None, 0.0
    high = level >= top - band
    first = int(np.argmax(high))
    if time_s[first] - time_s[0] > LATEST_LIMIT_S and level[:first].min() < BELOW_LIMIT * top:
        return np.zeros(time_s.size, dtype=bool), None, 0.0
    later = np.flatnonzero(~high[first:])
    last = first + (int(later[0]) if later.size else high.size - first) - 1
    if not _is_flat(time_s, supply_current_a, first, last, band, known=supply is not None):
        return np.zeros(time_s.size, dtype=bool), None, 0.0
    current_limited = high.copy()
    current_limited[:first] = True
    if (~current_limited).sum() < LEAST_HOLD_READINGS:
        return np.ones_like(current_limited), np.inf, 0.0
    return current_limited, *_end_of_limit(time_s, supply_current_a, last)


def _middle_of_three(current_a: FloatArray) -> FloatArray:
    """Running median of three: single dips and spikes gone, edges kept."""
    if current_a.size < 3:
        return current_a
    padded = np.pad(current_a, 1, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 3), axis=1)


def _could_be_limit(
    top_a: float, readings: Readings, held: BoolArray, supply: Supply | None
) -> bool:
    if supply is None:
        return True
    volts = readings.supply_voltage_v
    if volts is not None and np.isfinite(volts[held]).any():
        sag = supply.set_voltage_v - supply.voltage_tolerance_v - SAG_V
        if np.nanmin(volts[held]) < sag:
            return True
    return top_a >= (1.0 - LIMIT_BAND) * min(supply.rated_current_a, output_limit(supply).limit_a)


def _is_flat(
    time_s: FloatArray, current_a: FloatArray, first: int, last: int, band_a: float, known: bool
) -> bool:
    """Whether the opening stretch is a limit: long and level, then falling faster than before."""
    short = time_s[last] - time_s[first] < LEAST_LIMIT_S
    if short or last - first + 1 < LEAST_LIMIT_READINGS:
        return False
    half = (first + last) // 2
    drop_inside = current_a[first : half + 1].mean() - current_a[half : last + 1].mean()
    if last >= current_a.size - 2:
        return known and abs(drop_inside) < band_a / 2
    span = time_s[last] - time_s[first]
    after = current_a[
        np.searchsorted(time_s, min(time_s[last] + span / 2, time_s[-1]), "right") - 1
    ]
    fall_inside = DROPS_IN_A_STRETCH * abs(drop_inside)
    return bool(fall_inside < FLAT_SHARE * (current_a[first:half].mean() - after))


def _end_of_limit(time_s: FloatArray, current_a: FloatArray, last: int) -> tuple[float, float]:
    """Where the line through the first falling readings meets the limit, and its error [s]."""
    level = float(np.median(current_a[: last + 1]))
    step = float(time_s[min(last + 1, time_s.size - 1)] - time_s[last])
    after = np.arange(last + 1, time_s.size)
    near = time_s[after] <= time_s[last] + LIMIT_END_LINE_S
    after = after[(after <= last + LIMIT_END_READINGS) | near]
    if after.size >= LEAST_LINE_READINGS:
        slope, offset = np.polyfit(time_s[after], current_a[after], 1)
        if slope < 0:
            meets = float(np.clip((level - offset) / slope, time_s[0], time_s[last] + step))
            return meets, max(step / np.sqrt(12.0), LEAST_END_SD_S)
    return float(time_s[last] + step / 2.0), max(step / 2.0, LEAST_END_SD_S)
