"""Capacity in service: coverage on simulated truth, its width, and when it refuses."""

from functools import cache

import numpy as np
import pytest

from batterymodel import Battery, FitError, InputError, Readings, Supply
from batterymodel.capacity.in_service import (
    NO_TEMPERATURE,
    BatteryTemps,
    battery_temps,
    connection_fit,
    in_service_capacity,
    in_service_of_fit,
)
from batterymodel.reference.temperature import rest_voltage_shift_v, rest_voltage_v

SUPPLY = Supply(rated_current_a=120.0)
BATTERY = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)


def taper(charge_ah, charge_time_h=0.31, minutes=120.0, seed=1, load_a=8.0, share=0.2):
    """Readings of a taper in closed form: fast and slow exponential, floor 0.1 A."""
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 60.0 * minutes, 30.0)
    slow = 3600.0 * charge_time_h / (1.0 - share + 0.125 * share)
    current = share * np.exp(-time / (0.125 * slow)) + (1.0 - share) * np.exp(-time / slow)
    supply = load_a + 0.1 + charge_ah / charge_time_h * current
    return Readings(
        elapsed_s=time,
        supply_current_a=np.round(supply + 0.03 * rng.standard_normal(time.size), 1),
    )


def estimate(readings, before_v, after_v, battery=BATTERY):
    return in_service_capacity(
        readings, battery, SUPPLY, rest_before_v=before_v, rest_after_v=after_v, load_a=8.0
    )


@cache
def simulated(count=40):
    """Ratio of estimate to truth, coverage, and half width over truth, of simulated batteries."""
    rng, rows = np.random.default_rng(11), []
    spread = 12 * 0.012
    for k in range(count):
        true_ah, before = rng.uniform(26.0, 42.0), rng.uniform(0.2, 0.7)
        after = min(rng.normal(0.985, 0.012), 1.0)
        charge = (after - before) * true_ah / rng.normal(0.985, 0.02)
        common = np.sqrt(0.7) * spread * rng.standard_normal()
        own = np.hypot(np.sqrt(0.3) * spread, 0.05)
        volts = [
            float(rest_voltage_v(BATTERY, soc, 25.0)) + common + own * rng.standard_normal()
            for soc in (before, after)
        ]
        readings = taper(charge, float(rng.lognormal(np.log(0.31), 0.15)), seed=k)
        try:
            found = estimate(readings, *volts).capacity_ah
        except FitError:
            continue
        half = (found.high - found.low) / 2.0
        rows.append((found.mean / true_ah, found.low <= true_ah <= found.high, half / true_ah))
    return np.array(rows, dtype=float)


@pytest.mark.long
def test_interval_covers_simulated_truth():
    rows = simulated()
    assert len(rows) >= 30
    assert 0.82 <= rows[:, 1].mean() <= 1.0


def test_estimates_are_not_off_on_average_and_honestly_wide():
    rows = simulated()
    assert np.median(rows[:, 0]) == pytest.approx(1.0, abs=0.08)
    assert 0.08 < np.median(rows[:, 2]) < 0.35


def test_by_hand_with_rest_voltages_on_the_curve():
    """From 50 % to 98.5 %, 19.7 Ah at 0.985: 0.985 * 19.7 / 0.485 = 40 Ah."""
    before, after = (float(rest_voltage_v(BATTERY, soc, 25.0)) for soc in (0.5, 0.985))
    found = estimate(taper(0.485 * 40.0 / 0.985), before, after)
    assert found.capacity_ah.mean == pytest.approx(40.0, rel=0.06)
    assert found.charge_returned_ah.mean == pytest.approx(19.7, rel=0.03)


def test_the_larger_the_change_the_narrower():
    def width(soc):
        before, after = (float(rest_voltage_v(BATTERY, s, 25.0)) for s in (soc, 0.985))
        found = estimate(taper((0.985 - soc) * 40.0 / 0.985), before, after)
        return found.capacity_ah.high - found.capacity_ah.low

    assert width(0.2) < 0.6 * width(0.6)


def test_a_change_too_small_to_tell_is_refused():
    before, after = (float(rest_voltage_v(BATTERY, soc, 25.0)) for soc in (0.88, 0.985))
    with pytest.raises(FitError, match="too little to tell a capacity"):
        estimate(taper(0.105 * 40.0), before, after)


@pytest.mark.parametrize("volts", [float("nan"), float("inf"), 1e9, 60.0, 2.5])
def test_a_rest_voltage_that_cannot_be_the_batterys_is_refused(volts):
    for rests in ((volts, 25.75), (24.84, volts)):
        with pytest.raises(InputError, match="cannot be that of 12"):
            estimate(taper(19.7), *rests)


def test_a_taper_that_is_not_completed_is_refused():
    with pytest.raises(FitError, match="not completed"):
        estimate(taper(15.0, minutes=8.0), 24.8, 25.7)


def test_readings_of_two_connections_tell_no_capacity():
    first, second = taper(20.0), taper(16.0, seed=2)
    later_s = first.elapsed_s[-1] + 900.0 + second.elapsed_s
    both = Readings(
        elapsed_s=np.append(first.elapsed_s, later_s),
        supply_current_a=np.append(first.supply_current_a, second.supply_current_a),
    )
    with pytest.raises(FitError, match="falls anew at 8070 s, as in a second connection"):
        estimate(both, 24.2, 25.7)


