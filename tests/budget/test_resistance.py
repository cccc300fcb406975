"""Resistances from load steps: simulated truth, limiting cases, coverage, and what says nothing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Battery, Event, Interval, Readings, Supply
from batterymodel.budget.resistance import (
    LEADS_OHM,
    Resistance,
    VoltageStep,
    battery_resistance,
    battery_steps,
    cable_resistance,
    combined,
    generic_resistance,
    generic_supply_resistance,
    line_resistance,
    supply_resistance,
    supply_steps,
)
from batterymodel.budget.steps import StepSize
from batterymodel.inputs.records import Cable
from batterymodel.reference.capacity_in_use import CapacityBelief
from batterymodel.reference.resistance_growth import resistance_growth

SUPPLY = Supply(rated_current_a=60.0)
TIME_S = np.arange(0.0, 300.0, 5.0)
STEPS = ((60.0, 12.0), (130.0, -8.0), (210.0, 15.0))
EVENTS = tuple(Event(elapsed_s=at, text="switch") for at, _ in STEPS)


def _load_a(base_a: float) -> np.ndarray:
    load = np.full(TIME_S.size, base_a)
    for at, by in STEPS:
        load = load + by * (at <= TIME_S)
    return load


def _at_limit(ohm: float, base_a: float = 70.0, seed: int = 1, lasts_s: float = 2.0) -> Readings:
    """The supply at 60 A and the battery giving the rest, with a branch of a sixth of the ohms."""
    rng = np.random.default_rng(seed)
    load = _load_a(base_a)
    given = load - 60.0
    later, over = ohm / 6.0, np.zeros(TIME_S.size)
    for k in range(1, TIME_S.size):
        aim = later * given[k]
        over[k] = aim + (over[k - 1] - aim) * np.exp(-5.0 / lasts_s)
    volts = 25.4 - 0.0004 * TIME_S - (ohm - later) * given - over
    return Readings(
        elapsed_s=TIME_S,
        supply_current_a=np.full(TIME_S.size, 60.0),
        battery_current_a=np.round(-given + rng.normal(0.0, 0.05, TIME_S.size), 1),
        supply_voltage_v=np.round(volts + rng.normal(0.0, 0.005, TIME_S.size), 2),
        events=EVENTS,
    )


def test_steps_of_a_battery_that_gives_tell_its_resistance(battery):
    for ohm in (0.008, 0.02, 0.05):
        found = battery_resistance(_at_limit(ohm), battery, SUPPLY)
        assert found.median_ohm == pytest.approx(ohm, rel=0.15)
        assert found.ohm.low < ohm < found.ohm.high
        assert not found.generic
        assert found.steps == 3


def test_a_load_column_does_for_a_clamp_at_the_supply_limit(battery):
    clamped = _at_limit(0.02)
    told = clamped.model_copy(update={"battery_current_a": None, "load_a": _load_a(70.0)})
    assert battery_resistance(told, battery, SUPPLY).median_ohm == pytest.approx(0.02, rel=0.15)


def test_readings_without_voltage_or_clamp_leave_the_generic_value(battery):
    whole = _at_limit(0.05)
    generic = generic_resistance(battery)
    for blind in ({"supply_voltage_v": None}, {"battery_current_a": None}):
        assert battery_resistance(whole.model_copy(update=blind), battery, SUPPLY) == generic


def test_a_change_from_charging_to_giving_tells_nothing(battery):
    """Across it the overvoltage of charging falls away, which is no resistance."""
    crossing = _at_limit(0.02, base_a=52.0)
    assert all(step.giving for step in battery_steps(crossing, SUPPLY))
    assert len(battery_steps(crossing, SUPPLY)) < 3


def test_steps_between_charging_currents_tell_less_than_steps_of_a_battery_that_gives(battery):
    sizes = StepSize(0.12, 0.005), StepSize(6.0, 0.05)
    generic = generic_resistance(battery)
    giving, charging = (combined(generic, [VoltageStep(*sizes, giving=g)]) for g in (True, False))
    assert giving.log_sd < 0.5 * charging.log_sd
    assert charging.median_ohm < giving.median_ohm == pytest.approx(0.02, rel=0.1)


def _with_cable(ohm: float) -> Supply:
    """A supply whose cable has nearly all of its resistance in its contacts."""
    return SUPPLY.model_copy(
        update={"cable": Cable(length_m=0.001, area_mm2=500.0, contacts_ohm=ohm)}
    )


def _sagging() -> Readings:
    """One step of 9 A: the supply holds its terminals, and the battery behind takes 3 A less."""
    load = 10.0 + 9.0 * (TIME_S >= 130.0)
    taken = 15.0 - 3.0 * (TIME_S >= 130.0)
    rng = np.random.default_rng(5)
    return Readings(
        elapsed_s=TIME_S,
        supply_current_a=load + taken + rng.normal(0.0, 0.02, TIME_S.size),
        battery_current_a=taken + rng.normal(0.0, 0.02, TIME_S.size),
        supply_voltage_v=28.0 + rng.normal(0.0, 0.002, TIME_S.size),
        events=(Event(elapsed_s=130.0, text="switch"),),
    )


def test_the_voltage_read_at_the_supply_is_brought_to_the_bus(battery):
    """The supply holds its terminals, the bus sags behind 30 mohm and the battery, still charging,
    takes 3 A less: 30 mohm x 6 A over 3 A of charging current."""
    readings = _sagging()
    (step,) = battery_steps(readings, _with_cable(0.03))
    assert step.volts.size / step.amperes.size == pytest.approx(0.06, rel=0.03)
    assert step.volts.sd == pytest.approx(0.2 * 0.03 * 6.0, rel=0.05)
    (untold,) = battery_steps(readings, SUPPLY)
    assert untold.volts.sd == pytest.approx(0.9 * 0.006 * 6.0, rel=0.05)
    assert battery_resistance(readings, battery, SUPPLY).ohm.low > 0.004


def test_at_the_supplys_limit_the_cable_changes_no_step(battery):
    at_limit = _at_limit(0.02, seed=4)
    same = battery_resistance(at_limit, battery, SUPPLY).median_ohm
    long = battery_resistance(at_limit, battery, _with_cable(0.05)).median_ohm
    assert long == pytest.approx(same, rel=0.01)


def test_a_supply_that_holds_its_terminals_still_has_its_cable():
    """Its meter shows no fall over 12 A; the bus is behind 30 mohm all the same."""
    supply = _with_cable(0.03)
    line = line_resistance(supply, _cable_readings(0.0, 2))
    assert 0.030 < line.median_ohm < 0.032
    assert line.steps == 3
    assert line_resistance(supply, _cable_readings(0.01, 2)).median_ohm == pytest.approx(0.04, 0.05)


def test_a_line_that_nobody_told_by_hand():
    """2 mohm and 6 mohm; their spreads 2 and 5.4 mohm, together 5.758 of 8."""
    line = line_resistance(SUPPLY)
    assert line.median_ohm == pytest.approx(0.008)
    assert line.log_sd == pytest.approx(0.7198, abs=1e-3)
    assert (cable_resistance().log_sd, line.generic) == (0.9, True)
    assert line_resistance(_with_cable(0.006)).log_sd == pytest.approx(0.2916, abs=1e-3)


def test_generic_resistance_by_hand(battery):
    """12 cells of 0.035 V h over 40 Ah: 10.5 mohm, and the leads."""
    generic = generic_resistance(battery)
    assert generic.median_ohm == pytest.approx(0.0105 + LEADS_OHM)
    assert generic.generic
    assert generic.ohm.low < generic.median_ohm < generic.ohm.high


def test_low_charge_and_wear_raise_resistance_and_its_spread_by_hand(battery):
    """At 20 % of charge the log is 0.7 x 0.64 = 0.448; 20 Ah of 40 are a log of 0.693. Together
    1.141: 10.5 mohm become 32.9; the spread is half of each, hypot(0.224, 0.347) = 0.413."""
    low = Interval(mean=0.2, low=0.2, high=0.2, level=0.9)
    half = CapacityBelief(np.array([20.0]), np.array([1.0]), 40.0)
    growth = resistance_growth(battery.chemistry, low, half)
    assert (growth.log, growth.log_sd) == (
        pytest.approx(1.141, abs=1e-3),
        pytest.approx(0.413, abs=1e-3),
    )
    found = generic_resistance(battery, growth=growth)
    assert found.median_ohm == pytest.approx(0.0329 + LEADS_OHM, abs=1e-4)
    assert found.log_sd > generic_resistance(battery).log_sd + 0.1
    more = CapacityBelief(np.array([44.0]), np.array([1.0]), 40.0)
    assert resistance_growth(battery.chemistry, None, more).log == 0.0


def test_a_cold_or_small_battery_has_more_resistance_and_the_far_cold_is_no_error(battery):
    small = battery.model_copy(update={"rated_capacity_ah": 20.0})
    at = [generic_resistance(battery, c).median_ohm for c in (40.0, 25.0, -20.0)]
    assert at == sorted(at)
    assert generic_resistance(small).median_ohm > at[1]
    far = generic_resistance(battery, -90.0)
    assert far == generic_resistance(battery, -40.0)


def _cable_readings(line: float, seed: int) -> Readings:
    rng = np.random.default_rng(seed)
    current = _load_a(10.0) + 12.0 * np.exp(-TIME_S / 600.0)
    volts = 28.1 - line * current
    return Readings(
        elapsed_s=TIME_S,
        supply_current_a=np.round(current + rng.normal(0.0, 0.05, TIME_S.size), 1),
        supply_voltage_v=np.round(volts + rng.normal(0.0, 0.005, TIME_S.size), 2),
        events=EVENTS,
    )


def test_steps_tell_how_the_supplys_own_voltage_falls():
    found = supply_resistance(_cable_readings(0.015, 1), SUPPLY)
    assert found.median_ohm == pytest.approx(0.015, rel=0.15)
    assert found.ohm.low < 0.015 < found.ohm.high


def test_at_its_limit_the_supply_tells_no_resistance_of_its_own():
    assert supply_steps(_at_limit(0.02), SUPPLY) == ()
    assert supply_resistance(_at_limit(0.02), SUPPLY) == generic_supply_resistance()


def test_a_step_into_the_supplys_limit_is_no_resistance_of_its_cable():
    """50 A to the limit of 60 A while the bus falls by 2 V to the battery's voltage."""
    after = TIME_S >= 130.0
    readings = Readings(
        elapsed_s=TIME_S,
        supply_current_a=np.where(after, 59.5, 50.0),
        battery_current_a=np.where(after, -10.0, 5.0),
        supply_voltage_v=np.where(after, 25.5, 27.5),
        events=(Event(elapsed_s=130.0, text="pump on"),),
    )
    assert supply_steps(readings, SUPPLY) == ()
    assert len(supply_steps(readings, Supply(rated_current_a=100.0))) == 1


