"""Fonts of the sheet: embedded, by coverage of the letters, with right-to-left scripts in order.

DejaVu Sans (shipped with matplotlib) has Latin, Greek, Cyrillic, Armenian, Georgian, Hebrew and
Arabic. Chinese and Japanese letters come from Noto Sans SC (`pylopdf-fonts-zh-cn`), Korean ones
from Noto Sans KR where `pylopdf-fonts-ko` is installed; of those only the letters used are
embedded. A letter that no font has is shown as U+FFFD and reported, never left out.
"""

from __future__ import annotations

import hashlib
import re
import unicodedata
from collections.abc import Iterable
from functools import cache
from html import escape
from importlib.util import find_spec
from io import BytesIO
from itertools import groupby
from pathlib import Path
from typing import Any

from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

from batterymodel.sheet.wording import SUBSTITUTE

FAMILY, BOLD = "Sheet", "Sheet-Bold"
CHART_FAMILY = "DejaVu Sans"
_FILES = {FAMILY: "DejaVuSans.ttf", BOLD: "DejaVuSans-Bold.ttf"}
_MORE_FONTS = (
    ("pylopdf_fonts_zh_cn", "NotoSansSC-Regular.otf"),
    ("pylopdf_fonts_ko", "NotoSansKR-Regular.otf"),
)
_UNIT = re.compile(r"(?<=\d) (?=(?:%|°C|Ah?|V|min|s|h)(?![\w-]))")
"""Space between a number and its unit, which stay on one line."""

_RIGHT_TO_LEFT = ("R", "AL")
_NEEDS_SHAPING = frozenset(
    [
        "DEVANAGARI",
        "BENGALI",
        "GURMUKHI",
        "GUJARATI",
        "ORIYA",
        "TAMIL",
        "TELUGU",
        "KANNADA",
        "MALAYALAM",
        "SINHALA",
        "THAI",
        "LAO",
        "TIBETAN",
        "MYANMAR",
        "KHMER",
        "MONGOLIAN",
        "NKO",
    ]
)
"""Scripts whose letters join or move in ways this sheet cannot set."""

_MAXIMA = [
    "maxZones",
    "maxTwilightPoints",
    "maxStorage",
    "maxFunctionDefs",
    "maxInstructionDefs",
    "maxStackElements",
    "maxSizeOfInstructions",
    "maxComponentElements",
    "maxComponentDepth",
    "maxPoints",
    "maxContours",
    "maxCompositePoints",
    "maxCompositeContours",
]

MAX_ERROR_UNITS = 1.0
"""Largest error of a curve turned from cubic to quadratic [font units]."""


def fonts_folder() -> Path:
    """Folder of the DejaVu fonts, found without importing the package that ships them."""
    return _package_folder("matplotlib") / "mpl-data" / "fonts" / "ttf"


@cache
def base_fonts() -> dict[str, frozenset[int]]:
    """Register the two base fonts; returns the letters each has, as code points."""
    letters = {}
    for name, file in _FILES.items():
        font = TTFont(name, str(fonts_folder() / file))
        pdfmetrics.registerFont(font)
        letters[name] = frozenset(font.face.charToGlyph)
    pdfmetrics.registerFontFamily(FAMILY, normal=FAMILY, bold=BOLD, italic=FAMILY, boldItalic=BOLD)
    return letters


def lacking(texts: Iterable[str]) -> tuple[str, ...]:
    """Letters of the texts that no font has, in order of code."""
    letters = {letter for text in texts for letter in visual(text)}
    return tuple(sorted(letter for letter in letters if _font_of(letter, FAMILY) is None))


def marked(text: str, bold: bool = False) -> str:
    """Text for a paragraph: escaped, in visual order, each run in a font that has its letters."""
    base = BOLD if bold else FAMILY
    drawn = visual(_UNIT.sub("\N{NO-BREAK SPACE}", text))
    runs = groupby(drawn, key=lambda letter: _font_of(letter, base))
    return "".join(_run(font, "".join(letters), base) for font, letters in runs)


def plain(text: str) -> str:
    """Text in visual order with letters that the base font lacks replaced, for charts."""
    has = base_fonts()[FAMILY]
    return "".join(c if ord(c) in has else SUBSTITUTE for c in visual(text))


def visual(text: str) -> str:
    """Text in the order it is drawn, Arabic letters joined; others as they stand."""
    if not any(unicodedata.bidirectional(c) in _RIGHT_TO_LEFT for c in text):
        return text
    from bidi.algorithm import get_display

    return str(get_display(_joiner().reshape(text)))


