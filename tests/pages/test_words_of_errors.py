"""Every entry of every form, driven out of its range: the page names it by its label alone."""

from __future__ import annotations

import re
import shutil
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel import pages
from batterymodel.inputs.typed_lines import typed_lines
from batterymodel.pages import (
    after_connection,
    battery_fields,
    battery_form,
    battery_record,
    capacity_check,
    limits_card,
)
from batterymodel.store.engine import URL_VARIABLE
from tests.sparing import sparing

DOTTED = re.compile(r"[A-Za-z]\.[a-z]|[a-z0-9]_[a-z]")
"""A name of the record, such as ``limits.end_voltage_v``."""

VALIDATOR = re.compile(
    r"\b(input should|valid (number|integer|string)|string should|greater than or|less than or|"
    r"validation|parse|None|datetime|has a header)\b"
)
"""Words of the library that checks records, not of people."""

SAMPLE = "healthy-top-off"
FAR = (-1e7, 1e7)
WRONG = {
    "whole": (-5, 10_000_000),
    "number": FAR,
    "percent": FAR,
    "text": ("x" * 5001,),
    "row": ("1 2 five", "5, 4", "-1e7, 1e7", "7"),
    "percent row": ("1 2 five", "500, 4", "-1e7, 1e7", "7"),
    "date": (date(1900, 1, 2), date(2099, 12, 30)),
}
FREE = {"limits.document", "last_known.on", "history.on", "capacity_check.on"}
"""Entries of which any of these values is right, or wrong only beside another."""


def key(name: str) -> str:
    return f"{pages.KEPT}{name}"


def shown(page: str) -> AppTest:
    script = f"from batterymodel.pages import {page}\n{page}.page()"
    return AppTest.from_string(script, default_timeout=90).run()


@pytest.fixture
def own(demo_sqlite, tmp_path, monkeypatch) -> str:
    path = tmp_path / "record.sqlite"
    shutil.copy(demo_sqlite, path)
    monkeypatch.setenv(URL_VARIABLE, str(path))
    return str(path)


def entry(at: AppTest, widget_key: str):
    """The one entry under a key, of whatever kind."""
    for kind in ("number_input", "text_input", "date_input"):
        for element in getattr(at, kind):
            if element.key == widget_key:
                return element
    raise AssertionError(f"no entry {widget_key}")


def plain(markdown: str) -> str:
    return markdown.replace("\\", "").replace("\u2060", "")


def said(at: AppTest) -> list[str]:
    assert not at.exception, at.exception
    return [plain(e.value) for e in at.error]


def check_words(sentences: list[str], title: str) -> None:
    for sentence in sentences:
        assert title in sentence
        assert not DOTTED.search(sentence), sentence
        assert not VALIDATOR.search(sentence), sentence


@pytest.fixture(scope="module")
def sample_page() -> AppTest:
    at = shown("after_connection")
    return at.selectbox(key=key("sample")).select(SAMPLE).run()


def driven(at: AppTest, widget_key: str, values, title: str) -> int:
    """How many of the values were refused; each in words that name the entry. Puts it back."""
    before, told = entry(at, widget_key).value, []
    for value in values:
        at = entry(at, widget_key).set_value(value).run()
        told.append(said(at))
    at.session_state[widget_key] = before
    at.run()
    for sentences in told:
        check_words(sentences, title)
    return sum(map(bool, told))


@pytest.mark.long
@pytest.mark.parametrize(
    "field",
    sparing((f for f in battery_fields.FIELDS if f.kind in WRONG), every=4),
    ids=[f.path for f in battery_fields.FIELDS if f.kind in WRONG],
)
def test_an_entry_of_the_battery_form_is_named_by_its_label(field, sample_page):
    refused = driven(sample_page, field.key, WRONG[field.kind], field.title)
    assert refused or field.path in FREE
    assert not said(sample_page)


