"""Connections in progress: every press kept once, offered again, and finished like a file."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest

from batterymodel import InputError, assess
from batterymodel.samples.connections import load_scenario
from batterymodel.store.acts import Quantity, State
from batterymodel.store.finishing import battery_so_far, finish, keep_with_battery, told_so_far
from batterymodel.store.in_progress import (
    answer,
    begin,
    connections_in_progress,
    is_begun,
    leave,
    load,
    mark,
    note,
    strike,
    take_up,
    tell,
)
from batterymodel.store.intake import add_battery, add_connection
from batterymodel.store.noted_readings import readings_bytes, readings_of
from batterymodel.store.records import Aircraft, Connection, Move
from tests.store.cases import BARE

START = datetime(2026, 3, 2, 7, 43, tzinfo=UTC)
NOW = START + timedelta(hours=1)
C = "connection-1"


def at(elapsed_s: float) -> datetime:
    return START + timedelta(seconds=elapsed_s)


def with_battery(store):
    """The store at a fixed hour, with one aircraft and its battery."""
    store = store.with_clock(lambda: NOW, store.new_id)
    aircraft = store.add(Aircraft(tail="DEMO-1")).id
    samples, _ = load_scenario()
    battery = add_battery(store, "B-1", samples[0].battery, date(2024, 1, 1)).id
    store.add(Move(battery_id=battery, aircraft_id=aircraft, on=date(2024, 1, 1), reason="new"))
    return store


@pytest.fixture
def fleet(store):
    return with_battery(store)


@pytest.fixture
def begun(fleet):
    begin(fleet, C, START, serial="B-1")
    return fleet


def press(store, k, amperes, elapsed_s, quantity=Quantity.SUPPLY_CURRENT, connection=C):
    return note(store, connection, f"press-{k:04}", quantity, amperes, at(elapsed_s))


def taper(store, connection=C, count=12):
    for k in range(count):
        press(store, k, round(22.0 * 0.93**k + 8.0, 1), 30.0 * k, connection=connection)


def test_a_press_is_there_from_the_first_on(begun):
    press(begun, 1, 22.4, 0.0)
    connection = load(begun, C)
    [(key, reading)] = connection.readings
    assert (key, reading.value, reading.elapsed_s) == ("press-0001", 22.4, 0.0)
    assert reading.noted_at == START
    assert connection.last_reading == reading
    assert [c.id for c in connections_in_progress(begun)] == [C]


def test_a_repeat_adds_nothing_and_another_value_is_refused(begun):
    first = press(begun, 1, 22.4, 30.0)
    assert press(begun, 1, 22.4, 30.0) == first
    with pytest.raises(InputError, match=r"key 'press-0001' belongs to another press \(reading\)"):
        press(begun, 1, 22.5, 30.0)
    with pytest.raises(InputError, match="belongs to another press"):
        mark(begun, C, "press-0001", "avionics on", at(30.0))
    begin(begun, "connection-2", START)
    with pytest.raises(InputError, match="belongs to another press"):
        press(begun, 1, 22.4, 30.0, connection="connection-2")
    assert load(begun, C) == first
    assert load(begun, "connection-2").noted == ()


def test_a_connection_is_begun_once(fleet):
    first = begin(fleet, C, START, serial="B-1", load_a=8.0)
    assert begin(fleet, C, "2026-03-02T08:43:00+01:00", serial="B-1", load_a=8.0) == first
    for started_at, told in ((at(1.0), {}), (START, {"serial": "B-1", "load_a": 7.0})):
        with pytest.raises(InputError, match="key 'connection-1' is that of another connection"):
            begin(fleet, C, started_at, **told)
    assert len(connections_in_progress(fleet)) == 1


def test_the_day_is_that_of_the_place(fleet):
    early = begin(fleet, C, "2026-03-02T08:30:00+13:00")
    assert (early.started_at.isoformat(), early.day) == (
        "2026-03-01T19:30:00+00:00", date(2026, 3, 2),
    )  # fmt: skip
    assert begin(fleet, "connection-2", START, date(2026, 3, 1)).day == date(2026, 3, 1)


def test_an_undo_can_be_undone_and_a_late_repeat_of_it_does_nothing(begun):
    press(begun, 1, 22.4, 30.0)
    assert strike(begun, C, "undo-0001", "press-0001").readings == ()
    assert len(strike(begun, C, "undo-0002", "press-0001", struck=False).readings) == 1
    after_repeat = strike(begun, C, "undo-0001", "press-0001")
    assert len(after_repeat.readings) == 1
    assert [n.struck for n in after_repeat.noted] == [False]
    with pytest.raises(InputError, match="or answer has the key 'press-0009'; note it"):
        strike(begun, C, "undo-0003", "press-0009")
    mark(begun, C, "mark-0001", "avionics on", at(40.0))
    assert strike(begun, C, "undo-0004", "mark-0001").marks == ()


def test_what_is_told_is_told_field_by_field(begun):
    tell(begun, C, "tell-0001", load_a=8.0, load_sd_a=0.4, skipped=("rest_voltage_v",))
    tell(begun, C, "tell-0002", ambient_c=21.0, load_a=9.0)
    told = tell(begun, C, "tell-0003", load_sd_a=None).told
    assert told.given() == {
        "serial": "B-1", "load_a": 9.0, "ambient_c": 21.0, "skipped": ("rest_voltage_v",)
    }  # fmt: skip
    assert tell(begun, C, "tell-0001", load_a=8.0, load_sd_a=0.4, skipped=["rest_voltage_v"]) == (
        load(begun, C)
    )
    assert told_so_far(load(begun, C)) == {
        "rest_voltage_v": None, "load_a": 9.0, "load_sd_a": 0.5, "ambient_c": 21.0,
        "on": date(2026, 3, 2),
    }  # fmt: skip
    told = tell(begun, C, "tell-0004", battery_temp_c=30.0, skipped=())
    assert told_so_far(told)["ambient_c"] == 30.0
    assert told.told.skipped == ()


def test_the_last_answer_that_stands_counts_and_an_undo_brings_the_one_before_back(begun):
    tell(begun, C, "tell-0001", load_a=7.0)
    answer(begun, C, "answer-001", "load_a", 8.0, at(10.0))
    answer(begun, C, "answer-002", "load_a", 80.0, at(20.0))
    assert load(begun, C).told.load_a == 80.0
    assert answer(begun, C, "answer-002", "load_a", 80.0, at(20.0)) == load(begun, C)
    assert strike(begun, C, "undo-0001", "answer-002").told.load_a == 8.0
    assert strike(begun, C, "undo-0002", "answer-001").told.load_a == 7.0
    assert strike(begun, C, "undo-0003", "answer-001", struck=False).told.load_a == 8.0
    assert tell(begun, C, "tell-0002", load_a=None).told.load_a is None
    assert answer(begun, C, "answer-003", "battery_temp_c", 21.0, at(30.0)).readings
    with pytest.raises(InputError, match="colour"):
        answer(begun, C, "answer-004", "colour", 1.0, at(30.0))


def test_the_newest_is_offered_first_with_its_last_reading(begun):
    begin(begun, "connection-2", at(600.0))
    press(begun, 2, 20.0, 60.0)
    press(begun, 1, 22.4, 30.0)
    listed = connections_in_progress(begun)
    assert [c.id for c in listed] == ["connection-2", C]
    assert [c.last_reading and c.last_reading.value for c in listed] == [None, 20.0]


def test_one_that_was_left_is_offered_no_more_and_comes_back_whole(begun):
    press(begun, 1, 22.4, 30.0)
    left = leave(begun, C, "leave-0001", "wrong aircraft")
    assert (left.state, left.left_because) == (State.LEFT, "wrong aircraft")
    assert connections_in_progress(begun) == []
    assert connections_in_progress(begun, State.LEFT) == [left]
    with pytest.raises(InputError, match=r"was left \(wrong aircraft\); take it up again"):
        finish(begun, C, "finish-0001")
    press(begun, 2, 20.0, 60.0)
    back = take_up(begun, C, "take-0001")
    assert [r.value for _, r in back.readings] == [22.4, 20.0]
    assert leave(begun, C, "leave-0001", "wrong aircraft") == back
    with pytest.raises(InputError, match="reason: has 0 characters; 1 to 300 would be right"):
        leave(begun, C, "leave-0002", " ")


def test_finished_it_is_kept_as_its_file_would_be(begun, new_url):
    taper(begun)
    press(begun, 90, 14.0, 62.0, Quantity.BATTERY_CURRENT)
    mark(begun, C, "mark-0001", 'avionics on, "left"', at(200.0))
    _, supply = load_scenario()
    tell(begun, C, "tell-0001", supply=supply, rest_voltage_v=25.6, load_a=8.0)
    connection = load(begun, C)
    data = readings_bytes(connection)
    taken = finish(begun, C, "finish-0001")
    assert not taken.was_there
    assert begun.file(taken.entry.record.readings_sha256) == data
    told = told_so_far(connection)
    live = assess(readings_of(connection), battery_so_far(begun, connection), supply, **told)
    uploaded = taken.entry.record
    assert uploaded.result["outcome"] == live.outcome
    assert uploaded.result["state_of_charge"] == live.model_dump()["state_of_charge"]
    assert (uploaded.day, uploaded.started_at) == (date(2026, 3, 2), START)
    assert (uploaded.load_a, uploaded.supply, uploaded.rest_voltage_v) == (8.0, supply, 25.6)
    assert uploaded.file_name == "connection-20260302T074300Z.csv"
    again = add_connection(begun, "B-1", data, "the same.csv")
    assert (again.was_there, again.entry) == (True, taken.entry)


def test_it_is_finished_once(begun):
    taper(begun)
    first = finish(begun, C, "finish-0001")
    for key in ("finish-0001", "finish-0002"):
        again = finish(begun, C, key)
        assert (again.entry, again.was_there) == (first.entry, True)
    assert len(begun.entries(Connection)) == 1
    connection = load(begun, C)
    assert (connection.state, connection.connection_id) == (State.FINISHED, first.entry.id)
    assert connections_in_progress(begun) == []
    assert connections_in_progress(begun, State.FINISHED) == [connection]


def test_a_reading_that_comes_late_is_kept_and_said_to_be_late(begun):
    taper(begun)
    first = finish(begun, C, "finish-0001")
    press(begun, 90, 9.0, 400.0)
    connection = press(begun, 90, 9.0, 400.0)
    assert [n.key for n in connection.late] == ["press-0090"]
    assert len(connection.readings) == 12
    assert begun.file(first.entry.record.readings_sha256) == readings_bytes(connection)
    assert press(begun, 3, round(22.0 * 0.93**3 + 8.0, 1), 90.0) == connection
    for refused in (
        lambda: strike(begun, C, "undo-0001", "press-0003"),
        lambda: tell(begun, C, "tell-0001", load_a=3.0),
        lambda: leave(begun, C, "leave-0001", "mistake"),
        lambda: take_up(begun, C, "take-0001"),
    ):
        with pytest.raises(InputError, match=f"is finished: .*; correct entry {first.entry.id}"):
            refused()


def test_with_few_readings_it_is_kept_with_the_sentence_why(begun):
    press(begun, 1, 22.4, 30.0)
    entry = finish(begun, C, "finish-0001").entry
    assert entry.record.assessment is None
    assert "usable readings: 1; at least 3" in entry.record.not_assessed


def test_a_finish_that_is_refused_leaves_it_in_progress(fleet):
    begin(fleet, C, START, tail="DEMO-9", cells=12)
    with pytest.raises(InputError, match="has no readings to keep; note one, or leave it"):
        finish(fleet, C, "finish-0001")
    taper(fleet)
    with pytest.raises(InputError, match="names no battery on record; add its battery"):
        finish(fleet, C, "finish-0001")
    tell(fleet, C, "tell-0001", serial="B-9")
    with pytest.raises(InputError, match="no battery 'B-9'"):
        finish(fleet, C, "finish-0001")
    tell(fleet, C, "tell-0002", serial="B-1", cells=20)
    with pytest.raises(InputError, match="cells was told as 20, but battery 'B-1' has 12"):
        finish(fleet, C, "finish-0001")
    tell(fleet, C, "tell-0003", cells=12)
    with pytest.raises(InputError, match="no aircraft 'DEMO-9'"):
        finish(fleet, C, "finish-0001")
    tell(fleet, C, "tell-0004", tail=None)
    with pytest.raises(InputError, match=r"belongs to another press \(tell\)"):
        finish(fleet, C, "tell-0004")
    assert fleet.entries(Connection) == ()
    assert load(fleet, C).state is State.IN_PROGRESS
    assert not finish(fleet, C, "finish-0001").was_there


def test_the_battery_is_known_by_serial_or_plate(fleet):
    begin(fleet, C, START, tail="DEMO-9", chemistry="vrla")
    with pytest.raises(InputError, match="still needed of the battery: cells, rated_capacity_ah"):
        battery_so_far(fleet, load(fleet, C))
    told = tell(fleet, C, "tell-0001", cells=12, rated_capacity_ah=40.0)
    assert battery_so_far(fleet, told) == BARE.model_copy(update={"tail": "DEMO-9"})
    told = tell(fleet, C, "tell-0002", serial="B-1", tail=None, rated_capacity_ah=None)
    assert battery_so_far(fleet, told) == fleet.battery("B-1", date(2026, 3, 2))


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"value": float("nan")}, "reading: value: a plain number is needed"),
        ({"value": float("inf")}, "reading: value: a plain number is needed"),
        ({"value": "22,4"}, "reading: value: a number is needed"),
        ({"value": True}, "true and false are no numbers"),
        ({"value": 22400.0}, "supply_current_a at 30 s: 22400 looks like milliamperes.* 22.4"),
        ({"value": -3.0}, "supply_current_a at 30 s: -3 is negative.*leads reversed"),
        ({"quantity": "battery_temp_c", "value": 300.0}, "kelvin; in degrees Celsius it is 26.85"),
        ({"quantity": "watts"}, "reading: quantity: one of 'supply_current_a', "),
        ({"elapsed_s": -1.0}, "-1 s is before the connection began; note what is read from then"),
        ({"noted_at": at(-5.0)}, "-5 s is before the connection began"),
        ({"elapsed_s": float("nan")}, "elapsed_s: a plain number is needed"),
        ({"elapsed_s": 86_401.0}, "elapsed_s: at most 86400 s"),
        ({"noted_at": "2026-03-02T07:44:00"}, "no UTC offset; a moment like 2026-03-02T07:43:00"),
        ({"noted_at": "yesterday"}, "moment: a day with time like 2024-05-31T10:05:00"),
        ({"noted_at": "2019-12-31T23:59:59Z"}, "a clock in the year 2019 is not set; set the dev"),
        ({"noted_at": "0001-01-01T00:00:00+14:00"}, "a clock in the year 1 is not set"),
        ({"key": "short"}, "key: does not have the form"),
        ({"key": "with a space"}, "key: does not have the form"),
        ({"key": "nul\x00nul-nul"}, "key: does not have the form"),
    ],
)
def test_a_press_that_cannot_be_is_one_sentence(begun, values, words):
    pressed = {"key": "press-0001", "quantity": "supply_current_a", "value": 22.4}
    pressed |= {"noted_at": at(30.0), "elapsed_s": None}
    with pytest.raises(InputError, match=words) as caught:
        note(begun, C, **(pressed | values))
    assert "\n" not in str(caught.value)
    assert load(begun, C).noted == ()


@pytest.mark.parametrize("unknown", ["connection-9", "", "nul\x00nul-nul", "x" * 500])
def test_an_unknown_connection_is_one_sentence(begun, unknown):
    for call in (
        lambda: press(begun, 1, 22.4, 30.0, connection=unknown),
        lambda: strike(begun, unknown, "undo-0001", "press-0001"),
        lambda: load(begun, unknown),
        lambda: finish(begun, unknown, "finish-0001"),
    ):
        with pytest.raises(InputError, match="there is no connection in progress '") as caught:
            call()
        assert len(str(caught.value)) < 150


def test_labels_and_told_fields_that_cannot_be_are_one_sentence(begun):
    with pytest.raises(InputError, match="mark: label: has 61 characters; 1 to 60 would be right"):
        mark(begun, C, "mark-0001", "x" * 61, at(30.0))
    assert mark(begun, C, "mark-0001", "x" * 60, at(30.0)).marks[0][1].label == "x" * 60
    with pytest.raises(InputError, match="what is told of the connection: unknown key 'laod_a'"):
        tell(begun, C, "tell-0001", laod_a=8.0)
    with pytest.raises(InputError, match=r"load_a: at least 0 A .given: -8 A"):
        tell(begun, C, "tell-0001", load_a=-8.0)
    with pytest.raises(InputError, match="what is told of the connection: unknown key"):
        begin(begun, "connection-2", START, colour="red")


@pytest.mark.parametrize(("off_s", "taken"), [(120.0, True), (121.0, False)])
def test_a_clock_that_is_far_off_is_refused(begun, off_s, taken):
    ahead = begun.with_clock(lambda: at(600.0 - off_s), begun.new_id)
    calls = (
        lambda: press(ahead, 1, 22.4, 600.0),
        lambda: begin(ahead, "connection-2", at(600.0)),
        lambda: note(begun, C, "press-0002", "supply_current_a", 9.0, at(100.0), 100.0 + off_s),
    )
    for call, words in zip(calls, ("ahead of the record", "ahead of", "do not fit"), strict=True):
        if taken:
            call()
        else:
            with pytest.raises(InputError, match=words):
                call()


def test_the_first_year_of_a_clock_that_is_set(fleet):
    assert begin(fleet, C, "2020-01-01T00:00:00Z").started_at.year == 2020


def test_a_record_with_one_in_progress_is_not_empty(store):
    assert store.is_empty()
    begin(store, C, START)
    assert not store.is_empty()
    assert store.faults() == ()


PLATE = {"tail": "DEMO-9", "chemistry": "vrla", "cells": 12, "rated_capacity_ah": 24.0}


def test_a_battery_known_by_its_plate_is_kept_with_its_connection(fleet):
    begin(fleet, C, START, **PLATE)
    taper(fleet)
    entry = keep_with_battery(fleet, C, "keep-0001", "B-7", "DEMO-9").entry
    assert fleet.plate("B-7").record.rated_capacity_ah == 24.0
    assert load(fleet, C).connection_id == entry.id
    assert load(fleet, C).told.serial == "B-7"
    assert entry.record.battery_id == fleet.plate("B-7").id
    again = keep_with_battery(fleet, C, "keep-0001", "B-7", "DEMO-9")
    assert (again.was_there, again.entry.id) == (True, entry.id)


@pytest.mark.parametrize("serial", ["B-1", " ", "x" * 61])
def test_a_battery_whose_serial_cannot_be_leaves_all_as_it_was(fleet, serial):
    begin(fleet, C, START, **PLATE)
    taper(fleet)
    before, entries = load(fleet, C), len(fleet.entries(Connection))
    with pytest.raises(InputError) as refused:
        keep_with_battery(fleet, C, "keep-0001", serial, "DEMO-9")
    assert "\n" not in str(refused.value)
    assert load(fleet, C) == before
    assert len(fleet.entries(Connection)) == entries


def test_a_name_of_many_letters_is_refused_in_plain_words(fleet):
    with pytest.raises(InputError, match="tail: has 66 characters; 1 to 60 would be right"):
        begin(fleet, C, START, tail="x" * 66)


def test_a_connection_is_known_by_its_id_whatever_became_of_it(begun):
    assert is_begun(begun, C)
    leave(begun, C, "leave-001", "mistake")
    assert is_begun(begun, C)
    assert not is_begun(begun, "connection-9")
