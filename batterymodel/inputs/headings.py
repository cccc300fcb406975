"""The rows above the values of a foreign table: names, groups over them, units, and a preamble.

A name may be spread over several rows, as a group over the columns beneath it or as a unit below.
Rows that name columns are joined, none is lost; what else stands above is kept as text, since it
may say where a current was measured.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from batterymodel.basis.text import one_line
from batterymodel.inputs.cell_values import UNIT_WORDS, is_missing
from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.header_words import (
    OTHER_UNITS,
    QUANTITY_OF_WORDS,
    header_words,
    telling,
)

MOST_NAME_ROWS = 4
"""Rows that are joined to one header (own choice: two of groups, names, units)."""

_WAYS_OF_WRITING = re.compile(r"[ymdhst:./ -]{2,19}|text|-+")
_MORE_UNITS = OTHER_UNITS | frozenset(["%", "% rh", "bool", "on/off", "0/1", "1/0", "#", "-"])
_BESIDE_UNITS = frozenset(["dc", "ac", "rms", "deg"])
_TIMES = QUANTITY_OF_WORDS[Quantity.TIME] | QUANTITY_OF_WORDS[Quantity.DATE]

Row = tuple[int, list[str]]


@dataclass(frozen=True)
class Heading:
    """What stands above the values.

    ``row`` is that of the names; ``rows`` are all that the labels were joined from; ``above`` is,
    for each label, the text that stands above it and is no part of it.
    """

    labels: list[str]
    row: int
    rows: list[list[str]]
    above: dict[str, str]
    before: int


def heading_of(
    rows: Sequence[Row], is_value: Callable[[str], bool], comments: Sequence[str] = ()
) -> Heading:
    """Names of the columns from all rows above the values.

    Parameters
    ----------
    rows : sequence of (int, list of str)
        Row as seen, and its cells; at least one.
    is_value : callable
        Whether a cell holds a number, a time or a date.
    comments : sequence of str
        Other lines above the values.

    Returns
    -------
    Heading
    """
    first = len(rows) - 1
    while first and len(rows) - first < MOST_NAME_ROWS and _names_on(rows, first, is_value):
        first -= 1
    stack = [cells for _, cells in rows[first:]]
    units = len(stack) > 1 and is_units(stack[-1])
    labels = _each_once(_joined(stack))
    texts = [one_line(" ".join(filled(cells))) for _, cells in rows[:first]]
    above = {
        label: "\n".join([*comments, *texts, *_groups_beside(stack, place, units)])
        for place, label in enumerate(labels)
    }
    return Heading(labels, rows[-1 - units][0], stack, above, first)


def filled(cells: Iterable[str]) -> list[str]:
    """The cells that are not empty.

    Parameters
    ----------
    cells : iterable of str

    Returns
    -------
    list of str
    """
    return [cell for cell in cells if cell]


def is_units(cells: Sequence[str]) -> bool:
    """Whether a row holds mostly units and ways of writing, and names nothing else.

    Parameters
    ----------
    cells : sequence of str

    Returns
    -------
    bool

    >>> is_units(["s", "[A]", "steps"]), is_units(["Time", "Amps", "Volts"])
    (True, False)
    """
    words = filled(cells)
    others = [cell for cell in words if not _is_unit(cell)]
    known = {word for words in QUANTITY_OF_WORDS.values() for word in words}
    named = any(known & telling(header_words(cell)[0]) for cell in others)
    return bool(words) and 2 * len(others) <= len(words) and not named


def _is_unit(cell: str) -> bool:
    bare = " ".join(cell.strip("[]() ").lower().split())
    if bare in UNIT_WORDS or bare in _MORE_UNITS or _WAYS_OF_WRITING.fullmatch(bare):
        return True
    left = [word for word in bare.split() if word not in _BESIDE_UNITS]
    return len(left) == 1 and left[0] in UNIT_WORDS


def _names_on(rows: Sequence[Row], first: int, is_value: Callable[[str], bool]) -> bool:
    """Whether the row above this one belongs to the names of the columns."""
    (number, cells), (below, lower) = rows[first - 1], rows[first]
    said = filled(cells)
    if not said or any(is_value(c) and not is_missing(c) for c in [*said, *filled(lower)]):
        return False
    if len(said) > 1 and is_units(lower):
        return True
    if below != number + 1:
        return False
    return not cells[0] or len(said) > 2 or _is_pair_of_names(cells, said, lower)


def _is_pair_of_names(cells: list[str], said: list[str], lower: list[str]) -> bool:
    """Whether two cells name columns: not what a line of a preamble says of what."""
    if len(said) < 2:
        return False
    if len(filled(lower)) > 2:
        return bool(cells[0]) and not cells[1]
    known = {word for words in QUANTITY_OF_WORDS.values() for word in words}
    return any(known & telling(header_words(cell)[0]) for cell in said)


def _joined(stack: list[list[str]]) -> list[str]:
    """One name per column; one without is called by its place."""
    spread = [_spread(cells, len(stack[-1])) for cells in stack[:-1]]
    names = [""] * max(map(len, stack))
    for cells in [*spread, stack[-1]]:
        names = [_name(name, cells[k] if k < len(cells) else "") for k, name in enumerate(names)]
    while names and not any(names[-1:]):
        names.pop()
    return [one_line(name) or f"column {place}" for place, name in enumerate(names, 1)]


def _spread(cells: list[str], width: int) -> list[str]:
    """A group's name over the empty cells at its right, as merged cells show it; no time's."""
    wide, last = [], ""
    for cell in [*cells, *[""] * (width - len(cells))]:
        last = cell or last
        wide.append(cell or ("" if _TIMES.intersection(header_words(last)[0]) else last))
    return wide


def _name(upper: str, lower: str) -> str:
    """Both parts of a name; a unit goes behind it in brackets."""
    if not lower.strip("[]() -"):
        return upper
    if not upper or set(header_words(upper)[0]) <= set(header_words(lower)[0]) != set():
        return lower
    for name, unit in ((upper, lower), (lower, upper)):
        if _is_unit(unit):
            return f"{name} [{unit.strip('[]() ')}]"
    return f"{upper} {lower}"


def _each_once(names: list[str]) -> list[str]:
    labels: list[str] = []
    for place, name in enumerate(names, 1):
        label = name
        while label in labels:
            label += f" ({place})"
        labels.append(label)
    return labels


def _groups_beside(stack: list[list[str]], place: int, units: bool) -> list[str]:
    """What the rows of groups say where they say nothing above this column."""
    groups = stack[: -1 - units]
    return [" ".join(filled(cells)) for cells in groups if not any(cells[: place + 1])]
