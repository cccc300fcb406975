"""Records: what is accepted, what is refused in one sentence, and the TOML round trip."""

import tomllib
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from pydantic import ValidationError

from batterymodel import (
    Battery,
    CapacityCheck,
    History,
    InputError,
    LastKnown,
    Limits,
    Readings,
    Supply,
    read_battery,
    read_supply,
)
from batterymodel.inputs.records import record_from, record_toml

BATTERY = """\
tail = "DEMO-1"
chemistry = "vrla"
cells = 12
rated_capacity_ah = 40.0
[limits]
document = "manual, revision B"
min_top_off_soc = 0.75
[history]
charge_time_h = 0.31
charge_time_rel_sd = 0.12
"""


def write(tmp_path, text):
    path = tmp_path / "b.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_contracts_battery_is_read(tmp_path):
    battery = read_battery(write(tmp_path, BATTERY))
    assert battery.limits.min_top_off_soc == 0.75
    assert battery.history == History(charge_time_h=0.31, charge_time_rel_sd=0.12)


def test_byte_order_mark_is_harmless(tmp_path):
    path = tmp_path / "b.toml"
    path.write_bytes(b"\xef\xbb\xbf" + BATTERY.encode())
    assert read_battery(path).tail == "DEMO-1"


BAD = {
    "unknown key": (BATTERY + "\n[extra]\na = 1\n", "unknown key 'extra'"),
    "unknown key in a table": (
        BATTERY.replace("min_top_off_soc", "min_topoff_soc"),
        "unknown key 'limits.min_topoff_soc'; known keys are document",
    ),
    "missing key": (BATTERY.replace("cells = 12\n", ""), "key 'cells' is missing"),
    "wrong chemistry": (BATTERY.replace("vrla", "agm"), "chemistry"),
    "not a number": (BATTERY.replace("40.0", '"forty"'), "rated_capacity_ah"),
    "milliampere-hours": (
        BATTERY.replace("40.0", "40000.0"),
        "rated_capacity_ah: at most 500 Ah (given: 40000 Ah)",
    ),
    "negative": (BATTERY.replace("40.0", "-40.0"), "rated_capacity_ah"),
    "infinite": (BATTERY.replace("40.0", "inf"), "rated_capacity_ah"),
    "not a number at all": (BATTERY.replace("40.0", "nan"), "rated_capacity_ah"),
    "fraction in percent": (BATTERY.replace("0.75", "75"), "limits.min_top_off_soc"),
    "window upside down": (
        BATTERY.replace(
            "min_top_off", "charge_temp_min_c = 50\ncharge_temp_max_c = 40\nmin_top_off"
        ),
        "must be below",
    ),
    "half a table": (
        BATTERY.replace("min_top_off", "rest_voltage_soc = [0.0, 1.0]\nmin_top_off"),
        "rest_voltage_v 0: give the same number",
    ),
    "table not rising": (
        BATTERY.replace(
            "min_top_off",
            "rest_voltage_soc = [0.0, 1.0]\nrest_voltage_v = [26.0, 24.0]\nmin_top_off",
        ),
        "must both rise",
    ),
    "broken TOML": (BATTERY.replace('"vrla"', '"vrla'), "not valid TOML"),
    "empty": ("", "is missing"),
    "true for a number": (BATTERY.replace("40.0", "true"), "true and false are no numbers"),
    "true for a count": (BATTERY.replace("cells = 12", "cells = true"), "are no numbers"),
    "false in a table": (
        BATTERY.replace(
            "min_top_off", "rest_voltage_soc = [false, 1]\nrest_voltage_v = [24, 26]\nmin_top_off"
        ),
        "limits.rest_voltage_soc: true and false are no numbers",
    ),
    "true for a check": (
        BATTERY + "[capacity_check]\non = 2026-01-02\ncapacity_ah = true\n",
        "capacity_check.capacity_ah: true and false are no numbers",
    ),
    "capacity of a check near nothing": (
        BATTERY + "[capacity_check]\non = 2026-01-02\ncapacity_ah = 1e-9\n",
        "capacity_check.capacity_ah: at least 0.01 Ah (given: 1e-09 Ah)",
    ),
    "nested too deep": ("a = " + "[" * 100_000 + "]" * 100_000, "nested too deep"),
    "nested a little": (BATTERY.replace("40.0", "[" * 90 + "]" * 90), "rated_capacity_ah"),
    "too many digits": (BATTERY.replace("40.0", "9" * 5000), "too many digits"),
    "too many digits in hexadecimal": (BATTERY.replace("40.0", "0x" + "f" * 5000), "very many"),
    "many digits": (BATTERY.replace("40.0", "9" * 400), "rated_capacity_ah"),
}


