"""What the meter pad shows of a connection in progress, as plain data for the browser.

The pad has to ask about a doubtful value at once, with or without a network; so it is told
beforehand what needs no question (`batterymodel.taper.slips.expected_values`), and only compares.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import asdict
from datetime import datetime
from math import isfinite
from typing import Any

from batterymodel.inputs.entry_faults import Shown
from batterymodel.inputs.no_value_marks import MARKS as NO_VALUE
from batterymodel.inputs.records import Battery, Supply
from batterymodel.reference.supply import output_limit
from batterymodel.reference.temperature import LEAD_ACID
from batterymodel.rules.results import Assessment, Outcome
from batterymodel.say.in_progress import (
    QUESTIONS,
    UNITS,
    LiveView,
    currents_that_count,
    is_after_meter,
)
from batterymodel.say.rest_doubt import rest_doubt
from batterymodel.store.acts import InProgress, Mark, Noted, Quantity, Reading
from batterymodel.store.noted_readings import marks_left_out, stands_alone
from batterymodel.taper.slips import NEAR_RATIO, Expected, expected_values

LABELS = {
    Quantity.SUPPLY_CURRENT: "Meter",
    Quantity.BATTERY_CURRENT: "Clamp",
    Quantity.SUPPLY_VOLTAGE: "Volts",
    Quantity.BATTERY_TEMP: "Temp.",
}
"""What is read, the usual one first, by the label of its key."""

MARKS = ("Switched on", "Switched off")
LAST_SHOWN, LAST_OF_A_KIND = 3, 2
"""Last readings that are listed, and those of each kind that a value is compared with."""

NEXT_WORDS = {
    Outcome.DISCONNECT: "Take ground power off",
    Outcome.SERVICE: "No more readings needed",
}
NAMES = {
    Quantity.BATTERY_CURRENT: "clamp",
    "rest_voltage_v": "at rest",
    "load_a": "bus load",
}
"""What is said behind a value in the list where its unit does not tell what was read."""

FULL_LABELS = {
    "supply_current_a": Shown("Meter of the supply", "A"),
    "battery_current_a": Shown("Clamp", "A"),
    "supply_voltage_v": Shown("Volts of the supply", "V"),
    "battery_temp_c": Shown("Battery temperature", "°C"),
    "rest_voltage_v": Shown("Battery voltage at rest", "V"),
    "load_a": Shown("Bus load", "A"),
}
"""What is read or answered, as refusals name it."""

NOT_IN_RECORD = "belongs to a connection that is not in this record"
"""What is said of an entry that no record will take."""

MARK_WORDS = "A meter that has no reading shows such a number."
"""What is said to a value that is a meter's mark for no value."""

LEFT_OUT = "left out: a meter's mark for no value"
COUNTS_LATER = "counts once the meter is read beside it"
COUNTS_NOT = "does not count: the meter was not read beside it"
LIMIT_WORDS = {
    "supply_current_a": (
        "Below 0 the leads of the meter are reversed.",
        "The supply gives up to {limit:g} A.",
    ),
    "battery_current_a": (
        "Below 0 the battery gives current, or the clamp is turned round.",
        "The meter of the supply shows less.",
    ),
    "load_a": ("A load is not below 0.", "The supply with its battery gives less."),
    "supply_voltage_v": ("A supply for this battery gives {least:.0f} to {most:.0f} V.",) * 2,
    "rest_voltage_v": ("This battery rests at {least:.0f} to {most:.0f} V.",) * 2,
    "battery_temp_c": ("Usual are {least:.0f} to {most:.0f} °C.",) * 2,
}
"""What is said to a value below and above what needs no question."""


def pad_of(view: LiveView, now: datetime) -> dict[str, Any]:
    """The pad of a connection in progress.

    Parameters
    ----------
    view : LiveView
    now : datetime
        Of the record's computer, with its UTC offset.

    Returns
    -------
    dict
        JSON: `closed_pad` and besides ``due_ms`` (moment of the next reading [ms], or None),
        ``next_words`` (said in its place), ``question`` (name, text, unit, or None), ``expected``
        (by name: least and most that need no question or None, words for both, ``near`` and
        ``beside``, see `batterymodel.taper.slips`; ``marks`` for no value, with their words).
    """
    connection, question = view.connection, view.question
    started_ms = 1000.0 * connection.started_at.timestamp()
    return closed_pad(connection, now) | {
        "closed": False,
        "due_ms": None if view.due_s is None else started_ms + 1000.0 * view.due_s,
        "next_words": _next_words(view.assessment),
        "question": None if question is None else asdict(question),
        "expected": _expected(view),
    }


