"""Readings noted one by one, as the rows of a file: which of them belong together."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import FitError, InputError, assess
from batterymodel.basis.text import one_line
from batterymodel.inputs.readings import checked_value, readings_from_bytes
from batterymodel.store.acts import InProgress, Mark, Noted, Quantity, Reading, ToldSoFar
from batterymodel.store.noted_readings import (
    file_name_of,
    marks_left_out,
    readings_bytes,
    readings_of,
)
from tests.store.cases import BARE

START = datetime(2026, 3, 2, 7, 43, tzinfo=UTC)
SUPPLY, CLAMP, TEMP, VOLTS, LOAD = (
    Quantity.SUPPLY_CURRENT,
    Quantity.BATTERY_CURRENT,
    Quantity.BATTERY_TEMP,
    Quantity.SUPPLY_VOLTAGE,
    Quantity.LOAD,
)
NAN = float("nan")


def noted(*what, struck=(), late=()):
    """A connection with readings (quantity, value, seconds) and marks (label, seconds)."""
    found = []
    for k, about in enumerate(what):
        *content, elapsed_s = about
        when = {"noted_at": START + timedelta(seconds=elapsed_s), "elapsed_s": elapsed_s}
        if len(content) == 2:
            thing = Reading(quantity=content[0], value=content[1], **when)
        else:
            thing = Mark(label=content[0], **when)
        found.append(Noted(f"press-{k}", thing, struck=k in struck, late=k in late))
    return InProgress("connection-1", START, date(2026, 3, 2), ToldSoFar(), tuple(found))


def test_one_row_for_each_supply_current_with_what_was_read_beside_it():
    readings = readings_of(
        noted(
            (SUPPLY, 30.0, 0.0),
            (CLAMP, 22.0, 4.0),
            (VOLTS, 28.1, 7.0),
            (SUPPLY, 28.0, 30.0),
            (TEMP, 21.0, 25.0),
            (LOAD, 8.0, 33.0),
            (SUPPLY, 27.0, 60.0),
        )
    )
    assert readings.elapsed_s.tolist() == [0.0, 30.0, 60.0]
    assert readings.supply_current_a.tolist() == [30.0, 28.0, 27.0]
    np.testing.assert_equal(readings.battery_current_a, [22.0, NAN, NAN])
    np.testing.assert_equal(readings.supply_voltage_v, [28.1, NAN, NAN])
    np.testing.assert_equal(readings.battery_temp_c, [NAN, 21.0, NAN])
    np.testing.assert_equal(readings.load_a, [NAN, 8.0, NAN])
    assert readings.started_at == START
    assert readings.notes == ()


@pytest.mark.parametrize(
    ("quantity", "most_s"), [(CLAMP, 10.0), (LOAD, 10.0), (TEMP, 30.0), (VOLTS, 60.0)]
)
@pytest.mark.parametrize("side", [-1.0, 1.0])
def test_only_what_is_close_in_time_shares_a_row(quantity, most_s, side):
    for apart_s, shared in ((most_s, True), (most_s + 0.5, False)):
        readings = readings_of(
            noted(
                (SUPPLY, 30.0, 0.0),
                (SUPPLY, 28.0, 200.0),
                (SUPPLY, 27.0, 400.0),
                (quantity, 20.0, 200.0 + side * apart_s),
            )
        )
        column = getattr(readings, quantity)
        assert (column is not None and column.tolist()[1] == 20.0) is shared
        assert len(readings.notes) == (not shared)


def test_the_nearest_row_takes_a_reading_and_each_row_one_of_a_kind():
    readings = readings_of(
        noted(
            (SUPPLY, 30.0, 0.0),
            (SUPPLY, 29.0, 12.0),
            (SUPPLY, 28.0, 60.0),
            (CLAMP, 20.0, 7.0),
            (CLAMP, 21.0, 9.0),
        )
    )
    assert readings.battery_current_a.tolist()[:2] == [20.0, 21.0]


@pytest.mark.parametrize(
    ("mark_s", "shared"), [(29.0, True), (30.0, True), (30.5, False), (34.0, False), (34.5, True)]
)
def test_a_switch_between_two_meters_keeps_them_apart(mark_s, shared):
    """Supply current at 30 s, clamp at 34 s: a load switched between them is in one alone."""
    readings = readings_of(
        noted(
            (SUPPLY, 30.0, 0.0),
            (SUPPLY, 28.0, 30.0),
            (SUPPLY, 27.0, 60.0),
            (CLAMP, 20.0, 34.0),
            (TEMP, 21.0, 34.0),
            ("avionics on", mark_s),
        )
    )
    assert (readings.battery_current_a is not None) is shared
    assert readings.battery_temp_c.tolist()[1] == 21.0
    assert [(e.text, e.elapsed_s) for e in readings.events] == [("avionics on", mark_s)]


def test_struck_and_late_ones_are_left_out():
    what = [(SUPPLY, 30.0 - k, 30.0 * k) for k in range(5)] + [("avionics on", 40.0)]
    readings = readings_of(noted(*what, struck=(1, 5), late=(4,)))
    assert readings.elapsed_s.tolist() == [0.0, 60.0, 90.0]
    assert readings.events == ()


def test_two_currents_at_one_moment_count_as_their_mean():
    readings = readings_of(noted((SUPPLY, 30.0, 10.0), (SUPPLY, 28.0, 10.0)))
    assert (readings.elapsed_s.tolist(), readings.supply_current_a.tolist()) == ([10.0], [29.0])


def test_one_or_two_readings_are_readings_and_the_assessment_says_what_lacks():
    for count in (1, 2):
        what = [(SUPPLY, 30.0 - k, 30.0 * k) for k in range(count)]
        readings = readings_of(noted(*what, (TEMP, 21.0, 0.0)))
        assert len(readings) == count
        with pytest.raises(FitError, match=f"only {count} readings .* take at least three"):
            assess(readings, BARE)


def test_without_a_supply_current_the_ammeter_is_asked_for():
    connection = noted((CLAMP, 20.0, 7.0), ("avionics on", 8.0))
    with pytest.raises(InputError, match="no supply current is noted yet; read the ammeter"):
        readings_of(connection)
    assert readings_bytes(connection).decode().splitlines() == [
        "elapsed_s,time,supply_current_a,battery_current_a,event",
        "7.0,2026-03-02T07:43:07+00:00,,20.0,",
        "8.0,2026-03-02T07:43:08+00:00,,,avionics on",
    ]


def test_nothing_that_was_noted_is_missing_from_the_file():
    """What has no supply current near it is of no use to the taper, but is kept."""
    far = noted((SUPPLY, 30.0, 0.0), (TEMP, 55.0, 200.0), (SUPPLY, 28.0, 400.0))
    assert "200.0,2026-03-02T07:46:20+00:00,,55.0" in readings_bytes(far).decode()
    assert any("dropped: no supply current" in note for note in readings_of(far).notes)


MOMENTS = st.integers(0, 600_000).map(lambda ms: ms / 1000.0)
METERS = st.one_of(
    st.tuples(st.just(SUPPLY), st.floats(0.5, 400.0), MOMENTS),
    st.tuples(st.sampled_from([CLAMP, LOAD]), st.floats(0.0, 400.0), MOMENTS),
    st.tuples(st.just(TEMP), st.floats(-60.0, 120.0), MOMENTS),
    st.tuples(st.just(VOLTS), st.floats(5.0, 40.0), MOMENTS),
)
MARKS = st.tuples(st.text(max_size=60).filter(one_line), MOMENTS)


@given(st.lists(METERS, max_size=12), st.lists(MARKS, max_size=4))
def test_the_kept_file_reads_back_to_what_was_assessed(meters, marks):
    connection = noted(*meters, *marks)
    times = {what[-1] for what in meters if what[0] is SUPPLY}
    data = readings_bytes(connection)
    for value in (what[1] for what in meters):
        assert repr(value) in data.decode()
    if len(times) >= 3:
        live = readings_of(connection)
        kept = readings_from_bytes(data, file_name_of(connection))
        assert kept == live
        assert kept.notes == live.notes
        assert set(live.elapsed_s.tolist()) == times
        assert len(live.events) == len(marks)
    elif times:
        assert len(readings_of(connection)) == len(times)


@given(st.permutations(range(7)))
def test_the_order_of_presses_does_not_matter(order):
    """A phone that was offline sends its readings when those of another are there."""
    what = [(SUPPLY, 30.0 - k, 20.0 * k) for k in range(4)]
    what += [(CLAMP, 20.0, 3.0), (TEMP, 21.0, 22.0), ("avionics on", 50.0)]
    assert readings_bytes(noted(*[what[k] for k in order])) == readings_bytes(noted(*what))


@given(
    st.sampled_from(Quantity),
    st.floats(-3000.0, 3000.0) | st.sampled_from([-1.0, 100.0, 120.0, -60.0, 150.0, 2000.0]),
)
def test_a_press_is_refused_for_what_the_file_would_be_refused_for(quantity, value):
    others = {"supply_current_a": 20.0, quantity: value}
    rows = "".join(f"{k},{','.join(map(repr, others.values()))}\n" for k in range(3))
    text = f"elapsed_s,{','.join(others)}\n{rows}"
    said = []
    for call in (
        lambda: checked_value(quantity, value, f"press: row 2, column '{quantity}'"),
        lambda: readings_from_bytes(text.encode(), "press"),
    ):
        try:
            call()
            said.append("taken")
        except InputError as error:
            said.append(error.faults[0])
    no_level = ("no value reaches", "every value is 0")
    whole_column = said[0] == "taken" and any(words in said[1] for words in no_level)
    assert said[0] == said[1] or whole_column


def test_a_temperature_read_long_after_the_ammeter_still_takes_power_off():
    """44 degC beside the last reading, 46 degC six minutes later: above the 45 of a lead-acid."""
    currents = [(SUPPLY, 18.0 - 0.4 * k, 60.0 * k) for k in range(5)]
    cool = readings_of(noted(*currents, (TEMP, 44.0, 241.0)))
    hot = readings_of(noted(*currents, (TEMP, 44.0, 241.0), (TEMP, 46.0, 600.0)))
    assert assess(cool, BARE, on=date(2026, 3, 2)).outcome != "disconnect"
    assert assess(hot, BARE, on=date(2026, 3, 2)).outcome == "disconnect"


def test_temperatures_keep_their_times_and_their_order():
    """Cooling from 30 degC between two ammeter readings is no warming."""
    read = [(TEMP, 30.0, 238.0), (TEMP, 27.0, 285.0), (TEMP, 26.8, 350.0)]
    currents = [(SUPPLY, 30.0 - at / 100.0, at) for at in (0.0, 120.0, 180.0, 240.0, 500.0)]
    at_s, temps = readings_of(noted(*currents, *read)).battery_temps()
    np.testing.assert_array_equal(temps, [30.0, 27.0, 26.8])
    np.testing.assert_allclose(at_s, [240.0, 285.0, 350.0])


FALLING_A = (48.2, 40.1, 33.4, 27.9)


def noted_currents(*amps, quantity=SUPPLY):
    meter = [(SUPPLY, 30.0, 30.0 * k) for k in range(len(amps))] if quantity != SUPPLY else []
    return noted(*((quantity, a, 30.0 * k) for k, a in enumerate(amps)), *meter)


@pytest.mark.parametrize("quantity", [SUPPLY, CLAMP])
@pytest.mark.parametrize("nines", [(), (999.0,), (999.0, 999.0), (998.0, 998.0)])
def test_what_is_left_out_as_a_mark_is_what_the_kept_file_leaves_out(quantity, nines):
    connection = noted_currents(*FALLING_A, *nines, quantity=quantity)
    kept = readings_from_bytes(readings_bytes(connection), "kept.csv")
    by_key = dict(connection.readings)
    left_out = [by_key[key].value for key in marks_left_out(connection)]
    assert left_out == ([999.0, 999.0] if nines == (999.0, 999.0) else [])
    counted = getattr(kept, quantity.value)
    assert sorted([*left_out, *counted[np.isfinite(counted)]]) == sorted([*FALLING_A, *nines])


def test_marks_that_are_most_of_the_readings_are_asked_about_in_words_of_the_pad():
    connection = noted_currents(40.0, 999.0, 999.0)
    with pytest.raises(InputError) as caught:
        readings_of(connection)
    assert str(caught.value) == (
        "999 at 0:30 and 1 times more looks like a meter's mark for no value; undo such readings, "
        "and note what the meter reads"
    )
    with pytest.raises(InputError):
        readings_from_bytes(readings_bytes(connection), "kept.csv")
