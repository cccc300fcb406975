"""Rules about proof: what must have been seen before a battery is topped off in place."""

from __future__ import annotations

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.reference.limits import Limit
from batterymodel.rules.battery_rules import SURE, rest_voltage_confirms
from batterymodel.rules.case import OWN_RULE, Case, against
from batterymodel.rules.results import Finding, Severity
from batterymodel.rules.wording import say
from batterymodel.taper.fit import MOST_CONFLICT
from batterymodel.taper.trends import (
    SEEN_METER_STEPS,
    Change,
    battery_current,
    whole_change,
)

FALL_ERRORS = 3.0
"""Errors by which the current must fall to have been seen to [-] (own choice)."""

FALL_METER_STEPS = 2.0
"""And by more than so many steps of the meter [-] (own choice: a steady current between two marks
moves by one, the line through its readings by one and a half)."""

FALLS_TO = 0.4
"""Part of its first level to which the current of a nearly full battery must fall where it is no
taper [-] (own choice: a joint or cell that halves its current as it warms is told from it)."""

ENDS_COMPARED = 3
"""Readings at each end whose means are compared (own choice)."""

FALL_OF_CURRENT = 0.05
"""Part of the battery current by which it must fall besides [-] (own choice)."""

PLAUSIBLE_PLATE_AH = (4.0, 100.0)
"""Rated capacities of main batteries of light aircraft [Ah] (common practice, no source)."""

CHECK_CONFIRMS = (0.3, 1.5)
"""Capacity check over rated capacity that confirms the plate [-] (own choice)."""


def charge_confirmed(case: Case) -> Finding | None:
    """Whether the charge was confirmed by rest voltage, or by a current that was seen to fall.

    A chemistry whose current is no taper has a rule of its own (`current_seen`).

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None for a chemistry whose current is no exponential taper.
    """
    if not case.tapers:
        return None
    if rest_voltage_confirms(case):
        return _confirmation("rest", Severity.OK)
    if not fall_seen(case):
        return _confirmation("unseen", Severity.WATCH)
    return _confirmation("fall" if case.rise is None else "fall_then_rise", Severity.OK)


def fall_seen(case: Case) -> bool:
    """Whether the current was seen to fall by more than errors, meter and `FALL_OF_CURRENT`.

    Beside a load that nobody gave only the line through all readings counts: what it cannot tell
    is called level there (`current_rules.taper_missing`).

    Parameters
    ----------
    case : Case

    Returns
    -------
    bool
        False with the supply at its limit throughout, or with too few readings.
    """
    change = whole_change(case.fit)
    if case.fit.signal.limited_throughout or change is None:
        return False
    load_given = case.fit.signal.load.given
    return _fell_along_a_line(change, case) or (load_given and _fell_between_ends(case))


def _fell_along_a_line(change: Change, case: Case) -> bool:
    """The line through all readings falls by more than errors, meter and `FALL_OF_CURRENT`.

    A steady current that moves from one mark to the next makes a line of one and a half steps.
    """
    steps_a = FALL_METER_STEPS * case.fit.signal.resolution_a
    errors_a = FALL_ERRORS * change.standard_error
    return -change.amount > max(errors_a, steps_a, _least_fall_a(case))


def _fell_between_ends(case: Case) -> bool:
    """So do the means of the first and the last readings; a steady current moves them by a step."""
    _, current = battery_current(case.fit)
    first_a, last_a = _ends_a(current)
    steps_a = SEEN_METER_STEPS * case.fit.signal.resolution_a
    return first_a - last_a > max(_error_of_ends_a(case), steps_a, _least_fall_a(case))


def _least_fall_a(case: Case) -> float:
    _, current = battery_current(case.fit)
    return FALL_OF_CURRENT * float(np.median(current))


def _error_of_ends_a(case: Case) -> float:
    """`FALL_ERRORS` of the difference between the means of the readings at both ends [A]."""
    return FALL_ERRORS * case.fit.signal.sigma_a * float(np.sqrt(2.0 / ENDS_COMPARED))


def current_seen(case: Case) -> Finding | None:
    """Whether the current itself speaks for a full battery, where it is no taper.

    It must fall by more than its noise, to `FALLS_TO` of its first level, and by itself leave at
    most ``1 - SURE`` for too low a charge: a broken circuit, a leak, a joint that warms and a full
    battery look alike beside a record that says full, and the conditions of a flat current
    (`soc.conditions`) believe that record.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None for a chemistry whose current is an exponential taper.
    """
    if case.tapers:
        return None
    _, current = battery_current(case.fit)
    first_a, last_a = _ends_a(current)
    noise = max(_error_of_ends_a(case), FALL_METER_STEPS * case.fit.signal.resolution_a)
    limit = case.limit("min_top_off_soc").value
    below = case.state.current_below(limit)
    if first_a - last_a <= noise:
        variant = "level"
    elif below > 1.0 - SURE:
        variant = "unsure"
    else:
        variant = "ok" if last_a <= FALLS_TO * first_a else "half"
    severity = Severity.OK if variant == "ok" else Severity.WATCH
    least_a = FALLS_TO * first_a
    text = say(f"current_seen.{variant}", value=100.0 * below, limit=100.0 * limit, least=least_a)
    least = Limit(1.0 - SURE, "fraction", OWN_RULE, generic=False)
    return against("current_seen", severity, text, below, least)


def _ends_a(current_a: FloatArray) -> tuple[float, float]:
    """Means of the first and of the last readings [A]; the same where there are too few."""
    if current_a.size < 2 * ENDS_COMPARED:
        return 0.0, 0.0
    return float(current_a[:ENDS_COMPARED].mean()), float(current_a[-ENDS_COMPARED:].mean())


def _confirmation(variant: str, severity: Severity) -> Finding:
    text = say(f"charge_confirmed.{variant}")
    return Finding(rule="charge_confirmed", severity=severity, text=text)


def unlike_any_taper(case: Case) -> Finding | None:
    """Whether the current falls as no battery of this kind, or not as this battery did before.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where the taper agrees with what was believed, and for a chemistry whose current is no
        exponential taper: it follows another law (`taper.flat_current`).
    """
    if not case.tapers:
        return None
    conflict = case.fit.conflict
    if case.unlike_history:
        variant = "history"
    elif conflict > MOST_CONFLICT:
        slower = case.fit["log_time_constant"] > case.fit.belief.log_time_s
        variant = "slow" if slower else "fast"
    else:
        return None
    limit = Limit(MOST_CONFLICT, "-", OWN_RULE, generic=False)
    text = say(f"unlike_any_taper.{variant}")
    witnessed = variant == "fast" and rest_voltage_confirms(case)
    severity = Severity.NOTE if witnessed else Severity.WATCH
    return against("unlike_any_taper", severity, text, conflict, limit)


def rated_capacity(case: Case) -> Finding | None:
    """Whether the rated capacity can be that of a light aircraft's battery.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where it can, or where a capacity check confirms it.
    """
    rated, check = case.battery.rated_capacity_ah, case.battery.capacity_check
    low, high = PLAUSIBLE_PLATE_AH
    confirmed = check is not None and (
        CHECK_CONFIRMS[0] <= check.capacity_ah / rated <= CHECK_CONFIRMS[1]
    )
    if confirmed or low <= rated <= high:
        return None
    text = say("rated_capacity.watch", value=rated, low=low, high=high)
    source = OWN_RULE + ": common practice, no source"
    limit = Limit(high if rated > high else low, "Ah", source, generic=False)
    return against("rated_capacity", Severity.WATCH, text, rated, limit)
