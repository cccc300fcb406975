"""Degrees Celsius or Fahrenheit by choice, on every page; storage stays in degrees Celsius."""

import re
import shutil

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.inputs.temperature_unit import TemperatureUnit
from batterymodel.pages import after_connection, temperatures
from batterymodel.rules.wording import GENERIC_MARK
from batterymodel.say.pad_units import entry_in_c
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.in_progress import begin, note, tell
from batterymodel.store.records import BenchCheck, CardRevision
from batterymodel.store.settings import choose_temperature_unit, temperature_unit
from tests.pages.test_after_connection import html_of, key

F, C = TemperatureUnit.FAHRENHEIT, TemperatureUnit.CELSIUS
PAGES = (
    "after_connection",
    "at_the_aircraft",
    "battery_record",
    "capacity_check",
    "limits_card",
    "more",
    "needs_attention",
    "plain_words",
)


@pytest.fixture
def own(demo_sqlite, tmp_path, monkeypatch):
    """The demo record's data as the own record of one test."""
    path = tmp_path / "record.sqlite"
    shutil.copy(demo_sqlite, path)
    monkeypatch.setenv(URL_VARIABLE, str(path))
    return str(path)


def shown(page: str) -> AppTest:
    script = f"from batterymodel.pages import {page}, keep_entries\nkeep_entries()\n{page}.page()"
    return AppTest.from_string(script, default_timeout=60).run()


def choose(at: AppTest, unit: TemperatureUnit) -> AppTest:
    return at.radio(key=temperatures.UNIT).set_value(unit).run()


def all_words(at: AppTest) -> str:
    """Everything that is read on the page, with labels and placeholders."""
    said = [html_of(at)]
    for kind in ("number_input", "text_input", "slider", "caption", "markdown", "info", "error"):
        for element in at.get(kind):
            said += [getattr(element, "label", "") or "", str(getattr(element, "value", ""))]
            said.append(getattr(element.proto, "placeholder", ""))
    for chart in at.get("vega_lite_chart") + at.get("arrow_vega_lite_chart"):
        said.append(chart.proto.spec)
    return "\n".join(said)


def test_the_choice_is_remembered_and_can_be_taken_back(own):
    choose(shown("more"), F)
    assert temperature_unit(open_store(own)) is F
    later = shown("more")
    assert later.radio(key=temperatures.UNIT).value == F
    choose(later, C)
    assert temperature_unit(open_store(own)) is C
    assert shown("more").radio(key=temperatures.UNIT).value == C


@pytest.mark.long
@pytest.mark.parametrize("page", PAGES)
def test_no_page_speaks_of_celsius_once_fahrenheit_is_chosen(own, page):
    choose_temperature_unit(open_store(own), F)
    at = shown(page)
    if page == "after_connection":
        at = at.selectbox(key=key("sample")).select("hot-battery").run()
    words = all_words(at)
    assert "°C" not in words
    if page in ("after_connection", "limits_card", "capacity_check", "plain_words"):
        assert "°F" in words


def test_a_temperature_is_entered_in_fahrenheit_and_kept_in_celsius(own):
    choose_temperature_unit(open_store(own), F)
    at = shown("after_connection")
    at.number_input(key=key("known.ambient_c") + ".degF").set_value(68.0).run()
    assert at.session_state[key("known.ambient_c")] == 20.0
    [field] = [n for n in at.number_input if "ambient" in n.label]
    assert field.label == "Battery or ambient temperature (°F)"
    assert field.value == 68.0


def test_a_wrong_unit_can_be_taken_back_and_the_entry_stays_what_it_was(own):
    at = shown("after_connection")
    at.number_input(key=key("known.ambient_c")).set_value(20.5).run()
    at = choose(at, F)
    assert at.number_input(key=key("known.ambient_c") + ".degF").value == 68.9
    at = choose(at, C)
    assert at.number_input(key=key("known.ambient_c")).value == 20.5
    at = choose(at, F)
    at.number_input(key=key("known.ambient_c") + ".degF").set_value(None).run()
    at = choose(at, C)
    assert at.number_input(key=key("known.ambient_c")).value is None


def test_the_answer_is_the_same_in_both_units(own):
    at = shown("after_connection").selectbox(key=key("sample")).select("hot-battery").run()
    in_c = html_of(at)
    in_f = html_of(choose(at, F))
    outcome = re.compile(r'<h2 class="jc-word">.*?</h2>')
    assert outcome.findall(in_c) == outcome.findall(in_f)
    [limit_c] = set(re.findall(r"above the (\d+) °C", in_c))
    [limit_f] = set(re.findall(r"above the (\d+) °F", in_f))
    assert float(limit_f) == pytest.approx(1.8 * float(limit_c) + 32.0, abs=0.5)


def test_a_limits_card_entered_in_fahrenheit_is_kept_in_celsius(own):
    choose_temperature_unit(open_store(own), F)
    at = shown("limits_card")
    at.number_input(key=key("card.limits.charge_temp_max_c") + ".degF").set_value(104.0).run()
    at.text_input(key=key("card.limits.capacity_temp_c") + ".degF").set_value("14, 50, 77").run()
    at.text_input(key=key("card.limits.capacity_temp_factor")).set_value("70, 90, 100").run()
    at.text_input(key=key("card.reason")).set_value("new revision").run()
    at.text_input(key=key("card.limits.document")).set_value("Invented manual, revision 3").run()
    [keep] = [b for b in at.button if b.label == "Keep this revision"]
    keep.click().run()
    revisions = open_store(own).entries(CardRevision)
    [limits] = [e.record.limits for e in revisions if e.record.reason == "new revision"]
    assert limits.charge_temp_max_c == 40.0
    assert limits.capacity_temp_c == (-10.0, 10.0, 25.0)


