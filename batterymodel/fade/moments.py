"""Days and cycles of a forecast in words that claim no more than its range tells."""

from __future__ import annotations

from datetime import date

from batterymodel.basis.calendar import DAYS_PER_YEAR

Moment = date | int

YEARS_FROM, HALF_YEARS_FROM, MONTHS_FROM = 2.0, 1.0, 1.0 / 6.0
"""Widths of a range from which its days are told as years, half-years and months [years] (own
choice)."""

MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
NOT_IN_VIEW = "not in view"
"""Said of what lies beyond the horizon."""


def moment_words(moment: Moment | None, width_years: float = 0.0) -> str:
    """A day or a cycle as coarse as its range is wide, or that it is beyond the horizon.

    Parameters
    ----------
    moment : date or int or None
        None for beyond the horizon.
    width_years : float
        Width of its range [years]; infinite where an end of it is not known.

    Returns
    -------
    str
        The year, half-year or month that holds the day, or the day; a cycle as it is.

    >>> moment_words(date(2028, 5, 11), 2.5), moment_words(date(2028, 5, 11), 1.5)
    ('2028', 'first half of 2028')
    >>> moment_words(date(2028, 5, 11), 0.5), moment_words(date(2028, 5, 11))
    ('May 2028', '2028-05-11')
    """
    if moment is None:
        return NOT_IN_VIEW
    if not isinstance(moment, date) or width_years < MONTHS_FROM:
        return str(moment)
    if width_years >= YEARS_FROM:
        return str(moment.year)
    if width_years >= HALF_YEARS_FROM:
        return f"{'first' if moment.month <= 6 else 'second'} half of {moment.year}"
    return f"{MONTHS[moment.month - 1]} {moment.year}"


def about_words(moment: Moment | None, width_years: float = 0.0) -> str:
    """As `moment_words`, to stand behind *about* or *around* in a sentence.

    Parameters
    ----------
    moment : date or int or None
    width_years : float
        [years].

    Returns
    -------
    str

    >>> about_words(date(2028, 5, 11), 1.5)
    'the first half of 2028'
    """
    said = moment_words(moment, width_years)
    return f"the {said}" if " half of " in said else said


def width_years(low: Moment | None, high: Moment | None) -> float:
    """Width of a range of days.

    Parameters
    ----------
    low, high : date or int or None
        None for beyond the horizon.

    Returns
    -------
    float
        [years]; infinite where an end is beyond the horizon, 0 between cycles.
    """
    if low is None or high is None:
        return float("inf")
    if isinstance(low, date) and isinstance(high, date):
        return (high - low).days / DAYS_PER_YEAR
    return 0.0


def range_words(low: Moment | None, high: Moment | None) -> str:
    """A range of days or cycles in words.

    Parameters
    ----------
    low, high : date or int or None
        None for beyond the horizon.

    Returns
    -------
    str
        Empty where even `low` is beyond the horizon; in years from `HALF_YEARS_FROM` on, to be
        short. Read with both ends included it holds every day of the range.

    >>> range_words(date(2027, 1, 11), None), range_words(date(2027, 1, 11), date(2030, 1, 1))
    ('2027 or later', '2027 to 2030')
    """
    if low is None:
        return ""
    wide = width_years(low, high)
    wide = YEARS_FROM if wide >= HALF_YEARS_FROM else wide
    first, last = moment_words(low, wide), moment_words(high, wide)
    if high is None:
        return f"{first} or later"
    return first if first == last else f"{first} to {last}"
