"""What else would look like this: the conditions, against stories and against random sampling."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from scipy.special import expit, logsumexp

from batterymodel import (
    Battery,
    CapacityCheck,
    Chemistry,
    History,
    Outcome,
    Readings,
    Supply,
    assess,
)
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.conditions import CONDITIONS, LAW_TIME_LOG_SD, UNSAFE, Condition
from batterymodel.soc import account
from batterymodel.soc.conditions import ConditionState, condition_state
from batterymodel.soc.evidence import rest_voltage_evidence, surface_plausibility
from batterymodel.soc.overheating import overheating_log_ratio
from batterymodel.taper.posterior import charge_grid_ah
from batterymodel.taper.prior import prior_for
from batterymodel.taper.problem import taper_data
from batterymodel.taper.shape import Shape, hold_current
from batterymodel.taper.signals import signal_from
from batterymodel.taper.trends import Rise
from tests.conftest import simulated_connection
from tests.sparing import sparing

PLAIN = Battery(tail="DEMO-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)
SUPPLY = Supply(rated_current_a=150.0)


def judged(readings: Readings, battery: Battery = PLAIN, **told: float):
    return assess(readings, battery, SUPPLY, load_a=8.0, load_sd_a=0.2, ambient_c=25.0, **told)


def chance(result, condition: Condition) -> float:
    return next((c.probability for c in result.conditions if c.name == condition), 0.0)


def level_bus(seed: int = 1) -> Readings:
    rng = np.random.default_rng(seed)
    time = np.arange(0.0, 301.0, 5.0)
    return Readings(elapsed_s=time, supply_current_a=np.round(8.0 + rng.normal(0, 0.05, 61), 1))


def test_chances_sum_to_one_and_come_in_order():
    result = judged(simulated_connection(0.1))
    chances = [c.probability for c in result.conditions]
    assert sum(chances) == pytest.approx(1.0)
    assert chances == sorted(chances, reverse=True)
    assert result.conditions[0].name == Condition.SOUND


def test_frequencies_are_those_of_all_batteries():
    assert sum(b.frequency for b in CONDITIONS.values()) == pytest.approx(1.0)
    assert sum(b.frequency_known for b in CONDITIONS.values()) == pytest.approx(1.0)


def test_a_small_current_alone_does_not_prove_a_full_battery():
    """A quarter of the current from four times the charge: the same amplitude, longer time."""
    for seed in (1, 2, 3):
        sulfated = simulated_connection(0.5, charge_time_h=1.6, minutes=5.0, seed=seed)
        assert judged(sulfated).outcome is not Outcome.TOP_OFF
        told = judged(sulfated, rest_voltage_v=24.8)
        assert told.outcome is not Outcome.TOP_OFF
        named = [c.name for c in told.conditions[:2]]
        assert Condition.ACCEPTS_LITTLE in named


def test_a_rest_voltage_or_a_long_fall_tells_a_full_battery_from_one_that_accepts_little():
    full = simulated_connection(0.06, minutes=5.0)
    bare = judged(full)
    told = judged(full, rest_voltage_v=25.7)
    long = judged(simulated_connection(0.06, minutes=30.0))
    assert told.outcome is Outcome.TOP_OFF
    for better in (told, long):
        assert chance(better, Condition.ACCEPTS_LITTLE) < chance(bare, Condition.ACCEPTS_LITTLE)


def test_a_level_bus_may_have_no_battery_on_it():
    result = judged(level_bus())
    assert result.outcome is Outcome.KEEP_WATCHING
    assert chance(result, Condition.NOTHING_CHARGING) > 0.3
    assert "isolate the battery" in " ".join(f.text for f in result.findings)


def test_a_supply_at_its_limit_is_charging_something():
    readings = simulated_connection(0.6, limit_a=60.0)
    result = assess(readings, PLAIN, Supply(rated_current_a=60.0), load_a=8.0, load_sd_a=0.2)
    assert Condition.NOTHING_CHARGING not in {c.name for c in result.conditions}


LITHIUM = Battery(tail="D", chemistry=Chemistry.LFP, cells=8, rated_capacity_ah=30.0)


def lithium(course_a, battery: Battery = LITHIUM, minutes: float = 10.0, **told):
    """A course of battery current beside a bus load of 8 A."""
    time = np.arange(0.0, 60.0 * minutes + 1.0, 10.0)
    readings = Readings(elapsed_s=time, supply_current_a=8.0 + np.round(course_a(time), 1))
    given = {"load_a": 8.0, "load_sd_a": 0.05, "ambient_c": 20.0, "on": date(2026, 3, 2)} | told
    return assess(readings, battery, SUPPLY, **given)


def test_lithium_that_takes_its_current_and_then_none_is_sound():
    for course in (lambda t: 40.0 + 0.0 * t, lambda t: 30.0 * np.exp(-t / 300.0)):
        result = lithium(course)
        assert result.conditions[0].name == Condition.SOUND
        assert sum(c.probability for c in result.conditions) == pytest.approx(1.0)


def test_lithium_behind_a_bad_joint_accepts_little():
    """By hand: 1.4 V of headroom over half an ohm are 2.8 A, flat: a tenth of the plate."""
    result = lithium(lambda t: 2.8 - 0.1 * t / 600.0)
    assert Condition.ACCEPTS_LITTLE in {c.name for c in result.conditions[:2]}
    assert chance(result, Condition.ACCEPTS_LITTLE) > 0.3
    assert result.outcome is not Outcome.TOP_OFF


def test_lithium_that_tails_off_slowly_accepts_little():
    """Half an hour of time constant, six times that of a sound one."""
    slow, quick = (lithium(lambda t, s=s: 12.0 * np.exp(-t / s)) for s in (1800.0, 290.0))
    accepts = Condition.ACCEPTS_LITTLE
    assert chance(slow, accepts) > 0.2
    assert chance(quick, accepts) < 0.1


def test_no_current_into_lithium_may_be_an_open_circuit():
    result = lithium(lambda t: 0.0 * t)
    assert Condition.NOTHING_CHARGING in {c.name for c in result.conditions[:2]}
    assert chance(result, Condition.NOTHING_CHARGING) > 0.2
    assert result.outcome is Outcome.KEEP_WATCHING
    charging = lithium(lambda t: 20.0 * np.exp(-t / 300.0))
    assert chance(charging, Condition.NOTHING_CHARGING) < 0.001


def test_lithium_at_half_its_current_may_be_worn():
    """As often as its belief in capacity says: a fresh good check leaves none."""
    half = lithium(lambda t: 16.0 + 0.0 * t)
    assert Condition.WORN in {c.name for c in half.conditions[:3]}
    check = CapacityCheck(on=date(2026, 2, 2), capacity_ah=31.0)
    checked = lithium(
        lambda t: 16.0 + 0.0 * t, LITHIUM.model_copy(update={"capacity_check": check})
    )
    assert chance(checked, Condition.WORN) < 0.2 * chance(half, Condition.WORN)


def test_a_lithium_rest_voltage_one_cell_short_names_the_shorted_cell():
    """Seven cells of 3.33 V are 23.3 V: of eight, empty ones, which would not be full so soon."""
    short, whole = (
        lithium(lambda t: 1.8 + 20.0 * np.exp(-t / 150.0), rest_voltage_v=volts)
        for volts in (23.3, 26.6)
    )
    assert Condition.SHORTED_CELL in {c.name for c in short.conditions[:2]}
    shorted = Condition.SHORTED_CELL
    assert chance(short, shorted) > 50.0 * chance(whole, shorted)


def test_a_small_current_left_after_a_lithium_taper_may_be_a_leak():
    """Full within minutes, and 2 A that stay: beside no such rest, a leak is hardly believed."""
    leak, dry = (
        lithium(lambda t, a=a: a + 12.0 * np.exp(-t / 200.0), minutes=30.0) for a in (2.0, 0.0)
    )
    assert chance(leak, Condition.LEAK_OR_GASSING) > 10.0 * 0.001
    assert chance(dry, Condition.LEAK_OR_GASSING) < 0.002


def test_a_hot_lithium_battery_is_named_as_overheating():
    hot, calm = (lithium(lambda t: 20.0 * np.exp(-t / 300.0), ambient_c=c) for c in (58.0, 25.0))
    assert Condition.OVERHEATING in {c.name for c in hot.conditions[:2]}
    assert chance(calm, Condition.OVERHEATING) < 0.01


def test_lithium_at_the_supply_limit_is_charging_something():
    time = np.arange(0.0, 601.0, 10.0)
    readings = Readings(elapsed_s=time, supply_current_a=np.full(time.size, 60.0))
    result = assess(readings, LITHIUM, Supply(rated_current_a=60.0), load_a=8.0, ambient_c=20.0)
    assert Condition.NOTHING_CHARGING not in {c.name for c in result.conditions}
    assert result.conditions[0].name == Condition.SOUND


def test_unfit_counts_low_charge_and_unsafe_conditions():
    state = ConditionState(
        {Condition.SOUND: 0.9, Condition.WORN: 0.08, Condition.SHORTED_CELL: 0.02},
        {Condition.SOUND: 0.0, Condition.WORN: 0.5, Condition.SHORTED_CELL: 0.0},
    )
    assert Condition.SHORTED_CELL in UNSAFE
    assert state.unfit == pytest.approx(0.08 * 0.5 + 0.02)
    assert state.gravest is Condition.WORN
    assert [c for c, _ in state.ranked] == [
        Condition.SOUND,
        Condition.WORN,
        Condition.SHORTED_CELL,
    ]


def sampled_log_evidence(
    condition: Condition, depth: float, minutes: float, draws: int = 200_000
) -> float:
    """Log marginal likelihood by drawing charge, shape and capacity from the belief.

    The linear rest (float current, load, smooth deviations) is Gaussian: its covariance joins that
    of the readings.
    """
    rng = np.random.default_rng(11)
    belief, taper = CONDITIONS[condition], data_for(PLAIN.chemistry).taper
    signal = signal_from(simulated_connection(depth, minutes=minutes, every_s=30.0), SUPPLY, 8.0)
    prior = prior_for(PLAIN, 25.0)
    data = taper_data(signal, prior)
    whole = capacity_belief(PLAIN)
    parts = {"sound": whole.sound_part(), "worn": whole.worn_part(), "any": whole}
    held = parts[belief.capacity]
    capacity = rng.choice(held.capacity_ah, draws, p=held.weight)
    charge = rng.uniform(size=draws) * capacity / taper.efficiency
    charge = np.maximum(charge, charge_grid_ah(prior.capacity_ah)[0])
    own_sd = prior.log_time_sd_at(data.c_rate_guess_per_h)
    time_sd = np.linalg.norm((own_sd, belief.time_log_sd, LAW_TIME_LOG_SD))
    share_sd = prior.logit_share_sd(data.c_rate_guess_per_h)
    z_time, z_share = rng.normal(size=(2, draws))
    c_rate = np.zeros(draws)
    for _ in range(60):
        log_time = prior.log_time_at(c_rate) + belief.time_log + time_sd * z_time
        share = expit(prior.logit_share_at(c_rate) + share_sd * z_share)
        shape = Shape(np.exp(log_time), share, prior.fast_ratio)
        c_rate = 0.5 * c_rate + 0.5 * 3600.0 * charge / shape.charge_time_s / prior.capacity_ah
    amplitude = 3600.0 * charge / shape.charge_time_s
    columns = Shape(np.exp(log_time)[:, None], share[:, None], prior.fast_ratio)
    model = amplitude[:, None] * hold_current(data.since_hold_s[None, :], columns)
    ones = np.ones((data.time_s.size, 1))
    level_a, level_sd_a = prior.float_current_a, prior.float_current_sd_a
    if belief.float_current_per_ah is not None:
        level_a = level_sd_a = belief.float_current_per_ah * PLAIN.rated_capacity_ah
    spread = [ones * level_sd_a, ones * data.load_a[1], data.deviations]
    spread = np.hstack(spread)
    covariance = np.diag(data.sigma_a**2) + spread @ spread.T
    inverse = np.linalg.inv(covariance)
    left = data.current_a - data.load_a[0] - level_a - model
    chi = np.einsum("ni,ij,nj->n", left, inverse, left)
    size = -0.5 * np.linalg.slogdet(covariance)[1]
    return float(logsumexp(-0.5 * chi) - np.log(draws) + size)


def levelled(level_a: float, minutes: float = 5.0) -> Readings:
    """A current that falls by 1 A to a level it keeps, beside a bus load of 8 A."""
    time = np.arange(0.0, 60.0 * minutes + 1.0, 15.0)
    return Readings(
        elapsed_s=time, supply_current_a=np.round(8.0 + level_a + np.exp(-time / 300.0), 1)
    )


@pytest.mark.parametrize(("level_a", "minutes"), [(4.0, 10.0), (2.4, 20.0)])
def test_a_current_that_stops_falling_may_be_a_leak(level_a, minutes):
    """Five minutes are too few to tell it from a slow taper: one battery in a thousand leaks."""
    result = judged(levelled(level_a, minutes), rest_voltage_v=25.8)
    assert result.outcome is not Outcome.TOP_OFF
    assert chance(result, Condition.LEAK_OR_GASSING) > 3.0 * 0.001


def test_a_rest_voltage_one_cell_short_names_the_shorted_cell():
    """Eleven full cells of 2.15 V rest at 23.65 V: far too low for twelve that take so little."""
    result = judged(levelled(4.0), rest_voltage_v=23.65)
    assert result.outcome is not Outcome.TOP_OFF
    assert Condition.SHORTED_CELL in {c.name for c in result.conditions[:2]}
    whole = judged(levelled(4.0), rest_voltage_v=25.8)
    assert chance(whole, Condition.SHORTED_CELL) < 0.2


def test_one_cell_has_none_to_spare():
    cell = PLAIN.model_copy(update={"cells": 1})
    result = assess(simulated_connection(0.1), cell, SUPPLY, load_a=8.0, rest_voltage_v=2.14)
    assert Condition.SHORTED_CELL not in {c.name for c in result.conditions}


@pytest.mark.long
@pytest.mark.parametrize("depth", sparing([0.1, 0.3]))
def test_relative_chances_agree_with_random_sampling(depth, monkeypatch):
    """The odds of accepts little and of worn against sound, by drawing from the beliefs.

    Differences that the sampling does not share (nodes, robust weights, the rate that moves the
    shape) are allowed 0.3 of log odds: the sampling itself is good to about 0.1.
    """
    monkeypatch.setattr(account, "laws_at", lambda left: np.ones((left.size, 1)))
    signal = signal_from(simulated_connection(depth, minutes=3.0, every_s=30.0), SUPPLY, 8.0)
    state = condition_state(signal, prior_for(PLAIN, 25.0), PLAIN, (), None, 25.0, 0.0, 0.75)
    sound = Condition.SOUND
    for other in (Condition.ACCEPTS_LITTLE, Condition.WORN, Condition.LEAK_OR_GASSING):
        of_frequency = np.log(CONDITIONS[other].frequency / CONDITIONS[sound].frequency)
        odds = np.log(state.probability[other] / state.probability[sound]) - of_frequency
        drawn = sampled_log_evidence(other, depth, 3.0) - sampled_log_evidence(sound, depth, 3.0)
        assert odds == pytest.approx(drawn, abs=0.3)


def rising(by_battery: bool) -> Rise:
    return Rise(amount=2.0, least=0.5, span_s=120.0, since_s=200.0, from_battery=by_battery)


def test_signs_of_heat_add_up():
    """By hand: a rise of the battery's own current 0.6 / 0.001, a hot battery 0.5 / 0.002."""
    hot_and_rising = overheating_log_ratio(rising(True), hot=True, warming=False, read=True)
    assert np.exp(hot_and_rising) == pytest.approx(600.0 * 250.0)
    calm = overheating_log_ratio(None, hot=False, warming=False, read=True)
    assert np.exp(calm) == pytest.approx(0.4 * 0.1 / 0.9)
    unread = overheating_log_ratio(None, hot=False, warming=False, read=False)
    assert np.exp(unread) == pytest.approx(0.4)
    load = overheating_log_ratio(rising(False), hot=False, warming=True, read=True)
    assert np.exp(load) == pytest.approx(20.0 * 50.0)


