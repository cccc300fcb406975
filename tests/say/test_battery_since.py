"""A battery's answer that a check, a told charge or a move overtook."""

from __future__ import annotations

import shutil
from datetime import UTC, date, datetime, timedelta

import pytest

from batterymodel.inputs.records import Supply
from batterymodel.rules.results import Outcome
from batterymodel.say.ground_power import battery_words, box_of, power_view
from batterymodel.store import open_store
from batterymodel.store.in_progress import begin, note
from batterymodel.store.power import loads_in_force
from batterymodel.store.records import (
    BenchCheck,
    Connection,
    KnownState,
    Move,
    Servicing,
    ServicingFound,
)
from batterymodel.store.servicing import add_servicing

SUPPLY = Supply(rated_current_a=60.0, name="Cart 1")
NOW = datetime(2026, 3, 2, 18, 0, tzinfo=UTC)
DAY = date(2026, 3, 5)
LATER = datetime(2026, 3, 6, 18, 0, tzinfo=UTC)
TAIL = "DEMO-7"


@pytest.fixture
def store(demo_sqlite, tmp_path):
    """The invented fleet, in which the battery of DEMO-7 is to be disconnected."""
    return open_store(shutil.copy(demo_sqlite, tmp_path / "record.sqlite"))


def view_of(store, now=LATER, tail=TAIL):
    return power_view(store, tail, loads_in_force(store, tail).tasks[0].name, SUPPLY, now)


def plate_of(store, now=NOW):
    return store.plate(view_of(store, now).seen.name)


def check(store, share, **told):
    plate = plate_of(store)
    amount = share * plate.record.rated_capacity_ah
    return BenchCheck(battery_id=plate.id, on=DAY, capacity_ah=amount, **told)


def outcome_findings(view):
    return [f for f in view.budget.findings if f.rule == "battery_outcome"]


def test_without_anything_newer_the_connection_counts(store):
    view = view_of(store)
    assert box_of(view.budget).word == "Battery first"
    assert view.seen.newer == ""
    assert "battery_since" not in view.budget.not_checked


def test_a_passed_check_overtakes_the_answer_of_the_connection(store):
    assert view_of(store).seen.now.outcome is Outcome.DISCONNECT
    store.add(check(store, 0.93))
    view = view_of(store)
    assert box_of(view.budget).word != "Battery first"
    assert outcome_findings(view) == []
    assert "battery_since" in view.budget.not_checked
    said = battery_words(view, LATER)
    assert "Newer than that connection: a capacity check of 2026-03-05 (93 % of its" in said
    assert "(disconnect now) no longer counts, and how the battery is since" in said
    assert "If it was serviced since" not in said
    assert view.seen.now.state_of_charge is None


@pytest.mark.parametrize("shares", [(0.6, 0.93), (0.93, 0.6)])
def test_a_repeat_of_one_day_that_passes_does_not_hide_a_check_that_failed(store, shares):
    for share in shares:
        store.add(check(store, share))
    store.add(check(store, 0.9, is_lower_bound=True))
    view = view_of(store)
    assert view.seen.now.outcome is Outcome.SERVICE
    assert box_of(view.budget).word == "Battery first"


def test_a_failed_check_sends_it_for_servicing_by_the_check(store):
    store.add(check(store, 0.6))
    view = view_of(store)
    assert box_of(view.budget).word == "Battery first"
    (found,) = outcome_findings(view)
    assert found.text.startswith("Of the battery its capacity check of 2026-03-05 says: Send for")
    assert found.source == "its capacity check of 2026-03-05"


def test_what_servicing_found_overtakes_the_answer_too(store):
    plate = plate_of(store)
    store.add(Servicing(battery_id=plate.id, on=DAY, found="nothing_wrong"))
    view = view_of(store)
    assert box_of(view.budget).word != "Battery first"
    assert "servicing of 2026-03-05 (nothing wrong)" in view.seen.newer
    store.add(Servicing(battery_id=plate.id, on=DAY + timedelta(days=1), found="faulty_cell"))
    view = view_of(store)
    assert view.seen.now.outcome is Outcome.SERVICE
    assert box_of(view.budget).word == "Battery first"


