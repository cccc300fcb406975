"""A log that is followed: looked at again and again, assessed anew, and what is new of it said.

Command line and page share it; each prints or shows what `FollowedLog.look` says.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.foreign import readings_from_foreign
from batterymodel.inputs.foreign_table import foreign_table
from batterymodel.inputs.growing import GrowingLog
from batterymodel.inputs.own_format import has_own_names, is_own_format
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.records import Readings
from batterymodel.inputs.tables import Remarks
from batterymodel.rules.results import Assessment

EVERY_S = 5.0
"""Time between two looks at the file where none is told [s] (own choice: loggers' usual step)."""

LEAST_ROWS = 3
"""Rows of a foreign log before its columns are guessed: as many as an assessment needs."""


@dataclass(frozen=True)
class Answer:
    """An answer of a followed log; `changed` says that the outcome is another than before."""

    readings: Readings
    result: Assessment
    changed: bool


@dataclass(frozen=True)
class News:
    """What a look brought: whether the file changed, and what is to be said, in order."""

    changed: bool = False
    said: tuple[str | Answer, ...] = ()


class ColumnsInDoubtError(InputError):
    """Columns that a person must tell before the log can be followed."""


class FollowedLog:
    """One log that is followed; ``last`` is its last answer, ``content`` its whole lines.

    Parameters
    ----------
    path : str
    columns : callable
        From the whole lines to how their columns are taken; an `InputError` of it means that a
        person must tell.
    assessed : callable
        From readings to their assessment.
    told : bool
        Whether something was told of the columns, so that no file is read as it stands.
    """

    def __init__(
        self,
        path: str,
        columns: Callable[[bytes], ColumnMap],
        assessed: Callable[[Readings], Assessment],
        told: bool = False,
    ) -> None:
        """Nothing is read yet."""
        self.path, self.columns, self.assessed, self.told = path, columns, assessed, told
        self.last: tuple[Readings, Assessment] | None = None
        self.content, self.message = b"", ""
        self._log = GrowingLog(path, Remarks(path, FORMAT))
        self._column_map: ColumnMap | None = None
        self._shown_outcome: str | None = None

    @property
    def column_map(self) -> ColumnMap | None:
        """How the columns are taken; None before that is settled."""
        return self._column_map

    def look(self, first: bool = False) -> News:
        """Look once, and answer anew where whole lines came.

        Parameters
        ----------
        first : bool
            Whether a file that is not there is an error, and not waited for.

        Returns
        -------
        News

        Raises
        ------
        ColumnsInDoubtError
            Columns that a person must tell.
        InputError
            No log at the first look.
        """
        try:
            growth = self._log.growth()
        except InputError as error:
            if first:
                raise
            return News(said=self._once(f"{error}; waiting for it"))
        if growth is None:
            return News()
        said: list[str | Answer] = []
        if growth.anew:
            self._column_map = self._shown_outcome = None
            said += self._once(f"{self.path}: was cut or replaced; it is read anew from its start")
        self.content = growth.content
        return News(True, (*said, *self._answered()))

    def again(self) -> News:
        """Answer anew what it holds, because something else than the log changed.

        Returns
        -------
        News

        Raises
        ------
        ColumnsInDoubtError
            Columns that a person must tell.
        """
        self._column_map, self.last = None, None
        return News(True, self._answered()) if self.content else News()

    def _answered(self) -> tuple[str | Answer, ...]:
        said: list[str | Answer] = []
        try:
            column_map = self._column_map or self._settled_columns()
            said += self._words_of(column_map)
            readings = readings_from_foreign(self.content, self.path, column_map)
            result = self.assessed(readings)
        except ColumnsInDoubtError:
            raise
        except BatteryModelError as error:
            return (*said, *self._once(*(f"no answer yet: {fault}" for fault in error.faults)))
        self.message, self.last = "", (readings, result)
        changed = result.outcome != self._shown_outcome
        self._shown_outcome = result.outcome
        return (*said, Answer(readings, result, changed))

    def _settled_columns(self) -> ColumnMap:
        """The columns by the first rows."""
        rows = self._foreign_rows()
        if rows is not None and rows < LEAST_ROWS:
            raise InputError(f"{self.path}: {rows} rows so far")
        try:
            return self.columns(self.content)
        except InputError as error:
            raise ColumnsInDoubtError(str(error)) from None

    def _words_of(self, column_map: ColumnMap) -> tuple[str, ...]:
        """What is to be said of columns that are newly settled."""
        is_new, self._column_map = self._column_map is None, column_map
        said = is_new and not column_map.own
        return self._once(f"columns taken: {column_map.words}") if said else ()

    def _foreign_rows(self) -> int | None:
        """Rows of a log that is not read as the project's own format."""
        if not self.told and (is_own_format(self.content) or has_own_names(self.content)):
            return None
        return len(foreign_table(self.content, self.path).cells)

    def _once(self, *messages: str) -> tuple[str, ...]:
        """The messages, unless they were the last thing said."""
        if (together := "\n".join(messages)) == self.message:
            return ()
        self.message = together
        return messages
