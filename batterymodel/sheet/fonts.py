"""Fonts of the sheet: from packages alone, never from the system.

Noto Sans comes in a face for each script (`manimgx-fonts`), Chinese, Japanese and Korean letters
in one more (`manimgx-fonts-cjk`, Han letters in their Chinese form); signs such as ✓ come with
typst. A letter that none of them has is found before the sheet is made, by asking typst itself.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from functools import cache
from importlib.util import find_spec
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import typst

BASE = "Noto Sans"
_PACKAGES = ("manimgx_fonts", "manimgx_fonts_cjk")
_LAST = ("Noto Sans CJK SC", "DejaVu Sans Mono", "Noto Emoji")
"""Faces asked last: large ones, and one whose letters are all of one width."""

_PROBE = b"""
#set document(title: "Letters")
#set text(font: json(bytes(sys.inputs.families)), fallback: false)
#for letter in json(bytes(sys.inputs.letters)) { par(letter) }
"""
_REFUSED = re.compile(r'the text `"(.+?)"` could not be displayed')
_ESCAPED = re.compile(r"\\u\{([0-9a-f]+)\}")


@cache
def font_folders() -> tuple[str, ...]:
    """Folders of the fonts, found without importing the packages that ship them.

    Returns
    -------
    tuple of str
        The folder of the scripts first, then that of the Chinese, Japanese and Korean letters.

    Raises
    ------
    ModuleNotFoundError
        A package of `requirements.txt` that is not installed.
    """
    return tuple(_folder(package) for package in _PACKAGES)


def _folder(package: str) -> str:
    spec = find_spec(package)
    if spec is None or not spec.submodule_search_locations:
        raise ModuleNotFoundError(f"the package '{package}' ships fonts of the sheet: install it")
    return spec.submodule_search_locations[0]


@cache
def fonts() -> typst.Fonts:
    """All fonts of the sheet, searched once for the process; raises as `font_folders`."""
    import typst

    return typst.Fonts(include_system_fonts=False, font_paths=list(font_folders()))


@cache
def families() -> tuple[str, ...]:
    """Names of the faces in the order in which a letter is looked for; raises as `font_folders`."""
    found = (name for name in fonts().families() if name.startswith(f"{BASE} "))
    scripts = sorted(name for name in found if "CJK" not in name)
    return (BASE, *scripts, *_LAST)


def lacking(texts: Iterable[str]) -> tuple[str, ...]:
    """Letters of the texts that no font of the sheet has.

    Parameters
    ----------
    texts : iterable of str

    Returns
    -------
    tuple of str
        Single letters in order of their code.

    Notes
    -----
    The standard for accessible documents (ISO 14289-1:2014, 7.21.7: every letter shown has a code)
    makes typst refuse letters without a glyph, and name all of them.
    """
    letters = sorted({letter for text in texts for letter in text if not letter.isspace()})
    return tuple(letter for letter in letters if letter in _refused(tuple(letters)))


@cache
def _refused(letters: tuple[str, ...]) -> frozenset[str]:
    """What typst cannot show of the letters, each set by itself."""
    import typst

    told = {"letters": json.dumps(letters), "families": json.dumps(families())}
    try:
        typst.compile(
            _PROBE, font_paths=fonts(), sys_inputs=told, pdf_standards="ua-1", format="pdf"
        )
    except typst.TypstError as error:
        named = _REFUSED.findall(error.diagnostic)
        return frozenset(_ESCAPED.sub(lambda m: chr(int(m[1], 16)), name) for name in named)
    return frozenset()
