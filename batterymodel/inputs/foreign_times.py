"""Times of a foreign table: what stands in its columns of time, brought to what readings need."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, time, timedelta

import numpy as np
import pandas as pd

from batterymodel.inputs.cell_values import (
    clock_s,
    date_of,
    duration_s,
    is_missing,
    moment_of,
    number_of,
)
from batterymodel.inputs.clock_times import shorter_way_s, turnovers, without_turnovers
from batterymodel.inputs.column_map import DATE_ORDERS, SCALES, Column
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.remarks import first_row, shown
from batterymodel.inputs.table_times import LONGEST_LOG_S

_EXAMPLES = {
    "clock": "a time of day like 14:02:00",
    "h:min:s": "a time like 0:05:30",
    "min:s": "a time like 5:30",
    "ymd": "like 2026-03-02",
    "dmy": "like 02.03.2026",
    "mdy": "like 3/2/2026",
}


def parsed(
    cells: pd.Series, parse: Callable[[str], object], right: str, faults: Faults
) -> pd.Series:
    """Every cell that says something, parsed.

    Parameters
    ----------
    cells : Series of str
        Named as the column, indexed by the row as seen.
    parse : callable
        From a cell's text to its value, None for what it cannot be.
    right : str
        What a message says would be right.
    faults : Faults
        Takes what cannot be parsed.

    Returns
    -------
    Series
        Values under the same index; rows without one are left out.
    """
    given = cells[[not (text == "" or is_missing(text)) for text in cells]]
    known = {text: parse(text) for text in set(given)}
    values = pd.Series([known[text] for text in given], given.index, dtype=object)
    wrong = pd.Series([value is None for value in values], given.index, dtype=bool)
    faults.add_rows(wrong, lambda row: f"{shown(given.loc[row])} is not {right}", str(cells.name))
    return values[~wrong]


def elapsed_of(cells: pd.Series, column: Column, mark: str, faults: Faults) -> pd.Series:
    """Seconds since the connection.

    Parameters
    ----------
    cells : Series of str
        Named as the column, indexed by the row as seen.
    column : Column
        With a unit of `Quantity.ELAPSED`.
    mark : str
        Before the decimals.
    faults : Faults
        Takes what is no such time, and what is over `LONGEST_LOG_S` or below zero.

    Returns
    -------
    Series of float
        [s]; NaN where a row has none.
    """
    unit = column.unit
    if unit in _EXAMPLES:
        values = parsed(cells, lambda t: duration_s(t, unit), _EXAMPLES[unit], faults)
    else:
        right = f"a number in {unit}; only digits and a decimal '{mark}' would be right"
        values = parsed(cells, lambda t: _count(t, unit, mark), right, faults)
    seconds = values.astype(float)
    outside = (seconds < 0.0) | (seconds > LONGEST_LOG_S)
    faults.add_rows(
        outside,
        lambda row: (
            f"{shown(cells.loc[row])} [{unit}] is not between 0 and 24 h; time since the "
            "connection would be right"
        ),
        str(cells.name),
    )
    return seconds.where(~outside).reindex(cells.index)


def _count(text: str, unit: str, mark: str) -> float | None:
    found = number_of(text, mark)
    if found is None or found[1] not in ("", "s", "ms", "min", "h"):
        return None
    factor, _ = SCALES[found[1] or unit]
    return round(found[0] * factor, 6)


def moments_of(
    cells: pd.Series, column: Column, days: pd.Series | None, mark: str, faults: Faults
) -> pd.Series:
    """Dates with times of day, in ISO 8601.

    Parameters
    ----------
    cells : Series of str
        Named as the column, indexed by the row as seen.
    column : Column
        With an order of dates, a count since 1970, or ``clock`` where ``days`` are given.
    days : Series of date, optional
        Of another column.
    mark : str
        Before the decimals of a count.
    faults : Faults
        Takes what is no such time.

    Returns
    -------
    Series of str
        Empty where a row has none.
    """
    unit = column.unit
    if unit in DATE_ORDERS:
        right = f"a date and time {_EXAMPLES[unit]} 14:02:00"
        values = parsed(cells, lambda t: moment_of(t, unit), right, faults)
    elif unit == "clock" and days is not None:
        values = _on_days(parsed(cells, clock_s, _EXAMPLES[unit], faults), days, faults)
    else:
        right = "a number of seconds since 1970"
        values = parsed(cells, lambda t: _since_1970(t, unit, mark), right, faults)
    _refuse_twelve_hours(cells, values, faults)
    texts = [moment.isoformat() for moment in values]
    return pd.Series(texts, values.index, dtype=object).reindex(cells.index, fill_value="")


def _refuse_twelve_hours(cells: pd.Series, moments: pd.Series, faults: Faults) -> None:
    """A fault where a clock of 12 hours begins anew: beside a date it cannot tell which half."""
    of_day_s = np.array([m.hour * 3600.0 + m.minute * 60.0 + m.second for m in moments])
    texts = [str(cells.loc[row]) for row in moments.index]
    begun_anew = turnovers(of_day_s, texts) != 0
    faults.add_rows(
        pd.Series(begun_anew, moments.index, dtype=bool),
        lambda row: (
            f"{shown(str(cells.loc[row]))} follows a time after twelve: a clock of 12 hours; "
            "13:00, or am and pm, would be right"
        ),
        str(cells.name),
    )


def _on_days(seconds: pd.Series, days: pd.Series, faults: Faults) -> pd.Series:
    known = seconds.index.isin(days.index)
    faults.add_rows(
        pd.Series(~known, seconds.index),
        lambda row: "has a time of day but no date; the day of the reading would be right",
        str(days.name),
    )
    kept = seconds[known]
    pairs = zip(days.loc[kept.index], kept, strict=True)
    moments = [datetime.combine(day, time()) + timedelta(seconds=float(s)) for day, s in pairs]
    return pd.Series(moments, kept.index, dtype=object)


def _since_1970(text: str, unit: str, mark: str) -> datetime | None:
    found = number_of(text, mark)
    if found is None or found[1]:
        return None
    try:
        return datetime.fromtimestamp(round(found[0] * SCALES[unit][0], 6), UTC)
    except (OverflowError, OSError, ValueError):
        return None


def days_of(cells: pd.Series, column: Column, faults: Faults) -> pd.Series:
    """The days of a column of dates.

    Parameters
    ----------
    cells : Series of str
        Named as the column, indexed by the row as seen.
    column : Column
        With an order of dates.
    faults : Faults
        Takes what is no date.

    Returns
    -------
    Series of date
        Rows without one are left out.
    """
    right = f"a date {_EXAMPLES[column.unit]}"
    days = parsed(cells, lambda t: date_of(t, column.unit), right, faults)
    days.name = cells.name
    return days


def elapsed_by_clock(cells: pd.Series, faults: Faults) -> pd.Series:
    """Seconds since the earliest reading, from times of day without a date.

    From one row to the next the clock goes the shorter way, so that it may pass midnight; one of
    12 hours without a.m. and p.m. goes on from 12:59 to 1:00.

    Parameters
    ----------
    cells : Series of str
        Named as the column, indexed by the row as seen.
    faults : Faults
        Takes what is no time of day, and a log of over `LONGEST_LOG_S`; a note says that the day
        is not known, and where midnight is passed.

    Returns
    -------
    Series of float
        [s]; NaN where a row has none.
    """
    values = parsed(cells, clock_s, _EXAMPLES["clock"], faults).astype(float)
    if values.empty:
        return values.reindex(cells.index)
    texts = [str(cells.loc[row]) for row in values.index]
    going_on_s = without_turnovers(values.to_numpy(), texts)
    steps_s = np.diff(going_on_s)
    shorter_s = shorter_way_s(steps_s)
    run_s = np.concatenate([[0.0], np.cumsum(shorter_s)])
    seconds = pd.Series(np.round(run_s - run_s.min(), 6), values.index)
    over = seconds > LONGEST_LOG_S
    if over.any():
        row = first_row(over)
        faults.add(
            f"{shown(cells.loc[row])} is over 24 h after the earliest time; give the readings of "
            "one connection",
            row,
            str(cells.name),
        )
    faults.remarks.notes.append("times of day without a date: the day is not known")
    for row in values.index[turnovers(values.to_numpy(), texts) != 0][:3]:
        faults.remarks.notes.append(f"a clock of 12 hours begins anew at row {row}")
    for row in values.index[1:][np.abs(steps_s - shorter_s) > 1.0][:3]:
        faults.remarks.notes.append(f"the clock passes midnight at row {row}")
    return seconds.where(~over).reindex(cells.index)
