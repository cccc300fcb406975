"""What is said of a table while it is read: notes of what was done, and errors with their place."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import cast

import pandas as pd

from batterymodel.basis.text import counted, one_line
from batterymodel.errors import InputError


@dataclass(frozen=True)
class TableFormat:
    """A kind of table: its columns with what they hold, and the words messages need.

    ``other_names`` maps a column to the habits that mean it. A missing ``elapsed_s`` is excused by
    ``time``. ``bounds`` are rows of column, least, most and what a value outside says.
    """

    what: str
    rows: str
    units: dict[str, str]
    other_names: dict[str, str]
    required: tuple[str, ...]
    texts: frozenset[str] = frozenset()
    bounds: tuple[tuple[str, float, float, str], ...] = ()

    @property
    def metered(self) -> frozenset[str]:
        """Columns that a logger fills from a meter; none of a table that people keep by hand."""
        if "elapsed_s" not in self.units:
            return frozenset()
        return frozenset(self.units) - self.texts - {"elapsed_s"}

    @property
    def row(self) -> str:
        """What one line holds."""
        return self.rows.removesuffix("s")


@dataclass(frozen=True)
class Remarks:
    """What is said of a table while it is read: notes so far, and errors with their place.

    ``source``, ``format`` and ``header_row`` are the table's name, its format and the number of
    the row with the column names. ``labels`` is what the columns hold, where a person wrote lines
    without any columns, and ``row`` what such a line is called.
    """

    source: str
    format: TableFormat
    notes: list[str] = field(default_factory=list)
    header_row: int = 1
    labels: Mapping[str, str] = field(default_factory=dict)
    row: str = "row"

    def error(self, problem: str, row: int | None = None, column: str | None = None) -> InputError:
        """The error to raise: file, place, problem.

        Parameters
        ----------
        problem : str
            What is wrong and what would be right.
        row : int, optional
            As numbered in the file.
        column : str, optional

        Returns
        -------
        InputError
            Not yet raised; parts joined by colons.
        """
        places = [] if row is None else [f"{self.row} {row}"]
        places += [] if column is None else [self.labels.get(column, f"column '{column}'")]
        parts = [one_line(self.source), ", ".join(places), problem]
        return InputError(": ".join(part for part in parts if part))

    def refuse_first(self, wrong: pd.Series, values: pd.Series, problem: str) -> None:
        """Raise for the first row that is wrong, if any.

        Parameters
        ----------
        wrong : Series of bool
            One per row, indexed by the row's number in the file.
        values : Series
            What stands there, under the same index, named as the column.
        problem : str
            Said behind the value: ``is ...; ... would be right``.

        Raises
        ------
        InputError
            Some row is wrong; names the first.
        """
        if wrong.any():
            row = first_row(wrong)
            value = values.loc[row]
            said = shown(value) if isinstance(value, str) else f"{value:.10g}"
            raise self.error(f"{said} {problem}", row, str(values.name))

    def note_rows(self, chosen: pd.Series, what: str) -> None:
        """Note how many rows were treated in some way, if any.

        Parameters
        ----------
        chosen : Series of bool
            The rows that were treated so.
        what : str
            Said behind their count.
        """
        if count := int(chosen.sum()):
            self.notes.append(f"{counted(count, self.row)} {what}")


def first_row(wrong: pd.Series) -> int:
    """Number of the first row of which it is true, as in the file.

    Parameters
    ----------
    wrong : Series of bool
        One per row, indexed by the row's number in the file.

    Returns
    -------
    int
        The table's first row where it is true of none.
    """
    return int(cast(int, wrong.idxmax()))


def shown(text: str) -> str:
    """A cell's text in quotes, cut to what a message can hold.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        On one line, 40 characters at most.
    """
    line = one_line(text[:200])
    return f"'{line[:40]}…'" if len(line) > 40 else f"'{line}'"
