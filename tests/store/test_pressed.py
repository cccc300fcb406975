"""Entries of the pad on their way into the record: each kind, repeats, and what cannot be right."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from batterymodel import InputError
from batterymodel.errors import StoreError
from batterymodel.inputs.temperature_unit import TemperatureUnit, spoken_in
from batterymodel.say.pad import FULL_LABELS
from batterymodel.store import pressed
from batterymodel.store.acts import Quantity
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, load
from batterymodel.store.pressed import take_entries, take_entry
from tests.sparing import examples
from tests.store.test_in_progress import START, C, with_battery

STARTED_MS = 1000.0 * START.timestamp()


@pytest.fixture
def begun(store):
    store = with_battery(store)
    begin(store, C, START, serial="B-1")
    return store


def entry(kind, k, quantity, at_s=30.0, **more):
    at_ms = STARTED_MS + 1000.0 * at_s
    return {"id": f"entry-{k:04}", "at_ms": at_ms, "kind": kind, "quantity": quantity, **more}


EVERY = (
    entry("reading", 1, "supply_current_a", value=22.4),
    entry("reading", 2, "battery_temp_c", 40.0, value=21.0),
    entry("tell", 3, "rest_voltage_v", value=25.6),
    entry("skip", 4, "load_a"),
    entry("mark", 5, "event", 50.0, text="Switched on"),
    entry("strike", 6, "battery_temp_c", target="entry-0002"),
    entry("skip", 7, "battery_temp_c"),
)


def test_each_kind_of_entry_is_taken(begun):
    for sent in EVERY:
        connection = take_entry(begun, C, sent)
    [(_, reading)] = connection.readings
    assert (reading.quantity, reading.value) == (Quantity.SUPPLY_CURRENT, 22.4)
    assert reading.elapsed_s == pytest.approx(30.0)
    assert connection.told.rest_voltage_v == 25.6
    assert connection.told.skipped == ("load_a", "battery_temp_c")
    assert [mark.label for _, mark in connection.marks] == ["Switched on"]
    assert connection == load(begun, C)


@settings(
    examples(25),
    suppress_health_check=[HealthCheck.function_scoped_fixture],
)
@given(again=st.lists(st.sampled_from(range(len(EVERY))), max_size=8))
def test_entries_sent_again_change_nothing(begun, again):
    for sent in EVERY:
        take_entry(begun, C, sent)
    before = load(begun, C)
    for k in again:
        assert take_entry(begun, C, EVERY[k]) == before


@pytest.mark.parametrize(
    ("sent", "words"),
    [
        ({}, "the pad"),
        (entry("reading", 1, "supply_current_a"), "number"),
        (entry("reading", 1, "something", value=1.0), "quantity"),
        (entry("leap", 1, "supply_current_a", value=1.0), "kind"),
        (entry("reading", 1, "supply_current_a", -90.0, value=1.0), "before"),
        ({**entry("reading", 1, "supply_current_a", value=1.0), "at_ms": float("nan")}, "at_ms"),
        (entry("tell", 1, "rest_voltage_v", value=-4.0), "rest_voltage_v"),
        (entry("tell", 1, "colour", value=1.0), "colour"),
        (entry("strike", 1, "supply_current_a", target="entry-0099"), "key"),
        (entry("mark", 1, "event", text=" "), "label"),
    ],
)
def test_what_cannot_be_right_is_refused_in_a_sentence(begun, sent, words):
    with pytest.raises(InputError, match=words) as refused:
        take_entry(begun, C, sent)
    assert "\n" not in str(refused.value)
    assert not load(begun, C).noted


def sent_to(connection, *entries):
    return [{**sent, "connection": connection} for sent in entries]


def test_every_refusal_keeps_its_own_reason_and_the_rest_is_taken(begun):
    good = entry("reading", 3, "supply_current_a", value=22.4)
    too_much = entry("reading", 1, "supply_current_a", value=5000.0)
    kelvin = entry("reading", 2, "battery_temp_c", value=900.0)
    reply = take_entries(begun, sent_to(C, too_much, kelvin, good))
    assert set(reply.connections) == {"entry-0003"}
    assert "milliamperes" in reply.refused["entry-0001"]
    assert "kelvin" in reply.refused["entry-0002"]
    assert reply.waiting is None
    assert reply.connections["entry-0003"] == load(begun, C)


def test_entries_of_another_record_stay_where_they_are(begun):
    sent = sent_to("elsewhere-1", entry("reading", 1, "supply_current_a", value=22.4))
    reply = take_entries(begun, sent)
    assert (reply.connections, reply.refused, reply.waiting) == ({}, {}, None)
    assert reply.unknown == {"entry-0001": "elsewhere-1"}


def test_entries_of_two_connections_go_each_into_its_own(begun):
    begin(begun, "second-one", START, serial="B-1")
    first = entry("reading", 1, "supply_current_a", value=22.4)
    second = entry("reading", 2, "supply_current_a", value=9.4)
    take_entries(begun, [*sent_to(C, first), *sent_to("second-one", second)])
    values = [[r.value for _, r in load(begun, key).readings] for key in (C, "second-one")]
    assert values == [[22.4], [9.4]]


def test_what_comes_late_is_in_the_reply_with_its_connection(begun):
    take_entries(begun, sent_to(C, entry("reading", 1, "supply_current_a", value=22.4)))
    finish(begun, C, "finish-01")
    late = entry("reading", 2, "battery_temp_c", 60.0, value=70.0)
    reply = take_entries(begun, sent_to(C, late))
    [noted] = reply.connections["entry-0002"].late
    assert noted.what.value == 70.0


def test_a_record_that_cannot_be_written_holds_the_rest_back(begun, monkeypatch):
    take = pressed.take_entry

    def failing(store, in_progress_id, sent):
        if sent["id"] == "entry-0002":
            raise StoreError("the record is in use by another program")
        return take(store, in_progress_id, sent)

    monkeypatch.setattr(pressed, "take_entry", failing)
    three = [entry("reading", k, "supply_current_a", 10.0 * k, value=20.0) for k in (1, 2, 3)]
    reply = take_entries(begun, sent_to(C, *three))
    assert set(reply.connections) == {"entry-0001"}
    assert reply.waiting == "the record is in use by another program"
    assert not reply.refused


def test_a_refusal_names_what_was_read_by_its_label_and_in_its_unit(begun):
    reply = take_entries(
        begun, sent_to(C, entry("reading", 1, "battery_temp_c", value=-67.7777777)), FULL_LABELS
    )
    why = reply.refused["entry-0001"]
    assert why == "Battery temperature: -67.8 °C is outside -60 to 120 °C"
    in_f = spoken_in(why, TemperatureUnit.FAHRENHEIT, [-67.7777777])
    assert in_f == "Battery temperature: -90.0 °F is outside -76 to 248 °F"
