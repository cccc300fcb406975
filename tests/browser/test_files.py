"""Files of other loggers in a real browser, on a phone: asked, told at once, and followed."""

import re
from collections.abc import Iterator

import pytest

from batterymodel.pages import after_connection, file_columns, log_followed, readings_file
from batterymodel.samples.connections import load_scenario
from tests.browser.test_pages import choose_source, overflow_px, upload
from tests.commands.test_foreign_logs import KEY, foreign_text
from tests.screenshots import WAIT_MS, WIDTHS, open_page, settle

pytestmark = pytest.mark.browser

SAMPLE = {sample.key: sample for sample in load_scenario()[0]}[KEY]
UNSURE = foreign_text("t [s];Amps;Volts;Temp;Note").encode()
SURE = foreign_text().encode()


@pytest.fixture
def page(address: str, browser) -> Iterator:
    """A phone with a battery entered."""
    opened = open_page(browser, address, WIDTHS["phone"], 740)
    choose_source(opened, after_connection.FILE)
    opened.get_by_label("Start from an invented battery").click()
    opened.get_by_role("option", name=SAMPLE.title, exact=True).click()
    settle(opened)
    yield opened
    opened.close()


def is_in_sight(page, element) -> bool:
    """Whether all of it stands on the screen, above the bar of places."""
    box, bar = element.bounding_box(), page.locator(".st-key-places").bounding_box()
    return box["y"] >= 0 and box["y"] + box["height"] <= bar["y"]


def choose(page, label: str, option: str) -> None:
    """Choose by typing, as a list of many options shows the first few only."""
    box = page.get_by_role("combobox", name=label)
    box.click()
    box.fill(option)
    page.get_by_role("option", name=option, exact=True).wait_for(timeout=WAIT_MS)
    box.press("Enter")
    settle(page)


def test_what_is_not_sure_is_asked_confirmed_and_can_be_taken_back(page) -> None:
    upload(page, readings_file.LABEL, "logger.csv", UNSURE)
    confirm = page.get_by_role("button", name=file_columns.CONFIRM)
    confirm.wait_for(timeout=WAIT_MS)
    assert overflow_px(page) <= 0
    assert page.locator(".jc-word").count() == 0
    assert page.get_by_text("logger.csv is of another logger, 1 column not sure").is_visible()
    choose(page, "Column 4", "battery temperature in kelvin")
    confirm.click()
    settle(page)
    assert "row 2, column 'Temp'" in page.get_by_test_id("stAlert").first.inner_text()
    page.get_by_text("Columns of the file").click()
    settle(page)
    page.get_by_role("button", name=file_columns.OTHERWISE).click()
    page.get_by_text("All other columns: 5").wait_for(timeout=WAIT_MS)
    settle(page)
    choose(page, "Column 4", "battery temperature in °F")
    page.get_by_role("button", name=file_columns.CONFIRM).click()
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    settle(page)
    assert overflow_px(page) <= 0
    page.reload()
    page.get_by_role("heading", name="Readings file", exact=True).wait_for(timeout=WAIT_MS)
    settle(page)
    choose_source(page, after_connection.FILE)
    upload(page, readings_file.LABEL, "next.csv", UNSURE)
    page.get_by_text("Columns of the file").click()
    page.get_by_text("As confirmed before for this header").wait_for(timeout=WAIT_MS)
    assert page.get_by_text("'Temp' as battery temperature [degF]").count() == 1


def test_all_faults_stand_in_sight_beside_the_upload_and_nothing_is_lost(page) -> None:
    upload(page, readings_file.LABEL, "good.csv", SURE)
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    word = page.locator(".jc-word").inner_text()
    lines = SURE.decode().splitlines()
    for row in (3, 5):
        lines[row - 1] = lines[row - 1].replace(";", ";x", 1)
    page.get_by_role("button", name="Remove").first.scroll_into_view_if_needed()
    upload(page, readings_file.LABEL, "bad.csv", "\n".join(lines).encode())
    page.get_by_text("row 3, column").wait_for(timeout=WAIT_MS)
    settle(page)
    alert = page.get_by_test_id("stAlert").first
    assert [line[:27] for line in error_lines(alert)] == [
        "bad.csv: row 3, column 'Amp",
        "bad.csv: row 5, column 'Amp",
    ]
    assert is_in_sight(page, alert)
    assert overflow_px(page) <= 0
    assert page.locator(".jc-word").inner_text() == word
    assert page.get_by_text("Below is good.csv, given before").count() == 1


def error_lines(alert) -> list[str]:
    text = alert.inner_text().replace("\u2060", "")
    return [line.strip() for line in text.splitlines() if line.strip()]


def test_a_growing_file_is_followed_by_itself(page, tmp_path) -> None:
    log, lines = tmp_path / "log.csv", foreign_text().splitlines(keepends=True)
    log.write_text("".join(lines[:30]), encoding="utf-8")
    choose_source(page, after_connection.GROWING)
    page.get_by_label(log_followed.LABEL).fill(str(log))
    page.get_by_label(log_followed.LABEL).press("Enter")
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    assert overflow_px(page) <= 0
    shown = page.locator("li").filter(has_text=re.compile(r"^\d+:\d\d:\d\d  ?[\d.]+ A"))
    before = shown.count()
    with open(log, "a", encoding="utf-8") as file:
        file.writelines(lines[30:40])
    page.wait_for_timeout(1000 * log_followed.EVERY_S + 3000)
    settle(page)
    assert shown.count() == before + 1
    assert page.locator(".jc-word").count() == 1
