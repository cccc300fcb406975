"""The pages of the record, without a browser: full, empty, faulty, and every way to write."""

from __future__ import annotations

import json
import shutil
from datetime import date
from pathlib import Path

import pandas as pd
import pytest
from streamlit.testing.v1 import AppTest

from batterymodel import Supply, pages
from batterymodel.cli import main
from batterymodel.pages import after_connection, kept, readings_file
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.samples.connections import sample_readings_path
from batterymodel.say.connection import amount
from batterymodel.say.record_view import (
    checks_of,
    fleet_of,
    forecast_of,
    service_estimates_of,
    tapers_of,
    timeline_of,
)
from batterymodel.store import open_store
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.records import BatteryPlate, BenchCheck, CardRevision, Connection
from tests.conftest import simulated_connection

CHECKOUT = Path(__file__).resolve().parents[2]
TODAY = date(2026, 3, 2)


def key(name: str) -> str:
    return f"{pages.KEPT}{name}"


@pytest.fixture
def own(demo_sqlite, tmp_path, monkeypatch) -> str:
    """A record of invented data that a test may write into."""
    path = tmp_path / "record.sqlite"
    shutil.copy(demo_sqlite, path)
    monkeypatch.setenv(URL_VARIABLE, str(path))
    return str(path)


def shown(page: str) -> AppTest:
    script = f"from batterymodel.pages import {page}\n{page}.page()"
    return AppTest.from_string(script, default_timeout=60).run()


def html_of(at: AppTest) -> str:
    assert not at.exception
    return "\n".join(element.proto.body for element in at.get("html"))


def button(at: AppTest, start: str):
    (found,) = [b for b in at.button if b.label.startswith(start)]
    return found


PAGES_OF_A_BATTERY = ("battery_record", "capacity_check", "limits_card")


@pytest.mark.parametrize("page", PAGES_OF_A_BATTERY)
def test_a_record_that_is_new_stays_empty_and_offers_the_demo_record(page, tmp_path, monkeypatch):
    path = tmp_path / "new.sqlite"
    monkeypatch.setenv(URL_VARIABLE, str(path))
    at = shown(page)
    assert not at.exception
    assert at.info[0].value == pages.literal(kept.NO_BATTERY)
    assert button(at, kept.LOOK_AT_DEMO)
    assert open_store(str(path)).is_empty()
    assert [p.name for p in tmp_path.iterdir()] == ["new.sqlite"]


def test_a_record_whose_batteries_are_gone_is_as_empty(own):
    store = open_store(own)
    store.delete([e.id for e in store.entries(BatteryPlate)], "start anew")
    at = shown("battery_record")
    assert not at.exception
    assert at.info[0].value == pages.literal(kept.NO_BATTERY)
    assert button(at, "Restore")


def test_an_empty_record_opens_the_form_and_leads_to_no_page_that_is_open(tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "record.sqlite"))
    at = shown("battery_record")
    assert [(e.label, e.proto.expanded) for e in at.expander] == [("Add a battery", True)]
    assert "Battery record" not in " ".join(link.proto.label for link in at.get("page_link"))
    assert "record import" in html_of(at)
    assert "record import" not in html_of(shown("capacity_check"))


def test_the_record_begins_with_the_last_answer_and_its_reason(own):
    at = shown("battery_record")
    at.selectbox(key=key("serial")).set_value("SF-104").run()
    said = html_of(at)
    assert "<b>Disconnect now</b> on 2026-03-02: Battery at 52 °C, above the 45 °C" in said
    assert said.index("Disconnect now") < said.index("Rated capacity")


def test_a_link_names_the_battery_and_a_choice_goes_beyond_it(own):
    at = AppTest.from_string("from batterymodel.pages import limits_card\nlimits_card.page()")
    at.query_params[kept.SERIAL_IN_ADDRESS] = "SF-106"
    at.run(timeout=60)
    assert at.selectbox(key=kept.SERIAL).value == "SF-106"
    at.selectbox(key=kept.SERIAL).select("SF-103").run()
    assert at.selectbox(key=kept.SERIAL).value == "SF-103"


def test_a_battery_without_a_check_is_greeted_in_a_sentence_for_a_person(own):
    store = open_store(own)
    add_battery(store, "NEW-9", store.battery("SF-103").model_copy(update={"capacity_check": None}))
    at = shown("battery_record")
    at.selectbox(key=kept.SERIAL).select("NEW-9").run()
    said = [element.value.replace("\\", "") for element in at.info]
    assert said[0] == "No capacity check of NEW-9 is on record yet; the first one begins its trend."


