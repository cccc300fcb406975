"""The battery of an aircraft as it was seen last: in progress, else in the last connection."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from batterymodel.assessment import assess
from batterymodel.basis.text import alike
from batterymodel.budget.battery import BatteryNow, battery_now
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.say.battery_since import must_come_off_by, overtaken
from batterymodel.say.in_progress import LiveView, live_view
from batterymodel.store import Entry, Store
from batterymodel.store.acts import InProgress
from batterymodel.store.finishing import told_so_far
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.kinds import known_battery
from batterymodel.store.noted_readings import readings_of as noted_readings_of
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    Connection,
)
from batterymodel.store.told_readings import readings_of, told_beside
from batterymodel.store.track_record import widening

NO_CONNECTION = "No connection of a battery in {tail} is on record: what it draws is not counted."
NO_ANSWER_YET = (
    "A connection of {name} is in progress, but gives no answer yet: what the battery draws is not "
    "counted."
)
NOT_READ = (
    "The last connection of {name}, of {day}, tells no draw ({why}): what the battery draws is not "
    "counted."
)
ELSEWHERE = ", in another aircraft"


@dataclass(frozen=True)
class BatterySeen:
    """An aircraft's battery as a connection showed it last: its draw, and when that was read.

    ``read_at`` is the moment of the last reading of a connection in progress, ``entry_id`` the
    connection on record; one of both is None. ``supply`` is the one it was read on, where that is
    on record. ``temp_c`` is the battery's temperature [degC],
    where it was read with the draw. ``readings`` are None, and ``elsewhere`` says so, where
    that was in another aircraft: the consumers it switched are not those of this one.
    ``newer`` says what came after it and what is not known since.
    """

    name: str
    battery: Battery
    now: BatteryNow
    readings: Readings | None
    temp_c: float | None
    read_at: datetime | None = None
    entry_id: str | None = None
    day: str = ""
    supply: Supply | None = None
    elsewhere: str = ""
    newer: str = ""


def battery_seen(
    store: Store, aircraft: Entry[Aircraft], now: datetime
) -> tuple[BatterySeen | None, str]:
    """The battery of an aircraft as it was seen last, or why nothing of it is counted.

    Parameters
    ----------
    store : Store
    aircraft : Entry of Aircraft
    now : datetime
        With its UTC offset.

    Returns
    -------
    seen : BatterySeen or None
    why_not : str
        Empty where it was seen.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    last = _last_connection(store, aircraft, now)
    for connection in _in_progress_on(store, aircraft, now.date()):
        if last is not None and _is_begun_after(store, last, connection):
            break
        view = live_view(store, connection)
        seen = _seen_live(store, view, now)
        name = connection.told.serial or connection.told.tail or ""
        return (seen, "") if seen else (None, NO_ANSWER_YET.format(name=name))
    if last is None:
        return None, NO_CONNECTION.format(tail=aircraft.record.tail)
    return _seen_on_record(store, aircraft, last, now)


def _in_progress_on(store: Store, aircraft: Entry[Aircraft], day: date) -> Iterator[InProgress]:
    """Connections in progress of this aircraft begun up to a day, the last first."""
    for connection in connections_in_progress(store):
        if connection.day > day:
            continue
        told = connection.told
        if told.serial is not None and _is_on_record(store, told.serial):
            where = store.aircraft_of(told.serial, connection.day)
            if where is not None and where.id == aircraft.id:
                yield connection
        elif told.tail and alike(told.tail) == alike(aircraft.record.tail):
            yield connection


def _is_on_record(store: Store, serial: str) -> bool:
    """Whether the battery is on record; one that was deleted since it was connected is not."""
    try:
        store.plate(serial)
    except InputError:
        return False
    return True


