"""The page of the ground power budget, without a browser."""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from html import unescape

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel import pages
from batterymodel.budget.wording import RULE_WORDS
from batterymodel.inputs.records import record_toml
from batterymodel.pages import power_entries
from batterymodel.pages.choices import OWN
from batterymodel.samples.loads import LIGHT_SINGLE
from batterymodel.say.budget import answer, not_checked_words
from batterymodel.say.ground_power import power_view
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.in_progress import begin, note
from batterymodel.store.power import (
    add_load_plan,
    add_supply,
    loads_in_force,
    supplies_of,
    supply_named,
)
from batterymodel.store.records import Connection, LoadConfiguration, LoadPlan, ShopSupply
from tests.sparing import sparing

HANGAR = "Hangar supply"
DOTTED = re.compile(r"[A-Za-z]\.[a-z]|[a-z0-9]_[a-z]")
"""A name of the record, such as ``cable.length_m``."""


ANSWERED = '<h2 class="jc-word">'


def key(name: str) -> str:
    return f"{pages.KEPT}power.{name}"


@pytest.fixture
def own(demo_sqlite, tmp_path, monkeypatch):
    """A record with the invented fleet, its load plans and supplies."""
    path = shutil.copy(demo_sqlite, tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, str(path))
    return open_store(path)


def shown() -> AppTest:
    script = "from batterymodel.pages import ground_power, keep_entries\n"
    script += "keep_entries()\nground_power.page()"
    return checked(AppTest.from_string(script, default_timeout=60).run())


def checked(at: AppTest) -> AppTest:
    assert not at.exception, at.exception
    return at


def html_of(at: AppTest) -> str:
    return unescape("\n".join(e.proto.body for e in checked(at).get("html")))


def plain(markdown: str) -> str:
    return markdown.replace("\\", "").replace("\u2060", "")


def words_of(elements) -> list[str]:
    return [plain(element.value) for element in elements]


def chosen(at: AppTest, name: str, option: str) -> AppTest:
    return checked(at.selectbox(key=key(name)).select(option).run())


def pressed(at: AppTest, start: str) -> AppTest:
    (button,) = [b for b in at.button if plain(b.label).startswith(start)]
    assert not button.disabled
    return checked(button.click().run())


def test_the_answer_is_that_of_the_record(own):
    at = shown()
    body = html_of(at)
    now = datetime.now().astimezone()
    circuit = supply_named(own, HANGAR).on_circuit("Hangar wall")
    view = power_view(own, "DEMO-1", "Database update", circuit, now)
    said = answer(view.budget)
    assert f"<b>{said[0].upper()}{said[1:]}.</b>" in body
    assert re.search(
        r'class="jc jc-of">DEMO-1: Database update</p>'
        r'<section class="jc jc-box top_off" aria-label="Outcome">',
        body,
    )
    assert "as last read in the connection of 2026-03-02. That is not now" in body
    assert not_checked_words(view.budget) in body
    for step in view.budget.next_steps:
        assert f"<li>{step}</li>" in body
    for finding in view.budget.findings:
        assert f"<b>{RULE_WORDS[finding.rule]}.</b> {finding.text}" in body
    for consumer in LIGHT_SINGLE.consumers:
        assert f"<td>{consumer.name}</td>" in body
    assert "Currents of Avionics are as 1 connection on record taught them." in body
    assert all(caution in body for caution in view.budget.cautions)


def test_a_battery_that_must_come_off_comes_before_the_load(own):
    at = chosen(shown(), "tail", "DEMO-7")
    body = html_of(at)
    assert '<section class="jc jc-box disconnect" aria-label="Outcome">' in body
    assert "Battery first" in body
    assert "Leave off before connecting" not in body


def test_without_a_connection_the_battery_is_not_counted_and_that_is_said(own):
    connections = own.entries(Connection, battery_id=own.plate("SF-101").id)
    own.delete([entry.id for entry in connections], "none of them")
    body = html_of(shown())
    assert (
        "No connection of a battery in DEMO-1 is on record: what it draws is not counted." in body
    )
    assert "the battery's draw is not counted" in body
    assert "Currents of Avionics" not in body


def live(own, currents) -> None:
    began = datetime.now(UTC) - timedelta(minutes=4)
    begin(own, "connection-1", began, serial="SF-101")
    for number, current in enumerate(currents):
        at = began + timedelta(seconds=30 * (number + 1))
        note(own, "connection-1", f"press-{number:04}", "supply_current_a", current, at)


