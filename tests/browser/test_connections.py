"""A connection on several devices in a browser: begun, put aside, left, kept, and who hears."""

from __future__ import annotations

import pytest

from batterymodel.store.acts import State
from batterymodel.store.in_progress import load
from batterymodel.store.records import BatteryPlate
from tests.browser.live_pages import (
    SERIAL,
    Server,
    connect,
    is_on_top,
    new_device,
    note,
    note_all,
    open_connection,
    open_start,
    press,
    put_in_storage,
    wait_until_stored,
)
from tests.screenshots import WAIT_MS, settle

pytestmark = pytest.mark.browser

LEFT_ALONE_MS = 31_000
"""The clock of a page is set on by this: it asks anew twice a minute [ms]."""


def test_a_second_device_hears_that_its_reading_came_late(page, server, browser) -> None:
    connect(page)
    note_all(page, "13.4", "13.1", "12.9")
    second = new_device(browser)
    open_connection(second, page.url)
    assert second.locator(".jc-pin").is_visible()
    press(page, "Keep in the record")
    page.get_by_text("is in the record of B").wait_for(timeout=WAIT_MS)
    note(second, "12.6")
    second.get_by_text("12.6 A at").first.wait_for(timeout=WAIT_MS)
    wait_until_stored(second)
    said = second.locator(".jc-warning").inner_text()
    assert "came too late" in said
    assert second.locator(".jc-pin").count() == 0
    assert "After it was kept came: 12.6 A" in second.get_by_test_id("stMain").inner_text()
    assert not second.locator(".pad-keys").is_visible()


def test_a_second_device_hears_that_the_connection_was_left(page, server, browser) -> None:
    connect(page)
    note_all(page, "13.4")
    second = new_device(browser)
    open_connection(second, page.url)
    press(page, "Leave it unfinished")
    press(page, "Yes, leave it")
    page.get_by_text("was left unfinished").wait_for(timeout=WAIT_MS)
    note(second, "13.2")
    second.get_by_text("had been left unfinished meanwhile").wait_for(timeout=WAIT_MS)
    press(second, "Take it up again")
    second.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4, 13.2]


def test_a_page_left_alone_finds_out_that_another_device_kept_it(page, server, browser) -> None:
    connect(page)
    note_all(page, "13.4", "13.1", "12.9")
    second = new_device(browser)
    second.clock.install()
    open_connection(second, page.url)
    press(page, "Keep in the record")
    page.get_by_text("is in the record of B").wait_for(timeout=WAIT_MS)
    assert second.locator(".jc-pin").count() == 1
    second.clock.fast_forward(LEFT_ALONE_MS)
    second.get_by_text("is in the record of B").wait_for(timeout=3 * WAIT_MS)
    assert second.locator(".jc-pin").count() == 0


def test_what_no_record_has_a_connection_for_is_named_until_it_is_taken_away(page, server) -> None:
    page.evaluate(
        """() => localStorage.setItem('ground-power-readings/nowhere-0001', JSON.stringify([{
          id: 'stray-0001', kind: 'reading', quantity: 'supply_current_a', value: 22.4,
          at_ms: new Date(2026, 2, 2, 7, 43).getTime()}]))"""
    )
    open_start(page, server)
    stray = page.locator(".pad-refused li")
    stray.wait_for(timeout=3 * WAIT_MS)
    said = "22.4 A, pressed 2026-03-02 at 07:43, belongs to a connection that is not in this record"
    assert said in stray.inner_text()
    assert not page.locator(".pad-keys").is_visible()
    connect(page)
    note(page, "13.4")
    page.get_by_text("13.4 A").first.wait_for(timeout=WAIT_MS)
    assert said in stray.inner_text()
    press(page, "Take away 22.4 A")
    assert stray.count() == 0
    wait_until_stored(page)
    assert server.readings() == [13.4]


def test_a_note_followed_at_once_by_keep_leaves_nothing_behind(page, server) -> None:
    connect(page)
    note_all(page, "13.4", "13.1", "12.9")
    note(page, "12.6")
    press(page, "Keep in the record")
    page.get_by_text("is in the record of B").wait_for(timeout=WAIT_MS)
    wait_until_stored(page)
    kept = load(server.store, page.url.split("connection=")[1])
    assert kept.state is State.FINISHED
    assert 12.6 in [noted.what.value for noted in kept.noted]


def test_what_waits_of_a_connection_put_aside_is_sent_from_the_start(page, server) -> None:
    connect(page)
    note_all(page, "13.4")
    put_in_storage(
        page, {"id": "put-aside-1", "kind": "reading", "quantity": "supply_current_a", "value": 13}
    )
    open_start(page, server)
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.0]


