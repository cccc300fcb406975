"""The page at the aircraft in a real browser: few taps, and nothing lost whatever breaks."""

from __future__ import annotations

import pytest

from batterymodel.rules.results import Outcome
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.records import Connection
from tests.browser.live_pages import (
    PHONE,
    begun_from_sample,
    connect,
    is_on_top,
    note,
    open_connection,
    scroll_to,
    tap,
    wait_until_stored,
)
from tests.screenshots import WAIT_MS

pytestmark = pytest.mark.browser

MOST_TAPS = 12
"""Taps beyond the digits, for six readings with the bus load (own choice)."""


def test_six_readings_with_the_load_take_few_taps_and_keep_the_outcome_in_sight(page) -> None:
    connect(page)
    tap(page, page.get_by_role("button", name="Skip"))
    page.get_by_text("battery isolated").wait_for(timeout=WAIT_MS)
    tap(page, page.get_by_role("button", name="Answer"))
    note(page, "8")
    wait_until_stored(page)
    for k, current in enumerate(("13.4", "13.1", "12.9", "12.6", "12.4", "12.2")):
        note(page, current)
        wait_until_stored(page)
        if k >= 2:
            word = page.locator(".jc-pin-word")
            word.wait_for(timeout=WAIT_MS)
            seen = word.bounding_box()
            assert 0 <= seen["y"] <= PHONE["height"] - seen["height"]
    assert page.taps <= MOST_TAPS


def test_a_reload_after_every_reading_loses_none_and_doubles_none(page, server) -> None:
    connect(page)
    sent = [13.4, 13.1, 12.9, 12.6]
    for current in sent:
        note(page, f"{current}")
        page.reload()
        page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
        wait_until_stored(page)
    assert server.readings() == sent


def test_readings_noted_while_the_server_is_dead_arrive_when_it_is_back(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    server.kill()
    for current in ("13.1", "12.9"):
        note(page, current)
    page.get_by_text("2 not yet stored").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]
    server.start()
    page.reload()
    page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.1, 12.9]


def test_a_lost_network_holds_readings_back_until_it_returns(page, server) -> None:
    connect(page)
    page.context.set_offline(True)
    note(page, "13.4")
    page.context.set_offline(False)
    wait_until_stored(page)
    assert server.readings() == [13.4]


def test_an_undone_reading_does_not_count(page, server) -> None:
    connect(page)
    for current in ("13.4", "13.1"):
        note(page, current)
        wait_until_stored(page)
    page.get_by_role("button", name="Undo 13.1 A").click()
    wait_until_stored(page)
    assert server.readings() == [13.4]


def test_ten_times_the_last_reading_is_asked_about(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    note(page, "131")
    page.get_by_text("The supply gives up to 60 A. Did you mean 13.1 A?").wait_for(timeout=WAIT_MS)
    page.get_by_role("button", name="13.1 A", exact=True).click()
    wait_until_stored(page)
    assert server.readings() == [13.4, 13.1]


def test_a_kept_connection_is_said_to_be_in_the_record_and_takes_no_more(page, server) -> None:
    connect(page)
    for current in ("13.4", "13.1", "12.9"):
        note(page, current)
        wait_until_stored(page)
    page.get_by_role("button", name="Keep in the record").click()
    page.get_by_text("is in the record of B").wait_for(timeout=WAIT_MS)
    assert not page.locator(".pad-keys").is_visible()
    assert connections_in_progress(server.store) == []
    [kept] = server.store.entries(Connection)
    assert server.store.file(kept.record.readings_sha256).count(b"\n") == 4


def test_a_connection_left_is_taken_up_again(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    page.get_by_role("button", name="Leave it unfinished").click()
    page.get_by_role("button", name="Yes, leave it").click()
    page.get_by_role("button", name="Take it up again").click()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]


def test_a_connection_put_aside_is_offered_again(page, server) -> None:
    connect(page)
    note(page, "13.4")
    wait_until_stored(page)
    page.get_by_role("button", name="Put aside").click()
    again = page.get_by_role("button", name="Go on with")
    again.wait_for(timeout=WAIT_MS)
    again.click()
    page.get_by_text("13.4 A").wait_for(timeout=WAIT_MS)
    assert server.readings() == [13.4]


OF_EACH_OUTCOME = {
    Outcome.TOP_OFF: ("healthy-top-off", "15"),
    Outcome.KEEP_WATCHING: ("no-card-no-load", "31.8"),
    Outcome.SERVICE: ("deeply-discharged", "39.3"),
    Outcome.DISCONNECT: ("hot-battery", "19.5"),
}
"""An invented connection that ends in each outcome, and what its meter shows next [A]."""


@pytest.mark.parametrize("outcome", OF_EACH_OUTCOME)
def test_every_outcome_is_in_sight_after_a_reading_wherever_it_was_typed(
    page, server, outcome
) -> None:
    key, current = OF_EACH_OUTCOME[outcome]
    begun = begun_from_sample(server.store, key)
    open_connection(page, f"{server.address}/at-the-aircraft?connection={begun.id}")
    for px in (0, 240, 480):
        scroll_to(page, px)
        note(page, current)
        wait_until_stored(page)
        word = page.locator(".jc-pin-word span").last
        assert word.inner_text() == OUTCOME_WORDS[outcome]
        assert is_on_top(page, ".jc-pin-word")
        assert is_on_top(page, ".jc-pin > p:last-child")
    noted = [r.value for _, r in server.connection().readings]
    assert noted.count(float(current)) >= 3


def test_what_is_typed_is_never_behind_the_outcome(page, server) -> None:
    begun = begun_from_sample(server.store, "hot-battery")
    open_connection(page, f"{server.address}/at-the-aircraft?connection={begun.id}")
    in_reach = 0
    for px in range(0, 801, 80):
        scroll_to(page, px)
        if not is_on_top(page, ".pad-keys button:nth-child(9)"):
            continue
        in_reach += 1
        page.locator(".pad-keys button:nth-child(9)").dispatch_event("click")
        assert is_on_top(page, ".pad-value")
        assert page.locator(".pad-value").inner_text() == "1"
        page.locator(".pad-keys .pad-back").dispatch_event("click")
    assert in_reach >= 3


@pytest.mark.slow
def test_fifty_reloads_in_mid_connection_lose_none_and_double_none(page, server) -> None:
    connect(page)
    sent = [round(20.0 - 0.1 * k, 1) for k in range(50)]
    for k, current in enumerate(sent):
        note(page, f"{current:g}")
        page.wait_for_timeout(37 * (k % 5))
        page.reload()
        page.locator(".pad-keys").wait_for(timeout=3 * WAIT_MS)
    wait_until_stored(page)
    assert server.readings() == sent
