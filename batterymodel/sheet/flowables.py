"""Ruled boxes, rules and boxes to tick: the parts of a paper job card, and its numbered pages."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, Table

from batterymodel.rules.results import Outcome

INK, SOFT, LINE = "#1b2a33", "#47535b", "#c9ced1"
EDGE = 5.0
"""From the outer edge of a ruled box to what is in it [pt]."""


@dataclass(frozen=True)
class RuleStyle:
    """How a box is ruled: width of a line [pt], dashes, and how many lines."""

    width: float
    dashes: tuple[int, int] | None = None
    lines: int = 1


OUTCOME_RULES = {
    Outcome.TOP_OFF: RuleStyle(1.6),
    Outcome.KEEP_WATCHING: RuleStyle(1.6, dashes=(5, 3)),
    Outcome.SERVICE: RuleStyle(1.1, lines=2),
    Outcome.DISCONNECT: RuleStyle(EDGE + 0.8),
}
"""The rule around the outcome, so that it is told apart without colour."""


class Ruled(Flowable):
    """A table in a ruled box as wide as its place."""

    def __init__(self, inner: Table, width: float, style: RuleStyle) -> None:
        """Put the table into a box of a width [pt]."""
        super().__init__()
        self.inner, self.box_width, self.style, self.box_height = inner, width, style, 0.0

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Width and height [pt]."""
        _, inner = self.inner.wrap(self.box_width - 2.0 * EDGE, height)
        self.box_height = inner + 2.0 * EDGE
        return self.box_width, self.box_height

    def draw(self) -> None:
        """Draw the rules, then the table."""
        canvas, style = self.canv, self.style
        canvas.saveState()
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(style.width)
        if style.dashes:
            canvas.setDash(*style.dashes)
        for line in range(style.lines):
            off = (0.5 + 2.4 * line) * style.width
            canvas.rect(off, off, self.box_width - 2.0 * off, self.box_height - 2.0 * off)
        canvas.restoreState()
        self.inner.drawOn(canvas, EDGE, EDGE)


class HeadingRule(Flowable):
    """A thin rule under a heading."""

    def __init__(self, width: float) -> None:
        """Make it so wide [pt]."""
        super().__init__()
        self.length = width

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Width and height [pt]."""
        return self.length, 1.5

    def draw(self) -> None:
        """Draw the line."""
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(0.8)
        self.canv.line(0.0, 0.5, self.length, 0.5)


class TickBox(Flowable):
    """A box to tick."""

    def __init__(self, side: float) -> None:
        """Make it so large [pt]."""
        super().__init__()
        self.side = side

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Width and height [pt]."""
        return self.side, self.side + 1.0

    def draw(self) -> None:
        """Draw the box."""
        self.canv.setStrokeColor(INK)
        self.canv.setLineWidth(1.0)
        self.canv.rect(0.5, 0.0, self.side, self.side)


class NumberedCanvas(Canvas):
    """A canvas that draws footers when the number of pages is known."""

    def __init__(
        self,
        *args: Any,
        footer: Callable[[Canvas, int, int], None],
        counted: Callable[[int], None],
        **more: Any,
    ) -> None:
        """Take what draws a footer, and what is told the number of pages."""
        super().__init__(*args, **more)
        self._footer, self._counted = footer, counted
        self._kept: list[dict[str, Any]] = []

    def showPage(self) -> None:  # noqa: N802 (the library's name)
        """Keep the page for later."""
        self._kept.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write all pages, each with its footer."""
        self._counted(len(self._kept))
        for number, state in enumerate(self._kept, 1):
            self.__dict__.update(state)
            self._footer(self, number, len(self._kept))
            Canvas.showPage(self)
        super().save()
