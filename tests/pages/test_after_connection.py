"""Pages run without a browser: every sample, nothing chosen, bad files, text like code."""

import tomllib
from functools import cache
from pathlib import Path

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel import pages
from batterymodel.assessment import assess
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.records import Battery, Chemistry, record_toml
from batterymodel.pages import after_connection, battery_form, readings_file, typed_readings
from batterymodel.rules.results import Outcome, Severity
from batterymodel.rules.wording import (
    OUTCOME_WORDS,
    RULE_WORDS,
    SEVERITY_WORDS,
    meaning_of,
)
from batterymodel.samples.connections import SCENARIO_DAY, load_scenario, sample_readings_path
from batterymodel.say.connection import amount, percent
from tests.conftest import assessed_sample
from tests.sparing import sparing

CHECKOUT = Path(__file__).resolve().parents[2]
SAMPLES, SUPPLY = load_scenario()
BY_KEY = {sample.key: sample for sample in SAMPLES}
GOOD_CSV = sample_readings_path("healthy-top-off").read_bytes()
BATTERY = Battery(tail="OWN-1", chemistry=Chemistry.VRLA, cells=12, rated_capacity_ah=40.0)
uploads = pytest.mark.skipif(
    not hasattr(AppTest, "file_uploader"), reason="this Streamlit cannot upload in its page tests"
)


def key(name: str) -> str:
    return f"{pages.KEPT}{name}"


def started() -> AppTest:
    script = "from batterymodel.pages import after_connection as shown, keep_entries\n"
    script += "keep_entries()\nshown.page()"
    return AppTest.from_string(script, default_timeout=30).run()


def with_sample(name: str) -> AppTest:
    return started().selectbox(key=key("sample")).select(name).run()


@cache
def shown_sample(name: str) -> AppTest:
    """A page with a sample for tests that only look at it."""
    return with_sample(name)


def with_source(source: str) -> AppTest:
    return started().radio(key=key("source")).set_value(source).run()


def uploader(at: AppTest, label: str):
    (found,) = [element for element in at.file_uploader if element.label == label]
    return found


def with_csv(data: bytes, name: str = "log.csv") -> AppTest:
    at = with_source(after_connection.FILE)
    return uploader(at, readings_file.LABEL).set_value((name, data, "text/csv")).run()


def with_toml(at: AppTest, text: str) -> AppTest:
    file = ("own.toml", text.encode(), "application/toml")
    return uploader(at, "Battery TOML file").set_value(file).run()


def html_of(at: AppTest) -> str:
    assert not at.exception
    parts = [element.proto.body for element in at.get("html")]
    return "\n".join(part for part in parts if not part.startswith("<style>"))


def sentences(elements) -> list[str]:
    """Shown text without the escapes that keep markdown from reading it."""
    assert all(element is not None for element in elements)
    return [e.value.replace("\\", "").replace("\u2060", "") for e in elements]


def test_nothing_chosen_says_what_to_do() -> None:
    at = started()
    assert not at.exception
    assert not at.error
    assert at.title[0].value == "Readings file"
    (said,) = sentences(at.info)
    assert said.count(". ") == 1
    assert "Choose an invented sample connection" in said
    assert "jc-word" not in html_of(at)


@pytest.mark.long
@pytest.mark.parametrize("name", sparing(BY_KEY))
def test_sample_gives_the_outcome_it_deserves(name: str) -> None:
    at, result, outcome = shown_sample(name), assessed_sample(name), Outcome(BY_KEY[name].deserves)
    shown = html_of(at)
    assert not at.error
    assert f"<span>{OUTCOME_WORDS[outcome]}</span>" in shown
    assert meaning_of(outcome, topped_off=result.is_topped_off) in shown
    others = {words for words in OUTCOME_WORDS.values() if words != OUTCOME_WORDS[outcome]}
    assert not [words for words in others if f"<span>{words}</span>" in shown]
    for interval in (result.state_of_charge.at_connection, result.state_of_charge.now):
        value, spread = percent(interval)
        assert f">{value}</span>" in shown
        assert spread in shown
    assert amount(result.charge_to_return_ah, "Ah")[0] in shown
    with_time = outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING)
    assert ("Time until topped off" in shown) is with_time
    for finding in result.findings:
        assert pages.shown(finding.text) in shown
    for caution in result.cautions:
        assert pages.shown(caution) in shown


