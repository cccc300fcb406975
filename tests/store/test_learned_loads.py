"""Consumers' currents from the connections on record: each marked step counts once."""

from __future__ import annotations

import shutil
from datetime import date, timedelta

import numpy as np
import pytest

from batterymodel.budget.learning import declared, updated
from batterymodel.errors import InputError
from batterymodel.inputs.load_edits import with_consumer
from batterymodel.inputs.load_plan import AircraftLoads, Consumer
from batterymodel.store import open_store
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.learned_loads import alter_loads, learned_loads
from batterymodel.store.power import add_load_plan, loads_in_force
from batterymodel.store.records import Aircraft, Connection, Move
from tests.store.cases import BARE

DAYS = (date(2026, 1, 10), date(2026, 2, 10), date(2026, 3, 2))


def loads(**pump) -> AircraftLoads:
    consumers = (
        Consumer(name="Pump", **{"continuous_a": 5.0, **pump}),
        Consumer(name="Fan", continuous_a=2.0),
    )
    return AircraftLoads(tail="DEMO-1", consumers=consumers)


def log(step_a: float, event: str = "pump on") -> bytes:
    """A bus load told by its own column, so that the step stands alone."""
    time_s = np.arange(0.0, 301.0, 10.0)
    load_a = 8.0 + step_a * (time_s >= 150.0)
    current_a = load_a + 4.0 * np.exp(-time_s / 900.0)
    rows = [
        f"{t:g},{a:.2f},{b:.2f},{event if t == 150.0 else ''}"
        for t, a, b in zip(time_s, current_a, load_a, strict=True)
    ]
    return "\n".join(["elapsed_s,supply_current_a,load_a,event", *rows, ""]).encode()


@pytest.fixture(scope="module")
def flown_file(new_sqlite):
    """Three connections in which the pump took 6, 6.4 and 6.2 A."""
    path = new_sqlite("flown")
    sqlite_store = open_store(path)
    aircraft = sqlite_store.add(Aircraft(tail="DEMO-1"))
    battery = add_battery(sqlite_store, "B-1", BARE, date(2024, 1, 5))
    about = {"battery_id": battery.id, "aircraft_id": aircraft.id}
    sqlite_store.add(Move(on=date(2024, 1, 5), reason="new", **about))
    for day, step_a in zip(DAYS, (6.0, 6.4, 6.2), strict=True):
        add_connection(sqlite_store, "B-1", log(step_a), f"{day}.csv", Told(on=day))
    sqlite_store.engine.dispose()
    return path


@pytest.fixture
def flown(flown_file, tmp_path):
    """The same, to be added to."""
    return open_store(shutil.copy(flown_file, tmp_path / "record.sqlite"))


def test_steps_of_all_connections_are_learned_in_order(flown):
    found = learned_loads(flown, loads())
    pump = found.loads.consumer("Pump")
    belief = declared(5.0)
    for step_a in (6.0, 6.4, 6.2):
        belief = updated(belief, step_a, 0.01)
    assert (found.names, found.connections, pump.readings) == (("Pump",), 3, 3)
    assert pump.continuous_a == pytest.approx(belief.mean_a, abs=0.02)
    assert pump.continuous_sd_a == pytest.approx(belief.sd_a, rel=0.05)
    assert found.loads.consumer("Fan") == loads().consumer("Fan")


def test_a_connection_that_is_looked_at_is_left_out(flown):
    last = flown.entries(Connection)[-1].id
    assert learned_loads(flown, loads(), but=last).loads.consumer("Pump").readings == 2


def test_an_entry_that_rests_on_readings_learns_from_later_connections_only(flown):
    counted = loads(readings=2, continuous_sd_a=0.3).model_copy(update={"on": DAYS[1]})
    assert learned_loads(flown, counted).loads.consumer("Pump").readings == 3
    declared_then = loads().model_copy(update={"on": DAYS[1]})
    assert learned_loads(flown, declared_then).loads.consumer("Pump").readings == 3
    assert declared_then.consumer("Pump").readings == 0


def test_what_is_deleted_or_names_nothing_teaches_nothing(flown):
    first, *_ = flown.entries(Connection)
    flown.delete([first.id], "wrong aircraft")
    add_connection(flown, "B-1", log(9.0, "something on"), "other.csv", Told(on=DAYS[2]))
    assert learned_loads(flown, loads()).connections == 2


def test_readings_that_cannot_be_read_are_passed_over(flown):
    add_connection(flown, "B-1", b"\xff\x00 no table", "broken.csv", Told(on=DAYS[2]))
    assert learned_loads(flown, loads()).connections == 3


