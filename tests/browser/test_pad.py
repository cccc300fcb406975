"""The meter pad in a real browser: doubts asked at once, refusals kept, clocks, other devices."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from batterymodel.store.acts import Quantity
from tests.browser.live_pages import (
    connect,
    is_on_top,
    note,
    note_all,
    open_connection,
    press,
    put_in_storage,
    wait_until_stored,
    waiting,
)
from tests.screenshots import WAIT_MS, settle

pytestmark = pytest.mark.browser

CLOCK_ERROR_S = 3.0
"""Most that a moment may be off after the device's clock was set [s] (own choice)."""


def chosen(page) -> list[str]:
    return page.locator(".pad-kinds [aria-pressed=true]").all_inner_texts()


@pytest.mark.parametrize("jump_s", [60, 300, -300])
def test_a_clock_that_is_set_moves_no_reading_and_drops_none(page, server, jump_s) -> None:
    connect(page)
    note_all(page, "13.4")
    page.evaluate(
        "ms => { const real = Date.now.bind(Date); Date.now = () => real() + ms }", 1000 * jump_s
    )
    earliest_s = since_beginning_s(server)
    note(page, "13.1")
    latest_s = since_beginning_s(server)
    note_all(page, "12.9")
    assert server.readings() == [13.4, 13.1, 12.9]
    noted_s = [r.elapsed_s for _, r in server.connection().readings][1]
    assert earliest_s - CLOCK_ERROR_S <= noted_s <= latest_s + CLOCK_ERROR_S
    assert shown_s(page) == pytest.approx(since_beginning_s(server), abs=CLOCK_ERROR_S)
    open_connection(page, page.url)
    assert shown_s(page) == pytest.approx(since_beginning_s(server), abs=CLOCK_ERROR_S)


def since_beginning_s(server) -> float:
    return (datetime.now(UTC) - server.connection().started_at).total_seconds()


def shown_s(page) -> float:
    page.wait_for_timeout(600)
    minutes, seconds = page.locator(".pad-clock").inner_text().split(":")
    return 60.0 * float(minutes) + float(seconds)


def test_what_is_refused_stays_with_its_reason_until_it_is_taken_away(page, server) -> None:
    connect(page)
    note_all(page, "13.4")
    put_in_storage(
        page,
        {"id": "too-much-01", "kind": "reading", "quantity": "supply_current_a", "value": 5000},
        {"id": "kelvin-0001", "kind": "reading", "quantity": "battery_temp_c", "value": 900},
    )
    refused = page.locator(".pad-refused li")
    refused.nth(1).wait_for(timeout=WAIT_MS)
    assert "milliamperes" in refused.nth(0).inner_text()
    assert "outside -60 to 120 °C" in refused.nth(1).inner_text()
    page.reload()
    refused.nth(1).wait_for(timeout=3 * WAIT_MS)
    settle(page)
    note(page, "13.1")
    page.get_by_text("13.1 A").first.wait_for(timeout=WAIT_MS)
    assert refused.count() == 2
    press(page, "Take away 5000 A")
    assert refused.count() == 1
    press(page, "Send again")
    page.wait_for_timeout(2000)
    assert "outside -60 to 120 °C" in refused.inner_text()
    press(page, "Take away 900")
    assert waiting(page) == []
    assert server.readings() == [13.4, 13.1]


def test_after_each_other_meter_the_pad_is_back_at_the_ammeter(page, server) -> None:
    connect(page)
    note_all(page, "13.4")
    for key, value in (("Temp.", "24"), ("Clamp", "5.4"), ("Volts", "28.1")):
        page.get_by_role("button", name=key, exact=True).click()
        assert chosen(page) == [key]
        note_all(page, value)
        assert chosen(page) == ["Meter"]
    note_all(page, "12.7")
    assert server.readings() == [13.4, 12.7]
    assert server.readings(Quantity.BATTERY_TEMP) == [24.0]


@pytest.mark.parametrize(
    ("typed", "words"),
    [
        ("1290", "The supply gives up to 60 A. Did you mean 12.9 A?"),
        ("1.28", "The last was 12.9 A. Did you mean 12.8 A?"),
        ("0.5", "The last was 12.9 A."),
        ("998", "The supply gives up to 60 A."),
        ("999", "A meter that has no reading shows such a number."),
        ("61", "The last was 12.9 A."),
    ],
)
def test_a_current_that_no_taper_and_no_switch_makes_is_asked_about(
    page, server, typed, words
) -> None:
    connect(page)
    note_all(page, "13.1", "12.9")
    note(page, typed)
    page.get_by_text(f"{typed} A? {words}").wait_for(timeout=WAIT_MS)
    press(page, "Type it again")
    assert page.locator(".pad-value").inner_text() == ""
    note(page, typed)
    press(page, f"It is {typed} A")
    page.locator(".pad-last").get_by_text(f"{typed} A").wait_for(timeout=WAIT_MS)
    wait_until_stored(page)
    note_all(page, "12.8")
    assert sorted(server.readings()) == sorted([13.1, 12.9, float(typed), 12.8])