def test_sample_fills_in_what_was_declared() -> None:
    at = with_sample("coarse-meter")
    values = {name: at.number_input(key=key(f"known.{name}")).value for name in
              ("rest_voltage_v", "load_a", "ambient_c", "load_sd_a")}  # fmt: skip
    assert values == {"rest_voltage_v": 25.5, "load_a": 8.0, "ambient_c": 15.0, "load_sd_a": None}
    assert at.radio(key=key("supply_from")).value == after_connection.SAMPLE_SUPPLY
    assert at.date_input(key=key("known.on")).value == SCENARIO_DAY
    at = at.selectbox(key=key("sample")).select("no-card-no-load").run()
    assert at.number_input(key=key("known.load_a")).value is None


def test_sample_values_can_be_changed() -> None:
    at = with_sample("healthy-top-off")
    at = at.number_input(key=key("battery.limits.min_top_off_soc")).set_value(99.0).run()
    assert f"<span>{OUTCOME_WORDS[Outcome.SERVICE]}</span>" in html_of(at)


def test_samples_battery_is_not_taken_for_own_readings() -> None:
    at = with_sample("healthy-top-off")
    at = at.radio(key=key("source")).set_value(after_connection.TYPED).run()
    assert at.number_input(key=key("battery..rated_capacity_ah")).value is None
    assert at.text_input(key=key("battery..tail")).value == ""
    assert at.radio(key=key("supply_from")).value == after_connection.NO_SUPPLY
    assert "jc-word" not in html_of(at)
    at = at.radio(key=key("source")).set_value(after_connection.SAMPLE).run()
    assert at.text_input(key=key("battery..tail")).value == "DEMO-1"


@uploads
def test_own_readings_ask_for_the_battery_then_answer() -> None:
    at = with_csv(GOOD_CSV)
    assert sentences(at.info) == ["Still needed: Chemistry, Cells, Rated capacity (Ah)."]
    at = at.selectbox(key=key("battery..chemistry")).select("vrla").run()
    at = at.number_input(key=key("battery..cells")).set_value(12).run()
    at = at.number_input(key=key("battery..rated_capacity_ah")).set_value(40.0).run()
    shown = html_of(at)
    assert "jc-word" in shown
    assert battery_form.NO_LABEL in shown
    assert not at.info


@pytest.mark.long
@uploads
def test_battery_from_file_fills_the_form_and_gives_the_librarys_answer() -> None:
    at = with_toml(with_csv(GOOD_CSV), record_toml(BATTERY))
    assert at.text_input(key=key("battery..tail")).value == "OWN-1"
    expected = assess(sample_readings_path("healthy-top-off"), BATTERY)
    shown = html_of(at)
    assert f"<span>{OUTCOME_WORDS[expected.outcome]}</span>" in shown
    assert percent(expected.state_of_charge.at_connection)[1] in shown
    at = at.number_input(key=key("battery..rated_capacity_ah")).set_value(44.0).run()
    assert at.number_input(key=key("battery..rated_capacity_ah")).value == 44.0
    assert "44 Ah" in html_of(at)


@uploads
@pytest.mark.parametrize(
    ("data", "part"),
    [
        (b"", "is empty"),
        (b"\x89PNG\r\n\x1a\n\x00", "not a text file"),
        (b"elapsed_s,supply_current_a\n0,12.5\n30,twelve\n60,11\n", "row 3"),
        (b"elapsed_s,volts_of_something\n0,12.5\n", "supply_current_a"),
    ],
    ids=["empty", "picture", "word-for-number", "column-missing"],
)
def test_bad_readings_file_gives_one_sentence(data: bytes, part: str) -> None:
    at = with_csv(data, "my_*log*.csv")
    assert not at.exception
    (said,) = sentences(at.error)
    assert said.startswith("my_*log*.csv: ")
    assert at.error[0].value.startswith("my\\_\\*log\\*\\.csv")
    assert part in said
    assert "jc-word" not in html_of(at)


