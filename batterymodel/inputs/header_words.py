"""Words that stand above columns, and what they name: dictionary words of four languages."""

from __future__ import annotations

import re
import unicodedata

from batterymodel.inputs.cell_values import UNIT_WORDS
from batterymodel.inputs.column_map import CURRENTS, UNITS, Quantity


def _set(words: str) -> frozenset[str]:
    return frozenset(words.split())


QUANTITY_OF_WORDS: dict[Quantity, frozenset[str]] = {
    Quantity.EVENT: _set(
        "event events note notes remark remarks comment comments action marker ereignis bemerkung "
        "kommentar remarque evento nota"
    ),
    Quantity.BATTERY_TEMP: _set(
        "temp temperature temperatur temperatura tbat tbatt degc degf celsius fahrenheit"
    ),
    Quantity.SUPPLY_VOLTAGE: _set(
        "v u volt volts voltage vdc mv millivolts spannung tension voltaje vbus ubus vbat vbatt "
        "ubat ubatt"
    ),
    Quantity.SUPPLY_CURRENT: _set(
        "a i amp amps ampere amperes current adc ma milliamps milliamperes strom courant corriente "
        "intensite intensidad ibat ibatt ammeter"
    ),
    Quantity.LOAD: _set("load verbraucher"),
    Quantity.DATE: _set("date datum fecha day"),
    Quantity.TIME: _set(
        "time zeit uhrzeit heure hora temps tiempo clock timestamp datetime t elapsed seconds "
        "minutes hours sec secs zeitstempel dauer duration"
    ),
}
"""Words of each quantity; of several in one header the first in this order is taken."""

ELAPSED = _set("elapsed dauer duration since run runtime seconds sec secs")
"""Words of a time since the connection."""

CLOCK = _set("clock uhrzeit heure hora day local utc")
"""Words of a time of day."""

BATTERY = _set(
    "battery batt bat batterie akku bateria accu ship charge charging lade ibat ibatt tbat tbatt"
)
"""Words of what is measured at the battery."""

NOT_MEASURED = _set("set setpoint limit target rated nominal soll sd std error accuracy")
"""Words of what no meter showed."""

OTHER_PLACE = NOT_MEASURED | _set(
    "ambient air outside oat cabin room case board internal logger umgebung aussen ac input mains "
    "wall line solar alternator generator netz discharge"
)
"""Words of what is not measured, or neither at the battery nor on the bus."""

CLAMPS = _set(
    "clamp clamps clampmeter clampon tongs tong pliers jaw zange stromzange zangen pince pinces "
    "pinza pinzas tenaza"
)
"""Words of a clamp meter, which may be around either lead."""

OTHER_UNITS = _set("ah mah wh kwh va kva w kw watt watts ohm ohms hz joules")
"""Units of quantities that readings have no use for, in small letters."""

EXTREMES = _set("min max minimum maximum peak low high")
"""Words of the least or most of a span, which is no reading."""

_SUPPLY = _set("supply ground dc gpu aircraft main output out versorgung versorgungs alimentation")
_PLACES = BATTERY | _SUPPLY | _set("bus clamp")
_FILLERS = _set(
    "of the de du s n no nr ch channel value reading measured actual mean avg average moyenne "
    "mittel mittelwert media"
)
_BATTERY_ITSELF = BATTERY - _set("ship charge charging lade ibat ibatt") | _set("cell cells t")
_NUMBERED = re.compile(r"(?:ch|i|u|v|a|t)?\d{1,2}", re.A)
_SLASHED = "|".join(re.escape(word) for word in UNIT_WORDS)
_COMPOUND = re.compile(r"(?<=[a-z])(strom|spannung|temperatur)\b")
_DEGREES = re.compile(r"(?<![\[(/])\s*([°º]\s?[CFcf]|℃|℉)\s*$")
_OTHER_QUANTITY = re.compile(
    r"\b(?:amp(?:ere)?s?[\s_-]*h(?:(?:ou)?rs?)?|volt[\s_-]*amp(?:ere)?s?)\b", re.I
)


