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
from batterymodel.inputs.table_times import pauses
from batterymodel.inputs.tables import decoded, table_from_text
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
    elapsed_s = (_own_times if column_map.own else _foreign_times)(content, name, column_map)
    place = 0 if _is_dated(column_map) else last_start(elapsed_s.to_numpy())
    paused = 0 if column_map.own else _last_pause(elapsed_s.to_numpy()[place:], column_map)
    place += paused
    if place == 0:
        return LastRun(content)
    first, row = int(elapsed_s.index[0]), int(elapsed_s.index[place])
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


def _last_pause(elapsed_s: np.ndarray, column_map: ColumnMap) -> int:
    """Place behind the last pause of hours by a clock; a count says itself that it is one run."""
    counted = any(column.quantity is Quantity.ELAPSED for column in column_map.columns)
    return 0 if counted else max(pauses(elapsed_s), default=0)


def _is_dated(column_map: ColumnMap) -> bool:
    """Whether times have dates, so that they do not fall back where a logger began anew."""
    taken = {column.quantity: column for column in column_map.columns}
    if Quantity.ELAPSED in taken or Quantity.TIME not in taken:
        return False
    return Quantity.DATE in taken or taken[Quantity.TIME].unit != "clock"


def _own_times(content: bytes, name: str, column_map: ColumnMap) -> pd.Series:
    """Times of the rows that have a current, by the own format's elapsed time [s]."""
    remarks = Remarks(name, FORMAT)
    table, _ = table_from_text(decoded(content, remarks), remarks)
    names = [str(header).strip().lower() for header in table.columns]
    if not {"elapsed_s", "supply_current_a"} <= set(names):
        return pd.Series(dtype=float)
    at, current = (
        pd.to_numeric(table.iloc[:, names.index(column)], errors="coerce")
        for column in ("elapsed_s", "supply_current_a")
    )
    return at[current.notna()].dropna()


def _foreign_times(content: bytes, name: str, column_map: ColumnMap) -> pd.Series:
    """Times of the rows that have a current, as far as they can be read [s]."""
    table = foreign_table(content, name)
    taken = {c.quantity: c for c in column_map.columns if c.header in table.headers}
    current = taken.get(Quantity.SUPPLY_CURRENT)
    time = taken.get(Quantity.ELAPSED, taken.get(Quantity.TIME))
    if current is None or time is None:
        return pd.Series(dtype=float)
    cells, unheard = table.cells[time.header], Faults(Remarks(name, FORMAT))
    if time.quantity is Quantity.ELAPSED:
        elapsed_s = elapsed_of(cells, time, column_map.decimal_mark, unheard)
    else:
        elapsed_s = clock_run_s(table.cells, taken, column_map.decimal_mark, unheard)
    given = [text != "" and not is_missing(text) for text in table.cells[current.header]]
    return elapsed_s[given].dropna()
