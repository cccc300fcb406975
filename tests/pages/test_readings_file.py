"""Files of other loggers on the page: asked where not sure, faults at once, nothing lost."""

import io

import openpyxl
import pytest
from streamlit.testing.v1 import AppTest

from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.foreign import guess_columns
from batterymodel.inputs.records import record_toml
from batterymodel.pages import after_connection, file_columns, readings_file
from batterymodel.samples.connections import load_scenario, sample_readings_path
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.settings import remembered_columns
from tests.commands.test_foreign_logs import KEY, foreign_text
from tests.pages.test_after_connection import html_of, key, sentences, started, uploader

pytestmark = pytest.mark.skipif(
    not hasattr(AppTest, "file_uploader"), reason="this Streamlit cannot upload in its page tests"
)
BATTERY = {sample.key: sample.battery for sample in load_scenario()[0]}[KEY]
UNSURE = foreign_text("t [s];Amps;Volts;Temp;Note").encode()
SURE = foreign_text().encode()
OWN = sample_readings_path(KEY).read_bytes()
T, AMPS, TEMP = "Column 1", "Column 2", "Column 4"


@pytest.fixture(autouse=True)
def own_record(tmp_path, monkeypatch):
    """The record of one test alone, so that no test remembers for another."""
    url = str(tmp_path / "record.sqlite")
    monkeypatch.setenv(URL_VARIABLE, url)
    return url


def given(data: bytes, name: str = "log.csv", at: AppTest | None = None) -> AppTest:
    """The page with a battery in its form and a file uploaded."""
    if at is None:
        at = started().radio(key=key("source")).set_value(after_connection.FILE).run()
        toml = ("own.toml", record_toml(BATTERY).encode(), "application/toml")
        at = uploader(at, "Battery TOML file").set_value(toml).run()
    return uploader(at, readings_file.LABEL).set_value((name, data, "text/csv")).run()


def select(at: AppTest, label: str):
    [found] = [s for s in at.selectbox if s.label == label]
    return found


def press(at: AppTest, label: str) -> AppTest:
    [found] = [button for button in at.button if button.label == label]
    return found.click().run()


def boxes_of(at: AppTest) -> list[str]:
    """The outcome with its reasons, as it is shown."""
    bodies = [e.proto.body for e in at.get("html") if not e.proto.body.startswith("<style>")]
    return [body for body in bodies if "jc-word" in body]


def is_answered(at: AppTest) -> bool:
    return "jc-word" in html_of(at)


def test_what_is_sure_is_told_and_not_asked():
    at = given(SURE)
    assert is_answered(at)
    assert not at.error
    assert "Taken by the headers: &#x27;t [s]&#x27; as time since the connection [s]" in html_of(at)
    assert file_columns.CONFIRM not in [button.label for button in at.button]


@pytest.mark.long
def test_the_foreign_file_is_answered_as_the_own_one():
    assert boxes_of(given(SURE)) == boxes_of(given(OWN))


def test_a_workbook_is_taken():
    book = openpyxl.Workbook()
    book.active.append(["t [s]", "Amps [A]"])
    for number, amps in enumerate((18.3, 17.9, 17.5, 17.2, 16.9, 16.6, 16.4, 16.2)):
        book.active.append([30 * number, amps])
    content = io.BytesIO()
    book.save(content)
    at = given(content.getvalue(), "log.xlsx")
    assert not at.error
    assert is_answered(at)


def test_only_what_is_not_sure_is_asked_and_nothing_is_answered_before():
    at = given(UNSURE)
    assert not is_answered(at)
    assert select(at, TEMP).options == [
        "battery temperature in °C",
        "battery temperature in °F",
        "battery temperature in kelvin",
        "not used",
    ]
    assert "&#x27;Temp&#x27;: no unit: degC or degF" in html_of(at)
    [others] = [e for e in at.expander if e.label == "All other columns: 4"]
    assert not others.proto.expanded
    assert "The first 5 of" in html_of(at)
    assert "battery temperature (°C)" in html_of(at)
    select(at, TEMP).select("battery temperature in °F").run()
    at = press(at, file_columns.CONFIRM)
    assert is_answered(at)
    assert "As confirmed before for this header" in html_of(at)


def confirmed_unit(url: str) -> str | None:
    fingerprint = guess_columns(UNSURE, "log.csv").fingerprint
    column_map = remembered_columns(open_store(url), fingerprint)
    return column_map and {c.quantity: c.unit for c in column_map.columns}[Quantity.BATTERY_TEMP]


@pytest.mark.long
def test_what_is_confirmed_is_remembered_for_the_next_session(own_record):
    at = given(UNSURE)
    assert confirmed_unit(own_record) is None
    select(at, TEMP).select("battery temperature in °F").run()
    press(at, file_columns.CONFIRM)
    assert confirmed_unit(own_record) == "degF"
    later = given(UNSURE.replace(b"Temp", b"TEMP").replace(b"\n5;", b"\n6;"), "later.csv")
    assert is_answered(later)


