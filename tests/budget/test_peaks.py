"""Dips of the bus against another simulation, limiting cases by hand, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import BatteryModelError
from batterymodel.budget.peaks import (
    BusBattery,
    Dip,
    MotorStart,
    SupplyLine,
    dip_with_battery,
    dip_without_battery,
    drawn_circuits,
)
from batterymodel.budget.start_circuit import followed
from batterymodel.budget.starts import stored_share
from tests.budget.start_simulation import SeenStart, TrueStart, as_told, drawn_start, seen_start

MOTOR = MotorStart(10.0, 120.0, 0.5, 0.0, 0.0)
SUPPLY = SupplyLine(28.0, 60.0, 0.01)
BATTERY = BusBattery(25.4, 0.0, 0.012, 0.0, 5.0, 0.0)
LEAST_V = 22.0
COUNTS = [50, pytest.param(500, marks=pytest.mark.slow)]


Told = tuple[MotorStart, SupplyLine, BusBattery]


@cache
def _start(number: int) -> tuple[TrueStart, Told, SeenStart]:
    """A true start, the figures of it, and what a perfect recorder sees."""
    true = drawn_start(np.random.default_rng((2026, 11, number)))
    told = as_told(true)
    return true, told, seen_start(true, 3.0 * told[0].starting_s)


def _branch_known(true: TrueStart, battery: BusBattery) -> BusBattery:
    share = true.later_ohm / (true.later_ohm + true.prompt_ohm)
    return replace(
        battery, later_share=share, later_share_sd=0.0, later_s=true.later_s, later_log_sd=0.0
    )


def _misread(told: Told, rng: np.random.Generator) -> Told:
    motor, supply, battery = told
    starting = max(motor.starting_a * (1.0 + 0.1 * rng.normal()), motor.running_a)
    seconds = motor.starting_s * float(np.exp(0.25 * rng.normal()))
    ohm = battery.resistance_ohm * float(np.exp(0.25 * rng.normal()))
    rest = battery.rest_voltage_v + 0.2 * rng.normal()
    return (
        MotorStart(motor.running_a, starting, seconds),
        supply,
        replace(
            battery,
            rest_voltage_v=rest,
            rest_voltage_sd_v=0.2,
            resistance_ohm=ohm,
            resistance_log_sd=0.25,
        ),
    )


@pytest.mark.parametrize("count", COUNTS)
def test_the_least_voltage_agrees_with_another_simulation_where_the_circuit_is_known(count):
    errors, charge = [], []
    for number in range(count):
        true, (motor, supply, told), seen = _start(number)
        battery = _branch_known(true, told)
        dip = dip_with_battery(motor, true.load_a, supply, battery, LEAST_V)
        errors.append(dip.least_bus_v.mean - seen.bus_v.min())
        charge.append(dip.battery_charge_ah.mean - seen.battery_charge_ah)
    off = np.abs(errors)
    assert np.mean(off < 0.3) >= 0.95
    assert 0.001 < np.median(off) < 0.05
    assert np.quantile(np.abs(charge), 0.95) * 3600.0 < 8.0


@pytest.mark.parametrize("count", COUNTS)
def test_the_interval_holds_the_least_voltage_where_everything_is_told_with_an_error(count):
    rng = np.random.default_rng(5)
    inside = []
    for number in range(count):
        true, told, seen = _start(number)
        motor, supply, battery = _misread(told, rng)
        dip = dip_with_battery(motor, true.load_a, supply, battery, LEAST_V)
        low = seen.bus_v.min()
        inside.append(dip.least_bus_v.low - 0.02 <= low <= dip.least_bus_v.high + 0.02)
    assert np.mean(inside) >= (0.88 if count >= 500 else 0.80)


@pytest.mark.slow
def test_the_interval_holds_for_low_batteries_that_keep_any_part_of_their_overvoltage():
    """At a twentieth to a half of charge, told with the errors of `_misread`; what is kept of the
    overvoltage is anything from nothing to all of it."""
    rng, inside = np.random.default_rng(9), []
    for number in range(200):
        soc = rng.uniform(0.05, 0.5)
        true = replace(_start(number)[0], rest_v=23.2 + 2.0 * soc, stored=rng.uniform(0.0, 1.0))
        motor, supply, battery = _misread(as_told(true), rng)
        dip = dip_with_battery(
            motor, true.load_a, supply, replace(battery, **stored_share(soc)), LEAST_V
        )
        low = seen_start(true, 3.0 * motor.starting_s).bus_v.min()
        inside.append(dip.least_bus_v.low - 0.02 <= low <= dip.least_bus_v.high + 0.02)
    assert np.mean(inside) >= 0.88


def test_a_branch_slower_than_believed_never_dips_deeper_than_the_interval():
    """The overvoltage of charging then lasts: the tool errs to the safe side."""
    for number in range(8):
        slow = replace(_start(number)[0], later_s=4.0)
        motor, supply, battery = as_told(slow)
        seen = seen_start(slow, 3.0 * motor.starting_s)
        dip = dip_with_battery(motor, slow.load_a, supply, battery, LEAST_V)
        assert seen.bus_v.min() > dip.least_bus_v.low - 0.1


def test_a_long_start_ends_on_the_battery_resistance_alone():
    """By hand: 60 A of 150 A from the supply, 90 A through 12 mohm from 25.4 V."""
    steady = MotorStart(120.0, 120.01, 20.0, 0.0, 0.0)
    path = followed(drawn_circuits(steady, 30.0, SUPPLY, BATTERY))
    given = path.battery_a[-1]
    np.testing.assert_allclose(given + 60.0, 30.0 + path.motor_a[-1], atol=1e-6)
    np.testing.assert_allclose(path.bus_v[-1], 25.4 - 0.012 * given, atol=1e-3)


def test_a_start_within_the_limit_only_costs_the_cable():
    """By hand: 20 A and 10 A through 10 mohm below 28 V, and the battery's draw of 5 A."""
    small = MotorStart(2.0, 10.0, 0.5, 0.0, 0.0)
    dip = dip_with_battery(small, 20.0, SUPPLY, BATTERY, LEAST_V)
    assert dip.least_bus_v.low > 28.0 - 0.01 * 35.0 - 1e-6
    assert dip.least_bus_v.high < 28.0 - 0.01 * 25.0
    assert dip.at_limit_s.high == 0.0
    assert dip.chance_recovers == 1.0


