"""Evidence, combination and learning on both sides of what decides them, worked by hand."""

from datetime import date, timedelta

import numpy as np
import pytest

from batterymodel import History, LastKnown, Outcome, Supply, assess
from batterymodel.reference.conditions import Condition
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.samples.simulate import battery_current_a
from batterymodel.soc.account import Account
from batterymodel.soc.combination import charge_state
from batterymodel.soc.conditions import ConditionState
from batterymodel.soc.evidence import (
    SOC_GRID,
    charge_factors,
    last_known_evidence,
    rest_voltage_evidence,
    surface_plausibility,
)
from batterymodel.soc.learning import MeasuredTaper, is_complete, measured_taper, updated_history
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from tests.conftest import simulated_connection, true_path

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)


def known_state(battery, days_ago, soc=0.9, sd=0.03):
    last = LastKnown(on=ON - timedelta(days=days_ago), state_of_charge=soc, sd=sd)
    return last_known_evidence(battery.model_copy(update={"last_known": last}), ON)


def at(evidence, soc):
    return float(np.interp(soc, SOC_GRID, evidence.likelihood))


@pytest.mark.parametrize(("days", "spread"), [(0, 0.030), (4, 0.050), (10, 0.1044), (40, 0.4011)])
def test_a_parked_battery_loses_a_percent_a_day(battery, days, spread):
    """Self-discharge common practice allows: hypot(0.03, 0.01 x days), to one deviation below."""
    evidence = known_state(battery, days)
    level = flat_level(days, sd=0.03)
    assert at(evidence, 0.9 - spread) * (1.0 + level) - level == pytest.approx(
        np.exp(-0.5), abs=0.01
    )


def flat_level(days, sd):
    """A record that says nothing: one in twenty, and one in a hundred more for every day."""
    nothing = 1.0 - 0.95 * 0.99**days
    return nothing / (1.0 - nothing) * sd * np.sqrt(2.0 * np.pi)


@pytest.mark.parametrize("days", [0, 10, 60])
def test_an_old_record_says_less(battery, days):
    """Ten deviations above what it says, nothing is left but the share that says nothing."""
    evidence = known_state(battery, days, soc=0.5)
    level = flat_level(days, sd=0.03)
    assert at(evidence, 0.85) == pytest.approx(level / (1.0 + level), rel=1e-3)


def test_one_record_in_twenty_says_nothing(battery):
    """A twentieth is spread flat over 0..1: of that 0.6 lies below 0.6, ten deviations away."""
    evidence = known_state(battery, 0, sd=0.03)
    far = SOC_GRID < 0.6
    normal = 0.95 * 0.9996
    expected = 0.05 * 0.6 / (0.05 + normal)
    share = evidence.likelihood[far].sum() / evidence.likelihood.sum()
    assert share == pytest.approx(expected, rel=0.03)


def test_one_rest_voltage_in_twenty_says_nothing(battery):
    """24.84 V stands at 0.5, where the spread is hypot(12 x 18 mV, 50 mV) = 0.222 V; when full it
    is 0.152 V, and the curve's span 2.04 V. Far away only the flat share is left, 0.05 / 0.95 x
    0.152 x 2.507 / 2.04, beside a peak of 0.152 / 0.222.
    """
    evidence = rest_voltage_evidence(battery, 24.84, 25.0)
    level = 0.05 / 0.95 * 0.1524 * 2.5066 / 2.04
    assert at(evidence, 1.0) == pytest.approx(level / (0.1524 / 0.2217 + level), rel=0.02)


def test_surface_charge_counts_as_full(battery):
    """27.0 V is above the 25.8 V of twelve full cells, and says what 25.8 V says.

    At 0.9 the curve is 0.1824 V below 25.8 V and its spread hypot(12 x 13.2 mV, 50 mV) = 0.166 V:
    exp(-0.5 x (0.1824 / 0.1661)**2) x 0.1524 / 0.1661 = 0.502 of the peak, beside the flat share of
    0.0099.
    """
    above = rest_voltage_evidence(battery, 27.0, 25.0)
    np.testing.assert_allclose(
        above.likelihood, rest_voltage_evidence(battery, 25.8, 25.0).likelihood, rtol=1e-9
    )
    assert above.peak == pytest.approx(1.0, rel=1e-9)
    assert at(above, 0.9) == pytest.approx((0.502 + 0.0099) / 1.0099, abs=0.005)
    assert at(above, 0.5) < 0.02


