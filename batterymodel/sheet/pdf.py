"""The findings sheet as a PDF: a paper job card with ruled boxes, one or two pages.

typst lays it out by the template `sheet.typ`, which gets every text as data and reads none as
markup. The file is tagged and says that it meets PDF/UA-1 (ISO 14289-1), the standard for
documents that a screen reader can read; typst checks what a program can check of it and refuses
the rest. The same content always gives the same bytes.
"""

from __future__ import annotations

import json
import re
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from batterymodel.errors import InputError
from batterymodel.rules.results import Outcome
from batterymodel.sheet import wording as words
from batterymodel.sheet.content import Picture, Section, SheetContent
from batterymodel.sheet.fonts import families, fonts, lacking
from batterymodel.sheet.picture import chart_svg, chart_texts

TEMPLATE = Path(__file__).with_name("sheet.typ")
PAPERS = {"a4": "a4", "letter": "us-letter"}
"""Paper by the name it is asked for, and what the template calls it."""

MARGIN_PT, FOOT_PT = 42.0, 46.0
"""White on three sides of the page, and below the text, where the foot of the page stands."""

MOST_PAGES = 2
SCALES = (1.0, 0.94, 0.88)
"""Sizes tried until the sheet fits `MOST_PAGES`; below the last, text is too small to read."""

STANDARD = "ua-1"
_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|Ah?|V|min|s|h)(?![\w-]))")
"""Space between a number and its unit, which stay on one line."""


_TINTS = dict.fromkeys([*range(0xFE00, 0xFE10), *range(0x1F3FB, 0x1F400)])
"""Signs that choose the colour of the sign before them: in a chart they have no glyph of their own,
which the standard refuses, and the sheet is black on white."""


@dataclass(frozen=True)
class BoxRule:
    """How a box is ruled: width of a line [pt], dashed or not, one line or two, dark or white."""

    width: float
    dashed: bool = False
    lines: int = 1
    dark: bool = False


OUTCOME_RULES = {
    Outcome.TOP_OFF: BoxRule(1.6),
    Outcome.KEEP_WATCHING: BoxRule(1.6, dashed=True),
    Outcome.SERVICE: BoxRule(1.1, lines=2),
    Outcome.DISCONNECT: BoxRule(5.8, dark=True),
}
"""The rule around the outcome, so that it is told apart without colour."""

LIST_OF = {"next": "steps", "cautions": "cautions"}
"""Sections whose sentences stand in a list; those of the others run on."""


def sheet_pdf(content: SheetContent, paper: str = "a4") -> bytes:
    """The sheet as PDF.

    Parameters
    ----------
    content : SheetContent
    paper : str
        ``a4`` or ``letter``, in any case.

    Returns
    -------
    bytes
        The file: tagged, with title and language, each picture with its words. A sheet that does
        not fit two pages even in smaller type takes more.

    Raises
    ------
    InputError
        Another paper.

    Notes
    -----
    A letter that no font has is shown as U+FFFD and named at the top. Should typst refuse PDF/UA-1
    for another reason, the file is tagged but does not claim it, and the sheet says so.
    """
    if paper.lower() not in PAPERS:
        raise InputError(f"paper '{paper}' is not known; {' or '.join(PAPERS)} would be right")
    told = _told(content, PAPERS[paper.lower()])
    import typst

    try:
        return _laid_out(told, STANDARD)
    except typst.TypstError:
        told["remarks"].append(words.NOT_CLAIMED)
        return _laid_out(told, None)


def _laid_out(told: dict[str, Any], standard: str | None) -> bytes:
    """The file in the largest size that fits the pages."""
    for scale in SCALES:
        compiler = _compiler({**told, "scale": scale})
        if int(compiler.query("<pages>", field="value", one=True)) <= MOST_PAGES:
            break
    return bytes(compiler.compile(format="pdf", pdf_standards=standard or [], timestamp=0))


def _compiler(told: dict[str, Any]) -> Any:
    """typst with the template and what it is told; it reads no other file and no system font."""
    import typst

    return typst.Compiler(
        str(TEMPLATE),
        root=str(TEMPLATE.parent),
        font_paths=fonts(),
        ignore_system_fonts=True,
        sys_inputs={"sheet": json.dumps(told)},
    )


def _told(content: SheetContent, paper: str) -> dict[str, Any]:
    """All that the template is told, in letters that the fonts have."""
    pictures = [p for section in content.sections for p in section.pictures]
    drawn = [text for p in pictures for text in chart_texts(p.spec)]
    missing = lacking([*content.texts(), *drawn])
    if missing:
        remarks = (*content.remarks, _missing_words(missing))
        content = content.model_copy(update={"remarks": remarks})
    told = {
        **content.model_dump(mode="json", exclude={"sections", "outcome"}),
        "heading": words.TITLE,
        "subtitle": words.HEAD_LINE,
        "language": words.LANGUAGE,
        "page": words.PAGE,
        "sign_parts": words.SIGN_PARTS,
        "rule": asdict(OUTCOME_RULES[content.outcome]),
        "sections": [_section(section) for section in content.sections],
        "paper": paper,
        "margin": MARGIN_PT,
        "foot": FOOT_PT,
    }
    shown = _shown(told, str.maketrans(dict.fromkeys(missing, words.SUBSTITUTE)))
    return {**shown, "families": families()}


def _missing_words(missing: tuple[str, ...]) -> str:
    codes = [f"U+{ord(letter):04X}" for letter in missing[: words.MOST_CODES]]
    return words.LACKING.format(
        letters=words.plural(words.LETTERS, len(missing)),
        sign=words.SUBSTITUTE,
        codes=", ".join(codes) + words.AND_MORE * (len(missing) > words.MOST_CODES),
    )


def _section(section: Section) -> dict[str, Any]:
    """A section for the template; words in place of a second picture stand beside the first."""
    aside = bool(section.pictures and section.sentences)
    return {
        **section.model_dump(mode="json", exclude={"pictures", "key"}),
        "pictures": [_picture(picture) for picture in section.pictures],
        "list": LIST_OF.get(section.key),
        "aside": words.CAPACITY_PICTURE if aside else None,
    }


def _picture(picture: Picture) -> dict[str, str]:
    drawn = chart_svg(picture.spec).translate(_TINTS)
    return {"title": picture.title, "words": picture.words, "svg": drawn}


def _shown(value: Any, replaced: dict[int, str]) -> Any:
    """The value with all its texts as they are shown."""
    if isinstance(value, str):
        return _UNIT.sub("\N{NO-BREAK SPACE}", value.translate(replaced))
    if isinstance(value, dict):
        return {key: _shown(item, replaced) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [_shown(item, replaced) for item in value]
    return value
