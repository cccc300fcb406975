"""Days in words: as coarse as their range, and never a range that leaves out what it holds."""

from __future__ import annotations

import re
from calendar import monthrange
from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as some

from batterymodel.fade.moments import (
    MONTHS,
    MONTHS_FROM,
    about_words,
    moment_words,
    range_words,
    width_years,
)

DAYS = some.dates(date(2000, 1, 1), date(2099, 12, 31))
START = date(2028, 5, 11)


def span_of(said: str) -> tuple[date, date]:
    """First and last day of what the words name."""
    if re.fullmatch(r"\d{4}-\d\d-\d\d", said):
        return date.fromisoformat(said), date.fromisoformat(said)
    year = int(said[-4:])
    if said == str(year):
        return date(year, 1, 1), date(year, 12, 31)
    if "half" in said:
        first = said.startswith("first")
        return (date(year, 1, 1), date(year, 6, 30)) if first else (
            date(year, 7, 1),
            date(year, 12, 31),
        )  # fmt: skip
    month = MONTHS.index(said.split()[0]) + 1
    return date(year, month, 1), date(year, month, monthrange(year, month)[1])


@given(DAYS, some.floats(0.0, 9.0))
def test_the_words_of_a_day_hold_the_day(day, wide):
    first, last = span_of(moment_words(day, wide))
    assert first <= day <= last


@given(DAYS, some.integers(0, 3650))
def test_the_words_of_a_range_hold_the_range_and_name_no_day_of_a_wide_one(low, days):
    high = low + timedelta(days=days)
    said = range_words(low, high)
    first, last = said.split(" to ") if " to " in said else (said, said)
    assert span_of(first)[0] <= low
    assert span_of(last)[1] >= high
    if days >= 366:
        assert not re.search(r"\d-\d|[A-Z]", said)


@pytest.mark.parametrize(
    ("days", "said"),
    [
        (60, "2028-05-11"),
        (61, "May 2028"),
        (365, "May 2028"),
        (366, "first half of 2028"),
        (730, "first half of 2028"),
        (731, "2028"),
    ],
)
def test_a_day_is_as_coarse_as_its_range_is_wide(days, said):
    assert moment_words(START, width_years(START, START + timedelta(days=days))) == said


def test_a_range_of_two_months_is_told_in_months():
    assert moment_words(START, MONTHS_FROM) == "May 2028"


@pytest.mark.parametrize(("month", "half"), [(1, "first"), (6, "first"), (7, "second")])
def test_the_first_half_of_a_year_ends_with_june(month, half):
    assert moment_words(date(2028, month, 1), 1.5) == f"{half} half of 2028"


@pytest.mark.parametrize(
    ("days", "said"), [(365, "May 2028 to May 2029"), (366, "2028 to 2029"), (731, "2028 to 2030")]
)
def test_a_range_is_told_in_years_where_its_days_are_told_in_half_years(days, said):
    assert range_words(START, START + timedelta(days=days)) == said


def test_an_open_range_is_told_in_years():
    assert range_words(START, None) == "2028 or later"
    assert range_words(None, None) == ""
    assert moment_words(None) == "not in view"
    assert about_words(date(2028, 9, 1), 1.2) == "the second half of 2028"


def test_cycles_stay_as_they_are():
    assert range_words(120, 240) == "120 to 240"
    assert moment_words(120, 5.0) == "120"