def test_an_address_that_names_no_battery_on_record_does_no_harm(own):
    at = AppTest.from_string("from batterymodel.pages import limits_card\nlimits_card.page()")
    at.query_params[kept.SERIAL_IN_ADDRESS] = "<b>none</b>"
    at.run(timeout=60)
    assert not at.exception
    assert at.selectbox(key=kept.SERIAL).value == "SF-101"


def test_a_fault_of_the_database_is_one_sentence(tmp_path, monkeypatch):
    spoilt = tmp_path / "spoilt.sqlite"
    spoilt.write_bytes(b"no database at all, only text " * 100)
    monkeypatch.setenv(URL_VARIABLE, str(spoilt))
    for page in ("battery_record", "capacity_check", "limits_card"):
        at = shown(page)
        assert not at.exception
        assert "not a database" in at.error[0].value
    assert spoilt.read_bytes().startswith(b"no database")


@pytest.mark.long
def test_the_page_shows_what_the_library_says(own):
    at = shown("battery_record")
    at.selectbox(key=kept.SERIAL).select("SF-106").run()
    forecast = forecast_of(open_store(own), "SF-106", date.today())
    said = html_of(at)
    assert f"{forecast.capacity_ah.mean:.1f} Ah" in said
    due = forecast.next_check.due_since
    assert (f"due since {due}" if due else str(forecast.next_check.on)) in said
    assert "Capacity by the trend" in said
    assert f"{forecast.measured_ah.mean:.1f} Ah" in said
    assert f"check of {forecast.measured_on}" in said
    assert "worn-battery.csv" in said


@pytest.mark.long
@pytest.mark.parametrize(
    ("serial", "says"),
    [("SF-103", "a change of slope"), ("SF-107", "36 Ah"), ("SF-110", "off aircraft")],
)
def test_batteries_of_every_kind_have_their_page(own, serial, says):
    at = shown("battery_record")
    at.selectbox(key=kept.SERIAL).select(serial).run()
    assert says.lower() in html_of(at).lower()


@pytest.mark.long
def test_a_battery_with_one_check_shows_what_was_measured_and_no_date_of_crossing(own):
    at = shown("battery_record")
    at.selectbox(key=kept.SERIAL).select("SF-102").run()
    said = html_of(at)
    assert "Capacity measured" in said
    assert "Capacity by the trend" not in said
    assert "not known yet" in said
    assert "2028" not in said


@pytest.mark.long
def test_an_entry_is_deleted_with_a_reason_and_comes_back(own):
    store = open_store(own)
    before = timeline_of(store, "SF-101")
    at = shown("battery_record")
    assert button(at, "Delete").disabled
    at.selectbox(key=key("delete.entry")).select(before[0].entry_id)
    at.text_input(key=key("delete.reason")).set_value("entered twice")
    at.checkbox(key="delete.sure").check().run()
    button(at, "Delete").click().run()
    assert not at.exception
    assert before[0].entry_id not in {h.entry_id for h in timeline_of(store, "SF-101")}
    button(at, "Restore").click().run()
    assert timeline_of(store, "SF-101") == before


@pytest.mark.long
def test_invented_data_goes_in_one_go(own):
    at = shown("battery_record")
    button(at, "Remove all invented data").click().run()
    assert not at.exception
    assert fleet_of(open_store(own)) == {}
    assert len(open_store(own).deletions()) == 1


def test_a_timed_check_is_kept_as_the_library_computes_it(own):
    at = shown("capacity_check")
    at.number_input(key=key("check.current")).set_value(40.0)
    at.number_input(key=key("check.minutes")).set_value(54.0)
    at.number_input(key=key("check.temp")).set_value(25.0)
    at.date_input(key=key("check.on")).set_value(TODAY).run()
    assert "Pass" in html_of(at)
    button(at, "Keep this check").click().run()
    assert not at.exception
    store = open_store(own)
    (kept_check,) = store.entries(BenchCheck, battery_id=store.plate("SF-101").id, on=TODAY)
    assert kept_check.record.capacity_ah == pytest.approx(36.0, abs=0.01)
    assert checks_of(store, "SF-101").at.size == 13


def test_a_check_kept_twice_is_in_the_record_once(own):
    at = shown("capacity_check")
    at.number_input(key=key("check.current")).set_value(40.0)
    at.number_input(key=key("check.minutes")).set_value(54.0)
    at.number_input(key=key("check.temp")).set_value(25.0)
    at.date_input(key=key("check.on")).set_value(TODAY).run()
    at.text_input(key=key("check.note")).set_value("bench two").run()
    button(at, "Keep this check").click().run()
    assert "already" not in at.success[0].value
    button(at, "Keep this check").click().run()
    assert "already" in at.success[0].value
    store = open_store(own)
    about = {"battery_id": store.plate("SF-101").id, "on": TODAY}
    (kept_check,) = store.entries(BenchCheck, **about)
    assert kept_check.record.note == "bench two"
    at.number_input(key=key("check.minutes")).set_value(53.0).run()
    button(at, "Keep this check").click().run()
    assert len(store.entries(BenchCheck, **about)) == 2


