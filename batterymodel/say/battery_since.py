"""What is on record of a battery after the connection that showed it last."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import date
from typing import Any

from batterymodel.basis.intervals import interval_around
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.wording import listed
from batterymodel.reference.limits import limit_for
from batterymodel.rules.battery_rules import capacity_severity
from batterymodel.rules.results import Outcome, Severity
from batterymodel.rules.wording import OUTCOME_WORDS
from batterymodel.say.record import SERVICING_WORDS
from batterymodel.store import Entry, Store
from batterymodel.store.as_of import last_check
from batterymodel.store.records import (
    BatteryPlate,
    BenchCheck,
    KnownState,
    Move,
    Servicing,
    ServicingFound,
    day_of,
)

NEWER = (
    "Newer than that connection: {what}. What it said of the battery then ({outcome}) no longer "
    "counts, and how the battery is since, and what it draws, was not checked: connect it and take "
    "new readings."
)
STANDS = (
    "Newer than that connection: {what}. What it said of the battery then ({outcome}) still "
    "counts: neither a move nor a charge that was told lifts it. How the battery is since, and "
    "what it draws, was not checked."
)
FAULTY_BEFORE = (
    "Servicing found a faulty cell on {day}, before that connection: whether it was repaired is "
    "not on record and was not checked."
)
CHECKED = "a capacity check of {day} ({least}{share:.0f} % of its rating)"
TOLD = "a state of charge told on {day} ({soc:.0f} %)"
PUT_IN, TAKEN_OFF = "its move into {tail} on {day} ({reason})", "its removal on {day} ({reason})"
FOUND_BY_SERVICING = "servicing of {day} ({found})"
BY_CHECK, BY_SERVICING = "its capacity check of {day}", "its servicing of {day}"
KINDS = (BenchCheck, KnownState, Move, Servicing)


def overtaken(
    store: Store,
    plate: Entry[BatteryPlate],
    then: BatteryNow,
    is_newer: Callable[[Entry[Any]], bool],
    day: date,
) -> tuple[BatteryNow, str]:
    """The battery as a connection showed it, less what is no longer so by what came after.

    Parameters
    ----------
    store : Store
    plate : Entry of BatteryPlate
    then : BatteryNow
        By the connection.
    is_newer : callable
        Whether an entry of the record came after the connection.
    day : date
        Entries of later days are left out.

    Returns
    -------
    now : BatteryNow
        With nothing newer, the same. Else no answer of the connection counts: the battery is under
        watch, or must come off by a capacity check; a check leaves its charge open, a charge that
        was told takes the place of the old one. That it must come off only a check or servicing
        lifts.
    words : str
        What is newer and what was not checked, in sentences; empty with nothing newer and no
        faulty cell before.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    found = _found_until(store, plate, day)
    newer = [e for e in found if is_newer(e) and not _is_told_by_check(e)]
    lifted = any(map(_is_looked_at, newer))
    before = "" if lifted else _faulty_words(entry for entry in found if not is_newer(entry))
    if not newer:
        return replace(then, is_overtaken=then.is_overtaken or bool(before)), before
    stays = then.must_come_off and not lifted
    outcome = then.outcome if stays else Outcome.KEEP_WATCHING
    now = replace(then, outcome=outcome, is_overtaken=True)
    for entry in newer:
        now = _after(entry.record, now, store, plate)
    said = listed(_words(entry.record, store, plate) for entry in newer)
    word = "no answer" if then.outcome is None else OUTCOME_WORDS[then.outcome].lower()
    told = (STANDS if stays else NEWER).format(what=said, outcome=word)
    return now, " ".join(filter(None, (told, before)))


def _found_until(store: Store, plate: Entry[BatteryPlate], day: date) -> list[Entry[Any]]:
    """What is on record of a battery beside its connections, in the order it was written."""
    found = [
        entry
        for kind in KINDS
        for entry in store.entries(kind, battery_id=plate.id)
        if (day_of(entry.record) or day) <= day
    ]
    return sorted(found, key=lambda entry: entry.order)


