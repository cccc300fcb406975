"""What of the record is in force on a day: aircraft, card, history, last check, last state."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Protocol, TypeVar

from batterymodel.basis.intervals import Interval
from batterymodel.inputs.last_check import place_of_last
from batterymodel.inputs.records import EARLIEST_INSTALLED, Battery, LastKnown, Limits, Record
from batterymodel.reference.chemistry import NEARLY_FULL_SOC
from batterymodel.rules.results import Outcome
from batterymodel.store.entries import Entry
from batterymodel.store.former_plates import former_spells, learned_by_this_plate
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    Move,
    Servicing,
    day_of,
)
from batterymodel.store.told_twice import each_once

RecordT = TypeVar("RecordT", bound=Record)

SURELY_FULL_SOC = 0.9
"""Lower end of the state of charge at the last reading from which on a connection leaves a nearly
full battery behind [0..1] (own choice)."""

LEAST_STATE_SD = 0.01
"""Least error of a state of charge read from a completed top-off (own choice)."""


class Entries(Protocol):
    """What is read of a store here."""

    def entries(self, record: type[RecordT], **equal: object) -> tuple[Entry[RecordT], ...]:
        """Present entries of a kind whose fields equal those given.

        Parameters
        ----------
        record : type of Record
            The kind, by its record's class.
        **equal : object
            Field names and the values they must have.

        Returns
        -------
        tuple of Entry
            In order of their day.
        """

    def entry(self, entry_id: str) -> Entry[Any]:
        """The entry of an id.

        Parameters
        ----------
        entry_id : str
            `Entry.id`, the same through all corrections.

        Returns
        -------
        Entry
            Its present row, deleted or not.

        Raises
        ------
        InputError
            An id that is not in the record.
        """

    def history(self, entry_id: str) -> tuple[Entry[Any], ...]:
        """Every row of an entry, first writing first.

        Parameters
        ----------
        entry_id : str

        Returns
        -------
        tuple of Entry
        """


def battery_in_force(
    store: Entries,
    plate: Entry[BatteryPlate],
    on: date | None,
    before: datetime | None,
    again: str | None = None,
) -> Battery:
    """The battery as the assessment takes it, with what is in force on a day.

    Its `tail` is that of its aircraft, or its serial while it is off aircraft.

    Parameters
    ----------
    store : Entries
    plate : Entry of BatteryPlate
    on : date or None
        Later entries are left out; None takes the latest of everything.
    before : datetime or None
        Leaves out connections of the day `on` that started at this moment or later; only clocks
        that both have a UTC offset, or both have none, are compared.
    again : str, optional
        Id of a connection that is looked at once more: the record counts as it was just before it,
        without its own result and what it taught.

    Returns
    -------
    Battery
        Its last known state is None where what followed it is not on record.
    """
    seen = store.entries(Connection, battery_id=plate.id)
    not_before = _ids_not_before(store, seen, on, before, again)

    def last(kind: type[RecordT]) -> Entry[RecordT] | None:
        return latest(store.entries(kind, battery_id=plate.id), on)

    checked = last_check(store.entries(BenchCheck, battery_id=plate.id), on)
    aircraft, card = aircraft_in_force(store, plate.id, on), last(CardRevision)
    histories = histories_that_count(store, plate)
    taught = latest(tuple(e for e in histories if e.record.connection_id not in not_before), on)
    return Battery(
        tail=aircraft.record.tail if aircraft else plate.record.serial,
        chemistry=plate.record.chemistry,
        cells=plate.record.cells,
        rated_capacity_ah=plate.record.rated_capacity_ah,
        limits=card.record.limits if card else Limits(),
        history=taught.record.history if taught else None,
        capacity_check=checked.record.check if checked else None,
        last_known=_last_known(
            store, plate.id, on, tuple(entry for entry in seen if entry.id not in not_before)
        ),
        installed_on=_installed_on(plate.record, on),
    )


def histories_that_count(
    store: Entries, plate: Entry[BatteryPlate]
) -> tuple[Entry[HistoryRevision], ...]:
    """Histories of a battery but those that were learned while its plate was mistyped.

    Parameters
    ----------
    store : Entries
    plate : Entry of BatteryPlate

    Returns
    -------
    tuple of Entry
        In order of their day.
    """
    found = store.entries(HistoryRevision, battery_id=plate.id)
    if plate.replaces is None or not found:
        return found
    return learned_by_this_plate(found, former_spells(store.history(plate.id)))


def _installed_on(plate: BatteryPlate, on: date | None) -> date | None:
    """Day of installation; none known where the record places it after the day asked for."""
    day = plate.installed_on
    if day is None or day < EARLIEST_INSTALLED or (on is not None and day > on):
        return None
    return day


def latest(entries: tuple[Entry[RecordT], ...], on: date | None) -> Entry[RecordT] | None:
    """The last entry up to a day; of one day, the one first written last (`Entry.order`).

    Parameters
    ----------
    entries : tuple of Entry
        In any order.
    on : date or None
        None takes every day; an entry that speaks of no day counts as of any.

    Returns
    -------
    Entry or None
        None where there is no entry up to that day.
    """
    known = [entry for entry in entries if on is None or (day_of(entry.record) or on) <= on]
    return max(known, key=lambda entry: entry.order, default=None)


def aircraft_in_force(store: Entries, battery_id: str, on: date | None) -> Entry[Aircraft] | None:
    """The aircraft a battery is in on a day.

    Parameters
    ----------
    store : Entries
    battery_id : str
        `Entry.id` of the battery, not its serial.
    on : date or None
        None goes by the last move of all.

    Returns
    -------
    Entry of Aircraft or None
        None where the last move took it off, or there was none.
    """
    move = latest(store.entries(Move, battery_id=battery_id), on)
    if move is None or move.record.aircraft_id is None:
        return None
    return store.entry(move.record.aircraft_id)


def last_check(checks: tuple[Entry[BenchCheck], ...], on: date | None) -> Entry[BenchCheck] | None:
    """The last check that ran to the end voltage: one stopped early measures no capacity.

    Parameters
    ----------
    checks : tuple of Entry
        Of one battery, in any order.
    on : date or None
        Later checks are left out; None takes all.

    Returns
    -------
    Entry or None
        Of several of its day the least (`place_of_last`); None where none ran to its end.
    """
    once = each_once(checks)
    ended = [e for e in once if not e.record.is_lower_bound and (on is None or e.record.on <= on)]
    k = place_of_last([e.record.on for e in ended], [e.record.capacity_ah for e in ended])
    return None if k is None else ended[k]


def last_told_check(checks: tuple[Entry[BenchCheck], ...]) -> Entry[BenchCheck] | None:
    """The last check of all; one that stopped early only where none of its day ran to its end.

    Parameters
    ----------
    checks : tuple of Entry
        Of one battery, in any order.

    Returns
    -------
    Entry or None
        None without a check.
    """
    last, ended = latest(checks, None), last_check(checks, None)
    if last is None or ended is None or ended.record.on < last.record.on:
        return last
    return ended


def _last_known(
    store: Entries,
    battery_id: str,
    on: date | None,
    earlier: tuple[Entry[Connection], ...],
) -> LastKnown | None:
    """The last state of charge that still says something.

    That is a state told to the record, or a top-off that was watched to its end: from full a
    parked battery can only lose. A connection that ended below full, one that was not assessed,
    a capacity check and servicing all leave the state open: what followed is not on record.
    """
    told = store.entries(KnownState, battery_id=battery_id)
    checked = store.entries(BenchCheck, battery_id=battery_id)
    serviced = store.entries(Servicing, battery_id=battery_id)
    known: tuple[Entry[Any], ...] = (*told, *earlier, *checked, *serviced)
    last = latest(known, on)
    if last is None or isinstance(last.record, BenchCheck | Servicing):
        return None
    if isinstance(last.record, KnownState):
        state = last.record
        return LastKnown(on=state.on, state_of_charge=state.state_of_charge, sd=state.sd)
    return _state_after(last.record)


def _ids_not_before(
    store: Entries,
    seen: tuple[Entry[Connection], ...],
    on: date | None,
    before: datetime | None,
    again: str | None,
) -> frozenset[str]:
    """Connections of a day that are not known to be earlier than the one looked at.

    By the clock where both have one; else by when each was first written.
    """
    written = None if again is None else store.history(again)[0].recorded_at
    found = [] if again is None else [again]
    for entry in seen:
        if entry.record.day != on or entry.id == again:
            continue
        is_later = _is_later_by_clock(entry.record, before)
        if is_later is None and written is not None:
            is_later = store.history(entry.id)[0].recorded_at > written
        if is_later:
            found.append(entry.id)
    return frozenset(found)


def _is_later_by_clock(connection: Connection, before: datetime | None) -> bool | None:
    """None where the clocks are missing or cannot be compared."""
    started = connection.started_at
    if before is None or started is None:
        return None
    if (started.tzinfo is None) != (before.tzinfo is None):
        return None
    return started >= before


def _state_after(connection: Connection) -> LastKnown | None:
    """What a connection left behind: a charge only where it was surely brought to nearly full."""
    result = (connection.result if connection.not_assessed is None else None) or {}
    now = (result.get("state_of_charge") or {}).get("now")
    if not now or now["mean"] < NEARLY_FULL_SOC or now["low"] < SURELY_FULL_SOC:
        return None
    if result.get("outcome") == Outcome.DISCONNECT:
        return None
    sd = Interval(**now).sd
    return LastKnown(
        on=connection.day,
        state_of_charge=min(now["mean"], 1.0),
        sd=min(max(sd, LEAST_STATE_SD), 0.5),
    )