def test_a_discharge_stopped_early_is_kept_as_a_lower_bound(own):
    at = shown("capacity_check")
    at.number_input(key=key("check.current")).set_value(40.0)
    at.number_input(key=key("check.minutes")).set_value(30.0)
    at.date_input(key=key("check.on")).set_value(TODAY)
    at.checkbox(key=key("check.reached")).uncheck().run()
    assert "Not finished" in html_of(at)
    button(at, "Keep this check").click().run()
    store = open_store(own)
    (kept_check,) = store.entries(BenchCheck, battery_id=store.plate("SF-101").id, on=TODAY)
    assert kept_check.record.is_lower_bound
    assert kept_check.record.capacity_ah < 20.0


def test_a_check_that_cannot_be_is_one_sentence(own):
    at = shown("capacity_check")
    at.number_input(key=key("check.current")).set_value(4000.0)
    at.number_input(key=key("check.minutes")).set_value(54.0).run()
    assert not at.exception
    assert len(at.error) == 1
    assert not [b for b in at.button if b.label.startswith("Keep")]


def test_a_card_changes_by_a_new_revision_with_a_reason(own):
    at = shown("limits_card")
    assert not [b for b in at.button if b.label.startswith("Keep")]
    at.number_input(key=key("card.limits.min_capacity_fraction")).set_value(80.0).run()
    assert button(at, "Keep this revision").disabled
    at.text_input(key=key("card.reason")).set_value("manual revision C").run()
    assert button(at, "Keep this revision").disabled
    at.text_input(key=key("card.limits.document")).set_value("Manual, revision C").run()
    button(at, "Keep this revision").click().run()
    assert not at.exception
    store = open_store(own)
    cards = store.entries(CardRevision, battery_id=store.plate("SF-101").id)
    assert [c.record.limits.min_capacity_fraction for c in cards] == [0.85, 0.8]
    assert cards[1].record.document == "Manual, revision C"
    assert store.battery("SF-101").limits.end_voltage_v == 20.0


def test_a_card_kept_twice_is_one_revision(own):
    """The second press of a double tap comes with the same entries."""
    store = open_store(own)
    limits = store.battery("SF-101").limits.model_copy(update={"min_capacity_fraction": 0.8})

    def press(serial: str, told: str) -> None:
        import datetime

        from batterymodel.inputs.records import Limits
        from batterymodel.pages import kept, limits_card

        on = datetime.date(2026, 3, 2)
        for _ in range(2):
            record = kept.record()
            limits_card._keep(record, serial, Limits.model_validate_json(told), "revision C", on)
        kept.show_done()

    at = AppTest.from_function(press, args=("SF-101", limits.model_dump_json())).run(timeout=60)
    assert not at.exception
    assert "already" in at.success[0].value
    cards = store.entries(CardRevision, battery_id=store.plate("SF-101").id)
    assert len(cards) == 2


def test_a_card_that_cannot_be_is_one_sentence(own):
    at = shown("limits_card")
    at.number_input(key=key("card.limits.charge_voltage_min_v")).set_value(29.0).run()
    assert not at.exception
    assert "must be below" in at.error[0].value


@pytest.mark.long
def test_a_battery_on_record_comes_into_the_form_and_its_connection_into_the_record(own):
    at = shown("after_connection")
    at.radio(key=key("source")).set_value(after_connection.FILE).run()
    at.selectbox(key=after_connection.ON_RECORD).select("SF-102").run()
    assert at.text_input(key=key("battery..tail")).value == "DEMO-2"
    if not hasattr(AppTest, "file_uploader"):
        pytest.skip("this Streamlit cannot upload in its page tests")
    data = sample_readings_path("healthy-top-off").read_bytes()
    upload = next(f for f in at.file_uploader if f.label == readings_file.LABEL)
    upload.set_value(("own.csv", data, "text/csv")).run()
    at.number_input(key=key("known.load_a")).set_value(8.0)
    at.date_input(key=key("known.on")).set_value(date(2026, 3, 3)).run()
    assert at.session_state[pages.LAST_CASE].serial == "SF-102"
    said = html_of(at)
    assert "SF-102, in DEMO-2" in said
    button(at, "Keep this connection").click().run()
    assert not at.exception
    store = open_store(own)
    (entry,) = store.entries(Connection, day=date(2026, 3, 3))
    assert "other batteries of its kind on record" in entry.record.result["notes"][-1]
    assert entry.record.result["notes"][-1] in said
    assert store.file(entry.record.readings_sha256) == data
    assert entry.record.load_a == 8.0
    assert "in the record" in at.success[0].value
    assert "already" not in at.success[0].value
    said = at.success[0].value.replace("\\", "")
    assert "these readings are on record for battery SF-101 too" in said
    button(at, "Keep this connection").click().run()
    assert "already" in at.success[0].value
    assert len(store.entries(Connection, day=date(2026, 3, 3))) == 1


