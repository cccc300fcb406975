"""How the columns of a growing log are taken, and which of its rows are of this connection."""

from __future__ import annotations

from collections.abc import Callable

from batterymodel.errors import InputError
from batterymodel.inputs.column_guess import EMPTY_SO_FAR
from batterymodel.inputs.column_map import ColumnMap, Quantity
from batterymodel.inputs.foreign import ForeignGuess, guess_columns
from batterymodel.inputs.foreign_table import foreign_table
from batterymodel.inputs.own_format import has_own_names, is_own_format
from batterymodel.inputs.runs import LastRun, last_run

LEAST_ROWS = 3
"""Rows of a foreign log before its columns are guessed: as many as an assessment needs."""


class ColumnsInDoubtError(InputError):
    """Columns that a person must tell before the log can be followed."""


class LogColumns:
    """The columns of one log: settled with its first rows, and again when an empty one is filled.

    Parameters
    ----------
    path : str
    columns : callable
        From whole lines to how their columns are taken; an `InputError` of it means that a person
        must tell.
    tell : callable
        Says one line to the person who follows.
    told : bool
        Whether something was told of the columns, so that no file is read as it stands.
    """

    def __init__(
        self,
        path: str,
        columns: Callable[[bytes], ColumnMap],
        tell: Callable[[str], object],
        told: bool = False,
    ) -> None:
        """Nothing is settled yet."""
        self.path, self.columns, self.tell, self.told = path, columns, tell, told
        self.column_map: ColumnMap | None = None
        self._empty: frozenset[str] = frozenset()
        self._run_row: int | None = None

    def begin_anew(self) -> None:
        """Forget what was settled: the log was cut or replaced."""
        self.column_map, self._run_row = None, None

    def of_last_run(self, content: bytes) -> tuple[bytes, bool]:
        """The rows of this connection, where the logger began anew in the same file.

        Parameters
        ----------
        content : bytes
            Whole lines of the log.

        Returns
        -------
        content : bytes
            With the rows of earlier runs blank.
        anew : bool
            Whether the run is another than at the last look.

        Raises
        ------
        InputError
            No table that can be read.
        """
        run = last_run(content, self.path, self.column_map or self._likely(content))
        anew = run.row is not None and run.row != self._run_row
        self._run_row = run.row
        if anew:
            self.tell(
                f"{self.path}: {_why_anew(run)}: the logger began anew, "
                "and what comes from there on is followed as a new connection"
            )
        return run.content, anew

    def settled(self, content: bytes) -> ColumnMap:
        """How the columns are taken.

        Parameters
        ----------
        content : bytes
            From `of_last_run`.

        Returns
        -------
        ColumnMap

        Raises
        ------
        InputError
            Too few rows so far.
        ColumnsInDoubtError
            Columns that a person must tell.
        """
        if self.column_map is None:
            rows = self._foreign_rows(content)
            if rows is not None and rows < LEAST_ROWS:
                raise InputError(f"{self.path}: {rows} rows so far")
            return self._settle(content)
        if self.column_map.own or not self._empty:
            return self.column_map
        filled = [f"'{header[:40]}'" for header in self._filled(content)]
        if not filled:
            return self.column_map
        return self._settle(content, f"first values in {', '.join(filled)}; ")

    def _settle(self, content: bytes, why: str = "") -> ColumnMap:
        try:
            column_map = self.columns(content)
        except InputError as error:
            raise ColumnsInDoubtError(f"{why}{error}") from None
        if not column_map.own:
            self._empty = _empty_so_far(guess_columns(content, self.path))
            if column_map != self.column_map:
                self.tell(f"{why}columns taken: {column_map.words}")
        self.column_map = column_map
        return column_map

    def _filled(self, content: bytes) -> list[str]:
        """Headers that held no values when the columns were settled, and may be used now."""
        guess = guess_columns(content, self.path)
        used = {c.header for c in guess.column_map.columns if c.quantity is not Quantity.IGNORED}
        return sorted(self._empty & used)

    def _likely(self, content: bytes) -> ColumnMap:
        try:
            return self.columns(content)
        except InputError:
            return guess_columns(content, self.path).column_map

    def _foreign_rows(self, content: bytes) -> int | None:
        """Rows of a log that is not read as the project's own format."""
        if not self.told and (is_own_format(content) or has_own_names(content)):
            return None
        return len(foreign_table(content, self.path).cells)


def _why_anew(run: LastRun) -> str:
    if run.paused:
        return f"hours passed before row {run.row}"
    return f"the time falls back at row {run.row}"


def _empty_so_far(guess: ForeignGuess) -> frozenset[str]:
    return frozenset(g.column.header for g in guess.columns if g.why in EMPTY_SO_FAR)
