"""What a column of times probably is: a date, a time of day, or a count since the connection."""

from __future__ import annotations

import re

import numpy as np

from batterymodel.inputs.cell_values import UNIT_WORDS, clock_s, date_of, date_order
from batterymodel.inputs.clock_times import shorter_way_s, without_turnovers
from batterymodel.inputs.column_map import UNITS, Column, Quantity
from batterymodel.inputs.guesses import ColumnGuess, ignored, numbers, sure_unless
from batterymodel.inputs.header_words import CLOCK, ELAPSED, header_words, unknown_words

LEAST_CLOCK_H = 4.0
"""``04:00`` and later may be a time of day without a doubt (own choice)."""

MOST_CLOCK_SPAN_S = 3600.0
"""Times like ``14:02`` that span less than this are of day: as minutes and seconds they would be
a log of less than a minute (own choice) [s]."""

UNIX_S = (5e8, 5e9)
"""Numbers in this range are seconds since 1970 (1985 to 2128), a thousand times it milliseconds."""

GOES_BACK = "goes back in places, as where a logger began anew"
"""Why a time that falls is in doubt."""

_HOURS = re.compile(r"\bh{1,2}\s*:\s*m{1,2}\b(?!\s*:)|\bh{1,2}\s*:\s*min\b(?!\s*:)", re.I)
_MINUTES = re.compile(r"(?<![:\w])m(?:m|in)?\s*:\s*s(?:s|ec)?\b", re.I)
_DATE_ORDER = re.compile(r"\b([ymd])\1*[-./ ]([ymd])\2*[-./ ]([ymd])\3*\b", re.I)

DATE_DOUBT = (
    "in which order dates stand: day-month-year (dmy), month-day-year (mdy) or year-month-day (ymd)"
)


def time_guess(
    header: str, words: list[str], written: str, said: list[str], mark: str
) -> ColumnGuess:
    """The guess for a column that its header or its cells show to be a time.

    Parameters
    ----------
    header : str
    words : list of str
    written : str
        The unit, both from `header_words`.
    said : list of str
        What its cells say.
    mark : str
        Before the decimals.

    Returns
    -------
    ColumnGuess
    """
    if (order := date_order(said)) is not None:
        return _dated_guess(header, said, *order)
    if all(":" in text for text in said):
        return _clock_guess(header, words, written, said)
    values, _ = numbers(said, mark)
    if 2 * values.size < len(said):
        return ignored(header, "no times")
    for unit, factor in (("unix_s", 1.0), ("unix_ms", 1e3)):
        if UNIX_S[0] * factor < values.min() and values.max() < UNIX_S[1] * factor:
            return sure_unless("", Column(header=header, quantity=Quantity.TIME, unit=unit))
    return _count_guess(header, words, written, values)


def _count_guess(header: str, words: list[str], written: str, values: np.ndarray) -> ColumnGuess:
    unit = _unit_of_count(words, written)
    doubt = "" if unit else "a count without a unit: s, min or h"
    rises, falls = (np.diff(values) > 0.0).any(), (np.diff(values) < 0.0).any()
    if rises and falls:
        doubt = doubt or GOES_BACK
    if words == ["min"] and falls and not written:
        doubt = doubt or "'min' may be minutes or the least of a span"
    if unknown := unknown_words(Quantity.ELAPSED, words):
        doubt = doubt or f"'{unknown[0][:40]}' is no word that is known here"
    column = Column(header=header, quantity=Quantity.ELAPSED, unit=unit or "s")
    return sure_unless(doubt, column)


def _unit_of_count(words: list[str], written: str) -> str:
    """The one unit that brackets name, else that the words do; empty where they name several."""
    for texts in ([written], words):
        units = {UNIT_WORDS.get(text.lower().replace(" ", ""), "") for text in texts}
        units &= {*UNITS[Quantity.ELAPSED]}
        if units:
            return units.pop() if len(units) == 1 else ""
    return ""


def _dated_guess(header: str, said: list[str], order: str, sure: bool) -> ColumnGuess:
    told = _DATE_ORDER.search(header)
    written = "".join(told.groups()).lower() if told else ""
    if not sure and written in ("ymd", "dmy", "mdy") and date_order(said, (written,)):
        order, sure = written, True
    whole_days = all(date_of(text, order) is not None for text in said)
    quantity = Quantity.DATE if whole_days else Quantity.TIME
    column = Column(header=header, quantity=quantity, unit=order)
    return sure_unless("" if sure else DATE_DOUBT, column)


def _clock_guess(header: str, words: list[str], written: str, said: list[str]) -> ColumnGuess:
    """Times with colons: of day, or since the connection."""
    if all(text.count(":") == 1 and text[-1].isdigit() for text in said):
        return _two_part_guess(header, words, written, said)
    if _MINUTES.search(header) and all(text.count(":") > 1 for text in said):
        doubt = "hours, minutes and seconds under a header of minutes and seconds"
        return _colons(header, Quantity.ELAPSED, "h:min:s", doubt)
    if {*words, *header_words(written)[0]} & ELAPSED:
        return _colons(header, Quantity.ELAPSED, "h:min:s")
    return _colons(header, Quantity.TIME, "clock", _doubt_of_clock(said))


def _two_part_guess(header: str, words: list[str], written: str, said: list[str]) -> ColumnGuess:
    """Hours and minutes, or minutes and seconds."""
    given = {*words, *header_words(written)[0]}
    unit = UNIT_WORDS.get(written.lower(), "")
    times_s = [clock_s(text) for text in said]
    if unit == "min" or _MINUTES.search(header) or None in times_s:
        return _colons(header, Quantity.ELAPSED, "min:s")
    told = unit == "h" or bool(_HOURS.search(header))
    if told and given & ELAPSED:
        return _colons(header, Quantity.ELAPSED, "h:min:s")
    doubt = "" if told or given & CLOCK else _doubt_of_hours(said)
    if given & ELAPSED:
        return _colons(header, Quantity.ELAPSED, "min:s", _EITHER)
    return _colons(header, Quantity.TIME, "clock", doubt or _doubt_of_clock(said))


_EITHER = "hours and minutes, or minutes and seconds"


def _doubt_of_hours(said: list[str]) -> str:
    """Why times may be minutes and seconds; empty where that would make no log."""
    times_s = _on_one_clock(said)
    run_s = np.cumsum([0.0, *shorter_way_s(np.diff(times_s))])
    is_of_day = times_s[0] >= 3600.0 * LEAST_CLOCK_H and np.ptp(run_s) < MOST_CLOCK_SPAN_S
    return "" if is_of_day else _EITHER


def _doubt_of_clock(said: list[str]) -> str:
    """Why the rows of a clock may not be of one connection; empty where they are."""
    steps_s = shorter_way_s(np.diff(_on_one_clock(said)))
    return GOES_BACK if (steps_s < 0.0).any() and (steps_s > 0.0).any() else ""


def _on_one_clock(said: list[str]) -> np.ndarray:
    """Times of day that go on where a clock of 12 hours begins anew [s]."""
    times_s = np.array([s for text in said if (s := clock_s(text)) is not None])
    return without_turnovers(times_s, said)


def _colons(header: str, quantity: Quantity, unit: str, doubt: str = "") -> ColumnGuess:
    return sure_unless(doubt, Column(header=header, quantity=quantity, unit=unit))
