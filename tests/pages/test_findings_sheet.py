"""The pages of the owner's sheet and of plain words, without a browser."""

from dataclasses import replace
from html import unescape
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.explain import effects as explainer
from batterymodel.explain import wording as words
from batterymodel.pages import KEPT, findings_sheet, places
from batterymodel.sheet.wording import CAPACITY, INVENTED, SECTIONS
from tests.pages.test_after_connection import with_sample

CHECKOUT = Path(__file__).resolve().parents[2]


def page_of(title: str) -> AppTest:
    """One page by itself, as `app.py` runs it."""
    script = f"from batterymodel.pages import {title}\n{title}.page()"
    return AppTest.from_string(script, default_timeout=60)


def html_of(at: AppTest) -> str:
    return unescape(" ".join(str(part.proto.body) for part in at.get("html")))


def test_sheet_page_without_a_connection_says_what_to_do():
    at = page_of("findings_sheet").run()
    assert not at.exception
    assert at.info[0].value == findings_sheet.NOTHING_YET


@pytest.mark.long
def test_sheet_page_shows_the_connection_last_assessed():
    case = with_sample("healthy-top-off").session_state["kept.last_case"]
    at = page_of("findings_sheet")
    at.session_state["kept.last_case"] = case
    at.run()
    assert not at.exception
    body = html_of(at)
    content = case.content("")
    shown = [section.title for section in content.sections if section.key != "signed"]
    assert [s.value for s in at.header] == shown
    assert INVENTED in body
    for line in (content.reason, *content.section("next").sentences):
        assert line in body
    at.text_input(key=f"{KEPT}sheet.owner").set_value("x" * 61).run()
    assert "at most 60" in at.error[0].value


@pytest.mark.long
def test_a_battery_on_record_has_the_sheet_of_its_record_when_it_was_just_assessed():
    """Twelve checks of SF-101, not the one that the form had; and its serial, not only the tail."""
    case = with_sample("healthy-top-off").session_state["kept.last_case"]
    at = page_of("findings_sheet")
    at.query_params[places.RECORD] = places.DEMO_RECORD
    at.session_state["kept.last_case"] = replace(case, serial="SF-101")
    at.run()
    assert not at.exception
    body = html_of(at)
    assert "SF-101, in DEMO-1" in body
    assert "Capacity, by its trend" in body
    assert CAPACITY["told_one"] not in body
    assert CAPACITY["told_one"] in " ".join(case.content("").section("pictures").sentences)


@pytest.mark.long
def test_sheet_page_takes_a_connection_of_the_record():
    at = page_of("findings_sheet")
    at.query_params[places.RECORD] = places.DEMO_RECORD
    at.run()
    at.radio(key=f"{KEPT}sheet.source").set_value(findings_sheet.RECORD).run()
    assert not at.exception
    assert at.selectbox[1].label == "Connection on record"
    assert SECTIONS["asked"] in {s.value for s in at.header}


def test_plain_words_show_every_topic_and_follow_the_slider():
    at = page_of("plain_words").run()
    assert not at.exception
    assert {words.TITLES[t] for t in explainer.TOPICS} <= {s.value for s in at.header}
    for topic in explainer.TOPICS:
        turned = explainer.PARAMETERS[topic]
        at.slider(key=f"{KEPT}plain.{topic}").set_value(turned.high)
    at.run()
    assert not at.exception
    for topic in explainer.TOPICS:
        said = explainer.shown_words(topic, explainer.PARAMETERS[topic].high)
        assert said in html_of(at)


def test_both_pages_are_in_the_navigation():
    text = (CHECKOUT / "app.py").read_text(encoding="utf-8")
    assert "findings_sheet.page" in text
    assert "plain_words.page" in text
    assert not AppTest.from_file(str(CHECKOUT / "app.py"), default_timeout=30).run().exception


@pytest.mark.long
@pytest.mark.parametrize("key", ["rising-current-nicd", "no-card-no-load"])
def test_every_kind_of_case_can_be_shown(key):
    at = page_of("findings_sheet")
    at.session_state["kept.last_case"] = with_sample(key).session_state["kept.last_case"]
    assert not at.run().exception


def test_without_a_connection_of_this_session_the_sheet_begins_with_the_record():
    at = page_of("findings_sheet")
    at.query_params[places.RECORD] = places.DEMO_RECORD
    at.run()
    assert not at.exception
    assert at.radio(key=f"{KEPT}sheet.source").value == findings_sheet.RECORD
    assert SECTIONS["asked"] in {s.value for s in at.header}