def test_a_battery_whose_own_current_rises_is_named_as_overheating():
    time = np.arange(0.0, 601.0, 10.0)
    current = 6.0 * np.exp(-time / 200.0) + 2.0 * np.exp((time - 300.0) / 200.0)
    readings = Readings(
        elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=np.round(current, 1)
    )
    result = judged(readings)
    assert result.outcome is Outcome.DISCONNECT
    assert result.conditions[0].name == Condition.OVERHEATING


def test_a_hot_battery_is_named_and_a_calm_one_is_not():
    hot, calm = (judged_at(temp) for temp in (58.0, 25.0))
    assert Condition.OVERHEATING in {c.name for c in hot.conditions[:2]}
    assert chance(calm, Condition.OVERHEATING) < 0.001


def judged_at(temp_c: float):
    readings = simulated_connection(0.1)
    temps = np.full(readings.elapsed_s.size, temp_c)
    return judged(readings.model_copy(update={"battery_temp_c": temps}))


def test_a_dozen_coarse_seconds_leave_each_time_constant_as_believed():
    """By hand: sound batteries spread by hypot(0.36, 0.25) = 0.438 in its log, 0.25 of it for other
    laws than two exponentials; one that accepts little lies four times, 1.4, above.
    """
    readings = simulated_connection(0.1, minutes=0.2, every_s=1.0, noise_a=0.3)
    signal = signal_from(readings, SUPPLY, 8.0, 3.0)
    state = condition_state(signal, prior_for(PLAIN, 25.0), PLAIN, (), None, 25.0, 0.0, 0.75)
    mean, sd = {}, {}
    for condition in (Condition.SOUND, Condition.ACCEPTS_LITTLE):
        posterior = state.accounts[condition].posterior
        node, _, weight = posterior.pairs()
        log_time = np.log(posterior.shape.of_nodes(node).time_constant_s)
        mean[condition] = float(weight @ log_time)
        sd[condition] = float(np.sqrt(weight @ (log_time - mean[condition]) ** 2))
    assert sd[Condition.SOUND] == pytest.approx(0.438, abs=0.03)
    apart = mean[Condition.ACCEPTS_LITTLE] - mean[Condition.SOUND]
    assert apart == pytest.approx(1.4, abs=0.15)