def test_the_first_press_on_the_first_page_starts_the_clock(page, server) -> None:
    page.goto(server.address)
    button = page.get_by_role("button", name="I just connected")
    button.wait_for(timeout=3 * WAIT_MS)
    settle(page)
    button.dblclick()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    settle(page)
    begun = server.connection()
    note(page, "13.4")
    wait_until_stored(page)
    page.get_by_role("combobox", name="Battery").click()
    page.get_by_role("option", name=SERIAL).click()
    page.get_by_text(f"Battery and supply: {SERIAL}").wait_for(timeout=WAIT_MS)
    assert server.connection().started_at == begun.started_at
    assert server.connection().told.serial == SERIAL
    assert server.readings() == [13.4]


def test_two_presses_at_the_aircraft_begin_one_connection(page, server) -> None:
    page.get_by_role("button", name="I just connected").dblclick()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    settle(page)
    assert server.connection().told.serial is None


def test_disconnect_names_its_cause_in_the_pin_and_on_the_first_page(page, server) -> None:
    connect(page)
    note_all(page, "20", "19.8", "19.6")
    page.get_by_role("button", name="Temp.", exact=True).click()
    note(page, "70")
    press(page, "It is 70 °C")
    wait_until_stored(page)
    page.locator(".jc-pin.disconnect").wait_for(timeout=WAIT_MS)
    assert "70 °C" in page.locator(".jc-pin").inner_text()
    page.wait_for_timeout(700)
    assert page.locator(".pad-next").inner_text() == "Take ground power off"
    page.goto(server.address)
    box = page.locator(".jc-standing.disconnect")
    box.wait_for(timeout=3 * WAIT_MS)
    assert "Disconnect now" in box.inner_text()
    assert "70 °C" in box.inner_text()
    assert box.bounding_box()["y"] < 200


def test_leaving_is_asked_once_and_what_was_left_is_offered_on_the_start(page, server) -> None:
    connect(page)
    note_all(page, "13.4")
    press(page, "Leave it unfinished")
    press(page, "No, go on with it")
    page.get_by_role("button", name="Leave it unfinished").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]
    press(page, "Leave it unfinished")
    press(page, "Yes, leave it")
    page.get_by_text("was left unfinished").wait_for(timeout=WAIT_MS)
    press(page, "Back to the start")
    press(page, "Take up again: B")
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]


def test_a_battery_known_by_its_plate_is_kept_with_its_connection(page, server) -> None:
    press(page, "I just connected")
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    page.get_by_role("combobox", name="Battery").click()
    page.get_by_role("option", name="Another battery").click()
    settle(page)
    page.get_by_label("Name of it").press_sequentially("x" * 63)
    page.keyboard.press("Tab")
    assert len(page.get_by_label("Name of it").input_value()) == 60
    page.get_by_role("combobox", name="Kind").click()
    page.get_by_role("option").first.click()
    settle(page)
    for label, value in (("Cells", "12"), ("Rated capacity (Ah)", "40")):
        page.get_by_label(label).fill(value)
        page.keyboard.press("Tab")
        settle(page)
    press(page, "It is this battery")
    settle(page)
    note_all(page, "13.4", "13.1", "12.9")
    for label, value in (("Serial of the battery", "NEW-1"), ("Aircraft", "DEMO-8")):
        page.get_by_label(label, exact=True).fill(value)
        page.keyboard.press("Tab")
        settle(page)
    press(page, "Keep battery and connection")
    page.get_by_text("This connection is in the record of").wait_for(timeout=WAIT_MS)
    assert "NEW-1" in [plate.record.serial for plate in server.store.entries(BatteryPlate)]


def test_on_an_empty_record_the_pad_is_in_sight_after_the_first_press(browser, tmp_path) -> None:
    server = Server(tmp_path)
    try:
        page = new_device(browser)
        open_start(page, server)
        press(page, "I just connected")
        page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
        settle(page)
        assert is_on_top(page, ".pad-keys .pad-0")
        page.context.close()
    finally:
        server.kill()


def test_back_to_the_demo_record_shows_the_demo_record(page, server) -> None:
    page.goto(f"{server.address}/?record=demo")
    page.locator(".jc-demo").wait_for(timeout=3 * WAIT_MS)
    settle(page)
    press(page, "To my own record")
    page.locator(".jc-demo").wait_for(state="detached", timeout=WAIT_MS)
    settle(page)
    assert "record=demo" not in page.url
    page.go_back()
    page.locator(".jc-demo").wait_for(timeout=WAIT_MS)
    assert "record=demo" in page.url
    page.get_by_role("link", name="At the aircraft").first.click()
    page.get_by_role("button", name="I just connected").wait_for(timeout=WAIT_MS)
    assert page.locator(".jc-demo").is_visible()
    assert "record=demo" in page.url