def test_a_battery_is_added_with_its_aircraft(own):
    at = shown("battery_record")
    assert button(at, "Add to the record").disabled
    at.text_input(key=key("new.serial")).set_value("OWN-7")
    at.text_input(key=key("new.aircraft")).set_value("HANGAR-2")
    at.selectbox(key=key("new..chemistry")).select("nicd")
    at.number_input(key=key("new..cells")).set_value(20)
    at.number_input(key=key("new..rated_capacity_ah")).set_value(23.0).run()
    button(at, "Add to the record").click().run()
    assert not at.exception
    store = open_store(own)
    assert store.battery("OWN-7").rated_capacity_ah == 23.0
    assert store.aircraft_of("OWN-7").record.tail == "HANGAR-2"
    assert at.selectbox(key=kept.SERIAL).value == "OWN-7"


def test_a_serial_that_is_there_already_is_one_sentence(own):
    at = shown("battery_record")
    at.text_input(key=key("new.serial")).set_value("SF-101")
    at.text_input(key=key("new.aircraft")).set_value("HANGAR-2")
    at.selectbox(key=key("new..chemistry")).select("vrla")
    at.number_input(key=key("new..cells")).set_value(12)
    at.number_input(key=key("new..rated_capacity_ah")).set_value(40.0).run()
    button(at, "Add to the record").click().run()
    assert not at.exception
    assert "in the record already" in at.error[0].value
    assert "HANGAR-2" not in str(fleet_of(open_store(own)))


def test_tapers_are_told_apart_by_day_and_temperature(own):
    tapers = tapers_of(open_store(own), "SF-101")
    assert [t.on for t in tapers] == sorted(t.on for t in tapers)
    assert all((t.current_per_ah > 0).all() for t in tapers)
    assert {round(t.temp_c) for t in tapers} == {18, 19, 20}


def test_fade_of_a_battery_on_record_is_that_of_its_checks(own, capsys):
    assert main(["fade", "--serial", "SF-106", "--on", "2026-03-02", "--json"]) == 0
    found = json.loads(capsys.readouterr().out)
    expected = forecast_of(open_store(own), "SF-106", TODAY)
    assert found["capacity_ah"]["mean"] == pytest.approx(expected.capacity_ah.mean)
    assert main(["fade", "--serial", "SF-106", "--battery", "b.toml", "checks.csv"]) == 2
    assert "give either" in capsys.readouterr().err


def with_rest_voltages(store, entry_id, serial, soc):
    """Rest voltages of the tool's own curve before and after a completed taper."""
    battery = store.battery(serial)
    before, after = (float(rest_voltage_v(battery, s, 25.0)) for s in (soc, 1.0))
    told = {"rest_voltage_v": round(before, 2), "rest_after_v": round(after, 2)}
    corrected_entry(store, entry_id, told, "rest voltages read afterwards")
    return service_estimates_of(store, serial)


def test_a_shallow_taper_gives_no_capacity_in_service_and_says_why(own):
    store = open_store(own)
    (entry,) = store.entries(Connection, file_name="completed-taper.csv")
    count = len(checks_of(store, "SF-101"))
    (found,) = with_rest_voltages(store, entry.id, "SF-101", 0.85)
    assert found.estimate is None
    assert "too little" in found.why_not
    assert len(checks_of(store, "SF-101")) == count


@pytest.mark.long
def test_a_deep_completed_taper_counts_as_capacity_in_service(own):
    store = open_store(own)
    readings = simulated_connection(0.5, minutes=300.0, every_s=60.0)
    frame = pd.DataFrame(
        {"elapsed_s": readings.elapsed_s, "supply_current_a": readings.supply_current_a}
    )
    data, count = frame.to_csv(index=False).encode(), len(checks_of(store, "SF-101"))
    told = Told(on=TODAY, load_a=8.0, ambient_c=25.0, supply=Supply(rated_current_a=60.0))
    entry = add_connection(store, "SF-101", data, "deep.csv", told).entry
    (found,) = with_rest_voltages(store, entry.id, "SF-101", 0.5)
    interval = found.estimate.capacity_ah
    assert interval.low < 40.0 < interval.high
    assert amount(interval, "Ah")[0] in html_of(shown("battery_record"))
    record = checks_of(store, "SF-101")
    assert len(record) == count + 1
    assert record.in_service.sum() == 1
