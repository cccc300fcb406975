"""Times of a table with named columns: read, put in order, and split where a logger began anew."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

import numpy as np
import pandas as pd

from batterymodel.inputs.remarks import Remarks, first_row
from batterymodel.inputs.tables import MISSING

LONGEST_LOG_S = 86_400.0
"""Longest log of a connection, and span of its clock times [s] (own choice: one day)."""

LONGEST_PAUSE_S = 3600.0
"""Rows of one connection are no further apart than this, or ten usual steps (own choice) [s]."""

GAP_RATIO, LEAST_GAP_S = 10.0, 60.0
"""A gap is noted that is so many times the usual step, and longer than so much [s] (own choice)."""

LEAST_RUN, LEAST_LAST = 3, 2
"""Rows of a run of a logger before it began anew, and of its last run (own choice)."""

SORTED = ": all rows were sorted"
"""How the note ends that rows went back in time."""

OUT_OF_ORDER = "out of order of time, {row} first" + SORTED


def timed(frame: pd.DataFrame, remarks: Remarks) -> tuple[pd.DataFrame, datetime | None]:
    """The rows that have a time, with `elapsed_s`, and the moment at which that is zero.

    Parameters
    ----------
    frame : DataFrame
        From `checked_columns`, with ``elapsed_s``, ``time`` or both; ``elapsed_s`` is preferred.
    remarks : Remarks
        Takes notes of rows without a time and of clocks that run apart.

    Returns
    -------
    frame : DataFrame
        With ``elapsed_s`` [s], without ``time``.
    started_at : datetime or None
        None where no clock time is given.

    Raises
    ------
    InputError
        A clock time that is none, a UTC offset in some rows only, more than `LONGEST_LOG_S`, or
        hours between what both say.
    """
    started_at = None
    if "time" in frame:
        moments = _moments(frame["time"], remarks)
        first = min(moments, default=None)
        clock_s = pd.Series([(m - first).total_seconds() for m in moments], moments.index, float)
        problem = f"is over 24 h after the earliest time; give {remarks.format.what}"
        remarks.refuse_first(clock_s > LONGEST_LOG_S, frame["time"], problem)
        elapsed_s = frame.get("elapsed_s", clock_s)
        both = pd.DataFrame({"elapsed_s": elapsed_s, "clock_s": clock_s}).dropna()
        if "elapsed_s" in frame and len(both):
            _note_apart(float(np.ptp((both["clock_s"] - both["elapsed_s"]).to_numpy())), remarks)
        frame = frame.assign(elapsed_s=elapsed_s)
        for row in both.sort_values(["elapsed_s", "clock_s"]).index[:1]:
            started_at = moments[row] - timedelta(seconds=elapsed_s[row])
    lost = frame["elapsed_s"].isna()
    remarks.note_rows(lost, "dropped: no time, and any event there is lost with it")
    return frame.drop(columns="time", errors="ignore")[~lost], started_at


def _note_apart(apart_s: float, remarks: Remarks) -> None:
    """Note that clock and count run apart; hours apart they are of more than one connection."""
    if apart_s > LONGEST_PAUSE_S:
        raise remarks.error(
            f"runs apart from 'elapsed_s' by {apart_s:.0f} s, as over two connections; give the "
            "readings of one, or leave out the column that is wrong",
            column="time",
        )
    if apart_s > 1.0:
        remarks.notes.append(f"elapsed_s is used; time runs apart from it by {apart_s:.0f} s")


def seconds_by_clock(time: pd.Series) -> pd.Series:
    """Seconds since the first row that has a time, as far as the times can be read.

    Parameters
    ----------
    time : Series of str
        Stripped.

    Returns
    -------
    Series of float
        [s]; rows without a time, or with a UTC offset where the first has none, are left out.
    """
    known = {row: moment for row, text in time.items() if (moment := _moment(text)) is not None}
    seconds: dict[object, float] = {}
    for row, moment in known.items():
        first = next(iter(known.values()))
        if (moment.tzinfo is None) == (first.tzinfo is None):
            seconds[row] = (moment - first).total_seconds()
    return pd.Series(seconds, dtype=float)


def _moments(time: pd.Series, remarks: Remarks) -> pd.Series:
    """The times that are given, as datetimes that can be compared."""
    given = time[[text.lower() not in MISSING for text in time]]
    moments = pd.Series([_moment(text) for text in given], given.index, dtype=object)
    zoned = pd.Series([moment.tzinfo is not None for moment in moments], given.index, dtype=bool)
    if zoned.any():
        problem = f"has no UTC offset but row {zoned.idxmax()} has one; give all or none"
        remarks.refuse_first(~zoned, given, problem)
    return moments


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(re.sub(r" (?=[+Z-])", "", text.upper()))
    except ValueError:
        return None
    has_date_and_time = len(text) > len("2024-05-01")
    return moment if has_date_and_time and 1900 < moment.year < 2200 else None


def unreadable_times(time: pd.Series) -> pd.Series:
    """Which cells of a column of times are neither empty nor a date and time in ISO 8601.

    Parameters
    ----------
    time : Series of str
        Stripped.

    Returns
    -------
    Series of bool
    """
    wrong = [text.lower() not in MISSING and _moment(text) is None for text in time]
    return pd.Series(wrong, time.index, dtype=bool)


def run_starts(elapsed_s: np.ndarray) -> list[int]:
    """Places where rows begin anew from the start, as a logger does that was switched on again.

    Rows that came out of order are no such runs: a run begins within a usual step of the first
    row's time, overlaps the run before it in time, and none is shorter than a few rows.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        In the order of the rows [s].

    Returns
    -------
    list of int
        Of all runs but the first.

    >>> run_starts(np.array([0.0, 5.0, 10.0, 0.0, 5.0])), run_starts(np.array([10.0, 0.0, 5.0]))
    ([3], [])
    """
    steps_s = np.diff(elapsed_s)
    starts = (np.flatnonzero(steps_s < 0.0) + 1).tolist()
    if not starts or not (steps_s > 0.0).any():
        return []
    bounds = [0, *starts, len(elapsed_s)]
    usual_s = float(np.median(steps_s[steps_s > 0.0]))
    long_enough = min(np.diff(bounds[:-1])) >= LEAST_RUN and bounds[-1] - bounds[-2] >= LEAST_LAST
    ends_s = [elapsed_s[end - 1] for end in bounds[1:]]
    begins_s = [elapsed_s[begin] for begin in bounds[:-1]]
    near = max(begins_s[1:]) <= begins_s[0] + usual_s
    overlap = all(after > before for before, after in zip(begins_s[:-1], ends_s[1:], strict=True))
    return starts if long_enough and near and overlap else []


def check_no_pause(elapsed_s: pd.Series, remarks: Remarks, column: str) -> None:
    """Refuse rows that hours part, as two connections do: their times alone make them one.

    Parameters
    ----------
    elapsed_s : Series of float
        Of each row that has a current, by a clock; indexed by the row as seen [s].
    remarks : Remarks
        Names the file.
    column : str
        Of the clock.

    Raises
    ------
    InputError
        A pause of over `LONGEST_PAUSE_S` between several rows and several others.
    """
    rising = elapsed_s.dropna().sort_values(kind="stable")
    for place in pauses(rising.to_numpy())[:1]:
        parts = (rising.index[:place], rising.index[place:])
        rows = " or ".join(f"rows {part.min()} to {part.max()}" for part in parts)
        paused_s = rising.iloc[place] - rising.iloc[place - 1]
        raise remarks.error(
            f"{paused_s:.0f} s without a reading stand before it, as between two connections; "
            f"give the readings of one: {rows}",
            int(rising.index[place]),
            column,
        )


def pauses(elapsed_s: np.ndarray) -> list[int]:
    """Places before which hours passed without a reading, several rows on both sides.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        Rising [s].

    Returns
    -------
    list of int

    >>> pauses(np.array([0.0, 5.0, 10.0, 7200.0, 7205.0]))
    [3]
    """
    steps_s = np.diff(elapsed_s)
    if not (steps_s > 0.0).any():
        return []
    usual_s = float(np.median(steps_s[steps_s > 0.0]))
    places = np.flatnonzero(steps_s > max(LONGEST_PAUSE_S, GAP_RATIO * usual_s)) + 1
    last = len(elapsed_s) - LEAST_LAST
    return [place for place in places.tolist() if LEAST_LAST <= place <= last]


def in_order(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    """Rows in order of time, those of one time averaged, the same whatever order they came in.

    Parameters
    ----------
    frame : DataFrame
        Numbers only, with ``elapsed_s`` [s] in every row.
    remarks : Remarks
        Takes notes of rows that were sorted or averaged.

    Returns
    -------
    DataFrame
        ``elapsed_s`` strictly rising.
    """
    elapsed_s = frame["elapsed_s"]
    shared = elapsed_s.duplicated(keep=False)
    if not _is_newest_first(elapsed_s):
        back = elapsed_s < elapsed_s.cummax()
        remarks.note_rows(back, OUT_OF_ORDER.format(row=f"{remarks.row} {first_row(back)}"))
    remarks.note_rows(shared, "at the same time as another: their mean is used")
    if shared.any():
        return (
            frame.sort_values([str(name) for name in frame])
            .groupby("elapsed_s", as_index=False)
            .mean()
        )
    return frame.sort_values("elapsed_s")


def _is_newest_first(elapsed_s: pd.Series) -> bool:
    """Whether every row is earlier than the one above it, as some meters write them."""
    return bool((np.diff(elapsed_s.to_numpy()) < 0.0).all()) and len(elapsed_s) > 2


def note_gaps(elapsed_s: np.ndarray, remarks: Remarks) -> None:
    """Note gaps between rows that are far longer than the usual step.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        Times of the rows, rising [s].
    remarks : Remarks
        Takes the note: how many gaps, and the longest.
    """
    intervals_s = np.diff(elapsed_s)
    if not intervals_s.size:
        return
    long = np.maximum(GAP_RATIO * np.median(intervals_s), LEAST_GAP_S)
    gaps = int((intervals_s > long).sum())
    if gaps:
        at = intervals_s.argmax()
        longest = f"{intervals_s[at]:.0f} s after {elapsed_s[at]:.0f} s"
        remarks.notes.append(
            f"{gaps} long gap{'s' * (gaps > 1)} in the readings, longest {longest}"
        )
