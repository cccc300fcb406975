"""Rows at the end of a table that are no readings: totals, means, and what stands below them."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable

from batterymodel.inputs.cell_values import UNIT_WORDS, is_missing
from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.header_words import QUANTITY_OF_WORDS
from batterymodel.inputs.remarks import Remarks, shown

MOST_TOTALS = 12
"""Rows at the end that may be totals (own choice: a dozen figures of a statistic)."""

Row = tuple[int, list[str]]

_WORDS_OF_TOTALS = (
    "total totals subtotal sum sums average averages avg mean median min max mini maxi minimum "
    "maximum std stdev stddev sd deviation variance rms count range summe gesamt gesamtsumme "
    "mittelwert mittel durchschnitt standardabweichung anzahl somme moyenne mediane ecart effectif "
    "suma media mediana promedio desviacion ø σ ∑"
)
_WORDS_BESIDE = (
    "grand overall all of the in over n no type standard dev abw wert value values generale "
    "general globale typ estandar rows readings measurements statistics"
)
_NAMED = (Quantity.SUPPLY_CURRENT, Quantity.SUPPLY_VOLTAGE, Quantity.BATTERY_TEMP, Quantity.TIME)
_TOTALS = frozenset(_WORDS_OF_TOTALS.split())
_BESIDE_TOTALS = frozenset(_WORDS_BESIDE.split()).union(
    UNIT_WORDS, *(QUANTITY_OF_WORDS[quantity] for quantity in _NAMED)
)


def without_totals(rows: list[Row], is_value: Callable[[str], bool], remarks: Remarks) -> list[Row]:
    """The rows without those at the end that are totals or a line of text.

    Parameters
    ----------
    rows : list of (int, list of str)
        Row as seen, and its cells.
    is_value : callable
        Whether a cell holds a number, a time or a date.
    remarks : Remarks
        Takes a note of each row that is left out.

    Returns
    -------
    list of (int, list of str)
        At least one row.
    """
    kept = list(rows)
    texts = _columns_of_text(rows[: len(rows) // 2 + 1], is_value)
    while len(kept) > 1 and len(rows) - len(kept) < MOST_TOTALS:
        row, cells = kept[-1]
        label = next((c for k, c in enumerate(cells) if _is_total(c, k in texts)), "")
        label = label or _lone_text(cells, is_value)
        if not label:
            break
        kept.pop()
        remarks.notes.append(f"row {row} ({shown(label)}) is no reading: not used")
    return kept


def _columns_of_text(rows: list[Row], is_value: Callable[[str], bool]) -> set[int]:
    """Places where no row holds a value: remarks may stand there, which name a highest load."""
    filled = [{k for k, cell in enumerate(cells) if is_value(cell)} for _, cells in rows]
    return set(range(max(len(cells) for _, cells in rows))) - set().union(*filled)


def _is_total(cell: str, among_texts: bool) -> bool:
    """Whether a cell names totals: among remarks by all its words, else by any."""
    plain = unicodedata.normalize("NFKD", cell.lower())
    words = re.findall(r"[^\W\d_]+|∑", "".join(c for c in plain if not unicodedata.combining(c)))
    if not _TOTALS.intersection(words):
        return False
    return not among_texts or _TOTALS.union(_BESIDE_TOTALS).issuperset(words)


def _lone_text(cells: list[str], is_value: Callable[[str], bool]) -> str:
    """The text of a row that holds nothing but one in its first cell."""
    filled = [cell for cell in cells if cell]
    lone = len(filled) == 1 and cells[0] and not is_missing(cells[0]) and not is_value(cells[0])
    return cells[0] if lone else ""
