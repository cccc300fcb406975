"""Columns that hold nothing but units: meters that choose their range write one beside the values.

``18.3;A`` stands in one row and ``950;mA`` in the next, so that a value without its unit is wrong
by a thousand.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from batterymodel.inputs.cell_values import UNIT_WORDS, is_missing, number_of
from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.header_words import QUANTITY_OF_WORDS, header_words
from batterymodel.inputs.remarks import shown

_WORDS_OF_UNITS = (
    "unit units einheit einheiten unidad unidades unite unites unité unités uom range bereich "
    "gamme rango column"
)
_UNIT_HEADERS = frozenset(_WORDS_OF_UNITS.split())
_RANGE = re.compile(r"[\d.,]*\s*(\D+)")


def with_units_joined(
    columns: dict[str, list[str]], rows: Sequence[int], faults: Faults
) -> tuple[dict[str, list[str]], str]:
    """Each column of units joined to the column of values at its left, cell by cell.

    Parameters
    ----------
    columns : dict of str to list of str
        Cells by header.
    rows : sequence of int
        As seen.
    faults : Faults
        Takes each value that has no unit where others have one.

    Returns
    -------
    joined : dict of str to list of str
        ``18.3 A``, ``950 mA``.
    apart : str
        Why the units of a column that could not be joined leave values in doubt; empty else.
    """
    joined: dict[str, list[str]] = {}
    apart = ""
    for label, cells in columns.items():
        if not _is_column_of_units(label, cells):
            joined[label] = cells
            apart = apart or _units_of_ranges(label, cells)
        elif joined and _may_have_units(*list(joined.items())[-1]):
            left, values = joined.popitem()
            joined[left] = _joined(left, values, cells, rows, faults)
        else:
            joined[label] = cells
            apart = apart or f"'{label}' says {' and '.join(_units_among(cells))}"
    return joined, apart


def _joined(
    header: str, values: list[str], units: list[str], rows: Sequence[int], faults: Faults
) -> list[str]:
    cells: list[str] = []
    for row, value, unit in zip(rows, values, units, strict=True):
        if not value or is_missing(value):
            cells.append(value)
        elif is_missing(unit) or not unit:
            problem = f"{shown(value)} has no unit beside it where other rows have one"
            faults.add(f"{problem}; the unit, or no value, would be right", row, header)
            cells.append("")
        else:
            cells.append(f"{value} {unit}")
    return cells


def _is_column_of_units(label: str, cells: list[str]) -> bool:
    """Units by name of the column and most cells, or several units and nothing else."""
    said = [cell for cell in cells if cell and not is_missing(cell)]
    known = [cell for cell in said if _unit(cell)]
    named = re.split(r"[\W\d_]+", label.lower())[0] in _UNIT_HEADERS
    if named:
        return bool(known) and 2 * len(known) >= len(said)
    return len(known) == len(said) and len(_units_among(cells)) > 1


def _unit(cell: str) -> str:
    return UNIT_WORDS.get(cell.lower().replace(" ", ""), "")


def _units_among(cells: list[str]) -> list[str]:
    return sorted({_unit(cell) for cell in cells} - {""})


def _may_have_units(header: str, cells: list[str]) -> bool:
    """Whether a column holds numbers and is no time."""
    if QUANTITY_OF_WORDS[Quantity.TIME].intersection(header_words(header)[0]):
        return False
    said = [cell for cell in cells if cell and not is_missing(cell)]
    return 2 * sum(any(number_of(cell, mark) for mark in ".,") for cell in said) >= len(said)


def _units_of_ranges(label: str, cells: list[str]) -> str:
    """Why ranges like ``60 A`` and ``600 mA`` leave the unit of the values in doubt."""
    if re.split(r"[\W\d_]+", label.lower())[0] not in _UNIT_HEADERS:
        return ""
    found = [_RANGE.fullmatch(cell) for cell in set(cells)]
    units = sorted({_unit(match.group(1)) for match in found if match} - {""})
    return f"'{label}' says {' and '.join(units)}" if len(units) > 1 else ""
