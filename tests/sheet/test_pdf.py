"""The sheet as PDF: readable back, inside its margins, nothing over anything else, same bytes."""

import io
import itertools
import re
from functools import cache

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.samples.connections import SCENARIO_DAY
from batterymodel.sheet.content import SheetContent
from batterymodel.sheet.flowables import OUTCOME_RULES
from batterymodel.sheet.fonts import lacking
from batterymodel.sheet.pdf import FOOT, MARGIN, PAPERS, sheet_pdf
from batterymodel.sheet.sections import sheet_content
from batterymodel.sheet.wording import SUBSTITUTE
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

pdfplumber = pytest.importorskip("pdfplumber")
pypdfium2 = pytest.importorskip("pypdfium2")
MOST_OVERLAP_PT = 0.5
"""Less than the width of a stroke: hinted boxes may touch."""

ONE_OF_EACH = ("deeply-discharged", "rising-current-nicd", "no-card-no-load", "coarse-meter")
"""One sample of each outcome; the others run with the slow tests."""

NAMES = {
    "Cyrillic": "Мария Ковальчук",
    "Greek": "Ελένη Παπαδοπούλου",
    "Arabic": "محمد عبد الله",
    "Hebrew": "שרה לוי",
    "Chinese": "王小明",
    "Armenian": "Անահիտ Պետրոսյան",
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
        assert boxes[:, 0].min() >= MARGIN - 1.0
        assert boxes[:, 1].max() <= width - MARGIN + 1.0
        assert boxes[:, 2].min() >= FOOT - 12.0
        assert boxes[:, 3].max() <= height - MARGIN + 1.0
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
def test_owners_of_other_scripts_are_written_out(script: str):
    """Every letter drawn has a glyph, and nothing is replaced."""
    name = NAMES[script]
    text = text_of(sheet_pdf(owned_by(name)))
    assert SUBSTITUTE not in text
    if script not in ("Arabic", "Hebrew"):
        assert text.count(name) == 2
    assert lacking([name]) == ()


def test_two_owners_with_some_letters_in_common_are_both_written_out():
    """One process writes sheets for many: letters of the first must not stand for the second's."""
    for name in ("王小", "王小明", "明王"):
        assert text_of(sheet_pdf(owned_by(name))).count(f" {name} ") == 2


def test_letters_no_font_has_are_shown_replaced_and_named():
    text = text_of(sheet_pdf(owned_by("अनु")))
    assert "lack 3 letters" in text
    assert "U+0905, U+0928, U+0941" in text
    assert SUBSTITUTE * 3 in text


def test_title_language_and_words_of_pictures_are_in_the_file():
    data = pdf_of("healthy-top-off", "a4")
    assert b"/Lang (en)" in data
    with pdfplumber.open(io.BytesIO(data)) as document:
        assert document.metadata["Title"] == "Findings sheet, battery DEMO-1, 2026-03-02"
        streams = b"".join(s.get_data() for p in document.pages for s in p.page_obj.contents)
    words = [p.words for s in content_of("healthy-top-off").sections for p in s.pictures]
    assert len(words) == 2
    for said in words:
        assert f"/Alt <FEFF{said.encode('utf-16-be').hex().upper()}>".encode() in streams


def test_all_fonts_are_embedded():
    """No font of the file but has its own font program."""
    with pdfplumber.open(io.BytesIO(pdf_of("no-card-no-load", "a4"))) as document:
        fonts = {c["fontname"] for page in document.pages for c in page.chars}
    assert fonts
    assert all(re.match(r"[A-Z]{6}\+DejaVuSans", font) for font in fonts), fonts


def test_charts_are_lines_not_dots():
    """No picture of dots, and at least one outline for each of the 37 readings."""
    with pdfplumber.open(io.BytesIO(pdf_of("no-card-no-load", "a4"))) as document:
        assert all(not page.images for page in document.pages)
        assert sum(len(page.curves) for page in document.pages) >= 37


def test_outcomes_differ_by_their_rule():
    rules = list(OUTCOME_RULES.values())
    assert len(set(rules)) == 4
