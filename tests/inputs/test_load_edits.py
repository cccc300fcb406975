"""One consumer or task at a time: what changes with it, what stays, and what is refused."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError
from batterymodel.inputs.load_edits import (
    with_consumer,
    with_source,
    with_task,
    without_consumer,
    without_task,
)
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task

LOADS = AircraftLoads(
    tail="DEMO-1",
    consumers=(
        Consumer(name="Radio", continuous_a=4.0, continuous_sd_a=0.2, readings=5, note="x"),
        Consumer(name="Pump", continuous_a=5.0, starting_a=18.0),
        Consumer(name="Fan", continuous_a=2.0),
    ),
    tasks=(
        Task(name="Listen", minutes=20.0, needs=("Radio",), wants=("Fan", "Pump")),
        Task(name="Pump over", minutes=10.0, needs=("Pump", "Radio")),
    ),
    document="load list",
)


def faults_of(change) -> list[str]:
    with pytest.raises(EntryError) as caught:
        change()
    return [caught.value.key, *(one.key for one in caught.value.others)]


def test_a_consumer_more_stands_at_the_end_and_in_its_tasks():
    told = {"name": "Light", "continuous_a": 1.0, "starting_a": None}
    loads = with_consumer(LOADS, told, needed_for=["Listen"], useful_for=["Pump over"])
    assert [one.name for one in loads.consumers] == ["Radio", "Pump", "Fan", "Light"]
    assert loads.task("Listen").needs == ("Radio", "Light")
    assert loads.task("Pump over").wants == ("Light",)
    assert (loads.document, loads.consumers[:3]) == ("load list", LOADS.consumers)


def test_an_altered_consumer_keeps_its_place_and_what_was_not_told():
    loads = with_consumer(
        LOADS, {"name": "Fans", "duty": 0.5}, "fan", needed_for=(), useful_for=["Listen"]
    )
    assert loads.consumers[2] == Consumer(name="Fans", continuous_a=2.0, duty=0.5)
    assert loads.task("Listen").wants == ("Fans", "Pump")


def test_a_consumer_moves_between_needed_useful_and_neither():
    same = {"name": "Pump", "continuous_a": 5.0}
    loads = with_consumer(LOADS, same, "Pump", needed_for=["Listen"])
    assert loads.task("Listen").needs == ("Radio", "Pump")
    assert (loads.task("Listen").wants, loads.task("Pump over").needs) == (("Fan",), ("Radio",))


@pytest.mark.parametrize(("current_a", "readings"), [(4.0, 5), (4.004, 5), (4.006, 0), (9.0, 0)])
def test_a_current_told_anew_rests_on_no_readings(current_a, readings):
    radio = with_consumer(LOADS, {"name": "Radio", "continuous_a": current_a}, "Radio").consumers[0]
    assert radio.readings == readings
    assert (radio.continuous_sd_a is None) == (readings == 0)
    assert radio.note == "x"


def test_every_fault_is_told_those_between_entries_too():
    told = {"name": "RADIO", "continuous_a": 5000.0, "starting_s": 3.0, "starting_a": None}
    assert faults_of(lambda: with_consumer(LOADS, told)) == ["continuous_a", "", "name"]
    told = {"name": None, "continuous_a": 3.0, "starting_a": 2.0, "starting_s": 3.0, "duty": 0.0}
    both = {"needed_for": ["Listen"], "useful_for": ["Listen"]}
    assert faults_of(lambda: with_consumer(LOADS, told, **both)) == ["name", "duty", "", ""]


def test_an_entry_is_not_blamed_for_one_beside_it():
    told = {"name": "Fan 2", "continuous_a": 3.0, "starting_a": -2.0, "starting_s": 3.0}
    assert faults_of(lambda: with_consumer(LOADS, told)) == ["starting_a"]
    told = {"name": "Fan 2", "continuous_a": None, "starting_a": 2.0}
    assert faults_of(lambda: with_consumer(LOADS, told)) == ["continuous_a"]


def test_a_name_of_its_own_is_asked_for_by_what_a_person_takes_for_one():
    assert faults_of(lambda: with_consumer(LOADS, {"name": "f a n", "continuous_a": 1.0})) == [
        "name"
    ]
    assert with_consumer(LOADS, {"name": "F an"}, "Fan").consumers[2].name == "F an"
    assert faults_of(lambda: with_consumer(LOADS, {"name": "pump"}, "Fan")) == ["name"]
    told = {"name": "LISTEN", "minutes": 0.0, "needs": (), "wants": ()}
    assert faults_of(lambda: with_task(LOADS, told)) == ["minutes", "name"]


def test_a_consumer_that_a_task_names_is_not_taken_away():
    with pytest.raises(InputError, match="Fan runs in Listen; take it out"):
        without_consumer(LOADS, "Fan")
    loads = without_consumer(without_task(LOADS, "Listen"), "fan")
    assert [one.name for one in loads.consumers] == ["Radio", "Pump"]
    with pytest.raises(InputError, match="no consumer is named 'Light'"):
        without_consumer(LOADS, "Light")
    with pytest.raises(InputError, match="no task is named 'Fly'"):
        without_task(LOADS, "Fly")


def test_a_task_names_only_what_there_is():
    told = {"name": "Glow", "minutes": 5.0, "needs": ("Lamp",), "wants": ()}
    with pytest.raises(InputError, match="task 'Glow' names 'Lamp', which is no consumer"):
        with_task(LOADS, told)
    given = {"name": "Hear", "minutes": 5.0, "needs": ("Radio",), "wants": ()}
    loads = with_task(LOADS, given, "Listen")
    assert [task.name for task in loads.tasks] == ["Hear", "Pump over"]
    assert loads.task("Hear").wants == ()
    kept = with_task(LOADS, {"minutes": 5.0}, "Listen").task("Listen")
    assert (kept.needs, kept.wants) == (LOADS.task("Listen").needs, LOADS.task("Listen").wants)


def test_the_head_of_the_loads_is_checked_and_taken_away():
    assert with_source(LOADS, {"document": None, "bus_min_v": 24.0}).document is None
    assert faults_of(lambda: with_source(LOADS, {"bus_min_v": -1.0, "bus_max_v": 500.0})) == [
        "bus_min_v",
        "bus_max_v",
    ]


@given(
    st.sampled_from(["Radio", "Pump", "Fan"]),
    st.sets(st.sampled_from(["Listen", "Pump over"])),
    st.sets(st.sampled_from(["Listen", "Pump over"])),
)
def test_a_consumer_runs_for_exactly_the_tasks_that_were_told(name, needed, useful):
    loads = with_consumer(LOADS, {"name": "New"}, name, needed, useful - needed)
    for task in loads.tasks:
        assert ("New" in task.needs) == (task.name in needed)
        assert ("New" in task.wants) == (task.name in useful - needed)
        assert name not in (*task.needs, *task.wants)
