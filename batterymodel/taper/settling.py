"""The first moments of a connection, before the taper: a spike of seconds, and what follows it.

When the supply is put on, the battery takes a spike that is over in seconds; its current may then
climb to a small hump within about a minute, as acid and surface warm to the charge and the supply
settles. Neither is part of the taper. Measured: three of three tapers of
`tests/data/lead_acid_tapers.csv`.
"""

from __future__ import annotations

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray

SETTLING_S = 90.0
"""Time from connection within which spike and hump are looked for [s] (read off the three measured
tapers, whose humps stand at 50 to 130 s)."""

HUMP_SIGMAS = 4.0
"""Errors of a reading by which the current must climb to make a hump [-] (own choice)."""

HUMP_OF_CURRENT = 0.02
"""Part of the current by which it must climb to make a hump [-] (own choice; measured: 0.04 and
0.09)."""

SPIKE_OF_CURRENT = 0.10
"""Part of the current by which the first reading must fall to be a spike [-] (own choice; measured:
0.2 and 0.6)."""

SPIKE_STEEPER = 8.0
"""Steepness of a spike's fall over that of the readings after it [-] (own choice: the fast branch
of a sound battery is at most about three times as steep as the taper after it)."""

MOST_IN_ONE = 0.7
"""Part of the climb that one step from reading to reading may make: more is a load switched on [-]
(own choice; measured: 0.3 and 0.6)."""

LEAST_AFTER = 4
"""Readings that must be left after the settling start (own choice)."""


def settling_mask(time_s: FloatArray, current_a: FloatArray, sigma_a: float) -> BoolArray:
    """Readings of the settling start, which the taper leaves out.

    All readings before the hump, if the current climbs to one within `SETTLING_S`; else those of a
    spike, if the first reading falls away much more steeply than the following ones.

    Parameters
    ----------
    time_s : ndarray, shape (n,)
        Since connection [s], rising.
    current_a : ndarray, shape (n,)
        Readings [A].
    sigma_a : float
        Error of one reading [A].

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    early = int(np.searchsorted(time_s, SETTLING_S, side="right"))
    early = min(early, time_s.size - LEAST_AFTER)
    start = _hump(current_a, early, sigma_a) or _end_of_spike(time_s, current_a, early, sigma_a)
    return np.arange(time_s.size) < start


def _hump(current_a: FloatArray, early: int, sigma_a: float) -> int:
    """Number of readings before the hump; 0 without one, or while the current still climbs."""
    if early < 2:
        return 0
    lowest = np.minimum.accumulate(current_a[:early])
    climb = current_a[:early] - lowest
    top = int(np.argmax(climb))
    least = max(HUMP_SIGMAS * sigma_a, HUMP_OF_CURRENT * abs(float(current_a[top])))
    falls = float(current_a[early]) < float(current_a[top]) - sigma_a
    steepest = float(np.diff(current_a[: top + 1]).max(initial=0.0))
    climbs = climb[top] > least and steepest <= MOST_IN_ONE * climb[top]
    return top if climbs and falls else 0


def _end_of_spike(time_s: FloatArray, current_a: FloatArray, early: int, sigma_a: float) -> int:
    """Number of readings of a spike at the start; 0 without one."""
    for count in range(min(3, early - 1), 0, -1):
        fall = (current_a[0] - current_a[count]) / (time_s[count] - time_s[0])
        after = current_a[count : count + LEAST_AFTER]
        slope = (after[0] - after[-1]) / (time_s[count + after.size - 1] - time_s[count])
        drop = current_a[count - 1] - current_a[count]
        least = max(HUMP_SIGMAS * sigma_a, SPIKE_OF_CURRENT * abs(float(current_a[count])))
        if drop > least and fall > SPIKE_STEEPER * max(slope, sigma_a / SETTLING_S):
            return count
    return 0
