"""Words that stand above columns, and what they name: dictionary words of four languages."""

from __future__ import annotations

import re
import unicodedata

from batterymodel.inputs.cell_values import UNIT_WORDS
from batterymodel.inputs.column_map import Quantity


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

OTHER_PLACE = _set(
    "ambient air outside oat cabin room case board internal logger umgebung aussen ac input mains "
    "wall line solar alternator generator netz discharge set setpoint limit target rated nominal "
    "soll sd std error accuracy"
)
"""Words of what is not measured, or neither at the battery nor on the bus."""

EXTREMES = _set("min max minimum maximum peak low high")
"""Words of the least or most of a span, which is no reading."""

_PLACES = BATTERY | _set("supply bus ground dc gpu clamp aircraft main output out")
_SLASHED = "|".join(re.escape(word) for word in UNIT_WORDS)
_COMPOUND = re.compile(r"(?<=[a-z])(strom|spannung|temperatur)\b")


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
        As written in brackets or behind a slash, known or not; empty where none is.

    >>> header_words("Batterie-Strom [mA]")
    (['batterie', 'strom'], 'mA')
    """
    brackets = re.findall(r"[\[(]\s*([^])]*?)\s*[])]", header)
    brackets += re.findall(rf"/\s*({_SLASHED})\s*$", header, re.I)
    known = [text for text in brackets if text.lower().replace(" ", "") in UNIT_WORDS]
    unit = next(iter(known + brackets[-1:]), "")
    bare = re.sub(rf"[\[(/]\s*{re.escape(unit)}\s*(?:[])]|$)", " ", header) if known else header
    bare = re.sub(r"(?<=[a-z])(?=[A-Z][a-z])", " ", bare)
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
