"""What is kept of a connection's answers when it is taken in, and what its readings showed later.

A completed taper tells what the battery truly took, so an answer from the first minutes can be held
against it. That answer is made on the way in: by what the record knew of the battery then, without
a look at the later readings.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from math import hypot
from typing import Any

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Battery, Readings
from batterymodel.rules.results import Assessment
from batterymodel.soc.kinds import FULL_SOC
from batterymodel.store.entries import live_values
from batterymodel.store.former_plates import former_spells, written_in
from batterymodel.store.records import Connection
from batterymodel.store.store import Store
from batterymodel.store.told_readings import TOLD_FIELDS
from batterymodel.track.answers import EARLY_S, SAME_TIME_S, answer_of, first_part
from batterymodel.track.kept import KeptAnswer, RestedCharge, ReturnedCharge, SeenLater
from batterymodel.track.truths import charge_at_rest, returned_charge

LEAST_LENGTH = 2.0
"""How many times as long as an early answer's readings a connection must be to have one [-] (own
choice)."""


@dataclass(frozen=True)
class Kept:
    """Answers of a connection as the record keeps them, and what they are scored by."""

    answers: tuple[KeptAnswer, ...] | None = None
    seen_later: SeenLater | None = None


@dataclass(frozen=True)
class AnswerBefore:
    """An answer on record of the same connection, and whether the same facts were told then."""

    answer: KeptAnswer
    is_by_same_facts: bool


def answers_before(
    store: Store, connection: Connection, but: str | None = None
) -> tuple[AnswerBefore, ...]:
    """Answers that are on record of the same connection, from a file of fewer readings perhaps.

    Parameters
    ----------
    store : Store
    connection : Connection
        Without a beginning by the clock none can be told to be the same.
    but : str, optional
        Entry that is left out.

    Returns
    -------
    tuple of AnswerBefore
        First written first.
    """
    if connection.started_at is None:
        return ()
    names = ("battery_id", "started_at", *TOLD_FIELDS)
    with store.reading() as session:
        columns = ("entry_id", "recorded_at", "answers", *names)
        rows = live_values(session, Connection, *columns)
        former = former_spells(store.history(connection.battery_id))
    same = [getattr(connection, name) for name in names]
    return tuple(
        AnswerBefore(answer, is_by_same_facts=told == same)
        for entry, written_at, answers, *told in rows
        if entry != but and told[:2] == same[:2] and not written_in(former, written_at)
        for answer in answers or ()
    )


def kept_of(
    connection: Connection,
    battery: Battery,
    readings: Readings | None,
    result: Assessment | None,
    before: tuple[AnswerBefore, ...],
    told: dict[str, Any],
) -> Kept:
    """What is kept of a connection that was just assessed.

    Parameters
    ----------
    connection : Connection
    battery : Battery
        As the record had it before this connection.
    readings : Readings or None
    result : Assessment or None
        Of all readings; without one nothing is kept.
    before : tuple of AnswerBefore
        Of the same connection, from fewer readings (`answers_before`): the first of them is scored,
        and no other early answer is made. By the same facts it is kept here too, so that it is
        scored where the file it was made from is deleted as one too many.
    told : dict
        What `assess` takes beside readings and battery.

    Returns
    -------
    Kept
    """
    if result is None or readings is None:
        return Kept()
    final, rested = answer_of(result), _rested(connection, battery, result)
    first = _first_of(before, final.until_s)
    early, is_kept = (first.answer, first.is_by_same_facts) if first else (None, True)
    after_s, returned = early.until_s if early else _early_end_s(readings), None
    if after_s is not None:
        returned = _returned(readings, battery, told, after_s)
    if returned is not None and early is None:
        early = _early_answer(readings, battery, connection.day, told)
    is_kept = is_kept and returned is not None
    answers = (early, final) if is_kept and early is not None else (final,)
    seen = SeenLater(returned=returned if early else None, rested=rested)
    return Kept(answers, None if seen == SeenLater() else seen)


def _rested(connection: Connection, battery: Battery, result: Assessment) -> RestedCharge | None:
    """Charge at rest afterwards, with what may have been charged since the last reading.

    None where the taper was not seen to its end: the battery may have been charged for hours more.
    """
    lesson, rest_after_v = result.taper_lesson, connection.rest_after_v
    if rest_after_v is None or lesson is None or 1.0 - lesson.left < FULL_SOC:
        return None
    found = charge_at_rest(battery, rest_after_v, connection.ambient_c)
    return RestedCharge(soc=found.soc, sd=min(hypot(found.sd, lesson.left), 1.0))


def _first_of(before: tuple[AnswerBefore, ...], until_s: float) -> AnswerBefore | None:
    """The answer that was given first of those from fewer readings."""
    return next((one for one in before if one.answer.until_s < until_s - SAME_TIME_S), None)


def _early_end_s(readings: Readings) -> float | None:
    """Last reading of the first `EARLY_S` [s]; None where none is, or the readings end soon."""
    part = first_part(readings, EARLY_S)
    if part is None or readings.elapsed_s[-1] < LEAST_LENGTH * EARLY_S:
        return None
    return float(part.elapsed_s[-1])


def _early_answer(
    readings: Readings, battery: Battery, on: date, told: dict[str, Any]
) -> KeptAnswer | None:
    """The answer of the first `EARLY_S` alone; None where they give none."""
    part = first_part(readings, EARLY_S)
    try:
        return None if part is None else answer_of(assess(part, battery, on=on, **told))
    except BatteryModelError:
        return None


def _returned(
    readings: Readings, battery: Battery, told: dict[str, Any], after_s: float
) -> ReturnedCharge | None:
    names = ("supply", "load_a", "load_sd_a")
    about = {name: told[name] for name in names}
    return returned_charge(readings, battery, temp_c=told["ambient_c"], after_s=after_s, **about)
