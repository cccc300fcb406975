"""Entries as a page's pad sends them, taken into the connection in progress; none twice."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Annotated, Any, Literal

from pydantic import Field

from batterymodel.errors import InputError, StoreError
from batterymodel.inputs.entry_faults import Shown, said_by_labels
from batterymodel.inputs.records import Record, record_from
from batterymodel.store.acts import InProgress, Key
from batterymodel.store.in_progress import answer, is_begun, load, mark, note, strike, tell
from batterymodel.store.store import Store

EARLIEST_MS, LATEST_MS = 1.5e12, 7.3e12
"""Moments that a browser's clock may show, since 1970 [ms] (own choice: years 2017 to 2201)."""


class PadEntry(Record):
    """One press on the pad: a reading, something told, a question skipped, a mark, or an undo."""

    id: Key
    at_ms: Annotated[float, Field(ge=EARLIEST_MS, le=LATEST_MS)]
    kind: Literal["reading", "tell", "skip", "mark", "strike"]
    quantity: str
    value: float | None = None
    text: str | None = None
    target: Key | None = None

    @property
    def moment(self) -> datetime:
        """When it was pressed, by the device's clock."""
        return datetime.fromtimestamp(self.at_ms / 1000.0, UTC)


@dataclass
class Reply:
    """What became of entries that were sent.

    ``connections`` holds, by the id of each entry that is in the record now, its connection after
    it; ``refused`` the reason by the id of each that cannot be right; ``unknown`` the connection by
    the id of each of which the record has none. What is in none of them is to be sent again,
    ``waiting`` says why.
    """

    connections: dict[str, InProgress] = field(default_factory=dict)
    refused: dict[str, str] = field(default_factory=dict)
    unknown: dict[str, str] = field(default_factory=dict)
    waiting: str | None = None


def take_entries(
    store: Store, sent: Iterable[Mapping[str, Any]], labels: Mapping[str, Shown] | None = None
) -> Reply:
    """Take entries of the pad, each into its own connection, in their order.

    Parameters
    ----------
    store : Store
    sent : iterable of mappings
        As the browser sent them: fields of `PadEntry`, and ``connection``.
    labels : mapping, optional
        How the page shows what is read, by its names, for the reasons of refusals.

    Returns
    -------
    Reply
        Entries of a connection that another record holds stay out of it.
    """
    reply = Reply()
    for entry in sent:
        key, rest = str(entry.get("id")), dict(entry)
        in_progress_id = str(rest.pop("connection", ""))
        try:
            if is_begun(store, in_progress_id):
                reply.connections[key] = take_entry(store, in_progress_id, rest)
            else:
                reply.unknown[key] = in_progress_id
        except StoreError as error:
            reply.waiting = str(error)
            return reply
        except InputError as error:
            reply.refused[key] = said_by_labels(error, labels or {})
    return reply


def take_entry(store: Store, in_progress_id: str, sent: Mapping[str, Any]) -> InProgress:
    """Take one entry of the pad; a repeat changes nothing.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    sent : mapping
        As the browser sent it: fields of `PadEntry`.

    Returns
    -------
    InProgress
        As it is now.

    Raises
    ------
    InputError
        An entry that cannot be right, or a connection that takes none.
    StoreError
        The record cannot be written now; the same entry may come again.
    """
    entry = record_from(dict(sent), PadEntry, "the pad")
    if entry.kind == "skip":
        return _skipped(store, in_progress_id, entry)
    if entry.kind == "tell":
        return answer(store, in_progress_id, entry.id, entry.quantity, _value(entry), entry.moment)
    if entry.kind == "strike":
        return strike(store, in_progress_id, entry.id, entry.target or "")
    if entry.kind == "mark":
        return mark(store, in_progress_id, entry.id, entry.text or "", entry.moment)
    return note(store, in_progress_id, entry.id, entry.quantity, _value(entry), entry.moment)


def _value(entry: PadEntry) -> float:
    return float("nan") if entry.value is None else entry.value


def _skipped(store: Store, in_progress_id: str, entry: PadEntry) -> InProgress:
    connection = load(store, in_progress_id)
    skipped = connection.told.skipped or ()
    if entry.quantity in skipped:
        return connection
    return tell(store, in_progress_id, entry.id, skipped=(*skipped, entry.quantity))
