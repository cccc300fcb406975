"""What of the record is in force on a day: aircraft, card, history, last check, last state."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Protocol, TypeVar

from batterymodel.basis.intervals import Interval
from batterymodel.inputs.records import EARLIEST_INSTALLED, Battery, LastKnown, Limits, Record
from batterymodel.reference.chemistry import NEARLY_FULL_SOC
from batterymodel.store.entries import Entry
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    Move,
    day_of,
)

RecordT = TypeVar("RecordT", bound=Record)

LEAST_STATE_SD = 0.01
"""Least error of a state of charge read from a completed top-off (own choice)."""


class Entries(Protocol):
    """What is read of a store here."""

    def entries(self, record: type[RecordT], **equal: object) -> tuple[Entry[RecordT], ...]:
        """Present entries of a kind whose fields equal those given."""

    def entry(self, entry_id: str) -> Entry[Any]:
        """The entry of an id."""


def battery_in_force(
    store: Entries, plate: Entry[BatteryPlate], on: date | None, before: datetime | None
) -> Battery:
    """The battery as the assessment takes it, with what is in force on a day.

    Its `tail` is that of its aircraft, or its serial while it is off aircraft.
    """

    def last(kind: type[RecordT]) -> Entry[RecordT] | None:
        return latest(store.entries(kind, battery_id=plate.id), on)

    aircraft, card, taught = aircraft_in_force(store, plate.id, on), last(CardRevision), None
    taught = last(HistoryRevision)
    return Battery(
        tail=aircraft.record.tail if aircraft else plate.record.serial,
        chemistry=plate.record.chemistry,
        cells=plate.record.cells,
        rated_capacity_ah=plate.record.rated_capacity_ah,
        limits=card.record.limits if card else Limits(),
        history=taught.record.history if taught else None,
        capacity_check=_last_check(store, plate.id, on),
        last_known=_last_known(store, plate.id, on, before),
        installed_on=_installed_on(plate.record, on),
    )


def _installed_on(plate: BatteryPlate, on: date | None) -> date | None:
    """Day of installation; none known where the record places it after the day asked for."""
    day = plate.installed_on
    if day is None or day < EARLIEST_INSTALLED or (on is not None and day > on):
        return None
    return day


def latest(entries: tuple[Entry[RecordT], ...], on: date | None) -> Entry[RecordT] | None:
    """The last entry up to a day; of one day, the one written last."""
    known = [entry for entry in entries if on is None or (day_of(entry.record) or on) <= on]
    return max(known, key=lambda entry: entry.order, default=None)


def aircraft_in_force(store: Entries, battery_id: str, on: date | None) -> Entry[Aircraft] | None:
    """The aircraft a battery is in on a day."""
    move = latest(store.entries(Move, battery_id=battery_id), on)
    if move is None or move.record.aircraft_id is None:
        return None
    return store.entry(move.record.aircraft_id)


def _last_check(store: Entries, battery_id: str, on: date | None) -> Any:
    """The last check that ran to the end voltage: one stopped early measures no capacity."""
    check = latest(store.entries(BenchCheck, battery_id=battery_id, is_lower_bound=False), on)
    return check.record.check if check else None


def _last_known(
    store: Entries, battery_id: str, on: date | None, before: datetime | None
) -> LastKnown | None:
    """The last state of charge that still says something.

    That is a state told to the record, or a top-off that was watched to its end: from full a
    parked battery can only lose. A connection that ended below full, one that was not assessed
    and a capacity check all leave the state open, because what followed is not on record.
    """
    told = store.entries(KnownState, battery_id=battery_id)
    seen = store.entries(Connection, battery_id=battery_id)
    checked = store.entries(BenchCheck, battery_id=battery_id)
    earlier = tuple(entry for entry in seen if not _is_later(entry.record, on, before))
    known: tuple[Entry[Any], ...] = (*told, *earlier, *checked)
    last = latest(known, on)
    if last is None or isinstance(last.record, BenchCheck):
        return None
    if isinstance(last.record, KnownState):
        state = last.record
        return LastKnown(on=state.on, state_of_charge=state.state_of_charge, sd=state.sd)
    return _state_after(last.record)


def _is_later(connection: Connection, on: date | None, before: datetime | None) -> bool:
    started = connection.started_at
    if before is None or started is None or connection.day != on:
        return False
    if (started.tzinfo is None) != (before.tzinfo is None):
        return False
    return started >= before


def _state_after(connection: Connection) -> LastKnown | None:
    now = ((connection.result or {}).get("state_of_charge") or {}).get("now")
    if not now or now["mean"] < NEARLY_FULL_SOC:
        return None
    sd = Interval(**now).sd
    return LastKnown(
        on=connection.day,
        state_of_charge=min(now["mean"], 1.0),
        sd=min(max(sd, LEAST_STATE_SD), 0.5),
    )
