"""Answers on record, each held against the truth that came later; no truth counts twice.

A completed taper scores the early answer of its own connection, the first that was given; a rest
voltage after scores the answer of all readings, unless a rest voltage before made that: both share
what the battery is off its curve. Readings on record for several batteries score the first of them
alone. What servicing and bench checks found scores the outcome of the last answer before, all of it
together. An invented battery scores only where the record holds no other. What was told wrongly and
corrected gave no answer of the estimate's: the first by the facts and the plate as they stand now
counts.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from typing import Any

from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Chemistry
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.store.entries import Entry, live_values
from batterymodel.store.former_plates import Spells, former_spells, written_in
from batterymodel.store.records import (
    BatteryPlate,
    BenchCheck,
    Connection,
    Servicing,
    ServicingFound,
)
from batterymodel.store.same_readings import doubled_readings
from batterymodel.store.store import Store
from batterymodel.store.tables import ConnectionRow
from batterymodel.store.told_readings import FACTS
from batterymodel.track.answers import SAME_TIME_S, answer_from_json
from batterymodel.track.finds import outcome_case
from batterymodel.track.kept import KeptAnswer, SeenLater
from batterymodel.track.score import (
    Answered,
    Find,
    Found,
    OutcomeCase,
    RangeCase,
    TrackRecord,
    TruthFrom,
    record_of,
)

MOST_DAYS_BETWEEN = 60
"""Days after an answer within which a find still speaks of the battery it judged [d] (own choice:
capacity falls by less than 1 % in them, `reference.capacity`)."""

_FIELDS = (
    "entry_id",
    "battery_id",
    "day",
    "started_at",
    "rest_voltage_v",
    "seen_later",
    "readings_sha256",
)


@dataclass(frozen=True)
class _Seen:
    """One connection: the answers as first given, when, and what was seen of it since.

    ``longest`` is the entry of the longest file that goes on where this one ends.
    """

    entry_id: str
    battery_id: str
    day: date
    started_at: datetime | None
    rest_voltage_v: float | None
    seen_later: SeenLater | None
    readings_sha256: str
    answers: tuple[KeptAnswer, ...]
    written_at: datetime
    longest: str | None = None

    @property
    def same_as(self) -> tuple[str, object]:
        """What it has in common with other files of the same connection."""
        return self.battery_id, self.started_at or self.longest or self.entry_id


def track_record(store: Store, before: date | None = None, but: str | None = None) -> TrackRecord:
    """How right the answers on record turned out.

    Parameters
    ----------
    store : Store
    before : date, optional
        Truths known on this day or later are left out.
    but : str, optional
        Connection whose answers and truths are left out.

    Returns
    -------
    TrackRecord

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        plates = _scoring(store)
        seen = [one for one in _seen(store) if one.battery_id in plates]
        ranges = [
            case
            for case in _range_cases(seen, plates)
            if but != case.answered.connection_id and (before is None or case.known_on < before)
        ]
        return record_of(ranges, _outcome_cases(store, seen, plates))