def test_surface_charge_alone_does_not_fill_an_empty_battery(battery):
    readings = simulated_connection(0.35)
    given = {"load_a": 8.0, "load_sd_a": 0.2, "on": ON}
    result = assess(readings, battery, SUPPLY, rest_voltage_v=27.0, **given)
    soc = result.state_of_charge
    assert result.outcome is not Outcome.TOP_OFF
    assert soc.at_connection.mean < 0.75
    assert soc.at_connection.low < 0.65 < soc.at_connection.high


@pytest.mark.parametrize("depth", [0.1, 0.2])
def test_minutes_to_topped_off_against_the_simulated_battery(battery, depth):
    """Until 2 % of 40 Ah are left to return: 0.8 Ah, by numerical integration of the simulation."""
    readings = simulated_connection(depth, minutes=5.0)
    time = np.arange(0.0, 6 * 3600.0, 10.0)
    path = true_path(depth, room_a=52.0)
    current = (
        battery_current_a(path, time, np.full(time.size, 52.0), step_s=5.0) - path.float_current_a
    )
    left = np.cumsum(current[::-1])[::-1] * 10.0 / 3600.0
    truth = (time[np.argmax(left < 0.8)] - readings.elapsed_s[-1]) / 60.0
    result = assess(readings, battery, SUPPLY, load_a=8.0, load_sd_a=0.2, ambient_c=25.0, on=ON)
    minutes = result.minutes_to_top_off
    assert minutes.low < truth < minutes.high
    assert minutes.mean == pytest.approx(truth, rel=0.2)


def test_charge_now_is_charge_at_connection_and_what_was_returned(battery):
    """Ampere-hours of the simulated battery over five minutes, times efficiency over capacity."""
    readings = simulated_connection(0.2, noise_a=0.0)
    returned_ah = np.trapezoid(readings.supply_current_a - 8.1, readings.elapsed_s) / 3600.0
    result = assess(readings, battery, SUPPLY, load_a=8.0, load_sd_a=0.1, ambient_c=25.0, on=ON)
    rise = result.state_of_charge.now.mean - result.state_of_charge.at_connection.mean
    assert rise == pytest.approx(returned_ah * 0.985 / 40.0, rel=0.1)


def taper_of(battery, depth, minutes):
    bare = battery.model_copy(update={"history": None})
    readings = simulated_connection(depth, minutes=minutes, every_s=20.0)
    signal = signal_from(readings, SUPPLY, 8.0, 0.05)
    fit = fit_taper(signal, prior_for(bare, 25.0))
    return fit, charge_posterior(fit)


def minutes_until_left(depth, share):
    """When the simulated battery has only this share of its charge left to take [min]."""
    time = np.arange(0.0, 6 * 3600.0, 10.0)
    path = true_path(depth)
    current = (
        battery_current_a(path, time, np.full(time.size, 52.0), step_s=5.0) - path.float_current_a
    )
    left = np.cumsum(current[::-1])[::-1]
    return float(time[np.argmax(left < share * left[0])]) / 60.0


@pytest.mark.parametrize(("share", "complete"), [(0.2, False), (0.05, True)])
def test_a_taper_is_complete_with_a_tenth_left(battery, share, complete):
    """A fifth of the charge still to come teaches nothing yet, a twentieth may stay away."""
    fit, posterior = taper_of(battery, 0.2, minutes_until_left(0.2, share))
    assert is_complete(fit, posterior) == complete


@pytest.mark.parametrize(("depth", "enough"), [(0.02, False), (0.04, True)])
def test_a_taper_of_three_percent_is_worth_learning_from(battery, depth, enough):
    assert is_complete(*taper_of(battery, depth, 120.0)) == enough


def test_a_taper_that_fixes_no_time_constant_teaches_nothing(battery):
    """Half a minute leaves the chemistry's spread of 0.36 in its log, 40 minutes do not."""
    short, long = (
        signal_from(simulated_connection(0.2, minutes=m), SUPPLY, 8.0, 0.05) for m in (0.5, 40.0)
    )
    assert measured_taper(short, battery, 25.0) is None
    assert measured_taper(long, battery, 25.0).log_time_sd < 0.3


