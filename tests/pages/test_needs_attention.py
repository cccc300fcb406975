"""The first page and the places of the app, without a browser."""

from __future__ import annotations

import shutil
import time
from datetime import UTC, date, datetime, timedelta
from html import unescape
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.pages import KEPT, connections, kept, literal, needs_attention, places
from batterymodel.say.attention import attention_row, worst_first
from batterymodel.say.record_view import fleet_of
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE, demo_url
from batterymodel.store.in_progress import begin, connections_in_progress, leave, note
from batterymodel.store.records import BenchCheck

LONGEST_RERUN_S = 0.3
"""Longest the page may take once its batteries were read [s] (own choice)."""

CHECKOUT = Path(__file__).resolve().parents[2]


@pytest.fixture
def own(tmp_path, monkeypatch) -> str:
    """Where the own record will be."""
    path = str(tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, path)
    return path


@pytest.fixture
def filled(own, demo_sqlite) -> str:
    """An own record with batteries in it."""
    return str(shutil.copy(demo_sqlite, own))


def started(**query: str) -> AppTest:
    at = AppTest.from_file(str(CHECKOUT / "app.py"), default_timeout=60)
    for name, value in query.items():
        at.query_params[name] = value
    at.run()
    assert not at.exception
    return at


def press(at: AppTest, label: str) -> AppTest:
    (found,) = [b for b in at.button if b.label.startswith(label)]
    found.click().run()
    assert not at.exception
    return at


def links(at: AppTest) -> dict[str, str]:
    """Label of every link with its query."""
    return {e.proto.label: e.proto.query_string for e in at.get("page_link")}


def html_of(at: AppTest) -> str:
    return unescape("\n".join(element.proto.body for element in at.get("html")))


def serials(at: AppTest) -> list[str]:
    """Serials of the rows, from top to bottom."""
    queries = [e.proto.query_string for e in at.get("page_link")]
    return [q.split("serial=")[1] for q in queries if "serial=" in q]


def test_an_empty_record_stays_empty_and_offers_what_to_do(own):
    at = started()
    assert at.title[0].value == "Batteries"
    assert at.info[0].value == literal(kept.NO_BATTERY)
    assert [b.label for b in at.button] == [needs_attention.JUST_CONNECTED, kept.LOOK_AT_DEMO]
    assert set(kept.WAYS.values()) <= set(links(at))
    assert open_store(own).is_empty()
    assert not Path(demo_url()).exists()


def test_demo_data_is_one_press_away_and_the_own_record_another(own):
    at = press(started(), kept.LOOK_AT_DEMO)
    assert kept.DEMO_WORDS in html_of(at)
    assert len(serials(at)) == 10
    assert at.query_params[places.RECORD] == places.DEMO_RECORD
    assert open_store(own).is_empty()
    assert all("record=demo" in query for query in links(at).values())
    press(at, kept.BACK_TO_OWN)
    assert kept.DEMO_WORDS not in html_of(at)
    assert at.info[0].value == literal(kept.NO_BATTERY)
    assert places.RECORD not in at.query_params


def test_no_entry_goes_from_one_record_to_the_other(own):
    at = started()
    at.session_state[f"{KEPT}battery..tail"] = "OWN-1"
    press(at, kept.LOOK_AT_DEMO)
    assert f"{KEPT}battery..tail" not in at.session_state


def test_an_address_of_the_demo_record_opens_it(own):
    at = started(record="demo")
    assert kept.DEMO_WORDS in html_of(at)
    assert open_store(own).is_empty()


def test_rows_stand_worst_first_with_what_the_record_says(filled):
    at = started()
    store = open_store(filled)
    rows = worst_first(attention_row(store, serial, date.today()) for serial in fleet_of(store))
    assert serials(at) == [row.serial for row in rows]
    said = html_of(at)
    for row in rows:
        for remark in row.remarks:
            assert f"<b>{remark.word}</b>" in said
            assert remark.more in said
        if row.trend:
            assert f'alt="{row.trend.words}"' in said
    assert kept.DEMO_WORDS not in said


def test_a_write_is_seen_by_the_next_run(filled):
    at = started()
    store = open_store(filled)
    assert "Capacity 51 %" not in html_of(at)
    plate = store.plate("SF-109")
    store.add(BenchCheck(battery_id=plate.id, on=date.today(), capacity_ah=20.4))
    at.run()
    assert "Capacity 51 %" in html_of(at)
    assert serials(at).index("SF-109") < serials(at).index("SF-101")


def test_a_rerun_with_eight_batteries_reads_no_record_anew(filled, monkeypatch):
    store = open_store(filled)
    store.delete([store.plate(serial).id for serial in ("SF-109", "SF-110")], "eight are enough")
    at = started()
    read: list[str] = []
    monkeypatch.setattr(kept, "attention_row", lambda _store, serial, _today: read.append(serial))
    took_s = []
    for _ in range(5):
        begun = time.perf_counter()
        at.run()
        took_s.append(time.perf_counter() - begun)
    assert len(serials(at)) == 8
    assert not read
    assert sorted(took_s)[2] < LONGEST_RERUN_S


