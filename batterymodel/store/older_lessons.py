"""What a completed taper of before batteries taught their kind says, read from its file once.

The assessment on record holds no such lesson, or one that does not say yet whether the supply's
voltage was read; it stays as it was given, and what is read is kept beside the record
(`kept_results`).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from pydantic import TypeAdapter, ValidationError
from sqlalchemy import select

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.kinds import TaperLesson
from batterymodel.inputs.records import Battery
from batterymodel.store.entries import Entry, entry_of
from batterymodel.store.kept_results import (
    AT_ONCE,
    KeptResult,
    digest_of,
    keep_results,
    kept_results,
)
from batterymodel.store.one_look import OneLook
from batterymodel.store.records import BatteryPlate, Connection
from batterymodel.store.store import Store
from batterymodel.store.tables import KIND_OF_RECORD, ConnectionRow
from batterymodel.store.told_readings import readings_of, told_beside

KIND = "taper lesson"
"""Under which they are kept."""

_JSON: TypeAdapter[TaperLesson | None] = TypeAdapter(TaperLesson | None)


def older_lessons(
    store: Store, plates: dict[str, Entry[BatteryPlate]], row_ids: Iterable[str]
) -> dict[str, TaperLesson | None]:
    """What connections teach whose assessments are older than lessons are, or than their fields.

    Parameters
    ----------
    store : Store
        Looked at while it is being read.
    plates : dict of str to Entry of BatteryPlate
        Of their batteries, by id.
    row_ids : iterable of str
        Present rows of connections.

    Returns
    -------
    dict of str to TaperLesson or None
        By row; None where a taper teaches nothing by the estimate as it is.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    look, entries = OneLook(store), list(_entries(store, list(row_ids)))
    kept = kept_results(store, KIND, [entry.id for entry in entries])
    found: dict[str, TaperLesson | None] = {}
    fresh: dict[str, KeptResult] = {}
    for entry in entries:
        battery = look.battery_before(plates[entry.record.battery_id], entry)
        digest = digest_of(entry.row_id, battery.model_dump_json())
        there = _kept_lesson(kept.get(entry.id), digest)
        if not there:
            there = (_lesson(store, entry.record, battery),)
            fresh[entry.id] = KeptResult(digest, _JSON.dump_json(there[0]).decode())
        found[entry.row_id] = there[0]
    if fresh:
        keep_results(store, KIND, fresh)
    return found


def _kept_lesson(there: KeptResult | None, digest: str) -> tuple[TaperLesson | None, ...]:
    """What was kept; empty where it was made from something else, or other hands spoilt it."""
    if there is None or there.digest != digest:
        return ()
    try:
        return (_JSON.validate_json(there.value),)
    except ValidationError:
        return ()


def _entries(store: Store, row_ids: list[str]) -> Iterator[Entry[Connection]]:
    kind = KIND_OF_RECORD[Connection]
    with store.reading() as session:
        for start in range(0, len(row_ids), AT_ONCE):
            some = ConnectionRow.row_id.in_(row_ids[start : start + AT_ONCE])
            for row in session.scalars(select(ConnectionRow).where(some)):
                yield entry_of(row, kind)


def _lesson(store: Store, connection: Connection, battery: Battery) -> TaperLesson | None:
    try:
        readings = readings_of(store, connection)
        told = told_beside(connection)
        return assess(readings, battery, on=connection.day, **told).taper_lesson
    except BatteryModelError:
        return None
