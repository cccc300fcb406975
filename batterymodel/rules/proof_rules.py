"""Rules about proof: what must have been seen before a battery is topped off in place."""

from __future__ import annotations

import numpy as np

from batterymodel.inputs.records import Chemistry
from batterymodel.reference.limits import Limit
from batterymodel.rules.battery_rules import SURE
from batterymodel.rules.case import OWN_RULE, Case, against
from batterymodel.rules.results import Finding, Severity
from batterymodel.rules.wording import say
from batterymodel.soc.evidence import REST_VOLTAGE, SOC_GRID
from batterymodel.taper.fit import MOST_CONFLICT
from batterymodel.taper.trends import battery_current, whole_change

LEAD_ACID = (Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA)
"""Chemistries whose rest voltage follows the charge closely enough to confirm it."""

CONFIRMED = 0.9
"""Probability above the limit, by the rest voltage alone, that confirms a charge [0..1] (own
choice: a twentieth of all rest voltages mislead)."""

FALL_ERRORS = 3.0
"""Errors by which the current must fall to have been seen to [-] (own choice)."""

FALL_METER_STEPS = 2.0
"""And by more than so many steps of the meter, where the current is no taper [-] (own choice)."""

ENDS_COMPARED = 3
"""Readings at each end whose means are compared there (own choice)."""

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
    if _rest_voltage_confirms(case):
        return _confirmation("rest", Severity.OK)
    change = whole_change(case.fit)
    if case.fit.signal.limited_throughout or change is None:
        return _confirmation("unseen", Severity.WATCH)
    _, current = battery_current(case.fit)
    least = max(FALL_ERRORS * change.standard_error, FALL_OF_CURRENT * float(np.median(current)))
    seen = -change.amount > least
    return _confirmation("fall" if seen else "unseen", Severity.OK if seen else Severity.WATCH)


def current_seen(case: Case) -> Finding | None:
    """Whether the current itself speaks for a full battery, where it is no taper.

    It must fall by more than its noise, and by itself leave at most ``1 - SURE`` for too low a
    charge: a broken circuit, a leak and a full battery look alike beside a record that says full,
    and the conditions of a flat current (`soc.conditions`) believe that record.

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
    few = current.size < 2 * ENDS_COMPARED
    falls = 0.0 if few else float(current[:ENDS_COMPARED].mean() - current[-ENDS_COMPARED:].mean())
    noise = FALL_ERRORS * case.fit.signal.sigma_a * float(np.sqrt(2.0 / ENDS_COMPARED))
    noise = max(noise, FALL_METER_STEPS * case.fit.signal.resolution_a)
    limit = case.limit("min_top_off_soc").value
    below = case.state.evidence[0].below(limit)
    variant = "level" if falls <= noise else "unsure" if below > 1.0 - SURE else "ok"
    severity = Severity.OK if variant == "ok" else Severity.WATCH
    text = say(f"current_seen.{variant}", value=100.0 * below, limit=100.0 * limit)
    least = Limit(1.0 - SURE, "fraction", OWN_RULE, generic=False)
    return against("current_seen", severity, text, below, least)


def _rest_voltage_confirms(case: Case) -> bool:
    found = [e for e in case.state.evidence if e.name == REST_VOLTAGE]
    if not found or case.battery.chemistry not in LEAD_ACID:
        return False
    above = case.limit("min_top_off_soc").value <= SOC_GRID
    return float(np.trapezoid(np.where(above, found[0].density, 0.0), SOC_GRID)) >= CONFIRMED


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
        None where the taper agrees with what was believed.
    """
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
    return against("unlike_any_taper", Severity.WATCH, text, conflict, limit)


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
