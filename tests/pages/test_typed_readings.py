"""The box for readings from the meter: answered, its faults below it, and kept in the record."""

import json
import re
from datetime import date

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.assessment import assess
from batterymodel.charts import connection as charts
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.inputs.typed_lines import typed_lines
from batterymodel.pages import after_connection, typed_readings
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.intake import add_battery
from batterymodel.store.records import Aircraft, Connection, Move
from batterymodel.store.told_readings import readings_of
from tests.pages.test_after_connection import html_of, key, sentences, started

BATTERY = Battery(tail="OWN-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)
LINES = """0 18.4
15 18.1
30 17.9
1:00 17.5

90, 17.1
120;16.8;pump, on
150\t16.4
3:30 16.2 A/C off"""
EIGHT = "Read: 8 readings, 0 to 210 s, 16.2 to 18.4 A, 2 events."


@pytest.fixture
def own(tmp_path, monkeypatch):
    """A record with one battery."""
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "record.sqlite"))
    store = open_store()
    plate, tail = add_battery(store, "B-1", BATTERY), store.add(Aircraft(tail="OWN-1"))
    move = {"battery_id": plate.id, "aircraft_id": tail.id, "on": "2026-01-01", "reason": "new"}
    store.add(Move(**move))
    return store


def typing(text: str) -> AppTest:
    """The page with lines in its box, and no battery yet."""
    at = started().radio(key=key("source")).set_value(after_connection.TYPED).run()
    return box(at).set_value(text).run()


def box(at: AppTest):
    return at.text_area(key=typed_readings.LINES)


def with_battery(at: AppTest) -> AppTest:
    at.selectbox(key=key("battery..chemistry")).select("vrla")
    at.number_input(key=key("battery..cells")).set_value(12)
    return at.number_input(key=key("battery..rated_capacity_ah")).set_value(40.0).run()


def read(at: AppTest) -> list[str]:
    """What the page says that it read."""
    said = [re.sub(r"\\(?=\W)|\u2060", "", m.value) for m in at.markdown]
    return [one for one in said if one.startswith("Read: ")]


def test_lines_are_read_back_and_answered():
    at = typing(LINES)
    assert read(at) == [EIGHT]
    assert "Still needed" in sentences(at.info)[0]
    shown = html_of(with_battery(at))
    assert "8 readings over 4 min, from 18.4 A to 16.2 A" in shown
    assert "jc-word" in shown


def test_an_empty_box_says_how_to_begin_and_a_begun_one_waits():
    at = typing("")
    assert sentences(at.info) == [after_connection.BEGIN]
    assert not read(at)
    at = box(at).set_value("0 18.4\n15 18.1").run()
    assert not at.error
    assert read(at) == ["Read: 2 readings, 0 to 15 s, 18.1 to 18.4 A; the answer needs 3."]
    assert sentences(at.info) == [after_connection.AWAITED.format(name=typed_readings.AWAITED)]


def test_faults_of_lines_are_told_below_the_box_and_the_text_stays():
    text = LINES.replace("18.1", "18,1").replace("16.4", "").replace("90,", "a_*b*")
    at = typing(text)
    (said,) = sentences(at.error)
    places = [line.removeprefix("- ").split(": ")[1] for line in said.split("\n")]
    assert places == ["line 2", "line 6", "line 8"]
    assert "'a_*b*' is no time" in said
    assert box(at).value == text
    assert not read(at)
    at = with_battery(at)
    assert "jc-word" not in html_of(at)
    at = box(at).set_value(LINES).run()
    assert not at.error
    assert "jc-word" in html_of(at)


def test_lines_stay_over_another_source_and_another_page():
    script = (
        "import streamlit as st\n"
        "from batterymodel.pages import after_connection, keep_entries, more\n"
        "keep_entries()\n"
        "if st.session_state.get('elsewhere'):\n"
        "    st.title('Elsewhere')\n"
        "else:\n"
        "    after_connection.page()\n"
    )
    at = AppTest.from_string(script, default_timeout=30).run()
    at = at.radio(key=key("source")).set_value(after_connection.TYPED).run()
    at = box(at).set_value(LINES).run()
    at = at.radio(key=key("source")).set_value(after_connection.SAMPLE).run()
    assert not at.text_area
    at.session_state["elsewhere"] = True
    assert at.run().run().title[0].value == "Elsewhere"
    at.session_state["elsewhere"] = False
    at = at.run().radio(key=key("source")).set_value(after_connection.TYPED).run()
    assert box(at).value == LINES
    assert read(at) == [EIGHT]


def test_an_event_beyond_the_basic_letters_is_kept_and_shown():
    """Letters and signs of four bytes in UTF-8, in a step that is large enough to be shown."""
    event = "🔋 radio on 🛩️ 𠀋"
    lines = [f"{15 * k} {20.0 - 0.2 * k + 9.0 * (k >= 6):.1f}" for k in range(14)]
    lines[6] += f" {event}"
    found = typed_lines("\n".join(lines))
    assert [e.text for e in found.readings.events] == [event]
    assert readings_from_bytes(found.csv.encode(), "typed.csv").events == found.readings.events
    result = assess(found.readings, BATTERY, load_a=8.0)
    assert event in charts.taper_words(result)
    assert event in json.dumps(charts.taper_chart(result).to_dict(), ensure_ascii=False)


@pytest.mark.long
def test_the_connection_is_kept_as_a_file_that_can_be_read_again(own):
    at = typing(LINES)
    at = at.selectbox(key=after_connection.ON_RECORD).select("B-1").run()
    at = at.date_input(key=key("known.on")).set_value(date(2026, 3, 3)).run()
    (keep,) = [b for b in at.button if b.label.startswith("Keep this connection")]
    at = keep.click().run()
    assert not at.exception
    assert not at.error
    (entry,) = own.entries(Connection)
    assert entry.record.file_name == typed_readings.NAME
    kept = readings_of(own, entry.record)
    assert kept.elapsed_s.tolist() == [0.0, 15.0, 30.0, 60.0, 90.0, 120.0, 150.0, 210.0]
    assert kept.supply_current_a.tolist() == [18.4, 18.1, 17.9, 17.5, 17.1, 16.8, 16.4, 16.2]
    assert [(e.elapsed_s, e.text) for e in kept.events] == [(120.0, "pump, on"), (210.0, "A/C off")]
