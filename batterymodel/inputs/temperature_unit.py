"""Degrees Celsius or Fahrenheit: numbers from one to the other, and sentences.

All that is computed and kept is in degrees Celsius; a person may choose to see and enter degrees
Fahrenheit. The factor and offset are those of `column_map.SCALES`.
"""

from __future__ import annotations

import re
from enum import StrEnum

from batterymodel.inputs.column_map import SCALES

_FACTOR, _OFFSET = SCALES["degF"]
_DIGITS_F, _DIGITS_C = 9, 12
"""Decimals that a conversion keeps: fewer degF, so that there and back gives the same number."""

_NUMBER = r"[+\-−]?\d+(?:\.\d+)?"
_SPOKEN = re.compile(
    rf"(?P<first>{_NUMBER})(?P<between> to | and |–)(?P<second>{_NUMBER})\s?°C"
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


def spoken_in(text: str, unit: TemperatureUnit) -> str:
    """A sentence with its temperatures in a unit, each with as many decimals as it had.

    Parameters
    ----------
    text : str
        Its temperatures stand like ``48 °C``, ``0 to 45 °C`` or, a change, ``by 0.5 °C a minute``.
    unit : TemperatureUnit

    Returns
    -------
    str

    >>> spoken_in("Battery at 48 °C, within 0 to 45 °C.", TemperatureUnit.FAHRENHEIT)
    'Battery at 118 °F, within 32 to 113 °F.'
    """
    if unit is TemperatureUnit.CELSIUS:
        return text
    return _SPOKEN.sub(_said_f, text).replace("°C", "°F")


def _said_f(found: re.Match[str]) -> str:
    if found["first"] is not None:
        return f"{_number_f(found['first'])}{found['between']}{_number_f(found['second'])} °F"
    is_change = bool(found["change"] or found["rate"])
    return f"{found['change'] or ''}{_number_f(found['single'], is_change)} °F{found['rate'] or ''}"


def _number_f(text: str, is_change: bool = False) -> str:
    value, decimals = float(text.replace("−", "-")), len(text.partition(".")[2])
    return f"{change_f_from_c(value) if is_change else temp_f_from_c(value):.{decimals}f}"