def test_a_fresh_good_check_leaves_no_worn_battery():
    """4 % of batteries are worn of which nothing is known; hardly one that held its plate a month
    ago, and more of those that held 80 % of it."""
    checks = [CapacityCheck(on=date(2026, 2, 2), capacity_ah=held) for held in (41.0, 32.0)]
    good, poor = (PLAIN.model_copy(update={"capacity_check": check}) for check in checks)
    told = {"rest_voltage_v": 25.6, "on": date(2026, 3, 2)}
    plain, well, badly = (
        chance(judged(simulated_connection(0.1), battery, **told), Condition.WORN)
        for battery in (PLAIN, good, poor)
    )
    assert well < 0.1 * plain
    assert badly > plain


def test_a_known_battery_is_met_sound_more_often():
    """Accepts little: 3 % of all connections, 1.5 % of those of batteries with tapers on record.

    A history as wide as the chemistry's own belief tells nothing else.
    """
    expected = (0.015 / 0.95) / (0.03 / 0.91)
    assert odds_of_little(WIDE, None) / odds_of_little(None, None) == pytest.approx(
        expected, rel=0.15
    )


WIDE = History(charge_time_h=0.389, charge_time_rel_sd=0.357, on=date(2024, 3, 1))


def odds_of_little(history: History | None, on: date | None) -> float:
    """Odds of *accepts little* against *sound* after half a minute."""
    battery = PLAIN.model_copy(update={"history": history})
    signal = signal_from(simulated_connection(0.2, minutes=0.5), SUPPLY, 8.0, 3.0)
    prior = prior_for(battery, 25.0)
    found = condition_state(signal, prior, battery, (), None, 25.0, 0.0, 0.75, on).probability
    return found[Condition.ACCEPTS_LITTLE] / found[Condition.SOUND]


