"""What the other batteries of its kind on record teach of a battery, as of a day.

A kind is what plates have in common: chemistry, cells and rated capacity. A battery never teaches
itself, one file teaches once, and invented batteries teach invented ones only. Lessons of completed
tapers stand in the assessments of the connections, or are read from their files (`older_lessons`);
as no row ever changes, each is read once.
"""

from __future__ import annotations

import json
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from typing import NamedTuple
from weakref import WeakKeyDictionary

import numpy as np
from pydantic import ValidationError
from sqlalchemy import Engine, String, select, type_coerce
from sqlalchemy.orm import Session

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.inputs.kinds import KindBelief, KindCheck, TaperLesson
from batterymodel.inputs.last_check import place_of_last
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import REPEAT_REL_SD
from batterymodel.reference.capacity_in_use import CHECK_RANGE, MOST_SHARE, OLDEST_YEARS
from batterymodel.soc.kinds import BatteryLessons, RestLesson, kind_belief, rest_lessons
from batterymodel.store.entries import Entry, all_rows, entry_of, live
from batterymodel.store.former_plates import PLATE, Spells, former_spells, of_one_kind, written_in
from batterymodel.store.older_lessons import older_lessons
from batterymodel.store.records import BatteryPlate, BenchCheck, CardRevision, Connection
from batterymodel.store.same_readings import doubled_readings
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_RECORD, CardRow, CheckRow, ConnectionRow
from batterymodel.store.told_twice import each_once

LESSON_MARK, CURVE_MARK = '"taper_lesson":{', '"rest_voltage_v":['
"""By these an assessment that teaches, and a limits card with a rest-voltage curve of its own, are
found in the spelling of the record."""

LESSON_NAME, HISTORY_MARK = '"taper_lesson":', '"learned_history":{'
"""By these an assessment of a completed taper is found that is older than lessons are."""

VOLTAGE_NAME = '"voltage_read":'
"""A lesson without it is older than `TaperLesson.voltage_read`: its file tells it, where a rest
voltage needs it."""


@dataclass(frozen=True)
class _Taught:
    """What one row of a connection teaches; nothing where its lesson cannot be read."""

    taper: TaperLesson | None = None
    rests: tuple[RestLesson, ...] = ()


Plates = dict[str, Entry[BatteryPlate]]

_read: WeakKeyDictionary[Engine, dict[tuple[str, str], _Taught]] = WeakKeyDictionary()
"""By rows of connection and plate: what was read of them."""


def known_battery(
    store: Store,
    serial: str,
    on: date | None = None,
    *,
    before: datetime | None = None,
    again: str | None = None,
) -> Battery:
    """A battery as an assessment takes it: what is in force on a day, and what its kind teaches.

    Parameters
    ----------
    store : Store
    serial : str
    on : date, optional
        Later entries are left out, those about other batteries too.
    before : datetime, optional
        As `Store.battery` takes it.
    again : str, optional
        As `Store.battery` takes it.

    Returns
    -------
    Battery
        Its `kind` is None where no other battery of the kind teaches anything.

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    with store.reading():
        battery = store.battery(serial, on, before=before, again=again)
        return with_kind(store, serial, battery, on)


def with_kind(store: Store, serial: str, battery: Battery, on: date | None = None) -> Battery:
    """A battery on record with what its kind teaches.

    Parameters
    ----------
    store : Store
    serial : str
        Of the battery on record.
    battery : Battery
        It, as far as it is known.
    on : date, optional
        Later connections and checks are left out.

    Returns
    -------
    Battery
        As it was given where its plate is not that of the record.

    Raises
    ------
    InputError
        No such battery.
    StoreError
        The record cannot be read.
    """
    plate = store.plate(serial)
    if not of_one_kind(battery, plate.record):
        return battery
    return battery.model_copy(update={"kind": kind_of(store, plate, on)})


def kind_of(store: Store, plate: Entry[BatteryPlate], on: date | None = None) -> KindBelief | None:
    """What the other batteries of a battery's kind teach.

    Parameters
    ----------
    store : Store
    plate : Entry of BatteryPlate
        Of the battery that is asked about; it teaches nothing here.
    on : date, optional
        Later connections and checks are left out.

    Returns
    -------
    KindBelief or None
        None where none teaches anything.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading() as session:
        kind = {name: getattr(plate.record, name) for name in (*PLATE, "invented")}
        others = {one.id: one for one in store.entries(BatteryPlate, **kind) if one.id != plate.id}
        if not others:
            return None
        known = _read.setdefault(store.engine, {})
        taught = _taught(store, others, on, known)
        checks, curved = _checks(session, others, on), _with_own_curve(session, others)
    lessons = (
        BatteryLessons(
            tuple(t.taper for t in taught[one] if t.taper),
            tuple(rest for t in taught[one] for rest in t.rests if one not in curved),
            checks.get(one),
        )
        for one in sorted(others)
    )
    return _pooled(plate.record.chemistry, tuple(lessons))


_pooled = lru_cache(maxsize=64)(kind_belief)


def _taught(
    store: Store,
    plates: Plates,
    on: date | None,
    known: dict[tuple[str, str], _Taught],
) -> dict[str, list[_Taught]]:
    """What connections up to a day teach, by battery, oldest first; each connection once."""
    with store.reading() as session:
        rows = list(_teaching_rows(session, plates, on))
        older = [
            one.row_id
            for one in rows
            if not one.is_whole and (one.row_id, plates[one.battery_id].row_id) not in known
        ]
        lessons = older_lessons(store, plates, older) if older else {}
        found = dict[tuple[str, object], list[_Taught]]()
        for one in rows:
            plate = plates[one.battery_id]
            key = (one.row_id, plate.row_id)
            if key not in known:
                known[key] = _lesson_of(session, one, plate.record, lessons.get(one.row_id))
            found.setdefault((one.battery_id, one.clock or one.row_id), []).append(known[key])
    taught = defaultdict[str, list[_Taught]](list)
    for (battery_id, _), files in found.items():
        taught[battery_id].append(_of_one_connection(files))
    return taught


