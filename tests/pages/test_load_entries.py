"""Consumers and tasks entered on the page of ground power, one at a time, without a browser."""

from __future__ import annotations

import re
import shutil
from datetime import date
from functools import partial

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.inputs.load_edits import with_consumer, with_source, with_task
from batterymodel.pages import load_entries
from batterymodel.pages.choices import OWN
from batterymodel.pages.load_entries import CONSUMER_LABELS, SOURCE_LABELS, TASK_LABELS
from batterymodel.samples.loads import LIGHT_SINGLE
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.learned_loads import alter_loads
from batterymodel.store.power import add_load_plan, loads_in_force
from batterymodel.store.records import Aircraft, LoadPlan
from tests.pages.test_ground_power import (
    ANSWERED,
    DOTTED,
    checked,
    chosen,
    html_of,
    plain,
    pressed,
    shown,
    words_of,
)

BARE = "DEMO-3"
KINDS = ("number_input", "text_input", "checkbox", "multiselect", "selectbox")


@pytest.fixture
def own(demo_sqlite, tmp_path, monkeypatch):
    """A record with the invented fleet."""
    path = shutil.copy(demo_sqlite, tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, str(path))
    return open_store(path)


@pytest.fixture
def bare(own) -> AppTest:
    """The page of an aircraft without loads."""
    return chosen(shown(), "tail", BARE)


def entry(at: AppTest, label: str):
    (found,) = [e for kind in KINDS for e in getattr(at, kind) if plain(e.label) == label]
    return found


def put(at: AppTest, values: dict[str, object], labels) -> AppTest:
    for name, value in values.items():
        at = checked(entry(at, labels[name].title).set_value(value).run())
    return at


def added(at: AppTest, kind: str, labels, **values: object) -> AppTest:
    return pressed(put(at, values, labels), f"Add this {kind}")


def listed(at: AppTest) -> list[tuple[str, str]]:
    row = r'<li><b class="jc-row-name">([^<]*)</b><span>([^<]*)</span></li>'
    return re.findall(row, "".join(re.findall(r"jc-named.*?</ul>", html_of(at), re.S)))


def faults(at: AppTest) -> list[str]:
    said = "\n".join(words_of(at.error)).splitlines()
    found = [line.lstrip("- ") for line in said if line.strip()]
    for line in found:
        assert not DOTTED.search(line), line
    return found


def entered_by_hand(at: AppTest) -> AppTest:
    at = added(at, "consumer", CONSUMER_LABELS, name="Avionics", continuous_a=9.5)
    at = added(
        at,
        "consumer",
        CONSUMER_LABELS,
        name="Fuel pump",
        continuous_a=5.0,
        starting_a=18.0,
        starting_s=0.4,
        duty=10.0,
    )
    return added(
        at,
        "task",
        TASK_LABELS,
        name="Database update",
        minutes=45.0,
        needs=["Avionics"],
        wants=["Fuel pump"],
    )


@pytest.mark.long
def test_loads_entered_by_hand_give_an_answer_and_are_kept(own, bare):
    assert f"What {BARE} takes is not on record yet: enter its consumers" in words_of(bare.info)[0]
    at = added(bare, "consumer", CONSUMER_LABELS, name="Avionics", continuous_a=9.5)
    assert words_of(at.success) == [f"In the record: consumer Avionics of {BARE}."]
    assert ANSWERED not in html_of(at)
    at = added(
        at,
        "consumer",
        CONSUMER_LABELS,
        name=" Fuel  pump ",
        continuous_a=5.0,
        starting_a=18.0,
        starting_s=0.4,
        duty=10.0,
        may_switch_off=True,
        note="placard",
    )
    at = added(
        at,
        "task",
        TASK_LABELS,
        name="Database update",
        minutes=45.0,
        needs=["Avionics"],
        wants=["Fuel pump"],
    )
    assert ANSWERED in html_of(at)
    assert listed(at) == [
        ("Avionics", "9.5 A; needed for Database update"),
        (
            "Fuel pump",
            "5 A; starts with 18 A for 0.4 s; on for 10 % of the task; stays on, by the manual; "
            "useful for Database update; placard",
        ),
        ("Database update", "45 minutes; must run: Avionics; useful: Fuel pump"),
    ]
    loads = loads_in_force(own, BARE)
    pump = loads.consumer("Fuel pump")
    assert (pump.duty, pump.may_switch_off, pump.starting_s) == (0.1, False, 0.4)
    assert loads.on == date.today()
    assert len(own.entries(LoadPlan, aircraft_id=own.aircraft(BARE).id)) == 3
    assert entry(at, CONSUMER_LABELS["name"].title).value in (None, "")