def test_what_old_tapers_say_of_the_condition_fades():
    """After two years exp(-2) of it is left: 2.80 % accept little and 91.54 % are sound."""
    known = 0.1353
    little, sound = (known * a + (1.0 - known) * b for a, b in ((0.015, 0.03), (0.95, 0.91)))
    now, later = (odds_of_little(WIDE, date(2024 + years, 3, 1)) for years in (0, 2))
    assert later / now == pytest.approx((little / sound) / (0.015 / 0.95), rel=0.01)


def test_tapers_of_a_later_day_say_as_much_as_those_of_the_day():
    earlier, same = (odds_of_little(WIDE, date(year, 3, 1)) for year in (2022, 2024))
    assert earlier == pytest.approx(same, rel=1e-9)


def test_a_rest_voltage_eleven_cells_cannot_have_speaks_against_a_shorted_cell():
    """25.8 V on eleven cells is 2.35 V each, 0.2 V above a full one: four deviations of surface
    charge. At 23.65 V, eleven full cells, nothing of the kind is in the way."""
    readings = simulated_connection(0.1)
    high, low = (surface_plausibility(PLAIN, volts * 12.0 / 11.0, 25.0) for volts in (25.8, 23.65))
    assert high == pytest.approx(0.05, abs=0.005)
    assert low == 1.0
    with_voltage = chance(judged(readings, rest_voltage_v=25.8), Condition.SHORTED_CELL)
    assert with_voltage < 0.3 * chance(judged(readings), Condition.SHORTED_CELL)


