"""Fonts of the sheet: which letters they have, and in which order they are asked."""

import pytest

from batterymodel.rules.wording import OUTCOME_SIGNS, SEVERITY_SIGNS
from batterymodel.sheet.fonts import BASE, families, fonts, lacking
from batterymodel.sheet.wording import SUBSTITUTE


def test_every_face_that_is_asked_is_there():
    assert set(families()) <= set(fonts().families())
    assert families()[0] == BASE


def test_no_face_is_of_the_system():
    """Each comes from a package of Python, or with typst (which gives no path)."""
    places = {font.path for font in fonts().fonts() if font.path}
    assert all("manimgx_fonts" in place for place in places), places


@pytest.mark.parametrize(
    "text",
    [
        "Straße",
        "Ωμέγα",
        "Ж",
        "Ա",
        "ქ",
        "שרה",
        "محمد",
        "अनिता",
        "ไทย",
        "தமிழ்",
        "王小",
        "さくら",
        "김",
    ],
)
def test_scripts_have_a_face(text):
    assert lacking([text]) == ()


def test_signs_of_the_tool_have_a_face():
    assert lacking([*OUTCOME_SIGNS.values(), *SEVERITY_SIGNS.values(), SUBSTITUTE]) == ()


def test_letters_without_a_face_are_named_once_in_order():
    assert lacking(["b\U00010331a", '\U00010330\U00010331 "\\"']) == (
        "\U00010330",
        "\U00010331",
    )