def test_one_change_loses_nothing_that_connections_taught(flown):
    """An entry of readings takes up what was taught since; a told one goes on learning from all."""
    plan = loads(continuous_sd_a=0.2, readings=3).model_copy(update={"on": DAYS[0]})
    add_load_plan(flown, "DEMO-1", plan, DAYS[0])
    counted = learned_loads(flown, loads_in_force(flown, "DEMO-1")).loads.consumer("Pump")
    day = date(2026, 3, 5)

    def change(given):
        return with_consumer(given, {"name": "Lamp", "continuous_a": 1.0})

    entry, was_there = alter_loads(flown, "DEMO-1", change, day)
    assert (entry.record.on, was_there) == (day, False)
    altered = entry.record.loads
    assert altered.consumer("Pump") == counted
    assert counted.readings == 5
    again = learned_loads(flown, altered)
    assert (again.loads.consumer("Pump"), again.names) == (counted, ())


def test_a_told_current_still_learns_after_another_was_altered(flown):
    given = loads()
    fan = given.consumer("Fan").model_copy(update={"readings": 3, "continuous_sd_a": 0.2})
    plan = given.model_copy(update={"consumers": (given.consumer("Pump"), fan)})
    add_load_plan(flown, "DEMO-1", plan, DAYS[0])
    counted = learned_loads(flown, loads_in_force(flown, "DEMO-1")).loads.consumer("Pump")
    alter_loads(
        flown,
        "DEMO-1",
        lambda given: with_consumer(given, {"name": "Lamp", "continuous_a": 1.0}),
        date(2026, 3, 5),
    )
    told = loads_in_force(flown, "DEMO-1")
    assert told.consumer("Pump").continuous_a == 5.0
    assert learned_loads(flown, told).loads.consumer("Pump") == counted


def told(name, current_a):
    """A change of one consumer's current."""
    return lambda given: with_consumer(given, {"continuous_a": current_a}, name)


def test_a_current_told_anew_learns_only_from_what_comes_after_it(flown):
    """Three connections of 6 A or so came before the entry of 9 A, and one of 9.4 A after it."""
    add_load_plan(flown, "DEMO-1", loads().model_copy(update={"on": DAYS[0]}), DAYS[0])
    alter_loads(flown, "DEMO-1", told("Pump", 9.0), date(2026, 3, 5))
    alter_loads(flown, "DEMO-1", told("Fan", 3.0), date(2026, 3, 6))
    in_force = loads_in_force(flown, "DEMO-1")
    assert learned_loads(flown, in_force).loads.consumer("Pump").continuous_a == 9.0
    add_connection(flown, "B-1", log(9.4), "later.csv", Told(on=date(2026, 3, 7)))
    pump = learned_loads(flown, in_force).loads.consumer("Pump")
    assert pump.readings == 1
    assert pump.continuous_a == pytest.approx(updated(declared(9.0), 9.4, 0.01).mean_a, abs=0.02)


def test_a_connection_later_on_the_day_of_an_alteration_teaches(flown):
    plan = loads(continuous_sd_a=0.2, readings=3).model_copy(update={"on": DAYS[0]})
    add_load_plan(flown, "DEMO-1", plan, DAYS[0])
    day = date(2026, 3, 5)
    add_connection(flown, "B-1", log(6.1), "before.csv", Told(on=day))
    alter_loads(flown, "DEMO-1", told("Fan", 3.0), day)
    in_force = loads_in_force(flown, "DEMO-1")
    assert in_force.consumer("Pump").readings == 6
    assert learned_loads(flown, in_force).loads.consumer("Pump").readings == 6
    add_connection(flown, "B-1", log(6.3), "after.csv", Told(on=day))
    assert learned_loads(flown, in_force).loads.consumer("Pump").readings == 7


def test_what_is_altered_today_is_not_gone_with_a_plan_of_tomorrow(flown):
    today = flown.now().date()
    tomorrow = today + timedelta(days=1)
    for day in (DAYS[0], tomorrow):
        add_load_plan(flown, "DEMO-1", loads().model_copy(update={"on": day}), day)
    alter_loads(flown, "DEMO-1", told("Pump", 9.0), today)
    for day in (today, tomorrow):
        assert loads_in_force(flown, "DEMO-1", day).consumer("Pump").continuous_a == 9.0


def test_a_change_of_nothing_adds_no_plan_and_the_first_needs_none(flown):
    first, was_there = alter_loads(
        flown,
        "DEMO-1",
        lambda given: with_consumer(given, {"name": "Lamp", "continuous_a": 1.0}),
        DAYS[0],
    )
    assert not was_there
    same, was_there = alter_loads(flown, "DEMO-1", lambda given: given, DAYS[2])
    assert (same.id, was_there) == (first.id, True)
    with pytest.raises(InputError, match="no aircraft 'DEMO-9'"):
        alter_loads(flown, "DEMO-9", lambda given: given, DAYS[0])