def must_come_off_by(store: Store, plate: Entry[BatteryPlate], entry: Entry[Any]) -> bool:
    """Whether a check or servicing says that the battery does not stay in the aircraft.

    Parameters
    ----------
    store : Store
    plate : Entry of BatteryPlate
    entry : Entry

    Returns
    -------
    bool
    """
    if isinstance(entry.record, BenchCheck):
        return _fails(entry.record, store, plate)
    return _is_faulty(entry)


def faulty_before(store: Store, plate: Entry[BatteryPlate], day: date) -> date | None:
    """Day of the faulty cell that servicing found last, with no better find since.

    Parameters
    ----------
    store : Store
    plate : Entry of BatteryPlate
    day : date
        The last that counts.

    Returns
    -------
    date or None
    """
    return _faulty_on(_found_until(store, plate, day))


def _faulty_on(found: Iterable[Entry[Any]]) -> date | None:
    looked_at = [entry for entry in found if _is_looked_at(entry)]
    return looked_at[-1].record.on if looked_at and _is_faulty(looked_at[-1]) else None


def _faulty_words(found: Iterable[Entry[Any]]) -> str:
    day = _faulty_on(found)
    return "" if day is None else FAULTY_BEFORE.format(day=day)


def _is_faulty(entry: Entry[Any]) -> bool:
    told = entry.record
    return isinstance(told, Servicing) and told.found is ServicingFound.FAULTY_CELL


def _is_looked_at(entry: Entry[Any]) -> bool:
    """Whether somebody looked at the battery itself."""
    return isinstance(entry.record, BenchCheck | Servicing)


def _is_told_by_check(entry: Entry[Any]) -> bool:
    """Whether a servicing says no more than the capacity check that it names."""
    return isinstance(entry.record, Servicing) and entry.record.check_id is not None


def _after(record: Any, now: BatteryNow, store: Store, plate: Entry[BatteryPlate]) -> BatteryNow:
    if isinstance(record, KnownState):
        charge = interval_around(record.state_of_charge, record.sd, least=0.0)
        return replace(now, state_of_charge=charge)
    if isinstance(record, Move):
        return now
    if isinstance(record, Servicing):
        fails, by = record.found is ServicingFound.FAULTY_CELL, BY_SERVICING
    else:
        fails, by = _fails(record, store, plate), BY_CHECK
    return replace(
        now,
        state_of_charge=None,
        capacity_ah=None,
        outcome=Outcome.SERVICE if fails else Outcome.KEEP_WATCHING,
        judged_by=by.format(day=record.on) if fails else None,
    )


def _fails(told: BenchCheck, store: Store, plate: Entry[BatteryPlate]) -> bool:
    """Whether the checks of a day that ran to the end voltage measured too little."""
    of_day = last_check(store.entries(BenchCheck, battery_id=plate.id, on=told.on), None)
    if of_day is None:
        return False
    check = of_day.record
    rated, battery = plate.record.rated_capacity_ah, store.battery(plate.record.serial)
    share, sd = check.capacity_ah / rated, check.check.sd_ah / rated
    least = limit_for(battery, "min_capacity_fraction").value
    return capacity_severity(share, sd, least) is Severity.SERVICE


def _words(record: Any, store: Store, plate: Entry[BatteryPlate]) -> str:
    if isinstance(record, KnownState):
        return TOLD.format(day=record.on, soc=100.0 * record.state_of_charge)
    if isinstance(record, BenchCheck):
        share = 100.0 * record.capacity_ah / plate.record.rated_capacity_ah
        least = "at least " if record.is_lower_bound else ""
        return CHECKED.format(day=record.on, share=share, least=least)
    if isinstance(record, Servicing):
        return FOUND_BY_SERVICING.format(day=record.on, found=SERVICING_WORDS[record.found])
    if record.aircraft_id is None:
        return TAKEN_OFF.format(day=record.on, reason=record.reason)
    tail = store.entry(record.aircraft_id).record.tail
    return PUT_IN.format(tail=tail, day=record.on, reason=record.reason)
