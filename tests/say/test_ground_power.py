"""The budget from the record: which battery counts, from when, and how its age is said."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta

import pytest

from batterymodel.budget.plan import budget
from batterymodel.errors import InputError
from batterymodel.inputs.load_edits import with_consumer, with_source
from batterymodel.inputs.records import Supply
from batterymodel.rules.results import SEVERITY_ORDER, Severity
from batterymodel.say.ground_power import (
    FRESH,
    READ_AGAIN,
    battery_seen,
    battery_words,
    known_words,
    loads_words,
    power_basis,
    power_view,
    taught_words,
    view_text,
)
from batterymodel.store import open_store
from batterymodel.store.in_progress import begin, leave, note, tell
from batterymodel.store.learned_loads import alter_loads, choice_said_first
from batterymodel.store.power import keep_configuration, loads_in_force
from batterymodel.store.records import (
    Aircraft,
    Connection,
    LoadConfiguration,
    LoadPlan,
    Move,
)
from batterymodel.store.told_readings import readings_of
from tests.store.cases import PLAN

SUPPLY = Supply(rated_current_a=60.0, name="Cart 1")
NOW = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def fleet(demo_sqlite):
    """The invented fleet, for tests that only look at it."""
    return open_store(demo_sqlite)


@pytest.fixture
def store(demo_sqlite, tmp_path):
    """The invented fleet."""
    return open_store(shutil.copy(demo_sqlite, tmp_path / "record.sqlite"))


def view_of(store, now=NOW):
    return power_view(store, "DEMO-1", "Database update", SUPPLY, now)


def test_the_last_connection_up_to_the_day_counts(fleet):
    last = fleet.entries(Connection, battery_id=fleet.plate("SF-101").id)[-1]
    seen, why_not = battery_seen(fleet, fleet.aircraft("DEMO-1"), NOW)
    assert (seen.name, seen.entry_id, why_not) == ("SF-101", last.id, "")
    assert seen.readings == readings_of(fleet, last.record)
    early = datetime(2026, 2, 10, 18, 0, tzinfo=UTC)
    before, _ = battery_seen(fleet, fleet.aircraft("DEMO-1"), early)
    assert before.day == "2026-02-09"
    none, why_not = battery_seen(fleet, fleet.aircraft("DEMO-1"), early - timedelta(days=900))
    assert none is None
    assert "not counted" in why_not


def test_a_battery_that_was_taken_off_no_longer_counts(store):
    plate = store.plate("SF-101").id
    store.add(Move(battery_id=plate, aircraft_id=None, on=date(2026, 3, 2), reason="to the bench"))
    seen, why_not = battery_seen(store, store.aircraft("DEMO-1"), NOW)
    assert seen is None
    assert why_not == (
        "No connection of a battery in DEMO-1 is on record: what it draws is not counted."
    )


def test_today_is_said_and_any_other_day_asks_to_read_again(fleet):
    said = battery_words(view_of(fleet), NOW)
    assert said.endswith("as last read in the connection of today, 2026-03-02.")
    later = NOW + timedelta(days=1)
    said = battery_words(view_of(fleet, later), later)
    assert "That is not now: read the ammeter after connecting." in said


def live(store, currents):
    began = datetime.now(UTC) - timedelta(minutes=6)
    begin(store, "connection-1", began, serial="SF-101")
    for number, current in enumerate(currents):
        at = began + timedelta(seconds=30.0 * (number + 1))
        note(store, "connection-1", f"press-{number:04}", "supply_current_a", current, at)
    return began + timedelta(seconds=30.0 * len(currents))


def test_a_connection_in_progress_goes_before_those_on_record(store):
    read_at = live(store, (24.0, 22.6, 21.5, 20.6))
    view = view_of(store, read_at)
    assert view.seen.read_at == read_at
    assert view.seen.entry_id is None
    assert view.budget.battery_a.mean == pytest.approx(view.seen.now.current_a.mean)
    for age, asks in ((FRESH, False), (FRESH + timedelta(seconds=1), True)):
        said = battery_words(view, read_at + age)
        assert "the connection in progress, read 10 min ago." in said
        assert said.endswith(READ_AGAIN) == asks
    for age, words in ((timedelta(hours=30), "30 h"), (timedelta(days=3), "3 days")):
        assert f"read {words} ago." in battery_words(view, read_at + age)


def test_one_that_was_forgotten_does_not_hide_a_connection_of_a_later_day(store):
    read_at = live(store, (24.0, 22.6, 21.5, 20.6))
    [last] = store.entries(Connection, battery_id=store.plate("SF-101").id)[-1:]
    later = last.record.model_copy(update={"day": read_at.date() + timedelta(days=2)})
    store.correct(last.id, later, "the day was mistyped")
    now = read_at + timedelta(days=3)
    seen, _ = battery_seen(store, store.aircraft("DEMO-1"), now)
    assert (seen.read_at, seen.entry_id) == (None, last.id)
    same_day, _ = battery_seen(store, store.aircraft("DEMO-1"), read_at)
    assert same_day.read_at == read_at


def test_a_day_of_the_past_knows_no_connection_of_today_and_no_later_move(store):
    live(store, (24.0, 22.6, 21.5, 20.6))
    plate = store.plate("SF-101").id
    store.add(Move(battery_id=plate, aircraft_id=None, on=date(2026, 3, 5), reason="to the bench"))
    seen, _ = battery_seen(store, store.aircraft("DEMO-1"), NOW)
    assert (seen.name, seen.read_at, seen.day) == ("SF-101", None, "2026-03-02")


def avionics_of(view):
    (found,) = [one for one in view.budget.consumers if one.name == "Avionics"]
    return found.continuous_a.mean


def test_a_current_that_was_corrected_is_not_averaged_back_by_the_connection_looked_at(store):
    """Its marked step of 12 A or so was read before the entry of 28 A."""
    assert view_of(store).learned.loads.consumer("Avionics") is not None
    now = datetime.now(UTC)
    alter_loads(
        store,
        "DEMO-1",
        lambda loads: with_consumer(
            loads,
            {"continuous_a": 28.0},
            "Avionics",
            [one.name for one in loads.tasks if "Avionics" in one.needs],
            [one.name for one in loads.tasks if "Avionics" in one.wants],
        ),
        now.date(),
    )
    view = view_of(store, now)
    assert avionics_of(view) == 28.0
    assert view.learned.names == () or "Avionics" not in view.learned.names
    assert "Avionics" not in [one.name for one in view.budget.learned]


def test_loads_altered_since_are_not_said_by_who_said_the_first(store):
    plan = loads_in_force(store, "DEMO-1")
    today = datetime.now(UTC).date()
    alter_loads(store, "DEMO-1", lambda loads: with_source(loads, {"bus_min_v": 25.0}), today)
    learned = power_basis(store, "DEMO-1", datetime.now(UTC)).learned
    said = loads_words(learned.loads, learned.said_first)
    assert f"said by {plan.said_by} on {plan.on}; altered since, last on {today}" in said
    assert "altered" not in loads_words(plan, plan.on)
    whole = {"said_by": "C. Mechanic", "document": "Load sheet 2"}
    alter_loads(store, "DEMO-1", lambda loads: with_source(loads, whole), today)
    learned = power_basis(store, "DEMO-1", datetime.now(UTC)).learned
    said = loads_words(learned.loads, learned.said_first)
    assert f"from Load sheet 2, said by C. Mechanic on {today}." in said


def test_a_kept_configuration_tells_when_it_was_said_and_when_altered(store):
    plan, today = loads_in_force(store, "DEMO-1"), datetime.now(UTC).date()
    task = plan.tasks[0].name

    def kept(on):
        loads = loads_in_force(store, "DEMO-1")
        chosen = budget(loads, task, Supply(rated_current_a=500.0), on=on)
        known = keep_configuration(store, chosen, "Cart 1", "fits")[0].record
        return known_words(task, known, choice_said_first(store, known))

    of_then = budget(plan, task, Supply(rated_current_a=500.0), on=plan.on)
    first = keep_configuration(store, of_then, "Cart 3", "fits")[0].record
    source = f"{plan.document}, said by {plan.said_by} on {plan.on}"
    assert kept(plan.on).endswith(f"Currents from {source}.")
    alter_loads(store, "DEMO-1", lambda loads: with_source(loads, {"bus_min_v": 25.0}), today)
    assert f"Currents from {source}; altered since, last on {today}, which need not" in kept(today)
    altered = loads_in_force(store, "DEMO-1")
    of_today = budget(altered, task, Supply(rated_current_a=500.0), on=today)
    before = keep_configuration(store, of_today, "Cart 2", "fits")[0].record
    whole = {"said_by": "C. Mechanic", "document": "Load sheet 2"}
    alter_loads(store, "DEMO-1", lambda loads: with_source(loads, whole), today)
    assert f"Currents from Load sheet 2, said by C. Mechanic on {today}." in kept(today)
    assert before.said_on == today
    assert choice_said_first(store, before) == plan.on
    again = {"said_by": plan.said_by, "document": plan.document}
    alter_loads(store, "DEMO-1", lambda loads: with_source(loads, again), today)
    assert choice_said_first(store, first) == plan.on


def test_one_without_an_answer_does_not_count_and_is_said(store):
    read_at = live(store, (24.0,))
    seen, why_not = battery_seen(store, store.aircraft("DEMO-1"), read_at)
    assert seen is None
    assert "A connection of SF-101 is in progress, but gives no answer yet" in why_not


def test_a_battery_that_is_not_on_record_counts_by_the_name_of_its_aircraft(store):
    begin(store, "connection-1", datetime.now(UTC) - timedelta(minutes=4))
    plate = {"chemistry": "vrla", "cells": 12, "rated_capacity_ah": 40.0}
    tell(store, "connection-1", "tell-00001", tail="demo-1", **plate)
    _, why_not = battery_seen(store, store.aircraft("DEMO-1"), datetime.now(UTC))
    assert "A connection of demo-1 is in progress" in why_not


def test_one_of_a_battery_deleted_since_takes_no_other_aircraft_its_answer(store):
    read_at = live(store, (24.0, 22.6, 21.5, 20.6))
    store.delete([store.plate("SF-101").id], "sold")
    seen, _ = battery_seen(store, store.aircraft("DEMO-2"), read_at)
    assert seen.name == "SF-102"
    tell(store, "connection-1", "tell-00001", tail="DEMO-1")
    _, why_not = battery_seen(store, store.aircraft("DEMO-1"), read_at)
    assert "A connection of SF-101 is in progress, but gives no answer yet" in why_not


def test_one_that_was_left_does_not_count(store):
    live(store, (24.0, 22.6, 21.5, 20.6))
    leave(store, "connection-1", "leave-0001", "left")
    seen, _ = battery_seen(store, store.aircraft("DEMO-1"), NOW)
    assert seen.read_at is None


def test_the_connection_that_is_looked_at_is_not_learned_from_beforehand(store):
    steps = next(
        entry
        for entry in store.entries(Connection)
        if entry.record.file_name == "marked-load-steps.csv"
    )
    aircraft = store.aircraft("DEMO-1").id
    assert steps.record.aircraft_id == aircraft
    day = datetime.combine(steps.record.day, datetime.min.time(), UTC)
    store.delete(
        [e.id for e in store.entries(Connection, aircraft_id=aircraft) if e.id != steps.id], "x"
    )
    plan = loads_in_force(store, "DEMO-1")
    assert plan.on > steps.record.day
    view = view_of(store, day + timedelta(days=30))
    assert view.learned.names == ()
    [taught] = view.budget.learned
    assert (taught.name, taught.before_a.mean) == ("Avionics", 9.5)
    counted = next(one for one in view.budget.consumers if one.name == "Avionics")
    assert counted.continuous_a.mean == pytest.approx(taught.after_a.mean)
    text = " ".join(view_text(view, NOW).split())
    assert taught_words(view.budget)[0] in text
    assert "with readings = " not in text
    assert "where 9.5 A was known" in taught_words(view.budget)[0]


def test_a_consumer_that_draws_more_than_on_record_is_a_finding(store):
    plan = loads_in_force(store, "DEMO-1")
    known = {"continuous_a": 6.0, "continuous_sd_a": 0.2, "readings": 12}
    consumers = tuple(
        one.model_copy(update=known) if one.name == "Avionics" else one for one in plan.consumers
    )
    aircraft = store.aircraft("DEMO-1").id
    told = plan.model_copy(update={"consumers": consumers, "on": date(2026, 2, 15)})
    store.add(LoadPlan(aircraft_id=aircraft, on=date(2026, 2, 15), loads=told))
    view = view_of(store, datetime(2026, 2, 16, 18, 0, tzinfo=UTC))
    [grown] = [finding for finding in view.budget.findings if finding.rule == "draws_more"]
    assert grown.severity is Severity.WATCH
    assert "Avionics drew" in grown.text
    assert "where 6 A was known" in grown.text
    order = [SEVERITY_ORDER.index(finding.severity) for finding in view.budget.findings]
    assert order == sorted(order, reverse=True)


def test_an_aircraft_without_loads_says_what_would_be_right(fleet):
    with pytest.raises(InputError, match="'record add loads', or a loads file here"):
        power_view(fleet, "DEMO-3", "Database update", SUPPLY, NOW)


def test_what_nobody_named_is_said_so():
    bare = PLAN.model_copy(update={"document": None, "said_by": None, "on": None})
    assert "no document named, said by somebody not named on a day not told" in loads_words(bare)
    chosen = LoadConfiguration(
        aircraft_id="00000000-0000-4000-8000-000000000000",
        name="Ramp",
        consumers=(),
        on=date(2026, 3, 2),
    )
    assert "on are none; off are none. Currents from no document named" in known_words("R", chosen)


def test_two_aircraft_do_not_share_a_connection_in_progress(store):
    live(store, (24.0, 22.6, 21.5, 20.6))
    other = store.add(Aircraft(tail="DEMO-20"))
    seen, why_not = battery_seen(store, other, NOW)
    assert seen is None
    assert "DEMO-20" in why_not


def test_a_connection_in_another_aircraft_tells_the_draw_and_nothing_of_consumers(store):
    plate, other = store.plate("SF-101").id, store.aircraft("DEMO-2")
    connections = store.entries(Connection, battery_id=plate)
    (steps,) = (e for e in connections if e.record.file_name == "marked-load-steps.csv")
    store.delete([e.id for e in connections if e.record.day > steps.record.day], "x")
    plan = loads_in_force(store, "DEMO-1").model_copy(update={"tail": "DEMO-2"})
    store.add(LoadPlan(aircraft_id=other.id, on=plan.on, loads=plan))
    off = {"on": date(2026, 3, 2), "reason": "changed over"}
    store.add(Move(battery_id=store.plate("SF-102").id, aircraft_id=None, **off))
    store.add(Move(battery_id=plate, aircraft_id=other.id, **off))
    view = power_view(store, "DEMO-2", "Database update", SUPPLY, NOW)
    assert view.seen.entry_id == steps.id
    assert (view.budget.learned, view.seen.readings) == ((), None)
    said = battery_words(view, NOW)
    assert "the charge it had, as last read in the connection of 2026-02-16, in another air" in said


def test_the_text_says_of_which_day_it_is_and_from_when_the_battery(fleet):
    later = NOW + timedelta(days=30)
    text = " ".join(view_text(view_of(fleet, later), later).split())
    assert text.startswith("Ground power of DEMO-1, worked out on 2026-04-01.")
    assert battery_words(view_of(fleet, later), later) in text


def test_a_second_battery_in_the_aircraft_is_said_not_to_count(store):
    assert "not the only one" not in battery_words(view_of(store), NOW)
    here = {"aircraft_id": store.aircraft("DEMO-1").id, "on": date(2026, 3, 2), "reason": "second"}
    store.add(Move(battery_id=store.plate("SF-110").id, **here))
    said = battery_words(view_of(store), NOW)
    assert said.startswith("The battery SF-101 ")
    assert said.endswith("It is not the only one in this aircraft: nothing is counted of SF-110.")


def test_the_readings_are_of_the_supply_that_they_were_taken_on(fleet):
    seen = view_of(fleet).seen
    assert seen.supply == fleet.entry(seen.entry_id).record.supply != SUPPLY


def test_a_battery_sent_for_servicing_long_ago_is_asked_for_new_readings(fleet):
    tail, later = "DEMO-7", NOW + timedelta(days=40)
    task = loads_in_force(fleet, tail).tasks[0].name
    for now, asks in ((NOW, False), (later, True)):
        said = battery_words(power_view(fleet, tail, task, SUPPLY, now), now)
        assert said.endswith("If it was serviced since, connect it and take new readings.") is asks
    assert "serviced" not in battery_words(view_of(fleet, later), later)


def test_a_consumer_that_draws_more_is_compared_with_what_was_known_before(store):
    connections = store.entries(Connection, battery_id=store.plate("SF-101").id)
    (steps,) = (e for e in connections if e.record.file_name == "marked-load-steps.csv")
    store.delete([e.id for e in connections if e.record.day > steps.record.day], "x")
    plan = loads_in_force(store, "DEMO-1")
    known = {"continuous_a": 7.0, "continuous_sd_a": 0.2, "readings": 4}
    consumers = tuple(
        one.model_copy(update=known) if one.name == "Avionics" else one for one in plan.consumers
    )
    loads = plan.model_copy(update={"consumers": consumers, "on": date(2026, 3, 1)})
    store.add(LoadPlan(aircraft_id=store.aircraft("DEMO-1").id, on=loads.on, loads=loads))
    (more,) = (f for f in view_of(store).budget.findings if f.rule == "draws_more")
    assert (more.severity, more.limit) == (Severity.WATCH, 7.0)


def test_a_temperature_counts_on_its_own_day_only(fleet):
    today, _ = battery_seen(fleet, fleet.aircraft("DEMO-1"), NOW)
    later, _ = battery_seen(fleet, fleet.aircraft("DEMO-1"), NOW + timedelta(days=1))
    assert today.temp_c is not None
    assert later.temp_c is None


def test_the_budget_is_of_the_day_and_rests_on_all_that_was_seen(fleet):
    basis = power_basis(fleet, "DEMO-1", NOW)
    seen = basis.seen
    assert None not in (seen.supply, seen.temp_c)
    assert basis.told == {
        "battery_now": seen.now,
        "battery": seen.battery,
        "readings": seen.readings,
        "battery_temp_c": seen.temp_c,
        "readings_supply": seen.supply,
    }
    assert view_of(fleet).budget.configuration.on == NOW.date()
