"""A chart of the sheet: the page's own chart drawn as lines and letters, not as dots."""

from __future__ import annotations

import json
from collections.abc import Mapping
from functools import cache, lru_cache
from typing import Any

from batterymodel.sheet.fonts import BASE, font_folders


def chart_svg(spec: Mapping[str, Any]) -> str:
    """A chart as SVG, its letters as text in the face of the sheet.

    Parameters
    ----------
    spec : mapping
        Vega-Lite specification with its data inside.

    Returns
    -------
    str
        The SVG document.

    Raises
    ------
    ValueError
        A specification that is none.
    """
    return _drawn(json.dumps({**spec, "config": {**spec.get("config", {}), "font": BASE}}))


def chart_texts(spec: Mapping[str, Any]) -> tuple[str, ...]:
    """Every text of a chart that comes from data, such as the names of load steps.

    Parameters
    ----------
    spec : mapping
        Vega-Lite specification with its data inside.

    Returns
    -------
    tuple of str
        Each once, in no order.
    """
    rows = [row for data in spec.get("datasets", {}).values() for row in data]
    return tuple({value for row in rows for value in row.values() if isinstance(value, str)})


@lru_cache(maxsize=4)
def _drawn(spec: str) -> str:
    import vl_convert

    _measured_with_our_fonts()
    return str(vl_convert.vegalite_to_svg(spec))


@cache
def _measured_with_our_fonts() -> None:
    """Let the chart converter know the face by which it finds the width of a text."""
    import vl_convert

    vl_convert.register_font_directory(font_folders()[0])