def test_an_old_battery_is_worn_more_often():
    """As often as its belief in capacity says, next to that of a battery of unknown age."""
    on = date(2026, 3, 2)
    old = PLAIN.model_copy(update={"installed_on": date(2018, 3, 2)})
    signal = signal_from(simulated_connection(0.2, minutes=0.5), SUPPLY, 8.0, 3.0)
    odds = []
    for battery in (PLAIN, old):
        prior = prior_for(battery, 25.0, on)
        found = condition_state(signal, prior, battery, (), None, 25.0, 0.0, 0.75, on).probability
        odds.append(found[Condition.WORN] / found[Condition.SOUND])
    expected = capacity_belief(old, on).worn / capacity_belief(PLAIN, on).worn
    assert expected > 2.0
    assert odds[1] / odds[0] == pytest.approx(expected, rel=0.2)


@pytest.mark.parametrize(("settles_a", "load_told"), [(2.0, True), (2.0, False), (1.0, True)])
def test_a_load_that_settles_is_no_proof_of_a_battery(settles_a, load_told):
    """Avionics that warm up over some minutes on a bus whose battery relay is open."""
    time = np.arange(0.0, 601.0, 15.0)
    current = np.round(8.0 + settles_a * np.exp(-time / 180.0), 1)
    readings = Readings(
        elapsed_s=time, supply_current_a=current, battery_temp_c=np.full(time.size, 20.0)
    )
    small = PLAIN.model_copy(update={"rated_capacity_ah": 24.0})
    result = assess(readings, small, SUPPLY, load_a=8.0 if load_told else None)
    assert result.outcome is Outcome.KEEP_WATCHING
    assert chance(result, Condition.NOTHING_CHARGING) > 0.3