def test_a_battery_is_found_by_serial_or_aircraft(filled):
    at = started()
    search = at.text_input(key=f"{KEPT}attention.wanted.False")
    search.set_value("demo-3").run()
    assert serials(at) == ["SF-103"]
    search.set_value("sf-106").run()
    assert serials(at) == ["SF-106"]
    search.set_value("*none*").run()
    assert serials(at) == []
    assert literal("*none*") in at.info[0].value
    assert not at.exception


def test_just_connected_begins_at_once_and_asks_for_the_battery_after(filled):
    before = datetime.now(UTC)
    at = press(started(), needs_attention.JUST_CONNECTED)
    store = open_store(filled)
    [connection] = connections_in_progress(store)
    assert before <= connection.started_at <= datetime.now(UTC)
    assert at.query_params[connections.CONNECTION] == connection.id
    assert at.selectbox[0].label == "Battery"


def test_a_connection_in_progress_is_offered_on_top_and_one_that_was_left_is_not(filled):
    store = open_store(filled)
    begin(store, "going-on-1", datetime.now(UTC), serial="SF-102")
    begin(store, "left-one-1", datetime.now(UTC), serial="SF-103")
    leave(store, "left-one-1", "left-key-1", "mistake")
    at = started()
    assert at.button[0].label.startswith(f"Go on with {literal('SF-102')}")
    assert not [b for b in at.button if "103" in b.label]
    press(at, "Go on")
    assert at.query_params[connections.CONNECTION] == "going-on-1"
    assert not at.title
    assert "SF-102" in html_of(at) or "DEMO-2" in html_of(at)


@pytest.mark.long
def test_a_battery_to_be_disconnected_stands_above_all_else_with_the_cause(filled):
    store, now = open_store(filled), datetime.now(UTC)
    begin(store, "harmless-1", now, serial="SF-103")
    begin(store, "too-hot-001", now - timedelta(minutes=5), serial="SF-102", battery_temp_c=70.0)
    for k, amperes in enumerate((20.0, 19.8, 19.6)):
        moment = now - timedelta(minutes=5) + timedelta(seconds=10.0 * k)
        note(store, "too-hot-001", f"press-{k:04}", "supply_current_a", amperes, moment)
    at = started()
    assert at.button[0].key == "on.too-hot-001"
    said = html_of(at)
    assert "<b>Disconnect now</b> Battery or air around it, as told, at 70 °C" in said
    assert said.index("Disconnect now") < said.index("No answer yet")


def test_the_address_says_which_record_is_shown_and_entries_stay_with_theirs(filled):
    at = started(record="demo")
    at.session_state[f"{KEPT}battery..tail"] = "DEMO-9"
    del at.query_params[places.RECORD]
    at.run()
    assert kept.DEMO_WORDS not in html_of(at)
    assert f"{KEPT}battery..tail" not in at.session_state
    at.query_params[places.RECORD] = "demo"
    at.run()
    assert kept.DEMO_WORDS in html_of(at)


def test_a_fault_of_the_database_is_one_sentence(tmp_path, monkeypatch):
    spoilt = tmp_path / "spoilt.sqlite"
    spoilt.write_bytes(b"no database at all, only text " * 100)
    monkeypatch.setenv(URL_VARIABLE, str(spoilt))
    assert "not a database" in started().error[0].value


def test_the_bar_has_four_places_and_more_lists_the_rest(own):
    at = started()
    bar = [e.proto.label.strip("*") for e in at.get("page_link")][:4]
    assert bar == ["Batteries", "At the aircraft", "Readings file", "More"]
    text = (CHECKOUT / "app.py").read_text(encoding="utf-8")
    for path in (*list(places.BAR)[1:], *places.BELOW_MORE):
        assert f'url_path="{path}"' in text


def test_more_leads_to_every_other_page(own):
    script = (
        "import streamlit as st\n"
        "from batterymodel.pages import more, places, plain_words\n"
        "paths = [places.MORE, *places.BELOW_MORE]\n"
        "shown = [st.Page(plain_words.page, title=p, url_path=p) for p in paths[1:]]\n"
        "shown.insert(0, st.Page(more.page, title='More', default=True))\n"
        "running = st.navigation(shown, position='hidden')\n"
        "places.register(shown)\n"
        "running.run()\n"
    )
    at = AppTest.from_string(script, default_timeout=30).run()
    assert not at.exception
    assert at.title[0].value == "More"
    titles = [label.split("**")[1] for label in links(at)]
    assert titles == [title for title, _ in places.BELOW_MORE.values()]
