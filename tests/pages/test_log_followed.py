"""A growing log on the page: the words of ``follow``, and only for a browser on this computer."""

import re

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.commands import follow
from batterymodel.inputs.records import record_toml
from batterymodel.pages import after_connection, file_columns, log_followed
from batterymodel.samples.connections import load_scenario
from batterymodel.say import followed
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.intake import add_battery
from batterymodel.store.records import Aircraft, Connection, Move
from batterymodel.store.told_readings import readings_of
from tests.commands.test_follow import COOL, KEY, LINES
from tests.commands.test_foreign_logs import foreign_text
from tests.pages.test_after_connection import html_of, key, sentences, started, uploader

BATTERY = {sample.key: sample.battery for sample in load_scenario()[0]}[KEY]
HERE = (None, {"Host": "localhost:8501"})


@pytest.fixture
def log(tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "record.sqlite"))
    monkeypatch.setattr(log_followed, "_asked_from", lambda: HERE)
    return tmp_path / "log.csv"


def following(path) -> AppTest:
    at = started().radio(key=key("source")).set_value(after_connection.GROWING).run()
    toml = ("own.toml", record_toml(BATTERY).encode(), "application/toml")
    at = uploader(at, "Battery TOML file").set_value(toml).run()
    return at.text_input(key=log_followed.PATH).set_value(str(path)).run()


def is_answered(at: AppTest) -> bool:
    return "jc-word" in html_of(at)


def answers(at: AppTest) -> int:
    """Lines with an answer, as the command prints them."""
    return len(re.findall(r"<li>\d+:\d\d:\d\d  [\d.]+ A  ", html_of(at)))


@pytest.mark.parametrize(
    ("asked_from", "is_offered"),
    [
        (HERE, True),
        ((None, {"Host": "127.0.0.1:8501"}), True),
        ((None, {"Host": "[::1]:8501"}), True),
        (("192.0.2.7", {"Host": "localhost:8501"}), False),
        ((None, {"Host": "tool.example"}), False),
        ((None, {}), False),
        ((None, {"Host": "localhost", "X-Forwarded-For": "127.0.0.1"}), False),
        ((None, {"Host": "localhost", "Forwarded": "for=192.0.2.7"}), False),
    ],
)
def test_a_path_is_asked_for_on_this_computer_only(monkeypatch, asked_from, is_offered):
    monkeypatch.setattr(log_followed, "_asked_from", lambda: asked_from)
    assert log_followed.is_offered() is is_offered
    options = started().radio(key=key("source")).options
    assert (after_connection.GROWING in options) is is_offered


def test_page_and_command_look_equally_often():
    assert follow.EVERY_S == followed.EVERY_S


@pytest.mark.long
def test_each_new_line_gives_an_answer_in_the_words_of_the_command(log):
    log.write_text("".join(LINES[:40]))
    at = following(log)
    assert is_answered(at)
    assert " next reading in " in html_of(at) or " no further reading" in html_of(at)
    first = html_of(at)
    with open(log, "a") as file:
        file.writelines(LINES[40:60])
    at = at.run()
    assert html_of(at) != first
    assert answers(at) == 2
    assert answers(at.run()) == 2


@pytest.mark.long
def test_a_log_that_goes_away_and_is_cut_is_said_and_the_answer_stays(log):
    log.write_text("".join(LINES[:40]))
    at = following(log)
    log.rename(log.with_suffix(".away"))
    at = at.run()
    assert "no such file; give the path of a CSV file; waiting for it" in html_of(at)
    assert is_answered(at)
    log.write_text("".join(LINES[:30]))
    assert "was cut or replaced; it is read anew from its start" in html_of(at.run())


@pytest.mark.long
def test_an_answer_of_what_was_there_before_is_marked_as_old(log):
    log.write_text("".join(LINES[:40]))
    at = following(log)
    assert "Old: from the readings up to" not in html_of(at)
    up_to = re.findall(r"<li>(\d+:\d\d:\d\d)  ", html_of(at))[0]
    with open(log, "a") as file:
        file.write(LINES[39].replace(",", ",much", 1))
    page = html_of(at.run())
    old = f"Old: from the readings up to {up_to}; the file cannot be used now: {log}"
    assert page.index(old) < page.index("jc-word")
    log.write_text("".join(LINES[:41]))
    assert "Old: from" not in html_of(at.run())
    log.rename(log.with_suffix(".away"))
    page = html_of(at.run())
    assert re.search(r"Old: from the readings up to [\d:]+; the file cannot be used now: ", page)
    assert "no such file" in page[page.index("Old: from") : page.index("jc-word")]
    log.with_suffix(".away").rename(log)
    at = at.run()
    assert "Old: from" not in html_of(at)
    assert is_answered(at)


def test_too_little_is_no_answer_yet(log):
    log.write_text(LINES[0])
    at = following(log)
    assert not at.exception
    assert "no answer yet: " in html_of(at)
    assert not is_answered(at)
    log.write_text("".join(COOL[:40]))
    assert is_answered(at.run())


def test_a_log_that_is_not_there_is_one_sentence(log):
    at = following(log)
    [said] = sentences(at.error)
    assert said.startswith(f"{log}: no such file; give the path of")
    log.write_text("".join(LINES[:40]))
    assert is_answered(at.run())


@pytest.mark.long
def test_another_battery_answers_anew_without_a_new_line(log):
    log.write_text("".join(LINES[:40]))
    at = following(log)
    assert "charging must stop" in html_of(at)
    at = at.number_input(key=key("battery.limits.charge_temp_max_c")).set_value(60.0).run()
    assert "charging must stop" not in html_of(at)


@pytest.mark.long
def test_columns_in_doubt_are_asked_and_then_followed(log):
    lines = foreign_text("t [s];Amps;Volts;Temp;Note").splitlines(keepends=True)
    log.write_text("".join(lines[:30]), encoding="utf-8")
    at = following(log)
    assert not is_answered(at)
    [asked] = [s for s in at.selectbox if s.label == "Column 4"]
    asked.select("battery temperature in °F").run()
    [confirm] = [b for b in at.button if b.label == file_columns.CONFIRM]
    at = confirm.click().run()
    assert is_answered(at)
    assert "columns taken: &#x27;t [s]&#x27;" in html_of(at)
    with open(log, "a", encoding="utf-8") as file:
        file.writelines(lines[30:40])
    before = answers(at)
    assert answers(at.run()) == before + 1


@pytest.mark.long
def test_what_was_followed_goes_into_the_record(log):
    store = open_store()
    plate = add_battery(store, "B-1", BATTERY)
    tail = store.add(Aircraft(tail="DEMO-1"))
    move = {"battery_id": plate.id, "aircraft_id": tail.id, "on": "2026-01-01", "reason": "new"}
    store.add(Move(**move))
    log.write_text("".join(LINES[:40]))
    at = following(log)
    at = at.selectbox(key=after_connection.ON_RECORD).select("B-1").run()
    [keep] = [b for b in at.button if b.label.startswith("Keep this connection")]
    keep.click().run()
    [entry] = store.entries(Connection)
    assert entry.record.file_name == "log.csv"
    assert store.file(entry.record.readings_sha256) == "".join(LINES[:40]).encode()
    assert len(readings_of(store, entry.record)) == 39