@pytest.mark.long
def test_a_wrong_unit_can_be_taken_back(own_record):
    at = given(UNSURE)
    select(at, TEMP).select("battery temperature in kelvin").run()
    at = press(at, file_columns.CONFIRM)
    assert confirmed_unit(own_record) == "K"
    assert "row 2, column 'Temp'" in sentences(at.error)[0]
    assert not is_answered(at)
    at = press(at, file_columns.OTHERWISE)
    assert select(at, TEMP).value == "battery temperature in kelvin"
    select(at, TEMP).select("battery temperature in °F").run()
    at = press(at, file_columns.CONFIRM)
    assert not at.error
    assert is_answered(at)
    assert confirmed_unit(own_record) == "degF"


@pytest.mark.long
def test_a_sure_column_can_be_taken_otherwise():
    at = press(given(SURE), file_columns.OTHERWISE)
    select(at, AMPS).select("not used").run()
    assert sentences(at.error) == ["No column is taken as the supply current; choose one."]
    select(at, AMPS).select("supply voltage in V").run()
    assert "both taken as the supply voltage" in sentences(at.error)[0]
    select(at, AMPS).select("supply current in A").run()
    assert is_answered(press(at, file_columns.CONFIRM))


def test_unknown_headers_open_all_columns():
    at = given(foreign_text("X1;X2;X3;X4;X5").encode())
    [others] = [e for e in at.expander if e.label == "All other columns: 5"]
    assert others.proto.expanded
    select(at, T).select("time since the connection in seconds").run()
    select(at, AMPS).select("supply current in A").run()
    assert is_answered(press(at, file_columns.CONFIRM))


@pytest.mark.long
def test_a_decimal_mark_in_doubt_is_asked():
    at = given(b"t [s];I (mA)\n0;250,500\n5;240,200\n10;230,100\n")
    [mark] = [r for r in at.radio if r.label == "Decimals stand behind"]
    assert mark.options == list(file_columns.MARKS)
    mark.set_value("a comma: 12,5").run()
    assert file_columns.CONFIRM in [button.label for button in at.button]


def spoilt(data: bytes, *rows: int) -> bytes:
    lines = data.decode().splitlines()
    for row in rows:
        lines[row - 1] = lines[row - 1].replace(";", ";x", 1)
    return "\n".join(lines).encode()


def test_all_faults_are_told_at_once_one_sentence_each():
    at = given(spoilt(SURE, 3, 5, 9))
    assert len(at.error) == 1
    lines = sentences(at.error)[0].split("\n")
    assert len(lines) == 3
    assert sentences(at.info) == ["The answer appears here once log.csv gives readings."]
    for line, row in zip(lines, (3, 5, 9), strict=True):
        assert line.startswith(f"- log.csv: row {row}, column 'Amps': 'x")
    assert not is_answered(at)
    assert "jc-word" not in html_of(at)


@pytest.mark.long
def test_a_bad_file_takes_nothing_away():
    at = given(SURE, "good.csv")
    shown = boxes_of(at)
    assert shown
    at = given(spoilt(SURE, 4), "bad.csv", at)
    assert sentences(at.error)[0].startswith("bad.csv: row 4, column 'Amps'")
    assert sentences(at.warning) == [
        "Below is good.csv, given before: bad.csv gives no readings yet."
    ]
    assert boxes_of(at) == shown
    assert at.text_input(key=key("battery..tail")).value == BATTERY.tail
    at = given(SURE, "good.csv", at)
    assert not at.error
    assert not at.warning


def test_the_file_stays_when_another_page_was_shown():
    script = (
        "import streamlit as st\n"
        "from batterymodel.pages import after_connection, keep_entries, more\n"
        "keep_entries()\n"
        "more.page() if st.session_state.get('away') else after_connection.page()"
    )
    at = AppTest.from_string(script, default_timeout=60).run()
    at = given(SURE, "good.csv", at.radio(key=key("source")).set_value("File").run())
    at.session_state["away"] = True
    at.run()
    at.session_state["away"] = False
    at.run()
    assert any("Still needed" in said for said in sentences(at.info))
    labels = [button.label.replace("\\", "") for button in at.button]
    assert f"{readings_file.PUT_AWAY}: good.csv" in labels
    [put_away] = [b for b in at.button if b.label.startswith(readings_file.PUT_AWAY)]
    at = put_away.click().run()
    assert any("Choose an invented" in said for said in sentences(at.info))


def test_the_file_is_put_away_when_it_is_taken_out():
    at = given(SURE)
    at = uploader(at, readings_file.LABEL).set_value(None).run()
    assert not is_answered(at)
    assert not at.warning


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "is empty"),
        (b"\x00\x01\x02\x03" * 200, "is not a text file"),
        (b"only words\nand more\n", "holds no rows of values"),
        (b"PK\x03\x04" + b"x" * 100, "log.csv"),
    ],
)
def test_what_is_no_table_is_one_sentence(data, words):
    at = given(data)
    assert not at.exception
    assert words in sentences(at.error)[0]
    assert not is_answered(at)
