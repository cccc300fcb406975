"""Correcting single fields of an entry; a connection is assessed anew."""

from __future__ import annotations

from typing import Any

from batterymodel.errors import InputError
from batterymodel.inputs.records import record_from
from batterymodel.store.entries import Entry
from batterymodel.store.intake import correct_connection
from batterymodel.store.records import Connection
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
        A field that is not there, follows from others or cannot hold the value; an entry that is
        deleted or not there; a correction without a reason or that changes nothing.
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
            return correct_connection(store, entry_id, new, reason)
        return store.correct(entry_id, new, reason)