@pytest.mark.parametrize("count", [120, pytest.param(2000, marks=pytest.mark.slow)])
def test_intervals_hold_the_truth(battery: Battery, count):
    """Truths drawn around the generic value, steps with errors, as giving or charging shows."""
    rng = np.random.default_rng(8)
    generic = generic_resistance(battery)
    inside = []
    for _ in range(count):
        ohm = generic.median_ohm * np.exp(generic.log_sd * rng.normal())
        giving = bool(rng.random() < 0.5)
        times = np.exp(rng.normal(0.0, 0.1) if giving else rng.normal(0.45, 0.8))
        amperes = rng.uniform(1.0, 20.0, rng.integers(1, 4))
        steps = [
            VoltageStep(
                StepSize(times * ohm * a + rng.normal(0.0, 0.01), 0.01),
                StepSize(a + rng.normal(0.0, 0.1), 0.1),
                giving,
            )
            for a in amperes
        ]
        found = combined(generic, steps)
        inside.append(found.ohm.low <= ohm <= found.ohm.high)
    assert 0.86 <= np.mean(inside) <= 0.98


@settings(max_examples=25)
@given(volts=st.floats(-1.0, 3.0), amperes=st.floats(0.5, 50.0))
def test_whatever_a_step_shows_the_resistance_is_positive_and_no_wider(volts, amperes):
    generic: Resistance = generic_supply_resistance()
    found = combined(generic, [VoltageStep(StepSize(volts, 0.02), StepSize(amperes, 0.1))])
    assert 0.0 < found.ohm.low <= 1.001 * found.median_ohm <= 1.002 * found.ohm.high
    assert found.log_sd >= 0.01
    assert found.log_sd <= 1.3 * generic.log_sd


