"""The pages as people meet them, each brought to a state in a browser by a function of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from batterymodel.pages.after_connection import TABS
from batterymodel.pages.typed_readings import LABEL
from tests import screenshots
from tests.screenshots import DEMO, WAIT_MS, choose_sample, settle, turn_to

if TYPE_CHECKING:
    from playwright.sync_api import Page

State = Callable[["Page", str], None]


def _page(title: str, query: str) -> State:
    def state(page: Page, address: str) -> None:
        turn_to(page, address, title, query)
        if title == "Batteries" and query:
            page.locator('[class*="st-key-attention-"]').last.wait_for(timeout=3 * WAIT_MS)
            settle(page)

    return state


def open_everything(page: Page) -> None:
    """Unfold every expander, so that what is in it is looked at too."""
    page.evaluate(
        "() => document.querySelectorAll('[data-testid=stExpander] details:not([open]) > summary')"
        ".forEach(summary => summary.click())"
    )
    settle(page)


def answered(page: Page, address: str) -> None:
    """The page of readings with an answer, all of it unfolded."""
    turn_to(page, address, "Readings file", DEMO)
    choose_sample(page, "supply-at-its-limit")
    open_everything(page)


def _entries_in(tab: str) -> State:
    def state(page: Page, address: str) -> None:
        answered(page, address)
        page.get_by_role("tab", name=tab, exact=True).click()
        settle(page)

    return state


def typed(page: Page, address: str) -> None:
    """The box to type readings into, with what was read of it."""
    turn_to(page, address, "Readings file", DEMO)
    page.get_by_test_id("stRadio").get_by_text("Typed in", exact=True).first.click()
    page.get_by_label(LABEL).fill("0 18.4\n15 18.1\n30 17.9 pump on")
    page.get_by_label(LABEL).press("Control+Enter")
    page.get_by_text("Read: 3 readings").wait_for(timeout=WAIT_MS)
    settle(page)


def typed_wrong(page: Page, address: str) -> None:
    """The box to type readings into, with lines that cannot be right."""
    typed(page, address)
    page.get_by_label(LABEL).fill("0 18.4\n15 18,1\n30\n60 17.5 A")
    page.get_by_label(LABEL).press("Control+Enter")
    page.get_by_text("stands alone").wait_for(timeout=WAIT_MS)
    settle(page)


def refused(page: Page, address: str) -> None:
    """An entry that cannot be right."""
    answered(page, address)
    page.get_by_label("Cells").fill("99")
    page.get_by_label("Cells").press("Enter")
    page.get_by_text("Cells: at most 40").wait_for(timeout=WAIT_MS)
    settle(page)


def limit_changed(page: Page, address: str) -> None:
    """A limit changed by hand, whose document is asked for."""
    turn_to(page, address, "Limits card", DEMO)
    entry = page.get_by_label("End voltage (V)")
    entry.fill("19.25")
    entry.press("Enter")
    page.get_by_text("name the document it comes from").wait_for(timeout=WAIT_MS)
    settle(page)


def checked(page: Page, address: str) -> None:
    """A capacity check with its verdict."""
    turn_to(page, address, "Capacity check", DEMO)
    page.get_by_label("Discharge current (A)").fill("40")
    page.get_by_label("Minutes until the end").fill("52")
    page.get_by_label("Minutes until the end").press("Enter")
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    settle(page)


def sheet(page: Page, address: str) -> None:
    """The findings sheet of a connection on record."""
    turn_to(page, address, "Findings sheet", DEMO)
    page.get_by_text("One of the record").click()
    page.locator(".jc-word").wait_for(timeout=3 * WAIT_MS)
    settle(page)


def planned(page: Page, address: str) -> None:
    """The budget of a task on ground power, unfolded."""
    turn_to(page, address, "Ground power", DEMO)
    page.locator(".jc-word").wait_for(timeout=3 * WAIT_MS)
    open_everything(page)


def supply_typed(page: Page, address: str) -> None:
    """A supply typed in for the budget, with a cable that has no size."""
    planned(page, address)
    page.get_by_role("combobox", name="Supply").click()
    page.get_by_role("option", name="Entered here").click()
    settle(page)
    for label, number in (("Rated current (A)", "45"), ("Cable length, one way (m)", "5")):
        open_everything(page)
        page.get_by_label(label).fill(number)
        page.get_by_label(label).press("Enter")
        settle(page)
    page.get_by_text("Cable cross-section' given").wait_for(timeout=WAIT_MS)


def loads_typed(page: Page, address: str) -> None:
    """A consumer typed in for an aircraft without loads, with all that is wrong with it."""
    turn_to(page, address, "Ground power", DEMO)
    page.get_by_role("combobox", name="Aircraft").click()
    page.get_by_role("option", name="DEMO-3, no loads yet").click()
    settle(page)
    for label, text in (("Current while it is on (A)", "5000"), ("Time of its start (s)", "3")):
        page.get_by_label(label).fill(text)
        page.get_by_label(label).press("Enter")
        settle(page)
    page.get_by_role("button", name="Add this consumer").click()
    page.get_by_text("Name of the consumer: is missing").wait_for(timeout=WAIT_MS)
    open_everything(page)


def recorded(page: Page, address: str) -> None:
    """The record of a battery, unfolded."""
    turn_to(page, address, "Battery record", DEMO)
    page.get_by_role("heading", name="On record").wait_for(timeout=3 * WAIT_MS)
    open_everything(page)


def connected(page: Page, address: str) -> None:
    """A connection in progress with its answer so far, unfolded."""
    turn_to(page, address, "At the aircraft", DEMO)
    page.get_by_role("button", name="I just connected").click()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    settle(page)
    page.get_by_role("combobox", name="Battery").click()
    page.get_by_role("option").first.click()
    settle(page)
    for number in ("24", "22", "21"):
        for sign in number:
            page.get_by_role("button", name=sign, exact=True).click(timeout=WAIT_MS)
        page.get_by_role("button", name="Note", exact=True).click()
        settle(page)
        page.wait_for_timeout(500)
    page.locator(".jc-pin-word").wait_for(timeout=3 * WAIT_MS)
    open_everything(page)


ANSWERED: dict[str, State] = {
    "readings answered": answered,
    "capacity checked": checked,
    "sheet": sheet,
    "task planned": planned,
    "connection in progress": connected,
}
"""States that show an outcome."""

STATES: dict[str, State] = {
    **ANSWERED,
    **{f"{title}, empty": _page(title, "") for title in screenshots.PATHS},
    **{f"{title}, demo": _page(title, DEMO) for title in screenshots.PATHS},
    **{f"entries, {tab}": _entries_in(tab) for tab in TABS[1:]},
    "record of a battery": recorded,
    "readings typed": typed,
    "readings typed wrong": typed_wrong,
    "entry refused": refused,
    "limit changed": limit_changed,
    "supply typed in": supply_typed,
    "loads typed in": loads_typed,
}
"""Every page with the empty and with the demo record, and what can be reached on them.

Those of `ANSWERED` come first, so that a number means the same state in either.
"""
