"""Supplies and load plans on record: kept once, corrected with a reason, in force from a day on."""

from __future__ import annotations

from datetime import date, timedelta
from functools import partial

import pytest
from pydantic import ValidationError

from batterymodel.budget.plan import budget
from batterymodel.errors import InputError
from batterymodel.inputs.load_edits import with_task
from batterymodel.inputs.load_plan import Consumer, Task
from batterymodel.inputs.records import Supply
from batterymodel.store.in_progress import begin
from batterymodel.store.learned_loads import alter_loads
from batterymodel.store.power import (
    add_load_plan,
    add_supply,
    keep_configuration,
    known_configuration,
    loads_in_force,
    supplies_of,
    supply_named,
    tails_of,
)
from batterymodel.store.records import (
    Aircraft,
    LoadConfiguration,
    LoadPlan,
    ShopSupply,
    WallCircuit,
)
from batterymodel.store.stamps import record_stamp
from tests.store.cases import PLAN, SUPPLY


def test_a_supply_told_twice_is_one(sqlite_store):
    first = add_supply(sqlite_store, SUPPLY)
    again = add_supply(sqlite_store, SUPPLY, "a reason is no harm")
    assert (first.was_there, again.was_there, again.corrected) == (False, True, False)
    assert supplies_of(sqlite_store) == (SUPPLY,)


def test_other_figures_need_a_reason_and_the_old_ones_stay_in_the_history(sqlite_store):
    entry = add_supply(sqlite_store, SUPPLY).entry
    other = SUPPLY.model_copy(update={"rated_current_a": 50.0, "name": "CART 1"})
    with pytest.raises(InputError, match=r"'Cart 1'.*\(rated_current_a, name\); say why"):
        add_supply(sqlite_store, other)
    assert supplies_of(sqlite_store) == (SUPPLY,)
    taken = add_supply(sqlite_store, other, "new plate")
    assert taken.corrected
    assert supply_named(sqlite_store, "cart1") == other
    rows = sqlite_store.history(entry.id)
    assert [row.record.rated_current_a for row in rows] == [60.0, 50.0]


def test_a_supply_on_one_of_its_circuits_is_a_plain_supply():
    first, shop = SUPPLY.on_circuit(), SUPPLY.on_circuit("shop")
    assert type(first) is Supply
    assert (first.circuit_breaker_a, first.input_voltage_v) == (20.0, 120.0)
    assert (shop.circuit_breaker_a, shop.input_voltage_v) == (15.0, 240.0)
    assert shop.input_current_full_load_a == 8.75
    assert shop.cable == SUPPLY.cable
    bare = ShopSupply(name="Cart 3", rated_current_a=30.0, circuit_breaker_a=15.0)
    assert bare.on_circuit().circuit_breaker_a == 15.0
    with pytest.raises(
        InputError, match=r"no circuit is named 'West'; it has 'Hangar east', 'Shop'"
    ):
        SUPPLY.on_circuit("West")
    with pytest.raises(InputError, match="it has none"):
        bare.on_circuit("West")


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"circuits": [{"name": "A", "circuit_breaker_a": 0}]}, "greater than 0"),
        ({"circuits": [{"name": "A", "circuit_breaker_a": 15}] * 2}, "two circuits are named 'A'"),
        (
            {"circuits": [{"name": "A", "circuit_breaker_a": 15}], "circuit_breaker_a": 20},
            "the breaker with its circuit would be right",
        ),
        (
            {"circuits": [{"name": "A", "circuit_breaker_a": 15, "input_voltage_v": 240}]},
            "belong together",
        ),
    ],
)
def test_what_cannot_be_of_a_circuit_is_refused(told, words):
    with pytest.raises(ValidationError, match=words):
        ShopSupply(name="Cart 1", rated_current_a=60.0, **told)


def test_a_name_that_is_not_on_record_says_which_are(sqlite_store):
    with pytest.raises(InputError, match="'record add supply' adds one"):
        supply_named(sqlite_store, "Cart 1")
    add_supply(sqlite_store, SUPPLY)
    with pytest.raises(InputError, match="no supply 'Cart 7' in the record; it has 'Cart 1'"):
        supply_named(sqlite_store, "Cart 7")


@pytest.fixture
def planned(sqlite_store):
    """An aircraft whose plan of June was replaced in July, and one without a plan."""
    for tail in ("DEMO-2", "DEMO-1"):
        sqlite_store.add(Aircraft(tail=tail))
    add_load_plan(sqlite_store, "DEMO-2", PLAN, date(2026, 1, 1))
    newer = PLAN.model_copy(update={"bus_min_v": 25.0, "on": date(2025, 7, 1)})
    add_load_plan(sqlite_store, "DEMO-2", newer, date(2026, 1, 1))
    return sqlite_store


def test_the_plan_of_the_day_is_in_force(planned):
    assert loads_in_force(planned, "DEMO-2").bus_min_v == 25.0
    assert loads_in_force(planned, "DEMO-2", date(2025, 6, 30)) == PLAN
    assert loads_in_force(planned, "DEMO-2", date(2025, 6, 1)) is None
    assert loads_in_force(planned, "DEMO-1") is None
    assert tails_of(planned) == {"DEMO-2": True, "DEMO-1": False}


def test_a_plan_told_again_is_kept_once_with_its_own_day(planned):
    entry, was_there = add_load_plan(planned, "DEMO-2", PLAN, date(2026, 3, 3))
    assert was_there
    assert entry.record.on == PLAN.on
    assert len(planned.entries(LoadPlan)) == 2