def test_every_kind_of_entry_is_driven():
    kinds = {f.kind for f in battery_fields.FIELDS}
    assert kinds == {*WRONG, "chemistry"}
    titles = [f.title for f in battery_fields.FIELDS]
    assert len(set(titles)) == len(titles)
    assert all(f.label.startswith(f.title) for f in battery_fields.FIELDS)


@pytest.mark.parametrize("name", sparing(name for name, _, _ in after_connection._KNOWN_FIELDS))
def test_what_was_measured_is_named_by_its_label(name, sample_page):
    label = after_connection.LABELS[name].label
    assert driven(sample_page, key(f"known.{name}"), FAR, label) == 2
    assert entry(sample_page, key(f"known.{name}")).label.startswith(label)


@pytest.mark.long
@pytest.mark.parametrize("name", sparing(name for name, _, _ in after_connection._SUPPLY_FIELDS))
def test_an_entry_of_the_supply_is_named_by_its_label(name):
    at = shown("after_connection").selectbox(key=key("sample")).select(SAMPLE).run()
    at.radio(key=key("supply_from")).set_value(after_connection.OWN_SUPPLY).run()
    at = entry(at, key("supply.rated_current_a")).set_value(60.0).run()
    label = after_connection.LABELS[name].label
    assert driven(at, key(f"supply.{name}"), FAR, label) == 2


@pytest.mark.parametrize(
    "field", sparing(battery_fields.LIMITS[1:] + battery_fields.TABLES), ids=lambda f: f.path
)
def test_an_entry_of_the_limits_card_is_named_by_its_label(field, own):
    at = shown("limits_card")
    values = WRONG[field.kind]
    assert driven(at, field.key_in(battery_fields.ON_CARD), values[:1], field.title) == 1


def press(at: AppTest, start: str) -> AppTest:
    (found,) = [b for b in at.button if b.label.startswith(start)]
    assert not found.disabled
    return found.click().run()


def test_a_reason_that_is_too_long_is_named_by_its_label(own):
    at = shown("limits_card")
    entry(at, key("card.limits.end_voltage_v")).set_value(19.0).run()
    entry(at, key("card.limits.document")).set_value("Manual, revision D").run()
    entry(at, key("card.reason")).set_value("x" * 301).run()
    sentences = said(press(at, "Keep this revision"))
    assert len(sentences) == 1
    check_words(sentences, limits_card.LABELS["reason"].label)


@pytest.mark.parametrize(
    ("name", "label", "value"),
    sparing(
        [
            ("new.serial", battery_record.LABELS["serial"].label, "x" * 61),
            ("new.aircraft", battery_record.LABELS["tail"].label, "x" * 61),
            ("new..cells", "Cells", 41),
            ("new..rated_capacity_ah", "Rated capacity", 501.0),
        ],
        every=2,
    ),
)
def test_an_entry_of_a_battery_to_be_added_is_named_by_its_label(name, label, value, own):
    at = shown("battery_record")
    entry(at, key("new.serial")).set_value("OWN-7")
    entry(at, key("new.aircraft")).set_value("HANGAR-2")
    at.selectbox(key=key("new..chemistry")).select("nicd")
    entry(at, key("new..cells")).set_value(20)
    entry(at, key("new..rated_capacity_ah")).set_value(23.0)
    at = entry(at, key(name)).set_value(value).run()
    sentences = said(at) or said(press(at, "Add to the record"))
    assert len(sentences) == 1
    check_words(sentences, label)


@pytest.mark.long
@pytest.mark.parametrize(
    ("name", "label", "value"),
    [
        ("check.current", "discharge_current_a", 4000.0),
        ("check.current", "discharge_current_a", -1.0),
        ("check.minutes", "minutes", 0.1),
        ("check.minutes", "minutes", 7000.0),
        ("check.temp", "temp_c", 300.0),
        ("check.temp", "temp_c", -50.0),
        ("check.note", "note", "x" * 5001),
    ],
)
def test_an_entry_of_a_capacity_check_is_named_by_its_label(name, label, value, own):
    at = shown("capacity_check")
    entry(at, key("check.current")).set_value(40.0)
    entry(at, key("check.minutes")).set_value(54.0)
    at = entry(at, key("check.temp")).set_value(25.0).run()
    at = entry(at, key(name)).set_value(value).run()
    sentences = said(at) or said(press(at, "Keep this check"))
    assert len(sentences) == 1
    check_words(sentences, capacity_check.LABELS[label].label)