class _TeachingRow(NamedTuple):
    """A present row of a completed taper.

    ``is_whole`` where its lesson stands in its assessment; else it is read from its file, and what
    stands of an older lesson counts where the file gives none.
    """

    row_id: str
    battery_id: str
    clock: datetime | None
    is_whole: bool


def _teaching_rows(session: Session, plates: Plates, on: date | None) -> Iterator[_TeachingRow]:
    """Those up to a day that were assessed by the plates as they stand, oldest first.

    Readings that are on record for several batteries teach by the first of them alone.
    """
    row, former = ConnectionRow, _former_spells(session, plates)
    doubled = doubled_readings(session)
    told = row.assessment.contains(LESSON_MARK)
    older = row.assessment.contains(HISTORY_MARK) & ~row.assessment.contains(LESSON_NAME)
    no_rests = row.rest_voltage_v.is_(None) & row.rest_after_v.is_(None)
    whole = told & (row.assessment.contains(VOLTAGE_NAME) | no_rests)
    teaching = live(KIND_OF_RECORD[Connection]).where(row.battery_id.in_(plates), told | older)
    teaching = teaching.where(row.not_assessed.is_(None))
    if on is not None:
        teaching = teaching.where(row.day <= on)
    columns = row.row_id, row.battery_id, row.started_at, whole, row.recorded_at, row.entry_id
    ordered = teaching.with_only_columns(*columns).order_by(row.day, row.row_id)
    for row_id, battery_id, clock, is_whole, written_at, entry_id in session.execute(ordered):
        is_former = written_in(former.get(battery_id, ()), written_at)
        if not is_former and entry_id not in doubled:
            yield _TeachingRow(row_id, battery_id, clock, is_whole)


def _former_spells(session: Session, plates: Plates) -> dict[str, Spells]:
    """From when to when a plate stood otherwise on record, by battery."""
    corrected = [one for one, plate in plates.items() if plate.replaces is not None]
    return {one: former_spells(all_rows(session, one)) for one in corrected}


def _of_one_connection(files: list[_Taught]) -> _Taught:
    """What one connection teaches by its files: the longest one's taper, one set of rests."""
    tapers = [one.taper for one in files if one.taper is not None]
    if not tapers:
        return _Taught()
    longest = min(tapers, key=lambda taper: taper.left)
    return _Taught(longest, max((one.rests for one in files), key=len))


def _lesson_of(
    session: Session, one: _TeachingRow, plate: BatteryPlate, older: TaperLesson | None
) -> _Taught:
    row = ConnectionRow
    columns = row.assessment, row.rest_voltage_v, row.rest_after_v
    wanted = select(*columns).where(row.row_id == one.row_id)
    text, before_v, after_v = session.execute(wanted).one()
    taper = older or _lesson_in(text)
    if taper is None:
        return _Taught()
    shared = {name: getattr(plate, name) for name in PLATE}
    battery = Battery(tail=plate.serial, **shared)
    return _Taught(taper, rest_lessons(battery, taper, before_v, after_v))


def _lesson_in(assessment: str | None) -> TaperLesson | None:
    try:
        return TaperLesson.model_validate(json.loads(assessment or "{}")["taper_lesson"])
    except (ValidationError, ValueError, KeyError, TypeError):
        return None


def _checks(session: Session, plates: Plates, on: date | None) -> dict[str, KindCheck]:
    """The last check of each battery up to a day that ran to its end, where its age is known."""
    every = list[Entry[BenchCheck]]()
    kind = KIND_OF_RECORD[BenchCheck]
    wanted = CheckRow.battery_id.in_(plates), ~CheckRow.is_lower_bound
    for row in session.scalars(live(kind).where(*wanted).order_by(CheckRow.on, CheckRow.row_id)):
        if on is None or row.on <= on:
            every.append(entry_of(row, kind))
    found = defaultdict[str, list[BenchCheck]](list)
    for entry in each_once(every):
        found[entry.record.battery_id].append(entry.record)
    last = {one: _kind_check(plates[one].record, _last(checks)) for one, checks in found.items()}
    return {one: check for one, check in last.items() if check is not None}


def _last(checks: list[BenchCheck]) -> BenchCheck:
    k = place_of_last([check.on for check in checks], [check.capacity_ah for check in checks])
    return checks[-1 if k is None else k]


def _kind_check(plate: BatteryPlate, check: BenchCheck) -> KindCheck | None:
    share, installed = check.capacity_ah / plate.rated_capacity_ah, plate.installed_on
    if installed is None or installed > check.on:
        return None
    if not CHECK_RANGE[0] <= share <= MOST_SHARE:
        return None
    error = float(np.hypot(check.check.sd_ah / check.capacity_ah, REPEAT_REL_SD))
    years = min((check.on - installed).days / DAYS_PER_YEAR, OLDEST_YEARS)
    return KindCheck(age_years=years, share=share, share_log_sd=error)


def _with_own_curve(session: Session, plates: Plates) -> set[str]:
    """Batteries with a limits card, of any day, that has a rest-voltage curve of its own."""
    row = CardRow
    has_curve = type_coerce(row.limits, String).contains(CURVE_MARK)
    cards = live(KIND_OF_RECORD[CardRevision]).where(row.battery_id.in_(plates), has_curve)
    return set(session.scalars(cards.with_only_columns(row.battery_id)))
