"""Consumers, tasks, cables and supplies: what is read, and what is refused in one sentence."""

import time
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import InputError, Supply, read_supply
from batterymodel.basis.text import one_line
from batterymodel.inputs.load_plan import (
    MOST_CONSUMERS,
    AircraftLoads,
    Task,
    aircraft_loads_from,
    read_aircraft_loads,
)
from batterymodel.inputs.records import Cable, record_toml
from batterymodel.store.records import Consumer as RecordedConsumer

LOADS = """\
tail = "SF-103"
document = "Invented flight manual, section 7"
said_by = "A. Owner"
on = 2026-05-04
bus_min_v = 24.0
start_reserve_fraction = 0.6

[[consumers]]
name = "Avionics master"
continuous_a = 9.0

[[consumers]]
name = "Fuel pump"
continuous_a = 5.0
starting_a = 20.0
starting_s = 0.4
duty = 0.1

[[consumers]]
name = "Clock"
continuous_a = 0.2
may_switch_off = false

[[tasks]]
name = "Update databases"
minutes = 60
needs = ["Avionics master"]
wants = ["Fuel pump"]
"""

SUPPLY = """\
rated_current_a = 60.0
circuit_breaker_a = 15.0
name = "Cart 2"
rated_at_c = 40.0
derating_a_per_c = 1.5

[cable]
length_m = 6.0
gauge_awg = 4
"""


def written(tmp_path, text):
    path = tmp_path / "plan.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_aircraft_is_read_as_written(tmp_path):
    loads = read_aircraft_loads(written(tmp_path, LOADS))
    pump = loads.consumer("fuel  pump")
    assert (pump.continuous_a, pump.starting_a, pump.starting_s, pump.duty) == (5, 20, 0.4, 0.1)
    assert not loads.consumer("Clock").may_switch_off
    assert loads.task("update databases").wants == ("Fuel pump",)
    assert (loads.said_by, loads.on, loads.bus_min_v) == ("A. Owner", date(2026, 5, 4), 24.0)
    assert loads.start_reserve_fraction == 0.6


def test_what_is_read_can_be_written_and_read_again(tmp_path):
    loads = read_aircraft_loads(written(tmp_path, LOADS))
    assert read_aircraft_loads(written(tmp_path, record_toml(loads))) == loads


def test_the_supply_is_read_with_its_cable_and_derating(tmp_path):
    supply = read_supply(written(tmp_path, SUPPLY))
    assert supply.cable == Cable(length_m=6.0, gauge_awg=4)
    assert (supply.name, supply.rated_at_c, supply.derating_a_per_c) == ("Cart 2", 40.0, 1.5)
    assert read_supply(written(tmp_path, record_toml(supply))) == supply


def many(count: int) -> str:
    rows = (f'[[consumers]]\nname = "C{k}"\ncontinuous_a = 1.0\n' for k in range(count))
    return 'tail = "X"\n' + "".join(rows)


