"""Correcting single fields of an entry; a connection is assessed anew."""

from __future__ import annotations

from datetime import date
from typing import Any, NamedTuple

from batterymodel.errors import InputError
from batterymodel.inputs.records import record_from
from batterymodel.store.as_of import histories_that_count
from batterymodel.store.entries import Entry
from batterymodel.store.former_plates import former_spells, of_one_kind, written_in
from batterymodel.store.intake import (
    PLATE_CORRECTED,
    assess_all_anew,
    correct_connection,
    refuse_ahead,
    refuse_check,
    refuse_day_of,
)
from batterymodel.store.records import (
    BatteryPlate,
    BenchCheck,
    Connection,
    HistoryRevision,
    Servicing,
)
from batterymodel.store.store import Store

NOT_CORRECTED = (
    "assessment",
    "not_assessed",
    "readings_sha256",
    "log_sha256",
    "content_sha256",
    "column_map",
    "answers",
    "seen_later",
)
"""Fields that follow from others, or are a file kept as it was."""


def corrected_entry(
    store: Store, entry_id: str, changes: dict[str, Any], reason: str
) -> Entry[Any]:
    """Correct fields of an entry, given as text or values; a connection is assessed anew.

    The check that a servicing names goes along to another battery or day. With the chemistry, cells
    or rated capacity of a plate all its connections are assessed anew, and what they taught is
    learned anew; one that cannot be assessed now keeps its answer.

    Parameters
    ----------
    store : Store
    entry_id : str
    changes : dict of str to object
        New values by field name; None empties a field.
    reason : str
        Why it is corrected, in a few words.

    Returns
    -------
    Entry
        The new row, under the id the entry always had.

    Raises
    ------
    InputError
        A field that is not there, follows from others or cannot hold the value; a day or a capacity
        that the way into the record refuses; an entry that is deleted or not there; a correction
        without a reason or that changes nothing.
    """
    with store.writing():
        record = store.entry(entry_id).record
        kind = type(record)
        values = {name: getattr(record, name) for name in kind.model_fields}
        known = [name for name in values if name not in NOT_CORRECTED]
        for name in changes:
            if name not in known:
                raise InputError(
                    f"entry {entry_id} has no field '{name}' to correct; fields are "
                    f"{', '.join(known)}"
                )
        new = record_from({**values, **changes}, kind, f"entry {entry_id}")
        if isinstance(new, Connection):
            refuse_ahead(store, new.day, "the connection")
            return correct_connection(store, entry_id, new, reason)
        if isinstance(new, BenchCheck):
            refuse_check(store, new)
            _refuse_parting(store, entry_id, new)
        corrected = store.correct(entry_id, new, reason)
        if isinstance(new, BatteryPlate) and (
            not of_one_kind(new, record) or _learned_by_another(store, corrected)
        ):
            assess_all_anew(store, corrected, reason)
        if isinstance(new, Servicing):
            refuse_day_of(store, new, "what servicing found")
            _take_check_along(store, record, new, reason)
        return corrected


def _learned_by_another(store: Store, plate: Entry[BatteryPlate]) -> bool:
    """Whether a plate was corrected before and what had been learned by the former one stayed."""
    every = store.entries(HistoryRevision, battery_id=plate.id)
    return len(histories_that_count(store, plate)) < len(every)


class AssessedWith(NamedTuple):
    """What the correction of a battery's plate made of its connections.

    ``anew`` were assessed anew; ``kept`` have an answer by the former plate that stays as it was
    given, because their readings give none now.
    """

    anew: tuple[Entry[Connection], ...] = ()
    kept: tuple[Entry[Connection], ...] = ()


def assessed_with(store: Store, corrected: Entry[Any]) -> AssessedWith:
    """The connections that were, and were not, assessed anew with the correction of a plate.

    Parameters
    ----------
    store : Store
    corrected : Entry
        As `corrected_entry` gives it.

    Returns
    -------
    AssessedWith
        None of them for what is no plate.
    """
    if not isinstance(corrected.record, BatteryPlate):
        return AssessedWith()
    reason = PLATE_CORRECTED.format(reason=corrected.correction_reason)
    rows = store.history(corrected.id)
    is_another = not all(of_one_kind(corrected.record, row.record) for row in rows[-2:])
    former = former_spells(rows)
    every = store.entries(Connection, battery_id=corrected.id)
    answered = [one for one in every if one.record.assessment is not None]
    anew = tuple(
        one
        for one in answered
        if one.correction_reason == reason and one.recorded_at >= corrected.recorded_at
    )
    kept = tuple(one for one in answered if written_in(former, one.recorded_at))
    return AssessedWith(anew, kept if anew or is_another else ())


def _refuse_parting(store: Store, check_id: str, check: BenchCheck) -> None:
    """A check that servicing names stays with that battery and day."""
    for named_by in store.entries(Servicing, check_id=check_id):
        if _place(named_by.record) != _place(check):
            raise InputError(
                f"entry {check_id}: is the capacity that servicing {named_by.id} found; correct "
                "battery and day of that entry, and the check goes along"
            )


def _take_check_along(store: Store, before: Servicing, after: Servicing, reason: str) -> None:
    """The check that a servicing names is of its battery and day, after a correction too."""
    if after.check_id is None:
        return
    check = store.entry(after.check_id).record
    if _place(check) == _place(after):
        return
    if after.check_id != before.check_id or _place(check) != _place(before):
        raise InputError(
            f"entry {after.check_id}: that capacity check is of another battery or day than what "
            "servicing found; one of the same would be right"
        )
    moved = check.model_copy(update={"battery_id": after.battery_id, "on": after.on})
    refuse_check(store, moved)
    store.correct(after.check_id, moved, reason)


def _place(record: BenchCheck | Servicing) -> tuple[str, date]:
    return record.battery_id, record.on
