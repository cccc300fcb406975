"""What the columns of a foreign table probably are: by the words of their headers, then by values.

A wrong column makes a wrong answer, so a guess is *sure* only where header and values leave no
second reading; all else is for a person to confirm.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pandas as pd

from batterymodel.inputs.cell_values import UNIT_WORDS, clock_s, date_order, is_missing
from batterymodel.inputs.column_map import CURRENTS, QUANTITY_WORDS, SCALES, UNITS, Column, Quantity
from batterymodel.inputs.guesses import ColumnGuess as ColumnGuess
from batterymodel.inputs.guesses import Sureness as Sureness
from batterymodel.inputs.guesses import ignored, numbers, sure_unless, unit_told
from batterymodel.inputs.header_doubts import doubt_of_header
from batterymodel.inputs.header_words import (
    BATTERY,
    CLAMPS,
    EXTREMES,
    NOT_MEASURED,
    OTHER_PLACE,
    QUANTITY_OF_WORDS,
    header_words,
    is_of_another_quantity,
    names_the_battery,
    telling,
    unknown_words,
)
from batterymodel.inputs.time_guess import time_guess

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

LONGEST_UNIT = 3
"""Letters in brackets that are taken for a unit, known or not (own choice)."""

SAMPLE_ROWS = 5000
"""Rows by which a column is judged (own choice: more would only take longer)."""


NO_VALUES, NO_NUMBERS = "no values", "no numbers"
EMPTY_SO_FAR = (NO_VALUES, NO_NUMBERS)
"""Why a column is not used that may be once it is filled."""

NOT_THE_BATTERY = "may be the air's, not the battery's"
"""Why a temperature is in doubt that no word says to be the battery's."""

_METERED = (*CURRENTS, Quantity.SUPPLY_VOLTAGE, Quantity.BATTERY_TEMP)
_OWN_NAMES = frozenset(Quantity) - {Quantity.TIME, Quantity.DATE, Quantity.IGNORED}


