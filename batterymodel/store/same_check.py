"""Whether a capacity is one that is on record already: told by bench and servicing, it is one.

Of one day, the same capacity to its end is one check: a discharge and the charge after it take the
day. Within a few days it may be one that was dated otherwise, or a second one: nobody can tell but
who measured it, so that is asked.
"""

from __future__ import annotations

from batterymodel.errors import InputError
from batterymodel.store.entries import Entry
from batterymodel.store.records import BenchCheck
from batterymodel.store.store import Store
from batterymodel.store.told_twice import are_alike, completed

SAME_CHECK_DAYS = 5
"""Days within which a check of the same capacity is asked about [d] (own choice: the days between
bench, paper and the aircraft)."""

TOLD_MORE = "told once more, with more of it"


def same_check(store: Store, check: BenchCheck) -> Entry[BenchCheck] | None:
    """The check on record that another of the same day is, told once more.

    Parameters
    ----------
    store : Store
    check : BenchCheck

    Returns
    -------
    Entry of BenchCheck or None
        None for a bound, and for one that was measured otherwise than those on record.
    """
    return next((one for one in _alike(store, check) if one.record.on == check.on), None)


def filled(store: Store, there: Entry[BenchCheck], check: BenchCheck) -> Entry[BenchCheck]:
    """A check on record with what is told of it now and was left open before.

    Parameters
    ----------
    store : Store
    there : Entry of BenchCheck
    check : BenchCheck
        The same one, told once more.

    Returns
    -------
    Entry of BenchCheck
        Corrected where there was anything to fill in.

    Raises
    ------
    StoreError
        The record cannot be written.
    """
    whole = completed(there.record, check)
    return there if whole is there.record else store.correct(there.id, whole, TOLD_MORE)


def refuse_perhaps_same(store: Store, check: BenchCheck) -> None:
    """Ask about a check of the same capacity within a few days, instead of counting it twice.

    Parameters
    ----------
    store : Store
    check : BenchCheck

    Raises
    ------
    InputError
        There is one within `SAME_CHECK_DAYS` on another day; says which.
    """
    near = [
        one
        for one in _alike(store, check)
        if 0 < abs((one.record.on - check.on).days) <= SAME_CHECK_DAYS
    ]
    if near:
        nearest = min(near, key=lambda one: abs((one.record.on - check.on).days))
        on = nearest.record.on
        raise InputError(
            f"the capacity of {check.capacity_ah:g} Ah on {check.on}: the record has the same of "
            f"{on}; if that is this one, give {on} as its day, and if it was measured once more, "
            "say 'measured again'"
        )


def _alike(store: Store, check: BenchCheck) -> list[Entry[BenchCheck]]:
    """Checks of the same battery and capacity that ran to their end and do not contradict it."""
    every = store.entries(BenchCheck, battery_id=check.battery_id, is_lower_bound=False)
    return [one for one in every if are_alike(one.record, check)]
