"""The answer of a connection in progress, and what is asked for next."""

from __future__ import annotations

from datetime import timedelta

import pytest

from batterymodel import Outcome
from batterymodel.say.in_progress import begun_words, ended_words, live_view
from batterymodel.store import open_store
from batterymodel.store.acts import Quantity
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, leave, load, note, tell
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


def test_what_became_of_a_connection_is_said_with_what_came_late(fleet):
    begun(fleet, serial="B-1")
    taper(fleet, count=12)
    finish(fleet, C, "finish-01")
    assert ended_words(load(fleet, C)) == ("This connection is in the record of B-1.",)
    note(fleet, C, "late-0001", Quantity.SUPPLY_CURRENT, 9.0, at(400.0))
    assert "1 reading or marks came after it was kept" in ended_words(load(fleet, C))[1]


def test_a_connection_that_was_left_says_why(fleet):
    begun(fleet, serial="B-1")
    leave(fleet, C, "leave-01", "wrong aircraft")
    assert "(wrong aircraft)" in ended_words(load(fleet, C))[0]
