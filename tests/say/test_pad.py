"""What the meter pad is told: last readings, what needs no question, and words for the rest."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from batterymodel.inputs.records import Supply
from batterymodel.say.in_progress import live_view
from batterymodel.say.pad import COUNTS_LATER, COUNTS_NOT, LEFT_OUT, closed_pad, pad_of
from batterymodel.store import open_store
from batterymodel.store.acts import Quantity
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import answer, begin, load, mark, note, strike
from batterymodel.store.pressed import take_entry
from tests.store.test_in_progress import NOW, START, C, at, taper, with_battery

SIXTY = Supply(rated_current_a=60.0)


@pytest.fixture
def fleet(tmp_path):
    return with_battery(open_store(tmp_path / "record.sqlite"))


def pad(store, **told):
    begin(store, C, START, **told)
    return pad_now(store)


def pad_now(store):
    return pad_of(live_view(store, load(store, C)), NOW)


def test_a_pad_is_json_with_moments_in_milliseconds(fleet):
    shown = pad(fleet, serial="B-1", supply=SIXTY)
    assert json.loads(json.dumps(shown, allow_nan=False)) == shown
    assert shown["started_ms"] == 1000.0 * START.timestamp()
    assert shown["now_ms"] - shown["started_ms"] == 3_600_000.0
    assert shown["due_ms"] - shown["started_ms"] == 15_000.0
    assert shown["question"]["name"] == "rest_voltage_v"
    assert not shown["closed"]


def test_what_is_expected_has_bounds_and_words(fleet):
    expected = pad(fleet, serial="B-1", supply=SIXTY)["expected"]
    assert expected["supply_current_a"]["most"] == pytest.approx(66.0)
    assert expected["supply_current_a"]["words"][1] == "The supply gives up to 60 A."
    assert expected["load_a"]["words"][1] == "The supply gives up to 60 A."
    assert expected["rest_voltage_v"]["words"] == [
        "This battery rests at 21 to 27 V. Under 24.5 V it is sent for servicing.",
        "This battery rests at 21 to 27 V.",
    ]
    assert expected["rest_voltage_v"]["beside"] is None
    note(fleet, C, "press-001", Quantity.SUPPLY_CURRENT, 12.0, at(10.0))
    words = pad_now(fleet)["expected"]["load_a"]["words"][1]
    assert words == "The supply with its battery gives less."


def test_what_has_no_bound_is_not_bounded(fleet):
    expected = pad(fleet)["expected"]
    assert expected["supply_current_a"]["most"] is None
    assert expected["rest_voltage_v"]["most"] is None
    assert expected["battery_temp_c"]["most"] == 60.0


def test_the_last_of_each_kind_are_there_to_compare_with(fleet):
    begin(fleet, C, START, serial="B-1")
    for k, (quantity, value) in enumerate(
        [("battery_temp_c", 20.0), *(("supply_current_a", 20.0 - k) for k in range(5))]
    ):
        note(fleet, C, f"press-{k:04}", quantity, value, at(10.0 * k))
    mark(fleet, C, "mark-0001", "Switched on", at(25.0))
    shown = pad_now(fleet)
    assert [line["value"] for line in shown["last"]] == [16.0, 17.0, 18.0, 20.0]
    assert shown["switched_s"] == [25.0]
    assert len(shown["stored"]) == 7


def test_where_power_comes_off_the_pad_says_so_instead_of_the_next_reading(fleet):
    begin(fleet, C, START, serial="B-1", battery_temp_c=70.0)
    taper(fleet, count=12)
    shown = pad_now(fleet)
    assert (shown["due_ms"], shown["next_words"]) == (None, "Take ground power off")
    assert not shown["closed"]


def test_the_pad_of_what_ended_takes_nothing_and_knows_what_is_stored(fleet):
    begin(fleet, C, START, serial="B-1")
    taper(fleet, count=4)
    finish(fleet, C, "finish-01")
    note(fleet, C, "late-0001", Quantity.SUPPLY_CURRENT, 9.0, at(400.0))
    shown = closed_pad(load(fleet, C), NOW)
    assert shown["closed"]
    assert "late-0001" in shown["stored"]
    assert shown["expected"] == {}


def test_the_pad_of_no_connection_only_sends(fleet):
    shown = closed_pad(None, NOW + timedelta(days=1))
    assert (shown["connection"], shown["closed"], shown["stored"]) == (None, True, [])


def test_a_rest_voltage_that_sends_a_battery_away_is_asked_about_first(fleet):
    expected = pad(fleet, serial="B-1", supply=SIXTY)["expected"]["rest_voltage_v"]
    assert expected["least"] == pytest.approx(12 * 2.04)
    taper(fleet, count=3)
    expected = pad_now(fleet)["expected"]["rest_voltage_v"]
    assert 12 * 2.04 <= expected["least"] < 25.5 < expected["most"] < 27.0
    assert "The readings so far suggest" in expected["words"][0]


@pytest.mark.long
def test_an_answer_stands_in_the_list_and_its_undo_brings_the_question_back(fleet):
    begin(fleet, C, START, serial="B-1", supply=SIXTY)
    taper(fleet, count=3)
    before = pad_now(fleet)
    answer(fleet, C, "answer-001", "rest_voltage_v", 24.1, at(61.0))
    for k in range(3):
        note(fleet, C, f"later-{k:04}", Quantity.SUPPLY_CURRENT, 12.0, at(70.0 + k))
    assert live_view(fleet, load(fleet, C)).assessment.outcome == "service"
    [line] = [line for line in pad_now(fleet)["last"] if line["quantity"] == "rest_voltage_v"]
    assert (line["value"], line["stays"], line["id"]) == (24.1, True, "answer-001")
    strike(fleet, C, "undo-0001", "answer-001")
    shown = pad_now(fleet)
    assert shown["question"] == before["question"]
    assert not [line for line in shown["last"] if line["quantity"] == "rest_voltage_v"]


def test_a_mark_stands_in_the_list_until_it_is_undone(fleet):
    begin(fleet, C, START, serial="B-1")
    mark(fleet, C, "mark-0001", "Switched on", at(25.0))
    assert [line["text"] for line in pad_now(fleet)["last"]] == ["Switched on"]
    strike(fleet, C, "undo-0001", "mark-0001")
    assert pad_now(fleet)["last"] == []


def test_a_voltage_without_the_meter_beside_it_says_so_and_asks_for_the_meter(fleet):
    begin(fleet, C, START, serial="B-1")
    taper(fleet, count=4)
    note(fleet, C, "volts-001", Quantity.SUPPLY_VOLTAGE, 28.0, at(400.0))
    shown = pad_now(fleet)
    assert shown["last"][0]["remark"] == COUNTS_LATER
    assert shown["due_ms"] - shown["started_ms"] == 400_000.0
    note(fleet, C, "meter-001", Quantity.SUPPLY_CURRENT, 14.0, at(405.0))
    shown = pad_now(fleet)
    assert not any(line["remark"] for line in shown["last"])
    assert shown["due_ms"] - shown["started_ms"] > 405_000.0


def test_a_voltage_that_the_meter_came_too_late_for_is_said_not_to_count(fleet):
    begin(fleet, C, START, serial="B-1")
    note(fleet, C, "clamp-001", Quantity.BATTERY_CURRENT, 5.0, at(100.0))
    note(fleet, C, "meter-001", Quantity.SUPPLY_CURRENT, 14.0, at(1500.0))
    assert [line["remark"] for line in pad_now(fleet)["last"]] == ["", COUNTS_NOT]


@pytest.mark.long
@pytest.mark.parametrize("at_s", [155.0, 2000.0])
def test_the_answer_of_a_battery_temperature_counts_at_the_battery(fleet, at_s):
    begin(fleet, C, START, chemistry="nicd", cells=20, rated_capacity_ah=23.0, supply=SIXTY)
    taper(fleet, count=6)
    entry = {"id": "answer-001", "kind": "tell", "quantity": "battery_temp_c", "value": 71.0}
    take_entry(fleet, C, {**entry, "at_ms": 1000.0 * at(at_s).timestamp()})
    view = live_view(fleet, load(fleet, C))
    assert view.assessment.outcome == "disconnect"
    [line] = [line for line in pad_now(fleet)["last"] if line["stays"]]
    assert (line["quantity"], line["value"]) == ("battery_temp_c", 71.0)
    strike(fleet, C, "undo-0001", "answer-001")
    assert pad_now(fleet)["question"]["name"] == "battery_temp_c"


def test_marks_for_no_value_are_asked_about_and_those_left_out_are_said(fleet):
    assert {999.0, 9999.0, 32768.0} < set(
        pad(fleet, serial="B-1")["expected"]["supply_current_a"]["marks"]
    )
    taper(fleet, count=4)
    for k in (0, 1):
        note(fleet, C, f"nines-00{k}", Quantity.SUPPLY_CURRENT, 999.0, at(200.0 + k))
    shown = pad_now(fleet)["last"]
    assert [line["remark"] for line in shown if line["value"] == 999.0] == [LEFT_OUT, LEFT_OUT]