@pytest.mark.long
def test_all_that_is_wrong_is_said_at_once_and_nothing_typed_is_lost(own, bare):
    at = added(bare, "consumer", CONSUMER_LABELS, name="Fan", continuous_a=2.0)
    typed = {"name": "FAN", "continuous_a": 5000.0, "starting_s": 99.0, "duty": 150.0}
    at = added(at, "consumer", CONSUMER_LABELS, **typed)
    said = faults(at)
    starts = ("Current while it is on: at most 1000 A", "Time of its start: at most 60 s",
              "Part of a task that it is on: at most 100 %",
              "Name of the consumer: another consumer has this name")  # fmt: skip
    for start in starts:
        assert [line for line in said if line.startswith(start)], (start, said)
    assert len(said) == len(starts)
    at = put(at, {"name": "Blower", "continuous_a": 5.0, "duty": 100.0}, CONSUMER_LABELS)
    assert [line.split(":")[0] for line in faults(at)] == ["Time of its start"]
    at = put(at, {"starting_s": 3.0}, CONSUMER_LABELS)
    assert faults(at) == [
        "'Time of its start' is given without 'Current at its start'; the starting current beside "
        "it, or neither, would be right"
    ]
    assert entry(at, CONSUMER_LABELS["name"].title).value == "Blower"
    at = pressed(put(at, {"starting_a": 8.0}, CONSUMER_LABELS), "Add this consumer")
    assert not at.error
    assert loads_in_force(own, BARE).consumer("Blower").starting_a == 8.0


def test_an_empty_press_names_each_entry_that_is_missing(bare):
    at = pressed(bare, "Add this consumer")
    missing = ("Name of the consumer", "Current while it is on")
    assert faults(at) == [f"{label}: is missing; it is required" for label in missing]


def test_a_start_below_the_running_current_is_said_in_the_words_of_the_page(bare):
    at = added(
        bare, "consumer", CONSUMER_LABELS, name="Pump", continuous_a=9.0, starting_a=3.0, duty=0.0
    )
    said = faults(at)
    assert said[0].startswith("Part of a task that it is on: more than 0 %")
    assert said[1].startswith(
        "'Current at its start' (3 A) is below 'Current while it is on' (9 A)"
    )


@pytest.mark.long
def test_a_consumer_is_altered_renamed_and_taken_away(own, bare):
    at = entered_by_hand(bare)
    at = checked(entry(at, "Consumer to add or alter").select("Avionics").run())
    assert entry(at, CONSUMER_LABELS["continuous_a"].title).value == 9.5
    at = put(at, {"name": "Radios", "continuous_a": 11.0}, CONSUMER_LABELS)
    at = pressed(at, "Keep this consumer")
    assert ("Database update", "45 minutes; must run: Radios; useful: Fuel pump") in listed(at)
    assert loads_in_force(own, BARE).consumer("Radios").continuous_a == 11.0
    assert entry(at, "Consumer to add or alter").value == "Radios"
    at = pressed(at, "Take Radios away")
    assert faults(at) == [
        "Radios runs in Database update; take it out of the tasks, or the tasks away, before it, "
        "would be right"
    ]
    at = put(at, {"needed_for": []}, CONSUMER_LABELS)
    at = pressed(pressed(at, "Keep this consumer"), "Take Radios away")
    assert [name for name, _ in listed(at)] == ["Fuel pump", "Database update"]
    assert loads_in_force(own, BARE).task("Database update").needs == ()


