"""The findings sheet as a PDF: a paper job card with ruled boxes, one or two pages.

Text is selectable and its fonts are embedded; language and title are set; each picture carries
its words as alternative text and prints them below. The file is not tagged: the PDF library
writes no structure tree. The same content always gives the same bytes.
"""

from __future__ import annotations

import threading
from collections.abc import Sequence
from functools import partial
from io import BytesIO

from reportlab.lib.enums import TA_CENTER, TA_RIGHT
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import (
    BaseDocTemplate,
    Flowable,
    Frame,
    KeepTogether,
    PageTemplate,
    Paragraph,
    Spacer,
    Table,
)

from batterymodel.errors import InputError
from batterymodel.rules.results import Outcome
from batterymodel.sheet import wording as words
from batterymodel.sheet.content import Section, SheetContent, SheetFinding
from batterymodel.sheet.flowables import (
    INK,
    LINE,
    OUTCOME_RULES,
    SOFT,
    HeadingRule,
    NumberedCanvas,
    Ruled,
    TickBox,
)
from batterymodel.sheet.fonts import BOLD, FAMILY, base_fonts, lacking, marked
from batterymodel.sheet.picture import SheetPicture, chart_texts

PAPERS = {"a4": A4, "letter": LETTER}
MARGIN, FOOT = 42.0, 30.0
MOST_PAGES = 2
_ONE_AT_A_TIME = threading.Lock()
"""The PDF library keeps its fonts for the whole process; pages are served by many threads."""

SCALES = (1.0, 0.94, 0.88)
"""Sizes tried until the sheet fits `MOST_PAGES`; below the last, text is too small to read."""


def sheet_pdf(content: SheetContent, paper: str = "a4") -> bytes:
    """The sheet as PDF bytes.

    Raises `InputError` for a paper that is not ``a4`` or ``letter``. A sheet that does not fit two
    pages even in smaller type takes more.
    """
    if paper.lower() not in PAPERS:
        raise InputError(f"paper '{paper}' is not known; {' or '.join(PAPERS)} would be right")
    with _ONE_AT_A_TIME:
        base_fonts()
        content = _with_substitutes_said(content)
        for scale in SCALES:
            layout = _Layout(content, PAPERS[paper.lower()], scale)
            data = layout.pdf()
            if layout.pages <= MOST_PAGES:
                break
    return data


def _with_substitutes_said(content: SheetContent) -> SheetContent:
    """The content with a sentence for letters that no font has."""
    charts = [text for s in content.sections for p in s.pictures for text in chart_texts(p.spec)]
    missing = lacking([*content.texts(), *charts])
    if not missing:
        return content
    codes = [f"U+{ord(letter):04X}" for letter in missing[: words.MOST_CODES]]
    said = words.LACKING.format(
        letters=words.plural(words.LETTERS, len(missing)),
        sign=words.SUBSTITUTE,
        codes=", ".join(codes) + words.AND_MORE * (len(missing) > words.MOST_CODES),
    )
    return content.model_copy(update={"remarks": (*content.remarks, said)})