@pytest.mark.parametrize("name", BAD)
def test_bad_battery_is_one_sentence(tmp_path, name):
    text, says = BAD[name]
    path = write(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_battery(path)
    message = str(caught.value)
    assert "\n" not in message
    assert len(message) < len(str(path)) + 700
    assert message.startswith(str(path))
    assert says in message


def test_missing_folder_and_binary_files_are_one_sentence(tmp_path):
    binary = tmp_path / "x.toml"
    binary.write_bytes(bytes(range(256)))
    for path in (tmp_path / "none.toml", tmp_path, binary):
        with pytest.raises(InputError, match=str(path)):
            read_supply(path)


names = st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), min_size=1, max_size=30)


@given(names, st.floats(0.5, 500.0), st.floats(0.0, 1.0), st.dates(date(2000, 1, 1)))
def test_toml_round_trip_is_exact(label, capacity, soc, day):
    battery = Battery(
        tail=label,
        chemistry="nicd",
        cells=20,
        rated_capacity_ah=capacity,
        limits=Limits(
            document=label,
            min_top_off_soc=soc,
            rest_voltage_soc=(0.0, 1.0),
            rest_voltage_v=(24.0, 26.0),
        ),
        capacity_check=CapacityCheck(on=day, capacity_ah=capacity),
        last_known=LastKnown(on=day, state_of_charge=soc),
    )
    again = record_from(tomllib.loads(record_toml(battery)), Battery, "text")
    assert again == battery


def test_toml_leaves_out_what_is_not_there():
    """No value and an empty limits card leave no trace; a table stays one, in its order."""
    plain = Battery(tail='D \u00e9\u00fc "q"', chemistry="vrla", cells=12, rated_capacity_ah=40)
    assert tomllib.loads(record_toml(plain)) == {
        "tail": 'D \u00e9\u00fc "q"',
        "chemistry": "vrla",
        "cells": 12,
        "rated_capacity_ah": 40.0,
    }
    limits = Limits(capacity_temp_c=(0.0, 25.0), capacity_temp_factor=(0.8, 1.0))
    assert tomllib.loads(record_toml(limits)) == {
        "capacity_temp_c": [0.0, 25.0],
        "capacity_temp_factor": [0.8, 1.0],
    }


def test_supply_defaults_are_a_28_v_supply():
    assert Supply(rated_current_a=60.0).set_voltage_v == 28.0


@pytest.mark.parametrize(
    ("values", "says"),
    [
        ({"elapsed_s": [0.0, 1.0], "supply_current_a": [1.0]}, "1 values for 2 times"),
        ({"elapsed_s": [0.0, 0.0], "supply_current_a": [1.0, 2.0]}, "must rise"),
        ({"elapsed_s": [0.0, 1.0], "supply_current_a": [1.0, np.nan]}, "finite"),
        ({"elapsed_s": [[0.0], [1.0]], "supply_current_a": [1.0, 2.0]}, "one value per reading"),
    ],
)
def test_readings_that_are_no_series_are_refused(values, says):
    with pytest.raises(ValidationError, match=says):
        Readings(**values)


def test_readings_do_not_change_behind_ones_back():
    source = np.array([5.0, 4.0, 3.0])
    readings = Readings(elapsed_s=[0.0, 1.0, 2.0], supply_current_a=source)
    source[0] = 99.0
    assert readings.supply_current_a[0] == 5.0
    with pytest.raises(ValueError, match="read-only"):
        readings.supply_current_a[0] = 1.0
    assert readings == readings.model_copy()
    assert readings != "readings"


@pytest.mark.parametrize(
    ("limits", "part"),
    [
        ({"capacity_temp_c": [0.0, 25.0]}, "give the same number"),
        ({"capacity_temp_c": [25.0, 0.0], "capacity_temp_factor": [1.0, 0.9]}, "must rise"),
        ({"discharge_minutes": [30, 60], "discharge_current_a": [40, 68]}, "must rise and fall"),
    ],
)
def test_tables_of_the_limits_card_are_tables(limits, part):
    data = {
        "tail": "D",
        "chemistry": "vrla",
        "cells": 12,
        "rated_capacity_ah": 40,
        "limits": limits,
    }
    with pytest.raises(InputError, match=part):
        record_from(data, Battery, "b.toml")