def _seen_live(store: Store, view: LiveView, now: datetime) -> BatterySeen | None:
    if view.assessment is None or view.battery is None:
        return None
    connection, serial = view.connection, view.connection.told.serial
    drawing, newer = battery_now(view.assessment, view.battery.chemistry), ""
    if serial is not None:
        plate = store.plate(serial)
        is_newer = _is_after(store, plate, connection)
        drawing, newer = overtaken(store, plate, drawing, is_newer, now.date())
    readings = noted_readings_of(connection)
    last_s = max(reading.elapsed_s for _, reading in connection.readings)
    return BatterySeen(
        name=connection.told.serial or view.battery.tail,
        battery=view.battery,
        now=drawing,
        readings=readings,
        temp_c=_temp_c(readings, told_so_far(connection)["ambient_c"]),
        read_at=connection.started_at + timedelta(seconds=last_s),
        newer=newer,
    )


def _is_begun_after(store: Store, last: Entry[Connection], connection: InProgress) -> bool:
    """Whether a connection on record is later than one in progress: by clock, else by writing."""
    if last.record.day != connection.day:
        return last.record.day > connection.day
    began = last.record.started_at
    if began is None or began.tzinfo is None:
        began = store.history(last.id)[0].recorded_at
    return began > connection.started_at


def _is_after(
    store: Store, plate: Entry[BatteryPlate], connection: InProgress
) -> Callable[[Entry[Any]], bool]:
    """Whether an entry speaks of a later day, or of worse, written later the same day."""

    def is_after(entry: Entry[Any]) -> bool:
        day, recorded_at, _ = entry.order
        if day != connection.day:
            return day > connection.day
        return recorded_at > connection.started_at and must_come_off_by(store, plate, entry)

    return is_after


def _last_connection(
    store: Store, aircraft: Entry[Aircraft], now: datetime
) -> Entry[Connection] | None:
    """The last connection up to a moment of a battery that is in the aircraft."""
    found = [
        connection
        for plate in _batteries_in(store, aircraft, now.date())
        for connection in store.entries(Connection, battery_id=plate.id)
        if connection.record.day <= now.date()
    ]
    return max(found, key=lambda entry: entry.order, default=None)


def _batteries_in(store: Store, aircraft: Entry[Aircraft], day: date) -> list[Entry[BatteryPlate]]:
    return [
        plate
        for plate in store.entries(BatteryPlate)
        if (where := store.aircraft_of(plate.record.serial, day)) and where.id == aircraft.id
    ]


def batteries_beside(
    store: Store, aircraft: Entry[Aircraft], seen: BatterySeen, day: date
) -> tuple[str, ...]:
    """Serials of the aircraft's batteries of a day but the one that was seen.

    Parameters
    ----------
    store : Store
    aircraft : Entry of Aircraft
    seen : BatterySeen
    day : date

    Returns
    -------
    tuple of str
    """
    serials = (plate.record.serial for plate in _batteries_in(store, aircraft, day))
    return tuple(serial for serial in serials if alike(serial) != alike(seen.name))


def _seen_on_record(
    store: Store, aircraft: Entry[Aircraft], entry: Entry[Connection], now: datetime
) -> tuple[BatterySeen | None, str]:
    told, plate = entry.record, store.entry(entry.record.battery_id)
    name, is_here = plate.record.serial, told.aircraft_id == aircraft.id
    try:
        readings = readings_of(store, told)
        then = known_battery(store, name, told.day, before=told.started_at, again=entry.id)
        known = told_beside(told)
        by = widening(store, then.chemistry, told.day, but=entry.id)
        assessment = assess(readings, then, on=told.day, widening=by, **known)
    except BatteryModelError as error:
        why = str(error).split("\n", 1)[0]
        return None, NOT_READ.format(name=name, day=told.day, why=why)
    is_today = told.day == now.date()
    drawing, newer = overtaken(
        store,
        plate,
        battery_now(assessment, then.chemistry),
        lambda other: other.order > entry.order,
        now.date(),
    )
    return BatterySeen(
        name=name,
        battery=store.battery(name),
        now=drawing,
        readings=readings if is_here else None,
        temp_c=_temp_c(readings, told.ambient_c) if is_today else None,
        entry_id=entry.id,
        day=str(told.day),
        supply=told.supply,
        elsewhere="" if is_here else ELSEWHERE,
        newer=newer,
    ), ""


def _temp_c(readings: Readings, told_c: float | None) -> float | None:
    _, temps_c = readings.battery_temps()
    return float(temps_c[-1]) if temps_c.size else told_c
