"""What is on record of a battery after the connection that showed it last."""

from __future__ import annotations

from collections.abc import Callable
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
        was told takes the place of the old one.
    words : str
        What is newer and what was not checked, in sentences; empty with nothing newer.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    found = [
        entry
        for kind in KINDS
        for entry in store.entries(kind, battery_id=plate.id)
        if (day_of(entry.record) or day) <= day and is_newer(entry) and not _is_told_by_check(entry)
    ]
    newer = sorted(found, key=lambda entry: entry.order)
    if not newer:
        return then, ""
    now = replace(then, outcome=Outcome.KEEP_WATCHING, is_overtaken=True)
    for entry in newer:
        now = _after(entry.record, now, store, plate)
    said = listed(_words(entry.record, store, plate) for entry in newer)
    outcome = "no answer" if then.outcome is None else OUTCOME_WORDS[then.outcome].lower()
    return now, NEWER.format(what=said, outcome=outcome)


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


def _fails(check: BenchCheck, store: Store, plate: Entry[BatteryPlate]) -> bool:
    """Whether a check that ran to the end voltage measured too little."""
    if check.is_lower_bound:
        return False
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
