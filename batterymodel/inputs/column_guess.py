"""What the columns of a foreign table probably are: by the words of their headers, then by values.

A wrong column makes a wrong answer, so a guess is *sure* only where header and values leave no
second reading; all else is for a person to confirm.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
import pandas as pd

from batterymodel.inputs.cell_values import (
    UNIT_WORDS,
    clock_s,
    date_of,
    date_order,
    is_missing,
    number_of,
)
from batterymodel.inputs.column_map import CURRENTS, SCALES, UNITS, Column, Quantity
from batterymodel.inputs.header_words import (
    BATTERY,
    CLOCK,
    ELAPSED,
    EXTREMES,
    OTHER_PLACE,
    QUANTITY_OF_WORDS,
    header_words,
    telling,
)

MOST_PLAIN_A = 100.0
"""A usual current without a unit, no larger than this, is in amperes (own choice: half of
0.2 A, the least that readings must reach, in milliamperes)."""

MOST_STEADY_A = 300.0
"""A usual current of more than this is hardly in amperes, whatever the header says (own choice: no
ground supply for light aircraft gives more for minutes)."""

LEAST_MILLI_A = 2000.0
"""A usual current of more than this is in milliamperes: as the readings' own bound [A]."""

LEAST_AMPERES = 0.2
"""A supply current of less than this is hardly in milliamperes: as the readings' own bound [A]."""

PLAIN_V, LEAST_MILLI_V = (5.0, 100.0), 5000.0
"""Usual value of a voltage in volts, and the least of one in millivolts (own choice: supplies of
5 to 100 V)."""

LEAST_KELVIN = 200.0
"""A usual temperature of more than this is in kelvin (no battery is at 200 °C or °F)."""

LEAST_CLOCK_H = 4.0
"""``04:00`` and later is a time of day and no time since the connection (own choice)."""

UNIX_S = (5e8, 5e9)
"""Numbers in this range are seconds since 1970 (1985 to 2128), a thousand times it milliseconds."""


LONGEST_UNIT = 3
"""Letters in brackets that are taken for a unit, known or not (own choice)."""

SAMPLE_ROWS = 5000
"""Rows by which a column is judged (own choice: more would only take longer)."""


class Sureness(StrEnum):
    """How sure a guess is; `CERTAIN` is what a person told or the project's own name."""

    CERTAIN = "certain"
    SURE = "sure"
    UNSURE = "unsure"


@dataclass(frozen=True)
class ColumnGuess:
    """One column's guess: how it is taken, how sure that is, and what speaks for or against it."""

    column: Column
    sureness: Sureness
    why: str


_OWN_NAMES = frozenset(Quantity) - {Quantity.TIME, Quantity.DATE, Quantity.IGNORED}


def column_guesses(
    cells: pd.DataFrame, mark: str, chosen: dict[str, Column]
) -> tuple[ColumnGuess, ...]:
    """A guess for every column of a table.

    Parameters
    ----------
    cells : DataFrame of str
        As `foreign_table` gives them.
    mark : str
        Before the decimals.
    chosen : dict of str to Column
        What a person told, by header; the others are guessed around it.

    Returns
    -------
    tuple of ColumnGuess
        In the order of the columns; no quantity twice.
    """
    told = {column.quantity for column in chosen.values()}
    guesses: list[ColumnGuess] = []
    for name in map(str, cells.columns):
        if name in chosen:
            guesses.append(ColumnGuess(chosen[name], Sureness.CERTAIN, "told"))
        else:
            guesses.append(_guess(name, _said(cells[name]), mark))
    return tuple(_each_once(guesses, told))


def _said(cells: pd.Series) -> list[str]:
    """What the cells say, at most about `SAMPLE_ROWS` of them, spread over the column."""
    step = len(cells) // SAMPLE_ROWS + 1
    return [text for text in cells.iloc[::step] if text and not is_missing(text)]


def _guess(header: str, said: list[str], mark: str) -> ColumnGuess:
    words, written = header_words(header)
    if (own := header.strip().lower()) in _OWN_NAMES and said:
        taken = Quantity(own)
        column = Column(header=header, quantity=taken, unit=UNITS[taken][0])
        return ColumnGuess(column, Sureness.CERTAIN, "the tool's own name")
    quantity = _quantity(words, written, said)
    if quantity is None or not said:
        why = "no word that is known" if said else "no values"
        return ColumnGuess(Column(header=header), Sureness.SURE, why)
    if quantity is Quantity.EVENT:
        return ColumnGuess(Column(header=header, quantity=quantity, unit="text"), Sureness.SURE, "")
    if quantity in (Quantity.TIME, Quantity.DATE):
        return _time_guess(header, words, written, said, mark)
    return _metered_guess(header, quantity, words, written, said, mark)


