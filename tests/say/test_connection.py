"""The terminal text shows the same numbers as the JSON of the same assessment."""

import re

import pytest

from batterymodel import Interval, Limits, Supply, assess
from batterymodel.rules.wording import chance_words, source_words
from batterymodel.say.connection import amount, percent, text_report
from tests.conftest import simulated_connection


@pytest.mark.parametrize("depth", [0.08, 0.25, 0.45])
def test_numbers_are_those_of_the_assessment(battery, depth):
    result = assess(simulated_connection(depth), battery, Supply(rated_current_a=60.0), load_a=8.0)
    text = text_report(result)
    soc = result.state_of_charge.at_connection
    line = next(row for row in text.splitlines() if "State of charge at connection" in row)
    numbers = [int(n) for n in re.findall(r"\d+", line)]
    assert numbers == [round(100 * soc.mean), round(100 * soc.low), round(100 * soc.high)]
    charge = next(row for row in text.splitlines() if row.startswith("  Charge to return"))
    shown = [float(n) for n in re.findall(r"[\d.]+", charge)]
    ah = result.charge_to_return_ah
    digits = 1 if ah.high - ah.low < 10.0 else 0
    assert shown == [round(v, digits) for v in (ah.mean, ah.low, ah.high)]
    assert ("Time until topped off" in text) == (result.outcome != "service")


def test_rounding_follows_the_interval():
    wide = Interval(mean=31.26, low=12.1, high=55.9, level=0.9)
    narrow = Interval(mean=3.26, low=2.14, high=4.46, level=0.9)
    assert amount(wide, "Ah") == ("31 Ah", "12 to 56 Ah")
    assert amount(narrow, "Ah") == ("3.3 Ah", "2.1 to 4.5 Ah")
    assert percent(Interval(mean=0.9, low=0.85, high=0.95, level=0.9)) == ("90 %", "85 to 95 %")


def test_notes_on_the_readings_are_shown(battery):
    readings = simulated_connection(0.1).model_copy(update={"notes": ("3 rows were dropped",)})
    assert "3 rows were dropped" in text_report(assess(readings, battery, load_a=8.0))


@pytest.mark.parametrize("source", ["value for a kind", "notes of a generic kind"])
def test_mark_of_a_generic_limit_asks_the_flag_not_the_source(source):
    assert source_words(source, generic=True) == f"generic; {source}"
    assert source_words(source, generic=False) == source


def test_generic_limits_of_a_battery_without_a_card_are_marked_once(battery):
    bare = battery.model_copy(update={"limits": Limits()})
    text = " ".join(text_report(assess(simulated_connection(0.1), bare, load_a=8.0)).split())
    assert "limit from generic; value for" in text
    assert "generic; generic" not in text
    assert "limit from value" not in text


@pytest.mark.parametrize(
    ("probability", "words"),
    [
        (0.0, "under 0.1 %"),
        (0.0009, "under 0.1 %"),
        (0.001, "0.1 %"),
        (0.007, "0.7 %"),
        (0.0097, "1 %"),
        (0.03, "3 %"),
        (0.99, "99 %"),
        (0.996, "over 99 %"),
        (1.0, "over 99 %"),
    ],
)
def test_chances_are_never_none_or_all(probability, words):
    assert chance_words(probability) == words
