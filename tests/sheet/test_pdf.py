"""The sheet as PDF: readable back, inside its margins, nothing over anything else, same bytes."""

import io
import itertools
import json
import re
import subprocess
import sys
from collections import Counter
from functools import cache

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.samples.connections import SCENARIO_DAY
from batterymodel.sheet import pdf as layout
from batterymodel.sheet.content import SheetContent
from batterymodel.sheet.fonts import lacking
from batterymodel.sheet.pdf import MARGIN_PT, OUTCOME_RULES, PAPERS, TEMPLATE, sheet_pdf
from batterymodel.sheet.sections import sheet_content
from batterymodel.sheet.wording import NOT_CLAIMED, SUBSTITUTE
from tests.sheet.cases import (
    BY_KEY,
    KEYS,
    LONG_NAME,
    SUPPLY,
    content_of,
    forecast_of,
    pdf_of,
    text_of,
    with_findings,
    without_pictures,
)

pytestmark = pytest.mark.tools
pdfplumber = pytest.importorskip("pdfplumber")
pypdfium2 = pytest.importorskip("pypdfium2")
from pdfminer.pdftypes import resolve1  # noqa: E402 (comes with pdfplumber)
from pdfminer.utils import decode_text  # noqa: E402

MOST_OVERLAP_PT = 0.5
"""Less than the width of a stroke: hinted boxes may touch."""

LOWEST_INK_PT = 15.0
"""Foot of the page: what most printers leave white."""

ONE_OF_EACH = ("deeply-discharged", "rising-current-nicd", "no-card-no-load", "coarse-meter")
"""One sample of each outcome; the others run with the slow tests."""

NAMES = {
    "Cyrillic": "Мария Ковальчук",
    "Greek": "Ελένη Παπαδοπούλου",
    "Arabic": "محمد عبد الله",
    "Hebrew": "שרה לוי",
    "Chinese": "王小明",
    "Armenian": "Անահիտ Պետրոսյան",
    "Georgian": "ნინო ბერიძე",
    "Devanagari": "अनिता शर्मा",
    "Thai": "สมชาย ใจดี",
    "Japanese": "さくら田中",
    "Korean": "김민수",
    "markup": "#panic() *a* $x$ \\ `b` @c <d>",
    "code": "<b>O'Brien & Söhne</b>",
}


def boxes_of(page: object) -> np.ndarray:
    """Boxes of the ink of all words on a page: left, right, bottom, top."""
    text_page = page.get_textpage()
    count = text_page.count_chars()
    text = text_page.get_text_range()
    text = text if len(text) == count else [text_page.get_text_range(k, 1) for k in range(count)]
    letters = [(text[k], text_page.get_charbox(k)) for k in range(count)]
    text_page.close()
    words, word = [], []
    for letter, box in [*letters, (" ", None)]:
        if letter.strip():
            word.append(box)
        elif word:
            left, bottom, right, top = np.array(word).T
            words.append([left.min(), right.max(), bottom.min(), top.max()])
            word = []
    return np.array(words)


def assert_well_laid_out(data: bytes, most_pages: int = 2) -> None:
    """All words inside the margins and none over another."""
    document = pypdfium2.PdfDocument(data)
    assert len(document) <= most_pages
    for page in document:
        boxes, (width, height) = boxes_of(page), page.get_size()
        assert len(boxes) > 50
        assert boxes[:, 0].min() >= MARGIN_PT - 1.0
        assert boxes[:, 1].max() <= width - MARGIN_PT + 1.0
        assert boxes[:, 2].min() >= LOWEST_INK_PT
        assert boxes[:, 3].max() <= height - MARGIN_PT + 1.0
        assert overlaps(boxes) == []
    document.close()


def overlaps(boxes: np.ndarray) -> list[tuple[int, int]]:
    left = np.maximum(boxes[:, None, 0], boxes[None, :, 0])
    right = np.minimum(boxes[:, None, 1], boxes[None, :, 1])
    top = np.maximum(boxes[:, None, 2], boxes[None, :, 2])
    bottom = np.minimum(boxes[:, None, 3], boxes[None, :, 3])
    both = np.minimum(right - left, bottom - top)
    np.fill_diagonal(both, 0.0)
    return [(int(i), int(j)) for i, j in np.argwhere(both > MOST_OVERLAP_PT) if i < j]


@cache
def hard_content(owner: str = LONG_NAME) -> SheetContent:
    """Long names everywhere and the longest findings."""
    battery = BY_KEY["rising-current-nicd"].battery
    limits = battery.limits.model_copy(update={"document": "Maintenance manual " * 8})
    battery = battery.model_copy(update={"tail": "W" * 60, "limits": limits})
    return sheet_content(
        with_findings("rising-current-nicd", 40),
        battery,
        SCENARIO_DAY,
        supply=SUPPLY,
        forecast=forecast_of("rising-current-nicd"),
        owner=owner,
    )