def test_a_battery_whose_rest_voltage_says_little_is_refused():
    battery = Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0)
    before, after = (float(rest_voltage_v(battery, soc, 25.0)) for soc in (0.5, 0.985))
    with pytest.raises(FitError, match="says little"):
        estimate(taper(0.485 * 40.0), before, after, battery)


def test_a_current_that_is_no_exponential_taper_is_refused():
    """Even where a card states a rest voltage that tells the state of charge."""
    card = {"document": "card", "rest_voltage_soc": [0.0, 1.0], "rest_voltage_v": [24.0, 27.2]}
    battery = Battery(tail="D", chemistry="lfp", cells=8, rated_capacity_ah=40.0, limits=card)
    before, after = (float(rest_voltage_v(battery, soc, 25.0)) for soc in (0.5, 0.985))
    with pytest.raises(FitError, match="lithium iron phosphate battery is no exponential taper"):
        estimate(taper(0.485 * 40.0), before, after, battery)


def test_it_says_that_it_replaces_no_check():
    found = estimate(taper(19.7), 24.84, 25.75)
    assert any("no capacity check" in note for note in found.notes)
    assert max(found.rel_sd_by_cause, key=found.rel_sd_by_cause.get) == "change of state of charge"


def warm(readings, first_c, last_c, **slip):
    """The same readings of a battery that goes from one temperature to another."""
    column = np.linspace(first_c, last_c, len(readings))
    for at, value in slip.items():
        column[int(at[1:])] = value
    return readings.model_copy(update={"battery_temp_c": column})


def test_temperatures_of_the_readings_are_taken_before_one_that_was_told():
    readings = taper(19.7)
    assert battery_temps(readings, 31.0) == BatteryTemps(31.0, 31.0, 31.0)
    assert battery_temps(readings, None) == BatteryTemps(None, None, None)
    found = battery_temps(warm(readings, 10.0, 30.0), 31.0)
    assert (found.before_c, found.after_c) == pytest.approx((10.0, 30.0), abs=0.1)
    assert found.taper_c == pytest.approx(20.0, abs=0.2)


def test_a_temperature_that_looks_mistyped_is_left_out():
    steady = warm(taper(19.7), 20.0, 20.0, k0=200.0, k7=180.0, k239=-30.0)
    assert battery_temps(steady, None) == BatteryTemps(20.0, 20.0, 20.0)
    lone = warm(taper(19.7), np.nan, np.nan, k5=20.0)
    assert battery_temps(lone, 31.0) == BatteryTemps(20.0, 20.0, 20.0)


def test_each_rest_voltage_is_read_at_the_batterys_own_temperature():
    """A curve that lies lower by so many volts when cold is met at a higher state of charge.

    By hand: the curve's shift from 25 to 0 degC over its slope at half charge. Before and after are
    told apart: a battery that was cold before only has a smaller rise, and a larger capacity.
    """
    before, after = (float(rest_voltage_v(BATTERY, soc, 25.0)) for soc in (0.5, 0.985))
    readings = taper(0.485 * 40.0 / 0.985)
    slope = float(rest_voltage_v(BATTERY, 0.6, 25.0) - rest_voltage_v(BATTERY, 0.4, 25.0)) / 0.2
    steady = estimate(warm(readings, 25.0, 25.0), before, after)
    cold = estimate(warm(readings, 0.0, 25.0), before, after)
    by_hand = -rest_voltage_shift_v(BATTERY, 0.0) / slope
    assert by_hand > 0.02
    assert cold.soc_before.mean - steady.soc_before.mean == pytest.approx(by_hand, rel=0.15)
    assert cold.capacity_ah.mean > steady.capacity_ah.mean
    assert (cold.temp_before_c, cold.temp_after_c) == pytest.approx((0.0, 25.0), abs=0.2)


def test_a_temperature_nobody_knows_is_said_and_none_else():
    before, after = (float(rest_voltage_v(BATTERY, soc, 25.0)) for soc in (0.5, 0.985))
    known = estimate(warm(taper(19.7), 25.0, 25.0), before, after)
    unknown = estimate(taper(19.7), before, after)
    assert NO_TEMPERATURE not in known.notes
    assert NO_TEMPERATURE in unknown.notes
    assert (unknown.temp_before_c, unknown.temp_after_c) == (None, None)
    assert unknown.soc_before == known.soc_before


def test_a_fit_that_is_there_gives_the_same_capacity():
    before, after = (float(rest_voltage_v(BATTERY, soc, 25.0)) for soc in (0.5, 0.985))
    readings = warm(taper(19.7), 18.0, 22.0)
    temps = battery_temps(readings, None)
    fit = connection_fit(readings, BATTERY, SUPPLY, temps, load_a=8.0)
    told = {"rest_before_v": before, "rest_after_v": after}
    found = in_service_of_fit(fit, readings, BATTERY, temps, **told)
    assert found == estimate(readings, before, after)


@pytest.mark.parametrize("temp_c", [-70.0, 95.0])
def test_a_temperature_beyond_the_data_counts_as_its_end(temp_c):
    readings, volts = taper(19.7), (24.84, 25.75)
    found = in_service_capacity(
        readings,
        BATTERY,
        SUPPLY,
        rest_before_v=volts[0],
        rest_after_v=volts[1],
        temp_c=temp_c,
        load_a=8.0,
    )
    assert np.isfinite(found.capacity_ah.mean)