def header_words(header: str) -> tuple[list[str], str]:
    """Words of a header, and the unit it names.

    Parameters
    ----------
    header : str

    Returns
    -------
    words : list of str
        In small letters without accents, a unit that is known left out where it stands in brackets.
    unit : str
        As written in brackets, behind a slash or with a degree sign, known or not; empty where
        none is.

    >>> header_words("Batterie-Strom [mA]")
    (['batterie', 'strom'], 'mA')
    """
    header = header.replace("\N{MICRO SIGN}", "u").replace("\N{GREEK SMALL LETTER MU}", "u")
    brackets = re.findall(r"[\[(]\s*([^])]*?)\s*[])]", header)
    brackets += re.findall(rf"/\s*({_SLASHED})\s*$", header, re.I)
    brackets += _DEGREES.findall(header)
    known = [text for text in brackets if text.lower().replace(" ", "") in UNIT_WORDS]
    unit = next(iter(known + brackets[-1:]), "")
    bare = re.sub(rf"[\[(/]\s*{re.escape(unit)}\s*(?:[])]|$)", " ", header) if known else header
    bare = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", _DEGREES.sub(" ", bare))
    plain = unicodedata.normalize("NFKD", bare.lower()).encode("ascii", "ignore").decode()
    plain = _COMPOUND.sub(r" \1", plain)
    return [word for word in re.split(r"[^a-z0-9]+", plain) if word], unit


def telling(words: list[str]) -> set[str]:
    """Words that may name a quantity: a single letter only alone or behind a place.

    Parameters
    ----------
    words : list of str
        From `header_words`.

    Returns
    -------
    set of str

    >>> "v" in telling(["supply", "v"]), "a" in telling(["channel", "a"])
    (True, False)
    """
    places = [w for w in words[:-1] if w in _PLACES or w.isdigit()]
    alone = len(places) == len(words) - 1
    return {w for w in words[:-1] if len(w) > 1} | {w for w in words[-1:] if len(w) > 1 or alone}


def _known_words() -> dict[Quantity, frozenset[str]]:
    """Words that say nothing against a column being the quantity that it is taken for."""
    current = QUANTITY_OF_WORDS[Quantity.SUPPLY_CURRENT]
    volts = QUANTITY_OF_WORDS[Quantity.SUPPLY_VOLTAGE]
    temps = QUANTITY_OF_WORDS[Quantity.BATTERY_TEMP]
    known = {
        Quantity.SUPPLY_CURRENT: current - {"ammeter"} | _SUPPLY,
        Quantity.BATTERY_CURRENT: current | BATTERY | CLAMPS | {"dc"},
        Quantity.SUPPLY_VOLTAGE: volts | _SUPPLY | BATTERY | {"bus"},
        Quantity.BATTERY_TEMP: temps | _BATTERY_ITSELF,
        Quantity.LOAD: QUANTITY_OF_WORDS[Quantity.LOAD] | current | {"bus", "aircraft", "dc"},
        Quantity.TIME: QUANTITY_OF_WORDS[Quantity.TIME]
        | QUANTITY_OF_WORDS[Quantity.DATE]
        | ELAPSED
        | CLOCK
        | _set("connection start hh mm ss"),
    }
    known[Quantity.ELAPSED] = known[Quantity.TIME]
    return {quantity: words | _unit_words(quantity) | _FILLERS for quantity, words in known.items()}


def _unit_words(quantity: Quantity) -> frozenset[str]:
    units = UNITS[Quantity.ELAPSED if quantity is Quantity.TIME else quantity]
    return frozenset(word for word, unit in UNIT_WORDS.items() if unit in units)


_KNOWN_WORDS = _known_words()


def unknown_words(quantity: Quantity, words: list[str]) -> list[str]:
    """Words of a header that may make its column something else than this quantity.

    Parameters
    ----------
    quantity : Quantity
        What the column is taken for.
    words : list of str
        From `header_words`.

    Returns
    -------
    list of str
        Numbers of channels are no such words, except in a time.

    >>> unknown_words(Quantity.SUPPLY_CURRENT, ["avionics", "amps", "2"])
    ['avionics']
    """
    counted = quantity not in (Quantity.TIME, Quantity.ELAPSED)
    left = [word for word in words if word not in _KNOWN_WORDS[quantity]]
    return [word for word in left if not (counted and _NUMBERED.fullmatch(word))]


def names_the_battery(quantity: Quantity, words: set[str]) -> bool:
    """Whether a word says that a column was measured at the battery itself.

    Parameters
    ----------
    quantity : Quantity
        A current may be the ship's or the charge's; a temperature may not.
    words : set of str

    Returns
    -------
    bool
    """
    return bool(words & (BATTERY if quantity in CURRENTS else _BATTERY_ITSELF - {"t", "cells"}))


def is_of_another_quantity(header: str, words: list[str], written: str) -> bool:
    """Whether a header names a charge, a power or the like, which readings have no use for.

    Parameters
    ----------
    header : str
    words : list of str
    written : str
        The unit, both from `header_words`.

    Returns
    -------
    bool

    >>> is_of_another_quantity("Amp hours", ["amp", "hours"], "")
    True
    """
    named = {written.lower().replace(" ", ""), *words[-1:], *(w for w in words if len(w) > 1)}
    return bool(named & OTHER_UNITS) or bool(_OTHER_QUANTITY.search(header))
