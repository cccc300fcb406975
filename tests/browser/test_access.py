"""Every page can be read and used by all: rules of axe-core, size of targets, contrast, order."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from batterymodel import pages
from tests import screenshots
from tests.browser.page_states import ANSWERED, STATES

pytestmark = pytest.mark.browser
axe = pytest.importorskip("axe_playwright_python", reason="axe-playwright-python is not installed")

REFUSED = ("moderate", "serious", "critical")
"""Impacts, in the words of axe-core, of which no page may have any; Streamlit's own parts too."""

LEAST_TARGET_PX = 44
"""Least height and width of what is tapped (target size of WCAG 2.1, criterion 2.5.5) [px]."""

LEAST_CONTRAST = 7.0
"""Of text to its ground (WCAG 2.1, criterion 1.4.6, level AAA) [-]."""

AXE = (Path(axe.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
RUN_AXE = """async () => {
  const found = await axe.run(document, {resultTypes: ['violations']});
  return found.violations.flatMap(v => v.nodes.map(n => ({rule: v.id, impact: v.impact,
    at: n.target.flat().join(' '), html: n.html.slice(0, 200), why: n.failureSummary})));
}"""


def violations(page) -> list[dict[str, str]]:
    page.evaluate(AXE)
    return [found for found in page.evaluate(RUN_AXE) if found["impact"] in REFUSED]


@pytest.fixture(scope="module")
def on_phone(request: pytest.FixtureRequest, devices, address) -> Iterator:
    """A phone with a page brought to a state, for all tests that only look at it."""
    with devices.window("phone") as opened:
        STATES[request.param](opened, address)
        yield opened


in_every_state = pytest.mark.parametrize("on_phone", STATES, indirect=True, scope="module")
in_answered_states = pytest.mark.parametrize("on_phone", ANSWERED, indirect=True, scope="module")


@in_every_state
def test_no_page_on_a_phone_breaks_a_rule_of_access(on_phone) -> None:
    check_access(on_phone)


@pytest.mark.slow
@pytest.mark.parametrize("state", STATES)
def test_no_page_on_a_desk_breaks_a_rule_of_access(state, address, desk) -> None:
    STATES[state](desk, address)
    check_access(desk)
    if state in ANSWERED:
        check_contrast(desk)


def check_access(page) -> None:
    broken = violations(page)
    assert not broken, "\n".join(f"{f['rule']}: {f['html']}\n  {f['why']}" for f in broken)


SMALL_TARGETS = """least => {
  const ours = '[data-testid=stMainBlockContainer], .st-key-places, .pad';
  const tapped = ['a', 'button', 'summary', '[role=tab]', '[role=combobox]', 'textarea',
    'div:has(> div > input[type=range])', '[data-testid=stRadio] label:has(input)',
    '[data-testid=stCheckbox] label',
    'input:not([type=file]):not([type=radio]):not([type=checkbox]):not([type=range])'];
  const seen = e => e.checkVisibility({checkOpacity: true, checkVisibilityCSS: true})
    && e.getClientRects().length && !e.closest('[aria-hidden=true]');
  const area = e => {
    const box = e.getBoundingClientRect(), after = getComputedStyle(e, '::after');
    const more = after.position === 'absolute' && after.content !== 'none';
    const size = name => Math.max(box[name], more ? parseFloat(after[name]) || 0 : 0);
    return {width: size('width'), height: size('height')};
  };
  const all = root => [...root.querySelectorAll('*')].flatMap(
    e => e.shadowRoot ? [e, ...all(e.shadowRoot)] : [e]);
  const targets = all(document)
    .filter(e => e.matches(tapped.join(',')) && e.closest(ours) && seen(e));
  const small = targets.map(e => [area(e), e])
    .filter(([box]) => box.height < least - .5 || box.width < least - .5)
    .map(([box, e]) => `${Math.round(box.width)} x ${Math.round(box.height)}: `
      + e.outerHTML.slice(0, 150));
  return [targets.length, small];
}"""


@in_every_state
def test_what_is_tapped_on_a_phone_is_large_enough(on_phone, request) -> None:
    count, small = on_phone.evaluate(SMALL_TARGETS, LEAST_TARGET_PX)
    has_keys = request.node.callspec.params["on_phone"] == "connection in progress"
    assert small == []
    assert count >= (25 if has_keys else 4)


TEXT_COLOURS = """() => {
  const ground = e => {
    for (; e; e = e.parentElement) {
      const colour = getComputedStyle(e).backgroundColor;
      if (!/, 0\\)$|transparent/.test(colour)) return colour;
    }
    return 'rgb(255, 255, 255)';
  };
  const found = [];
  for (const box of document.querySelectorAll('.jc-box, .jc-pin')) {
    const texts = document.createTreeWalker(box, NodeFilter.SHOW_TEXT);
    while (texts.nextNode()) {
      const e = texts.currentNode.parentElement, words = texts.currentNode.data.trim();
      if (words) found.push([words, getComputedStyle(e).color, ground(e)]);
    }
  }
  return found;
}"""


def luminance(colour: str) -> float:
    """Relative luminance of ``rgb(r, g, b)`` (WCAG 2.1, definition) [0..1]."""
    parts = [float(part) / 255.0 for part in re.findall(r"[\d.]+", colour)[:3]]
    red, green, blue = (
        part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts
    )
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colours (WCAG 2.1, definition), 1 to 21."""
    darker, lighter = sorted(map(luminance, (one, other)))
    return (lighter + 0.05) / (darker + 0.05)


def test_contrast_is_that_of_the_guideline() -> None:
    """White on black 21, and the grey #767676, the lightest that reaches 4.5 on white."""
    assert contrast("rgb(0, 0, 0)", "rgb(255, 255, 255)") == pytest.approx(21.0)
    assert contrast("rgb(118, 118, 118)", "rgb(255, 255, 255)") == pytest.approx(4.54, abs=0.01)


@in_answered_states
def test_the_outcome_is_read_in_bright_light(on_phone) -> None:
    check_contrast(on_phone)


def test_a_warning_to_disconnect_is_read_in_bright_light(address, phone) -> None:
    """Its box is the only one that is dark."""
    screenshots.turn_to(phone, address, "Readings file")
    screenshots.choose_sample(phone, "rising-current-nicd")
    assert phone.locator(".jc-box.disconnect").count() == 1
    check_contrast(phone)


def check_contrast(page) -> None:
    texts = page.evaluate(TEXT_COLOURS)
    assert len(texts) >= 4
    low = [(words, contrast(*pair)) for words, *pair in texts if contrast(*pair) < LEAST_CONTRAST]
    assert low == []


BEFORE_OUTCOME = """() => {
  const box = document.querySelector('.jc-pin, .jc-box');
  const name = box.matches('.jc-pin') ? box.querySelector('h1') : box.previousElementSibling;
  const more = '[data-testid=stVegaLiteChart], .jc-figures, .jc-findings, .jc-head, table, h2, h3';
  const above = [...document.querySelectorAll(more)].filter(e => !box.contains(e)
    && e.checkVisibility() && e.getBoundingClientRect().top < box.getBoundingClientRect().bottom
    && e.getBoundingClientRect().bottom > 0);
  return [name.innerText, name.matches('.jc-of, .jc-pin h1'),
    box.getBoundingClientRect().top - name.getBoundingClientRect().bottom,
    above.map(e => e.outerHTML.slice(0, 100))];
}"""


@in_answered_states
def test_on_a_phone_the_outcome_is_the_first_thing_after_the_name(on_phone) -> None:
    on_phone.evaluate("() => document.querySelector('[data-testid=stMain]').scrollTo(0, 0)")
    name, is_name, gap_px, above = on_phone.evaluate(BEFORE_OUTCOME)
    assert is_name
    assert name.strip()
    assert gap_px < 12
    assert above == []


CROWDED_HEADINGS = """() => {
  const boxOf = e => e.closest('[data-testid=stElementContainer]');
  const next = e => e.nextElementSibling ?? (e.parentElement ? next(e.parentElement) : null);
  return [...document.querySelectorAll('[data-testid=stHeading] :is(h1, h2, h3)')]
    .filter(e => e.checkVisibility() && next(boxOf(e))?.getClientRects().length)
    .map(e => [e.innerText, next(boxOf(e)).getBoundingClientRect().top
      - e.getBoundingClientRect().bottom])
    .filter(([words, gap_px]) => gap_px < 4);
}"""


@in_every_state
def test_no_heading_on_a_phone_is_touched_by_what_follows_it(on_phone) -> None:
    assert on_phone.evaluate(CROWDED_HEADINGS) == []


TABS_APART_PX = """() => {
  const boxes = [...document.querySelectorAll('[data-testid=stTab] p')].map(e => {
    const range = document.createRange();
    range.selectNodeContents(e);
    return range.getBoundingClientRect();
  });
  return [boxes.every(box => box.right < innerWidth - 16),
    Math.min(...boxes.slice(1).map((box, k) => box.top > boxes[k].bottom ? 99
      : box.left - boxes[k].right))];
}"""


def test_tabs_on_a_phone_stand_whole_and_apart(address, phone) -> None:
    STATES["readings typed"](phone, address)
    are_whole, apart_px = phone.evaluate(TABS_APART_PX)
    assert are_whole
    assert apart_px >= 12


DETAILED = re.compile(r"A/Ah|[Ll]ikelihood")
FIND_TEXTS = """() => [...document.querySelectorAll('body *')]
  .filter(e => [...e.childNodes].some(n => n.nodeType === Node.TEXT_NODE && n.data.trim())
    && !e.closest('script, style') && e.checkVisibility())
  .map(e => [e.textContent, e.closest('[data-testid=stExpander]')?.querySelector('summary p')
    ?.innerText ?? ''])"""
WITH_DETAILS = {"readings answered", "record of a battery"}


@in_every_state
def test_likelihoods_and_currents_over_capacity_are_details(on_phone, request) -> None:
    folds = [fold for text, fold in on_phone.evaluate(FIND_TEXTS) if DETAILED.search(text)]
    assert set(folds) <= {pages.DETAILS}
    assert folds or request.node.callspec.params["on_phone"] not in WITH_DETAILS


def test_details_are_folded_until_they_are_asked_for(address, phone) -> None:
    screenshots.turn_to(phone, address, "Readings file")
    screenshots.choose_sample(phone, "healthy-top-off")
    fold = phone.get_by_test_id("stExpander").filter(has_text=pages.DETAILS).locator("details")
    assert fold.get_attribute("open") is None