def test_all_that_is_wrong_with_a_card_is_said_at_its_top_in_the_chosen_unit(own):
    choose_temperature_unit(open_store(own), F)
    at = shown("limits_card")
    at.number_input(key=key("card.limits.charge_temp_max_c") + ".degF").set_value(9999.0).run()
    at.number_input(key=key("card.limits.charge_voltage_max_v")).set_value(900.0).run()
    voltage, temperature = (e.value.replace("\\", "") for e in at.error)
    assert voltage.startswith("Highest charging voltage: at most ")
    right = "Highest charging temperature: at most 248 °F (given: 9999 °F)"
    assert temperature == right
    at.number_input(key=key("card.limits.charge_voltage_max_v")).set_value(None).run()
    assert GENERIC_MARK in at.number_input(key=key("card.limits.charge_voltage_max_v")).placeholder
    at.number_input(key=key("card.limits.charge_temp_min_c") + ".degF").set_value(32.0).run()
    at.number_input(key=key("card.limits.charge_temp_max_c") + ".degF").set_value(20.0).run()
    [said] = [e.value.replace("\\", "") for e in at.error]
    assert "(32 °F) must be below 'Highest charging temperature' (20 °F)" in said


def test_what_a_press_of_keep_meets_is_said_in_the_chosen_unit(own):
    script = """
from batterymodel.inputs.readings import checked_value
from batterymodel.pages import kept
from batterymodel.say.pad import FULL_LABELS
kept.attempt(lambda: checked_value("battery_temp_c", 200.0, "reading"), "", FULL_LABELS)
kept.show_done()
"""
    for unit, numbers in (
        (C, "200 °C is outside -60 to 120 °C"),
        (F, "392 °F is outside -76 to 248 °F"),
    ):
        choose_temperature_unit(open_store(own), unit)
        [error] = AppTest.from_string(script).run().error
        assert error.value.replace("\\", "") == f"Battery temperature: {numbers}"


def test_a_row_that_is_no_row_stays_as_typed_and_is_refused(own):
    choose_temperature_unit(open_store(own), F)
    at = shown("limits_card")
    at.text_input(key=key("card.limits.capacity_temp_c") + ".degF").set_value("cold, 50").run()
    assert at.text_input(key=key("card.limits.capacity_temp_c") + ".degF").value == "cold, 50"
    [error] = [e.value.replace("\\", "") for e in at.error]
    assert error.startswith("Temperature in the capacity table: numbers like")


def test_a_capacity_check_entered_in_fahrenheit_is_kept_in_celsius(own):
    choose_temperature_unit(open_store(own), F)
    at = shown("capacity_check")
    at.number_input(key=key("check.current")).set_value(40.0).run()
    at.number_input(key=key("check.minutes")).set_value(55.0).run()
    at.number_input(key=key("check.temp") + ".degF").set_value(69.8).run()
    assert not at.exception
    [keep] = [b for b in at.button if b.label.startswith("Keep this check")]
    keep.click().run()
    temps = {e.record.temperature_c for e in open_store(own).entries(BenchCheck)}
    assert 21.0 in temps


def test_the_slider_keeps_its_place_when_the_unit_is_turned(own):
    at = shown("plain_words")
    before = [s.value for s in at.slider if "temperature" in s.label]
    choose_temperature_unit(open_store(own), F)
    at = shown("plain_words")
    [slider] = [s for s in at.slider if "temperature" in s.label]
    assert before == [40.0]
    assert (slider.min, slider.max, slider.value) == (-4.0, 131.0, 104.0)
    slider.set_value(105.0).run()
    assert "At 105 °F" in html_of(at)


def test_without_a_record_the_choice_holds_in_the_session(tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "no folder" / "record.sqlite"))
    at = choose(shown("more"), F)
    assert not at.exception
    assert at.radio(key=temperatures.UNIT).value == F
    assert after_connection.TEMPERATURE == "ambient_c"


def at_minute(minute: int) -> str:
    return f"2026-03-02T07:{minute}:10Z"


@pytest.mark.long
def test_the_answer_at_the_aircraft_is_in_the_chosen_unit(own):
    """A reading of the pad in degrees Fahrenheit is kept and assessed in degrees Celsius."""
    store = open_store(own)
    choose_temperature_unit(store, F)
    begin(store, "connection-1", "2026-03-02T07:43:00Z", serial="SF-102")
    for k in range(6):
        note(
            store, "connection-1", f"press-{k:04}", "supply_current_a", 20.0 - k, at_minute(43 + k)
        )
    told = entry_in_c({"kind": "tell", "quantity": "battery_temp_f", "value": 131.0})
    tell(store, "connection-1", "press-0009", **{told["quantity"]: told["value"]})
    script = "from batterymodel.pages import at_the_aircraft\nat_the_aircraft.page()"
    at = AppTest.from_string(script, default_timeout=60)
    at.query_params["connection"] = "connection-1"
    words = html_of(at.run())
    assert "131 °F" in words
    assert "°C" not in words
