"""Why a header does not settle what its column holds: by itself, or by what stands above it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from batterymodel.inputs.cell_values import UNIT_WORDS
from batterymodel.inputs.column_map import CURRENTS, UNITS, Quantity
from batterymodel.inputs.header_words import BATTERY, CLAMPS, header_words


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


_NAMES_THAT_ARE_UNITS = _set("amp amps ampere amperes volt volts")
_PLACES_ABOVE = (
    BATTERY
    | CLAMPS
    | _set(
        "alternator generator solar discharge discharging netz mains inverter avionics shunt "
        "leakage starter dynamo lichtmaschine onduleur"
    )
)
_OWN_PLACE = BATTERY | _set("supply ground gpu versorgung versorgungs alimentation")
_QUANTITIES_ABOVE = _set("voltage voltages spannung tension power charge watts")
_SCALE = re.compile(
    r"\d[.,]\d"
    r"|(?<![a-z])x\s*\d+\b|[×*·/^]\s*\d+\b|\b\d+\s*[x×*·]|\b1e[+-]?\d"
    r"|[\[(]\s*\d+\s*[a-zµμ°º%]"
    r"|\b\d+(?:[mµμu]?[av])\b|\b\d{2,}\s+(?:[mµμu]?[av])\b|=",
    re.I,
)
_UNIT_ABOVE = re.compile(r"(?<![\d.,])(?<!\d )(?<![\w/])([°º]?[a-zµμ℃℉]+)(?![\w/])", re.I)
_SYMBOL_ABOVE = re.compile(r"(?:\bin|[\[(:=]|units?)\s*([avcfk])(?![\w/])", re.I)


def doubt_of_header(header: str, quantity: Quantity, unit: str, above: str = "") -> str:
    """Why a column may be something else, or in another unit, than its header seems to say.

    Parameters
    ----------
    header : str
    quantity : Quantity
        What it is taken for, a metered one.
    unit : str
        In which it is taken.
    above : str
        Text above the header that is no part of it.

    Returns
    -------
    str
        A part sentence, empty where there is no doubt.

    >>> doubt_of_header("Battery temp (°C/°F)", Quantity.BATTERY_TEMP, "degF")
    'names two units: degC and degF'
    """
    words, written = header_words(header)
    if quantity in CURRENTS and _is_bare_unit(words, written):
        return "names a unit only, not where it was measured"
    if len(units := _units_in(header, quantity, written)) > 1:
        return f"names two units: {' and '.join(units)}"
    if found := _SCALE.search(header):
        return f"'{found.group().strip(' [(')}' may be a scale of its values"
    return _doubt_above(set(words), quantity, unit, above)


def told_above(headers: Iterable[str], above: Mapping[str, str]) -> tuple[str, ...]:
    """What the text above each header says of units, places and quantities, and nothing else of it.

    Parameters
    ----------
    headers : iterable of str
    above : mapping of str to str
        As `foreign_table` gives it.

    Returns
    -------
    tuple of str
        One for each header, empty where nothing is said; a date, a name or a count of rows in a
        preamble makes no difference.

    >>> told_above(["Amps"], {"Amps": "Run 7 of 3 March; all values in mA"})
    ('mA',)
    """
    return tuple(_told_in(above.get(header, "")) for header in headers)


def _told_in(text: str) -> str:
    words = set(header_words(text.replace("\n", " "))[0]) & (_PLACES_ABOVE | _QUANTITIES_ABOVE)
    return " ".join(sorted((words | _units_above(text)) - {""}))


def _is_bare_unit(words: list[str], written: str) -> bool:
    symbols = UNIT_WORDS.keys() - _NAMES_THAT_ARE_UNITS
    left = [word for word in words if not word.isdigit()]
    return all(word in symbols for word in left) and bool(left or written)


def _units_in(header: str, quantity: Quantity, written: str) -> list[str]:
    """Units of the quantity that a header names; ``Amps (mA)`` names but one."""
    texts = re.split(r"[\s\[\]()/,;_-]+", header.lower())
    taken = [text for text in texts if not (written and text in _NAMES_THAT_ARE_UNITS)]
    found = {UNIT_WORDS.get(text, "") for text in taken}
    return [unit for unit in UNITS[quantity] if unit in found]


def _doubt_above(words: set[str], quantity: Quantity, unit: str, above: str) -> str:
    """What a preamble or a group beside says of another place, quantity or unit."""
    if quantity in CURRENTS and not words & _OWN_PLACE:
        told = set(header_words(above.replace("\n", " "))[0])
        if found := sorted(told & (_PLACES_ABOVE | _QUANTITIES_ABOVE)):
            return f"'{found[0]}' stands above it"
    others = [other for other in UNITS[quantity] if other in _units_above(above) and other != unit]
    return f"{others[0]} stands above it" if others else ""


def _units_above(above: str) -> set[str]:
    """Units in a text; not those of a number like ``60 A``, nor single letters of sentences."""
    words = [word for word in _UNIT_ABOVE.findall(above) if len(word) > 1]
    return {UNIT_WORDS.get(word.lower(), "") for word in words + _SYMBOL_ABOVE.findall(above)}
