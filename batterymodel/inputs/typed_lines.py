"""Readings written as lines of text, one a line: time, current, and an event in words.

What a line holds must stand in it plainly: what may be two things is refused in a sentence.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite

import pandas as pd

from batterymodel.basis.text import counted, one_line
from batterymodel.errors import InputError
from batterymodel.inputs.cell_values import UNIT_WORDS, duration_s, number_of
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.no_value_marks import MARKS, NINES, marks_in
from batterymodel.inputs.readings import FORMAT, LEAST_TIMES, out_of_bounds, readings_from_table
from batterymodel.inputs.records import Readings
from batterymodel.inputs.remarks import Remarks, shown
from batterymodel.inputs.table_columns import NUMBER, no_number
from batterymodel.inputs.tables import MISSING, check_size

SOURCE = "typed readings"
"""What messages call the lines."""

FIRST_BEFORE_S = 60.0
"""A first time in minutes and seconds is taken up to here; a later one may be a time of day, of
which hours and minutes would be read as minutes and seconds [s] (own choice)."""

MOST_APART_S = 5.0
"""So close together throughout, times in minutes and seconds may be hours and minutes of a day [s]
(own choice: nobody reads a meter by hand so often)."""

ASKED_LINES = 3
"""From so many lines on that is asked (own choice: two may be read within seconds)."""

NOT_READ = MISSING | {"–", "—"}
"""What stands in a line, in small letters, where nothing was read: a dash of any length."""

MARK = "looks like a meter's mark for no value; a dash would be right"
"""What a current says that is such a mark."""

AS_READ = "as read"
"""What stands behind a current that looks like a mark and is none; an event may follow."""

OR_AS_READ = f"or '{AS_READ}' behind it if the meter says so"

_COLUMNS = {"elapsed_s": "time", "supply_current_a": "current", "event": "event"}
_VALUE = r"((?:[^\s;,]|,(?!\s|$))*)"
_GAP = r"(?:\s*(?:;|,(?=\s|$))\s*|[^\S\t]*\t[^\S\t]*|[^\S\t]+)"
_LINE = re.compile(rf"[^\S\t]*{_VALUE}(?:{_GAP}{_VALUE}(?:{_GAP}(.*))?)?", re.S)
_AS_READ = re.compile(rf"(['\"]?){AS_READ}\1(?:[\s;,.:]+|$)", re.I)
_SMALL_UNITS = frozenset(("mA", "uA"))


@dataclass(frozen=True)
class TypedLines:
    """What lines of text hold: the cells of their rows, and readings once there are enough."""

    rows: pd.DataFrame
    readings: Readings | None

    @property
    def csv(self) -> str:
        """The rows as CSV text that reads back to the same readings."""
        return self.rows.to_csv(index=False, lineterminator="\n")

    @property
    def words(self) -> str:
        """What was read, for a person to compare with the meter; empty where nothing was."""
        if not len(self.rows):
            return ""
        times_s, currents_a = (
            pd.to_numeric(self.rows[name]) for name in ("elapsed_s", "supply_current_a")
        )
        given, events = currents_a.notna(), int((self.rows["event"] != "").sum())
        parts = [counted(int(given.sum()), "reading")]
        if given.any():
            parts += [_span(times_s[given], "s"), _span(currents_a[given], "A")]
        parts += [counted(events, "event")] if events else []
        needed = "" if self.readings is not None else f"; the answer needs {LEAST_TIMES}"
        return ", ".join(parts) + needed


def typed_lines(text: str) -> TypedLines:
    """Readings from lines of text.

    A line holds the time since connection, in seconds or as minutes and seconds (``1:05``), the
    current [A] and, where something was switched, an event in words. White space, a semicolon, or
    a comma before white space stands between them. A dash, or an empty cell of a spreadsheet, is
    a current that was not read. Blank lines are left out. `AS_READ` confirms a lone current that
    looks like a meter's mark.

    Parameters
    ----------
    text : str

    Returns
    -------
    TypedLines
        Its readings are None while fewer than `LEAST_TIMES` currents stand in the text.

    Raises
    ------
    InputError
        Lines that cannot be right, all of them, one sentence each; else what
        `readings_from_table` refuses.
    """
    remarks = Remarks(SOURCE, FORMAT, header_row=0, labels=_COLUMNS, row="line")
    lines = text.replace("\r\n", "\n").replace("\r", "\n").split("\n")
    check_size(len(text), len(lines), remarks)
    filled = {row: line for row, line in enumerate(lines, 1) if one_line(line).strip(" ;,")}
    faults = Faults(remarks)
    rows = _rows(filled, faults)
    if not faults.told:
        _check_whole(rows, filled, faults)
    faults.raise_any()
    enough = (rows["supply_current_a"] != "").sum() >= LEAST_TIMES
    return TypedLines(rows, readings_from_table(rows, remarks) if enough else None)


def _rows(lines: dict[int, str], faults: Faults) -> pd.DataFrame:
    """The cells of each line that can be right; of every other one a fault."""
    cells = {}
    for row, line in lines.items():
        try:
            cells[row] = _cells(line)
        except InputError as error:
            faults.add(str(error), row)
    return pd.DataFrame(cells.values(), list(cells), list(_COLUMNS), dtype=object)


def _cells(line: str) -> tuple[str, str, str]:
    """Time [s], current [A] and event of a line, as text; the error says what is wrong alone."""
    time, current, event = _parts(line)
    if not time:
        raise InputError(f"begins without a time; {_right_time()}")
    time_s = _time_s(time, is_alone=not current and not event)
    if not current and not event:
        raise InputError(
            f"{shown(time)} stands alone; a time and behind it the current in A would be right"
        )
    current = "" if current.lower() in NOT_READ else current
    if current:
        _number(current, "supply_current_a")
    return str(time_s), current, _event(event)


def _parts(line: str) -> list[str]:
    """What stands in the places of time, current and event, empty where nothing does."""
    found = _LINE.fullmatch(line.rstrip())
    return [one_line(part or "") for part in found.groups()] if found else ["", "", ""]


def _time_s(text: str, *, is_alone: bool) -> float:
    if is_alone and "," in text:
        raise InputError(
            f"{shown(text)} holds a comma but no space; a point in a number and a space between "
            "time and current would be right"
        )
    minutes_s = duration_s(text, "min:s") if "," not in text else None
    if minutes_s is None and ":" in text:
        raise InputError(f"{shown(text)} is no time since connection; {_right_time()}")
    if minutes_s is None and not re.search(r"\d", text):
        raise InputError(f"{shown(text)} is no time; {_right_time()}, and no line of titles")
    return _number(text if minutes_s is None else str(minutes_s), "elapsed_s")


def _right_time() -> str:
    return "seconds since connection, or minutes and seconds as in 1:05, would be right"


def _number(text: str, column: str) -> float:
    if not NUMBER.fullmatch(text) or not isfinite(float(text)):
        raise InputError(no_number(text, column, FORMAT))
    value = float(text)
    wrong = out_of_bounds(column, value)
    if wrong is not None:
        is_mark = column == "supply_current_a" and value in MARKS
        raise InputError(f"{value:.10g} {MARK}" if is_mark else wrong)
    return value


def _event(text: str) -> str:
    """The event; empty where the rest of the line says that there was none."""
    text = _AS_READ.sub("", text, count=1) if _AS_READ.match(text) else text
    words = [word.strip(";,") for word in text.split()]
    if not any(words) or text.lower() in NOT_READ:
        return ""
    is_small = UNIT_WORDS.get(words[0].lower()) in _SMALL_UNITS
    if is_small or _is_value(words[0]) or all(map(_is_value_or_unit, words)):
        raise InputError(
            f"{shown(text)} behind the current may be a value or a unit; an event that begins "
            "with a word would be right, and no units"
        )
    return text


def _is_value_or_unit(word: str) -> bool:
    return not word or word.lower() in UNIT_WORDS or _is_value(word)


def _is_value(word: str) -> bool:
    """Whether a word is a number, with a unit or without, or a time."""
    if not any(map(str.isalpha, word)):
        return any(map(str.isdigit, word))
    return any(number_of(word, mark) is not None for mark in ".,")


def _check_whole(rows: pd.DataFrame, lines: dict[int, str], faults: Faults) -> None:
    """Faults of lines that are right each by itself: times of day, of disorder, and a lone mark."""
    if not len(rows):
        return
    times = rows["elapsed_s"].astype(float)
    of_day = _late_first(times, lines) or _close_times(times, lines)
    if of_day is not None:
        faults.add(of_day, next(iter(lines)))
        return
    faults.add_rows(times.diff() < 0.0, lambda row: _disorder(row, lines), "elapsed_s")
    confirmed = [bool(_AS_READ.match(_parts(line)[2])) for line in lines.values()]
    marks = _lone_marks(pd.to_numeric(rows["supply_current_a"])) & ~pd.Series(confirmed, rows.index)
    faults.add_rows(marks, lambda row: f"{NINES:.10g} {MARK}, {OR_AS_READ}", "supply_current_a")


def _late_first(times_s: pd.Series, lines: dict[int, str]) -> str | None:
    """What is wrong with a first time in minutes and seconds that is late, as one of day is."""
    time, first_s = _written(lines)[0], float(times_s.iloc[0])
    if ":" not in time or first_s < FIRST_BEFORE_S:
        return None
    return (
        f"{shown(time)} would put the first reading {first_s:.10g} s after connection; give times "
        f"since connection and none of day, and write {first_s:.10g} if that is right"
    )


def _close_times(times_s: pd.Series, lines: dict[int, str]) -> str | None:
    """What is asked of times that seconds part throughout, where they may be minutes."""
    if len(times_s) < ASKED_LINES or not times_s.diff().iloc[1:].between(0.0, MOST_APART_S).all():
        return None
    times = _written(lines)
    if not all(":" in time and "." not in time for time in times):
        return None
    first = f"{times_s.iloc[0]:.10g}"
    return (
        f"times from {shown(times[0])} to {shown(times[-1])}, {MOST_APART_S:g} s apart or less, "
        "may be hours and minutes of a day; give times since connection, and write "
        f"{first} for {shown(times[0])} if they are minutes and seconds"
    )


def _disorder(row: int, lines: dict[int, str]) -> str:
    above = max(other for other in lines if other < row)
    earlier, later = (shown(_parts(lines[place])[0]) for place in (row, above))
    return (
        f"{earlier} is before {later} of the line above; put the lines in order of time since "
        "connection, those of one connection alone: time first, then current"
    )


def _lone_marks(currents_a: pd.Series) -> pd.Series:
    """Where a mark stands once that a current may equal; of several `readings_from_table` tells."""
    nines = currents_a.abs() == NINES
    found = marks_in(currents_a, nines)
    is_lone = nines.sum() == 1 and currents_a.notna().sum() > 1
    return (found.sure | found.doubted) & is_lone


def _written(lines: dict[int, str]) -> list[str]:
    """The times as they were typed."""
    return [_parts(line)[0] for line in lines.values()]


def _span(values: pd.Series, unit: str) -> str:
    """The least and the most of some values with their unit."""
    least, most = (f"{value:.10g}" for value in (values.min(), values.max()))
    return f"{least} {unit}" if least == most else f"{least} to {most} {unit}"
