"""Decimal commas that may have been cut apart where a comma stands between the cells as well.

``0,18,3`` below a header of three columns is 18 and 3, or 18,3 and an empty cell at the end.
"""

from __future__ import annotations

import re
from itertools import chain

import pandas as pd

from batterymodel.inputs.cell_values import is_missing
from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.header_words import QUANTITY_OF_WORDS, header_words

LEAST_COLUMNS = 3
"""A pair joined leaves a time and a current, the least that readings need."""

MOST_DECIMALS = 3
"""Figures of a column that may be decimals (own choice: meters show no more)."""

_WHOLE = re.compile(r"[+\-−–]?\d+", re.A)
_DECIMAL = re.compile(r"[+\-−–]?\d*[.,]\d+", re.A)
_TIMES = QUANTITY_OF_WORDS[Quantity.TIME] | QUANTITY_OF_WORDS[Quantity.DATE]


def doubts_of_cuts(cells: pd.DataFrame) -> dict[str, str]:
    """Why columns may be the two halves of another's numbers, or stand one too far to the right.

    Parameters
    ----------
    cells : DataFrame of str
        Of a table with commas between its cells.

    Returns
    -------
    dict of str to str
        By header; empty where decimals or unlike figures show that nothing was cut.
    """
    columns = [[text for text in cells[name] if not is_missing(text)] for name in cells]
    if len(columns) < LEAST_COLUMNS or any(map(_DECIMAL.fullmatch, chain(*columns))):
        return {}
    headers = [str(name) for name in cells]
    for place in range(len(headers) - 1):
        if _may_be_cut(headers[place], columns[place], columns[place + 1]):
            example = f"{columns[place][0]},{columns[place + 1][0]}"
            why = f"'{example}' may be one number with a decimal comma"
            return dict.fromkeys(headers[place:], why)
    return {}


def _may_be_cut(header: str, left: list[str], right: list[str]) -> bool:
    """Whole numbers beside figures of one width; a time is cut only before a single figure."""
    widths = {len(text) for text in right}
    if not left or len(left) != len(right) or len(widths) > 1:
        return False
    whole = all(map(_WHOLE.fullmatch, left)) and all(text.isdecimal() for text in right)
    most = 1 if _TIMES.intersection(header_words(header)[0]) else MOST_DECIMALS
    return whole and max(widths) <= most
