"""Degrees Celsius or Fahrenheit: numbers from one to the other, and sentences.

All that is computed and kept is in degrees Celsius; a person may choose to see and enter degrees
Fahrenheit. The factor and offset are those of `column_map.SCALES`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from enum import StrEnum

from batterymodel.inputs.column_map import SCALES

_FACTOR, _OFFSET = SCALES["degF"]
_DIGITS_F, _DIGITS_C = 9, 12
"""Decimals that a conversion keeps: fewer degF, so that there and back gives the same number."""
_MOST_DECIMALS = 2
"""Decimals of a temperature in a sentence (own choice)."""

_NUMBER = r"[+\-−]?\d+(?:\.\d+)?"
_QUOTED = r"(?<!\w)'.*?'(?!\w)|(?<!\w)&#x27;.*?&#x27;(?!\w)"
_PER_DEGREE = r"(?:/|\b(?:each|per) )°C"
_SPOKEN = re.compile(
    rf"(?P<as_it_stands>{_QUOTED}|{_PER_DEGREE})|(?P<bare>°C)"
    rf"|(?P<first>{_NUMBER})(?P<between> to | and |–)(?P<second>{_NUMBER})\s?°C"
    rf"|(?P<change>\bby )?(?P<single>{_NUMBER})\s?°C(?P<rate> a minute|/min)?"
)


class TemperatureUnit(StrEnum):
    """The unit in which a person sees and enters temperatures."""

    CELSIUS = "degC"
    FAHRENHEIT = "degF"

    @property
    def sign(self) -> str:
        """The sign of the unit: °C or °F."""
        return "°C" if self is TemperatureUnit.CELSIUS else "°F"


def temp_f_from_c(temp_c: float) -> float:
    """A temperature in degrees Fahrenheit: ``1.8 t + 32``.

    Parameters
    ----------
    temp_c : float
        [degC]

    Returns
    -------
    float
        [degF], nine decimals.

    >>> temp_f_from_c(100.0)
    212.0
    """
    return round((temp_c - _OFFSET) / _FACTOR, _DIGITS_F)


def temp_c_from_f(temp_f: float) -> float:
    """A temperature in degrees Celsius: ``(t - 32) / 1.8``.

    Parameters
    ----------
    temp_f : float
        [degF]

    Returns
    -------
    float
        [degC], twelve decimals.

    >>> temp_c_from_f(-40.0)
    -40.0
    """
    return round(temp_f * _FACTOR + _OFFSET, _DIGITS_C)


def change_f_from_c(change_c: float) -> float:
    """A difference of temperatures in degrees Fahrenheit: ``1.8 d``.

    Parameters
    ----------
    change_c : float
        [degC], or [degC/min].

    Returns
    -------
    float
        [degF], or [degF/min]; nine decimals.

    >>> change_f_from_c(0.5)
    0.9
    """
    return round(change_c / _FACTOR, _DIGITS_F)


def shown_temp(temp_c: float, unit: TemperatureUnit) -> float:
    """A temperature as a person is to see it.

    Parameters
    ----------
    temp_c : float
        [degC]
    unit : TemperatureUnit

    Returns
    -------
    float
        In the unit.
    """
    return temp_f_from_c(temp_c) if unit is TemperatureUnit.FAHRENHEIT else temp_c


def entered_temp_c(temp: float, unit: TemperatureUnit) -> float:
    """A temperature that a person entered, as it is kept.

    Parameters
    ----------
    temp : float
        In the unit.
    unit : TemperatureUnit

    Returns
    -------
    float
        [degC]
    """
    return temp_c_from_f(temp) if unit is TemperatureUnit.FAHRENHEIT else temp


def shown_row(text: str, unit: TemperatureUnit) -> str:
    """A row of temperatures, as ``-10, 10, 25``, as a person is to see it.

    Parameters
    ----------
    text : str
        Numbers [degC] with commas or spaces between; anything else comes back as it stands.
    unit : TemperatureUnit

    Returns
    -------
    str

    >>> shown_row("-10, 10, 25", TemperatureUnit.FAHRENHEIT)
    '14, 50, 77'
    """
    return _row(text, lambda temp: shown_temp(temp, unit), 9)


def entered_row_c(text: str, unit: TemperatureUnit) -> str:
    """A row of temperatures that a person entered, as it is kept [degC].

    Parameters
    ----------
    text : str
        Numbers in the unit; anything else comes back as it stands.
    unit : TemperatureUnit

    Returns
    -------
    str

    >>> entered_row_c("14 50 77", TemperatureUnit.FAHRENHEIT)
    '-10, 10, 25'
    """
    return _row(text, lambda temp: entered_temp_c(temp, unit), 12)


def _row(text: str, converted: Callable[[float], float], digits: int) -> str:
    try:
        numbers = [float(number) for number in text.replace(",", " ").split()]
    except ValueError:
        return text
    return ", ".join(f"{converted(number):.{digits}g}" for number in numbers)


def temp_words(temp_c: float, unit: TemperatureUnit) -> str:
    """A temperature with its unit, as it was entered.

    Parameters
    ----------
    temp_c : float
        [degC]
    unit : TemperatureUnit

    Returns
    -------
    str

    >>> temp_words(20.5, TemperatureUnit.FAHRENHEIT)
    '68.9 °F'
    """
    return f"{shown_temp(temp_c, unit):.9g} {unit.sign}"


def spoken_in(text: str, unit: TemperatureUnit, known_c: Iterable[float] = ()) -> str:
    """A sentence with its temperatures in a unit, each with as many decimals as it had.

    Parameters
    ----------
    text : str
        Its temperatures stand like ``48 °C``, ``0 to 45 °C`` or, a change, ``by 0.5 °C a minute``.
        What stands in quotes is a file's or a person's and stays, and so does ``for each °C``.
    unit : TemperatureUnit
    known_c : iterable of float
        Temperatures that it may speak of [degC]: a rounded number is taken for the one it was
        rounded from, so that it is not rounded twice.

    Returns
    -------
    str

    >>> spoken_in("Battery at 48 °C, within 0 to 45 °C.", TemperatureUnit.FAHRENHEIT)
    'Battery at 118 °F, within 32 to 113 °F.'
    >>> spoken_in("Battery at 48 °C.", TemperatureUnit.FAHRENHEIT, [48.3333])
    'Battery at 119 °F.'
    """
    if unit is TemperatureUnit.CELSIUS:
        return text
    exact = tuple(known_c)
    return _SPOKEN.sub(lambda found: _said_f(found, exact), text)


def _said_f(found: re.Match[str], exact_c: tuple[float, ...]) -> str:
    if found["as_it_stands"] or found["bare"]:
        return found["as_it_stands"] or TemperatureUnit.FAHRENHEIT.sign
    if found["first"] is not None:
        first, second = (_number_f(found[name], exact_c) for name in ("first", "second"))
        return f"{first}{found['between']}{second} °F"
    if found["change"] or found["rate"]:
        number = _in_f(found["single"], change_f_from_c(_value(found["single"])))
    else:
        number = _number_f(found["single"], exact_c)
    return f"{found['change'] or ''}{number} °F{found['rate'] or ''}"


def _number_f(text: str, exact_c: tuple[float, ...]) -> str:
    rounded = _value(text)
    decimals = len(text.partition(".")[2])
    fitting = (exact for exact in exact_c if round(exact, decimals) == rounded)
    return _in_f(text, temp_f_from_c(next(fitting, rounded)))


def _value(text: str) -> float:
    return float(text.replace("−", "-"))


def _in_f(text: str, value: float) -> str:
    """With as many decimals as the text has; more than two come of an entry in °F."""
    decimals = len(text.partition(".")[2])
    if decimals > _MOST_DECIMALS:
        return f"{value:.{_MOST_DECIMALS}f}".rstrip("0").rstrip(".")
    return f"{value:.{decimals}f}"
