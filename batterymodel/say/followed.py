"""A log that is followed: looked at again and again, assessed anew, and what is new of it said.

Command line and page share it; each prints or shows what `FollowedLog.look` says.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.foreign import readings_from_foreign
from batterymodel.inputs.growing import GrowingLog
from batterymodel.inputs.log_columns import ColumnsInDoubtError, LogColumns
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.records import Readings
from batterymodel.inputs.remarks import Remarks
from batterymodel.rules.results import Assessment

EVERY_S = 5.0
"""Time between two looks at the file where none is told [s] (own choice: loggers' usual step)."""


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


class FollowedLog:
    """One log that is followed.

    ``last`` is its last answer and ``last_content`` what that is of; ``content`` holds the whole
    lines as they are now. Both are without the rows of earlier runs.

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
        self.path, self.assessed = path, assessed
        self.last: tuple[Readings, Assessment] | None = None
        self.content, self.last_content, self.message = b"", b"", ""
        self._unread: str | None = None
        self._unanswered: str | None = None
        self._log = GrowingLog(path, Remarks(path, FORMAT))
        self._columns = LogColumns(path, columns, self._note, told)
        self._lines, self._noted = b"", list[str]()
        self._shown_outcome: str | None = None

    @property
    def column_map(self) -> ColumnMap | None:
        """How the columns are taken; None before that is settled."""
        return self._columns.column_map

    @property
    def trouble(self) -> str | None:
        """Why the last answer is of what the log held before; None where it is of all it holds."""
        return self._unread or self._unanswered

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
            self._unread = str(error)
            return News(said=self._once(f"{error}; waiting for it"))
        if self._unread is not None:
            self._unread, self.message = None, ""
        if growth is None:
            return News()
        said: list[str | Answer] = []
        if growth.anew:
            self._columns.begin_anew()
            self._shown_outcome = None
            said += self._once(f"{self.path}: was cut or replaced; it is read anew from its start")
        self._lines = growth.content
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
        self._columns.column_map = self.last = None
        return News(True, self._answered()) if self._lines else News()

    def _answered(self) -> tuple[str | Answer, ...]:
        self._noted = []
        try:
            readings, result = self._answer()
        except ColumnsInDoubtError:
            raise
        except BatteryModelError as error:
            self._unanswered = _first_of(error.faults)
            told = self._once(*(f"no answer yet: {fault}" for fault in error.faults))
            return (*self._noted, *told)
        self.message, self.last, self._unanswered = "", (readings, result), None
        self.last_content = self.content
        changed = result.outcome != self._shown_outcome
        self._shown_outcome = result.outcome
        return (*self._noted, Answer(readings, result, changed))

    def _answer(self) -> tuple[Readings, Assessment]:
        self.content, anew = self._columns.of_last_run(self._lines)
        if anew:
            self.last = self._shown_outcome = None
        column_map = self._columns.settled(self.content)
        readings = readings_from_foreign(self.content, self.path, column_map)
        return readings, self.assessed(readings)

    def _note(self, message: str) -> None:
        self._noted += self._once(message)

    def _once(self, *messages: str) -> tuple[str, ...]:
        """The messages, unless they were the last thing said."""
        if (together := "\n".join(messages)) == self.message:
            return ()
        self.message = together
        return messages


def _first_of(faults: Sequence[str]) -> str:
    """The first fault, and how many more there are."""
    others = f" (and {len(faults) - 1} more)" if len(faults) > 1 else ""
    return faults[0] + others