class _Layout:
    """One attempt at laying out the content at one size."""

    def __init__(self, content: SheetContent, paper: tuple[float, float], scale: float) -> None:
        self.content, self.paper, self.scale = content, paper, scale
        self.width = paper[0] - 2.0 * MARGIN
        self.pages = 0
        self.body = self._style(8.6)
        self.strong = self._style(8.6, bold=True)
        self.small = self._style(7.4, colour=SOFT)
        self.right = self._style(7.4, colour=SOFT)
        self.right.alignment = TA_RIGHT
        self.heading = self._style(10.4, bold=True)

    def pdf(self) -> bytes:
        file = BytesIO()
        height = self.paper[1] - MARGIN - FOOT - 16.0
        frame = Frame(MARGIN, FOOT + 16.0, self.width, height, 0, 0, 0, 0)
        document = BaseDocTemplate(
            file,
            pagesize=self.paper,
            pageTemplates=[PageTemplate(frames=[frame])],
            invariant=1,
            lang=words.LANGUAGE,
            title=self.content.title,
            author="",
            subject=self.content.word,
            creator="batterymodel",
        )
        numbered = partial(NumberedCanvas, footer=self._footer, counted=self._count)
        document.build(self._story(), canvasmaker=numbered)
        return file.getvalue()

    def _count(self, pages: int) -> None:
        self.pages = pages

    def _footer(self, canvas: Canvas, number: int, pages: int) -> None:
        """Rule, footer and number of a page, when the number of pages is known."""
        left, right = self._said(self.content.footer, self.small), self.width - 70.0
        left.wrap(right, 40.0)
        canvas.setStrokeColor(INK)
        canvas.setLineWidth(0.6)
        canvas.line(MARGIN, FOOT + 9.0, MARGIN + self.width, FOOT + 9.0)
        left.drawOn(canvas, MARGIN, FOOT + 6.0 - left.height)
        page = self._said(words.PAGE.format(page=number, pages=pages), self.right)
        page.wrap(70.0, 40.0)
        page.drawOn(canvas, MARGIN + right, FOOT + 6.0 - page.height)

    def _style(self, size: float, bold: bool = False, colour: str = INK) -> ParagraphStyle:
        size = size * self.scale
        name = f"{size:.2f}{bold}{colour}"
        font = BOLD if bold else FAMILY
        return ParagraphStyle(
            name, fontName=font, fontSize=size, leading=1.32 * size, textColor=colour
        )

    def _said(self, text: str, style: ParagraphStyle) -> Paragraph:
        return Paragraph(marked(text, bold=style.fontName == BOLD), style)

    def _gap(self, points: float) -> Spacer:
        return Spacer(1.0, points * self.scale)

    def _story(self) -> list[Flowable]:
        content = self.content
        story: list[Flowable] = [
            self._said(words.TITLE, self._style(17.0, bold=True)),
            self._gap(2),
            self._said(words.HEAD_LINE, self.small),
            self._gap(5),
            *(self._said(remark, self.strong) for remark in content.remarks),
            self._gap(4 if content.remarks else 0),
            self._head(),
            self._gap(7),
            self._outcome(),
        ]
        for section in content.sections:
            story += self._section(section)
        return story

    def _head(self) -> Table:
        """Owner and battery in full width, because their names may be long; the rest in a row."""
        cells = [[self._said(n, self.small), self._said(v, self.strong)]
                 for n, v in self.content.head]  # fmt: skip
        wide, rest = cells[:2], cells[2:]
        row = Table([rest], colWidths=[self.width * share for share in (0.17, 0.55, 0.28)])
        row.setStyle([*_TIGHT, ("LINEAFTER", (0, 0), (-2, 0), 0.6, INK)])
        table = Table([[pair] for pair in wide] + [[row]], colWidths=[self.width])
        table.setStyle(
            [
                *_TIGHT,
                ("BOX", (0, 0), (-1, -1), 0.8, INK),
                ("LINEABOVE", (0, 1), (-1, -1), 0.6, INK),
                *((side, (0, -1), (-1, -1), 0) for side in _PADDINGS),
            ]
        )
        return table

    def _outcome(self) -> Table:
        """The ruled box: told apart by sign, word and rule, never by colour alone."""
        content, dark = self.content, self.content.outcome is Outcome.DISCONNECT
        colour = "#ffffff" if dark else INK
        big = self._style(16.0, bold=True, colour=colour)
        centred = self._style(16.0, bold=True, colour=colour)
        centred.alignment = TA_CENTER
        sign = Table([[self._said(content.sign, centred)]], colWidths=[26 * self.scale])
        sign.setStyle([*_TIGHT, ("BOX", (0, 0), (-1, -1), 1.6, colour)])
        width = self.width - 8.0
        top = Table([[sign, self._said(content.word, big)]], colWidths=[36 * self.scale, None])
        top.setStyle([*_TIGHT, ("VALIGN", (0, 0), (-1, -1), "MIDDLE")])
        why = [
            self._said(content.reason, self._style(9.4, bold=True)),
            self._gap(2),
            self._said(content.meaning, self._style(9.4)),
        ]
        table = Table([[top], [why]], colWidths=[width])
        table.setStyle([*_TIGHT, ("LINEBELOW", (0, 0), (0, 0), 0.6, INK)])
        if dark:
            table.setStyle([("BACKGROUND", (0, 0), (0, 0), INK)])
        return Ruled(table, self.width, OUTCOME_RULES[content.outcome])

    def _section(self, section: Section) -> list[Flowable]:
        parts: list[Flowable] = [self._gap(8), self._said(section.title, self.heading)]
        parts += [HeadingRule(self.width), self._gap(3)]
        parts += self._pictures(section)
        parts += [self._finding(finding) for finding in section.findings]
        if section.sentences and not section.pictures:
            parts.append(self._sentences(section))
        if section.table is not None:
            parts += [self._gap(2), self._table(section)]
        parts += [self._choice(choice) for choice in section.choices]
        for who, name in section.signatures:
            parts += self._signature(who, name)
        return [KeepTogether(parts)]

    def _sentences(self, section: Section) -> Flowable:
        """Steps by number, cautions by mark, each on its own line; else running text."""
        if section.key not in ("next", "cautions"):
            return self._said(" ".join(section.sentences), self.body)
        marks = [f"{k}." if section.key == "next" else "!" for k in range(1, 100)]
        rows = [
            [self._said(mark, self.strong), self._said(sentence, self.body)]
            for mark, sentence in zip(marks, section.sentences, strict=False)
        ]
        left = 16 * self.scale
        return _plain_table(rows, [left, self.width - left])

    def _finding(self, finding: SheetFinding) -> Flowable:
        sign = self._said(f"{finding.sign}  {finding.severity}", self.strong)
        text = marked(f"{finding.name}. ", bold=True)
        said = f'<font name="{BOLD}">{text}</font>{marked(finding.text)}'
        parts: list[Flowable] = [Paragraph(said, self.body)]
        if finding.more:
            parts.append(self._said(finding.more, self.small))
        left = 78 * self.scale
        table = _plain_table([[sign, parts]], [left, self.width - left])
        table.setStyle([("LINEBELOW", (0, 0), (-1, -1), 0.5, LINE)])
        return table

    def _pictures(self, section: Section) -> list[Flowable]:
        """Pictures side by side, each with its title and words; what there is none of as words."""
        if not section.pictures:
            return []
        gap = 14.0
        width = (self.width - gap) / 2.0
        cells: list[list[Flowable]] = [
            [
                self._said(p.title, self.strong),
                SheetPicture(p.spec, p.words, width),
                self._said(p.words, self.small),
            ]
            for p in section.pictures
        ]
        if section.sentences:
            title = words.CAPACITY_PICTURE
            cells.append([self._said(title, self.strong), self._gap(3)])
            cells[-1] += [self._said(s, self.body) for s in section.sentences]
        table = Table([cells], colWidths=[width + gap, width])
        table.setStyle([*((s, (0, 0), (-1, -1), 0) for s in _PADDINGS),
                        ("RIGHTPADDING", (0, 0), (0, 0), gap),
                        ("VALIGN", (0, 0), (-1, -1), "TOP")])  # fmt: skip
        return [table]

    def _table(self, section: Section) -> Table:
        assert section.table is not None
        header, rows = section.table.header, section.table.rows
        shares = (0.27, 0.19, 0.25, 0.29) if len(header) == 4 else (0.45, 0.3, 0.25)
        cells = [[self._said(h, self.small) for h in header]]
        cells += [
            [
                self._said(cell, self.strong if column == 1 else self.body)
                for column, cell in enumerate(row)
            ]
            for row in rows
        ]
        table = Table(cells, colWidths=[self.width * s for s in shares], repeatRows=1)
        table.setStyle(
            [
                *_TIGHT,
                ("BOX", (0, 0), (-1, -1), 0.8, INK),
                ("LINEBELOW", (0, 0), (-1, 0), 0.8, INK),
                ("INNERGRID", (0, 1), (-1, -1), 0.4, LINE),
                *((side, (0, 0), (-1, -1), 1.6) for side in ("TOPPADDING", "BOTTOMPADDING")),
            ]
        )
        return table

    def _choice(self, choice: str) -> Flowable:
        left = 18 * self.scale
        box = TickBox(8.5 * self.scale)
        return _plain_table([[box, self._said(choice, self.body)]], [left, self.width - left])

    def _signature(self, who: str, name: str) -> list[Flowable]:
        """Who signs, the name where it is known, and room to write."""
        cells = [[self._said(part, self.small), self._gap(14)] for part in words.SIGN_PARTS]
        if name:
            cells[0] = [self._said(words.SIGN_PARTS[0], self.small), self._said(name, self.body)]
        shares = (0.5, 0.17, 0.33)
        table = Table([cells], colWidths=[self.width * share for share in shares])
        grid = ("INNERGRID", (0, 0), (-1, -1), 0.5, INK)
        table.setStyle([*_TIGHT, ("BOX", (0, 0), (-1, -1), 0.8, INK), grid])
        return [self._gap(2), self._said(who, self.strong), self._gap(1), table]


_PADDINGS = ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")
_TIGHT = [
    ("VALIGN", (0, 0), (-1, -1), "TOP"),
    ("LEFTPADDING", (0, 0), (-1, -1), 5),
    ("RIGHTPADDING", (0, 0), (-1, -1), 5),
    ("TOPPADDING", (0, 0), (-1, -1), 2.5),
    ("BOTTOMPADDING", (0, 0), (-1, -1), 3),
]


def _plain_table(rows: Sequence[Sequence[object]], widths: list[float]) -> Table:
    table = Table(rows, colWidths=widths)
    table.setStyle(
        [
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            *((side, (0, 0), (-1, -1), 0) for side in ("LEFTPADDING", "RIGHTPADDING")),
            *((side, (0, 0), (-1, -1), 1.5) for side in ("TOPPADDING", "BOTTOMPADDING")),
        ]
    )
    return table