def _quantity(words: list[str], written: str, said: list[str]) -> Quantity | None:
    """What the header's words name; where none does, what its unit measures."""
    given = telling(words)
    named = [quantity for quantity, known in QUANTITY_OF_WORDS.items() if known & given]
    by_unit = _measured_in(written or " ".join(words[:1] * (not named)))
    if date_order(said[:1]) is not None:
        return Quantity.TIME
    if Quantity.EVENT in named:
        return Quantity.EVENT
    if Quantity.LOAD in named and Quantity.SUPPLY_VOLTAGE not in named:
        return Quantity.LOAD
    if Quantity.TIME in named and said and clock_s(said[0]) is not None:
        return Quantity.TIME
    fitting = [q for q in named if not by_unit or q in by_unit]
    fitting = fitting or (named if written.lower() in EXTREMES else by_unit)
    found = next(iter(fitting), None)
    if found is Quantity.SUPPLY_CURRENT and set(words) & BATTERY:
        return Quantity.BATTERY_CURRENT
    return None if found is Quantity.DATE else found


def _measured_in(written: str) -> list[Quantity]:
    """The quantities that may be in a unit, a time standing for both kinds."""
    unit = UNIT_WORDS.get(written.lower().replace(" ", ""), "")
    found = [q for q, units in UNITS.items() if unit and unit in units]
    return [Quantity.TIME if q is Quantity.ELAPSED else q for q in found]


def _unit_told(quantity: Quantity, words: list[str], written: str) -> str:
    """The unit that brackets or the last word name, if it is one of the quantity."""
    for word in (written, *words[-1:], *(w for w in words if len(w) > 1)):
        unit = UNIT_WORDS.get(word.lower().replace(" ", ""), "")
        if unit and unit in UNITS[quantity]:
            return unit
    return ""


def _numbers(said: list[str], mark: str) -> tuple[np.ndarray, set[str]]:
    found = [number_of(text, mark) for text in said]
    values = [number for number in found if number is not None]
    finite = [value for value, _ in values if np.isfinite(value)]
    return np.array(finite), {unit for _, unit in values}


def _metered_guess(
    header: str, quantity: Quantity, words: list[str], written: str, said: list[str], mark: str
) -> ColumnGuess:
    values, units = _numbers(said, mark)
    if 2 * values.size < len(said):
        return ColumnGuess(Column(header=header), Sureness.SURE, "no numbers")
    given = {*words, written.lower()}
    if given & OTHER_PLACE and quantity is not Quantity.SUPPLY_CURRENT:
        return ColumnGuess(Column(header=header), Sureness.SURE, "measured at another place")
    of_cells = sorted(units & set(UNITS[quantity]))
    typical = float(np.median(np.abs(values)))
    unit = _unit_told(quantity, words, written) or "".join(of_cells[:1])
    doubt = "" if unit else _doubt_of_unit(quantity, typical, written)
    unit = unit or _unit_by_values(quantity, typical)
    if not of_cells and (wrong := _doubt_of_size(quantity, typical, unit)):
        unit, doubt = _unit_by_values(quantity, typical), wrong
    doubt = doubt or _doubt_of_place(quantity, given)
    column = Column(header=header, quantity=quantity, unit=unit)
    return ColumnGuess(column, Sureness.UNSURE if doubt else Sureness.SURE, doubt)


def _unit_by_values(quantity: Quantity, typical: float) -> str:
    if quantity in CURRENTS:
        return "mA" if typical > LEAST_MILLI_A else "A"
    if quantity is Quantity.SUPPLY_VOLTAGE:
        return "mV" if typical >= LEAST_MILLI_V else "V"
    return "K" if typical > LEAST_KELVIN else "degC"


def _doubt_of_unit(quantity: Quantity, typical: float, written: str) -> str:
    """Why the values alone do not tell the unit; empty where they do."""
    if 0 < len(written) <= LONGEST_UNIT and written.lower() != "dc":
        return f"'{written}' is no unit of it that is known"
    if quantity in CURRENTS:
        told = typical <= MOST_PLAIN_A or typical > LEAST_MILLI_A
        return "" if told else f"{typical:.6g} without a unit: A or mA"
    if quantity is Quantity.SUPPLY_VOLTAGE:
        told = PLAIN_V[0] <= typical <= PLAIN_V[1] or typical >= LEAST_MILLI_V
        return "" if told else f"{typical:.6g} without a unit: V or mV"
    return "" if typical > LEAST_KELVIN else "no unit: degC or degF"


def _doubt_of_size(quantity: Quantity, typical: float, unit: str) -> str:
    """Why values of this size cannot be in this unit; empty where they can."""
    plain = typical * SCALES[unit][0]
    if quantity in CURRENTS and plain > MOST_STEADY_A:
        return f"{plain:.6g} A, where mA would be likely"
    if quantity is Quantity.SUPPLY_CURRENT and unit == "mA" and 0.0 < plain < LEAST_AMPERES:
        return f"{typical:.6g} mA, where A would be likely"
    if quantity is Quantity.SUPPLY_VOLTAGE and not PLAIN_V[0] <= plain <= PLAIN_V[1]:
        return f"{plain:.6g} V, where a ground supply gives 5 to 100 V"
    return ""