@pytest.mark.long
@uploads
def test_entries_stay_when_a_file_is_bad() -> None:
    at = with_toml(with_csv(GOOD_CSV), record_toml(BATTERY))
    at = at.number_input(key=key("known.load_a")).set_value(8.0).run()
    file = ("bad.csv", b"nothing", "text/csv")
    at = uploader(at, readings_file.LABEL).set_value(file).run()
    assert len(at.error) == 1
    assert at.number_input(key=key("known.load_a")).value == 8.0
    assert at.text_input(key=key("battery..tail")).value == "OWN-1"
    file = ("good.csv", GOOD_CSV, "text/csv")
    at = uploader(at, readings_file.LABEL).set_value(file).run()
    assert not at.error
    assert "jc-word" in html_of(at)


@pytest.mark.long
@uploads
@pytest.mark.parametrize(
    ("text", "part"),
    [
        (record_toml(BATTERY) + "colour = 1\n", "own.toml: unknown key 'colour'; known keys are"),
        (record_toml(BATTERY) + "[limits]\nvolts = 1\n", "own.toml: unknown key 'limits.volts'"),
        ("tail = \n", "own.toml: not valid TOML"),
        ('tail = "X"\n', "is missing"),
    ],
    ids=["unknown-key", "unknown-key-in-a-table", "not-toml", "key-missing"],
)
def test_bad_battery_file_gives_one_sentence_and_keeps_the_form(text: str, part: str) -> None:
    at = with_toml(with_sample("healthy-top-off"), text)
    assert not at.exception
    (said,) = sentences(at.error)
    assert part in said
    assert "jc-word" not in html_of(at)
    assert at.text_input(key=key("battery..tail")).value == "DEMO-1"


@pytest.mark.long
@pytest.mark.parametrize(
    ("entry", "value", "part"),
    [
        (
            "known.rest_voltage_v",
            250.0,
            "Rest voltage before connection: 250 V cannot be that of 12",
        ),
        ("known.load_a", -3.0, "Bus load without the battery: 0 to 1000 A would be right"),
        ("battery..cells", 0, "Cells: at least 1"),
        ("battery.limits.charge_temp_min_c", 90.0, "must be below 'Highest charging temperature'"),
    ],
)
def test_entry_that_cannot_be_right_gives_one_sentence_and_stays(
    entry: str, value: float, part: str
) -> None:
    at = with_sample("healthy-top-off").number_input(key=key(entry)).set_value(value).run()
    assert not at.exception
    (said,) = sentences(at.error)
    assert part in said
    assert at.number_input(key=key(entry)).value == value
    assert at.number_input(key=key("battery..rated_capacity_ah")).value == 40.0


def test_all_that_is_wrong_with_the_form_is_said_at_once() -> None:
    at = with_sample("healthy-top-off")
    at.session_state[key("from_sample")] = False
    at.radio(key=key("source")).set_value(after_connection.TYPED)
    at.session_state[typed_readings.LINES] = "0 20\n30 19,5\n60 5000"
    at.number_input(key=key("battery..cells")).set_value(0)
    at = at.number_input(key=key("battery.limits.charge_voltage_max_v")).set_value(900.0).run()
    lines = [line for said in sentences(at.error) for line in said.split("\n")]
    assert [line.startswith("- ") for line in lines] == [True] * 4
    for line, part in zip(lines, ("line 2", "line 3", "Cells: at least 1", "900 V"), strict=True):
        assert part in line


def test_entered_supply_is_asked_for_its_current_and_then_used() -> None:
    at = with_sample("healthy-top-off")
    at = at.radio(key=key("supply_from")).set_value(after_connection.OWN_SUPPLY).run()
    assert sentences(at.info) == ["Still needed: Rated current of the supply (A)."]
    at = at.number_input(key=key("supply.rated_current_a")).set_value(45.0).run()
    assert "45 A at 28 V" in html_of(at)


def test_label_that_looks_like_code_is_shown_as_it_stands() -> None:
    label = '<b>*x*</b> <img src="x"> :smile: $a$'
    at = with_sample("healthy-top-off").text_input(key=key("battery..tail")).set_value(label).run()
    shown = html_of(at)
    assert "&lt;b&gt;*x*&lt;/b&gt; &lt;img src=&quot;x&quot;&gt; :smile: $a$" in shown
    assert "<img" not in shown


