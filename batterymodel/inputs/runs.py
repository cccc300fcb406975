"""Runs of a logger: where the time of a table falls back because it began anew.

Rows of two connections merged by their times make one that never was.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from batterymodel.inputs.cell_values import is_missing
from batterymodel.inputs.column_map import ColumnMap, Quantity
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.foreign_table import foreign_table, text_of
from batterymodel.inputs.foreign_times import elapsed_of
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.remarks import Remarks
from batterymodel.inputs.table_times import pauses, seconds_by_clock
from batterymodel.inputs.tables import decoded, table_from_text, texts_of
from batterymodel.inputs.two_times import clock_run_s

BACK_TO = 0.5
"""A growing log began anew where its time falls below this share of what it had reached (own
choice: rows that came late fall back by a step or two)."""


@dataclass(frozen=True)
class LastRun:
    """A growing log without the rows before its last run, and the row where that begins.

    Lines left out are blank, so that rows keep their numbers; ``row`` is None for a single run.
    ``paused``: it is not that the time falls back there, but that hours passed before it.
    """

    content: bytes
    row: int | None = None
    paused: bool = False


def last_run(content: bytes, name: str, column_map: ColumnMap) -> LastRun:
    """What a growing log holds of its last run.

    Parameters
    ----------
    content : bytes
        CSV text.
    name : str
        Name of the file, for messages.
    column_map : ColumnMap
        How its columns are taken.

    Returns
    -------
    LastRun

    Raises
    ------
    InputError
        No table that can be read.
    """
    times = (_own_times if column_map.own else _foreign_times)(content, name, column_map)
    elapsed_s = times.elapsed_s.to_numpy()
    place = 0 if times.are_dated else last_start(elapsed_s)
    paused = 0 if times.are_counted else max(pauses(elapsed_s[place:]), default=0)
    place += paused
    if place == 0:
        return LastRun(content)
    first, row = int(times.elapsed_s.index[0]), int(times.elapsed_s.index[place])
    lines = text_of(content, Remarks(name, FORMAT)).split("\n")
    lines[first - 1 : row - 1] = [""] * (row - first)
    return LastRun("\n".join(lines).encode(), row, paused > 0)


def last_start(elapsed_s: np.ndarray) -> int:
    """Place of the row with which the last run of a growing log begins.

    Parameters
    ----------
    elapsed_s : ndarray, shape (n,)
        In the order of the rows [s].

    Returns
    -------
    int
        0 where there is one run.

    >>> last_start(np.array([0.0, 5.0, 10.0, 9.0, 0.0, 5.0]))
    4
    """
    if (np.diff(elapsed_s) < 0.0).all():
        return 0
    start, reached_s = 0, -np.inf
    for place, at_s in enumerate(elapsed_s.tolist()):
        if at_s < BACK_TO * reached_s:
            start, reached_s = place, at_s
        reached_s = max(reached_s, at_s)
    return start


@dataclass(frozen=True)
class _Times:
    """Times of the rows that have a current [s], as far as they can be read.

    A count says itself that it is one run; a clock with dates does not fall back where a logger
    began anew.
    """

    elapsed_s: pd.Series
    are_counted: bool = False
    are_dated: bool = False


def _own_times(content: bytes, name: str, column_map: ColumnMap) -> _Times:
    """By the own format's count, or its clock where there is no count."""
    remarks = Remarks(name, FORMAT)
    table, _ = table_from_text(decoded(content, remarks), remarks)
    names = [str(header).strip().lower() for header in table.columns]
    time = next((column for column in ("elapsed_s", "time") if column in names), None)
    if time is None or "supply_current_a" not in names:
        return _Times(pd.Series(dtype=float))
    cells = table.iloc[:, names.index(time)]
    current = pd.to_numeric(table.iloc[:, names.index("supply_current_a")], errors="coerce")
    given = cells[current.notna()]
    if time == "time":
        return _Times(seconds_by_clock(texts_of(given)), are_dated=True)
    return _Times(pd.to_numeric(given, errors="coerce").dropna(), are_counted=True)


def _foreign_times(content: bytes, name: str, column_map: ColumnMap) -> _Times:
    """By the column that is taken as the count, else by the clock."""
    table = foreign_table(content, name)
    taken = {c.quantity: c for c in column_map.columns if c.header in table.headers}
    current = taken.get(Quantity.SUPPLY_CURRENT)
    time = taken.get(Quantity.ELAPSED, taken.get(Quantity.TIME))
    if current is None or time is None:
        return _Times(pd.Series(dtype=float))
    cells, unheard = table.cells[time.header], Faults(Remarks(name, FORMAT))
    given = [text != "" and not is_missing(text) for text in table.cells[current.header]]
    if time.quantity is Quantity.ELAPSED:
        elapsed_s = elapsed_of(cells, time, column_map.decimal_mark, unheard)
        return _Times(elapsed_s[given].dropna(), are_counted=True)
    elapsed_s = clock_run_s(table.cells, taken, column_map.decimal_mark, unheard)
    are_dated = Quantity.DATE in taken or time.unit != "clock"
    return _Times(elapsed_s[given].dropna(), are_dated=are_dated)