def test_currents_add_up_at_every_step():
    path = followed(drawn_circuits(MOTOR, 30.0, SUPPLY, BATTERY))
    np.testing.assert_allclose(path.supply_a + path.battery_a, path.motor_a + 30.0, atol=1e-9)
    assert (path.supply_a <= 60.0).all()


def test_without_a_battery_the_bus_falls_to_what_the_limit_drives_through_the_motor():
    """By hand: 30 A of 60 A are left for a motor of 28 V / 120 A at rest: 7.0 V."""
    alone = dip_without_battery(MOTOR, 30.0, SUPPLY, LEAST_V)
    assert alone.least_bus_v.mean == pytest.approx(30.0 * 28.0 / 120.0, rel=0.01)
    assert alone.chance_within == 0.0
    assert alone.chance_below == 1.0
    assert alone.chance_starts == 1.0


def test_without_a_battery_a_motor_that_runs_above_the_limit_never_comes_to_speed():
    alone = dip_without_battery(replace(MOTOR, running_a=40.0), 30.0, SUPPLY, LEAST_V)
    assert alone.chance_starts == 0.0


def test_without_a_battery_a_start_within_the_limit_holds():
    alone = dip_without_battery(MotorStart(2.0, 20.0, 0.5), 20.0, SUPPLY, LEAST_V)
    assert alone.chance_within == 1.0
    assert alone.least_bus_v.low > 27.5


def test_a_steady_load_above_the_limit_is_told_from_the_start():
    dip = dip_with_battery(MOTOR, 80.0, SUPPLY, BATTERY, LEAST_V)
    assert dip.chance_recovers == 0.0


