"""The page of the track record, its line in the outcome box, and servicing in two taps."""

from datetime import date, timedelta

import pytest
from streamlit.testing.v1 import AppTest

from batterymodel import pages
from batterymodel.inputs.records import Chemistry
from batterymodel.pages import track_record as page
from batterymodel.samples.connections import load_scenario, sample_readings_path
from batterymodel.say import track_record as said
from batterymodel.say.track_record import headline, score_json, score_text, standing_line
from batterymodel.store import open_store
from batterymodel.store.engine import URL_VARIABLE
from batterymodel.store.records import BenchCheck, Servicing, ServicingFound
from batterymodel.track.score import Found, OutcomeCase, record_of
from tests.pages.test_battery_record import html_of, own, shown  # noqa: F401
from tests.track.test_score import answer, case

TODAY = date.today()


def cases(misses, count):
    return [case(20.0 if k < misses else 4.0, k) for k in range(count)]


def test_an_empty_record_says_what_would_check_an_answer(tmp_path, monkeypatch):
    monkeypatch.setenv(URL_VARIABLE, str(tmp_path / "new.sqlite"))
    at = shown("track_record")
    assert pages.shown(said.NOTHING_YET) in html_of(at)


def test_a_record_of_demo_data_is_scored(own):  # noqa: F811
    at = shown("track_record")
    assert "checked so far" in html_of(at)
    assert [h.value for h in at.header][-1] == "Outcomes against what was found"


def test_a_record_with_many_cases_shows_coverage_over_time(own, monkeypatch):  # noqa: F811
    record = record_of(cases(12, 40), [OutcomeCase(case(4.0).answered, Found.LOW, TODAY)])
    monkeypatch.setattr(page.kept, "track_record", lambda store: record)
    script = f"from batterymodel.pages import {page.__name__.rsplit('.')[-1]} as p\np.page()"
    at = AppTest.from_string(script, default_timeout=60).run()
    words = html_of(at)
    assert "28 held the truth: 70 %, where 90 % should" in words
    assert "Ranges are therefore wider" in words
    assert "capacity too low" in words
    assert len(at.get("vega_lite_chart") or at.get("arrow_vega_lite_chart")) == 1


@pytest.mark.parametrize(
    ("misses", "count", "words"),
    [
        (0, 8, None),
        (0, 9, "9 of the last 9 ranges held the truth."),
        (5, 40, "20 of the last 20 ranges held the truth."),
    ],
)
def test_the_box_says_how_right_it_has_been_once_there_are_enough(misses, count, words):
    line = standing_line(record_of(cases(misses, count), ()), Chemistry.VRLA)
    assert (line or "").endswith(words or "")
    assert (line is None) == (words is None)
    assert standing_line(record_of(cases(misses, count), ()), Chemistry.NICD) is None


def test_the_box_says_that_ranges_are_wider():
    line = standing_line(record_of(cases(12, 30), ()), Chemistry.VRLA)
    assert "Ranges are therefore wider: 4" in line


def test_ranges_that_held_because_they_were_wider_are_not_the_reason_for_it():
    """Twelve missed; then twenty were shown twice as wide, and held."""
    early = [case(12.0, k) for k in range(12)]
    line = standing_line(
        record_of([*early, *(case(10.0, 20 + k, widening=2.0) for k in range(20))], ()),
        Chemistry.VRLA,
    )
    assert "20 of the last 20 ranges held the truth as they were shown. 32 of 32 ranges" in line
    assert "missed as the estimate alone gives them. Ranges are therefore wider: 2 times" in line


def test_a_factor_that_reads_as_one_is_no_number():
    record = record_of([case(8.02, k) for k in range(10)], ())
    line = standing_line(record, Chemistry.VRLA)
    assert line.endswith("Ranges are therefore hardly wider.")
    assert said.widening_sentences(record)[0].endswith("Ranges are therefore hardly wider.")


def test_the_line_stands_in_the_outcome_box():
    from batterymodel import assess

    sample = load_scenario()[0][0]
    result = assess(sample_readings_path(sample.key), sample.battery, load_a=sample.load_a)
    assert "a <line> of it".replace("<", "&lt;").replace(">", "&gt;") in pages.outcome_box(
        result, "a <line> of it"
    )
    assert pages.outcome_box(result) == pages.outcome_box(result, None)


def press(at, start):
    [found] = [b for b in at.button if b.label.startswith(start)]
    return found.click().run()


@pytest.mark.long
@pytest.mark.parametrize(
    ("label", "found"),
    [
        ("A faulty cell", ServicingFound.FAULTY_CELL),
        ("Nothing wrong", ServicingFound.NOTHING_WRONG),
    ],
)
def test_what_servicing_found_takes_two_taps(own, label, found):  # noqa: F811
    at = shown("battery_record")
    press(press(at, label), "Keep it")
    assert not at.exception
    [entry] = open_store(own).entries(Servicing)
    assert (entry.record.found, entry.record.on, entry.record.note) == (found, TODAY, None)
    assert "is in the record" in at.success[0].value


@pytest.mark.long
def test_a_capacity_is_kept_with_its_number(own):  # noqa: F811
    before = len(open_store(own).entries(BenchCheck))
    at = press(shown("battery_record"), "Capacity as measured")
    [keep] = [b for b in at.button if b.label == "Keep it"]
    assert keep.disabled
    at.number_input(key=f"{pages.KEPT}found.capacity").set_value(38.5).run()
    press(at, "Keep it")
    [entry] = open_store(own).entries(Servicing)
    checks = open_store(own).entries(BenchCheck)
    assert len(checks) == before + 1
    assert entry.record.check_id in {check.id for check in checks}


@pytest.mark.long
def test_a_day_ahead_is_refused_and_what_was_entered_stays(own):  # noqa: F811
    at = press(shown("battery_record"), "A faulty cell")
    at.date_input(key=f"{pages.KEPT}found.on").set_value(TODAY + timedelta(days=9)).run()
    press(at, "Keep it")
    assert "is later than today" in at.error[0].value
    assert open_store(own).entries(Servicing) == ()
    assert at.date_input(key=f"{pages.KEPT}found.on").value == TODAY + timedelta(days=9)


def test_text_and_json_say_the_same():
    import json

    record = record_of(cases(3, 20), [OutcomeCase(case(4.0).answered, Found.LOW, TODAY)])
    found = json.loads(score_json(record))
    assert (found["all"]["cases"], found["all"]["covered"]) == (20, 17)
    assert found["groups"]["truth"][0]["name"] == "taper"
    assert found["widening"]["vrla"] == {"factor": 1.0, "cases": 20, "misses": 3}
    assert found["over_time"][-1]["share"] == 0.85
    assert found["verdicts"]["open"] == 1
    text = score_text(record)
    assert headline(record) in text
    assert "17 held the truth: 85 %" in text
    assert answer().outcome == found["ranges"][0]["outcome"]