def test_a_connection_in_progress_tells_the_draw_of_now(own):
    live(own, (24.0, 22.6, 21.5, 20.6))
    body = html_of(shown())
    assert re.search(
        r"The battery SF-101 draws [\d.]+ A: the connection in progress, read 2 min", body
    )


@pytest.mark.long
def test_the_configuration_is_kept_once_a_day_with_who_said_so(own):
    at = chosen(shown(), "task", "Hydraulic check")
    body = html_of(at)
    assert '<section class="jc jc-box keep_watching" aria-label="Outcome">' in body
    assert "start of Hydraulic pump dips the bus" in body
    assert "No configuration for Hydraulic check is on record yet." in html_of(at)
    at = pressed(at, "Keep this configuration of DEMO-1")
    assert words_of(at.success) == [
        "The configuration of DEMO-1 for Hydraulic check is in the record."
    ]
    assert f"Known configuration of {date.today()}, on Hangar supply on Hangar wall" in html_of(at)
    again = pressed(at, "Keep this configuration of DEMO-1")
    assert "already; nothing was added" in words_of(again.success)[0]
    [kept] = own.entries(LoadConfiguration, name="Hydraulic check")
    record = kept.record
    assert "Cabin blower" in record.left_off
    assert (record.document, record.said_by) == (LIGHT_SINGLE.document, LIGHT_SINGLE.said_by)
    pump = next(one for one in record.consumers if one.name == "Hydraulic pump")
    assert (pump.continuous_a, pump.peak_a) == (22.0, 80.0)


def entered(at: AppTest, name: str, value) -> AppTest:
    return checked(at.number_input(key=key(name)).set_value(value).run())


@pytest.mark.long
def test_a_supply_that_is_gone_is_not_exchanged_in_silence(own):
    at = chosen(shown(), "supply", "Ramp cart")
    own.delete([e.id for e in own.entries(ShopSupply) if e.record.name == "Ramp cart"], "sold")
    at = checked(at.run())
    assert words_of(at.warning) == [
        "The supply Ramp cart is no longer in this record; Hangar supply is chosen instead."
    ]
    assert not checked(at.run()).warning


@pytest.mark.long
def test_a_supply_typed_in_gives_an_answer_and_is_kept_under_a_name(own):
    at = chosen(shown(), "supply", OWN)
    assert "Give the rated current" in words_of(at.info)[0]
    assert ANSWERED not in html_of(at)
    at = entered(at, "rated_current_a", 45.0)
    assert ANSWERED in html_of(at)
    at = pressed(
        checked(at.text_input(key=key("name")).set_value(HANGAR).run()), "Keep this supply"
    )
    assert "there is a supply 'Hangar supply' in the record" in words_of(at.error)[0]
    assert at.text_input(key=key("name")).value == HANGAR
    at.text_input(key=key("name")).set_value("Bench supply").run()
    at = pressed(at, "Keep this supply")
    assert words_of(at.success) == ["The supply Bench supply is in the record."]
    assert at.selectbox(key=key("supply")).value == "Bench supply"
    assert supply_named(own, "Bench supply").rated_current_a == 45.0
    assert len(supplies_of(own)) == 3


def test_a_supply_with_the_name_of_the_own_choice_is_itself(own):
    name = power_entries.ENTERED_HERE
    add_supply(own, ShopSupply(name=name, rated_current_a=33.0))
    at = chosen(shown(), "supply", name)
    options = at.selectbox(key=key("supply")).options
    assert [o for o in options if o.startswith(name)] == [name, f"{name}, not on record"]
    assert ANSWERED in html_of(at)
    assert "33 A" in html_of(at)
    assert not at.info
    at = chosen(at, "supply", OWN)
    assert "Give the rated current" in words_of(at.info)[0]


@pytest.fixture(scope="module")
def typed(demo_sqlite, tmp_path_factory) -> Iterator[AppTest]:
    """A page with a supply typed in, on a record without any, for tests that put it back."""
    path = shutil.copy(demo_sqlite, tmp_path_factory.mktemp("typed") / "record.sqlite")
    store = open_store(path)
    store.delete([entry.id for entry in store.entries(ShopSupply)], "sold")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv(URL_VARIABLE, str(path))
        at = shown()
        assert at.selectbox(key=key("supply")).value == OWN
        yield entered(at, "rated_current_a", 45.0)


