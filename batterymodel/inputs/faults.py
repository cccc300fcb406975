"""All faults of one file, gathered while it is read and told at once."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pandas as pd

from batterymodel.errors import InputFaultsError
from batterymodel.inputs.remarks import Remarks

MOST_TOLD = 20
"""Faults of a file that are told one by one; the others are counted (own choice)."""

MOST_KEPT = 1000
"""Faults that are kept to be put in order; the others are only counted (own choice)."""


@dataclass
class Faults:
    """What is wrong with a file so far; `remarks` names the file."""

    remarks: Remarks
    told: list[tuple[int, int, str]] = field(default_factory=list)
    more: int = 0

    def add(self, problem: str, row: int | None = None, column: str | None = None) -> None:
        """One more fault.

        Parameters
        ----------
        problem : str
            What is wrong and what would be right.
        row : int, optional
            As seen in the file.
        column : str, optional
            Its header as seen.
        """
        if len(self.told) >= MOST_KEPT:
            self.more += 1
            return
        sentence = str(self.remarks.error(problem, row, column))
        self.told.append((row or 0, len(self.told), sentence))

    def add_rows(self, wrong: pd.Series, problem: Callable[[int], str], column: str) -> None:
        """One fault for each row that is wrong.

        Parameters
        ----------
        wrong : Series of bool
            Indexed by the row's number as seen.
        problem : callable
            From the row's number to what is wrong there.
        column : str
            Its header as seen.
        """
        rows = wrong.index[np.asarray(wrong, dtype=bool)]
        for row in rows[:MOST_TOLD]:
            self.add(problem(int(row)), int(row), column)
        self.more += len(rows[MOST_TOLD:])

    def raise_any(self) -> None:
        """End reading if anything is wrong.

        Raises
        ------
        InputFaultsError
            The first `MOST_TOLD` in order of rows, and how many more there are.
        """
        if not self.told:
            return
        sentences = [sentence for _, _, sentence in sorted(self.told)]
        more = self.more + len(sentences[MOST_TOLD:])
        left = [f"{self.remarks.source}: and {more} more"] if more else []
        raise InputFaultsError([*sentences[:MOST_TOLD], *left])
