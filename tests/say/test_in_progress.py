"""The answer of a connection in progress, and what is asked for next."""

from __future__ import annotations

from datetime import timedelta

import pytest

from batterymodel import InputError, Outcome
from batterymodel.say.in_progress import (
    ALL_ZERO,
    NO_BATTERY,
    answer_remark,
    begun_words,
    ended_words,
    is_battery_told,
    live_view,
    recently_left,
    too_late_words,
)
from batterymodel.store import open_store
from batterymodel.store.acts import Quantity
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, leave, load, mark, note, tell
from tests.store.test_in_progress import NOW, START, C, at, taper, with_battery

PLATE = {"tail": "DEMO-2", "cells": 12, "rated_capacity_ah": 24.0}


@pytest.fixture
def fleet(tmp_path):
    return with_battery(open_store(tmp_path / "record.sqlite"))


def begun(store, **told):
    begin(store, C, START, **told)
    return store


def question(store):
    found = live_view(store, load(store, C)).question
    return None if found is None else found.name


def test_three_readings_make_an_answer(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=2)
    view = live_view(fleet, load(fleet, C))
    assert (view.assessment, view.readings_left, view.problem) == (None, 1, None)
    taper(fleet, count=12)
    view = live_view(fleet, load(fleet, C))
    assert view.readings_left == 0
    assert view.assessment is not None
    assert view.due_s == pytest.approx(330.0 + 60.0 * view.assessment.next_reading_minutes)


@pytest.mark.parametrize(
    ("chemistry", "asked"),
    [
        ("vrla", ["rest_voltage_v", "load_a", "battery_temp_c", None]),
        ("nicd", ["battery_temp_c", "load_a", None, None]),
        ("lfp", ["battery_temp_c", "load_a", None, None]),
    ],
)
def test_each_kind_is_asked_what_tells_most_of_it(fleet, chemistry, asked):
    begun(fleet, chemistry=chemistry, **PLATE)
    found = []
    for k in range(4):
        name = question(fleet)
        found.append(name)
        if name is not None:
            tell(fleet, C, f"told-{k:04}", **{name: {"rest_voltage_v": 25.6}.get(name, 8.0)})
    assert found == asked


def test_what_was_read_or_skipped_is_not_asked_for(fleet):
    begun(fleet, serial="B-1", skipped=("rest_voltage_v",))
    note(fleet, C, "clamp-001", Quantity.BATTERY_CURRENT, 4.0, at(10.0))
    assert question(fleet) == "battery_temp_c"
    note(fleet, C, "temp-0001", Quantity.BATTERY_TEMP, 20.0, at(20.0))
    assert question(fleet) is None


def test_the_observation_that_gains_most_is_asked_for_first(fleet):
    begun(fleet, serial="B-1", skipped=("rest_voltage_v",))
    taper(fleet, count=12)
    view = live_view(fleet, load(fleet, C))
    named = view.assessment.next_observation.name
    wanted = {"temperature": "battery_temp_c", "bus_load": "load_a"}.get(named, "load_a")
    assert view.question.name == wanted


def test_nothing_is_asked_where_power_comes_off(fleet):
    begun(fleet, serial="B-1", rest_voltage_v=22.0, load_a=0.5, battery_temp_c=20.0)
    taper(fleet, count=12)
    told = live_view(fleet, load(fleet, C))
    assert told.assessment.outcome is Outcome.SERVICE
    assert told.question is None


def test_a_battery_half_told_is_said_to_be(fleet):
    begun(fleet, tail="DEMO-2", chemistry="vrla")
    view = live_view(fleet, load(fleet, C))
    assert view.battery is None
    assert "rated_capacity_ah" in view.problem


def test_a_connection_is_offered_in_one_line(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=3)
    connection = load(fleet, C)
    assert begun_words(connection, NOW) == "B-1, begun 60 min ago, 3 readings"
    later = NOW + timedelta(hours=4)
    assert begun_words(connection, later) == "B-1, begun 5 h ago, 3 readings"
    days_later = NOW + timedelta(days=3)
    assert begun_words(connection, days_later) == "B-1, begun 3 days ago, 3 readings"


