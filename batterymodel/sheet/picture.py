"""A chart on the sheet: the page's own chart drawn as lines and letters, not as dots."""

from __future__ import annotations

import json
import re
from functools import cache, lru_cache
from html import escape, unescape
from io import StringIO
from typing import Any

import vl_convert
from reportlab.graphics import renderPDF
from reportlab.graphics.shapes import Drawing
from reportlab.platypus import Flowable
from svglib.fonts import register_font
from svglib.svglib import svg2rlg

from batterymodel.sheet.fonts import BOLD, CHART_FAMILY, FAMILY, base_fonts, fonts_folder, plain

_TEXT = re.compile(r"(<text[^>]*>)([^<]*)(</text>)")
_OPACITY = re.compile(r'(?<=\s)opacity="([0-9.]+)"')


class SheetPicture(Flowable):
    """A chart as wide as its place, with its words as alternative text."""

    def __init__(self, spec: dict[str, Any], words: str, width: float) -> None:
        """Draw the chart of a specification so wide [pt]."""
        super().__init__()
        self.drawing, self.words = _drawing(json.dumps(spec)), words
        self.scale = width / self.drawing.width
        self.width, self.height = width, self.scale * self.drawing.height

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Width and height on the page [pt]."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw it between marks that carry the alternative text (PDF 32000-1, 14.9.3)."""
        canvas = self.canv
        alternative = self.words.encode("utf-16-be").hex().upper()
        canvas._code.append(f"/Span <</Alt <FEFF{alternative}>>> BDC")
        canvas.saveState()
        canvas.scale(self.scale, self.scale)
        renderPDF.draw(self.drawing, canvas, 0.0, 0.0)
        canvas.restoreState()
        canvas._code.append("EMC")


def chart_texts(spec: dict[str, Any]) -> tuple[str, ...]:
    """Every text of a chart that comes from data, such as the names of load steps."""
    rows = [row for data in spec.get("datasets", {}).values() for row in data]
    return tuple({value for row in rows for value in row.values() if isinstance(value, str)})


@lru_cache(maxsize=4)
def _drawing(spec: str) -> Drawing:
    """The chart as a drawing, in its own size [px as pt]."""
    _register()
    chart = json.loads(spec)
    chart.setdefault("config", {})["font"] = CHART_FAMILY
    svg = vl_convert.vegalite_to_svg(chart)
    svg = _TEXT.sub(lambda m: m[1] + escape(plain(unescape(m[2]))) + m[3], svg)
    svg = _OPACITY.sub(r'fill-opacity="\1" stroke-opacity="\1"', svg)
    return svg2rlg(StringIO(svg))


@cache
def _register() -> None:
    """Make the sheet's fonts known to what lays the chart out and to what draws it."""
    base_fonts()
    vl_convert.register_font_directory(str(fonts_folder()))
    for weight, name in (("normal", FAMILY), ("bold", BOLD)):
        register_font(CHART_FAMILY, weight=weight, rlgFontName=name)