@cache
def _joiner() -> Any:
    """What joins Arabic letters, without the word ligatures that the base font lacks."""
    from arabic_reshaper import ArabicReshaper

    return ArabicReshaper({"ARABIC LIGATURE ALLAH": False})


def _run(font: str | None, letters: str, base: str) -> str:
    if font is None:
        return SUBSTITUTE * len(letters)
    if font == base:
        return escape(letters)
    if font not in (FAMILY, BOLD):
        font = _embedded(Path(font), "".join(sorted(set(letters))))
    return f'<font name="{font}">{escape(letters)}</font>'


@cache
def _font_of(letter: str, base: str) -> str | None:
    """Base font, its regular face, or path of another font that has the letter; None for none."""
    if unicodedata.name(letter, "").split(" ")[0] in _NEEDS_SHAPING:
        return None
    fonts = base_fonts()
    for name in (base, FAMILY):
        if ord(letter) in fonts[name] or letter.isspace():
            return name
    for path in _more_fonts():
        if ord(letter) in _letters_of(path):
            return str(path)
    return None


@cache
def _more_fonts() -> tuple[Path, ...]:
    folders = ((package, file) for package, file in _MORE_FONTS if find_spec(package))
    return tuple(_package_folder(package) / file for package, file in folders)


@cache
def _letters_of(path: Path) -> frozenset[int]:
    from fontTools.ttLib import TTFont as FontFile

    with FontFile(path, lazy=True) as font:
        return frozenset(font.getBestCmap())


@cache
def _embedded(path: Path, letters: str) -> str:
    """Name of a registered font with just these letters, its outlines made quadratic.

    The PDF library embeds TrueType outlines only, the large fonts come with cubic ones.
    """
    from fontTools.subset import Options, Subsetter
    from fontTools.ttLib import TTFont as FontFile

    name = f"{path.stem}-{hashlib.sha256(letters.encode()).hexdigest()[:12]}"
    options = Options(layout_features=[], hinting=False, notdef_outline=True)
    with FontFile(path, lazy=True) as font:
        subsetter = Subsetter(options)
        subsetter.populate(unicodes=[ord(letter) for letter in letters])
        subsetter.subset(font)
        _make_quadratic(font)
        _give_name(font, name)
        file = BytesIO()
        font.save(file, reorderTables=False)
    file.seek(0)
    pdfmetrics.registerFont(TTFont(name, file))
    return name


def _give_name(font: Any, name: str) -> None:
    """Name the font itself: two of one name would count as the same font in the whole process."""
    for record in font["name"].names:
        record.string = name


def _make_quadratic(font: Any) -> None:
    """Turn a font with cubic outlines (CFF) into one with quadratic outlines (glyf), in place."""
    from fontTools.pens.cu2quPen import Cu2QuPen
    from fontTools.pens.ttGlyphPen import TTGlyphPen
    from fontTools.ttLib import newTable

    if "CFF " not in font:
        return
    order, drawn = font.getGlyphOrder(), font.getGlyphSet()
    glyphs = {}
    for name in order:
        pen = TTGlyphPen(drawn)
        drawn[name].draw(Cu2QuPen(pen, MAX_ERROR_UNITS, reverse_direction=True))
        glyphs[name] = pen.glyph()
    font["loca"], font["glyf"] = newTable("loca"), newTable("glyf")
    font["glyf"].glyphOrder, font["glyf"].glyphs = order, glyphs
    for table in ("CFF ", "VORG"):
        if table in font:
            del font[table]
    font["glyf"].compile(font)
    _state_true_type(font, glyphs)


def _state_true_type(font: Any, glyphs: dict[str, Any]) -> None:
    font["head"].glyphDataFormat = 0
    most = font["maxp"]
    most.tableVersion = 0x00010000
    for name in _MAXIMA:
        setattr(most, name, 1 if name == "maxZones" else 0)
    most.recalc(font)
    font["post"].formatType = 3.0
    font.sfntVersion = "\000\001\000\000"
    for name, glyph in glyphs.items():
        glyph.recalcBounds(font["glyf"])
        font["hmtx"][name] = (font["hmtx"][name][0], getattr(glyph, "xMin", 0))


def _package_folder(package: str) -> Path:
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"the package '{package}' ships fonts of the sheet: install it")
    return Path(spec.submodule_search_locations[0])
