"""A guess at what one column holds, and what guesses at metered values and at times share."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from batterymodel.inputs.cell_values import UNIT_WORDS, number_of
from batterymodel.inputs.column_map import UNITS, Column, Quantity


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


def ignored(header: str, why: str) -> ColumnGuess:
    """The guess that a column is surely of no use.

    Parameters
    ----------
    header : str
    why : str

    Returns
    -------
    ColumnGuess
    """
    return ColumnGuess(Column(header=header), Sureness.SURE, why)


def sure_unless(doubt: str, column: Column) -> ColumnGuess:
    """The guess that a column is this, unsure where there is a doubt.

    Parameters
    ----------
    doubt : str
        Empty where there is none.
    column : Column

    Returns
    -------
    ColumnGuess
    """
    return ColumnGuess(column, Sureness.UNSURE if doubt else Sureness.SURE, doubt)


def with_doubts(
    guesses: Iterable[ColumnGuess], doubts: Mapping[str, str]
) -> tuple[ColumnGuess, ...]:
    """The guesses, those unsure of which a doubt is known.

    Parameters
    ----------
    guesses : iterable of ColumnGuess
    doubts : mapping of str to str
        Why, by header.

    Returns
    -------
    tuple of ColumnGuess
        What a person told stays as it is, and so does a column that is not used.
    """
    return tuple(
        sure_unless(why, guess.column)
        if (why := doubts.get(guess.column.header, "")) and _is_used_and_sure(guess)
        else guess
        for guess in guesses
    )


def _is_used_and_sure(guess: ColumnGuess) -> bool:
    return guess.sureness is Sureness.SURE and guess.column.quantity is not Quantity.IGNORED


def numbers(said: list[str], mark: str) -> tuple[np.ndarray, set[str]]:
    """The finite numbers among cells, and the units that are written behind them.

    Parameters
    ----------
    said : list of str
    mark : str
        Before the decimals.

    Returns
    -------
    values : ndarray
        In their units.
    units : set of str
        With the empty one where a cell has none.
    """
    found = [number_of(text, mark) for text in said]
    values = [number for number in found if number is not None]
    finite = [value for value, _ in values if np.isfinite(value)]
    return np.array(finite), {unit for _, unit in values}


def unit_told(quantity: Quantity, words: list[str], written: str) -> str:
    """The unit that brackets or the last word name, if it is one of the quantity.

    Parameters
    ----------
    quantity : Quantity
    words : list of str
    written : str
        The unit, both from `header_words`.

    Returns
    -------
    str
        Empty where none is named.
    """
    for word in (written, *words[-1:], *(w for w in words if len(w) > 1)):
        unit = UNIT_WORDS.get(word.lower().replace(" ", ""), "")
        if unit and unit in UNITS[quantity]:
            return unit
    return ""