@pytest.mark.long
def test_a_consumer_is_given_its_tasks_in_its_own_entries(own, bare):
    at = entered_by_hand(bare)
    both = {"needed_for": ["Database update"], "useful_for": ["Database update"]}
    at = added(at, "consumer", CONSUMER_LABELS, name="Fan", continuous_a=2.0, **both)
    assert faults(at) == [
        "Database update is also among 'Needed for'; each task among 'Needed for' or among "
        "'Useful for' would be right"
    ]
    at = pressed(put(at, {"useful_for": []}, CONSUMER_LABELS), "Add this consumer")
    assert loads_in_force(own, BARE).task("Database update").needs == ("Avionics", "Fan")


@pytest.mark.long
def test_what_is_typed_of_one_stays_while_another_is_looked_at(bare):
    at = entered_by_hand(bare)
    choice = "Consumer to add or alter"
    at = put(at, {"name": "Heater"}, CONSUMER_LABELS)
    at = checked(entry(at, choice).select("Avionics").run())
    at = put(at, {"continuous_a": 12.0}, CONSUMER_LABELS)
    at = checked(entry(at, choice).select(OWN).run())
    assert entry(at, CONSUMER_LABELS["name"].title).value == "Heater"
    at = checked(entry(at, choice).select("Avionics").run())
    assert entry(at, CONSUMER_LABELS["continuous_a"].title).value == 12.0


@pytest.mark.long
def test_a_task_given_since_does_not_get_lost_by_an_older_entry(own, bare):
    at = entered_by_hand(bare)
    choice = "Consumer to add or alter"
    at = checked(entry(at, choice).select("Avionics").run())
    at = added(at, "task", TASK_LABELS, name="Listen", minutes=20.0, needs=["Avionics"])
    at = pressed(put(at, {"continuous_a": 10.0}, CONSUMER_LABELS), "Keep this consumer")
    loads = loads_in_force(own, BARE)
    assert loads.task("Listen").needs == loads.task("Database update").needs == ("Avionics",)
    assert loads.consumer("Avionics").continuous_a == 10.0


@pytest.mark.long
def test_what_another_page_altered_meanwhile_stays(own, bare):
    """Two pages open on one consumer, one task and the source; each alters another entry."""
    at = entered_by_hand(bare)
    at = checked(entry(at, "Consumer to add or alter").select("Avionics").run())
    at = checked(entry(at, "Task to add or alter").select("Database update").run())
    today = date.today()
    for values, labels, button, change in (
        (
            {"note": "from here"},
            CONSUMER_LABELS,
            "Keep this consumer",
            partial(
                with_consumer,
                told={"continuous_a": 13.0},
                was="Avionics",
                useful_for=["Database update"],
            ),
        ),
        (
            {"minutes": 70.0},
            TASK_LABELS,
            "Keep this task",
            partial(with_task, told={"needs": (), "wants": ()}, was="Database update"),
        ),
        (
            {"said_by": "C. Mechanic"},
            SOURCE_LABELS,
            load_entries.KEEP_SOURCE,
            partial(with_source, told={"bus_min_v": 25.0}),
        ),
    ):
        at = put(at, values, labels)
        alter_loads(own, BARE, change, today)
        at = pressed(at, button)
        if button == "Keep this consumer":
            assert loads_in_force(own, BARE).task("Database update").wants[-1] == "Avionics"
    loads = loads_in_force(own, BARE)
    avionics, task = loads.consumer("Avionics"), loads.task("Database update")
    assert (avionics.continuous_a, avionics.note) == (13.0, "from here")
    assert (task.minutes, task.needs, task.wants) == (70.0, (), ())
    assert (loads.bus_min_v, loads.said_by) == (25.0, "C. Mechanic")