def test_the_spread_of_the_generic_resistance_by_hand(battery):
    """10.5 mohm with 0.45 and leads of 5 mohm with 0.9: hypot(4.725, 4.5) of 15.5 mohm. At -20 degC
    10.5 exp(0.45) = 16.47 mohm, with a quarter of 0.45 as well: hypot(7.639, 4.5) of 21.47."""
    assert generic_resistance(battery).log_sd == pytest.approx(0.421, abs=2e-3)
    assert generic_resistance(battery, -20.0).log_sd == pytest.approx(0.4130, abs=2e-3)


@pytest.mark.parametrize(
    ("amperes", "sigma_a", "told"), [(0.4, 0.01, 0), (0.7, 0.8, 0), (2.0, 0.1, 1)]
)
def test_a_step_that_is_small_or_lost_in_its_error_tells_no_resistance(amperes, sigma_a, told):
    noise = np.random.default_rng(7).normal(0.0, 1.0, (2, TIME_S.size))
    readings = Readings(
        elapsed_s=TIME_S,
        supply_current_a=20.0 + 9.0 * (TIME_S >= 130.0) - amperes * (TIME_S >= 130.0),
        battery_current_a=12.0 - amperes * (TIME_S >= 130.0) + sigma_a * noise[0],
        supply_voltage_v=28.0 + 0.002 * noise[1],
        events=(Event(elapsed_s=130.0, text="switch"),),
    )
    assert len(battery_steps(readings, SUPPLY)) == told