def test_a_clamp_on_the_battery_reads_no_load():
    time = np.arange(0.0, 601.0, 15.0)
    current = np.round(2.0 * np.exp(-time / 180.0), 1)
    readings = Readings(elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=current)
    assert chance(judged(readings), Condition.NOTHING_CHARGING) < 0.01


def test_a_rest_voltage_that_no_charge_explains_speaks_for_a_missing_cell():
    """23.2 V is 1.93 V from each of twelve cells, less than empty ones show (1.98 V), and 2.11 V
    from each of eleven: three quarters full, which the current says as well.

    Of the likelihood that twelve cells give the voltage of a full battery 0.092 is left: 0.0099
    that it misleads and 0.083 of empty cells (23.76 V by 0.292 V, a peak of 0.521), over 1.0099.
    """
    readings = simulated_connection(0.2, minutes=5.0)
    told = judged(readings, rest_voltage_v=23.2)
    evidence = rest_voltage_evidence(PLAIN, 23.2, 25.0)
    odds = chance(told, Condition.SHORTED_CELL) / chance(told, Condition.SOUND)
    assert evidence.peak == pytest.approx(0.092, rel=0.03)
    assert odds > 0.05


def test_a_rest_voltage_that_eleven_cells_explain_no_better_speaks_for_none():
    """18 V is 1.64 V from each of eleven cells: it misleads, whatever the battery is."""
    readings = simulated_connection(0.2, minutes=5.0)
    odds = [
        chance(told, Condition.SHORTED_CELL) / chance(told, Condition.SOUND)
        for told in (judged(readings), judged(readings, rest_voltage_v=18.0))
    ]
    assert odds[1] == pytest.approx(odds[0], rel=0.05)
