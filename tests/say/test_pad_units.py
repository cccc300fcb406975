"""The meter pad in degrees Fahrenheit: shown so, kept in degC, and never taken for the other."""

import copy
import json

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.inputs.temperature_unit import TemperatureUnit
from batterymodel.say.pad_units import IN_C, IN_F, entry_in_c, pad_in

F, C = TemperatureUnit.FAHRENHEIT, TemperatureUnit.CELSIUS
PAD = {
    "connection": "c-1",
    "kinds": [
        {"name": "supply_current_a", "label": "Meter", "unit": "A"},
        {"name": IN_C, "label": "Temp.", "unit": "°C"},
    ],
    "question": {"name": IN_C, "text": "Battery temperature?", "unit": "°C"},
    "last": [
        {"id": "b", "quantity": IN_C, "value": 25.0, "elapsed_s": 60.0},
        {"id": "a", "quantity": "supply_current_a", "value": 25.0, "elapsed_s": 30.0},
    ],
    "expected": {
        "supply_current_a": {"least": 0.0, "most": 60.0, "words": ["a", "b"], "beside": None},
        IN_C: {
            "least": -10.0,
            "most": 40.0,
            "near": 1.5,
            "words": ["Usual are -10 to 40 °C.", "Usual are -10 to 40 °C."],
            "beside": {"floor": None, "most": 5.0, "switched": 5.0, "per_s": 0.05},
        },
    },
}


def test_in_celsius_nothing_changes():
    assert pad_in(PAD, C) == PAD


def test_the_temperature_is_shown_and_asked_in_fahrenheit_and_nothing_else():
    before = copy.deepcopy(PAD)
    shown = pad_in(PAD, F)
    assert before == PAD
    assert shown["kinds"] == [PAD["kinds"][0], {"name": IN_F, "label": "Temp.", "unit": "°F"}]
    assert shown["question"] == {**PAD["question"], "name": IN_F, "unit": "°F"}
    assert [line["value"] for line in shown["last"]] == [77.0, 25.0]
    assert [line["quantity"] for line in shown["last"]] == [IN_F, "supply_current_a"]
    assert shown["expected"]["supply_current_a"] == PAD["expected"]["supply_current_a"]
    assert shown["expected"][IN_F] == {
        "least": 14.0,
        "most": 104.0,
        "near": 1.5,
        "words": ["Usual are 14 to 104 °F."] * 2,
        "beside": {"floor": None, "most": 9.0, "switched": 9.0, "per_s": 0.09},
    }
    assert "°C" not in json.dumps(shown, ensure_ascii=False)
    assert IN_C not in json.dumps(shown)


def test_a_pad_without_question_or_bounds_is_shown_too():
    bare = {"kinds": PAD["kinds"], "question": None, "last": []}
    assert pad_in(bare, F)["question"] is None
    assert "expected" not in pad_in(bare, F)


@given(st.integers(-400, 2000))
def test_what_was_pressed_in_fahrenheit_is_kept_in_celsius_whatever_is_chosen_now(tenths):
    pressed = {"id": "k", "kind": "note", "quantity": IN_F, "value": tenths / 10.0}
    kept = entry_in_c(pressed)
    assert kept["quantity"] == IN_C
    assert kept["value"] == pytest.approx((tenths / 10.0 - 32.0) / 1.8)
    last = [{"id": "k", "quantity": IN_C, "value": kept["value"], "elapsed_s": 1.0}]
    assert pad_in({**PAD, "last": last}, F)["last"][0]["value"] == pressed["value"]


@pytest.mark.parametrize(
    "entry",
    [
        {"id": "k", "kind": "note", "quantity": IN_C, "value": 25.0},
        {"id": "k", "kind": "note", "quantity": "supply_current_a", "value": 25.0},
        {"id": "k", "kind": "mark", "text": "Switched on"},
        {},
    ],
)
def test_other_entries_stay_as_they_came(entry):
    assert entry_in_c(entry) == entry


def test_a_question_that_is_skipped_is_the_one_of_the_record():
    assert entry_in_c({"kind": "skip", "quantity": IN_F}) == {"kind": "skip", "quantity": IN_C}
    assert entry_in_c({"kind": "note", "quantity": IN_F, "value": "x"})["value"] == "x"
