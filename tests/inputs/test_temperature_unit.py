"""Celsius and Fahrenheit: fixed points of the definition, there and back, and sentences."""

import re
from string import Formatter

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.inputs.temperature_unit import (
    TemperatureUnit,
    change_f_from_c,
    entered_temp_c,
    shown_temp,
    spoken_in,
    temp_c_from_f,
    temp_f_from_c,
)
from batterymodel.rules.wording import TEXTS

F, C = TemperatureUnit.FAHRENHEIT, TemperatureUnit.CELSIUS


@pytest.mark.parametrize(
    ("temp_c", "temp_f"), [(-40.0, -40.0), (0.0, 32.0), (100.0, 212.0), (25.0, 77.0), (37.0, 98.6)]
)
def test_fixed_points_of_the_definition(temp_c, temp_f):
    """NIST SP 811, table B.9: t/degF = 1.8 t/degC + 32 (verified by the fixed points)."""
    assert temp_f_from_c(temp_c) == temp_f
    assert temp_c_from_f(temp_f) == temp_c
    assert shown_temp(temp_c, F) == temp_f
    assert shown_temp(temp_c, C) == temp_c


@given(st.integers(-4000, 14000))
def test_what_is_entered_in_fahrenheit_is_shown_again_as_entered(tenths):
    entered = tenths / 10.0
    assert shown_temp(entered_temp_c(entered, F), F) == entered
    assert entered_temp_c(entered, C) == entered


def test_a_change_has_no_offset():
    assert change_f_from_c(0.5) == 0.9
    assert change_f_from_c(-10.0) == -18.0


@pytest.mark.parametrize(
    ("said", "in_f"),
    [
        ("Battery at 48 °C, within 0 to 45 °C.", "Battery at 118 °F, within 32 to 113 °F."),
        ("colder than -5 °C", "colder than 23 °F"),
        ("colder than −5 °C, −40 to −10 °C", "colder than 23 °F, -40 to 14 °F"),
        ("read as 10 and 20 °C", "read as 50 and 68 °F"),
        ("5–30 °C", "41–86 °F"),
        ("warms by 1.0 °C a minute, faster than 0.5 °C a minute", None),
        ("limit 0.5 °C/min", "limit 0.9 °F/min"),
        ("moved by 10 °C at 25 °C", "moved by 18 °F at 77 °F"),
        ("Battery temperature (°C)", "Battery temperature (°F)"),
        ("27.5 V and 20.5 °C", "27.5 V and 68.9 °F"),
        ("(0 °C) must be below (-6.66667 °C)", "(32 °F) must be below (20 °F)"),
        ("given: 5537.222222 °C", "given: 9999 °F"),
        ("8 A for 5 min", "8 A for 5 min"),
        ("column 'Temp at 5 °C (°C)': 200 °C", "column 'Temp at 5 °C (°C)': 392 °F"),
        ("column &#x27;Temp (°C)&#x27; is 5 °C", "column &#x27;Temp (°C)&#x27; is 41 °F"),
        ("the maker's 25 °C and the supply's 40 °C", "the maker's 77 °F and the supply's 104 °F"),
        ("less 0.5 A for each °C above 40 °C", "less 0.5 A for each °C above 104 °F"),
        ("-3 mV/°C or mV per °C, at 5 °C", "-3 mV/°C or mV per °C, at 41 °F"),
    ],
)
def test_sentences(said, in_f):
    in_f = in_f or "warms by 1.8 °F a minute, faster than 0.9 °F a minute"
    assert spoken_in(said, F) == in_f
    assert spoken_in(said, C) == said


@pytest.mark.parametrize("name", [name for name, text in TEXTS.items() if "°C" in text])
def test_every_sentence_of_the_rules_can_be_said_in_fahrenheit(name):
    """Its numbers before °C are the only ones that change; no number is left without its unit."""
    fields = {field for _, field, _, _ in Formatter().parse(TEXTS[name]) if field}
    text = TEXTS[name].format(**dict.fromkeys(fields, 10.0) | {"of": "Battery"})
    said = spoken_in(text, F)
    assert "°C" not in said
    assert said.count("°F") == text.count("°C")
    expected = "18" if " a minute" in text else "50"
    assert set(re.findall(r"(\d+)(?:\.\d)?(?= °F)", said)) == {expected}
    assert not re.search(r"\b10(\.0)?\b", said)
