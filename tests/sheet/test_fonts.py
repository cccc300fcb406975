"""Fonts of the sheet: who has which letter, order of right-to-left text, marks for paragraphs."""

import re

import pytest

from batterymodel.sheet.fonts import BOLD, FAMILY, base_fonts, lacking, marked, plain, visual
from batterymodel.sheet.wording import SUBSTITUTE


def test_latin_stays_as_it_is_and_is_escaped():
    assert marked("A < B & C") == "A &lt; B &amp; C"


def test_number_and_unit_stay_on_one_line():
    assert marked("75 % of 40 Ah, 3 cells") == "75\u00a0% of 40\u00a0Ah, 3 cells"


def test_letters_only_the_regular_face_has_leave_the_bold_one():
    fonts = base_fonts()
    letter = chr(min(c for c in fonts[FAMILY] - fonts[BOLD] if chr(c).isalpha()))
    assert marked(letter, bold=True) == f'<font name="{FAMILY}">{letter}</font>'
    assert marked("Ж", bold=True) == "Ж"


def test_chinese_comes_from_a_font_of_its_letters_alone():
    said = marked("A 王小 B")
    assert re.fullmatch('A <font name="NotoSansSC-Regular-[0-9a-f]{12}">王小</font> B', said)


def test_hebrew_is_drawn_from_the_right():
    assert visual("שרה לוי") == "יול הרש"
    assert visual("Sara 12") == "Sara 12"


def test_arabic_letters_are_joined():
    """Of three letters, the forms at the start, in the middle and at the end (Unicode FExx)."""
    assert visual("محم") == "\ufee2\ufea4\ufee3"


@pytest.mark.parametrize("text", ["अनिता", "ไทย", "தமிழ்"])
def test_scripts_that_need_more_than_joining_are_lacking(text):
    assert set(lacking([text])) == set(text)
    assert SUBSTITUTE in marked(text)


def test_charts_replace_what_the_base_font_lacks():
    assert plain("Fan 王 on") == f"Fan {SUBSTITUTE} on"
