"""Times that go back while the current goes on: a clock that was set back within the readings.

Rows that came out of order fit each other once they are sorted; those of a clock that was set back
fit as they stand, and sorted they would make a connection that never was.
"""

from __future__ import annotations

import numpy as np
import pandas as pd

from batterymodel.inputs.remarks import Remarks

LEAST_APART = 0.1
"""Share of its highest by which the current runs up and down more when sorted than as it stands,
and which it rises at most where the time goes back (own choice: several steps of a meter)."""

MOST_SHARE = 0.75
"""Share of the ups and downs of the sorted rows that those as they stand have at most (own choice:
what errors of the readings make of rows that came late lies nearer to one)."""

LEAST_RUN = 2
"""Rows that stand in order before and after (own choice: one alone may be mistyped)."""

HOUR_S, HOUR_WITHIN_S = 3600.0, 60.0
"""A clock that is set to winter time goes back by this much [s], give or take a minute that it is
read to (own choice)."""


def set_back_at(elapsed_s: np.ndarray, current_a: np.ndarray) -> int | None:
    """The place at which the time goes back while the current goes on.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        In the order of the rows [s].
    current_a : ndarray, shape (n,)
        Of the supply in these rows [A].

    Returns
    -------
    int or None
        None where the rows are in order, where one stands alone, or where they fit better when
        they are sorted.

    >>> time_s = np.array([7080.0, 7140.0, 3600.0, 3660.0])
    >>> set_back_at(time_s, np.array([40.0, 34.0, 29.0, 25.0]))
    2
    >>> set_back_at(time_s, np.array([29.0, 25.0, 40.0, 34.0])) is None
    True
    """
    places = np.flatnonzero(np.diff(elapsed_s) < 0.0) + 1
    if not places.size or np.diff([0, *places, len(elapsed_s)]).min() < LEAST_RUN:
        return None
    apart_a = LEAST_APART * float(np.abs(current_a).max())
    rises_a = current_a[places] - current_a[places - 1]
    as_it_stands_a = _ups_and_downs(current_a)
    sorted_a = _ups_and_downs(current_a[np.argsort(elapsed_s, kind="stable")])
    fits = as_it_stands_a <= min(MOST_SHARE * sorted_a, sorted_a - apart_a)
    return int(places[0]) if fits and rises_a.max() <= apart_a else None


def check_runs_on(
    elapsed_s: pd.Series, current_a: pd.Series, remarks: Remarks, column: str
) -> None:
    """Refuse readings within which a clock was set back: how far, only a person knows.

    Parameters
    ----------
    elapsed_s : Series of float
        In the order of the rows, indexed by the row as seen [s]; NaN where there is no time.
    current_a : Series of float
        Of the supply, under the same index [A]; NaN where none was read.
    remarks : Remarks
        Names the file.
    column : str
        Of the time.

    Raises
    ------
    InputError
        Names the row at which the time goes back, and by how much.
    """
    rows = pd.DataFrame({"elapsed_s": elapsed_s, "current_a": current_a}).dropna()
    time_s = rows["elapsed_s"].to_numpy()
    place = set_back_at(time_s, rows["current_a"].to_numpy())
    if place is None:
        return
    back_s = float(time_s[place - 1] - time_s[place])
    raise remarks.error(
        f"the time goes back by {back_s:.0f} s while the current goes on, as where a clock was set "
        f"back{_by_an_hour(time_s, back_s)}; times that run on, or the seconds since connection, "
        "would be right",
        int(rows.index[place]),
        column,
    )


def _by_an_hour(time_s: np.ndarray, back_s: float) -> str:
    """Whether it may be the hour at the end of summer time: less than an hour by one step."""
    steps_s = np.diff(time_s)
    onward_s = steps_s[steps_s > 0.0]
    step_s = float(np.median(onward_s)) if onward_s.size else 0.0
    least_s, most_s = HOUR_S - step_s - HOUR_WITHIN_S, HOUR_S + HOUR_WITHIN_S
    return " by an hour to winter time" if least_s <= back_s <= most_s else ""


def _ups_and_downs(current_a: np.ndarray) -> float:
    return float(np.abs(np.diff(current_a)).sum())