def refused(at: AppTest, name: str, value) -> str:
    """The one sentence about an entry; puts it back."""
    was = at.number_input(key=key(name)).value
    at = entered(at, name, value)
    (said,) = words_of(at.error)
    assert not DOTTED.search(said), said
    entered(at, name, was)
    return said


@pytest.mark.long
def test_a_cable_without_its_size_keeps_the_answer_before(typed):
    before = html_of(typed)
    entered(typed, "cable.length_m", 5.0)
    assert words_of(typed.error) == [
        "neither of 'Cable gauge' and 'Cable cross-section' given; one would be right"
    ]
    assert html_of(typed) == before
    assert power_entries.STILL in words_of(typed.caption)
    entered(typed, "cable.gauge_awg", 2)
    assert not typed.error
    assert "voltage lost in the cable" not in html_of(typed).split("Not checked")[1].split("<")[0]


@pytest.mark.long
@pytest.mark.parametrize("name", sparing(power_entries.FIELDS))
def test_an_entry_of_the_supply_is_named_by_its_label(typed, name):
    entered(typed, "cable.length_m", 5.0)
    entered(typed, "cable.gauge_awg", 2)
    label = power_entries.LABELS[name].label
    if name == "cable.area_mm2":
        assert refused(typed, name, 5.0).startswith("both of 'Cable gauge'")
        return
    assert refused(typed, name, 99_999).startswith(f"{label}: at most")


def test_a_temperature_that_cannot_be_is_named_by_its_label(typed):
    label = power_entries.LABELS["supply_temp_c"].label
    assert refused(typed, "supply_temp", 300.0).startswith(label)


def with_file(at: AppTest, text: bytes, name: str = "loads.toml") -> AppTest:
    (upload,) = [e for e in at.file_uploader if e.label == power_entries.LOADS_FILE]
    return checked(upload.set_value((name, text, "application/toml")).run())


@pytest.mark.long
def test_an_aircraft_without_loads_takes_them_from_a_file_once(own):
    at = chosen(shown(), "tail", "DEMO-3")
    assert "What DEMO-3 takes is not on record yet" in words_of(at.info)[0]
    at = with_file(at, power_entries.loads_template("DEMO-3").encode())
    at = pressed(at, "Keep 3 consumers and 1 task of DEMO-3")
    assert words_of(at.success) == ["What DEMO-3 takes is in the record."]
    assert ANSWERED in html_of(at)
    loads = loads_in_force(own, "DEMO-3")
    assert (loads.said_by, loads.on) == ("who said so", date(2026, 3, 2))
    aircraft = own.aircraft("DEMO-3").id
    assert len(own.entries(LoadPlan, aircraft_id=aircraft)) == 1


@pytest.mark.long
def test_loads_said_before_those_in_force_are_kept_and_said_not_to_count(own):
    older = LIGHT_SINGLE.model_copy(update={"on": date(2026, 1, 5)})
    at = pressed(with_file(shown(), record_toml(older).encode()), "Keep 15 consumers")
    assert (
        "They were said on 2026-01-05: the budget goes on with those of 2026-02-27."
        in words_of(at.success)[0]
    )


def test_loads_of_tomorrow_do_not_count_today(own):
    ahead = LIGHT_SINGLE.model_copy(
        update={"on": date.today() + timedelta(days=1), "tasks": LIGHT_SINGLE.tasks[1:]}
    )
    add_load_plan(own, "DEMO-1", ahead, date.today())
    assert 'class="jc jc-of">DEMO-1: Database update</p>' in html_of(shown())


@pytest.mark.long
@pytest.mark.parametrize(
    ("text", "words"),
    sparing(
        [
            (b"\xff\xfe\x00", "loads.toml: is not a text file"),
            (b"[[consumers", "loads.toml: not valid TOML"),
            (
                b"[[consumers]]\nname = 'Radio'\ncontinuous_a = -3\n",
                "consumer 1 ('Radio'): continuous_a",
            ),
            (record_toml(LIGHT_SINGLE).encode(), "those of 'DEMO-1', not of 'DEMO-3'"),
        ]
    ),
)
def test_a_loads_file_that_cannot_be_right_is_said_in_words(own, text, words):
    at = with_file(chosen(shown(), "tail", "DEMO-3"), text)
    if not at.error:
        at = pressed(at, "Keep 15 consumers")
    assert words in words_of(at.error)[0]
    assert loads_in_force(own, "DEMO-3") is None


def test_an_empty_record_says_what_to_do(new_sqlite, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(new_sqlite("record")))
    at = shown()
    assert any("No battery is in the record yet" in words for words in words_of(at.info))
