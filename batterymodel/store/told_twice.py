"""Capacity checks on record that are one check, told twice: by bench and by servicing.

What comes in now is asked for that (`same_check`); older records hold such pairs. They stay as they
were told, and count once.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import replace
from datetime import date

from batterymodel.store.entries import Entry
from batterymodel.store.records import BenchCheck

SAME_CAPACITY_AH = 0.05
"""Capacities that lie no further apart are one capacity [Ah] (own choice: they are told to a
tenth)."""

MEASURED = ("discharge_current_a", "minutes", "temperature_c", "end_voltage_v", "log_sha256")
"""What says how a check was measured: two that say it otherwise are two."""

FILLED = ("capacity_sd_ah", *MEASURED, "log_name")
"""What a check on record takes over from the same one told once more, where it was left open; the
first note stays."""


def each_once(checks: Iterable[Entry[BenchCheck]]) -> tuple[Entry[BenchCheck], ...]:
    """Checks on record, one that was told twice counted once.

    Parameters
    ----------
    checks : iterable of Entry
        Of any batteries, in any order.

    Returns
    -------
    tuple of Entry
        In the order given; of one told twice the first, with what only the later says and the least
        of both capacities.
    """
    kept: list[Entry[BenchCheck]] = []
    of_day = defaultdict[tuple[str, date], list[int]](list)
    for check in checks:
        places = of_day[check.record.battery_id, check.record.on]
        place = next((k for k in places if are_alike(kept[k].record, check.record)), None)
        if place is None:
            places.append(len(kept))
            kept.append(check)
        else:
            record = completed(kept[place].record, check.record)
            least_ah = min(record.capacity_ah, check.record.capacity_ah)
            least = record.model_copy(update={"capacity_ah": least_ah})
            kept[place] = replace(kept[place], record=least)
    return tuple(kept)


def are_alike(one: BenchCheck, other: BenchCheck) -> bool:
    """Whether two checks measured the same capacity in the same way, of any day.

    Parameters
    ----------
    one, other : BenchCheck
        Of one battery.

    Returns
    -------
    bool
        False for a bound: two may be of two discharges.
    """
    if one.is_lower_bound or other.is_lower_bound:
        return False
    pairs = [(getattr(one, name), getattr(other, name)) for name in MEASURED]
    is_same = abs(one.capacity_ah - other.capacity_ah) <= SAME_CAPACITY_AH
    return is_same and all(a is None or b is None or a == b for a, b in pairs)


def completed(there: BenchCheck, told: BenchCheck) -> BenchCheck:
    """A check with what another telling of it says and it left open.

    Parameters
    ----------
    there, told : BenchCheck

    Returns
    -------
    BenchCheck
        The very same where there is nothing to fill in.
    """
    more = {name: getattr(told, name) for name in FILLED if getattr(there, name) is None}
    more = {name: value for name, value in more.items() if value}
    return there.model_copy(update=more) if more else there