def test_a_switch_allows_a_larger_step_and_the_sound_neighbour_counts(page, server) -> None:
    connect(page)
    note_all(page, "8.0")
    press(page, "Switched on")
    wait_until_stored(page)
    note_all(page, "44")
    press(page, "Switched off")
    wait_until_stored(page)
    note_all(page, "7.9")
    assert server.readings() == [8.0, 44.0, 7.9]


def test_answers_are_asked_about_too_and_the_question_stays_in_sight(page, server) -> None:
    connect(page)
    press(page, "Answer")
    assert chosen(page) == []
    assert page.locator(".pad-answer").get_attribute("aria-pressed") == "true"
    assert "at rest" in page.locator(".pad-ask-text").inner_text()
    assert "at rest" in page.locator(".pad-what").inner_text()
    note(page, "3")
    page.get_by_text("3 V? This battery rests at 21 to 27 V.").wait_for(timeout=WAIT_MS)
    press(page, "Type it again")
    note(page, "2.56")
    press(page, "25.6 V")
    page.get_by_text("battery isolated").first.wait_for(timeout=WAIT_MS)
    settle(page)
    press(page, "Answer")
    note(page, "500")
    page.get_by_text("500 A?").wait_for(timeout=WAIT_MS)
    press(page, "It is 500 A")
    wait_until_stored(page)
    told = server.connection().told
    assert (told.rest_voltage_v, told.load_a) == (25.6, 500.0)


def test_an_answer_is_asked_about_listed_and_undone_and_its_question_comes_back(
    page, server
) -> None:
    connect(page)
    note_all(page, "13.4", "13.1", "12.9")
    before = page.locator(".jc-pin").inner_text()
    page.get_by_text("at rest, before power").first.wait_for(timeout=WAIT_MS)
    press(page, "Answer")
    note(page, "24.1")
    asked = page.locator(".pad-slip-text")
    assert "is sent for servicing" in asked.inner_text()
    assert server.connection().told.rest_voltage_v is None
    press(page, "It is 24.1 V")
    wait_until_stored(page)
    page.locator(".jc-pin").get_by_text("SERVICING").wait_for(timeout=WAIT_MS)
    note_all(page, "12.8", "12.7", "12.6", "12.5")
    press(page, "Undo 24.1 V at rest")
    wait_until_stored(page)
    page.locator(".pad-ask-text").get_by_text("at rest").wait_for(timeout=WAIT_MS)
    assert server.connection().told.rest_voltage_v is None
    assert page.locator(".jc-pin").inner_text().split()[:2] == before.split()[:2]


def test_a_switch_that_was_marked_is_listed_with_its_undo(page, server) -> None:
    connect(page)
    note_all(page, "8.0")
    press(page, "Switched on")
    wait_until_stored(page)
    page.locator(".pad-last").get_by_text("Switched on").wait_for(timeout=WAIT_MS)
    press(page, "Undo Switched on")
    wait_until_stored(page)
    assert server.connection().marks == ()
    assert "Switched" not in page.locator(".pad-last").inner_text()


def test_a_refusal_comes_into_sight_above_the_keys(page, server) -> None:
    connect(page)
    page.get_by_role("button", name="Temp.", exact=True).click()
    press(page, "Change sign")
    note(page, "71")
    press(page, "It is -71 °C")
    refused = page.locator(".pad-refused li")
    refused.first.wait_for(timeout=WAIT_MS)
    settle(page)
    assert "Battery temperature: -71 °C is outside -60 to 120 °C" in refused.inner_text()
    assert is_on_top(page, ".pad-refused li span")
    below = page.locator(".pad-keys").bounding_box()["y"]
    assert refused.bounding_box()["y"] < below


def test_a_clamp_without_the_meter_beside_it_asks_for_it(page, server) -> None:
    connect(page)
    note_all(page, "13.4", "13.1", "12.9")
    page.wait_for_timeout(11_000)
    page.get_by_role("button", name="Clamp", exact=True).click()
    note_all(page, "5.4")
    page.locator(".pad-last").get_by_text("5.4 A clamp (counts once the meter is read").wait_for(
        timeout=WAIT_MS
    )
    assert page.locator(".pad-next").inner_text() == "read the meter now"
    note_all(page, "12.8")
    assert "counts" not in page.locator(".pad-last").inner_text()


def test_an_undone_reading_that_waits_is_neither_listed_nor_compared_with(page, server) -> None:
    connect(page)
    note_all(page, "13.4")
    server.kill()
    note(page, "129")
    press(page, "It is 129 A")
    press(page, "Undo 129 A")
    assert "129" not in page.locator(".pad-last").inner_text()
    note(page, "13.1")
    assert not page.locator(".pad-slip").is_visible()
    server.start()
    open_connection(page, page.url)
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.1]


def test_three_zeros_are_told_in_words_of_the_pad(page) -> None:
    connect(page)
    note_all(page, "0", "0", "0")
    page.get_by_text("is ground power on").first.wait_for(timeout=WAIT_MS)
    assert "csv" not in page.locator(".jc-pin").inner_text()