def _cases():
    for key, paper in itertools.product(KEYS, PAPERS):
        slow = key not in ONE_OF_EACH
        yield pytest.param(key, paper, marks=[pytest.mark.slow] if slow else [])


def test_overlapping_words_are_found():
    """The check itself: two boxes that share ink, and two that only touch."""
    assert overlaps(np.array([[0, 10, 0, 10], [5, 15, 2, 12.0]])) == [(0, 1)]
    assert overlaps(np.array([[0, 10, 0, 10], [10, 15, 0, 10.0]])) == []


@pytest.mark.long
@pytest.mark.parametrize(("key", "paper"), [*_cases()])
def test_every_sample_fits_two_pages_with_nothing_clipped_or_covered(key: str, paper: str):
    assert_well_laid_out(pdf_of(key, paper))


@pytest.mark.parametrize("paper", ["a4", pytest.param("letter", marks=pytest.mark.slow)])
def test_long_names_and_forty_findings_are_well_laid_out(paper: str):
    data = sheet_pdf(hard_content(), paper)
    assert_well_laid_out(data, most_pages=3)
    assert "more findings are in the full report" in text_of(data)


def test_page_is_of_the_paper_asked_for():
    for paper, (width, height) in {"a4": (595.3, 841.9), "letter": (612.0, 792.0)}.items():
        with pdfplumber.open(io.BytesIO(pdf_of("no-card-no-load", paper))) as document:
            page = document.pages[0]
            assert (float(page.width), float(page.height)) == pytest.approx(
                (width, height), abs=0.1
            )


def test_unknown_paper_is_refused_in_a_sentence():
    with pytest.raises(InputError, match="'a3' is not known; a4 or letter"):
        sheet_pdf(content_of("healthy-top-off"), "a3")


def test_same_content_gives_the_same_bytes():
    assert sheet_pdf(content_of("no-card-no-load")) == pdf_of("no-card-no-load", "a4")


def owned_by(name: str) -> SheetContent:
    """A sheet without pictures for an owner."""
    content = without_pictures(content_of("no-card-no-load"))
    head = tuple((n, name if n == "Owner" else v) for n, v in content.head)
    signed = content.section("signed").model_copy(update={"signatures": (("Owner", name),)})
    sections = (*content.sections[:-1], signed)
    return content.model_copy(update={"head": head, "sections": sections})


@pytest.mark.parametrize("script", NAMES)
def test_owners_of_every_script_are_written_out(script: str):
    """Every letter drawn has a glyph, nothing is replaced, and copied text is in reading order."""
    name = NAMES[script]
    text = text_of(sheet_pdf(owned_by(name)))
    assert lacking([name]) == ()
    assert SUBSTITUTE not in text
    assert NOT_CLAIMED not in text
    letters = "".join(name.split())
    assert "".join(text.split()).count(letters) == 2


def test_two_owners_with_some_letters_in_common_are_both_written_out():
    """One process writes sheets for many: letters of the first must not stand for the second's."""
    for name in ("王小", "王小明", "明王"):
        assert text_of(sheet_pdf(owned_by(name))).count(f" {name} ") == 2


def test_letters_no_font_has_are_shown_replaced_and_named():
    """Gothic letters, which no face of the sheet has; the file still claims PDF/UA-1."""
    data = sheet_pdf(owned_by("\U00010330\U00010331\U00010332"))
    text = text_of(data)
    assert "lack 3 letters" in text
    assert "U+10330, U+10331, U+10332" in text
    assert SUBSTITUTE * 3 in text
    assert UA_1 in data


def with_step_named(words: str) -> SheetContent:
    """A sheet with one picture, in which a load step has a name of its own."""
    content = content_of("marked-load-steps")
    pictures = content.section("pictures")
    first = pictures.pictures[0]
    rows = [row for data in first.spec["datasets"].values() for row in data]
    name = next(v for row in rows for v in row.values() if isinstance(v, str) and " " in v)
    changed = json.dumps(first.spec).replace(json.dumps(name)[1:-1], json.dumps(words)[1:-1])
    picture = first.model_copy(update={"spec": json.loads(changed)})
    pictures = pictures.model_copy(update={"pictures": (picture,)})
    sections = tuple(pictures if s.key == "pictures" else s for s in content.sections)
    return content.model_copy(update={"sections": sections})


def test_letters_of_charts_that_no_font_has_are_named_too():
    text = text_of(sheet_pdf(with_step_named("Fan \U00010330")))
    assert "lack one letter" in text
    assert f"Fan {SUBSTITUTE}" in text


