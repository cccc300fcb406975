"""Values of single cells as loggers and people write them: numbers, clock times, dates."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from datetime import date, datetime, timedelta

from batterymodel.inputs.tables import MISSING

OVER_RANGE = frozenset(["ol", "0l", "o.l", "o.l.", "ofl", "ovl", "overload", "over"])
"""What meters show, in small letters, where the value is over their range: no value."""

_NO_VALUE = (
    MISSING
    | OVER_RANGE
    | frozenset(["open", "err", "error", "#n/a", "#na", "#num!", "#value!", "#div/0!", "#ref!"])
)

UNIT_WORDS: dict[str, str] = {
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes", "adc"), "A"),
    **dict.fromkeys(("ma", "milliamp", "milliamps", "milliampere", "milliamperes", "madc"), "mA"),
    **dict.fromkeys(("ua", "µa", "μa", "microamps", "microamperes", "uadc"), "uA"),
    **dict.fromkeys(("v", "volt", "volts", "vdc"), "V"),
    **dict.fromkeys(("mv", "millivolt", "millivolts", "mvdc"), "mV"),
    **dict.fromkeys(("°c", "ºc", "degc", "celsius", "centigrade", "c", "℃"), "degC"),
    **dict.fromkeys(("°f", "ºf", "degf", "fahrenheit", "f", "℉"), "degF"),
    **dict.fromkeys(("k", "kelvin", "°k"), "K"),
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sekunden"), "s"),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), "ms"),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "minuten"), "min"),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "stunden"), "h"),
}
"""Units as they are written, in small letters without spaces."""

AFTERNOON_SINCE_H = 12
"""Hour at which p.m. begins."""

_SPACES = " \u00a0\u202f\u2009'’"
_MONTHS = ["jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec"]
_CLOCK = re.compile(
    r"(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?(?:\s*([ap])\.?m\.?)?", re.A | re.I
)
_DATE = re.compile(r"(\d{1,4})([-./ ])(\d{1,2})\2(\d{1,4})\.?", re.A)
_NAMED_MONTH = re.compile(r"(?<=\d)[-./ ]([A-Za-z]{3})[a-z]*[-./ ](?=\d)")
_DATE_THEN_CLOCK = re.compile(
    r"(\S*\d(?:[ -/][A-Za-z]{3,9}[ -/.]\d+)?)(?:[T,]\s*|\s+)(\d{1,2}:.*)", re.A
)
_OFFSET = re.compile(r"\s*(Z|[+-]\d{2}:?\d{2})", re.A | re.I)


def _number_pattern(mark: str, thousands: str) -> re.Pattern[str]:
    groups = rf"[1-9]\d{{0,2}}(?:([{re.escape(thousands + _SPACES)}])\d{{3}})(?:\3\d{{3}})*"
    decimals = rf"(?:{re.escape(mark)}\d*)?"
    bare = rf"{re.escape(mark)}\d+"
    number = rf"([+\-−–]?)\s?((?:{groups}|\d+){decimals}|{bare})"
    return re.compile(rf"{number}(e[+-]?\d+)?\s*([^\d\s.,+-][^\d]{{0,20}})?", re.A | re.I)


_NUMBERS = {".": _number_pattern(".", ","), ",": _number_pattern(",", ".")}
_DECISIVE = {
    mark: re.compile(
        rf"[+\-−–]?\s?(?:0|\d{{4,}})?{m}\d+\D*|[+\-−–]?\s?\d+{m}(?:\d{{1,2}}|\d{{4,}})\D*"
        rf"|[+\-−–]?\s?\d{{1,3}}(?:{t}\d{{3}})+{m}\d+\D*"
        rf"|[+\-−–]?\s?\d{{1,3}}(?:{t}\d{{3}}){{2,}}\D*",
        re.A,
    )
    for mark, m, t in ((".", r"\.", ","), (",", ",", r"\."))
}
_EITHER = re.compile(r"[+\-−–]?\s?[1-9]\d{0,2},\d{3}\D*", re.A)


def number_of(text: str, mark: str) -> tuple[float, str] | None:
    """The number a cell holds and the unit written behind it.

    Parameters
    ----------
    text : str
        Stripped; thousands may be set apart.
    mark : str
        Before the decimals: point or comma.

    Returns
    -------
    value : float
        In the unit.
    unit : str
        Of `UNIT_WORDS`, empty where none is written; the whole is None for what is no number.

    >>> number_of("1.018,3 mA", ","), number_of("1,018.3", ".")
    ((1018.3, 'mA'), (1018.3, ''))
    """
    found = _NUMBERS[mark].fullmatch(text[:80])
    if not found:
        return None
    sign, digits, _, power, written = found.groups()
    unit = UNIT_WORDS.get("".join((written or "").lower().split()), "") if written else ""
    if written and not unit:
        return None
    plain = "".join(c for c in digits if c.isdigit() or c == mark).replace(mark, ".")
    return float(f"{'-' * (sign in tuple('-−–') and sign != '')}{plain}{power or ''}"), unit


def decimal_mark(texts: Iterable[str]) -> tuple[str, bool]:
    """The mark before the decimals in these cells, and whether they leave no doubt.

    Parameters
    ----------
    texts : iterable of str
        Cells of the whole table.

    Returns
    -------
    mark : str
        Point or comma; the point where nothing speaks for either.
    sure : bool
        False where ``12,500`` may be either, or as many cells say one mark as the other.
    """
    seen = [text for text in texts if "," in text or "." in text]
    points, commas = (sum(bool(p.fullmatch(t)) for t in seen) for p in _DECISIVE.values())
    if points or commas:
        return ("," if commas > points else "."), points != commas
    either = any(_EITHER.fullmatch(text) for text in seen)
    return ("," if either else "."), not either


def is_missing(text: str) -> bool:
    """Whether a cell says that there is no value.

    Parameters
    ----------
    text : str
        Stripped.

    Returns
    -------
    bool
    """
    return text.lower() in _NO_VALUE


def clock_s(text: str) -> float | None:
    """A time of day in seconds since midnight.

    Parameters
    ----------
    text : str
        ``14:02``, ``14:02:00``, ``14:02:00.5`` or ``2:02:00 PM``.

    Returns
    -------
    float or None
        None for what is no time of day.
    """
    found = _CLOCK.fullmatch(text)
    if not found:
        return None
    hours, minutes, seconds = (int(part or 0) for part in found.group(1, 2, 3))
    if found.group(5):
        if not 1 <= hours <= AFTERNOON_SINCE_H:
            return None
        hours = hours % AFTERNOON_SINCE_H + AFTERNOON_SINCE_H * (found.group(5).lower() == "p")
    if hours > 23 or minutes > 59 or seconds > 59:
        return None
    return 3600.0 * hours + 60.0 * minutes + seconds + float(f"0.{found.group(4) or 0}")


def duration_s(text: str, unit: str) -> float | None:
    """Time since the connection, written with colons.

    Parameters
    ----------
    text : str
    unit : str
        ``h:min:s`` (seconds may be left out) or ``min:s``.

    Returns
    -------
    float or None
        None for what is no such time.
    """
    found = re.fullmatch(r"(\d{1,4}):(\d{2})(?::(\d{2}))?(?:[.,](\d{1,9}))?", text, re.A)
    if not found or (unit == "min:s" and found.group(3)):
        return None
    first, second, third = (int(part or 0) for part in found.group(1, 2, 3))
    parts_s = float(f"0.{found.group(4) or 0}")
    if second > 59 or third > 59:
        return None
    if unit == "min:s":
        return 60.0 * first + second + parts_s
    return 3600.0 * first + 60.0 * second + third + parts_s


def date_of(text: str, order: str) -> date | None:
    """The day of a date in figures or with an English month.

    Parameters
    ----------
    text : str
        ``2026-03-02``, ``26-03-02``, ``02.03.2026``, ``3/2/26`` or ``2 Mar 2026``.
    order : str
        ``ymd``, ``dmy`` or ``mdy``.

    Returns
    -------
    date or None
        None for what is no day of the calendar in that order.
    """
    parts = _date_parts(text.removesuffix(" 00:00:00"))
    if parts is None or len(parts[2 if order == "ymd" else 0]) == 4:
        return None
    named = dict(zip(order, parts, strict=True))
    if len(named["y"]) == 1:
        return None
    year = int(named["y"]) + 2000 * (len(named["y"]) <= 2)
    try:
        return date(year, int(named["m"]), int(named["d"])) if 1900 < year < 2200 else None
    except ValueError:
        return None


def moment_of(text: str, order: str) -> datetime | None:
    """A date with a time of day, and a UTC offset if one is written.

    Parameters
    ----------
    text : str
        ``2026-03-02T14:02:00+01:00``, ``02.03.2026 14:02``.
    order : str
        ``ymd``, ``dmy`` or ``mdy``.

    Returns
    -------
    datetime or None
        None for what is none.
    """
    split = re.fullmatch(
        r"(\S*\d(?:[ -/][A-Za-z]{3,9}[ -/.]\d+)?)(?:[T,]\s*|\s+)(\d{1,2}:.*)", text
    )
    if not split:
        return None
    day, clock = date_of(split.group(1).rstrip(","), order), split.group(2)
    offset = _OFFSET.search(clock)
    zone = ""
    if offset and offset.end() == len(clock):
        clock, zone = clock[: offset.start()], offset.group(1).upper()
    seconds = clock_s(clock)
    if day is None or seconds is None:
        return None
    try:
        start = datetime.fromisoformat(f"{day.isoformat()}T00:00:00{zone}")
    except ValueError:
        return None
    return start + timedelta(seconds=seconds)


def date_order(
    texts: Iterable[str], orders: Sequence[str] = ("ymd", "dmy", "mdy")
) -> tuple[str, bool] | None:
    """In which order these dates stand, and whether they leave no doubt.

    Parameters
    ----------
    texts : iterable of str
        Dates, alone or before a time of day.
    orders : sequence of str
        Those that may be.

    Returns
    -------
    order : str
        ``ymd``, ``dmy`` or ``mdy``; of several the likeliest.
    sure : bool
        False where day and month, or day and year, may be either; the whole is None where a text
        is no date.
    """
    days = {re.split(r"[T,]| +(?=\d{1,2}:)", text, maxsplit=1)[0] for text in texts}
    fits = [o for o in orders if days and all(date_of(day, o) for day in days)]
    if not fits:
        return None
    day_first = all("." in day or any(map(str.isalpha, day)) for day in days)
    if "dmy" in fits and (day_first or any("/" in day for day in days)):
        return "dmy", day_first or len(fits) == 1
    return fits[0], len(fits) == 1


def _date_parts(text: str) -> tuple[str, str, str] | None:
    """First, second and third part of a date, the month in figures."""
    found = _DATE.fullmatch(_NAMED_MONTH.sub(_month_in_figures, text))
    if not found or (len(found.group(1)) == 4) == (len(found.group(4)) == 4):
        two_digit_year = found and len(found.group(1)) <= 2 and len(found.group(4)) == 2
        if not found or not two_digit_year:
            return None
    return found.group(1), found.group(3), found.group(4)


def _month_in_figures(found: re.Match[str]) -> str:
    name = found.group(1).lower()
    return f" {_MONTHS.index(name) + 1} " if name in _MONTHS else found.group(0)
