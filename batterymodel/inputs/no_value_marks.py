"""Numbers that a logger writes where it has no value, like -9999: no reading of anything.

A number is taken for such a mark only where it cannot be a value of its column, and stands far from
all the others there or is the only negative one. One that loggers are known to use is left out,
with a note; any other constant is told, for a person to judge.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from batterymodel.inputs.faults import Faults
from batterymodel.inputs.remarks import Remarks

MARKS = (
    *(sign * whole for whole in (999.0, 9999.0, 99999.0) for sign in (1.0, -1.0)),
    *(-32768.0, 32767.0, 65535.0, -2147483648.0, 2147483647.0),
)
"""What loggers write for no value (common practice, no source: nines, and the least and the most
that a whole number of 16 or 32 bits holds)."""

LEAST_RATIO = 5.0
"""So many times larger than every other value of its column is what may be a mark (own choice:
milliamperes among milliamperes are closer to each other)."""

LEAST_TIMES = 2
"""So often stands an unknown constant that may be a mark (own choice)."""

NINES = 999.0
"""Within the bounds of a current, but none reads so to the digit `LEAST_TIMES` times among others
that are far smaller [A], either sign (own choice)."""

LONE_RATIO = 1.1
"""A mark that its column may hold, as in milliamperes, may be a value where it is within this of
what stands before and after it (own choice: a taper passes it so)."""

MOST_ROWS_TOLD = 3
"""Rows that a sentence names one by one (own choice)."""


@dataclass(frozen=True)
class Marks:
    """Cells of a column about which all is said: `sure` ones are left out, `doubted` ones asked."""

    sure: pd.Series
    doubted: pd.Series


def marks_in(values: pd.Series, outside: pd.Series) -> Marks:
    """Which values are marks for no value, of a file and of what was typed alike.

    Parameters
    ----------
    values : Series of float
        As written, in the column's own unit; NaN where empty.
    outside : Series of bool
        Which of them no such column may hold, or `are_nines`.

    Returns
    -------
    Marks
        A mark is doubted where it is unknown, or where marks stand in more than half of the cells.
    """
    candidates = outside & np.isfinite(values) & _is_mark_or_constant(values, outside)
    others = values[~candidates & values.notna()]
    apart = candidates & (values.abs() >= LEAST_RATIO * _largest(others))
    opposite = candidates & (values < 0.0) & bool((others >= 0.0).all())
    known = (apart | opposite) & values.isin(MARKS)
    told = known | (apart & (len(others) > 0))
    sure = told & values.isin(MARKS) & (known.sum() <= len(others))
    return Marks(sure, told & ~sure)


def without_marks(values: pd.Series, outside: pd.Series, column: str, faults: Faults) -> pd.Series:
    """Which cells hold a mark for no value: left out with a note, or told as one fault each.

    Parameters
    ----------
    values : Series of float
        As the column has them, in its own unit, indexed by the row as seen; NaN where empty.
    outside : Series of bool
        Which of them no such column may hold, or `are_nines`.
    column : str
        Its header as seen.
    faults : Faults
        Takes the note of what is left out, and a fault for each constant that is doubted; in a
        table that a person types each mark is one, for the person can look again.

    Returns
    -------
    Series of bool
        Cells about which all is said, so that they are no values.
    """
    found, is_typed = marks_in(values, outside), bool(faults.remarks.labels)
    told = (found.sure | found.doubted) & (values.isin(MARKS) | (not is_typed))
    doubted = told & (found.doubted | is_typed)
    for value in values[told].drop_duplicates().tolist():
        at = told & (values == value)
        if (at & doubted).any():
            first, *more = at.index[at].tolist()
            faults.add(_fault(value, more, faults.remarks), first, column)
        else:
            faults.remarks.notes.append(_note(value, at, column))
    return told


def possible_marks(values: pd.Series, told: pd.Series) -> pd.Series:
    """Which values may be marks for no value or values: known marks that stand out of their place.

    Parameters
    ----------
    values : Series of float
        As written, in the order of the rows; NaN where empty.
    told : Series of bool
        About which all is said (`without_marks`).

    Returns
    -------
    Series of bool
    """
    candidates = values.isin(MARKS) & ~told
    others = values.where(~candidates & ~told)
    beside = pd.DataFrame({"before": others.ffill(), "after": others.bfill()})
    low, high = beside.min(axis=1), beside.max(axis=1)
    return candidates & ((values > LONE_RATIO * high) | (values < low / LONE_RATIO))


def possible_words(value: float, read: str, at: pd.Series) -> str:
    """What is to be confirmed of a possible mark.

    Parameters
    ----------
    value : float
        As written.
    read : str
        The value with its unit, as it would be read.
    at : Series of bool
        Where it stands.

    Returns
    -------
    str
        A part of a sentence.
    """
    rows = _rows(at.index[at].tolist())
    return (
        f"{value:.10g} in {rows} may be {read}, or a logger's mark for no value: leave such cells "
        "empty then"
    )


def are_nines(values: pd.Series) -> pd.Series:
    """Which cells may hold a mark although their column may hold such a value.

    Parameters
    ----------
    values : Series of float
        In the unit of the readings.

    Returns
    -------
    Series of bool
    """
    found = values.abs() == NINES
    return found & (found.sum() >= LEAST_TIMES)


def _is_mark_or_constant(values: pd.Series, outside: pd.Series) -> pd.Series:
    times = values[outside].map(values[outside].value_counts()).reindex(values.index)
    return values.isin(MARKS) | (times >= LEAST_TIMES)


def _largest(others: pd.Series) -> float:
    return float(others.abs().max()) if len(others) else 0.0


def _note(value: float, at: pd.Series, column: str) -> str:
    rows = at.index[at].tolist()
    cells = f"{len(rows)} cell{'s' * (len(rows) > 1)}"
    return (
        f"column '{column}': {cells} left out, for {value:.10g} is a logger's mark for no value "
        f"({_rows(rows)})"
    )


def _fault(value: float, others: list[int], remarks: Remarks) -> str:
    also = f", here and in {_rows(others, remarks.row)}" if others else ""
    if remarks.labels:
        return f"{value:.10g} looks like a meter's mark for no value{also}; a dash would be right"
    return (
        f"{value:.10g} looks like a logger's mark for no value{also}; leave such cells empty, or "
        "leave the column out"
    )


def _rows(rows: list[int], word: str = "row") -> str:
    """``row 5``, ``rows 5 and 9``, ``rows 5, 9, 12 and 40 more``."""
    named = [str(row) for row in rows[:MOST_ROWS_TOLD]]
    if more := len(rows) - len(named):
        named.append(f"{more} more")
    joined = " and ".join(part for part in (", ".join(named[:-1]), named[-1]) if part)
    return f"{word}{'s' * (len(rows) > 1)} {joined}"