def test_a_day_still_to_come_is_said_without_names_of_the_record(own):
    at = shown("capacity_check")
    entry(at, key("check.current")).set_value(40.0)
    entry(at, key("check.minutes")).set_value(54.0)
    at = entry(at, key("check.on")).set_value(date(2035, 1, 1)).run()
    sentences = said(press(at, "Keep this check"))
    check_words(sentences, "capacity check of 2035-01-01 is later than today")
    assert len(sentences) == 1


@pytest.mark.parametrize("current", ["0", "0.05", "5000000", "-4", "inf", "x", "19,5", "A 5"])
def test_typed_currents_that_cannot_be_are_told_by_line_or_as_the_current(current):
    with pytest.raises(ValueError, match=r"^typed readings: (line 1|current): ") as caught:
        typed_lines("\n".join(f"{time_s} {current}" for time_s in (0, 15, 30)))
    for sentence in caught.value.faults:
        check_words([sentence.replace("0.05", "")], "typed readings")


def field(name: str) -> battery_fields.Field:
    return next(f for f in battery_fields.LIMITS if f.name == name)


def test_an_old_source_is_not_left_beside_a_new_value(own):
    at = shown("limits_card")
    document = field("document").key_in(battery_fields.ON_CARD)
    old = entry(at, document).value
    assert old
    voltage = field("charge_voltage_max_v")
    at = entry(at, voltage.key_in(battery_fields.ON_CARD)).set_value(28.9).run()
    assert entry(at, document).value == ""
    asked = [plain(w.value) for w in at.warning]
    assert asked == [battery_form.SOURCE_WANTED.format(title=voltage.title)]
    assert any(old in plain(c.value) for c in at.caption)
    at = press(at, battery_form.SAME_DOCUMENT)
    assert entry(at, document).value == old
    assert not at.warning
    at = entry(at, voltage.key_in(battery_fields.ON_CARD)).set_value(28.8).run()
    assert entry(at, document).value == old


def test_a_named_revision_holds_for_every_value_changed_with_it(own):
    at = shown("limits_card")
    document = field("document").key_in(battery_fields.ON_CARD)
    for name, value in (("charge_voltage_max_v", 28.9), ("charge_voltage_min_v", 27.1)):
        at = entry(at, field(name).key_in(battery_fields.ON_CARD)).set_value(value).run()
        at = entry(at, document).set_value("Manual, revision E").run()
    at = entry(at, field("end_voltage_v").key_in(battery_fields.ON_CARD)).set_value(19.5).run()
    assert entry(at, document).value == "Manual, revision E"


def test_a_finding_names_no_old_source_for_a_limit_changed_by_hand():
    at = shown("after_connection").selectbox(key=key("sample")).select(SAMPLE).run()
    old = entry(at, field("document").key).value
    assert old
    at = entry(at, field("min_top_off_soc").key).set_value(99.0).run()
    body = "\n".join(e.proto.body for e in at.get("html"))
    assert pages.shown(old) not in body
    assert "document not named" in body
    at = entry(at, field("document").key).set_value("Manual, revision F").run()
    body = "\n".join(e.proto.body for e in at.get("html"))
    assert "from Manual, revision F" in body


def test_a_limit_taken_off_the_card_asks_for_no_source(own):
    at = shown("limits_card")
    document = field("document").key_in(battery_fields.ON_CARD)
    old = entry(at, document).value
    at = entry(at, field("end_voltage_v").key_in(battery_fields.ON_CARD)).set_value(None).run()
    assert entry(at, document).value == old