def column_guesses(
    cells: pd.DataFrame,
    mark: str,
    chosen: dict[str, Column],
    units_apart: str = "",
    above: Mapping[str, str] | None = None,
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
    units_apart : str
        Why the units of all values are in doubt, as `foreign_table` says.
    above : mapping of str to str, optional
        The text above each header that is no part of it.

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
            guess = _guess(name, _said(cells[name]), mark)
            guesses.append(_unless_in_doubt(guess, (above or {}).get(name, "")))
    return tuple(_in_doubt_of_units(_each_once(guesses, told), units_apart))


def _unless_in_doubt(guess: ColumnGuess, above: str) -> ColumnGuess:
    """The guess, unsure where its header or what stands above it leaves a doubt."""
    column = guess.column
    if guess.sureness is not Sureness.SURE or column.quantity not in _METERED:
        return guess
    return sure_unless(doubt_of_header(column.header, column.quantity, column.unit, above), column)


def _in_doubt_of_units(guesses: list[ColumnGuess], units_apart: str) -> list[ColumnGuess]:
    """Every metered column unsure where the units stand in a column of their own."""
    return [
        sure_unless(units_apart, guess.column)
        if units_apart and guess.sureness is Sureness.SURE and guess.column.quantity in _METERED
        else guess
        for guess in guesses
    ]


def _said(cells: pd.Series) -> list[str]:
    """What the cells say, at most about `SAMPLE_ROWS` of them, spread over the column."""
    said = [text for text in cells if text and not is_missing(text)]
    return said[:: len(said) // SAMPLE_ROWS + 1]


def _guess(header: str, said: list[str], mark: str) -> ColumnGuess:
    words, written = header_words(header)
    if (own := header.strip().lower()) in _OWN_NAMES and said:
        taken = Quantity(own)
        column = Column(header=header, quantity=taken, unit=UNITS[taken][0])
        return ColumnGuess(column, Sureness.CERTAIN, "the tool's own name")
    quantity = _quantity(words, written, said)
    if quantity is None or not said:
        return ignored(header, "no word that is known" if said else NO_VALUES)
    if quantity is Quantity.EVENT:
        return sure_unless("", Column(header=header, quantity=quantity, unit="text"))
    if quantity in (Quantity.TIME, Quantity.DATE):
        return time_guess(header, words, written, said, mark)
    if is_of_another_quantity(header, words, written):
        return ignored(header, "a charge, a power or the like")
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


def _metered_guess(
    header: str, quantity: Quantity, words: list[str], written: str, said: list[str], mark: str
) -> ColumnGuess:
    values, units = numbers(said, mark)
    given = {*words, written.lower()}
    elsewhere = _is_elsewhere(quantity, given)
    if not values.size or elsewhere:
        return ignored(header, "measured at another place" if elsewhere else NO_NUMBERS)
    of_cells = sorted(units & set(UNITS[quantity]))
    typical = float(np.median(np.abs(values)))
    unit = unit_told(quantity, words, written) or "".join(of_cells[:1])
    doubt = "" if unit else _doubt_of_unit(quantity, typical, written)
    if of_cells and "" in units and not unit_told(quantity, words, written):
        doubt = f"some of its cells say {' or '.join(of_cells)}, others no unit"
    unit = unit or _unit_by_values(quantity, typical)
    if not of_cells and (wrong := _doubt_of_size(quantity, typical, unit)):
        unit, doubt = _unit_by_values(quantity, typical), wrong
    doubt = doubt or _doubt_of_place(quantity, words, given)
    if 2 * values.size < len(said):
        doubt = doubt or "most of its cells are no numbers"
    return sure_unless(doubt, Column(header=header, quantity=quantity, unit=unit))


def _is_elsewhere(quantity: Quantity, given: set[str]) -> bool:
    """Whether words leave no doubt that a column is not what it looks like."""
    if quantity is Quantity.SUPPLY_CURRENT:
        return False
    in_doubt = quantity is Quantity.BATTERY_TEMP and names_the_battery(quantity, given)
    return bool(given & (NOT_MEASURED if in_doubt else OTHER_PLACE))


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
    if quantity is Quantity.SUPPLY_CURRENT and unit != "A" and 0.0 < plain < LEAST_AMPERES:
        return f"{typical:.6g} {unit}, where A would be likely"
    if quantity is Quantity.SUPPLY_VOLTAGE and not PLAIN_V[0] <= plain <= PLAIN_V[1]:
        return f"{plain:.6g} V, where a ground supply gives 5 to 100 V"
    return ""


def _doubt_of_place(quantity: Quantity, words: list[str], given: set[str]) -> str:
    """Why it may have been measured elsewhere; empty where every word is known not to say so."""
    if quantity is Quantity.BATTERY_TEMP and not names_the_battery(quantity, given):
        return NOT_THE_BATTERY
    if quantity is Quantity.SUPPLY_CURRENT and given & CLAMPS:
        return "a clamp may be on the supply's or on the battery's lead"
    if quantity is Quantity.SUPPLY_CURRENT and (place := given & OTHER_PLACE):
        return f"'{min(place)}' may be another current than the one to the aircraft"
    if extreme := given & EXTREMES:
        return f"'{min(extreme)}' may be no reading but an extreme"
    if unknown := unknown_words(quantity, words):
        return f"'{unknown[0][:40]}' is no word that is known here"
    return ""


def _each_once(guesses: Sequence[ColumnGuess], told: set[Quantity]) -> list[ColumnGuess]:
    """Of several columns for one quantity the best is taken; a rival makes both a question."""
    kept = list(guesses)
    for quantity in Quantity:
        rivals = [g for g in kept if g.column.quantity is quantity]
        if quantity is Quantity.IGNORED or not rivals:
            continue
        best = min(rivals, key=lambda g: list(Sureness).index(g.sureness))
        asked = [g for g in rivals if g is not best and _is_rival(g, best)]
        for place, guess in enumerate(kept):
            if guess in rivals and guess is not best:
                kept[place] = _not_taken(guess, best, guess in asked)
            elif guess is best and asked:
                names = ", ".join(f"'{g.column.header}'" for g in asked[:3])
                kept[place] = ColumnGuess(best.column, Sureness.UNSURE, f"may be {names} as well")
    return _without_clash(kept, told)


def _is_rival(guess: ColumnGuess, best: ColumnGuess) -> bool:
    """Whether another column may be meant: no air's temperature, nor the extremes of a mean."""
    if best.sureness is Sureness.CERTAIN:
        return False
    words, others = ({*header_words(g.column.header)[0]} for g in (guess, best))
    if best.sureness is not guess.sureness and words & EXTREMES and words - EXTREMES <= others:
        return False
    return best.sureness is guess.sureness or guess.why != NOT_THE_BATTERY


def _not_taken(guess: ColumnGuess, best: ColumnGuess, is_asked: bool) -> ColumnGuess:
    header, taken = guess.column.header, f"'{best.column.header}' is taken"
    if not is_asked or guess.column.quantity is Quantity.EVENT:
        return ignored(header, taken)
    why = f"may be the {QUANTITY_WORDS[guess.column.quantity]} as well, for which {taken}"
    return ColumnGuess(Column(header=header), Sureness.UNSURE, why)


def _without_clash(guesses: list[ColumnGuess], told: set[Quantity]) -> list[ColumnGuess]:
    """Only one kind of time where a person told which."""
    times = {Quantity.ELAPSED, Quantity.TIME}
    if not told & times:
        return guesses
    return [
        ignored(g.column.header, "another time is told") if g.column.quantity in times - told else g
        for g in guesses
    ]
