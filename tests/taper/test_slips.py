"""Slips and trips found in readings whose truth is known."""

import numpy as np
import pytest

from batterymodel import Battery, Readings, Supply
from batterymodel.taper.signals import signal_from
from batterymodel.taper.slips import expected_values, slips_in, supply_off_mask
from tests.conftest import simulated_connection


def changed(readings: Readings, row: int, factor: float) -> Readings:
    current = readings.supply_current_a.copy()
    current[row] *= factor
    return readings.model_copy(update={"supply_current_a": current})


@pytest.mark.parametrize("row", [0, 1, 30, 59, 60])
@pytest.mark.parametrize("factor", [10.0, 0.1])
def test_a_reading_ten_times_off_is_a_slip_and_not_fitted(row, factor):
    readings = changed(simulated_connection(0.1, fast_share=0.2), row, factor)
    (slip,) = slips_in(readings)
    assert (slip.column, slip.row) == ("supply_current_a", row)
    signal = signal_from(readings, load_a=8.0)
    assert not signal.usable[row]
    assert signal.transients == 0


@pytest.mark.parametrize(("factor", "is_slip"), [(8.5, False), (9.0, True), (11.0, True)])
@pytest.mark.parametrize("inverse", [False, True])
def test_a_slip_is_ten_times_within_twelve_percent(factor, is_slip, inverse):
    level = np.full(20, 20.0)
    level[10] *= 1.0 / factor if inverse else factor
    readings = Readings(elapsed_s=10.0 * np.arange(20), supply_current_a=level)
    assert bool(slips_in(readings)) == is_slip


def test_a_motor_that_starts_is_a_transient_and_no_slip():
    readings = simulated_connection(0.1)
    for by in (25.0, 300.0):
        current = readings.supply_current_a.copy()
        current[30] += by
        started = readings.model_copy(update={"supply_current_a": current})
        assert slips_in(started) == ()
        assert signal_from(started, load_a=8.0).transients == 1


@pytest.mark.parametrize(("level_a", "is_slip"), [(1.5, False), (2.5, True)])
def test_ten_times_a_small_current_is_a_load(level_a, is_slip):
    level = np.full(20, level_a)
    level[10] *= 10.0
    readings = Readings(elapsed_s=10.0 * np.arange(20), supply_current_a=level)
    assert bool(slips_in(readings)) == is_slip


@pytest.mark.parametrize(("factor", "is_slip"), [(1.4, True), (1.6, False)])
def test_neighbours_of_a_slip_differ_by_less_than_half(factor, is_slip):
    current = np.append(np.full(10, 20.0 * factor), np.full(10, 20.0))
    current[10] = 200.0
    readings = Readings(elapsed_s=10.0 * np.arange(20), supply_current_a=current)
    assert bool(slips_in(readings)) == is_slip


@pytest.mark.parametrize(("away_c", "is_slip"), [(9.0, False), (11.0, True)])
def test_a_temperature_that_stands_alone(away_c, is_slip):
    temps = np.full(61, 20.0)
    temps[30] += away_c
    readings = simulated_connection(0.1, battery_temp_c=temps)
    assert bool(slips_in(readings)) == is_slip


def tripped(first: int, last: int, minutes: float = 10.0) -> Readings:
    readings = simulated_connection(0.1, minutes=minutes)
    current = readings.supply_current_a.copy()
    current[first:last] = 0.0
    return readings.model_copy(update={"supply_current_a": current})


def test_a_trip_is_left_out_with_what_follows_it_or_with_what_precedes_it():
    signal = signal_from(tripped(50, 60), load_a=8.0)
    np.testing.assert_array_equal(np.flatnonzero(signal.off), np.arange(50, 60))
    np.testing.assert_array_equal(np.flatnonzero(signal.usable), np.arange(50))
    signal = signal_from(tripped(10, 20), load_a=8.0)
    np.testing.assert_array_equal(np.flatnonzero(signal.usable), np.arange(20, 121))
    assert signal_from(tripped(50, 60)).load.mean_a > 3.0


def test_one_reading_of_nothing_is_a_trip_only_where_the_voltage_went_too():
    readings = tripped(50, 51)
    assert not supply_off_mask(readings).any()
    for at_v, off in ((10.0, True), (16.0, False)):
        volts = np.full(len(readings), 28.0)
        volts[50] = at_v
        given = readings.model_copy(update={"supply_voltage_v": volts})
        assert supply_off_mask(given).any() == off


@pytest.mark.parametrize(("level_a", "off"), [(1.5, False), (2.5, True)])
def test_a_supply_that_hardly_gives_anything_did_not_trip(level_a, off):
    current = np.full(40, level_a)
    current[20:25] = 0.0
    readings = Readings(elapsed_s=5.0 * np.arange(40), supply_current_a=current)
    assert supply_off_mask(readings).any() == off


@pytest.mark.parametrize(("share", "off"), [(0.04, True), (0.07, False)])
def test_a_twentieth_of_the_current_is_nothing(share, off):
    current = np.full(40, 20.0)
    current[20:25] = 20.0 * share
    readings = Readings(elapsed_s=5.0 * np.arange(40), supply_current_a=current)
    assert supply_off_mask(readings).any() == off


def test_a_clamp_that_ends_leaves_the_supply_and_tells_the_load():
    readings = simulated_connection(0.1, load_a=8.0, minutes=10.0)
    clamp = np.where(readings.elapsed_s < 120.0, readings.supply_current_a - 8.0, np.nan)
    signal = signal_from(readings.model_copy(update={"battery_current_a": clamp}))
    assert not signal.from_clamp
    assert signal.time_s[-1] == 600.0
    assert signal.load.given
    assert signal.load.mean_a == pytest.approx(8.0, abs=0.05)


