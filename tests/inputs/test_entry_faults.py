"""What is wrong with an entry: by its key in a file, by its label on a page, never by a library."""

from __future__ import annotations

import re
from datetime import date
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, Shown, outside, said_by_labels, unit_of
from batterymodel.inputs.records import Battery, Supply, record_from
from batterymodel.store.records import BenchCheck, LoadConfiguration
from tests.pages.test_words_of_errors import VALIDATOR

PLATE = {"tail": "D", "chemistry": "vrla", "cells": 12, "rated_capacity_ah": 40.0}
LABELS = {
    "limits.min_top_off_soc": Shown("Least charge", "%", 100.0),
    "limits.charge_voltage_min_v": Shown("Lowest voltage", "V"),
    "limits.charge_voltage_max_v": Shown("Highest voltage", "V"),
    "limits.rest_voltage_v": Shown("Rest voltage", "V"),
    "capacity_check.on": Shown("Day of the check"),
    "capacity_check.capacity_ah": Shown("Capacity", "Ah"),
}


def refused(told: dict[str, Any], kind=Battery) -> InputError:
    with pytest.raises(InputError) as caught:
        record_from(told, kind, "own.toml")
    return caught.value


@pytest.mark.parametrize(
    ("told", "by_key", "by_label"),
    [
        (
            {"limits": {"min_top_off_soc": 1.5}},
            "own.toml: limits.min_top_off_soc: at most 1 (given: 1.5)",
            "Least charge: at most 100 % (given: 150 %)",
        ),
        (
            {"limits": {"rest_voltage_v": (24.0, 150.0)}},
            "own.toml: limits.rest_voltage_v: value 2: at most 100 V (given: 150 V)",
            "Rest voltage: value 2: at most 100 V (given: 150 V)",
        ),
        (
            {"limits": {"charge_voltage_min_v": 30.0, "charge_voltage_max_v": 29.0}},
            "own.toml: limits: charge_voltage_min_v (30 V) must be below charge_voltage_max_v "
            "(29 V)",
            "'Lowest voltage' (30 V) must be below 'Highest voltage' (29 V)",
        ),
        (
            {"capacity_check": {"capacity_ah": 39.0}},
            "own.toml: key 'capacity_check.on' is missing; it is required",
            "Day of the check: needed beside 'Capacity'",
        ),
        (
            {"cells": 41},
            "own.toml: cells: at most 40 (given: 41)",
            "own.toml: cells: at most 40 (given: 41)",
        ),
    ],
    ids=["percent", "row", "window", "missing", "not-shown-on-the-page"],
)
def test_an_entry_is_named_as_it_is_seen(told, by_key, by_label):
    error = refused({**PLATE, **told})
    assert str(error) == by_key
    assert said_by_labels(error, LABELS) == by_label


def test_an_error_of_another_kind_is_said_as_it_stands():
    assert said_by_labels(InputError("own.csv: row 3"), LABELS) == "own.csv: row 3"


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"tail": "x" * 61}, "tail: at most 60 letters and signs"),
        ({"tail": ""}, "tail: must not be empty (given: '')"),
        ({"tail": 5}, "tail: text is needed (given: 5)"),
        ({"chemistry": "agm"}, "one of 'vented_lead_acid', 'vrla', 'nicd' or 'lfp' is needed"),
        ({"cells": 11.5}, "cells: a whole number is needed (given: 11.5)"),
        ({"cells": "many"}, "cells: a whole number is needed (given: 'many')"),
        ({"rated_capacity_ah": float("inf")}, "rated_capacity_ah: a plain number is needed"),
        ({"rated_capacity_ah": [1]}, "rated_capacity_ah: a number is needed"),
        ({"limits": 5}, "limits: a table of entries is needed"),
        ({"limits": {"rest_voltage_v": 5}}, "rest_voltage_v: a list of values is needed"),
        ({"history": {"charge_time_h": 0.005}}, "charge_time_h: more than 0.005 h"),
        ({"history": {"charge_time_h": 1.0, "fast_share": 0.9}}, "fast_share: less than 0.9"),
        ({"last_known": {"on": "soon", "state_of_charge": 1.0}}, "on: a day like 2024-05-31"),
        ({"installed_on": date(1949, 12, 31)}, "(given: 1949-12-31)"),
    ],
)
def test_what_would_be_right_is_said_in_plain_words(told, words):
    said = str(refused({**PLATE, **told}))
    assert words in said
    assert not VALIDATOR.search(said)


ANYTHING = st.recursive(
    st.none() | st.booleans() | st.integers() | st.floats() | st.text(max_size=5) | st.dates(),
    lambda inner: st.lists(inner, max_size=2) | st.dictionaries(st.text(max_size=3), inner),
    max_leaves=4,
)


@pytest.mark.parametrize("kind", [Battery, Supply, BenchCheck, LoadConfiguration])
@given(data=st.data())
def test_no_word_of_the_checking_library_is_ever_said(kind, data):
    told = {name: data.draw(ANYTHING) for name in kind.model_fields}
    try:
        record_from(told, kind, "form")
    except InputError as error:
        first = re.sub(r"\(given: .*", "", str(error), flags=re.S)
        assert first.startswith("form: ")
        assert not VALIDATOR.search(first), first


@given(st.floats(-1e6, 1e6), st.floats(-1e3, 1e3), st.floats(0.0, 1e3))
def test_a_range_is_said_in_the_scale_of_the_page(value, least, span):
    said = outside(value, least, least + span)(Shown("Charge", "%", 100.0))
    low, high, told = re.findall(r"-?\d[\d.e+-]*", said)
    assert float(low) == pytest.approx(100.0 * least, rel=1e-9, abs=1e-200)
    assert float(high) == pytest.approx(100.0 * (least + span), rel=1e-9, abs=1e-200)
    assert float(told) == pytest.approx(100.0 * value, rel=1e-9, abs=1e-200)


def test_names_state_their_unit():
    units = {"end_voltage_v": "V", "rated_capacity_ah": "Ah", "charge_time_h": "h", "load_a": "A"}
    units |= {"ambient_c": "°C", "elapsed_s": "s", "cells": "", "min_top_off_soc": "", "limits": ""}
    assert {name: unit_of(name) for name in units} == units


def test_a_name_of_its_own_stands_where_no_page_does():
    error = EntryError("", "load_a", outside(-3.0, 0.0, 1000.0), name="bus load")
    assert str(error) == "bus load: 0 to 1000 A would be right (given: -3 A)"
    assert error.said({"load_a": Shown("Load", "A")}).startswith("Load: 0 to 1000 A")
