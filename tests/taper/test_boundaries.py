"""Signals, trends and likelihood on both sides of what decides them, worked by hand."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from batterymodel import History, Readings, Supply, assess
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import (
    held_voltage_v,
    meter_resolution_a,
    signal_from,
    transient_mask,
)
from batterymodel.taper.trends import rise_of, warming_c_per_min
from tests.conftest import simulated_connection

SUPPLY = Supply(rated_current_a=60.0)


def fit_of(readings, battery, supply=SUPPLY, load_a=8.0, load_sd_a=0.1):
    return fit_taper(signal_from(readings, supply, load_a, load_sd_a), prior_for(battery, 25.0))


@pytest.mark.parametrize(("level_a", "limited"), [(57.5, True), (50.0, False)])
def test_a_supply_rated_at_60_a_holds_its_limit_near_60_a(level_a, limited):
    """Flat at 57.5 A is 4 % below the plate; flat at 50 A is 17 % below and is another thing."""
    readings = simulated_connection(0.38, minutes=6.0, limit_a=level_a)
    signal = signal_from(readings, SUPPLY, 8.0, 0.1)
    assert (signal.limit_end_s is not None) == limited


def test_a_load_nobody_gave_is_between_nothing_and_the_least_reading():
    """The middle, and as far to either side: with 20 A at least, 10 A to 10 A."""
    falling = Readings(elapsed_s=[0.0, 60.0, 120.0, 180.0], supply_current_a=[32.0, 26, 22, 20])
    load = signal_from(falling, SUPPLY).load
    assert not load.given
    assert load.mean_a - load.sd_a == pytest.approx(0.0)
    assert load.mean_a + load.sd_a == pytest.approx(20.0)


@pytest.mark.parametrize(("first_s", "carried_back"), [(890.0, True), (910.0, False)])
def test_a_quarter_of_an_hour_is_carried_back_to_connection(first_s, carried_back):
    time = first_s + 10.0 * np.arange(30)
    signal = signal_from(Readings(elapsed_s=time, supply_current_a=30.0 - 0.01 * time), SUPPLY)
    assert (signal.time_s[0] == first_s) == carried_back
    assert bool(signal.notes) == (not carried_back)


@pytest.mark.parametrize(("spike_a", "out"), [(0.45, False), (0.7, True)])
def test_a_spike_of_half_an_ampere_stands_out_of_a_fine_meter(spike_a, out):
    current = np.round(10.0 - 0.02 * np.arange(40), 2)
    current[20] += spike_a
    assert transient_mask(current, 0.01).any() == out


def test_meter_steps_are_found():
    assert meter_resolution_a(np.array([12.4, 11.8, 9.0])) == 0.2
    assert meter_resolution_a(np.array([12.45, 11.8, 9.0])) == 0.05


@pytest.mark.parametrize(("step_a", "seen"), [(0.8, False), (1.4, True)])
def test_a_jump_of_an_ampere_is_a_step_of_the_load(step_a, seen):
    time = 5.0 * np.arange(61)
    current = 14.0 - 0.004 * time + step_a * (time >= 150.0)
    signal = signal_from(Readings(elapsed_s=time, supply_current_a=current.round(2)), SUPPLY, 8.0)
    assert bool(signal.steps) == seen


def rising_fit(battery, rise_a, scatter_a=0.0, level_a=14.0, load_a=8.0):
    """A level current that climbs by so much over the last 40 % of ten minutes.

    The scatter has no slope of its own in that stretch.
    """
    time = 5.0 * np.arange(121)
    scatter, late = np.random.default_rng(5).standard_normal(time.size), time >= 360.0
    scatter[late] -= np.polyval(np.polyfit(time[late], scatter[late], 1), time[late])
    scatter *= scatter_a / scatter[late].std()
    current = level_a + rise_a * np.maximum(time - 360.0, 0.0) / 240.0 + scatter
    return fit_of(Readings(elapsed_s=time, supply_current_a=current), battery, load_a=load_a)


@pytest.mark.parametrize(("rise_a", "counts"), [(0.22, False), (0.42, True)])
def test_least_rise_of_a_small_current(battery, rise_a, counts):
    """Six amperes of battery current: 2 % are 0.12 A, so that 0.3 A decides."""
    assert (rise_of(rising_fit(battery, rise_a)) is not None) == counts


@pytest.mark.parametrize(("rise_a", "counts"), [(0.75, False), (1.3, True)])
def test_least_rise_of_a_large_current(battery, rise_a, counts):
    """50 A of battery current on a supply that never limits: 2 % are 1 A."""
    fit = rising_fit(battery, rise_a, level_a=50.0, load_a=0.0)
    assert (rise_of(fit) is not None) == counts


@pytest.mark.parametrize(("rise_a", "counts"), [(0.9, False), (1.6, True)])
def test_least_rise_in_scatter(battery, rise_a, counts):
    """0.6 A of scatter in 49 readings: the change of a line is known to 0.6 x sqrt(12 / 49).

    That is 0.30 A, and four of it are 1.2 A.
    """
    assert (rise_of(rising_fit(battery, rise_a, scatter_a=0.6)) is not None) == counts


@pytest.mark.parametrize(("rise_c", "rate"), [(0.1, 0.0), (1.0, 0.2)])
def test_warming_below_three_errors_of_the_thermometer_is_none(rise_c, rate):
    """Eleven readings to 0.1 degC over five minutes: a change of 0.1 degC is one error of 0.1."""
    time = 30.0 * np.arange(11)
    found = warming_c_per_min(time, 25.0 + rise_c * time / 300.0)
    assert found == pytest.approx(rate)


def moments(posterior):
    weight = posterior.of_charge * posterior.charge_ah
    weight = weight / weight.sum()
    mean = float(weight @ posterior.charge_ah)
    return mean, float(weight @ (posterior.charge_ah - mean) ** 2)


def test_an_uncertain_end_of_the_limit_costs_its_ampere_hours(battery):
    """A minute of not knowing at 52 A is 52 x 60 / 3600 = 0.87 Ah, in quadrature."""
    signal = signal_from(simulated_connection(0.38, minutes=6.0), SUPPLY, 8.0, 0.1)
    assert signal.limit_end_s is not None
    variances = []
    for sd_s in (0.0, 60.0):
        fit = fit_taper(replace(signal, limit_end_sd_s=sd_s), prior_for(battery, 25.0))
        variances.append(moments(charge_posterior(fit))[1])
    assert variances[1] - variances[0] == pytest.approx(0.87**2, rel=0.25)


@pytest.mark.parametrize(
    ("held_v", "slower"), [(27.0, 0.0), (28.5, 0.0), (26.4, 0.5 * np.log(1.2 / 0.6)), (25.9, 0.75)]
)
def test_below_the_charging_window_the_taper_is_believed_slower(battery, held_v, slower):
    """Window from 27.0 V, full at 25.8 V: half of ln((27 - 25.8) / (26.4 - 25.8)); at 25.9 V that
    log would be 2.5, and 1.5 is the most. The spread grows by as much, in quadrature.
    """
    plain, low = prior_for(battery, 25.0), prior_for(battery, 25.0, held_v=held_v)
    assert low.log_time_s - plain.log_time_s == pytest.approx(slower, abs=1e-6)
    assert low.log_time_sd == pytest.approx(np.hypot(plain.log_time_sd, slower), abs=1e-6)


def test_the_voltage_held_is_that_after_the_limit():
    """While the supply gives all it has its voltage sags; unread, the setting stands in."""
    volts = np.array([24.0, 25.0, 27.9, 28.0, 28.1])
    read = Readings(
        elapsed_s=10.0 * np.arange(5), supply_current_a=np.full(5, 9.0), supply_voltage_v=volts
    )
    supply = Supply(rated_current_a=60.0, set_voltage_v=28.5)
    assert held_voltage_v(read, supply, 20.0) == pytest.approx(28.0)
    assert held_voltage_v(read, supply, 50.0) == pytest.approx(28.5)
    assert held_voltage_v(read, None, 50.0) is None


@pytest.mark.parametrize(
    ("last", "sd"), [(None, 0.128), (date(2026, 3, 2), 0.128), (date(2022, 3, 1), 0.238)]
)
def test_a_history_drifts_with_age(battery, last, sd):
    """12 % and 4.5 % between connections: 12.8 %; after four years 10 % times two more: 23.8 %."""
    known = battery.model_copy(update={"history": History(charge_time_h=0.31, on=last)})
    assert prior_for(known, None, date(2026, 3, 2)).log_time_sd == pytest.approx(sd, abs=0.001)


def test_four_years_of_drift_make_the_range_of_the_charge_wider(battery):
    readings = simulated_connection(0.12)
    width = {}
    for last in (date(2026, 3, 1), date(2022, 3, 1)):
        known = battery.model_copy(update={"history": History(charge_time_h=0.31, on=last)})
        result = assess(readings, known, load_a=8.0, load_sd_a=0.2, on=date(2026, 3, 2))
        width[last] = result.state_of_charge.at_connection
    fresh, old = width.values()
    assert old.high - old.low > 1.02 * (fresh.high - fresh.low)
