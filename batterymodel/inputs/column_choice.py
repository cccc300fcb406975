"""What a person is asked about the columns of a foreign table, and what the answers make of it.

A guess that is sure is told, not asked. For each other column there is a question with the ways it
may be taken, the guess among them; the answers make a `ColumnMap`.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.column_guess import Sureness
from batterymodel.inputs.column_map import (
    CURRENTS,
    DATE_ORDER_WORDS,
    DATE_ORDERS,
    QUANTITY_WORDS,
    UNITS,
    Column,
    ColumnMap,
    Quantity,
)
from batterymodel.inputs.foreign import ForeignGuess, guess_as_own, guess_columns
from batterymodel.inputs.own_format import has_own_names
from batterymodel.inputs.temperature_unit import TemperatureUnit, shown_temp

UNIT_WORDS: dict[str, str] = {
    "s": "in seconds",
    "ms": "in milliseconds",
    "min": "in minutes",
    "h": "in hours",
    "h:min:s": "as hours:minutes:seconds",
    "min:s": "as minutes:seconds",
    "clock": "as time of day",
    **{order: f"as {words}" for order, words in DATE_ORDER_WORDS.items()},
    "unix_s": "in seconds since 1970",
    "unix_ms": "in milliseconds since 1970",
    "degC": "in °C",
    "degF": "in °F",
    "K": "in kelvin",
}
"""How a unit or a way of writing is said to a person; the others are said as they are written."""

_CLOCKS = ("clock", "h:min:s", "min:s")
_TIMES = (Quantity.ELAPSED, Quantity.TIME, Quantity.DATE)


@dataclass(frozen=True)
class ColumnQuestion:
    """One column: how it is guessed, why that is asked or told, and how else it may be taken."""

    guess: Column
    why: str
    is_asked: bool
    options: tuple[Column, ...]


def column_words(column: Column) -> str:
    """How a column is taken, for a person to choose by.

    Parameters
    ----------
    column : Column

    Returns
    -------
    str

    >>> column_words(Column(header="Amps", quantity=Quantity.SUPPLY_CURRENT, unit="mA"))
    'supply current in mA'
    """
    unit = UNIT_WORDS.get(column.unit, f"in {column.unit}")
    said = "" if column.unit in ("", "text") else f" {unit}"
    return QUANTITY_WORDS[column.quantity] + said


def questions_of(guess: ForeignGuess) -> tuple[ColumnQuestion, ...]:
    """A question for every column, of which those are asked that are not sure.

    Parameters
    ----------
    guess : ForeignGuess

    Returns
    -------
    tuple of ColumnQuestion
        In the order of the columns.
    """
    return tuple(
        ColumnQuestion(g.column, g.why, asked, options_for(g.column, only_likely=asked))
        for g in guess.columns
        for asked in (g.sureness is Sureness.UNSURE,)
    )


def options_for(column: Column, only_likely: bool) -> tuple[Column, ...]:
    """The ways a column may be taken, its guess the first.

    Parameters
    ----------
    column : Column
        As guessed.
    only_likely : bool
        Whether only those are given that its values allow as well, like another unit.

    Returns
    -------
    tuple of Column
        What its values allow stands before what they do not; *not used* is always among them.
    """
    every = [
        Column(header=column.header, quantity=quantity, unit=unit)
        for quantity, units in UNITS.items()
        for unit in units
    ]
    near = [other for other in every if _is_near(column, other)]
    far = [] if only_likely else [other for other in every if other not in near]
    return (column, *(other for other in (*near, *far) if other != column))


def _is_near(column: Column, other: Column) -> bool:
    """Whether values of the one may well be values of the other."""
    if Quantity.IGNORED in (other.quantity, column.quantity):
        return True
    if column.quantity in CURRENTS:
        return other.quantity in CURRENTS
    if column.quantity not in _TIMES:
        return other.quantity is column.quantity
    groups = (_CLOCKS, DATE_ORDERS)
    kinds = [next((g for g in groups if unit in g), ()) for unit in (column.unit, other.unit)]
    return other.quantity in _TIMES and kinds[0] == kinds[1]


def answered_guess(
    content: bytes, name: str, columns: Iterable[Column], decimal_mark: str
) -> ForeignGuess:
    """The guess that answers for every column make certain, with its preview.

    Parameters
    ----------
    content : bytes
    name : str
        Name of the file, for messages.
    columns : iterable of Column
        One for each of the table.
    decimal_mark : str

    Returns
    -------
    ForeignGuess

    Raises
    ------
    InputError
        Two columns taken as one quantity, no time or supply current, or no table.
    """
    taken = list(columns)
    _check_once(taken)
    choices = [f"{c.header}={c.quantity}:{c.unit}" for c in taken]
    guess = guess_columns(content, name, choices, decimal_mark)
    if missing := guess.column_map.missing:
        lost = " and ".join(QUANTITY_WORDS[quantity] for quantity in missing)
        raise InputError(f"No column is taken as the {lost}; choose one.")
    return guess


def _check_once(columns: list[Column]) -> None:
    for quantity in Quantity:
        found = [one_line(c.header)[:40] for c in columns if c.quantity is quantity]
        if quantity is not Quantity.IGNORED and len(found) > 1:
            raise InputError(
                f"'{found[0]}' and '{found[1]}' are both taken as the {QUANTITY_WORDS[quantity]}; "
                "let one of them be not used."
            )


def settled_guess(
    content: bytes,
    name: str,
    guess: ForeignGuess,
    remembered: Callable[[str], ColumnMap | None],
) -> tuple[ForeignGuess, bool]:
    """How a file's columns are to be taken, as far as that needs no person.

    Parameters
    ----------
    content : bytes
    name : str
        Name of the file, for messages.
    guess : ForeignGuess
        Made of the file alone.
    remembered : callable
        From a `ForeignGuess.fingerprint` to the map that was confirmed for it, or None.

    Returns
    -------
    settled : ForeignGuess
        To be asked about where it is not sure; in the project's own format where only that can say
        what is wrong.
    is_remembered : bool
        Whether it is the map that was confirmed for an earlier file with the same header.
    """
    known = _by_remembered(content, name, guess, remembered)
    if known is not None:
        return known, True
    if not guess.is_sure and has_own_names(content):
        return guess_as_own(), False
    return guess, False


def _by_remembered(
    content: bytes,
    name: str,
    guess: ForeignGuess,
    remembered: Callable[[str], ColumnMap | None],
) -> ForeignGuess | None:
    """The guess by a map that was confirmed before; None where none was, or it fits no more."""
    if guess.column_map.own:
        return None
    known = remembered(guess.fingerprint)
    headers = [column.header for column in guess.column_map.columns]
    if known is None or len(known.columns) != len(headers):
        return None
    columns = [
        column.model_copy(update={"header": header})
        for column, header in zip(known.columns, headers, strict=True)
    ]
    try:
        return answered_guess(content, name, columns, known.decimal_mark)
    except InputError:
        return None


def preview_table(
    guess: ForeignGuess, unit: TemperatureUnit = TemperatureUnit.CELSIUS
) -> tuple[list[str], list[list[str]]]:
    """The first rows as they are read, for a person to compare with the file.

    Parameters
    ----------
    guess : ForeignGuess
    unit : TemperatureUnit
        In which temperatures are shown.

    Returns
    -------
    header : list of str
        Quantity and unit of each column that is used.
    rows : list of list of str
        Empty cells where the file says nothing.
    """
    names = [name for name in Quantity if any(name.value in row for row in guess.preview)]
    header = [_preview_name(name, unit) for name in names]
    rows = [
        [_preview_cell(name, row.get(name.value), unit) for name in names] for row in guess.preview
    ]
    return header, rows


def _preview_name(quantity: Quantity, unit: TemperatureUnit) -> str:
    shown = {Quantity.BATTERY_TEMP: unit.sign, Quantity.TIME: "", Quantity.EVENT: ""}
    said = shown.get(quantity, UNITS[quantity][0])
    return QUANTITY_WORDS[quantity] + f" ({said})" * bool(said)


def _preview_cell(quantity: Quantity, value: float | str | None, unit: TemperatureUnit) -> str:
    if value is None:
        return ""
    if isinstance(value, float | int):
        temp = quantity is Quantity.BATTERY_TEMP
        return f"{shown_temp(value, unit) if temp else value:.6g}"
    return str(value)