def test_a_second_press_of_what_was_just_added_is_no_fault(own, bare):
    at = added(bare, "consumer", CONSUMER_LABELS, name="Heater", continuous_a=2.0)
    at = pressed(at, "Add this consumer")
    assert not at.error
    assert words_of(at.success) == [f"In the record: consumer Heater of {BARE}."]
    assert len(own.entries(LoadPlan, aircraft_id=own.aircraft(BARE).id)) == 1


@pytest.mark.long
def test_a_task_is_altered_and_taken_away(own, bare):
    at = entered_by_hand(bare)
    at = checked(entry(at, "Task to add or alter").select("Database update").run())
    at = put(at, {"minutes": 2000.0, "wants": ["Fuel pump", "Avionics"]}, TASK_LABELS)
    at = pressed(at, "Keep this task")
    said = faults(at)
    assert said[0].startswith("Length of the task: a task takes more than 0 minutes")
    assert "'Avionics' is named twice; once, among 'Must run' or among 'Useful" in said[1]
    at = pressed(put(at, {"minutes": 60.0, "wants": []}, TASK_LABELS), "Keep this task")
    assert loads_in_force(own, BARE).task("Database update").minutes == 60.0
    at = pressed(at, "Take Database update away")
    assert [name for name, _ in listed(at)] == ["Avionics", "Fuel pump"]
    assert "These loads name no task yet" in words_of(at.info)[0]


@pytest.mark.long
def test_source_bus_and_reserve_are_entered(own, bare):
    at = entered_by_hand(bare)
    wrong = {"said_by": "C. Mechanic", "bus_min_v": 26.0, "bus_max_v": 24.0}
    at = pressed(put(at, wrong, SOURCE_LABELS), load_entries.KEEP_SOURCE)
    assert faults(at)[0].startswith("'Lowest bus voltage' (26 V) must be below 'Highest bus")
    right = {"bus_max_v": 29.0, "start_reserve_fraction": 40.0}
    at = pressed(put(at, right, SOURCE_LABELS), load_entries.KEEP_SOURCE)
    loads = loads_in_force(own, BARE)
    assert (loads.said_by, loads.bus_min_v, loads.start_reserve_fraction) == (
        "C. Mechanic",
        26.0,
        0.4,
    )


def test_names_like_the_own_choices_are_reached(own, bare):
    name = load_entries.NEW_CONSUMER
    at = added(bare, "consumer", CONSUMER_LABELS, name=name, continuous_a=2.0)
    choice = entry(at, "Consumer to add or alter")
    assert choice.options == [f"{name}, not on record", name]
    at = checked(choice.select(name).run())
    at = pressed(put(at, {"continuous_a": 3.0}, CONSUMER_LABELS), "Keep this consumer")
    assert loads_in_force(own, BARE).consumer(name).continuous_a == 3.0


@pytest.mark.long
def test_a_consumer_taken_away_on_another_device_is_said(own, bare):
    at = entered_by_hand(bare)
    at = checked(entry(at, "Task to add or alter").select("Database update").run())
    plan = loads_in_force(own, BARE)
    add_load_plan(own, BARE, plan.model_copy(update={"tasks": ()}), date.today())
    at = pressed(at, "Take Database update away")
    assert "no task is named 'Database update'" in faults(at)[0]


@pytest.mark.long
def test_going_back_to_what_was_before_counts(own):
    own.add(Aircraft(tail="DEMO-40"))
    add_load_plan(own, "DEMO-40", LIGHT_SINGLE.model_copy(update={"tail": "DEMO-40"}), date.today())
    at = chosen(shown(), "tail", "DEMO-40")
    for amperes in (3.0, 4.0, 3.0):
        at = checked(entry(at, "Consumer to add or alter").select("Cabin blower").run())
        at = put(at, {"continuous_a": amperes}, CONSUMER_LABELS)
        at = pressed(at, "Keep this consumer")
        assert loads_in_force(own, "DEMO-40").consumer("Cabin blower").continuous_a == amperes