def test_what_became_of_a_connection_is_said_with_what_came_late(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=12)
    finish(fleet, C, "finish-01")
    assert ended_words(load(fleet, C)) == ("This connection is in the record of B-1.",)
    note(fleet, C, "late-0001", Quantity.SUPPLY_CURRENT, 9.0, at(400.0))
    mark(fleet, C, "late-0002", "Switched off", at(410.0))
    late = "After it was kept came: 9 A at 6:40, 'Switched off' at 6:50."
    assert ended_words(load(fleet, C))[1].startswith(late)


def test_a_press_that_came_late_is_said_and_one_in_time_is_not(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=12)
    assert too_late_words(load(fleet, C), "press-0001") is None
    finish(fleet, C, "finish-01")
    note(fleet, C, "late-0001", Quantity.BATTERY_TEMP, 70.0, at(400.0))
    assert too_late_words(load(fleet, C), "press-0001") is None
    assert too_late_words(load(fleet, C), "late-0001").startswith("70 °C at 6:40 came too late")


def test_a_press_into_a_connection_that_was_left_is_said(fleet):
    begun(fleet, serial="B-1")
    leave(fleet, C, "leave-01", "wrong aircraft")
    note(fleet, C, "press-001", Quantity.SUPPLY_CURRENT, 9.0, at(40.0))
    assert "had been left unfinished" in too_late_words(load(fleet, C), "press-001")


def test_a_battery_not_told_yet_is_asked_for_and_readings_are_kept(fleet):
    begun(fleet)
    taper(fleet, count=3)
    view = live_view(fleet, load(fleet, C))
    assert (view.battery, view.assessment, view.problem) == (None, None, NO_BATTERY)
    assert not is_battery_told(load(fleet, C))
    tell(fleet, C, "told-0001", serial="B-1")
    assert is_battery_told(load(fleet, C))
    assert live_view(fleet, load(fleet, C)).assessment is not None


def test_readings_of_nothing_are_told_apart_from_a_file(fleet):
    begun(fleet, serial="B-1")
    for k in range(3):
        note(fleet, C, f"zero-{k:04}", Quantity.SUPPLY_CURRENT, 0.0, at(10.0 * k))
    view = live_view(fleet, load(fleet, C))
    assert view.problem == ALL_ZERO
    assert answer_remark(view).more == ALL_ZERO


def test_where_power_comes_off_no_reading_is_due_and_the_cause_is_told(fleet):
    begun(fleet, serial="B-1", battery_temp_c=70.0)
    assert answer_remark(live_view(fleet, load(fleet, C))).more == "3 more readings of the meter"
    taper(fleet, count=12)
    view = live_view(fleet, load(fleet, C))
    assert view.assessment.outcome is Outcome.DISCONNECT
    assert view.due_s is None
    remark = answer_remark(view)
    assert (remark.severity, remark.word) == ("disconnect", "Disconnect now")
    assert "70" in remark.more


@pytest.mark.parametrize(("days", "is_listed"), [(6.9, True), (7.1, False)])
def test_what_was_left_is_listed_for_a_week(fleet, days, is_listed):
    begun(fleet, serial="B-1")
    leave(fleet, C, "leave-01", "wrong aircraft")
    found = recently_left(fleet, START + timedelta(days=days))
    assert [connection.id for connection in found] == [C] * is_listed


def test_a_connection_that_was_left_says_why(fleet):
    begun(fleet, serial="B-1")
    leave(fleet, C, "leave-01", "wrong aircraft")
    assert "(wrong aircraft)" in ended_words(load(fleet, C))[0]


def test_a_mark_for_no_value_is_no_reading_of_those_that_an_answer_takes(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=2)
    for k in (2, 3):
        note(fleet, C, f"nines-00{k}", Quantity.SUPPLY_CURRENT, 999.0, at(30.0 * k))
    view = live_view(fleet, load(fleet, C))
    assert (view.assessment, view.readings_left, view.problem) == (None, 1, None)


def test_marks_that_are_most_of_the_readings_are_asked_about_and_not_kept(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=3)
    for k in range(4):
        note(fleet, C, f"nines-00{k}", Quantity.SUPPLY_CURRENT, 999.0, at(100.0 + 10.0 * k))
    view = live_view(fleet, load(fleet, C))
    assert "999 at 1:40 and 3 times more looks like a meter's mark" in str(view.problem)
    with pytest.raises(InputError, match="and 3 times more looks like a meter's mark"):
        finish(fleet, C, "finish-001")
