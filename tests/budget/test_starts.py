"""Starts of the consumers that run: which of them, beside what, and with which battery."""

import json
from dataclasses import replace
from datetime import date

import pytest

from batterymodel import Battery, Interval, Outcome, Supply
from batterymodel.basis.intervals import interval_around
from batterymodel.budget.capability import capability
from batterymodel.budget.case import Told
from batterymodel.budget.peaks import MotorStart, SupplyLine, dip_without_battery
from batterymodel.budget.plan import budget
from batterymodel.budget.resistance import (
    battery_resistance,
    generic_resistance,
    line_resistance,
)
from batterymodel.budget.starts import bus_battery, resistance_of, supply_line
from batterymodel.inputs.load_plan import AircraftLoads, Task
from batterymodel.inputs.records import Cable, CapacityCheck
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.resistance_growth import resistance_growth
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.reference.wiring import cable_ohm
from tests.budget.plans import AIRCRAFT, PLAIN, consumer, drawing
from tests.budget.test_resistance import SUPPLY, _sagging, _with_cable

PLATE = Battery(tail="SF-103", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
FULL = Interval(mean=0.95, low=0.92, high=0.98, level=0.9)
NOW = drawing(6.0, 0.5, state_of_charge=FULL)


def plan(*consumers, rated_a=60.0, now=NOW, battery=PLATE, **told):
    """The budget of a task that needs all of them."""
    task = Task(name="t", minutes=60.0, needs=tuple(one.name for one in consumers))
    loads = AircraftLoads(tail="X", consumers=consumers)
    return budget(loads, task, Supply(rated_current_a=rated_a), now, battery=battery, **told)


RADIO = consumer("Radio", 20.0)
PUMP = consumer("Pump", 5.0, starting_a=80.0, starting_s=0.4)


def test_a_start_beyond_the_supply_dips_the_bus_no_lower_than_the_battery_alone_would():
    """80 A beside 20 A on 60 A leave 40 A to the battery. It rests at 25.5 V or so with 16 to
    30 milliohm: the bus stays above 24 V and below the supply's 28 V."""
    (start,) = plan(RADIO, PUMP).starts
    assert (start.name, start.starting_s, start.timed) == ("Pump", 0.4, True)
    dip = start.with_battery
    assert 24.0 < dip.least_bus_v.low < dip.least_bus_v.mean < 28.0
    assert 20.0 < dip.battery_peak_a.mean < 45.0
    assert dip.chance_below < 0.05
    assert start.supply_alone.chance_within < 0.05


def test_a_start_within_the_supply_needs_no_battery():
    (start,) = plan(RADIO, consumer("Fan", 2.0, starting_a=10.0), now=None, battery=None).starts
    assert start.with_battery is None
    assert start.supply_alone.chance_within > 0.95
    assert not start.timed


def test_the_others_are_on_while_it_starts_and_it_is_not_counted_twice():
    """What a start on the supply alone makes of 20 A beside it; with 25 A it would be more."""
    (start,) = plan(RADIO, PUMP, now=None, battery=None).starts
    ohm = line_resistance(PLAIN)
    line = SupplyLine(28.0, 60.0, ohm.median_ohm, 0.5 / 1.6448536, ohm.log_sd)
    beside = dip_without_battery(MotorStart(5.0, 80.0, 0.4), 20.0, line, 22.0)
    assert start.supply_alone.least_bus_v.mean == pytest.approx(beside.least_bus_v.mean, abs=1e-6)


def test_what_starts_with_no_more_than_it_runs_with_is_no_start():
    assert plan(RADIO, consumer("Fan", 2.0, starting_a=2.0)).starts == ()


def test_only_what_runs_starts():
    """The fuel pump is not part of the task, the blower is wanted and fits."""
    found = budget(AIRCRAFT, "Update databases", PLAIN, NOW, battery=PLATE)
    assert [start.name for start in found.starts] == ["Blower"]


@pytest.mark.parametrize("outcome", [Outcome.SERVICE, Outcome.DISCONNECT])
def test_a_battery_that_must_come_off_covers_nothing(outcome):
    ill = drawing(6.0, 0.5, state_of_charge=FULL, outcome=outcome)
    found = plan(RADIO, PUMP, now=ill)
    assert found.starts[0].with_battery is None
    assert (found.battery_ohm, found.on_battery) == (None, None)
    well = drawing(6.0, 0.5, state_of_charge=FULL, outcome=Outcome.TOP_OFF)
    assert plan(RADIO, PUMP, now=well).starts[0].with_battery is not None


def test_what_does_not_fit_is_not_started():
    assert plan(consumer("Radio", 70.0), PUMP).starts == ()


def test_without_steps_the_resistance_is_generic():
    found = plan(RADIO, PUMP, on=date(2026, 5, 4))
    belief = capacity_belief(PLATE, date(2026, 5, 4))
    growth = resistance_growth(PLATE.chemistry, FULL, belief)
    assert found.battery_ohm == generic_resistance(PLATE, growth=growth)
    assert found.battery_ohm.generic


def at_charge(mean: float, **told):
    soc = interval_around(mean, 0.015)
    (start,) = plan(RADIO, PUMP, now=drawing(6.0, 0.5, state_of_charge=soc), **told).starts
    return start.with_battery.least_bus_v


def test_a_battery_that_is_low_or_worn_may_let_the_bus_fall_further():
    """At 5 % and 6 A of draw there are over 4 V of overvoltage that need not be stored, behind
    twice the resistance; at 18 Ah of 40 the resistance is over twice that of the plate."""
    full, low = at_charge(0.95), at_charge(0.05)
    assert low.low < full.low - 1.0
    assert low.mean < full.mean - 0.4
    worn, sound = (
        PLATE.model_copy(
            update={"capacity_check": CapacityCheck(on=date(2026, 4, 1), capacity_ah=of_ah)}
        )
        for of_ah in (18.0, 40.0)
    )
    told = {"on": date(2026, 5, 4)}
    assert (
        at_charge(0.95, battery=worn, **told).low < at_charge(0.95, battery=sound, **told).low - 0.3
    )


def test_a_colder_battery_dips_the_bus_more():
    warm, cold = (plan(RADIO, PUMP, battery_temp_c=temp).starts[0] for temp in (25.0, -20.0))
    assert cold.with_battery.least_bus_v.mean < warm.with_battery.least_bus_v.mean


def test_a_long_cable_leaves_more_to_the_battery():
    cable = Cable(length_m=20.0, gauge_awg=4)
    assert cable_ohm(cable) > 0.03
    supply = Supply(rated_current_a=60.0, cable=cable)
    task = Task(name="t", minutes=60.0, needs=("Radio", "Pump"))
    loads = AircraftLoads(tail="X", consumers=(RADIO, PUMP))
    long, short = (
        budget(loads, task, one, NOW, battery=PLATE).starts[0].with_battery
        for one in (supply, supply.model_copy(update={"cable": Cable(length_m=2.0, gauge_awg=0)}))
    )
    assert long.battery_charge_ah.mean > short.battery_charge_ah.mean


def test_the_json_holds_starts_and_the_battery_alone_as_plain_numbers():
    found = json.loads(plan(RADIO, PUMP).model_dump_json())
    dip = found["starts"][0]["with_battery"]
    assert set(dip["least_bus_v"]) == {"mean", "low", "high", "level"}
    assert found["on_battery"]["stopped_by"] in ("reserve", "least_voltage")
    assert found["battery_ohm"]["generic"] is True
    assert "null" not in json.dumps([dip, found["on_battery"], found["battery_ohm"]])


def test_several_starts_are_to_come_one_after_another():
    """30 A and 30 A beside 20 A are each within 60 A, and both together are not."""
    fans = tuple(consumer(name, 2.0, starting_a=30.0, starting_s=0.4) for name in ("Fan", "Pump"))
    found = plan(RADIO, *fans)
    assert all(start.supply_alone.chance_within > 0.95 for start in found.starts)
    told = [step for step in found.next_steps if step.startswith("Switch on one after another")]
    assert len(told) == 1
    assert "Fan and Pump" in told[0]
    assert not any("one after another" in step for step in plan(RADIO, fans[0]).next_steps)


WARM = Supply(rated_current_a=60.0, rated_at_c=20.0, derating_a_per_c=1.0)
TASK = Task(name="t", minutes=60.0, needs=("Radio",))
LOADS = AircraftLoads(tail="X", consumers=(RADIO,))
TOLD = Told(loads=LOADS, task=TASK, supply=WARM, battery=NOW, plate=PLATE, supply_temp_c=40.0)


def test_a_start_meets_the_supply_as_it_is_when_warm_with_all_its_spreads():
    """At 40 degC 20 A less; half a volt of tolerance at 90 %."""
    line = supply_line(TOLD, capability(WARM, 60.0, bus_min(LOADS), 40.0))
    assert (line.set_voltage_v, line.limit_a) == (28.0, 40.0)
    assert line.set_voltage_sd_v == pytest.approx(0.304, abs=1e-3)
    assert line.line_log_sd == line_resistance(WARM).log_sd


def test_a_start_meets_the_battery_as_told_with_all_its_spreads():
    """At 95 % (92 to 98 %), by the rest-voltage curve and how far a battery lies off it."""
    met, rest = bus_battery(TOLD, generic_resistance(PLATE)), data_for(PLATE.chemistry).rest
    low, mean, high = rest_voltage_v(PLATE, [0.92, 0.95, 0.98], 25.0)
    off_v = 12.0 * (0.95 * rest.sd_v + 0.05 * rest.sd_empty_v)
    assert met.rest_voltage_v == pytest.approx(mean)
    assert met.rest_voltage_sd_v**2 == pytest.approx(((high - low) / 3.29) ** 2 + off_v**2, 1e-3)
    assert (met.draw_a, met.draw_sd_a) == (pytest.approx(6.0), pytest.approx(0.5))
    assert met.resistance_log_sd == generic_resistance(PLATE).log_sd


def test_what_is_not_known_of_the_others_is_in_the_dip_with_and_without_a_battery():
    unsure = consumer("Radio", 20.0, continuous_sd_a=9.0)
    (sure,), (wide,) = (plan(one, PUMP).starts for one in (RADIO, unsure))
    assert wide.with_battery.battery_peak_a.sd > 1.1 * sure.with_battery.battery_peak_a.sd
    assert wide.supply_alone.least_bus_v.sd > 1.05 * sure.supply_alone.least_bus_v.sd


def test_readings_of_another_supply_tell_the_battery_and_nothing_of_this_ones_line():
    """Read on a supply with 30 milliohm of cable, asked of one without."""
    readings, read_on = _sagging(), _with_cable(0.03)
    task = Task(name="t", minutes=60.0, needs=("Pump",))
    loads = AircraftLoads(tail="X", consumers=(PUMP,))
    told = Told(loads, task, SUPPLY, NOW, PLATE, readings)
    here, there = told, replace(told, readings_supply=read_on)
    growth = resistance_growth(PLATE.chemistry, NOW.state_of_charge, capacity_belief(PLATE, None))
    assert resistance_of(here) == battery_resistance(readings, PLATE, SUPPLY, growth=growth)
    assert resistance_of(there) == battery_resistance(readings, PLATE, read_on, growth=growth)
    assert resistance_of(there).median_ohm != pytest.approx(resistance_of(here).median_ohm, 0.01)
    able = capability(SUPPLY, 60.0, bus_min(loads), None)
    assert supply_line(here, able).line_ohm == line_resistance(SUPPLY, readings).median_ohm
    assert supply_line(there, able).line_ohm == line_resistance(SUPPLY).median_ohm
