"""Load steps given to consumers by the words of events."""

from pathlib import Path

import numpy as np
import pytest

from batterymodel import Event, Readings, read_readings, read_supply
from batterymodel.budget.learned import learned_from, owner_of, with_learned
from batterymodel.inputs.load_plan import AircraftLoads
from tests.budget.plans import consumer

SAMPLES = Path(__file__).parents[2] / "sample_data"
LOADS = AircraftLoads(
    tail="X",
    consumers=(
        consumer("Avionics", 11.0, continuous_sd_a=0.5),
        consumer("Pump", 5.0, continuous_sd_a=0.3, readings=6, starting_a=6.0),
        consumer("Fuel pump", 7.0),
        consumer("Fan 2", 3.0),
        consumer("Lights and fan", 6.0),
    ),
)


@pytest.mark.parametrize(
    ("words", "name"),
    [
        ("avionics on", "Avionics"),
        ("FUEL   PUMP off", "Fuel pump"),
        ("pump on", "Pump"),
        ("Fan-2: on", "Fan 2"),
        ("pumping water", None),
        ("avionics and pump on", None),
        ("fan 22 on", None),
        ("lights", None),
        ("pump on, landing light on", None),
        ("pump and landing light on", None),
        ("landing light + pump off", None),
        ("pump on landing light off", None),
        ("pump on with heater", None),
        ("pump switched on, the", "Pump"),
        ("pump on (second try)", "Pump"),
        ("Lights and fan on", "Lights and fan"),
        ("lights, fan on", None),
        ("Lights and fan on, heater", None),
        ("", None),
    ],
)
def test_an_event_names_one_consumer_or_none(words, name):
    found = owner_of(words, LOADS)
    assert (found and found.name) == name


def read(*steps: tuple[float, float, str], until_s=600.0) -> Readings:
    """A bus load of 8 A with steps at times, and a taper beside it."""
    time_s = np.arange(0.0, until_s, 5.0)
    load_a = 8.0 + sum(size * (time_s >= at) for at, size, _ in steps)
    battery_a = 10.0 * np.exp(-time_s / 900.0)
    noise = np.random.default_rng(3).normal(0.0, 0.05, (2, time_s.size))
    return Readings(
        elapsed_s=time_s,
        supply_current_a=load_a + battery_a + noise[0],
        battery_current_a=battery_a + noise[1],
        events=tuple(Event(elapsed_s=at, text=text) for at, _, text in steps),
    )


def test_steps_are_learned_by_their_consumer_on_and_off():
    """Known as 5 A by six readings; 5.6 A twice on one meter count once: 5 + 0.6 / 8 = 5.075."""
    readings = read((120.0, 5.6, "pump on"), (300.0, -5.6, "pump off"))
    (found,) = learned_from(LOADS, readings)
    assert (found.name, found.steps, found.readings) == ("Pump", 2, 7)
    assert found.seen_a == pytest.approx(5.6, abs=0.1)
    assert found.after_a.mean == pytest.approx(5.075, abs=0.02)


def test_nothing_is_learned_of_a_step_without_a_name():
    assert learned_from(LOADS, read((120.0, 5.6, "something on"))) == ()
    silent = read((120.0, 5.6, "pump on")).model_copy(update={"events": ()})
    assert learned_from(LOADS, silent) == ()


@pytest.mark.parametrize(
    ("size_a", "words"),
    [
        (-5.6, "pump on"),
        (5.6, "pump off"),
        (-3.0, "landing light off, pump on"),
        (3.0, "pump off and on"),
    ],
)
def test_a_step_that_goes_the_other_way_is_another_consumers(size_a, words):
    """With "pump on" 5.6 A less: something else went off."""
    assert learned_from(LOADS, read((120.0, size_a, words))) == ()


def test_two_switched_between_two_readings_teach_neither():
    """12 A of two pumps at once, one of whose names is a part of the other's."""
    both = read((121.0, 5.0, "pump on"), (123.0, 7.0, "fuel pump on"))
    assert learned_from(LOADS, both) == ()


def test_an_event_far_from_its_step_teaches_no_current_of_nothing():
    """Written down two readings late: beside it the load steps by 0.06 A, which is noise."""
    late = read((65.0, 7.0, "something"), (72.0, 0.0, "pump on"))
    assert learned_from(LOADS, late.model_copy(update={"events": late.events[1:]})) == ()


def test_a_step_shared_with_something_that_is_not_on_the_list_teaches_nothing():
    """9 A of pump and landing light together, where 5 A of pump were known."""
    assert learned_from(LOADS, read((120.0, 9.0, "pump on, landing light on"))) == ()


def test_the_sample_teaches_what_its_script_switched():
    """The invented connection switches 11 A of avionics (`samples.connections`)."""
    readings = read_readings(SAMPLES / "marked-load-steps.csv")
    (found,) = learned_from(LOADS, readings, read_supply(SAMPLES / "supply.toml"))
    assert found.seen_a == pytest.approx(11.0, abs=0.3)
    assert found.more_probability < 0.5


def test_the_loads_take_what_was_learned_and_keep_the_rest():
    readings = read((120.0, 9.0, "pump on"), (300.0, -9.0, "pump off"))
    learned = learned_from(LOADS, readings)
    after = with_learned(LOADS, learned)
    pump = after.consumer("Pump")
    assert pump.continuous_a == pytest.approx(5.0 + 4.0 / 8.0, abs=0.05)
    assert pump.readings == 7
    assert pump.starting_a == 6.0
    assert pump.continuous_sd_a > 0.3
    assert after.consumers[0] == LOADS.consumers[0]
    twice = with_learned(after, learned_from(after, readings))
    again = with_learned(twice, learned_from(twice, readings)).consumer("Pump")
    assert again.starting_a >= again.continuous_a > 6.0
