"""What is still missing of a plate, and what of it is asked about before it is taken."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from batterymodel.inputs.records import Chemistry
from batterymodel.reference.chemistry import data_for

USUAL_CELLS = {
    Chemistry.VENTED_LEAD_ACID: (6, 12),
    Chemistry.VRLA: (6, 12),
    Chemistry.NICD: (19, 20),
    Chemistry.LFP: (8,),
}
"""Cells of an aircraft battery that are taken without a question (own choice)."""

PLATE_LABELS = {"chemistry": "kind", "cells": "cells", "rated_capacity_ah": "rated capacity"}


def missing_words(plate: Mapping[str, Any]) -> str:
    """What is still to be entered.

    Parameters
    ----------
    plate : mapping
        Fields of the plate; None where nothing is entered.

    Returns
    -------
    str
        A sentence; empty where nothing is missing.

    >>> missing_words({"chemistry": "vrla", "cells": None, "rated_capacity_ah": None})
    'Still needed: cells and rated capacity.'
    """
    missing = [label for name, label in PLATE_LABELS.items() if plate[name] is None]
    if not missing:
        return ""
    *others, last = missing
    return f"Still needed: {', '.join(others)}{' and ' if others else ''}{last}."


def cells_question(chemistry: Chemistry | str | None, cells: int | None) -> str:
    """What is asked about an unusual number of cells.

    Parameters
    ----------
    chemistry : Chemistry or str or None
    cells : int or None

    Returns
    -------
    str
        A question; empty where there is nothing to ask.

    >>> cells_question("vrla", 12)
    ''
    """
    if chemistry is None or cells is None or cells in USUAL_CELLS[Chemistry(chemistry)]:
        return ""
    kind = Chemistry(chemistry)
    usual = " or ".join(map(str, USUAL_CELLS[kind]))
    unit = "cell" if cells == 1 else "cells"
    return f"{cells} {unit}? Usual for this kind ({data_for(kind).label}) are {usual}."
