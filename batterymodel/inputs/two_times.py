"""Two times in one table: a clock and a count that do not tell the same are a question.

A count beside a clock may be the fraction of its seconds, or the seconds of its minutes.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

import numpy as np
import pandas as pd

from batterymodel.inputs.cell_values import clock_s
from batterymodel.inputs.column_map import Column, Quantity
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.foreign_times import days_of, elapsed_by_clock, elapsed_of, moments_of
from batterymodel.inputs.guesses import ColumnGuess, Sureness
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.remarks import Remarks

MOST_APART_S = 5.0
"""Two times may run apart by this much (own choice: a clock rounded to seconds, and a logger that
is slow to begin) [s]."""

MOST_APART_SHARE = 0.05
"""Or by this share of the log, whichever is more (own choice)."""

_MINUTE_S = 60.0


def doubts_of_times(
    cells: pd.DataFrame, guesses: Sequence[ColumnGuess], mark: str
) -> dict[str, str]:
    """Why a clock and a count since the connection may not both be what they are taken for.

    Parameters
    ----------
    cells : DataFrame of str
        As `foreign_table` gives them.
    guesses : sequence of ColumnGuess
    mark : str
        Before the decimals.

    Returns
    -------
    dict of str to str
        By header; empty where there is one time, or both tell the same.
    """
    taken = {guess.column.quantity: guess.column for guess in guesses}
    elapsed, time = taken.get(Quantity.ELAPSED), taken.get(Quantity.TIME)
    if elapsed is None or time is None or not any(g.sureness is Sureness.SURE for g in guesses):
        return {}
    unheard = Faults(Remarks("", FORMAT))
    count_s = elapsed_of(cells[elapsed.header], elapsed, mark, unheard)
    run_s = clock_run_s(cells, taken, mark, unheard)
    pairs = pd.DataFrame({"count": count_s, "run": run_s}).dropna()
    if pairs.empty or not _run_apart(pairs, _step_s(cells[time.header])):
        return {}
    spans = pairs["run"].max() - pairs["run"].min(), pairs["count"].max() - pairs["count"].min()
    why = f"'{time.header}' runs over {spans[0]:.6g} s, '{elapsed.header}' over {spans[1]:.6g} s"
    return {time.header: why, elapsed.header: why}


def clock_run_s(
    cells: pd.DataFrame, taken: Mapping[Quantity, Column], mark: str, unheard: Faults
) -> pd.Series:
    """Seconds since the first row, by the clock.

    Parameters
    ----------
    cells : DataFrame of str
        As `foreign_table` gives them.
    taken : mapping of Quantity to Column
        With a time, and a date if there is one.
    mark : str
        Before the decimals of a count since 1970.
    unheard : Faults
        Takes what is no such time.

    Returns
    -------
    Series of float
        [s]; NaN where a row has none.
    """
    time, date = taken[Quantity.TIME], taken.get(Quantity.DATE)
    is_clock = time.unit == "clock"
    if is_clock and date is None:
        return elapsed_by_clock(cells[time.header], unheard)
    days = days_of(cells[date.header], date, unheard) if date is not None and is_clock else None
    texts = moments_of(cells[time.header], time, days, mark, unheard)
    moments = [datetime.fromisoformat(text) if text else None for text in texts]
    first = next((moment for moment in moments if moment is not None), None)
    return pd.Series([_since(first, moment) for moment in moments], cells.index, dtype=float)


def _since(first: datetime | None, moment: datetime | None) -> float:
    if first is None or moment is None or (first.tzinfo is None) != (moment.tzinfo is None):
        return np.nan
    return (moment - first).total_seconds()


def _step_s(times: pd.Series) -> float:
    """A minute where no time has seconds, by which it may be wrong then [s]."""
    clocks = [clock_s(text[max(text.find(":") - 2, 0) :].strip()) for text in times if ":" in text]
    whole = bool(clocks) and all(s is not None and s % _MINUTE_S == 0.0 for s in clocks)
    return _MINUTE_S if whole else 0.0


def _run_apart(pairs: pd.DataFrame, step_s: float) -> bool:
    apart_s = pairs["run"] - pairs["count"]
    span_s = max(float(np.ptp(pairs["run"])), float(np.ptp(pairs["count"])))
    return float(np.ptp(apart_s)) > max(MOST_APART_S, MOST_APART_SHARE * span_s) + step_s
