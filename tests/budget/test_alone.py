"""The same task on the battery alone: by the definition of the one-hour rate."""

from datetime import date

import pytest

from batterymodel import Battery, CapacityCheck, Interval
from batterymodel.budget.endurance import StoppedBy
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


def test_the_voltage_has_to_bear_what_is_on_at_once_and_not_the_mean():
    """200 A for a tenth of the task are 20 A in the mean, but they bring 16 mohm or more down to
    22 V at once; the same charge without the peak lasts until the reserve."""
    task = Task(name="t", minutes=60.0, needs=("Load",))
    now = drawing(0.5, state_of_charge=Interval(mean=1.0, low=0.98, high=1.0, level=0.9))
    peak, even = (
        budget(
            AircraftLoads(tail="X", consumers=(load,), start_reserve_fraction=0.3),
            task,
            PLAIN.model_copy(update={"rated_current_a": 300.0}),
            now,
            battery=CHECKED,
            battery_temp_c=25.0,
            on=TODAY,
        ).on_battery
        for load in (consumer("Load", 200.0, duty=0.1), consumer("Load", 20.0))
    )
    assert peak.charge_ah.mean == pytest.approx(even.charge_ah.mean, rel=0.01)
    assert peak.minutes.mean < 0.5 * even.minutes.mean
    assert peak.stopped_by is StoppedBy.LEAST_VOLTAGE


def test_where_no_lowest_voltage_is_told_the_standards_counts_as_for_the_bus():
    """The findings hold the bus against 22 V then; the battery's end voltage is 20 V or so."""
    silent, told, lower = (
        budget(
            AircraftLoads(
                tail="X",
                consumers=(consumer("Load", 100.0),),
                start_reserve_fraction=0.0,
                bus_min_v=bus_min_v,
            ),
            Task(name="t", minutes=60.0, needs=("Load",)),
            PLAIN.model_copy(update={"rated_current_a": 300.0}),
            drawing(0.5, state_of_charge=Interval(mean=0.9, low=0.88, high=0.92, level=0.9)),
            battery=CHECKED,
            on=TODAY,
        ).on_battery
        for bus_min_v in (None, 22.0, 20.0)
    )
    assert silent == told
    assert silent.minutes.mean < lower.minutes.mean


def test_an_old_check_is_old_where_no_day_is_told():
    old = CHECKED.model_copy(
        update={
            "installed_on": date(2012, 1, 1),
            "capacity_check": CapacityCheck(on=date(2014, 1, 1), capacity_ah=40.0),
        }
    )
    task = Task(name="t", minutes=60.0, needs=("Load",))
    loads = AircraftLoads(tail="X", consumers=(consumer("Load", 20.0),))
    now = drawing(0.5, state_of_charge=Interval(mean=0.9, low=0.88, high=0.92, level=0.9))
    silent, today, then = (
        budget(loads, task, PLAIN, now, battery=old, on=on).on_battery.minutes.mean
        for on in (None, date.today(), date(2014, 1, 1))
    )
    assert silent == today < 0.8 * then


def told_alone(**change):
    """The battery alone of a plain case with something changed."""
    told = {
        "load": consumer("Load", 20.0),
        "charge": Interval(mean=0.8, low=0.799, high=0.801, level=0.9),
        "check_sd_ah": 0.01,
        "temp_c": 25.0,
        **change,
    }
    check = CapacityCheck(on=TODAY, capacity_ah=40.0, capacity_sd_ah=told["check_sd_ah"])
    task = Task(name="t", minutes=60.0, needs=("Load",))
    loads = AircraftLoads(tail="X", consumers=(told["load"],), start_reserve_fraction=0.3)
    return budget(
        loads,
        task,
        PLAIN,
        drawing(0.5, state_of_charge=told["charge"]),
        battery=CHECKED.model_copy(update={"capacity_check": check}),
        battery_temp_c=told["temp_c"],
        on=TODAY,
    ).on_battery.minutes


@pytest.mark.parametrize(
    ("change", "wider"),
    [
        ({"charge": Interval(mean=0.8, low=0.7, high=0.9, level=0.9)}, 1.3),
        ({"check_sd_ah": 8.0}, 1.3),
        ({"load": consumer("Load", 20.0, continuous_sd_a=5.0)}, 1.5),
    ],
    ids=["charge", "capacity", "load"],
)
def test_the_less_is_known_the_wider_are_the_minutes(change, wider):
    assert told_alone(**change).sd > wider * told_alone().sd


def test_cold_takes_minutes_off():
    assert told_alone(temp_c=-20.0).mean < 0.75 * told_alone().mean