@pytest.mark.parametrize(("each", "from_clamp"), [(1, True), (2, True), (3, False)])
def test_a_clamp_read_in_half_of_the_rows_stands_for_the_battery(each, from_clamp):
    readings = simulated_connection(0.1, minutes=10.0)
    clamp = np.full(len(readings), np.nan)
    clamp[::each] = readings.supply_current_a[::each] - 8.0
    signal = signal_from(readings.model_copy(update={"battery_current_a": clamp}))
    assert signal.from_clamp == from_clamp


@pytest.mark.parametrize(("until_s", "from_clamp"), [(530.0, False), (550.0, True)])
def test_a_clamp_reaches_the_last_tenth(until_s, from_clamp):
    readings = simulated_connection(0.1, minutes=10.0)
    clamp = np.where(readings.elapsed_s <= until_s, readings.supply_current_a - 8.0, np.nan)
    signal = signal_from(readings.model_copy(update={"battery_current_a": clamp}))
    assert signal.from_clamp == from_clamp


LEAD = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
NICD = Battery(tail="DEMO-1", chemistry="nicd", cells=20, rated_capacity_ah=40.0)
LFP = Battery(tail="DEMO-1", chemistry="lfp", cells=8, rated_capacity_ah=40.0)


def is_within(name, value, battery=LEAD, supply=None, currents_a=()):
    supply = supply or Supply(rated_current_a=60.0)
    expected = expected_values(battery, supply, currents_a)[name]
    return expected.least <= value <= expected.most


@pytest.mark.parametrize(
    ("name", "value", "is_asked"),
    [
        ("supply_current_a", 0.0, False),
        ("supply_current_a", -0.1, True),
        ("supply_current_a", 66.0, False),
        ("supply_current_a", 66.1, True),
        ("supply_voltage_v", 28.5, False),
        ("supply_voltage_v", 21.5, False),
        ("supply_voltage_v", 21.0, True),
        ("supply_voltage_v", 32.0, True),
        ("rest_voltage_v", 3.0, True),
        ("rest_voltage_v", 12.6, True),
        ("rest_voltage_v", 22.0, False),
        ("rest_voltage_v", 26.5, False),
        ("rest_voltage_v", 28.0, True),
        ("load_a", 60.0, False),
        ("load_a", 500.0, True),
        ("battery_temp_c", -40.1, True),
        ("battery_temp_c", 59.0, False),
        ("battery_temp_c", 60.1, True),
    ],
)
def test_what_a_supply_and_a_battery_cannot_show_is_asked_about(name, value, is_asked):
    assert is_within(name, value) != is_asked


@pytest.mark.parametrize(
    ("battery", "empty_v", "full_v"), [(LEAD, 23.76, 25.8), (NICD, 24.0, 27.0), (LFP, 22.4, 27.2)]
)
def test_every_rest_voltage_of_its_curve_is_taken(battery, empty_v, full_v):
    assert is_within("rest_voltage_v", empty_v, battery)
    assert is_within("rest_voltage_v", full_v, battery)


def test_the_wall_circuit_lowers_what_the_supply_gives():
    weak = Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=15.0)
    assert is_within("supply_current_a", 56.0, supply=weak)
    assert not is_within("supply_current_a", 57.0, supply=weak)


def test_no_part_is_more_than_the_meter_of_the_supply_showed():
    noted = (20.0, 12.0)
    assert is_within("load_a", 15.2, currents_a=noted)
    assert not is_within("load_a", 15.3, currents_a=noted)
    assert is_within("battery_current_a", 15.2, currents_a=noted)
    assert not is_within("battery_current_a", 15.3, currents_a=noted)


def test_without_battery_and_supply_nothing_but_the_sign_is_asked_about():
    expected = expected_values(None, None)
    assert {expected[n].most for n in ("supply_current_a", "rest_voltage_v")} == {np.inf}
    assert expected["supply_current_a"].least == 0.0


def distance(name, value, before):
    beside = expected_values(LEAD, None)[name].beside
    if beside.floor is None:
        return abs(value - before), beside
    return abs(np.log((value + beside.floor) / (before + beside.floor))), beside


@pytest.mark.parametrize(
    ("name", "value", "before", "is_far"),
    [
        ("supply_current_a", 12.6, 12.9, False),
        ("supply_current_a", 1290.0, 12.9, True),
        ("supply_current_a", 0.5, 12.9, True),
        ("supply_current_a", 2.9, 12.9, True),
        ("supply_current_a", 3.1, 12.9, False),
        ("supply_current_a", 42.0, 12.9, False),
        ("supply_current_a", 43.0, 12.9, True),
        ("supply_current_a", 5.0, 0.5, False),
        ("supply_voltage_v", 24.5, 28.0, False),
        ("supply_voltage_v", 24.0, 28.0, True),
        ("battery_temp_c", 34.0, 24.0, False),
        ("battery_temp_c", 34.1, 24.0, True),
    ],
)
def test_how_far_from_the_last_a_value_is_asked_about(name, value, before, is_far):
    apart, beside = distance(name, value, before)
    assert (apart > beside.most) == is_far


def test_a_switch_and_time_allow_more_but_a_switch_no_decimal_point():
    beside = expected_values(LEAD, None)["supply_current_a"].beside
    assert distance("supply_current_a", 110.0, 12.9)[0] < beside.switched
    assert distance("supply_current_a", 129.0, 12.9)[0] > beside.switched
    assert beside.per_s * 600.0 == pytest.approx(1.0)
    assert expected_values(LEAD, None)["battery_temp_c"].beside.per_s * 60.0 == pytest.approx(1.0)