def closed_pad(connection: InProgress | None, now: datetime) -> dict[str, Any]:
    """The pad of a connection that takes nothing more, or of none: what waits is still sent.

    Parameters
    ----------
    connection : InProgress or None
    now : datetime
        Of the record's computer, with its UTC offset.

    Returns
    -------
    dict
        JSON: ``connection`` (id or None), ``started_ms`` and ``now_ms`` (moments since 1970 [ms]),
        ``closed``, ``kinds`` (name, label, unit), ``marks`` (labels), ``last`` (readings, answers
        and marks, the newest first), ``names`` (said behind values), ``switched_s`` (times of marks
        since connection [s]), ``stored`` (ids).
    """
    began = now if connection is None else connection.started_at
    return {
        "connection": None if connection is None else connection.id,
        "started_ms": 1000.0 * began.timestamp(),
        "now_ms": 1000.0 * now.timestamp(),
        "closed": True,
        "due_ms": None,
        "next_words": "",
        "question": None,
        "expected": {},
        "kinds": [{"name": n, "label": label, "unit": UNITS[n]} for n, label in LABELS.items()],
        "names": {str(name): words for name, words in NAMES.items()},
        "marks": list(MARKS),
        "last": [] if connection is None else list(_last(connection)),
        "switched_s": [] if connection is None else [m.elapsed_s for _, m in connection.marks],
        "stored": [] if connection is None else [noted.key for noted in connection.noted],
    }


def doubt_words(name: str, expected: Expected, supply: Supply | None) -> tuple[str, str]:
    """What is said to a value below, and above, what needs no question.

    Parameters
    ----------
    name : str
        Of the quantity or of what is told.
    expected : Expected
    supply : Supply or None

    Returns
    -------
    (str, str)
    """
    limit_a = expected.most if supply is None else output_limit(supply).limit_a
    below, above = LIMIT_WORDS[name]
    if name in ("battery_current_a", "load_a") and expected.most >= limit_a:
        above = LIMIT_WORDS["supply_current_a"][1]
    numbers = {"limit": limit_a, "least": expected.least, "most": expected.most}
    return below.format(**numbers), above.format(**numbers)


def _next_words(assessment: Assessment | None) -> str:
    return "" if assessment is None else NEXT_WORDS.get(assessment.outcome, "")


def _expected(view: LiveView) -> dict[str, dict[str, Any]]:
    supply = view.connection.told.supply
    currents = [reading.value for reading in currents_that_count(view.connection)]
    found = expected_values(view.battery, supply, currents)
    shown = {
        name: {
            "least": expected.least,
            "most": expected.most if isfinite(expected.most) else None,
            "near": NEAR_RATIO,
            "marks": sorted({abs(mark) for mark in NO_VALUE}),
            "mark_words": MARK_WORDS,
            "words": list(doubt_words(name, expected, supply)),
            "beside": None if expected.beside is None else asdict(expected.beside),
        }
        for name, expected in found.items()
    }
    if view.battery is not None and view.battery.chemistry in LEAD_ACID:
        shown["rest_voltage_v"] |= _expected_rest(view, view.battery, shown["rest_voltage_v"])
    return shown


def _expected_rest(view: LiveView, battery: Battery, usual: dict[str, Any]) -> dict[str, Any]:
    """Narrower bounds of a rest voltage, with their words."""
    soc = None if view.assessment is None else view.assessment.state_of_charge.at_connection
    doubt = rest_doubt(battery, Expected(usual["least"], usual["most"]), soc)
    below, above = (
        (words, *more)
        for words, more in zip(usual["words"], (doubt.below, doubt.above), strict=True)
    )
    return {"least": doubt.least, "most": doubt.most, "words": [" ".join(below), " ".join(above)]}


def _last(connection: InProgress) -> Iterable[dict[str, Any]]:
    """What is listed or compared with, the newest first; the last answers stay in the list."""
    counting = [noted for noted in connection.noted if not (noted.struck or noted.late)]
    counting.sort(key=lambda noted: noted.what.elapsed_s, reverse=True)
    of_kind: dict[str, int] = {}
    left_out = marks_left_out(connection)
    for place, noted in enumerate(counting):
        line = _line(connection, noted)
        if noted.key in left_out:
            line["remark"] = LEFT_OUT
        name = line["quantity"]
        of_kind[name] = of_kind.get(name, 0) + 1
        line["stays"] = name in QUESTIONS and of_kind[name] == 1
        compared = not isinstance(noted.what, Mark) and of_kind[name] <= LAST_OF_A_KIND
        if place < LAST_SHOWN or compared:
            yield line


def _line(connection: InProgress, noted: Noted) -> dict[str, Any]:
    what = noted.what
    line = {"id": noted.key, "elapsed_s": what.elapsed_s, "remark": ""}
    if isinstance(what, Mark):
        return line | {"quantity": "event", "value": None, "text": what.label}
    remark = count_remark(connection, what) if isinstance(what, Reading) else ""
    return line | {"quantity": str(what.quantity), "value": what.value, "remark": remark}


def count_remark(connection: InProgress, reading: Reading) -> str:
    """What is said of a reading that tells nothing without a meter reading beside it.

    Parameters
    ----------
    connection : InProgress
    reading : Reading

    Returns
    -------
    str
        Empty where it counts.
    """
    if not stands_alone(connection, reading):
        return ""
    return COUNTS_LATER if is_after_meter(connection, reading) else COUNTS_NOT