def test_a_plan_follows_an_aircraft_that_gets_another_tail(planned):
    aircraft = planned.aircraft("DEMO-2")
    planned.correct(
        aircraft.id, aircraft.record.model_copy(update={"tail": "DEMO-5"}), "re-lettered"
    )
    assert loads_in_force(planned, "DEMO-5").tail == "DEMO-5"


def test_loads_of_another_aircraft_and_of_a_day_to_come_are_refused(planned):
    with pytest.raises(InputError, match="those of 'DEMO-2', not of 'DEMO-1'"):
        add_load_plan(planned, "DEMO-1", PLAN, date(2026, 1, 1))
    ahead = PLAN.model_copy(update={"on": planned.now().date() + timedelta(days=3)})
    with pytest.raises(InputError, match="later than today"):
        add_load_plan(planned, "DEMO-2", ahead, date(2026, 1, 1))
    with pytest.raises(InputError, match="no aircraft 'DEMO-9'"):
        add_load_plan(planned, "DEMO-9", PLAN, date(2026, 1, 1))


def test_a_deleted_aircraft_takes_its_plans_along_and_brings_them_back(planned):
    gone = planned.delete(planned.aircraft("DEMO-2").id, "sold")
    assert planned.entries(LoadPlan) == ()
    planned.restore(gone.id)
    assert loads_in_force(planned, "DEMO-2").bus_min_v == 25.0


def test_circuit_names_that_look_alike_are_one(sqlite_store):
    twice = tuple(WallCircuit(name=name, circuit_breaker_a=15.0) for name in ("East", "EAST "))
    with pytest.raises(ValidationError, match="two circuits are named 'East'"):
        ShopSupply(name="Cart 1", rated_current_a=60.0, circuits=twice)


def test_a_chosen_configuration_is_kept_once_and_a_new_choice_of_the_day_is_news(planned):
    chosen = budget(PLAN, "Database update", SUPPLY.on_circuit(), on=date(2026, 3, 2))
    entry, was_there = keep_configuration(planned, chosen, "Cart 1 on Hangar east", "fits")
    assert not was_there
    again = keep_configuration(planned, chosen, "Cart 1 on Hangar east", "fits, another draw")
    assert again == (entry, True)
    known = known_configuration(planned, "DEMO-2", "Database update")
    assert known == entry.record
    assert [one.peak_a for one in known.consumers] == [3.0, 14.0]
    assert (known.left_off, known.said_by, known.said_on) == ((), PLAN.said_by, PLAN.on)
    assert not keep_configuration(planned, chosen, "Cart 2", "x" * 400)[1]
    assert known_configuration(planned, "DEMO-2", "Database update").supply == "Cart 2"
    assert known_configuration(planned, "DEMO-1", "Database update") is None


def test_what_was_left_off_is_named_and_not_kept_among_what_runs(planned):
    """50 A of lamps on a supply of 12 A."""
    lamps = Consumer(name="Lamps", continuous_a=50.0)
    task = Task(name="Look", minutes=10.0, needs=("Radio",), wants=("Lamps",))
    plan = PLAN.model_copy(update={"consumers": (PLAN.consumers[0], lamps), "tasks": (task,)})
    chosen = budget(plan, "Look", Supply(rated_current_a=12.0), on=date(2026, 3, 2))
    kept = keep_configuration(planned, chosen, "Cart 1", "fits")[0].record
    assert kept.left_off == ("Lamps",)
    assert [one.name for one in kept.consumers] == ["Radio"]


def test_a_task_that_was_renamed_keeps_its_known_configuration(planned):
    chosen = budget(PLAN, "Database update", SUPPLY.on_circuit(), on=date(2026, 3, 2))
    kept, _ = keep_configuration(planned, chosen, "Cart 1", "fits")
    for name in ("Data update", "Data"):
        was = next(one.name for one in loads_in_force(planned, "DEMO-2").tasks)
        told = {"name": name}
        alter_loads(planned, "DEMO-2", partial(with_task, told=told, was=was), date(2026, 3, 3))
    assert known_configuration(planned, "DEMO-2", "Data") == kept.record
    other = {"name": "Listen", "minutes": 10.0, "needs": ()}
    alter_loads(planned, "DEMO-2", partial(with_task, told=other), date(2026, 3, 3))
    assert known_configuration(planned, "DEMO-2", "Listen") is None
    assert known_configuration(planned, "DEMO-2", "Data") == kept.record


def test_a_configuration_without_its_day_is_not_kept(planned):
    chosen = budget(PLAN, "Database update", SUPPLY.on_circuit())
    with pytest.raises(InputError, match="needs its day"):
        keep_configuration(planned, chosen, "Cart 1", "fits")


def test_a_load_configuration_without_a_day_is_no_known_one(planned):
    aircraft = planned.aircraft("DEMO-2").id
    planned.add(LoadConfiguration(aircraft_id=aircraft, name="Database update", consumers=()))
    assert known_configuration(planned, "DEMO-2", "Database update") is None


def test_a_stamp_changes_with_every_write(planned):
    stamps = [record_stamp(planned)]
    entry = add_supply(planned, SUPPLY).entry
    stamps.append(record_stamp(planned))
    gone = planned.delete(entry.id, "sold")
    stamps.append(record_stamp(planned))
    planned.restore(gone.id)
    stamps.append(record_stamp(planned))
    begin(planned, "connection-1", planned.now())
    stamps.append(record_stamp(planned))
    assert len(set(stamps)) == len(stamps)
