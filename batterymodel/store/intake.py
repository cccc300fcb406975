"""Taking batteries and connections into the record; a connection is assessed on the way in."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import Any

from batterymodel.assessment import assess
from batterymodel.basis.meters import LOAD_SD_A
from batterymodel.basis.text import one_line
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.records import Battery, History, Readings, Supply, record_from
from batterymodel.reference.capacity_in_use import check_capacity, check_measured
from batterymodel.reference.temperature import REST_AFTER, check_rest_voltage
from batterymodel.rules.results import Assessment
from batterymodel.store.entries import Entry
from batterymodel.store.former_plates import former_spells, written_in
from batterymodel.store.kept_answers import Kept, answers_before, kept_of
from batterymodel.store.kinds import known_battery
from batterymodel.store.once import add_once
from batterymodel.store.records import (
    MAX_FILE_BYTES,
    Aircraft,
    BatteryPlate,
    BenchCheck,
    CardRevision,
    Connection,
    HistoryRevision,
    KnownState,
    Move,
    Servicing,
)
from batterymodel.store.same_check import filled, refuse_perhaps_same, same_check
from batterymodel.store.same_readings import said_of_another
from batterymodel.store.store import Store
from batterymodel.store.told_readings import FACTS, TOLD_FIELDS, readings_from, told_beside
from batterymodel.store.track_record import widening
from batterymodel.track.kept import SeenLater

MOST_FAULTS_KEPT = 5
"""Faults of a file that are kept beside it (own choice: the file itself tells the others)."""

FITTED_REASON = "fitted when the battery was added"
NEW_CARD_REASON = "as told when the battery was added"
PLATE_CORRECTED = "plate corrected: {reason}"
"""Why what was learned by a former plate is deleted, and connections are assessed anew."""

AS_GIVEN_BEFORE = "as answered by what was told before; not assessed anew: {why}"
"""What stands beside an answer that a correction of what it was made from leaves as it was."""

TODAY_TAKEN = "no day was given and the readings state none, so today was taken"


@dataclass(frozen=True)
class Told:
    """What was told of a connection beside its readings; units as in `assess`."""

    tail: str | None = None
    on: date | None = None
    supply: Supply | None = None
    rest_voltage_v: float | None = None
    rest_after_v: float | None = None
    load_a: float | None = None
    load_sd_a: float = LOAD_SD_A
    ambient_c: float | None = None


@dataclass(frozen=True)
class TakenCheck:
    """A capacity check in the record; `was_there` where it had been added before.

    `is_completed`: what it had left open was filled in now.
    """

    entry: Entry[BenchCheck]
    was_there: bool = False
    is_completed: bool = False


@dataclass(frozen=True)
class Taken:
    """A connection in the record; `was_there` where these readings had been added before.

    ``elsewhere`` says that they are on record for another battery too.
    """

    entry: Entry[Connection]
    was_there: bool = False
    remark: str | None = None
    elsewhere: str | None = None


def add_battery(
    store: Store, serial: str, battery: Battery, installed_on: date | None = None, **more: object
) -> Entry[BatteryPlate]:
    """A battery with its card, history, last check and last known state, in one transaction.

    Parameters
    ----------
    store : Store
    serial : str
    battery : Battery
    installed_on : date, optional
        From when what has no day of its own is in force; else the battery's own, else today.
    **more
        Further fields of `BatteryPlate`.

    Returns
    -------
    Entry of BatteryPlate

    Raises
    ------
    InputError
        A serial that is there already, or one but for letter case and spaces, a field that cannot
        hold its value, or a capacity check that cannot be the battery's.
    """
    installed_on = installed_on or battery.installed_on
    about = {
        "serial": serial,
        "chemistry": battery.chemistry,
        "cells": battery.cells,
        "rated_capacity_ah": battery.rated_capacity_ah,
        "installed_on": installed_on,
        **more,
    }
    day = installed_on or date.today()
    check_capacity(battery)
    with store.writing():
        plate = store.add(record_from(about, BatteryPlate, f"battery {serial}"))
        store.add(
            CardRevision(battery_id=plate.id, on=day, limits=battery.limits, reason=NEW_CARD_REASON)
        )
        if (history := battery.history) is not None:
            store.add(HistoryRevision(battery_id=plate.id, on=history.on or day, history=history))
        if (check := battery.capacity_check) is not None:
            store.add(BenchCheck(battery_id=plate.id, **check.model_dump()))
        if (known := battery.last_known) is not None:
            store.add(KnownState(battery_id=plate.id, **known.model_dump()))
    return plate


def add_fitted_battery(
    store: Store, serial: str, battery: Battery, tail: str, on: date
) -> Entry[BatteryPlate]:
    """A battery that is fitted into an aircraft on a day; the aircraft is added where it is new.

    Parameters
    ----------
    store : Store
    serial : str
        One that no battery on record has.
    battery : Battery
        Plate, card, history, last check and last known state; its `tail` is not used.
    tail : str
        Aircraft it is fitted into.
    on : date
        Day of fitting, from which what has no day of its own is in force.

    Returns
    -------
    Entry of BatteryPlate

    Raises
    ------
    InputError
        A serial that is there already, a serial or a tail like one that is, or a field that cannot
        hold its value; nothing is added.
    """
    with store.writing():
        plate = add_battery(store, serial, battery, on)
        found = store.entries(Aircraft, tail=one_line(tail))
        aircraft = (
            found[0] if found else store.add(record_from({"tail": tail}, Aircraft, "aircraft"))
        )
        store.add(Move(battery_id=plate.id, aircraft_id=aircraft.id, on=on, reason=FITTED_REASON))
    return plate


def add_connection(
    store: Store,
    serial: str,
    data: bytes,
    file_name: str,
    told: Told | None = None,
    column_map: ColumnMap | None = None,
) -> Taken:
    """A connection of a battery: its readings as they are, and their assessment.

    Parameters
    ----------
    store : Store
    serial : str
    data : bytes
        The readings' file as it is.
    file_name : str
    told : Told, optional
    column_map : ColumnMap, optional
        How the columns of another logger's file are taken; it is kept with the file.

    Returns
    -------
    Taken
        The connection; readings that cannot be assessed are kept with the sentence why.

    Raises
    ------
    InputError
        An unknown battery or aircraft, one that is on no aircraft, a day that is still to come, a
        file that is too large, a rest voltage after that cannot be the battery's, or a file that is
        on record with its columns taken otherwise or with other facts told beside it.
    """
    told, sha256 = told or Told(), hashlib.sha256(data).hexdigest()
    column_map = None if column_map is None or column_map.own else column_map
    with store.reading():
        battery_id = store.plate(serial).id
        there = store.entries(Connection, battery_id=battery_id, readings_sha256=sha256)
        if there:
            return _there_already(there[0], column_map, told)
        readings, why_not = _read(data, file_name, column_map)
        clock = readings.started_at if readings else None
        day = told.on or (clock.date() if clock else date.today())
        refuse_ahead(store, day, f"{Path(file_name).name}: the connection")
        values = {
            "battery_id": battery_id,
            "aircraft_id": _aircraft_id(store, serial, day, told.tail),
            "day": day,
            "started_at": clock,
            "file_name": Path(file_name).name or "readings.csv",
            "readings_sha256": sha256,
            "column_map": column_map,
            "rest_after_v": told.rest_after_v,
            **{name: getattr(told, name) for name in TOLD_FIELDS},
        }
        connection = record_from(values, Connection, file_name)
        battery = known_battery(store, serial, day, before=clock)
        _refuse_rest_after(battery, connection)
        by = widening(store, battery.chemistry, day)
        before = answers_before(store, connection)
    result, why_not = _assessed(battery, connection, readings, why_not, by)
    kept = kept_of(connection, battery, readings, result, before, _told_of(connection, by))
    with store.writing():
        there = store.entries(Connection, battery_id=battery_id, readings_sha256=sha256)
        if there:
            return _there_already(there[0], column_map, told)
        store.keep_file(data)
        elsewhere = said_of_another(store, battery_id, sha256, column_map)
        entry = store.add(_with_result(connection, result, why_not, kept))
        _learn(store, entry, result)
    return Taken(entry, remark=None if told.on or clock else TODAY_TAKEN, elsewhere=elsewhere)


def _there_already(entry: Entry[Connection], column_map: ColumnMap | None, told: Told) -> Taken:
    if entry.record.column_map == column_map:
        _refuse_other_facts(entry, told)
        return Taken(entry, was_there=True)
    before = entry.record.column_map
    words = before.words if before else "the columns are those of this tool"
    raise InputError(
        f"{entry.record.file_name}: is on record as {entry.id}, its columns taken otherwise "
        f"({words}); delete that connection first to take them as told now"
    )


def _refuse_other_facts(entry: Entry[Connection], told: Told) -> None:
    """What is told beside readings on record must not be lost in silence."""
    kept = {"on": entry.record.day, "rest_after_v": entry.record.rest_after_v}
    kept |= told_beside(entry.record)
    usual = Told()
    given = {name: getattr(told, name) for name in kept}
    other = [n for n, v in given.items() if v != getattr(usual, n) and v != kept[n]]
    if other:
        raise InputError(
            f"{entry.record.file_name}: is on record as {entry.id} with other facts "
            f"({', '.join(other)}); correct that entry, or delete it and add it anew"
        )


def refuse_ahead(store: Store, day: date, what: str) -> None:
    """Refuse a day that is still to come, give or take the clocks of the world.

    Parameters
    ----------
    store : Store
        Its clock counts.
    day : date
    what : str
        As the sentence names it.

    Raises
    ------
    InputError
        Later than tomorrow.
    """
    today = store.now().date()
    if day > today + timedelta(days=1):
        raise InputError(
            f"{what} of {day} is later than today, {today}; the day it was made would be right"
        )


def refuse_day_of(store: Store, record: BenchCheck | Servicing, what: str) -> None:
    """Refuse what was found of a battery on a day on which it cannot have been.

    Parameters
    ----------
    store : Store
    record : BenchCheck or Servicing
    what : str
        As the sentence names it.

    Raises
    ------
    InputError
        Still to come, or before the battery was installed; or a battery that is not there.
    """
    refuse_ahead(store, record.on, what)
    installed = store.entry(record.battery_id).record.installed_on
    if installed is not None and record.on < installed:
        raise InputError(
            f"{what} of {record.on} is older than the installation of the battery on "
            f"{installed}; leave out what another battery was"
        )


def refuse_check(store: Store, check: BenchCheck) -> None:
    """Refuse a capacity check of a day on which it cannot have been made, or beyond the plate.

    Parameters
    ----------
    store : Store
    check : BenchCheck

    Raises
    ------
    InputError
        As `refuse_day_of`, or a capacity that cannot be that of the battery.
    """
    refuse_day_of(store, check, "the capacity check")
    check_measured(check.capacity_ah, store.entry(check.battery_id).record.rated_capacity_ah)


def _refuse_rest_after(battery: Battery, connection: Connection) -> None:
    if connection.rest_after_v is not None:
        check_rest_voltage(battery, connection.rest_after_v, "rest_after_v", REST_AFTER)


def add_check(
    store: Store, check: BenchCheck, log: bytes | None = None, *, again: bool = False
) -> TakenCheck:
    """A capacity check with its log, kept once: same battery, day and capacity are one check.

    What is told more of one on record is filled in (`same_check`).

    Parameters
    ----------
    store : Store
    check : BenchCheck
    log : bytes, optional
        The bench's log as it is; `check` names its file.
    again : bool
        It was measured once more, within days of one of the same capacity.

    Returns
    -------
    TakenCheck
        Its `was_there` says that the check was on record before and nothing was added.

    Raises
    ------
    InputError
        A battery that is not there, a day that is still to come or before the battery was
        installed, a capacity that cannot be the battery's, a log that is too large, or one that
        may be a check on record of another day.
    """
    with store.writing():
        refuse_check(store, check)
        if log is not None:
            check = check.model_copy(update={"log_sha256": store.keep_file(log)})
        if (there := same_check(store, check)) is not None:
            entry = filled(store, there, check)
            completed = entry.row_id != there.row_id
            return TakenCheck(entry, was_there=True, is_completed=completed)
        if not again:
            refuse_perhaps_same(store, check)
        return TakenCheck(*add_once(store, check, "note", "log_name"))


def correct_connection(
    store: Store, entry_id: str, record: Connection, reason: str
) -> Entry[Connection]:
    """Correct what was told of a connection and assess it anew, by what the record knows now.

    What the connection had taught of the battery is deleted, and learned anew where it can be. An
    answer of a file that cannot be read any more stays as it was given, unless it was another
    battery's; where something was told otherwise since, it says so and counts for nothing.

    Parameters
    ----------
    store : Store
    entry_id : str
    record : Connection
        The whole record as it should have been; its assessment is replaced.
    reason : str
        Why it is corrected, in a few words.

    Returns
    -------
    Entry of Connection
        Its `not_assessed` says why where there is no assessment any more, or none anew.

    Raises
    ------
    InputError
        A deleted or missing entry, battery or file, a rest voltage after that cannot be the
        battery's, no reason, or nothing that changes.
    """
    with store.writing():
        serial = store.entry(record.battery_id).record.serial
        there, battery = store.entry(entry_id), store.battery(serial)
        _refuse_rest_after(battery, record)
        if record.rest_voltage_v not in (None, there.record.rest_voltage_v):
            check_rest_voltage(battery, record.rest_voltage_v)
        kept = _as_answered(store, there, record)
        if kept is not None and kept.not_assessed is None:
            return store.correct(entry_id, kept, reason)
        _forget(store, [entry_id], f"connection corrected: {reason}")
        anew, result = (kept, None) if kept else _assessed_anew(store, entry_id, record)
        entry = store.correct(entry_id, anew, reason)
        _learn(store, entry, result)
    return entry


def _as_answered(store: Store, there: Entry[Connection], record: Connection) -> Connection | None:
    """A corrected connection with the answer it has; None where its file gives another, or none."""
    before = there.record
    if before.assessment is None or before.battery_id != record.battery_id:
        return None
    data = store.file(record.readings_sha256)
    _, why_not = _read(data, record.file_name, record.column_map)
    if why_not is None:
        return None
    is_told_same = all(getattr(before, name) == getattr(record, name) for name in FACTS)
    former = former_spells(store.history(record.battery_id))
    is_same = is_told_same and not written_in(former, there.recorded_at)
    seen = before.seen_later if is_told_same else None
    if seen is not None and before.rest_after_v != record.rest_after_v:
        seen = SeenLater(returned=seen.returned) if seen.returned else None
    note = before.not_assessed if is_same else AS_GIVEN_BEFORE.format(why=why_not)
    values = {name: getattr(record, name) for name in Connection.model_fields}
    values |= {"assessment": before.assessment, "not_assessed": note}
    values |= {"answers": before.answers, "seen_later": seen}
    return record_from(values, Connection, record.file_name)


def assess_all_anew(store: Store, plate: Entry[BatteryPlate], reason: str) -> None:
    """Assess the connections of a battery anew by its plate as it is now, the oldest first.

    What they taught by another plate is deleted first, so that none goes on from it. One that
    cannot be assessed now keeps the answer it has, as it was given.

    Parameters
    ----------
    store : Store
    plate : Entry of BatteryPlate
        As it was just corrected.
    reason : str
        Why it was, in a few words.

    Raises
    ------
    StoreError
        The record cannot be read or written.
    """
    said = PLATE_CORRECTED.format(reason=reason)
    with store.writing():
        every = store.entries(Connection, battery_id=plate.id)
        _forget(store, [entry.id for entry in every], said)
        for entry in sorted(every, key=lambda one: (one.record.day, _first_written(store, one))):
            anew, result = _assessed_anew(store, entry.id, entry.record)
            loses_answer = result is None and entry.record.assessment is not None
            if anew != entry.record and not loses_answer:
                entry = store.correct(entry.id, anew, said)
            _learn(store, entry, result)


def _first_written(store: Store, entry: Entry[Connection]) -> datetime:
    return store.history(entry.id)[0].recorded_at


def _forget(store: Store, connection_ids: list[str], reason: str) -> None:
    """Delete what connections had taught of their battery."""
    taught = [
        entry.id
        for one in connection_ids
        for entry in store.entries(HistoryRevision, connection_id=one)
    ]
    if taught:
        store.delete(taught, reason)


def _assessed_anew(
    store: Store, entry_id: str, record: Connection
) -> tuple[Connection, Assessment | None]:
    """A connection on record as it is assessed by what the record knows now."""
    data = store.file(record.readings_sha256)
    readings, why_not = _read(data, record.file_name, record.column_map)
    serial = store.entry(record.battery_id).record.serial
    battery = known_battery(store, serial, record.day, before=record.started_at, again=entry_id)
    by = widening(store, battery.chemistry, record.day, but=entry_id)
    before = answers_before(store, record, but=entry_id)
    result, why_not = _assessed(battery, record, readings, why_not, by)
    kept = kept_of(record, battery, readings, result, before, _told_of(record, by))
    return _with_result(record, result, why_not, kept), result


def _read(
    data: bytes, file_name: str, column_map: ColumnMap | None
) -> tuple[Readings | None, str | None]:
    if len(data) > MAX_FILE_BYTES:
        raise InputError(f"{file_name}: is too large for the readings of one connection")
    try:
        return readings_from(data, file_name, column_map), None
    except BatteryModelError as error:
        return None, "\n".join(error.faults[:MOST_FAULTS_KEPT])


def _assessed(
    battery: Battery,
    told: Connection,
    readings: Readings | None,
    why_not: str | None,
    widening_by: float,
) -> tuple[Assessment | None, str | None]:
    if readings is None:
        return None, why_not
    try:
        return assess(readings, battery, on=told.day, **_told_of(told, widening_by)), None
    except BatteryModelError as error:
        return None, str(error)


def _told_of(connection: Connection, widening_by: float) -> dict[str, Any]:
    """What `assess` takes beside readings, battery and day."""
    return {**told_beside(connection), "widening": widening_by}


def _with_result(
    connection: Connection, result: Assessment | None, why_not: str | None, kept: Kept
) -> Connection:
    values = {name: getattr(connection, name) for name in Connection.model_fields}
    values["assessment"] = result.model_dump_json() if result else None
    values["not_assessed"] = why_not
    values |= {"answers": kept.answers, "seen_later": kept.seen_later}
    return record_from(values, Connection, connection.file_name)


def _learn(store: Store, entry: Entry[Connection], result: Assessment | None) -> None:
    history: History | None = result.learned_history if result else None
    if history is not None:
        about = {"battery_id": entry.record.battery_id, "connection_id": entry.id}
        store.add(HistoryRevision(on=entry.record.day, history=history, **about))


def _aircraft_id(store: Store, serial: str, day: date, tail: str | None) -> str:
    found = store.aircraft(tail) if tail else store.aircraft_of(serial, day)
    if found is None:
        raise InputError(
            f"battery '{serial}' is on no aircraft on {day}: name the aircraft, or record the "
            "move that put it there"
        )
    return found.id