@pytest.mark.parametrize(
    "sign",
    ["\U0001f600", "\U0001f6e9\ufe0f", "\U0001f44d\U0001f3fd"],
    ids=["plain", "with a style", "with a tint"],
)
def test_emoji_in_an_event_and_a_remark_leave_the_sheet_whole(sign: str):
    content = with_step_named(f"Fan {sign} on")
    data = sheet_pdf(content.model_copy(update={"remarks": (f"Seen {sign} so.",)}))
    text = text_of(data)
    assert f"Fan {sign[0]}" in text
    assert f"Seen {sign[0]}" in text
    assert NOT_CLAIMED not in text
    assert UA_1 in data


def test_a_file_that_typst_refuses_the_standard_is_tagged_and_says_so(monkeypatch):
    """As if a letter without a glyph had gone unnoticed."""
    monkeypatch.setattr(layout, "lacking", lambda texts: ())
    data = sheet_pdf(owned_by("\U00010330"))
    assert NOT_CLAIMED in text_of(data)
    assert UA_1 not in data
    assert catalog_of(data)["MarkInfo"]["Marked"] is True


UA_1 = b"<pdfuaid:part>1</pdfuaid:part>"


def catalog_of(data: bytes) -> dict:
    """The document catalogue of a PDF, references followed one level down."""
    with pdfplumber.open(io.BytesIO(data)) as document:
        return {key: resolve1(value) for key, value in document.doc.catalog.items()}


def elements_of(data: bytes) -> list[dict]:
    """Every element of the structure tree, in reading order."""
    found: list[dict] = []

    def walk(node: object) -> None:
        node = resolve1(node)
        if isinstance(node, list):
            for child in node:
                walk(child)
        elif isinstance(node, dict):
            if "S" in node:
                found.append(node)
            walk(node.get("K"))

    walk(catalog_of(data)["StructTreeRoot"])
    return found


def text_string(value: object) -> str:
    return decode_text(resolve1(value))


@pytest.mark.parametrize("paper", PAPERS)
def test_file_is_tagged_and_says_that_it_meets_the_standard(paper: str):
    """What ISO 14289-1 asks of the catalogue; veraPDF, its reference checker, is not run here.

    Marked as tagged, with a structure tree, a language, a title that viewers show, and the
    identifier of the standard in the metadata. typst itself refuses files that break the rules
    it knows: letters without glyph, pictures without words, skipped heading levels.
    """
    data = pdf_of("healthy-top-off", paper)
    catalog = catalog_of(data)
    assert catalog["MarkInfo"]["Marked"] is True
    assert text_string(catalog["Lang"]) == "en"
    assert catalog["ViewerPreferences"]["DisplayDocTitle"] is True
    assert UA_1 in data
    with pdfplumber.open(io.BytesIO(data)) as document:
        assert document.metadata["Title"] == "Findings sheet, battery DEMO-1, 2026-03-02"


def test_tags_are_headings_tables_lists_and_figures_with_their_words():
    content = content_of("healthy-top-off")
    elements = elements_of(pdf_of("healthy-top-off", "a4"))
    kinds = Counter(element["S"].name for element in elements)
    tables = [s.table for s in content.sections if s.table is not None]
    assert kinds["H1"] == len(content.sections)
    assert kinds["Table"] == len(tables)
    assert kinds["TH"] == sum(len(table.header) for table in tables)
    listed = sum(len(content.section(key).sentences) for key in ("next", "cautions"))
    assert kinds["LI"] == listed + len(content.section("asked").choices)
    words = [text_string(e["Alt"]) for e in elements if e["S"].name == "Figure"]
    said = [p.words for s in content.sections for p in s.pictures]
    assert [w.replace("\N{NO-BREAK SPACE}", " ") for w in words] == said


def test_all_fonts_are_embedded_and_none_is_of_the_system():
    with pdfplumber.open(io.BytesIO(pdf_of("no-card-no-load", "a4"))) as document:
        fonts = {c["fontname"] for page in document.pages for c in page.chars}
    assert fonts
    assert all(re.match(r"[A-Z]{6}\+(NotoSans|DejaVuSansMono)", font) for font in fonts), fonts


def test_template_asks_for_no_package_and_no_other_file():
    template = TEMPLATE.read_text(encoding="utf-8")
    assert not re.search(r"#(import|include)|@preview|read\(|eval\(", template)


@pytest.mark.long
def test_importing_the_sheet_imports_neither_typst_nor_the_chart_converter():
    code = "import batterymodel.sheet.case, sys; print({'typst', 'vl_convert'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_charts_are_lines_not_dots():
    """No picture of dots, and at least one outline for each of the 37 readings."""
    with pdfplumber.open(io.BytesIO(pdf_of("no-card-no-load", "a4"))) as document:
        assert all(not page.images for page in document.pages)
        assert sum(len(page.curves) for page in document.pages) >= 37


def test_outcomes_differ_by_their_rule():
    rules = list(OUTCOME_RULES.values())
    assert len(set(rules)) == 4