def test_a_history_drifts_by_a_tenth_in_a_year(battery):
    """Four years are 0.2; hypot(0.03, 0.2) = 0.202 against a taper of hypot(0.2, 0.045) = 0.205.

    The two then meet nearly in the middle, and the error of both is 0.144.
    """
    share, four_years = 0.155, date(2022, 3, 2)
    of_charge = 1.0 - 0.875 * share
    known = battery.model_copy(
        update={
            "history": History(
                charge_time_h=1000.0 / 3600.0 * of_charge,
                charge_time_rel_sd=0.03,
                fast_share=share,
                on=four_years,
            )
        }
    )
    measured = MeasuredTaper(np.log(1210.0), 0.2, share, 0.02)
    history = updated_history(known, measured, ON)
    assert history.charge_time_h == pytest.approx(1100.0 / 3600.0 * of_charge, rel=0.01)
    assert history.charge_time_rel_sd == pytest.approx(0.144, abs=0.003)


def test_rest_voltage_and_taper_meet_by_their_errors(battery):
    """Two agreeing normal pieces: the variance of both is one over the sum of their inverses."""
    bare = battery.model_copy(update={"history": None})
    readings = simulated_connection(0.25)
    given = {"load_a": 8.0, "load_sd_a": 0.2, "ambient_c": 25.0, "on": ON}
    alone = assess(readings, bare, SUPPLY, **given).state_of_charge.at_connection
    volts = float(rest_voltage_v(bare, alone.mean, 25.0))
    both = assess(readings, bare, SUPPLY, rest_voltage_v=volts, **given)
    both = both.state_of_charge.at_connection
    voltage_sd = 0.1524 / (12 * (2.112 - 2.070) / 0.25)
    expected = (alone.sd**-2 + voltage_sd**-2) ** -0.5
    assert both.sd == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize(("above_v", "expected"), [(-0.2, 1.0), (0.6, 0.626), (1.2, 0.179)])
def test_surface_charge_of_fifty_millivolts_a_cell_is_plausible(battery, above_v, expected):
    """Twelve full cells are 25.8 V; 0.6 V above is one deviation: 0.05 + 0.95 exp(-1 / 2)."""
    found = surface_plausibility(battery, 25.8 + above_v, 25.0)
    assert found == pytest.approx(expected, abs=0.002)


def test_where_nothing_is_known_every_charge_is_as_likely_to_its_ends(battery):
    """Half of a bin lies outside at empty and full, so that its weight counts twice there."""
    _, posterior = taper_of(battery, 0.1, 3.0)
    sound = Account(posterior, charge_factors(battery), np.ones(SOC_GRID.size))
    state = ConditionState(
        {Condition.SOUND: 0.0, Condition.NOTHING_CHARGING: 1.0},
        {Condition.SOUND: 0.0, Condition.NOTHING_CHARGING: 1.0},
        {Condition.SOUND: sound},
    )
    density = charge_state(posterior, battery, (), state, 0.1, ON).combined.density
    over = density / density[density.size // 2]
    assert over == pytest.approx(np.ones(density.size), rel=1e-3)


@pytest.mark.parametrize(("probability", "counts"), [(0.004, False), (0.006, True)])
def test_a_condition_of_half_a_percent_counts(battery, probability, counts):
    """A sound battery near full, and a worn one that other evidence has below a third."""
    _, posterior = taper_of(battery, 0.1, 40.0)
    factors, low = charge_factors(battery), (SOC_GRID < 0.33).astype(float)
    sound = Account(posterior, factors, np.ones(SOC_GRID.size))
    worn = Account(posterior, 8.0 * factors, low)
    state = ConditionState(
        {Condition.SOUND: 1.0 - probability, Condition.WORN: probability},
        {Condition.SOUND: 0.0, Condition.WORN: 1.0},
        {Condition.SOUND: sound, Condition.WORN: worn},
    )
    mixed = charge_state(posterior, battery, (), state, 0.1, ON)
    expected = probability if counts else 0.0
    assert mixed.probability_below(0.4) == pytest.approx(expected, abs=1e-4)
