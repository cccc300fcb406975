"""What the other batteries of its kind on record teach of a battery, as of a day.

A kind is what plates have in common: chemistry, cells and rated capacity. A battery never teaches
itself, and invented batteries teach invented ones only. Lessons of completed tapers stand in the
assessments of the connections; as no row ever changes, each is read once.
"""

from __future__ import annotations

import json
from collections import defaultdict
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from itertools import pairwise
from weakref import WeakKeyDictionary

import numpy as np
from pydantic import ValidationError
from sqlalchemy import Engine, String, select, type_coerce
from sqlalchemy.orm import Session

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.inputs.kinds import KindBelief, KindCheck, TaperLesson
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import REPEAT_REL_SD
from batterymodel.reference.capacity_in_use import CHECK_RANGE, MOST_SHARE, OLDEST_YEARS
from batterymodel.soc.kinds import BatteryLessons, RestLesson, kind_belief, rest_lessons
from batterymodel.store.entries import Entry, all_rows, entry_of, live
from batterymodel.store.records import BatteryPlate, BenchCheck, CardRevision, Connection
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_RECORD, CardRow, CheckRow, ConnectionRow

LESSON_MARK, CURVE_MARK = '"taper_lesson":{', '"rest_voltage_v":['
"""By these an assessment that teaches, and a limits card with a rest-voltage curve of its own, are
found in the spelling of the record."""

PLATE = ("chemistry", "cells", "rated_capacity_ah")
"""What the plates of one kind have in common."""


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
    if any(getattr(battery, name) != getattr(plate.record, name) for name in PLATE):
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
        taught = _taught(session, others, on, known)
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
    session: Session,
    plates: Plates,
    on: date | None,
    known: dict[tuple[str, str], _Taught],
) -> dict[str, list[_Taught]]:
    """What connections up to a day teach, by battery, oldest first; each connection once."""
    row, found = ConnectionRow, dict[tuple[str, object], list[_Taught]]()
    former = _former_plates(session, plates)
    wanted = [row.battery_id.in_(plates), row.assessment.contains(LESSON_MARK)]
    wanted += [row.day <= on] if on else []
    teaching = live(KIND_OF_RECORD[Connection]).where(*wanted).order_by(row.day, row.row_id)
    columns = row.row_id, row.battery_id, row.started_at, row.recorded_at
    for row_id, battery_id, clock, written_at in session.execute(
        teaching.with_only_columns(*columns)
    ):
        plate = plates[battery_id]
        if any(since <= written_at < until for since, until in former.get(battery_id, ())):
            continue
        key = (row_id, plate.row_id)
        if key not in known:
            known[key] = _lesson_of(session, row_id, plate.record)
        found.setdefault((battery_id, clock or row_id), []).append(known[key])
    taught = defaultdict[str, list[_Taught]](list)
    for (battery_id, _), files in found.items():
        taught[battery_id].append(_of_one_connection(files))
    return taught


def _former_plates(session: Session, plates: Plates) -> dict[str, list[tuple[datetime, datetime]]]:
    """From when to when a plate stood otherwise on record, by battery.

    What a connection taught then is over another rated capacity.
    """
    found: dict[str, list[tuple[datetime, datetime]]] = {}
    for battery_id, plate in plates.items():
        if plate.replaces is None:
            continue
        rows = all_rows(session, battery_id)
        found[battery_id] = [
            (one.recorded_at, after.recorded_at)
            for one, after in pairwise(rows)
            if any(getattr(one.record, name) != getattr(plate.record, name) for name in PLATE)
        ]
    return found


def _of_one_connection(files: list[_Taught]) -> _Taught:
    """What one connection teaches by its files: the longest one's taper, one set of rests."""
    tapers = [one.taper for one in files if one.taper is not None]
    if not tapers:
        return _Taught()
    longest = min(tapers, key=lambda taper: taper.left)
    return _Taught(longest, max((one.rests for one in files), key=len))


def _lesson_of(session: Session, row_id: str, plate: BatteryPlate) -> _Taught:
    row = ConnectionRow
    columns = row.assessment, row.rest_voltage_v, row.rest_after_v
    text, before_v, after_v = session.execute(select(*columns).where(row.row_id == row_id)).one()
    try:
        taper = TaperLesson.model_validate(json.loads(text or "{}")["taper_lesson"])
    except (ValidationError, ValueError, KeyError, TypeError):
        return _Taught()
    shared = {name: getattr(plate, name) for name in PLATE}
    battery = Battery(tail=plate.serial, **shared)
    return _Taught(taper, rest_lessons(battery, taper, before_v, after_v))


def _checks(session: Session, plates: Plates, on: date | None) -> dict[str, KindCheck]:
    """The last check of each battery up to a day that ran to its end, where its age is known."""
    found = defaultdict[str, list[BenchCheck]](list)
    kind = KIND_OF_RECORD[BenchCheck]
    wanted = CheckRow.battery_id.in_(plates), ~CheckRow.is_lower_bound
    for row in session.scalars(live(kind).where(*wanted).order_by(CheckRow.on, CheckRow.row_id)):
        if on is None or row.on <= on:
            found[row.battery_id].append(entry_of(row, kind).record)
    last = {one: _kind_check(plates[one].record, checks[-1]) for one, checks in found.items()}
    return {one: check for one, check in last.items() if check is not None}


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