def test_a_supply_already_at_its_limit_gives_the_battery_no_overvoltage():
    full = replace(BATTERY, draw_a=30.0)
    held = replace(BATTERY, draw_a=27.0)
    limited, free = (
        dip_with_battery(MOTOR, 30.0, SUPPLY, b, LEAST_V).least_bus_v.mean for b in (full, held)
    )
    assert limited < free - 0.3


def _low(**told: float) -> Dip:
    battery = replace(BATTERY, **told)
    return dip_with_battery(MOTOR, 30.0, SUPPLY, battery, LEAST_V)


@settings(max_examples=6)
@given(ohm=st.floats(0.004, 0.05), more=st.floats(1.05, 2.0))
def test_more_resistance_never_dips_less(ohm, more):
    low, high = (_low(resistance_ohm=r).least_bus_v.mean for r in (ohm, ohm * more))
    assert high <= low + 1e-6


@settings(max_examples=6)
@given(sd=st.floats(0.0, 0.3))
def test_less_knowledge_never_narrows_the_interval(sd):
    known, unknown = _low(), _low(resistance_log_sd=sd, rest_voltage_sd_v=sd)
    width = [d.least_bus_v.high - d.least_bus_v.low for d in (known, unknown)]
    assert width[1] >= width[0] - 0.03


def test_what_nobody_knows_of_the_first_tenths_of_a_second_is_in_the_interval():
    """How fast the overvoltage of charging goes: about 2 V of it are on this battery."""
    whole = _low().least_bus_v
    known = _low(later_log_sd=0.0, later_share_sd=0.0).least_bus_v
    assert known.high - known.low < 0.01
    assert whole.high - whole.low > 1.0
    assert whole.low < 25.4 - 0.012 * 40.0 + 0.5


def test_time_and_chance_below_a_limit_follow_the_limit():
    circuit = drawn_circuits(MotorStart(10.0, 120.0, 0.5), 30.0, SUPPLY, BATTERY)
    path = followed(circuit)
    assert (path.below_s(26.0) <= path.below_s(27.0)).all()
    np.testing.assert_array_equal(path.below_s(26.0) > 0.0, path.least_bus_v < 26.0)


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda: MotorStart(10.0, 5.0), "not below the running current"),
        (lambda: MotorStart(-1.0, 5.0), "starting current above 0"),
        (lambda: MotorStart(1.0, 5.0, 0.0), "more than 0 s"),
        (lambda: dip_with_battery(MOTOR, -1.0, SUPPLY, BATTERY, LEAST_V), "0 A or more"),
        (
            lambda: dip_with_battery(MOTOR, 1.0, replace(SUPPLY, limit_a=0.0), BATTERY, LEAST_V),
            "limit above 0 A",
        ),
        (
            lambda: dip_with_battery(
                MOTOR, 1.0, SUPPLY, replace(BATTERY, resistance_ohm=0.0), LEAST_V
            ),
            "resistance above 0",
        ),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(change, said):
    with pytest.raises(BatteryModelError, match=said) as error:
        change()
    assert "\n" not in str(error.value)


def test_a_start_that_nobody_measured_is_known_to_a_tenth_and_a_quarter_of_its_time():
    """150 A of start with a tenth of error: 15 A at first, of which the battery bears most; the
    time at the limit is in proportion to the starting time, half a second where nobody timed it."""
    dip = dip_with_battery(
        MotorStart(5.0, 150.0), 20.0, SUPPLY, replace(BATTERY, draw_a=0.0), LEAST_V
    )
    assert 11.0 < dip.battery_peak_a.sd < 15.0
    assert dip.at_limit_s.sd / dip.at_limit_s.mean == pytest.approx(0.25, abs=0.03)
    timed = MotorStart(5.0, 150.0, 0.5)
    assert dip == dip_with_battery(timed, 20.0, SUPPLY, replace(BATTERY, draw_a=0.0), LEAST_V)
