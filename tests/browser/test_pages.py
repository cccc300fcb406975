"""The page in a real browser: the way a technician goes through it, at desk and in the hand."""

from collections.abc import Iterator

import pytest

from batterymodel.inputs.records import Battery, Chemistry, record_toml
from batterymodel.pages import after_connection, readings_file, typed_readings
from batterymodel.rules.results import Outcome
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.samples.connections import load_scenario, sample_readings_path
from tests import screenshots
from tests.screenshots import WAIT_MS, WIDTHS, choose_sample, settle, turn_to

pytestmark = pytest.mark.browser

BY_KEY = {sample.key: sample for sample in load_scenario()[0]}
GOOD_CSV = sample_readings_path("healthy-top-off").read_bytes()
BATTERY = Battery(tail="OWN-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)
TOML = record_toml(BATTERY).encode()
TYPED = "0 18.4\n15 18.1\n30 17.9\n60 17.5\n90 17.1\n120 16.8\n150 16.4\n180 16.2"
KEY_MS = 30
"""From key to key of somebody who types fast [ms]."""
LEAST_TARGET_PX = 44
"""Least height and width of what is tapped (target size of WCAG 2.1, criterion 2.5.5) [px]."""


@pytest.fixture(params=WIDTHS, ids=list(WIDTHS))
def page(request: pytest.FixtureRequest, address: str, devices) -> Iterator:
    with devices.window(request.param) as opened:
        opened.set_viewport_size({"width": WIDTHS[request.param], "height": 850})
        turn_to(opened, address, "Readings file")
        yield opened


def overflow_px(page) -> int:
    """How far anything reaches beyond the right edge: the document's and the page's own scroll."""
    return page.evaluate(
        "() => Math.max(document.scrollingElement.scrollWidth,"
        " ...[...document.querySelectorAll('[data-testid=stMain]')].map(e => e.scrollWidth))"
        " - window.innerWidth"
    )


def upload(page, label: str, name: str, data: bytes, kind: str = "text/csv") -> None:
    chooser = page.get_by_test_id("stFileUploader").filter(has_text=label)
    chooser.locator("input[type=file]").set_input_files(
        {"name": name, "mimeType": kind, "buffer": data}
    )
    settle(page)


def choose_source(page, source: str) -> None:
    page.get_by_test_id("stRadio").get_by_text(source, exact=True).first.click()
    settle(page)


def outcome(page) -> str:
    return page.locator(".jc-word").inner_text().split("\n")[-1]


def error(page) -> str:
    alert = page.get_by_test_id("stAlert").first
    alert.wait_for(timeout=WAIT_MS)
    return alert.inner_text().replace("\u2060", "")


@pytest.mark.parametrize("key", ["healthy-top-off", "rising-current-nicd", "no-card-no-load"])
def test_sample_shows_its_outcome_and_fits_the_width(page, key: str) -> None:
    assert overflow_px(page) <= 0
    choose_sample(page, key)
    assert outcome(page) == OUTCOME_WORDS[Outcome(BY_KEY[key].deserves)]
    assert overflow_px(page) <= 0
    box = page.locator(".jc-word").bounding_box()
    assert box["y"] + box["height"] < page.viewport_size["height"] / 2


def test_charts_are_drawn_with_their_units_inside_the_page(page) -> None:
    choose_sample(page, "supply-at-its-limit")
    page.get_by_test_id("stExpander").filter(has_text="Details").locator("summary").click()
    settle(page)
    for number, title in ((0, "Time since connection (min)"), (1, "Likelihood (relative)")):
        chart = page.get_by_test_id("stVegaLiteChart").nth(number)
        chart.scroll_into_view_if_needed()
        chart.get_by_text(title).first.wait_for(timeout=WAIT_MS)
        drawn, frame = chart.locator("svg.marks").bounding_box(), chart.bounding_box()
        assert drawn["width"] <= frame["width"] + 1
        assert drawn["x"] + drawn["width"] <= page.viewport_size["width"]


def test_bad_file_is_refused_in_a_sentence_and_a_good_one_answered(page) -> None:
    choose_source(page, after_connection.FILE)
    bad = b"elapsed_s,supply_current_a\n0,12.5\n30,twelve\n60,11\n"
    upload(page, readings_file.LABEL, "_my_ :smile: $log$.csv", bad)
    page.get_by_text("row 3, column").wait_for(timeout=WAIT_MS)
    said = error(page)
    assert said.startswith("_my_ :smile: $log$.csv: row 3, column 'supply_current_a'")
    assert page.locator(".jc-word").count() == 0
    assert overflow_px(page) <= 0
    page.get_by_role("button", name="Remove").first.click()
    settle(page)
    upload(page, readings_file.LABEL, "good.csv", GOOD_CSV)
    page.get_by_text("Still needed").wait_for(timeout=WAIT_MS)
    upload(page, "Battery TOML file", "own.toml", TOML, "application/toml")
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    assert "OWN-1" in page.locator(".jc-head").inner_text()
    settle(page)
    page.evaluate("() => document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
    bar = page.locator(".st-key-places").bounding_box()
    word = page.locator(".jc-word").bounding_box()
    assert word["y"] + word["height"] < (bar["y"] if bar["y"] > word["y"] else 740)


def test_label_that_looks_like_code_is_read_as_it_stands(page) -> None:
    choose_source(page, after_connection.FILE)
    upload(page, readings_file.LABEL, "good.csv", GOOD_CSV)
    label = '<b>*x*</b> :smile: $a$ -> "q"'
    text = record_toml(BATTERY.model_copy(update={"tail": label})).encode()
    upload(page, "Battery TOML file", "own.toml", text, "application/toml")
    page.locator(".jc-head").wait_for(timeout=WAIT_MS)
    assert label in page.locator(".jc-head").inner_text()


def test_typed_readings_are_answered(page) -> None:
    choose_source(page, "Typed in")
    box = page.get_by_label(typed_readings.LABEL)
    box.click()
    page.keyboard.type(TYPED, delay=KEY_MS)
    page.keyboard.press("Control+Enter")
    page.get_by_text("Read: 8 readings, 0 to 180 s, 16.2 to 18.4 A.").wait_for(timeout=WAIT_MS)
    assert box.input_value() == TYPED
    assert overflow_px(page) <= 0
    upload(page, "Battery TOML file", "own.toml", TOML, "application/toml")
    page.locator(".jc-word").wait_for(timeout=WAIT_MS)
    assert outcome(page) in OUTCOME_WORDS.values()
    assert (
        "8 readings over 3 min, from 18.4 A to 16.2 A"
        in page.locator(".jc-note").first.inner_text()
    )


@pytest.mark.parametrize("title", screenshots.PATHS)
def test_every_page_fits_the_width_and_has_its_bar(title, address, page) -> None:
    turn_to(page, address, title, screenshots.DEMO)
    assert page.get_by_test_id("stException").count() == 0
    assert overflow_px(page) <= 0
    assert page.locator("h1").count() == 1
    assert page.locator(".jc-demo").is_visible()
    check_bar(page)


def check_bar(page) -> None:
    """The four places are in sight, wide enough for a thumb, with nothing of the page on them."""
    bar = page.locator(".st-key-places").bounding_box()
    links = page.locator(".st-key-places a")
    assert links.count() == 4
    for k in range(4):
        box = links.nth(k).bounding_box()
        assert box["height"] >= LEAST_TARGET_PX
        assert box["width"] >= LEAST_TARGET_PX
        middle = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        assert page.evaluate(
            "p => !!document.elementFromPoint(p.x, p.y)?.closest('.st-key-places')", middle
        )
    if page.viewport_size["width"] < 640:
        assert bar["y"] + bar["height"] == pytest.approx(page.viewport_size["height"], abs=1)
        assert end_of_page_px(page) <= bar["y"]
    else:
        assert bar["y"] < 100


def end_of_page_px(page) -> float:
    """Where the last of the page ends on the screen once it is scrolled to its end."""
    return page.evaluate(
        """() => {
          const main = document.querySelector('[data-testid=stMain]');
          main.scrollTo(0, main.scrollHeight);
          const content = main.querySelector('[data-testid=stMainBlockContainer] > *');
          return content.getBoundingClientRect().bottom;
        }"""
    )


def test_the_bar_leads_to_every_place(address, page) -> None:
    turn_to(page, address, "Batteries")
    for title in ("More", "Readings file", "At the aircraft", "Batteries"):
        page.locator(".st-key-places a").filter(has_text=title).click()
        page.get_by_role("heading", name=title, exact=True).wait_for(timeout=WAIT_MS)
        settle(page)
        here = page.locator('[class*="st-key-place-"][class*="-here"]')
        assert here.inner_text().strip() == title
        weight, line = here.locator("a").evaluate(
            "a => [getComputedStyle(a.querySelector('strong')).fontWeight,"
            " getComputedStyle(a.querySelector('p')).textDecorationLine]"
        )
        assert int(weight) >= 600
        assert line == "underline"


def test_every_page_below_more_is_a_link_to_be_tapped(address, page) -> None:
    for title in screenshots.TITLES:
        turn_to(page, address, "More")
        link = page.locator('[class*="st-key-more-"] a').filter(has_text=title)
        assert link.bounding_box()["height"] >= LEAST_TARGET_PX
        link.click()
        page.get_by_role("heading", name=title, exact=True).wait_for(timeout=WAIT_MS)


def test_an_empty_record_is_one_press_from_the_demo_data_and_back(address, page) -> None:
    turn_to(page, address, "Batteries")
    page.get_by_text("No battery is in the record yet").wait_for(timeout=WAIT_MS)
    assert overflow_px(page) <= 0
    page.get_by_role("button", name="Look at invented demo data").click()
    page.get_by_role("heading", name="Needs attention").wait_for(timeout=3 * WAIT_MS)
    settle(page)
    assert page.locator(".jc-demo").is_visible()
    page.reload()
    page.locator(".jc-demo").wait_for(timeout=WAIT_MS)
    page.get_by_role("button", name="To my own record").click()
    page.get_by_text("No battery is in the record yet").wait_for(timeout=WAIT_MS)
    settle(page)
    assert page.locator(".jc-demo").count() == 0


def test_a_row_leads_to_the_record_of_its_battery_wherever_it_is_tapped(address, page) -> None:
    turn_to(page, address, "Batteries", screenshots.DEMO)
    page.get_by_label("Find a battery").fill("demo-6")
    page.get_by_label("Find a battery").press("Enter")
    page.wait_for_function(
        "() => document.querySelectorAll('[class*=st-key-attention-]').length === 1",
        timeout=WAIT_MS,
    )
    settle(page)
    assert overflow_px(page) <= 0
    row = page.locator('[class*="st-key-attention-"]')
    picture = row.get_by_role("img")
    assert picture.get_attribute("alt").startswith("Capacity over 12 checks")
    assert picture.evaluate("e => e.complete && e.naturalWidth > 0")
    for part in (picture, row.locator("li").last, row.locator("a")):
        box = part.bounding_box()
        at = {"x": box["x"] + box["width"] / 2, "y": box["y"] + box["height"] / 2}
        assert page.evaluate("p => document.elementFromPoint(p.x, p.y).closest('a')?.href", at)
    picture.click(force=True)
    page.get_by_role("heading", name="Battery record", exact=True).wait_for(timeout=WAIT_MS)
    page.locator(".jc-head").wait_for(timeout=WAIT_MS)
    chosen = page.get_by_role("combobox", name="Battery", exact=True)
    assert "SF-106" in (chosen.input_value() or chosen.inner_text())


def test_just_connected_is_large_and_starts_the_clock(address, page) -> None:
    turn_to(page, address, "Batteries")
    button = page.get_by_role("button", name="I just connected")
    box = button.bounding_box()
    assert box["height"] >= 1.5 * LEAST_TARGET_PX
    assert box["y"] + box["height"] < page.viewport_size["height"] / 2
    button.click()
    page.locator(".pad-keys").wait_for(timeout=WAIT_MS)
    page.get_by_role("heading", name="Battery not chosen").wait_for(timeout=WAIT_MS)
    assert overflow_px(page) <= 0