@pytest.mark.long
def test_a_capacity_that_servicing_measured_is_told_once(store):
    serial = plate_of(store).record.serial
    add_servicing(store, serial, ServicingFound.CAPACITY, DAY, 38.0)
    assert "servicing" not in view_of(store).seen.newer
    assert "a capacity check of 2026-03-05" in view_of(store).seen.newer


def test_a_check_that_was_stopped_early_fails_nothing(store):
    store.add(check(store, 0.6, is_lower_bound=True))
    view = view_of(store)
    assert outcome_findings(view) == []
    assert "(at least 60 % of its rating)" in battery_words(view, LATER)


def test_of_two_checks_the_later_counts(store):
    store.add(check(store, 0.6))
    store.add(check(store, 0.95).model_copy(update={"on": DAY + timedelta(days=1)}))
    view = view_of(store)
    assert outcome_findings(view) == []
    assert "2026-03-05 (60 % of its rating) and a capacity check of" in battery_words(view, LATER)


def test_a_sound_battery_that_was_moved_is_under_watch(store):
    """Off DEMO-1 and back in: its dips are those of a battery that nobody has read since."""
    plate, here = store.plate("SF-101").id, store.aircraft("DEMO-1").id
    before = view_of(store, LATER, "DEMO-1")
    assert before.seen.now.outcome is Outcome.TOP_OFF
    store.add(Move(battery_id=plate, aircraft_id=None, on=DAY, reason="to the shop"))
    store.add(Move(battery_id=plate, aircraft_id=here, on=DAY, reason="back"))
    view = view_of(store, LATER, "DEMO-1")
    assert view.seen.now.outcome is Outcome.KEEP_WATCHING
    assert view.seen.now.current_a == before.seen.now.current_a
    said = battery_words(view, LATER)
    assert "its removal on 2026-03-05 (to the shop) and its move into DEMO-1 on" in said


def test_a_charge_that_was_told_takes_the_place_of_the_old_one(store):
    told = KnownState(battery_id=plate_of(store).id, on=DAY, state_of_charge=0.7, sd=0.04)
    store.add(told)
    now = view_of(store).seen.now
    assert (now.state_of_charge.mean, now.state_of_charge.sd) == pytest.approx((0.7, 0.04))
    assert now.outcome is Outcome.DISCONNECT


@pytest.mark.long
def test_neither_a_told_charge_nor_a_move_lifts_disconnect_now(store):
    plate = plate_of(store)
    store.add(Move(battery_id=plate.id, aircraft_id=None, on=DAY, reason="to the shop"))
    home = store.aircraft(TAIL).id
    store.add(Move(battery_id=plate.id, aircraft_id=home, on=DAY, reason="back"))
    store.add(KnownState(battery_id=plate.id, on=DAY, state_of_charge=0.95, sd=0.02))
    view = view_of(store)
    assert view.seen.now.outcome is Outcome.DISCONNECT
    assert box_of(view.budget).word == "Battery first"
    assert "(disconnect now) still counts: neither a move nor a charge" in view.seen.newer
    assert "no longer counts" not in view.seen.newer
    store.add(Servicing(battery_id=plate.id, on=DAY, found="nothing_wrong"))
    assert view_of(store).seen.now.outcome is Outcome.KEEP_WATCHING


@pytest.mark.long
def test_only_what_came_after_and_up_to_the_day_counts(store):
    store.add(check(store, 0.93))
    assert view_of(store, LATER - timedelta(days=2)).seen.newer == ""
    last = store.entries(Connection, battery_id=plate_of(store).id)[-1]
    early = last.record.day - timedelta(days=1)
    store.delete([e.id for e in store.entries(BenchCheck) if e.record.on == DAY], "x")
    store.add(check(store, 0.6).model_copy(update={"on": early}))
    assert view_of(store).seen.newer == ""


