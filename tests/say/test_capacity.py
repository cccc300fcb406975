"""Capacity over the years in words: measured apart from trend, each range with its level."""

from __future__ import annotations

import re
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as some

from batterymodel import Battery
from batterymodel.basis.text import counted
from batterymodel.capacity.wording import odds_words
from batterymodel.charts.record import fade_words
from batterymodel.explain import effects
from batterymodel.fade.forecast import FadeForecast, SlopeChange, fade_forecast
from batterymodel.inputs.check_record import CheckRecord
from batterymodel.say.capacity import capacity_figures, fade_text, slope_sentence
from batterymodel.sheet.sections import sheet_content
from tests.conftest import assessed_sample
from tests.sheet.cases import BY_KEY, content_of
from tests.sparing import examples

BATTERY = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
ONE_IN_THE_PLURAL = re.compile(r"(?<![\d.,-])1 (?!has\b|was\b|is\b)[a-z]+s\b")
"""A one before a word that ends as a plural does."""

TODAY = date(2026, 3, 2)


def forecast(finished: int, stopped: int = 0, in_service: int = 0, loss_ah: float = 1.0):
    """A forecast from so many values, one a year, those of each kind after one another."""
    count = finished + stopped + in_service
    at, kinds = np.arange(float(count)), np.repeat([0, 1, 2], [finished, stopped, in_service])
    record = CheckRecord(
        at, 40.0 - loss_ah * at, np.full(count, 0.6), kinds == 2, kinds == 1, date(2018, 1, 1)
    )
    return fade_forecast(record, BATTERY, today=TODAY)


def texts_of(found: FadeForecast) -> list[str]:
    figures = [text for figure in capacity_figures(found) for text in figure]
    return [fade_text(found), fade_words(found), slope_sentence(found), *figures]


@given(some.integers(0, 5), some.sampled_from(["check", "entry", "taper"]))
def test_one_is_one_and_all_else_is_more(count, one):
    more = {"entry": "entries"}.get(one)
    said = counted(count, one, more)
    assert said.startswith(f"{count} {one}" if count == 1 else f"{count} {more or one + 's'}")
    assert (said == f"1 {one}") == (count == 1)


@pytest.mark.long
@given(some.integers(1, 3), some.integers(0, 2), some.integers(0, 2))
@examples(30)
def test_no_text_of_a_forecast_counts_one_in_the_plural(finished, stopped, in_service):
    found = forecast(finished, stopped, in_service)
    made = sheet_content(
        assessed_sample("healthy-top-off"),
        BY_KEY["healthy-top-off"].battery,
        TODAY,
        forecast=found,
    )
    for text in (*texts_of(found), *made.prose()):
        assert not ONE_IN_THE_PLURAL.search(text), text


@pytest.mark.parametrize("topic", effects.TOPICS)
def test_no_explanation_counts_one_in_the_plural(topic):
    turned = effects.PARAMETERS[topic]
    for value in np.arange(turned.low, turned.high + 0.5 * turned.step, turned.step):
        said = effects.shown_words(topic, float(value))
        assert not ONE_IN_THE_PLURAL.search(said), said
        assert " 0 minutes" not in said


def test_the_pattern_finds_what_it_is_for():
    assert ONE_IN_THE_PLURAL.search("After 1 years about")
    assert ONE_IN_THE_PLURAL.search("1 checks stopped")
    assert not ONE_IN_THE_PLURAL.search("After 11 years, 0.1 seconds, 1 check")


@given(some.integers(1, 6))
@examples(6)
def test_every_range_among_the_figures_names_its_level(count):
    for name, _, more in capacity_figures(forecast(count)):
        level = "80 % range" if name.startswith("Below") else "90 % range"
        assert level in more or (name.startswith("Below") and more == "")


def test_measured_and_trend_are_two_figures_with_their_days():
    record = forecast(5)
    figures = {name: (value, more) for name, value, more in capacity_figures(record)}
    assert figures["Capacity measured"][0] == "36.0 Ah"
    assert figures["Capacity measured"][1].startswith("check of 2022-01-01; ")
    assert figures["Capacity by the trend"][0] == f"{record.capacity_ah.mean:.1f} Ah"
    assert figures["Capacity by the trend"][1].startswith("on 2022-01-01; ")


def test_of_one_check_there_is_no_trend_and_no_date():
    figures = {name: (value, more) for name, value, more in capacity_figures(forecast(1))}
    assert "Capacity by the trend" not in figures
    assert figures["Below 80 % of rated"] == ("not known yet", "")
    assert figures["Loss per year, of rated"][1].startswith("usual for its kind; ")
    for text in texts_of(forecast(1)):
        assert "trend" not in text


@pytest.mark.parametrize(
    ("ah", "below"), [(39.0, False), (32.5, False), (31.5, True), (25.0, True)]
)
def test_one_check_below_the_limit_is_said_to_be_below_and_to_have_no_others(ah, below):
    """The limit is 32 Ah; a check is compared with others only where there are some."""
    no = np.array([False])
    record = CheckRecord(np.zeros(1), np.array([ah]), np.array([0.6]), no, no, date(2025, 1, 1))
    found = fade_forecast(record, BATTERY, today=TODAY)
    said = "by the last check" if below else "not known yet"
    assert capacity_figures(found)[-1] == ("Below 80 % of rated", said, "")
    assert (f"The last check measured {ah / 0.4:.0f} % of rated" in found.headline) == below
    assert "others" not in " ".join((*found.notes, found.next_check.why))


def test_a_range_of_years_is_told_without_days():
    """Two checks a year apart: the range of the crossing is years wide."""
    found = forecast(2, loss_ah=2.0)
    (below,) = [figure for figure in capacity_figures(found) if figure[0].startswith("Below")]
    assert re.fullmatch(r"20\d\d", below[1])
    assert re.fullmatch(r"20\d\d( to 20\d\d| or later) \(80 % range\)", below[2])
    assert not re.search(r"\d{4}-\d\d-\d\d", found.headline)


@pytest.mark.parametrize(
    ("odds", "said"),
    [
        (10.0, "strong"),
        (29.9, "strong"),
        (30.0, "very strong"),
        (99.9, "very strong"),
        (100.0, "overwhelming"),
        (1196.0, "overwhelming"),
    ],
)
def test_odds_are_words(odds, said):
    assert odds_words(odds) == said
    change = SlopeChange(at=date(2024, 2, 19), before_percent=1.5, after_percent=10.2, odds=odds)
    sentence = slope_sentence(forecast(5).model_copy(update={"slope_change": change}))
    assert f"the checks are {said} evidence" in sentence
    assert "the first half of 2024" in sentence
    assert f"{odds:.0f}" not in sentence.replace("10.2", "").replace("2024", "")


def test_the_sample_sheet_says_it_the_same_way():
    said = " ".join(content_of("worn-battery").prose())
    assert not re.search(r"odds|\d to 1\b", said)
