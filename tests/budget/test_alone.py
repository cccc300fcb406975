"""The same task on the battery alone: by the definition of the one-hour rate."""

from datetime import date

import pytest

from batterymodel import Battery, CapacityCheck, Interval
from batterymodel.budget.plan import budget
from batterymodel.inputs.load_plan import AircraftLoads, Task
from tests.budget.plans import PLAIN, consumer, drawing

TODAY = date(2026, 5, 4)
CHECKED = Battery(
    tail="SF-103",
    chemistry="vrla",
    cells=12,
    rated_capacity_ah=40.0,
    installed_on=date(2026, 5, 1),
    capacity_check=CapacityCheck(on=TODAY, capacity_ah=40.0, capacity_sd_ah=0.4),
)


def alone(load_a, reserve=None, soc=1.0, minutes=60.0, battery=CHECKED):
    """The task of one load on the battery alone, at 25 degC and full."""
    task = Task(name="t", minutes=minutes, needs=("Load",))
    loads = AircraftLoads(
        tail="X", consumers=(consumer("Load", load_a),), start_reserve_fraction=reserve
    )
    charge = Interval(mean=soc, low=soc - 0.01, high=soc, level=0.9)
    now = drawing(0.5, state_of_charge=charge)
    return budget(
        loads, task, PLAIN, now, battery=battery, battery_temp_c=25.0, on=TODAY
    ).on_battery


def test_half_of_the_capacity_lasts_half_an_hour_at_the_one_hour_rate():
    """40 Ah at the one-hour rate are 40 A for an hour, by the plate's definition; down to a
    reserve of one half, half of that."""
    found = alone(40.0, 0.5)
    assert found.minutes.mean == pytest.approx(30.0, abs=1.0)
    assert found.minutes.low < 30.0 < found.minutes.high
    assert found.chance_enough < 0.01


def test_where_no_reserve_is_stated_six_tenths_are_kept():
    """40 % of 40 Ah at 40 A: 24 minutes."""
    assert alone(40.0).minutes.mean == pytest.approx(24.0, abs=1.0)


def test_what_is_charged_less_lasts_less_and_a_smaller_load_longer():
    assert alone(40.0, 0.5, soc=0.8).minutes.mean == pytest.approx(18.0, abs=1.0)
    assert alone(10.0, 0.5).minutes.mean > 4.0 * alone(40.0, 0.5).minutes.mean
    assert alone(10.0, 0.5).chance_enough > 0.99


def test_without_a_battery_nothing_is_said():
    assert alone(40.0, battery=None) is None


def test_an_aircraft_of_nothing_lasts():
    assert alone(0.0, 0.5).chance_enough == 1.0
