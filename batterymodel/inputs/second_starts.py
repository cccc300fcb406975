"""Two connections in one table, by their current: after a gap the taper starts again.

A load that is switched on in a gap raises the current too, and so does a battery that runs away;
but neither lets it fall faster than before, but for the moment in which a load is switched off or
has started.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import pandas as pd

from batterymodel.inputs.records import Event, Readings
from batterymodel.inputs.remarks import Remarks

LEAST_GAP_S, GAP_STEPS = 300.0, 5.0
"""A gap in which power may have been off is at least so long [s], and so many usual steps (own
choice: power is off for minutes between two connections)."""

LEAST_ROWS = 3
"""Rows on both sides of the gap (own choice: with fewer no fall is told from an error)."""

LEAST_FALL = 0.1
"""Share of its highest that the current fell before the gap, and falls again after it (own choice:
several steps of a meter)."""

NEAR_FIRST = 0.5
"""Share of what it had fallen by which the current starts off its highest at most (own choice: the
second taper of a battery starts about where the first did)."""

WINDOW = 1.0 / 3.0
"""Share of the shorter side over which the falls before and after the gap are compared, in each of
its halves (own choice)."""

BACK_AT_FIRST = 0.95
"""Share of its first plateau at which a supply is at its limit again (own choice: one meter)."""

_OF_CONNECTION = re.compile(
    r"connect|\b(un)?plug|\bsupply\b|\b(ground|external)\b|\bpower\b.*\b(off|back|again)\b", re.I
)
"""Words of an event that tell of the connection itself and of no load (own choice)."""


def second_starts(
    elapsed_s: np.ndarray, current_a: np.ndarray, switched_s: Iterable[float] = ()
) -> list[int]:
    """Places at which a second connection seems to begin.

    The current had fallen, has risen over the gap, and falls again to its end: faster than it did
    before and not in one moment alone, or from the limit it stood at first. Where it starts far
    from where it was first, the fall must be more than one step, as a load that is switched off
    leaves.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        Rising [s].
    current_a : ndarray, shape (n,)
        Of the supply [A], or in any other unit.
    switched_s : iterable of float
        When something was switched, as events say [s]: what is told explains a rise.

    Returns
    -------
    list of int

    >>> t = np.array([0.0, 60, 120, 180, 1380, 1440, 1500])
    >>> second_starts(t, np.array([40.0, 31, 25, 21, 36, 28, 23]))
    [4]
    >>> second_starts(t, np.array([40.0, 31, 25, 21, 36, 38, 41]))
    []
    """
    switched_s = tuple(switched_s)
    ends = [0, *_gaps(elapsed_s), len(elapsed_s)]
    found = []
    for (first, place), (_, end) in pairwise(pairwise(ends)):
        gap_s = elapsed_s[place - 1], elapsed_s[place]
        told = any(gap_s[0] < at_s <= gap_s[1] for at_s in switched_s)
        before, after = slice(first, place), slice(place, end)
        sides = (elapsed_s[before], current_a[before]), (elapsed_s[after], current_a[after])
        if not told and _starts_again(*sides):
            found.append(place)
    return found


def starts_anew(readings: Readings) -> list[int]:
    """Rows with which a second connection seems to begin, by current and events of readings.

    A log with one teaches nothing and is no truth: nobody knows whether it is of one connection.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    list of int
    """
    switched_s = switched(readings.events)
    return second_starts(readings.elapsed_s, readings.supply_current_a, switched_s)


def switched(events: Iterable[Event]) -> tuple[float, ...]:
    """When loads were switched, as events say; one that tells of the connection explains no rise.

    Parameters
    ----------
    events : iterable of Event

    Returns
    -------
    tuple of float
        [s].
    """
    return tuple(event.elapsed_s for event in events if not _OF_CONNECTION.search(event.text))


def note_second_start(frame: pd.DataFrame, events_s: Iterable[float], remarks: Remarks) -> None:
    """Note the row with which a second connection seems to begin: a person knows whether one does.

    Parameters
    ----------
    frame : DataFrame
        ``elapsed_s`` [s] and ``supply_current_a`` [A] in every row, indexed by the row as seen.
    events_s : iterable of float
        When something was switched [s].
    remarks : Remarks
        Takes the note.
    """
    rising = frame.sort_values("elapsed_s", kind="stable")
    elapsed_s, current_a = (rising[c].to_numpy() for c in ("elapsed_s", "supply_current_a"))
    for place in second_starts(elapsed_s, current_a, events_s)[:1]:
        row, gap_s = rising.index[place], elapsed_s[place] - elapsed_s[place - 1]
        remarks.notes.append(
            f"{remarks.row} {row}: after {gap_s:.0f} s without a reading the current falls anew, "
            "as in a second connection"
        )


def _gaps(elapsed_s: np.ndarray) -> list[int]:
    """Places before which there is a gap."""
    steps_s = np.diff(elapsed_s)
    if not (steps_s > 0.0).any():
        return []
    usual_s = float(np.median(steps_s[steps_s > 0.0]))
    long = steps_s >= max(LEAST_GAP_S, GAP_STEPS * usual_s)
    return [int(place) for place in np.flatnonzero(long) + 1]


def _starts_again(
    before: tuple[np.ndarray, np.ndarray], after: tuple[np.ndarray, np.ndarray]
) -> bool:
    if min(len(before[0]), len(after[0])) < LEAST_ROWS:
        return False
    highest, last, start = before[1].max(), before[1][-1], after[1][0]
    had_fallen = highest - last >= LEAST_FALL * highest
    least_a = LEAST_FALL * highest
    is_near = abs(start - highest) <= NEAR_FIRST * (highest - last)
    is_far = start - last >= least_a and _fall_but_one_step(after[1]) >= least_a
    falls = start - after[1][-1] >= least_a
    at_limit = _began_at_limit(*before) and start >= BACK_AT_FIRST * highest
    again = falls and (at_limit or _falls_faster(before, after))
    return bool(had_fallen and (is_near or is_far) and again)


def _fall_but_one_step(current: np.ndarray) -> float:
    """How far the current fell, its largest step left out."""
    steps = -np.diff(current)
    return float(steps.sum() - steps.max())


def _began_at_limit(time_s: np.ndarray, current: np.ndarray) -> bool:
    """Whether the current began at a limit of the supply.

    A taper falls fastest at first, so that no reading lies above the line from its highest to its
    last; one that is read often is flat at first for that alone.
    """
    highest, last = float(current.max()), float(current[-1])
    line = np.interp(time_s, time_s[[0, -1]], (highest, last))
    above = float((current - line)[1:-1].max()) > (1.0 - BACK_AT_FIRST) * (highest - last)
    return above and bool((current[:LEAST_ROWS] >= BACK_AT_FIRST * highest).all())


def _falls_faster(
    before: tuple[np.ndarray, np.ndarray], after: tuple[np.ndarray, np.ndarray]
) -> bool:
    """Whether the current falls faster than it did in both halves of a window.

    A load that is switched off, or that took more while it started, lets it fall in one of them.
    """
    half_s = 0.5 * WINDOW * min(np.ptp(before[0]), np.ptp(after[0]))
    fell = np.interp(before[0][-1] - half_s, *before) - before[1][-1]
    falls = -np.diff(np.interp(after[0][0] + half_s * np.arange(3), *after))
    return bool((falls > fell).all())
