"""The meter pad in degrees Fahrenheit: what it shows, and what it sends, from and to degC.

A temperature pressed in degrees Fahrenheit is called so by its name, so that it stays what it was
where it is sent late, after the unit was chosen anew.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from batterymodel.inputs.temperature_unit import (
    TemperatureUnit,
    change_f_from_c,
    spoken_in,
    temp_c_from_f,
    temp_f_from_c,
)

IN_C, IN_F = "battery_temp_c", "battery_temp_f"
"""Name of the battery's temperature by its unit."""


def pad_in(data: Mapping[str, Any], unit: TemperatureUnit) -> dict[str, Any]:
    """What the pad shows, with the battery's temperature in a unit.

    Parameters
    ----------
    data : mapping
        As the pad takes it, temperatures in degC.
    unit : TemperatureUnit

    Returns
    -------
    dict
        JSON.
    """
    if unit is TemperatureUnit.CELSIUS:
        return dict(data)
    question = data["question"]
    expected = data.get("expected", {})
    shown = {
        "kinds": [_named_f(kind, "name") for kind in data["kinds"]],
        "last": [_reading_f(reading) for reading in data["last"]],
        "question": None if question is None else _named_f(question, "name"),
    }
    if IN_C in expected:
        others = {name: of for name, of in expected.items() if name != IN_C}
        shown["expected"] = {**others, IN_F: _expected_f(expected[IN_C])}
    return {**data, **shown}


def entry_in_c(entry: Mapping[str, Any]) -> dict[str, Any]:
    """An entry that the pad sent, as the record takes it.

    Parameters
    ----------
    entry : mapping
        As the browser sent it.

    Returns
    -------
    dict
        A temperature in degC; anything else as it came.
    """
    if entry.get("quantity") != IN_F:
        return dict(entry)
    in_c, value = {**entry, "quantity": IN_C}, entry.get("value")
    if isinstance(value, int | float) and not isinstance(value, bool):
        in_c["value"] = temp_c_from_f(value)
    return in_c


def _named_f(shown: Mapping[str, Any], name: str) -> dict[str, Any]:
    """A kind or question, named and with its unit in degF where it is the temperature."""
    if shown[name] != IN_C:
        return dict(shown)
    return {**shown, name: IN_F, "unit": TemperatureUnit.FAHRENHEIT.sign}


def _reading_f(reading: Mapping[str, Any]) -> dict[str, Any]:
    if reading["quantity"] != IN_C:
        return dict(reading)
    return {**reading, "quantity": IN_F, "value": temp_f_from_c(reading["value"])}


def _expected_f(expected: Mapping[str, Any]) -> dict[str, Any]:
    """What needs no question: bounds as temperatures, distances to other readings as changes."""
    beside = expected["beside"]
    numbers = {} if beside is None else {k: v for k, v in beside.items() if v is not None}
    most = expected["most"]
    return {
        **expected,
        "least": temp_f_from_c(expected["least"]),
        "most": None if most is None else temp_f_from_c(most),
        "words": [spoken_in(words, TemperatureUnit.FAHRENHEIT) for words in expected["words"]],
        "beside": None
        if beside is None
        else {**beside, **{name: change_f_from_c(value) for name, value in numbers.items()}},
    }