def test_of_one_day_what_was_written_later_counts(store):
    last = store.entries(Connection, battery_id=plate_of(store).id)[-1]
    store.add(check(store, 0.93).model_copy(update={"on": last.record.day}))
    assert "a capacity check of 2026-" in view_of(store).seen.newer


def in_progress(store, minutes=6):
    began = datetime.now(UTC) - timedelta(minutes=minutes)
    begin(store, "connection-1", began, serial="SF-101")
    for number, current in enumerate((24.0, 22.6, 21.5, 20.6)):
        at = began + timedelta(seconds=30.0 * (number + 1))
        note(store, "connection-1", f"press-{number:04}", "supply_current_a", current, at)
    return began


def test_a_faulty_cell_found_today_overtakes_a_connection_begun_before(store):
    began = in_progress(store, 50)
    add_servicing(store, "SF-101", ServicingFound.FAULTY_CELL, began.date())
    seen = view_of(store, began + timedelta(minutes=50), "DEMO-1").seen
    assert seen.now.outcome is Outcome.SERVICE
    assert "servicing of" in seen.newer


@pytest.mark.long
def test_a_connection_begun_later_today_goes_before_one_in_progress(store):
    began = in_progress(store, 50)
    told = plate_of(store)
    (last,) = store.entries(Connection, battery_id=told.id)[-1:]
    here = {"battery_id": store.plate("SF-101").id, "aircraft_id": store.aircraft("DEMO-1").id}
    for minutes, is_last in ((-30, False), (30, True)):
        at = {"day": began.date(), "started_at": began + timedelta(minutes=minutes)}
        entry = store.add(last.record.model_copy(update={**here, **at}))
        seen = view_of(store, began + timedelta(minutes=50), "DEMO-1").seen
        assert (seen.entry_id == entry.id) is is_last
        assert (seen.read_at is None) is is_last


def test_a_correction_of_the_connection_leaves_what_was_found_after_it_newer(store):
    (last,) = store.entries(Connection, battery_id=store.plate("SF-101").id)[-1:]
    add_servicing(store, "SF-101", ServicingFound.FAULTY_CELL, last.record.day)
    assert view_of(store, LATER, "DEMO-1").seen.now.outcome is Outcome.SERVICE
    store.correct(last.id, last.record.model_copy(update={"load_a": 7.5}), "mistyped")
    assert view_of(store, LATER, "DEMO-1").seen.now.outcome is Outcome.SERVICE


@pytest.mark.long
def test_a_faulty_cell_found_before_the_connection_is_named_until_a_better_find(store):
    day = NOW.date() - timedelta(days=1)
    add_servicing(store, "SF-101", ServicingFound.FAULTY_CELL, day)
    view = view_of(store, NOW, "DEMO-1")
    assert view.seen.now.outcome is Outcome.TOP_OFF
    assert "battery_since" in view.budget.not_checked
    said = f"found a faulty cell on {day}, before that connection: whether it was repaired is not"
    assert said in battery_words(view, NOW)
    add_servicing(store, "SF-101", ServicingFound.NOTHING_WRONG, day)
    view = view_of(store, NOW, "DEMO-1")
    assert "faulty cell" not in battery_words(view, NOW)
    assert "battery_since" not in view.budget.not_checked


def test_a_connection_in_progress_is_overtaken_by_no_better_news_of_its_day(store):
    began = in_progress(store)
    plate, day = store.plate("SF-101"), began.date()
    told = {"battery_id": plate.id, "capacity_ah": 0.9 * plate.record.rated_capacity_ah}
    store.add(BenchCheck(on=day, **told))
    assert view_of(store, began + timedelta(days=2), "DEMO-1").seen.newer == ""
    store.add(BenchCheck(on=day + timedelta(days=1), **told))
    later = view_of(store, began + timedelta(days=2), "DEMO-1").seen
    assert later.read_at is not None
    assert "Newer than that connection: a capacity check" in later.newer