def _doubt_of_place(quantity: Quantity, given: set[str]) -> str:
    """Why it may have been measured elsewhere; empty where no word says so."""
    if quantity is Quantity.BATTERY_TEMP and not given & BATTERY:
        return "may be the air's, not the battery's"
    if quantity is Quantity.SUPPLY_CURRENT and "clamp" in given:
        return "a clamp may be on the supply's or on the battery's lead"
    if quantity is Quantity.SUPPLY_CURRENT and (place := given & OTHER_PLACE):
        return f"'{min(place)}' may be another current than the one to the aircraft"
    if extreme := given & EXTREMES:
        return f"'{min(extreme)}' may be no reading but an extreme"
    return ""


def _time_guess(
    header: str, words: list[str], written: str, said: list[str], mark: str
) -> ColumnGuess:
    if (order := date_order(said)) is not None:
        return _dated_guess(header, said, *order)
    if all(":" in text for text in said):
        return _clock_guess(header, words, written, said)
    values, _ = _numbers(said, mark)
    if 2 * values.size < len(said):
        return ColumnGuess(Column(header=header), Sureness.SURE, "no times")
    for unit, factor in (("unix_s", 1.0), ("unix_ms", 1e3)):
        if UNIX_S[0] * factor < values.min() and values.max() < UNIX_S[1] * factor:
            column = Column(header=header, quantity=Quantity.TIME, unit=unit)
            return ColumnGuess(column, Sureness.SURE, "")
    unit = _unit_told(Quantity.ELAPSED, words, written)
    column = Column(header=header, quantity=Quantity.ELAPSED, unit=unit or "s")
    doubt = "" if unit else "a count without a unit: s, min or h"
    steps = np.diff(values)
    if (steps < 0.0).any() and (steps > 0.0).any():
        doubt = doubt or "goes back in places, as where a logger began anew"
    return ColumnGuess(column, Sureness.UNSURE if doubt else Sureness.SURE, doubt)


def _dated_guess(header: str, said: list[str], order: str, sure: bool) -> ColumnGuess:
    whole_days = all(date_of(text, order) is not None for text in said)
    quantity = Quantity.DATE if whole_days else Quantity.TIME
    column = Column(header=header, quantity=quantity, unit=order)
    doubt = "" if sure else "day or month first: dmy or mdy"
    return ColumnGuess(column, Sureness.SURE if sure else Sureness.UNSURE, doubt)


def _clock_guess(header: str, words: list[str], written: str, said: list[str]) -> ColumnGuess:
    """Times with colons: of day, or since the connection."""
    given = {*words, *header_words(written)[0]}
    times_s = [clock_s(text) for text in said]
    short = all(text.count(":") == 1 and text[-1].isdigit() for text in said)
    if short and not given & (CLOCK | {"hh"}):
        if None in times_s or {"mm", "ss"} <= given:
            return _colons(header, Quantity.ELAPSED, "min:s", False)
        if given & ELAPSED:
            return _colons(header, Quantity.ELAPSED, "min:s", True)
        early = times_s[0] is not None and times_s[0] < 3600.0 * LEAST_CLOCK_H
        return _colons(header, Quantity.TIME, "clock", early)
    if given & ELAPSED:
        return _colons(header, Quantity.ELAPSED, "h:min:s", False)
    return _colons(header, Quantity.TIME, "clock", False)


def _colons(header: str, quantity: Quantity, unit: str, in_doubt: bool) -> ColumnGuess:
    column = Column(header=header, quantity=quantity, unit=unit)
    doubt = "hours and minutes, or minutes and seconds" if in_doubt else ""
    return ColumnGuess(column, Sureness.UNSURE if in_doubt else Sureness.SURE, doubt)


def _each_once(guesses: Sequence[ColumnGuess], told: set[Quantity]) -> list[ColumnGuess]:
    """Of several columns for one quantity the best is taken; a rival as good makes it unsure."""
    kept = list(guesses)
    for quantity in Quantity:
        rivals = [g for g in kept if g.column.quantity is quantity]
        if quantity is Quantity.IGNORED or not rivals:
            continue
        best = min(rivals, key=lambda g: list(Sureness).index(g.sureness))
        equal = [g for g in rivals if g.sureness is best.sureness and g is not best]
        for place, guess in enumerate(kept):
            if guess in rivals and guess is not best:
                why = f"'{best.column.header}' is taken"
                kept[place] = ColumnGuess(Column(header=guess.column.header), Sureness.SURE, why)
            elif guess is best and equal and best.sureness is not Sureness.CERTAIN:
                names = ", ".join(f"'{g.column.header}'" for g in equal[:3])
                kept[place] = ColumnGuess(best.column, Sureness.UNSURE, f"may be {names} as well")
    return _without_clash(kept, told)


def _without_clash(guesses: list[ColumnGuess], told: set[Quantity]) -> list[ColumnGuess]:
    """Only one kind of time where a person told which."""
    times = {Quantity.ELAPSED, Quantity.TIME}
    if not told & times:
        return guesses
    return [
        ColumnGuess(Column(header=g.column.header), Sureness.SURE, "another time is told")
        if g.column.quantity in times - told
        else g
        for g in guesses
    ]