def widening(store: Store, chemistry: Chemistry, on: date, but: str | None = None) -> float:
    """Factor of the ranges of an answer, by truths that were known before its day.

    Parameters
    ----------
    store : Store
    chemistry : Chemistry
    on : date
        Day of the answer.
    but : str, optional
        Connection that is assessed once more: it does not score itself.

    Returns
    -------
    float
        Factor [-]; 1 while there are too few cases.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading():
        every = _scoring(store)
        plates = {one: plate for one, plate in every.items() if plate.chemistry == chemistry}
        seen = [one for one in _seen(store) if one.battery_id in plates]
    ranges = [
        case
        for case in _range_cases(seen, plates)
        if case.known_on < on and case.answered.connection_id != but
    ]
    return record_of(ranges, ()).widening(chemistry).factor


def _scoring(store: Store) -> dict[str, BatteryPlate]:
    """Batteries whose answers are scored: the invented ones only where there are no others."""
    every = {plate.id: plate.record for plate in store.entries(BatteryPlate)}
    return {one: plate for one, plate in every.items() if not plate.invented} or every


def _seen(store: Store) -> list[_Seen]:
    """Connections with an answer, each as first given by the facts as they stand now."""
    with store.reading() as session:
        present = live_values(session, Connection, *_FIELDS)
        facts = {one: told for one, *told in live_values(session, Connection, "entry_id", *FACTS)}
        columns = ("entry_id", "recorded_at", "answers", "assessment", *FACTS)
        table = ConnectionRow.__table__.columns
        rows = session.execute(
            ConnectionRow.__table__.select()
            .with_only_columns(*(table[name] for name in columns))
            .where(table["not_assessed"].is_(None))
            .order_by(table["recorded_at"], table["row_id"])
        ).all()
        former, doubled = _former_spells(store), doubled_readings(session)
    first: dict[str, dict[str, Any]] = {}
    for entry_id, written_at, answers, assessment, *told in rows:
        if entry_id in first or entry_id in doubled or told != facts.get(entry_id):
            continue
        if written_in(former.get(told[0], ()), written_at):
            continue
        if given := answers or _from_json(assessment):
            first[entry_id] = {"answers": given, "written_at": written_at}
    seen = [
        _Seen(**dict(zip(_FIELDS, values, strict=True)), **first[values[0]])
        for values in present
        if values[0] in first
    ]
    longest = _longest(store, seen)
    return [replace(one, longest=longest.get(one.entry_id)) for one in seen]


def _former_spells(store: Store) -> dict[str, Spells]:
    """When plates stood otherwise on record, by battery."""
    corrected = [plate.id for plate in store.entries(BatteryPlate) if plate.replaces is not None]
    return {one: former_spells(store.history(one)) for one in corrected}


def _longest(store: Store, seen: list[_Seen]) -> dict[str, str]:
    """By entry without a clock: that of the longest file of its day that begins as its own."""
    of_day: dict[tuple[str, date], list[_Seen]] = {}
    for one in seen:
        if one.started_at is None:
            of_day.setdefault((one.battery_id, one.day), []).append(one)
    found: dict[str, str] = {}
    for group in of_day.values():
        if len(group) > 1:
            found |= _going_on({one.entry_id: _content(store, one) for one in group})
    return found


def _content(store: Store, one: _Seen) -> bytes:
    try:
        return store.file(one.readings_sha256)
    except BatteryModelError:
        return one.entry_id.encode()


def _going_on(contents: dict[str, bytes]) -> dict[str, str]:
    """By entry: that of the longest content that begins with its own but for the last line."""
    found: dict[str, str] = {}
    for entry_id in sorted(contents, key=lambda one: -len(contents[one])):
        begun = contents[entry_id].rstrip().rpartition(b"\n")[0] or contents[entry_id]
        longer = (other for other in found.values() if contents[other].startswith(begun))
        found[entry_id] = next(longer, entry_id)
    return found


def _from_json(assessment: str | None) -> tuple[KeptAnswer, ...]:
    """The answer of before answers were kept."""
    if assessment is None:
        return ()
    found = answer_from_json(json.loads(assessment))
    return () if found is None else (found,)


def _range_cases(seen: list[_Seen], plates: dict[str, BatteryPlate]) -> Iterator[RangeCase]:
    groups: dict[tuple[str, object], list[_Seen]] = {}
    for one in seen:
        groups.setdefault(one.same_as, []).append(one)
    for group in groups.values():
        plate = plates[group[0].battery_id]
        if (case := _taper_case(group, plate)) is not None:
            yield case
        rested = [case for one in group if (case := _rest_case(one, plate)) is not None]
        yield from rested[-1:]


def _taper_case(group: list[_Seen], plate: BatteryPlate) -> RangeCase | None:
    """The first answer of a connection against what its taper returned by the longest file."""
    ended = [
        one for one in group if one.seen_later is not None and one.seen_later.returned is not None
    ]
    if not ended:
        return None
    last = max(ended, key=lambda one: one.answers[-1].until_s)
    returned = last.seen_later.returned if last.seen_later else None
    for one in group:
        for answer in one.answers:
            if returned and abs(answer.until_s - returned.after_s) <= SAME_TIME_S:
                return RangeCase(
                    answered=_answered(one, plate, answer),
                    told=answer.charge_to_return_ah,
                    truth=returned.charge_ah,
                    truth_sd=returned.sd_ah,
                    truth_from=TruthFrom.TAPER,
                    known_on=last.day,
                    per_point=plate.rated_capacity_ah / 100.0,
                )
    return None


def _rest_case(one: _Seen, plate: BatteryPlate) -> RangeCase | None:
    if one.seen_later is None or one.seen_later.rested is None or one.rest_voltage_v is not None:
        return None
    answer, rested = one.answers[-1], one.seen_later.rested
    return RangeCase(
        answered=_answered(one, plate, answer),
        told=answer.soc_now,
        truth=rested.soc,
        truth_sd=rested.sd,
        truth_from=TruthFrom.REST,
        known_on=one.day,
        per_point=0.01,
    )


def _answered(one: _Seen, plate: BatteryPlate, answer: KeptAnswer) -> Answered:
    return Answered(
        connection_id=one.entry_id,
        battery_id=one.battery_id,
        chemistry=plate.chemistry,
        kind=kind_words(plate),
        rated_ah=plate.rated_capacity_ah,
        on=one.day,
        answer=answer,
    )


def kind_words(plate: BatteryPlate) -> str:
    """The kind of a battery, as its plate says: chemistry, cells, rated capacity.

    Parameters
    ----------
    plate : BatteryPlate

    Returns
    -------
    str
    """
    label = data_for(plate.chemistry).label
    return f"{label}, {plate.cells} cells, {plate.rated_capacity_ah:g} Ah"


def _outcome_cases(
    store: Store, seen: list[_Seen], plates: dict[str, BatteryPlate]
) -> Iterator[OutcomeCase]:
    """Each answer with all finds that it is the last one before."""
    least, found = _least_of_day(store), dict[str, list[Find]]()
    answers = {one.entry_id: one for one in seen}
    for entry, check in _finds(store):
        one = _last_before(seen, entry, check)
        if one is None or entry.record.battery_id not in plates:
            continue
        find = _find(store, plates[one.battery_id], entry.record, check.record if check else None)
        if find is not None:
            counts = check is None or check.id in least
            found.setdefault(one.entry_id, []).append(replace(find, counts=counts))
    for entry_id, finds in found.items():
        one = answers[entry_id]
        answered = _answered(one, plates[one.battery_id], one.answers[-1])
        if (case := outcome_case(answered, finds)) is not None:
            yield case


def _least_of_day(store: Store) -> set[str]:
    """Checks that count: of those of a battery and day that ran to their end the least."""
    least: dict[tuple[str, date], Entry[BenchCheck]] = {}
    checks = store.entries(BenchCheck)
    for check in sorted(checks, key=lambda one: one.record.capacity_ah):
        if not check.record.is_lower_bound:
            least.setdefault((check.record.battery_id, check.record.on), check)
    ended = {check.id for check in least.values()}
    return ended | {
        one.id
        for one in checks
        if one.record.is_lower_bound and (one.record.battery_id, one.record.on) not in least
    }


def _finds(store: Store) -> Iterable[tuple[Entry[Any], Entry[BenchCheck] | None]]:
    """Servicings, then checks that no servicing names, each with the check of its figure."""
    checks = {entry.id: entry for entry in store.entries(BenchCheck)}
    servicings = store.entries(Servicing)
    for entry in servicings:
        yield entry, checks.get(entry.record.check_id or "")
    named_ones = {entry.record.check_id for entry in servicings}
    for entry_id, check in checks.items():
        if entry_id not in named_ones:
            yield check, check


def _last_before(
    seen: list[_Seen], find: Entry[Any], check: Entry[BenchCheck] | None
) -> _Seen | None:
    """The last connection before a find, within `MOST_DAYS_BETWEEN`, whose answer knew it not.

    On the same day, what was written first is taken to have been first.
    """
    written_at = min(find.recorded_at, check.recorded_at if check else find.recorded_at)
    on = find.record.on
    since = on - timedelta(days=MOST_DAYS_BETWEEN)
    before = [
        one
        for one in seen
        if one.battery_id == find.record.battery_id
        and since <= one.day <= on
        and (one.day < on or one.written_at < written_at)
    ]
    return max(before, key=lambda one: (one.day, one.written_at), default=None)


def _find(
    store: Store, plate: BatteryPlate, record: Servicing | BenchCheck, check: BenchCheck | None
) -> Find | None:
    """What was found; None where a check that was stopped early tells nothing."""
    if isinstance(record, Servicing) and record.found is not ServicingFound.CAPACITY:
        is_cell = record.found is ServicingFound.FAULTY_CELL
        return Find(Found.FAULTY_CELL if is_cell else Found.NOTHING_WRONG, record.on)
    if check is None:
        return None
    found = _found(store, plate, check)
    is_open = found is None and check.is_lower_bound
    return None if is_open else Find(found, record.on, is_measured=True)


def _found(store: Store, plate: BatteryPlate, check: BenchCheck) -> Found | None:
    """What a check says; None where it does not tell on which side of the limit it is."""
    battery = store.battery(plate.serial, check.on)
    least_ah = limit_for(battery, "min_capacity_fraction").value * plate.rated_capacity_ah
    beyond = LEVEL_SD * check.check.sd_ah
    if check.capacity_ah - (0.0 if check.is_lower_bound else beyond) >= least_ah:
        return Found.ENOUGH
    is_low = check.capacity_ah + beyond < least_ah and not check.is_lower_bound
    return Found.LOW if is_low else None
