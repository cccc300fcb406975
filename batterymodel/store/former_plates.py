"""When a plate stood otherwise on record: what was learned then is learned over another capacity.

A kind is what plates have in common: chemistry, cells and rated capacity. What was found of a
connection while one of them was mistyped says nothing of the battery as its plate stands now.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from itertools import pairwise

from batterymodel.inputs.records import Record
from batterymodel.store.entries import Entry
from batterymodel.store.records import BatteryPlate, HistoryRevision

PLATE = ("chemistry", "cells", "rated_capacity_ah")
"""What the plates of one kind have in common."""

Spells = tuple[tuple[datetime, datetime], ...]
"""From when to when, the end left out."""


def of_one_kind(one: Record, other: Record) -> bool:
    """Whether two plates, or a plate and a battery, are of one kind.

    Parameters
    ----------
    one, other : BatteryPlate or Battery

    Returns
    -------
    bool
    """
    return all(getattr(one, name) == getattr(other, name) for name in PLATE)


def former_spells(rows: Sequence[Entry[BatteryPlate]]) -> Spells:
    """From when to when a plate stood otherwise on record than it does now.

    Parameters
    ----------
    rows : sequence of Entry
        Every row of the plate, first writing first.

    Returns
    -------
    tuple of (datetime, datetime)
    """
    return tuple(
        (one.recorded_at, after.recorded_at)
        for one, after in pairwise(rows)
        if not of_one_kind(one.record, rows[-1].record)
    )


def written_in(spells: Spells, at: datetime) -> bool:
    """Whether something was written while the plate stood otherwise.

    Parameters
    ----------
    spells : tuple of (datetime, datetime)
    at : datetime
        When it was written.

    Returns
    -------
    bool
    """
    return any(since <= at < until for since, until in spells)


def learned_by_this_plate(
    histories: Iterable[Entry[HistoryRevision]], spells: Spells
) -> tuple[Entry[HistoryRevision], ...]:
    """Histories but those that a former plate is in.

    What a connection taught goes on from what was known before it; so with the first that was
    learned by a former plate all go that were learned after it. One that was told stays.

    Parameters
    ----------
    histories : iterable of Entry
        Of one battery.
    spells : tuple of (datetime, datetime)
        `former_spells` of its plate.

    Returns
    -------
    tuple of Entry
        In the order given.
    """
    every = tuple(histories)
    learned = [one.recorded_at for one in every if one.record.connection_id is not None]
    wrong = [at for at in learned if written_in(spells, at)]
    if not wrong:
        return every
    first = min(wrong)
    return tuple(
        one for one in every if one.record.connection_id is None or one.recorded_at < first
    )
