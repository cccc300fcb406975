"""The page at the aircraft, without a browser: begun, told, left, taken up, and kept."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.errors import StoreError
from batterymodel.pages import battery_choice, connections, kept, literal, live_connection
from batterymodel.pages.choices import OWN
from batterymodel.pages.live_connection import KEPT_WITH
from batterymodel.say.in_progress import NO_BATTERY
from batterymodel.store import open_store
from batterymodel.store.acts import State
from batterymodel.store.engine import URL_VARIABLE, demo_url
from batterymodel.store.finishing import finish
from batterymodel.store.in_progress import begin, connections_in_progress, leave, load, note
from batterymodel.store.records import Aircraft
from tests.store.test_in_progress import with_battery

SCRIPT = "from batterymodel.pages import at_the_aircraft\nat_the_aircraft.page()\n"
C = "connection-1"


@pytest.fixture
def store(tmp_path, monkeypatch):
    """An own record with one battery, at the clock of this computer."""
    path = str(tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, path)
    with_battery(open_store(path))
    return open_store(path)


def opened(connection: str | None = None) -> AppTest:
    at = AppTest.from_string(SCRIPT, default_timeout=60)
    if connection is not None:
        at.query_params[connections.CONNECTION] = connection
    return ran(at.run())


def ran(at: AppTest) -> AppTest:
    assert not at.exception
    return at


def press(at: AppTest, label: str) -> AppTest:
    (found,) = [b for b in at.button if b.label.startswith(label)]
    return ran(found.click().run())


def labels(at: AppTest) -> list[str]:
    return [button.label for button in at.button]


def markdown_of(at: AppTest) -> str:
    said = " ".join(element.value for element in at.markdown)
    return said.replace("\\", "").replace("\u2060", "")


def html_of(at: AppTest) -> str:
    return unescape("\n".join(element.proto.body for element in at.get("html")))


def begun(store, minutes_ago=5.0, **told):
    moment = datetime.now(UTC) - timedelta(minutes=minutes_ago)
    return begin(store, C, moment, **told)


def noted(store, *currents):
    for k, amperes in enumerate(currents):
        moment = load(store, C).started_at + timedelta(seconds=10.0 * k)
        note(store, C, f"press-{k:04}", "supply_current_a", amperes, moment)


def test_one_press_begins_and_the_battery_is_told_after(store):
    at = press(opened(), connections.JUST_CONNECTED)
    [connection] = connections_in_progress(store)
    assert at.query_params[connections.CONNECTION] == connection.id
    assert NO_BATTERY in html_of(at)
    ran(at.selectbox[0].set_value("B-1").run())
    told = load(store, connection.id).told
    assert (told.serial, told.supply.rated_current_a) == ("B-1", 60.0)
    assert NO_BATTERY not in html_of(at)


def test_a_second_press_at_once_begins_no_other(store):
    at = opened()
    press(at, connections.JUST_CONNECTED)
    del at.query_params[connections.CONNECTION]
    press(ran(at.run()), connections.JUST_CONNECTED)
    assert len(connections_in_progress(store)) == 1


def test_battery_and_supply_may_be_corrected(store):
    begun(store, serial="B-1")
    at = opened(C)
    ran(at.number_input[0].set_value(100.0).run())
    assert load(store, C).told.supply.rated_current_a == 100.0
    assert "100 A" in at.expander[0].label


@pytest.mark.parametrize("serial", [battery_choice.OTHER, "B-1"])
def test_a_battery_with_the_name_of_the_own_choice_is_itself(store, serial):
    if serial != "B-1":
        plate = store.plate("B-1").record.model_copy(update={"serial": serial})
        store.add(plate)
    begun(store, serial=serial)
    at = opened(C)
    assert at.selectbox[0].value == serial
    assert len(set(at.selectbox[0].options)) == len(at.selectbox[0].options)
    ran(at.selectbox[0].set_value(OWN).run())
    assert len(at.selectbox) == 2
    ran(at.selectbox[0].set_value(serial).run())
    assert len(at.selectbox) == 1
    assert load(store, C).told.serial == serial


def test_a_plate_takes_the_place_of_a_serial(store):
    begun(store, serial="B-1")
    at = opened(C)
    ran(at.selectbox[0].set_value(OWN).run())
    ran(at.selectbox[1].set_value("nicd").run())
    at.number_input[0].set_value(20)
    at.number_input[1].set_value(23.0)
    press(ran(at.run()), "It is this battery")
    told = load(store, C).told
    assert (told.serial, told.tail, told.cells, told.rated_capacity_ah) == (
        None,
        "unnamed",
        20,
        23.0,
    )


@pytest.mark.long
def test_a_battery_known_by_its_plate_is_offered_to_be_kept(store):
    begun(store, tail="x", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    assert "Keep battery and connection" not in labels(opened(C))
    noted(store, 13.4, 13.1, 12.9)
    at = opened(C)
    serial, aircraft = at.text_input[-2:]
    serial.set_value("B-9")
    aircraft.set_value("DEMO-9")
    press(ran(at.run()), "Keep battery and connection")
    assert load(store, C).state is State.FINISHED
    assert store.plate("B-9").record.cells == 12


@pytest.mark.long
def test_a_serial_that_is_there_already_is_said_and_nothing_is_kept(store):
    begun(store, tail="x", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    noted(store, 13.4, 13.1, 12.9)
    at = opened(C)
    serial, aircraft = at.text_input[-2:]
    serial.set_value("B-1")
    aircraft.set_value("DEMO-1")
    press(ran(at.run()), "Keep battery and connection")
    assert "B" in at.error[0].value
    assert load(store, C).state is State.IN_PROGRESS


def test_leaving_is_asked_once_and_what_was_left_is_offered(store):
    begun(store, serial="B-1")
    noted(store, 13.4)
    at = press(opened(C), "Leave it unfinished")
    assert load(store, C).state is State.IN_PROGRESS
    at = press(at, "No, go on with it")
    assert "Yes, leave it" not in labels(at)
    at = press(press(at, "Leave it unfinished"), "Yes, leave it")
    assert load(store, C).state is State.LEFT
    at = press(at, "Back to the start")
    at = press(at, f"Take up again: {literal('B-1')}")
    assert load(store, C).state is State.IN_PROGRESS
    assert at.query_params[connections.CONNECTION] == C


@pytest.mark.parametrize(("days", "is_listed"), [(6.9, True), (7.1, False)])
def test_what_was_left_is_listed_for_a_week(store, days, is_listed):
    begun(store, minutes_ago=days * 24.0 * 60.0, serial="B-1")
    leave(store, C, "leave-001", "mistake")
    assert any(label.startswith("Take up again") for label in labels(opened())) == is_listed


def test_an_unusual_number_of_cells_is_asked_about_and_what_is_missing_is_said(store):
    begun(store)
    at = opened(C)
    ran(at.selectbox[0].set_value(OWN).run())
    at = ran(at.selectbox[1].set_value("vrla").run())
    assert "Still needed: cells and rated capacity." in markdown_of(at)
    at.number_input[0].set_value(13)
    at = ran(at.number_input[1].set_value(40.0).run())
    assert "13 cells? Usual for this kind" in markdown_of(at)
    assert "It is this battery" not in labels(at)
    ran(at.number_input[0].set_value(12).run())
    assert "It is this battery" in labels(at)
    ran(at.number_input[0].set_value(13).run())
    press(at, "It has 13 cells")
    assert load(store, C).told.cells == 13


@pytest.mark.long
def test_on_an_empty_record_the_pad_stands_before_the_plate(tmp_path, monkeypatch):
    path = str(tmp_path / "empty.sqlite")
    monkeypatch.setenv(URL_VARIABLE, path)
    begun(open_store(path))
    kinds = [element.type for element in opened(C).main]
    assert kinds.index("bidi_component") < kinds.index("selectbox")


@pytest.mark.long
def test_what_ended_says_so_and_shows_the_outcome_it_was_kept_with(store):
    begun(store, serial="B-1")
    noted(store, 13.4, 13.1, 12.9)
    finish(store, C, "finish-01")
    moment = load(store, C).started_at + timedelta(seconds=90.0)
    note(store, C, "late-0001", "battery_temp_c", 70.0, moment)
    at = opened(C)
    assert "jc-pin" not in html_of(at).split("</style>")[-1]
    assert "After it was kept came: 70 °C at 1:30." in markdown_of(at)
    assert KEPT_WITH in markdown_of(at)
    assert "KEEP WATCHING" in html_of(at).upper()


def test_an_unknown_connection_is_one_sentence_on_the_start(store):
    at = opened("connection-9")
    assert "begin it first" in at.error[0].value
    assert connections.JUST_CONNECTED in labels(at)


@pytest.mark.parametrize("record", ["own", "demo"])
def test_the_pad_hears_which_entries_no_record_will_take(store, monkeypatch, record):
    demo, now = open_store(demo_url()), datetime.now(UTC)
    demo.add(Aircraft(tail="DEMO-1"))
    begin(demo, "in-demo-1", now)
    begin(store, C, now)
    moment = {"kind": "reading", "quantity": "supply_current_a", "at_ms": 1000.0 * now.timestamp()}
    sent = [
        {**moment, "id": f"of-{connection}", "connection": connection, "value": 22.4}
        for connection in (C, "in-demo-1", "nowhere-1")
    ]
    monkeypatch.setattr(live_connection, "sent_entries", lambda _: sent)
    monkeypatch.setattr(kept, "_demo", lambda _: demo)
    script = "from batterymodel.pages import kept, live_connection\n"
    at = AppTest.from_string(script + "live_connection._take_sent(kept.record())\n")
    if record == "demo":
        at.query_params["record"] = "demo"
    at = ran(at.run())
    assert at.session_state["pad_unknown"] == ["of-nowhere-1"]
    taken = C if record == "own" else "in-demo-1"
    assert at.session_state["pad_stored"] == [f"of-{taken}"]


@pytest.mark.long
def test_what_cannot_be_looked_up_in_the_other_record_is_not_called_unknown(store, monkeypatch):
    assert not kept.is_in_other_record("nowhere-1")
    assert not Path(demo_url()).exists(), "looking made a demo record"
    open_store(demo_url())

    def failing(*_):
        raise StoreError("the record is held by another program")

    monkeypatch.setattr(kept, "is_begun", failing)
    assert kept.is_in_other_record("nowhere-1")