BAD = {
    "negative current": (
        LOADS.replace("continuous_a = 5.0", "continuous_a = -5.0"),
        "consumer 2 ('Fuel pump'): continuous_a: at least 0 A (given: -5 A)",
    ),
    "unknown consumer": (
        LOADS.replace('["Fuel pump"]', '["Fuel pumps"]'),
        "task 'Update databases' names 'Fuel pumps', which is no consumer of this aircraft; "
        "'Fuel pump' is one",
    ),
    "two of one name": (
        LOADS.replace('"Clock"', '"fuel pump"'),
        "two consumers are named 'fuel pump'; a name of its own for each would be right",
    ),
    "two tasks of one name": (
        LOADS + LOADS[LOADS.index("[[tasks]]") :],
        "two tasks are named 'Update databases'",
    ),
    "longer than a day": (
        LOADS.replace("minutes = 60", "minutes = 1441"),
        "task 1 ('Update databases'): minutes: a task takes more than 0 minutes and at most a "
        "day; up to 1440 would be right (given: 1441)",
    ),
    "no time at all": (LOADS.replace("minutes = 60", "minutes = 0"), "up to 1440 would be right"),
    "named twice": (
        LOADS.replace('wants = ["Fuel pump"]', 'wants = ["avionics master"]'),
        "task 1 ('Update databases'): 'avionics master' is named twice",
    ),
    "start below running": (
        LOADS.replace("starting_a = 20.0", "starting_a = 2.0"),
        "consumer 2 ('Fuel pump'): starting_a (2 A) is below continuous_a (5 A)",
    ),
    "start without current": (
        LOADS.replace("starting_a = 20.0\n", ""),
        "consumer 2 ('Fuel pump'): starting_s is given without starting_a",
    ),
    "duty in percent": (LOADS.replace("duty = 0.1", "duty = 10"), "('Fuel pump'): duty: at most 1"),
    "true for a current": (LOADS.replace("= 9.0", "= true"), "are no numbers"),
    "no number": (LOADS.replace("= 9.0", '= "nine"'), "consumer 1 ('Avionics master')"),
    "missing current": (LOADS.replace("continuous_a = 9.0", ""), "'continuous_a' is missing"),
    "unknown key": (LOADS.replace("duty", "duti"), "unknown key 'duti'; known keys are name"),
    "nameless": (LOADS.replace('name = "Clock"', 'name = ""'), "consumer 3 (''): name"),
    "window upside down": (
        LOADS.replace("bus_min_v = 24.0", "bus_min_v = 29.0\nbus_max_v = 28.0"),
        "bus_min_v (29 V) must be below bus_max_v (28 V)",
    ),
    "a list of numbers": ('tail = "X"\nconsumers = [1, 2]\n', "consumer 1: a table of entries"),
    "a number for the list": ('tail = "X"\nconsumers = 3\n', "consumers: a list of values"),
    "ten thousand": (many(10_000), "10000 consumers are given; at most 200 would be right"),
    "one too many": (many(MOST_CONSUMERS + 1), "201 consumers are given"),
    "an endless name": (LOADS.replace("Clock", "C" * 5000), "at most 60 letters and signs"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_right_is_one_sentence(tmp_path, name):
    text, says = BAD[name]
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        read_aircraft_loads(path)
    message = str(caught.value)
    assert message.startswith(str(path))
    assert says in message
    assert "\n" not in message
    assert len(message) < len(str(path)) + 400


def test_ten_thousand_are_refused_before_they_are_looked_at():
    rows = [{"name": f"C{k}", "continuous_a": -1.0} for k in range(10_000)]
    begun = time.process_time()
    with pytest.raises(InputError, match="10000 consumers"):
        aircraft_loads_from({"tail": "X", "consumers": rows}, "form")
    assert time.process_time() - begun < 1.0


def test_two_hundred_are_taken(tmp_path):
    assert len(read_aircraft_loads(written(tmp_path, many(MOST_CONSUMERS))).consumers) == 200


BAD_SUPPLY = {
    "circuit of 0 A": (
        SUPPLY.replace("= 15.0", "= 0.0"),
        "circuit_breaker_a: more than 0 A (given: 0 A)",
    ),
    "derating from nowhere": (
        SUPPLY.replace("rated_at_c = 40.0\n", ""),
        "derating_a_per_c is given without rated_at_c",
    ),
    "cable without a size": (
        SUPPLY.replace("gauge_awg = 4\n", ""),
        "cable: neither of gauge_awg and area_mm2 given; one would be right",
    ),
    "cable of two sizes": (SUPPLY + "area_mm2 = 25.0\n", "cable: both of gauge_awg and area_mm2"),
    "cable of no length": (SUPPLY.replace("= 6.0", "= 0.0"), "cable.length_m: more than 0 m"),
}


@pytest.mark.parametrize("name", BAD_SUPPLY)
def test_a_supply_that_cannot_be_is_one_sentence(tmp_path, name):
    text, says = BAD_SUPPLY[name]
    with pytest.raises(InputError) as caught:
        read_supply(written(tmp_path, text))
    assert says in str(caught.value)
    assert "\n" not in str(caught.value)


def test_a_name_that_is_not_there_says_which_is_near(tmp_path):
    loads = read_aircraft_loads(written(tmp_path, LOADS))
    with pytest.raises(InputError, match="SF-103: no consumer is named 'Pump'; 'Fuel pump' is one"):
        loads.consumer("Pump")
    with pytest.raises(InputError, match="no task is named 'Training'; 'Update databases' is one"):
        loads.task("Training")
    with pytest.raises(InputError, match="no task is named 'x'; there is none"):
        AircraftLoads(tail="X", consumers=()).task("x")


def test_older_records_are_as_they_were():
    """What the record kept of supplies and consumers before is read without a change."""
    assert Supply(rated_current_a=60.0).cable is None
    assert RecordedConsumer(name="Pump", continuous_a=5.0, peak_a=14.0).peak_a == 14.0


@given(st.lists(st.text(max_size=8), max_size=6), st.floats(-1.0, 2000.0))
def test_any_names_are_read_or_refused_in_one_sentence(names, minutes):
    data = {
        "tail": "X",
        "consumers": [{"name": name, "continuous_a": 1.0} for name in names],
        "tasks": [{"name": "t", "minutes": minutes, "needs": names[:2]}],
    }
    loads, said = None, ""
    try:
        loads = aircraft_loads_from(data, "form")
    except InputError as error:
        said = str(error)
    assert "\n" not in said
    assert (loads is None) == bool(said)
    if loads is not None:
        assert isinstance(loads.tasks[0], Task)
        assert [one.name for one in loads.consumers] == [one_line(name) for name in names]
