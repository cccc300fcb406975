"""Answers while a log grows: a line each."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

from batterymodel.inputs.records import Readings
from batterymodel.rules.results import Assessment
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.say.connection import percent


def answer_line(readings: Readings, result: Assessment) -> str:
    """Time, current, outcome, state of charge now and the next reading.

    Parameters
    ----------
    readings : Readings
    result : Assessment
        Of these readings.

    Returns
    -------
    str
        One line.
    """
    _, spread = percent(result.state_of_charge.now)
    minutes = result.next_reading_minutes
    further = "no further reading" if minutes is None else f"next reading in {minutes:.0f} min"
    current = f"{readings.supply_current_a[-1]:.1f} A"
    words = OUTCOME_WORDS[result.outcome]
    return f"{last_time(readings)}  {current}  {words}  charged {spread}  {further}"


def last_time(readings: Readings) -> str:
    """Time of the last reading: of day where that is known, else since the connection.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    str
        Hours, minutes and seconds.
    """
    elapsed_s = float(readings.elapsed_s[-1])
    if readings.started_at is not None:
        return f"{readings.started_at + timedelta(seconds=elapsed_s):%H:%M:%S}"
    whole_s = round(elapsed_s)
    return f"{whole_s // 3600}:{whole_s // 60 % 60:02}:{whole_s % 60:02}"


def answer_json(readings: Readings, result: Assessment, changed: bool) -> dict[str, Any]:
    """The same as a JSON object.

    Parameters
    ----------
    readings : Readings
    result : Assessment
        Of these readings.
    changed : bool
        Whether the outcome is another than before: then the whole assessment stands in it.

    Returns
    -------
    dict
        ``elapsed_s`` [s], ``time`` (ISO 8601 or None), ``supply_current_a`` [A], ``outcome``,
        ``state_of_charge`` now [0..1], ``next_reading_minutes``, ``changed``.
    """
    elapsed_s, start = float(readings.elapsed_s[-1]), readings.started_at
    at = None if start is None else (start + timedelta(seconds=elapsed_s)).isoformat()
    return {
        "elapsed_s": elapsed_s,
        "time": at,
        "supply_current_a": float(readings.supply_current_a[-1]),
        "outcome": str(result.outcome),
        "state_of_charge": result.state_of_charge.now.model_dump(mode="json"),
        "next_reading_minutes": result.next_reading_minutes,
        "changed": changed,
        **({"assessment": result.model_dump(mode="json")} if changed else {}),
    }


def last_line(readings: Readings, result: Assessment, *, as_json: bool) -> str:
    """The last outcome when following ends.

    Parameters
    ----------
    readings : Readings
    result : Assessment
        Of these readings.
    as_json : bool

    Returns
    -------
    str
        One line.
    """
    if as_json:
        return json.dumps({"ended": True, **answer_json(readings, result, changed=False)})
    return f"ended at {last_time(readings)}: {result.headline}"
