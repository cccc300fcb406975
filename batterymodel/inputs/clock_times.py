"""How times of day go on from row to row: past midnight, and past noon on a clock of 12 hours."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

DAY_S = 86_400.0
"""Seconds of a day [s]."""

HALF_DAY_S = DAY_S / 2.0
"""How far a clock of 12 hours goes before it begins anew [s]."""

_HOUR_S = 3600.0


def shorter_way_s(steps_s: np.ndarray) -> np.ndarray:
    """Steps of a clock taken the shorter way round, so that it may pass midnight.

    Parameters
    ----------
    steps_s : ndarray
        From one reading of the clock to the next [s].

    Returns
    -------
    ndarray
        From half a day back to half a day on [s].
    """
    return (steps_s + HALF_DAY_S) % DAY_S - HALF_DAY_S


def turnovers(times_s: np.ndarray, texts: Sequence[str]) -> np.ndarray:
    """Where a clock of 12 hours without a.m. and p.m. passes from 12 to 1.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Times of day as they stand [s].
    texts : sequence of str
        What the cells say.

    Returns
    -------
    ndarray of int, shape (n,)
        1 where the clock begins anew at this row, -1 where rows go back past that; all 0 where
        an hour is none of 1 to 12, or a.m. or p.m. is written.
    """
    found = np.zeros(len(times_s), dtype=int)
    twelve = (times_s >= _HOUR_S) & (times_s < HALF_DAY_S + _HOUR_S)
    if not twelve.all() or any(text[-1:].lower() in ("m", ".") for text in texts):
        return found
    at_twelve, at_one = times_s >= HALF_DAY_S, times_s < 2.0 * _HOUR_S
    found[1:] += at_twelve[:-1] & at_one[1:]
    found[1:] -= at_one[:-1] & at_twelve[1:]
    return found


def without_turnovers(times_s: np.ndarray, texts: Sequence[str]) -> np.ndarray:
    """Times of day that go on where a clock of 12 hours begins anew.

    Parameters
    ----------
    times_s : ndarray, shape (n,)
        Times of day as they stand [s].
    texts : sequence of str
        What the cells say.

    Returns
    -------
    ndarray, shape (n,)
        [s], half a day more from each `turnovers` on.

    >>> without_turnovers(np.array([46740.0, 3600.0]), ["12:59", "1:00"]).tolist()
    [46740.0, 46800.0]
    """
    return times_s + HALF_DAY_S * np.cumsum(turnovers(times_s, texts))
