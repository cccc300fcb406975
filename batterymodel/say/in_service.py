"""The capacity in service as readable text, for the page and the terminal."""

from __future__ import annotations

import json
from collections.abc import Iterable

from batterymodel.basis.text import counted
from batterymodel.capacity.in_service import NO_SUBSTITUTE, InServiceCapacity
from batterymodel.capacity.wording import SMALL_ERROR
from batterymodel.say.connection import amount, wrapped
from batterymodel.say.record_view import ServiceEstimate

NONE_ON_RECORD = (
    "No connection of {serial} has a rest voltage before and after on record; 'record add "
    "connection' takes both, 'record correct' adds one that was read later."
)


def in_service_line(found: ServiceEstimate) -> str:
    """What one connection tells of the capacity, or why it tells nothing.

    Parameters
    ----------
    found : ServiceEstimate

    Returns
    -------
    str
        One sentence; `NO_SUBSTITUTE` is to be said beside it once.
    """
    if found.estimate is None:
        return f"Capacity in service, connection of {found.on}: {found.why_not}"
    value, spread = amount(found.estimate.capacity_ah, "Ah")
    return f"Capacity in service, connection of {found.on}: {value}, 90 % range {spread}."


def in_service_text(result: InServiceCapacity) -> str:
    """The whole estimate: figures, where its uncertainty comes from, notes.

    Parameters
    ----------
    result : InServiceCapacity

    Returns
    -------
    str
        Several lines; capacities and charge [Ah], states of charge [%].
    """
    value, spread = amount(result.capacity_ah, "Ah")
    of_rated, _ = amount(result.percent_of_rated, "%")
    day = f", connection of {result.on}" if result.on else ""
    headline = f"Capacity in service{day}: {value}, 90 % range {spread} ({of_rated} of rated)."
    rows = [
        ("Capacity", *amount(result.capacity_ah, "Ah")),
        ("Percent of rated", *amount(result.percent_of_rated, "%")),
        ("Charge returned", *amount(result.charge_returned_ah, "Ah")),
        ("State of charge before", *amount(result.soc_before.scaled(100.0), "%")),
        ("Rise of the state of charge", *amount(result.soc_change.scaled(100.0), "%")),
        ("Battery temperature, before", _temp_words(result.temp_before_c), ""),
        ("Battery temperature, after", _temp_words(result.temp_after_c), ""),
    ]
    causes = [
        f"  {cause.capitalize():34}{100 * value:5.1f} %"
        for cause, value in result.rel_sd_by_cause.items()
        if value >= SMALL_ERROR
    ]
    return "\n".join(
        [
            wrapped(headline),
            "",
            f"  {'':34}{'best value':>12}   90 % range",
            *(f"  {name:34}{best:>12}   {ends}".rstrip() for name, best, ends in rows),
            "",
            "Where the uncertainty comes from (standard error)",
            *causes,
            "",
            "About the estimate",
            *(wrapped(note, "  - ") for note in result.notes),
        ]
    )


def service_estimates_text(serial: str, found: Iterable[ServiceEstimate]) -> str:
    """What every connection on record with both rest voltages tells of the capacity.

    Parameters
    ----------
    serial : str
    found : iterable of ServiceEstimate
        In the order to show them.

    Returns
    -------
    str
        A line for each, with its id; `NONE_ON_RECORD` without any.
    """
    found = tuple(found)
    if not found:
        return wrapped(NONE_ON_RECORD.format(serial=serial))
    told = sum(one.estimate is not None for one in found)
    seen = counted(len(found), "connection")
    head = f"Capacity in service of {serial}: {told} of {seen} with both rest voltages"
    lines = [wrapped(f"{_told_words(one)}  [{one.entry_id}]", "  ") for one in found]
    return "\n".join([f"{head} {'tells' if told == 1 else 'tell'} it.", *lines, NO_SUBSTITUTE])


def service_estimates_json(serial: str, found: Iterable[ServiceEstimate]) -> str:
    """The same as one JSON object: ``serial`` and ``connections``.

    Each of ``connections`` has its ``id``, ``on``, ``in_service`` as `capacity --json` prints it,
    or null with ``why_not``.

    Parameters
    ----------
    serial : str
    found : iterable of ServiceEstimate

    Returns
    -------
    str
    """
    connections = [
        {
            "id": one.entry_id,
            "on": one.on.isoformat(),
            "in_service": one.estimate and one.estimate.model_dump(mode="json"),
            "why_not": one.why_not,
        }
        for one in found
    ]
    return json.dumps({"serial": serial, "connections": connections}, indent=2)


def _told_words(one: ServiceEstimate) -> str:
    if one.estimate is None:
        return f"{one.on}  {one.why_not}"
    value, spread = amount(one.estimate.capacity_ah, "Ah")
    return f"{one.on}  {value}, 90 % range {spread}"


def _temp_words(temp_c: float | None) -> str:
    return "not known" if temp_c is None else f"{temp_c:.0f} °C"
