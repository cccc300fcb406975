"""Checks that tell nothing of the loss: too close together, or not of one battery."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from batterymodel import Battery
from batterymodel.capacity.wording import FADE_TEXTS
from batterymodel.charts.record import fade_words
from batterymodel.fade.doubts import capacity_rise
from batterymodel.fade.forecast import fade_forecast
from batterymodel.inputs.check_record import CheckRecord, checks_from_bytes
from batterymodel.say.capacity import fade_text

BATTERY = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
TODAY = date(2026, 11, 26)


def record(at, ah, sd_ah=1.0, first_on=date(2020, 1, 1), in_service=()):
    at, none = np.asarray(at, dtype=float), np.zeros(len(at), dtype=bool)
    marked = np.isin(np.arange(at.size), in_service)
    errors = np.full(at.size, sd_ah)
    return CheckRecord(at, np.asarray(ah, dtype=float), errors, marked, none, first_on)


def told(*rows):
    """The forecast from lines of a file, with the error of a check that states none."""
    text = "\n".join(("on,capacity_ah", *rows))
    return fade_forecast(checks_from_bytes(text.encode(), "c.csv"), BATTERY, today=TODAY)


# A tenth of 0.2 / (0.05 + 0.04) years is 81 days, of 0.2 / (0.001 + 0.001) cycles 10.
@pytest.mark.parametrize(
    ("first_on", "span", "dated"),
    [
        (date(2020, 1, 1), 80 / 365.25, False),
        (date(2020, 1, 1), 83 / 365.25, True),
        (None, 9.8, False),
        (None, 10.2, True),
    ],
)
def test_a_crossing_is_dated_from_a_tenth_of_a_life_on(first_on, span, dated):
    found = fade_forecast(record([1.0, 1.0 + span], [40.0, 37.0], first_on=first_on), BATTERY)
    assert found.crossing.dated == dated
    assert (found.crossing.low is not None) == dated
    assert (found.curves.crossing_at is not None) == dated
    least = "81 days" if first_on else "10 cycles"
    assert any(f"less than {least}" in note for note in found.notes) != dated
    assert found.is_usual != dated


@pytest.mark.parametrize("later", ["2026-01-02", "2026-01-08"])
def test_checks_a_day_or_a_week_apart_tell_no_date(later):
    found = told("2026-01-01,40", f"{later},36")
    said = "Checks so close together do not tell when capacity falls below 80 % of rated."
    assert found.headline == said
    assert "common practice for the chemistry" in found.notes[0]
    assert "not known yet" in fade_text(found)


def test_of_one_day_and_of_one_check_the_words_say_so():
    assert told("2026-01-01,40", "2026-01-01,39").headline.startswith("Checks of one day do not")
    assert told("2026-01-01,40").headline.startswith("One check does not")


def test_new_cells_under_the_same_serial_are_said_and_no_date_is_told():
    losses = ["2018-01-01,40", "2019-01-01,36", "2020-01-01,33"]
    again = ["2020-02-01,40", "2021-01-01,36", "2022-01-01,33"]
    found = told(*losses, *again, "2022-02-01,40")
    assert found.headline == (
        "Capacity rose by 18 % of rated up to the check of 2022-02-01: checks that may not be of "
        "one battery do not tell when it falls below 80 %."
    )
    assert found.notes[0].startswith("Capacity rose by 18 % of rated")
    assert "Enter it as a battery of its own" in found.notes[0]
    probability = f"a probability of {100 * found.crossing.probability_below_now:.0f} %"
    assert probability in found.notes[0]
    assert (found.crossing.dated, found.crossing.best, found.is_usual) == (False, None, False)
    assert "usual" not in fade_text(found)
    assert "usual" not in fade_words(found)
    assert not told(*losses).rise


def test_the_doubt_stands_before_a_note_on_the_file():
    rows = ["2022-02-01,40", "2018-01-01,40", "2019-01-01,36", "2020-01-01,33"]
    found = told(*rows)
    assert found.notes[0].startswith("Capacity rose")
    assert "the checks were sorted by time" in found.notes


def test_a_rise_is_said_after_a_sound_check_and_a_first_one_that_does_not_fit_is_named():
    found = told("2024-08-01,38", "2025-08-01,34", "2026-01-01,40")
    assert found.notes[0].startswith("Capacity rose by 15 % of rated")
    (said,) = [n for n in told("2025-08-01,34", "2026-01-01,40").notes if "does not fit" in n]
    assert "another battery or new cells" in said
    assert "or the battery failed" not in said


def test_a_dip_that_comes_back_is_no_rise():
    found = told("2020-01-01,40", "2021-01-01,39.4", "2022-01-01,28", "2023-01-01,38.2")
    assert found.rise is None
    assert any("2022-01-01" in note and "does not fit" in note for note in found.notes)


# A tenth of 40 Ah is 4; three errors of the difference are 3 x 1.5 x sqrt 2 = 6.36 Ah.
@pytest.mark.parametrize(
    ("sd_ah", "rise_ah", "said"),
    [(0.3, 3.9, False), (0.3, 4.1, True), (1.5, 6.3, False), (1.5, 6.4, True)],
)
def test_a_rise_is_a_tenth_of_rated_and_three_errors(sd_ah, rise_ah, said):
    checks = record([0.0, 1.0], [33.0, 33.0 + rise_ah], sd_ah)
    found = capacity_rise(checks, 40.0, np.ones(2, dtype=bool))
    assert (found is not None) == said
    if found:
        assert found.percent == pytest.approx(2.5 * rise_ah)
        assert found.on == date(2020, 12, 31)


def test_checks_of_one_day_and_estimates_in_service_show_no_rise():
    sound = np.ones(3, dtype=bool)
    assert capacity_rise(record([0.0, 1.0, 1.0], [39.0, 30.0, 40.0], 0.3), 40.0, sound) is None
    assert capacity_rise(record([0.0, 0.0, 1.0], [30.0, 40.0, 40.0], 0.3), 40.0, sound) is None
    served = record([0.0, 1.0, 2.0], [39.0, 30.0, 38.0], 0.3, in_service=[1])
    assert capacity_rise(served, 40.0, sound) is None


FALLING = [1.07, 1.04, 0.99, 1.1, 1.02, 1.02, 1.02, 0.95, 0.94, 0.97, 0.93, 0.91, 0.88]
"""Yearly checks of one battery with errors of 2.2 %, one of which came out high."""


ONE_HIGH = [0.99, 0.98, 0.93, 1.04, 0.97, 0.96, 0.96]
"""The same, of which few follow."""


@pytest.mark.parametrize(
    ("shares", "rose"),
    [
        (FALLING, False),
        (ONE_HIGH[:4], True),
        (ONE_HIGH[:6], True),
        (ONE_HIGH, False),
    ],
)
def test_a_rise_that_later_checks_do_not_bear_out_is_dated(shares, rose):
    checks = record(range(len(shares)), 40.0 * np.array(shares), 0.022 * 40.0)
    found = fade_forecast(checks, BATTERY)
    assert (found.rise is not None) == rose
    assert found.crossing.dated != rose


def test_checks_of_one_day_bear_out_a_rise_as_one():
    shares = [*ONE_HIGH[:6], 0.96, 0.96]
    checks = record([0, 1, 2, 3, 4, 5, 5, 5], 40.0 * np.array(shares), 0.022 * 40.0)
    assert capacity_rise(checks, 40.0, np.ones(8, dtype=bool)) is not None


@pytest.mark.parametrize(
    ("at", "shares", "year"),
    [
        (range(8), [0.99, 0.93, 0.86, 1.0, 0.94, 0.87, 0.8, 0.74], 3),
        (range(12), [1.0, 0.9, 0.8, 0.7] * 3, 8),
        ([0.0, 5.0, 5.01, 5.02, 5.03], [0.82, 1.0, 1.0, 1.0, 1.0], 5),
    ],
)
def test_a_rise_that_later_checks_bear_out_stays(at, shares, year):
    """By their loss, and where checks so close together tell no loss."""
    checks = record(at, 40.0 * np.array(shares), 0.03 * 40.0)
    found = capacity_rise(checks, 40.0, np.ones(len(shares), dtype=bool))
    assert found is not None
    assert found.on == checks.moment(float(year))


# Level before and after, four checks each beside the one that rose: the step's error is
# sd x sqrt(1/4 + 1/4), and three of them are 6.36 Ah with errors of 3 Ah.
@pytest.mark.parametrize(
    ("sd_ah", "step_ah", "said"),
    [(0.3, 3.9, False), (0.3, 4.1, True), (3.0, 6.3, False), (3.0, 6.4, True)],
)
def test_a_step_is_a_tenth_of_rated_and_three_errors(sd_ah, step_ah, said):
    """The rise itself is larger by the checks on either side of it, which come out far off."""
    off_ah = 1.5 * sd_ah * np.array([-1.0, 1.0, 1.0, -1.0])
    before, after = 31.0 + off_ah, 31.0 + step_ah - off_ah
    checks = record(range(9), [*before, after[0], *after], sd_ah)
    found = capacity_rise(checks, 40.0, np.ones(9, dtype=bool))
    assert (found is not None) == said


def test_a_check_that_stopped_early_adds_nothing_to_the_span():
    """It tells that there was as much at least, and no loss."""
    at, ah, sd = np.array([0.0, 0.05, 3.0]), np.array([40.0, 39.0, 35.0]), np.full(3, 1.0)
    none = np.zeros(3, dtype=bool)
    early = np.array([False, False, True])
    found = fade_forecast(CheckRecord(at, ah, sd, none, early, date(2020, 1, 1)), BATTERY)
    assert not found.crossing.dated
    assert any("less than 81 days" in note for note in found.notes)


def test_below_by_the_trend_alone_is_told_with_its_probability():
    """Passed on the bench, and four estimates in service since that are far lower."""
    years = [0.0, 1.0, 1.3, 1.6, 1.9]
    checks = record(years, [40.0, 29.0, 29.0, 29.0, 29.0], 0.8, in_service=[1, 2, 3, 4])
    found = fade_forecast(checks, BATTERY)
    chance = f"{100 * found.crossing.probability_below_now:.0f} %"
    assert found.crossing.probability_below_now > 0.5
    assert found.headline == (
        f"By its trend capacity is below 80 % of rated already with a probability of {chance}, "
        "though the last check measured 100 %."
    )


def test_a_chance_that_is_nil_is_not_told_as_below_already():
    """By cycles so far apart that the next is all that can be told."""
    checks = checks_from_bytes(b"cycle,capacity_ah\n1,40\n1000000,38\n", "c.csv")
    found = fade_forecast(checks, BATTERY)
    assert found.next_check.on == 1000001
    assert found.crossing.probability_below_now < 0.1
    assert found.next_check.why == FADE_TEXTS["next.soon"]