@uploads
def test_event_that_looks_like_code_is_escaped() -> None:
    lines = GOOD_CSV.decode().splitlines()
    header = lines[0] + ",event"
    values = [line.split(",") for line in lines[1:]]
    place = lines[0].split(",").index("supply_current_a")
    for row in values[20:]:
        row[place] = f"{float(row[place]) + 4.0:.1f}"
    rows = [",".join(row) + ("," if i != 20 else ",<i>pump</i> on") for i, row in enumerate(values)]
    at = with_toml(with_csv("\n".join([header, *rows]).encode()), record_toml(BATTERY))
    shown = html_of(at)
    assert "&lt;i&gt;pump&lt;/i&gt; on" in shown
    assert "<i>" not in shown


def test_blank_limits_show_the_generic_value() -> None:
    at = shown_sample("no-card-no-load")
    field = at.number_input(key=key("battery.limits.charge_voltage_max_v"))
    assert (field.value, field.placeholder) == (None, "28.8 generic")
    assert at.number_input(key=key("battery.limits.min_top_off_soc")).placeholder.startswith("75 ")


def test_template_reads_back_as_readings() -> None:
    readings = readings_from_bytes(readings_file.TEMPLATE_CSV.encode(), "template")
    assert len(readings) == 5
    assert [event.text for event in readings.events] == ["avionics on"]
    assert not readings.notes


def test_learned_history_is_offered_in_the_battery() -> None:
    at, learned = (
        shown_sample("completed-taper"),
        assessed_sample("completed-taper").learned_history,
    )
    assert learned is not None
    (code,) = at.code
    assert tomllib.loads(code.value) == {"history": learned.model_dump()}
    labels = [button.label for button in at.get("download_button")]
    assert "Battery with this history (TOML)" in labels
    assert not shown_sample("healthy-top-off").code


def test_results_can_be_saved() -> None:
    labels = [button.label for button in shown_sample("healthy-top-off").get("download_button")]
    assert {"Report as text", "Result as JSON", "Battery as TOML"} <= set(labels)


def test_graver_findings_come_before_fine_ones_which_are_folded_away() -> None:
    at = shown_sample("cold-battery")
    (fold,) = [e for e in at.expander if "fine" in e.label]
    folded = fold.get("html")[0].proto.body
    count = [f.severity for f in assessed_sample("cold-battery").findings].count(Severity.OK)
    assert fold.label == f"{count} findings are fine"
    assert folded.count("<li>") == count
    assert SEVERITY_WORDS["service"] not in folded
    assert html_of(at).index(RULE_WORDS["battery_temperature"]) < html_of(at).index(folded)


def test_entries_are_kept_while_another_page_is_shown() -> None:
    def script() -> None:
        import streamlit as st

        from batterymodel.pages import keep_entries

        keep_entries()
        if st.session_state.get("here", True):
            st.number_input("kept", value=None, key="kept.entry")
            st.number_input("other", value=None, key="other.entry")

    at = AppTest.from_function(script).run()
    for name in ("kept.entry", "other.entry"):
        at = at.number_input(key=name).set_value(5.0).run()
    for here in (False, True):
        at.session_state["here"] = here
        at.run()
    assert at.number_input(key="kept.entry").value == 5.0
    assert at.number_input(key="other.entry").value is None


def test_a_fault_never_shows_its_insides() -> None:
    config = tomllib.loads((CHECKOUT / ".streamlit" / "config.toml").read_text(encoding="utf-8"))
    assert config["client"]["showErrorDetails"] == "none"
    assert config["browser"]["gatherUsageStats"] is False


@uploads
def test_the_form_makes_way_for_the_answer_and_comes_back_without_one() -> None:
    at = with_csv(GOOD_CSV)
    assert form_of(at).proto.expanded
    at = with_toml(at, record_toml(BATTERY))
    assert "jc-word" in html_of(at)
    assert not form_of(at).proto.expanded
    at = at.number_input(key=key("battery..cells")).set_value(None).run()
    assert "jc-word" not in html_of(at)
    assert form_of(at).proto.expanded


def form_of(at: AppTest):
    (form,) = [e for e in at.expander if e.label == "Battery, supply and measured values"]
    return form
