"""Rules about the battery: its charge, what else it could be, temperature, voltage, capacity."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
from scipy.special import ndtr

from batterymodel.basis.calendar import days_words
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.basis.text import percent_below
from batterymodel.inputs.records import Chemistry, Readings
from batterymodel.reference.chemistry import REFERENCE_TEMP_C
from batterymodel.reference.conditions import UNSAFE, Condition
from batterymodel.reference.limits import Limit
from batterymodel.reference.temperature import (
    charge_voltage_mismatch_v,
    charge_voltage_shift_v,
    rest_voltage_shift_v,
    rest_voltage_v,
    within_data_c,
)
from batterymodel.rules.case import NEGLIGIBLE_V, OWN_RULE, Case, against, any_seen
from batterymodel.rules.results import (
    Finding,
    Severity,
)
from batterymodel.rules.wording import TOLD_TEMPERATURE, chance_words, say
from batterymodel.soc.evidence import REST_VOLTAGE, rest_voltage_sd_v
from batterymodel.taper.signals import held_voltage_v
from batterymodel.taper.trends import (
    warming_c_per_min,
)

SURE = 0.95
"""Probability below the limit at which a battery is sent for servicing (own choice)."""

SURE_TO_TOP_OFF = 0.99
"""Probability above the limit needed to top off (own choice): taking a low battery for a full one
is the dangerous error, so more is asked on that side."""

LEAD_ACID = (Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA)
"""Chemistries whose rest voltage follows the charge closely enough to confirm it."""

CONFIRMED = 0.95
"""Share of batteries at the limit for topping off that show less than a rest voltage which confirms
a charge [0..1] (own choice: a twentieth of all rest voltages mislead)."""

TOLD_BY_REST = (Condition.ACCEPTS_LITTLE, Condition.WORN, Condition.SHORTED_CELL)
"""Conditions of which a rest voltage would tell."""

LEAST_EXPLAINED = 0.1
"""Highest likelihood of a rest voltage over all charges, with that of a full battery's for 1, under
which no charge explains it [-]: some two standard deviations below empty (own choice)."""

SUSTAINED_S = 60.0
"""Time a voltage must last to count as the highest of the run [s] (own choice)."""

WELL_ABOVE_V = 0.3
"""A set voltage this far above the window calls for service, less is a note (own choice)."""


def deep_discharge(case: Case) -> Finding:
    """State of charge at connection against the least for topping off.

    A rest voltage that confirms the charge contradicts a current that says the battery is low: a
    bus load that was told wrong looks so, and one more observation is asked for. So it is where the
    range reaches over the limit.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding
    """
    limit = case.limit("min_top_off_soc")
    soc = case.state.soc_at_connection
    below = case.state.probability_below(limit.value)
    if below < 1.0 - SURE_TO_TOP_OFF:
        variant, severity = "ok", Severity.OK
    elif below > SURE and soc.high <= limit.value and not rest_voltage_confirms(case):
        bound = case.fit.signal.limited_throughout
        variant, severity = "bound" if bound else "service", Severity.SERVICE
    else:
        variant, severity = "unsure" if soc.low > limit.value else "watch", Severity.WATCH
    text = say(
        f"deep_discharge.{variant}",
        mean=100 * soc.mean,
        low=100 * soc.low,
        high=100 * soc.high,
        limit=100 * limit.value,
        chance=chance_words(below),
    )
    return against("deep_discharge", severity, text, soc.mean, limit)


def rest_voltage_confirms(case: Case) -> bool:
    """Whether hardly any battery at the limit for topping off shows so high a rest voltage.

    ``Phi((V - V_limit) / sd)`` from `CONFIRMED` on, with ``V_limit`` the battery's curve at that
    limit and its temperature, ``sd`` its spread there (`soc.evidence.rest_voltage_sd_v`). Batteries
    below the limit show less, so that no belief in charges is needed.

    Parameters
    ----------
    case : Case

    Returns
    -------
    bool
        False for chemistries of which it tells little.
    """
    if case.rest_voltage_v is None or case.battery.chemistry not in LEAD_ACID:
        return False
    least = case.limit("min_top_off_soc").value
    temp = REFERENCE_TEMP_C if case.temp_c is None else within_data_c(case.temp_c)
    at_limit = float(rest_voltage_v(case.battery, least, temp))
    sd = float(rest_voltage_sd_v(case.battery, least))
    return float(ndtr((case.rest_voltage_v - at_limit) / sd)) >= CONFIRMED


def no_charge_explains_rest(case: Case) -> bool:
    """Whether the rest voltage is so far below that of an empty battery that no charge explains it.

    Parameters
    ----------
    case : Case

    Returns
    -------
    bool
        By `soc.evidence.Evidence.peak` under `LEAST_EXPLAINED`.
    """
    rests = [one for one in case.state.evidence if one.name == REST_VOLTAGE]
    return any(one.peak < LEAST_EXPLAINED for one in rests)


def other_conditions(case: Case) -> Finding | None:
    """Whether a battery that must not be topped off would show the same readings.

    The charge itself is left out of the sentence where its range was widened past the limit, and
    nothing is called fine of a rest voltage that no charge explains. A rest voltage that was read
    is not asked for.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where no conditions were weighed.
    """
    state = case.conditions
    if state is None:
        return None
    most, chance = 1.0 - SURE_TO_TOP_OFF, state.unfit
    variant, severity = "ok", Severity.OK
    if chance >= most:
        is_rested = case.rest_voltage_v is not None and state.gravest in TOLD_BY_REST
        variant, severity = f"{'rested' if is_rested else 'watch'}.{state.gravest}", Severity.WATCH
    elif no_charge_explains_rest(case):
        return None
    elif case.state.probability_below(case.limit("min_top_off_soc").value) >= most:
        variant, chance = (
            "ok_but_charge",
            sum(state.unfit_in(c) for c in state.probability if c in UNSAFE),
        )
    text = say(f"other_conditions.{variant}", chance=chance_words(chance))
    limit = Limit(most, "fraction", OWN_RULE, generic=False)
    return against("other_conditions", severity, text, chance, limit)


def not_checked(case: Case) -> tuple[str, ...]:
    """Names of the observations that nobody made, in the order of `wording.CHECK_WORDS`.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
    """
    readings, check = case.readings, case.battery.capacity_check
    due = case.limit("capacity_check_interval_days").value
    made = {
        "temperature": readings.battery_temps()[1].size > 0,
        "capacity": check is not None and (case.on - check.on).days <= due,
        "rest_voltage": case.rest_voltage_v is not None,
        "load": case.fit.signal.load.given,
        "voltage": any_seen(readings.supply_voltage_v),
    }
    return tuple(name for name, done in made.items() if not done)


def rest_voltage(case: Case) -> Finding | None:
    """Rest voltage against the least a battery fit for topping off shows.

    The limit is brought to the battery's temperature; the probability of being below it is normal
    with the spread of the evidence at the limit for topping off (`soc.evidence.rest_voltage_sd_v`).

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where no rest voltage was read.
    """
    if case.rest_voltage_v is None:
        return None
    limit = case.limit("min_rest_voltage_v")
    temp = REFERENCE_TEMP_C if case.temp_c is None else within_data_c(case.temp_c)
    moved = replace(limit, value=limit.value + rest_voltage_shift_v(case.battery, temp))
    sd = float(rest_voltage_sd_v(case.battery, case.limit("min_top_off_soc").value))
    below = float(ndtr((moved.value - case.rest_voltage_v) / sd))
    variant, severity = "watch", Severity.WATCH
    if below > SURE:
        variant, severity = "service", Severity.SERVICE
    elif below < 1.0 - SURE:
        variant, severity = "ok", Severity.OK
    text = say(
        f"rest_voltage.{variant}", value=case.rest_voltage_v, limit=moved.value, chance=100 * below
    )
    return against("rest_voltage", severity, text, case.rest_voltage_v, moved)


def battery_temperature(case: Case) -> Finding:
    """Battery temperature against the range in which it may be charged.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding
    """
    low, high = case.limit("charge_temp_min_c"), case.limit("charge_temp_max_c")
    if case.temp_c is None or _is_asked_at_the_battery(case):
        variant, severity = "unknown", Severity.NOTE
        if case.battery.chemistry is Chemistry.NICD:
            variant, severity = "asked", Severity.WATCH
        text = say(f"battery_temperature.{variant}")
        return Finding(rule="battery_temperature", severity=severity, text=text)
    hottest = _hottest_c(case.readings, case.temp_c)
    value = case.temp_c
    if case.temp_c > high.value:
        variant, severity, limit = "hot", Severity.DISCONNECT, high
    elif hottest > high.value:
        variant, severity, limit, value = "was_hot", Severity.DISCONNECT, high, hottest
    elif case.temp_c < low.value:
        variant, severity, limit = "cold", Severity.SERVICE, low
    else:
        variant, severity, limit = "ok", Severity.OK, high
    text = say(
        f"battery_temperature.{variant}",
        of="Battery" if case.readings.battery_temps()[1].size else TOLD_TEMPERATURE,
        value=value,
        limit=limit.value,
        low=low.value,
        high=high.value,
    )
    return against("battery_temperature", severity, text, value, limit)


def _hottest_c(readings: Readings, temp_c: float) -> float:
    """Highest temperature of the run that two readings in a row show, or the present one [degC].

    Parameters
    ----------
    readings : Readings
    temp_c : float
        The battery's present temperature [degC].

    Returns
    -------
    float
        [degC]; a lone reading among cooler ones does not count, but is asked about.
    """
    _, values = readings.battery_temps()
    return max(temp_c, float(np.minimum(values[1:], values[:-1]).max(initial=-np.inf)))


def _is_asked_at_the_battery(case: Case) -> bool:
    """A fair ambient temperature says nothing of a nickel-cadmium battery that may run away."""
    low, high = case.limit("charge_temp_min_c").value, case.limit("charge_temp_max_c").value
    fair = case.temp_c is not None and low <= case.temp_c <= high
    at_battery = case.readings.battery_temps()[1].size > 0
    return fair and not at_battery and case.battery.chemistry is Chemistry.NICD


def temperature_rise(case: Case) -> Finding | None:
    """Whether the battery warms fast; in nickel-cadmium that alone means power off.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where the battery does not warm faster than its limit, or it is not known.
    """
    warming = warming_c_per_min(*case.readings.battery_temps())
    limit = case.limit("max_temp_rise_c_per_min")
    if warming is None or warming <= limit.value:
        return None
    nicd = case.battery.chemistry is Chemistry.NICD
    severity = Severity.DISCONNECT if nicd else Severity.SERVICE
    text = say("temperature_rise.service", value=warming, limit=limit.value)
    return against("temperature_rise", severity, text, warming, limit)


def set_voltage(case: Case) -> Finding | None:
    """Supply voltage against the charging window brought to the battery's temperature.

    The median of the hold is held against the whole window, the highest voltage that lasted for
    `SUSTAINED_S` against its top.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None where neither readings nor supply give a voltage.
    """
    volts = held_voltage_v(case.readings, case.supply, case.fit.data.limit_time_s)
    if volts is None:
        return None
    low, high = case.limit("charge_voltage_min_v"), case.limit("charge_voltage_max_v")
    temp = REFERENCE_TEMP_C if case.temp_c is None else within_data_c(case.temp_c)
    window, shift = (low.value, high.value), charge_voltage_shift_v(case.battery, temp)
    by = charge_voltage_mismatch_v(volts, window, case.battery, temp)
    variant = _voltage_variant(case, by)
    highest = _sustained_voltage_v(case.readings)
    if highest is not None:
        above = charge_voltage_mismatch_v(highest, window, case.battery, temp)
        if above > max(by, WELL_ABOVE_V if by < 0 else NEGLIGIBLE_V):
            volts, by, variant = highest, above, "was_high"
    by = by if abs(by) >= NEGLIGIBLE_V else 0.0
    limit = low if by < 0 else high
    moved = Limit(limit.value + shift, limit.unit, limit.source, limit.generic)
    text = say(
        f"set_voltage.{variant}",
        value=volts,
        by=abs(by),
        at="" if case.temp_c is None else f" at {temp:.0f} °C",
        low=low.value + shift,
        high=high.value + shift,
    )
    return against("set_voltage", _voltage_severity(by), text, volts, moved)


def _voltage_variant(case: Case, by_v: float) -> str:
    """Which sentence a voltage so far above (below: negative) its window takes."""
    if abs(by_v) >= NEGLIGIBLE_V:
        return "high" if by_v > 0 else "low"
    return "ok" if any_seen(case.readings.supply_voltage_v) else "setting"


def _voltage_severity(by_v: float) -> Severity:
    """How a voltage so far above (below: negative) its window bears on the outcome."""
    if by_v > WELL_ABOVE_V:
        return Severity.SERVICE
    return Severity.OK if by_v == 0 else Severity.NOTE if by_v > 0 else Severity.WATCH


def _sustained_voltage_v(readings: Readings) -> float | None:
    """Highest voltage that no reading of `SUSTAINED_S` falls below; None where none lasted.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    float or None
        [V]; a lone slip does not count.
    """
    if readings.supply_voltage_v is None:
        return None
    seen = np.isfinite(readings.supply_voltage_v)
    t, volts = readings.elapsed_s[seen], readings.supply_voltage_v[seen]
    ends = np.searchsorted(t, t + SUSTAINED_S)
    lasting = [volts[k : end + 1].min() for k, end in enumerate(ends) if end < t.size]
    return float(max(lasting)) if lasting else None


def capacity(case: Case) -> Finding | None:
    """Last capacity check against the least share of rated capacity.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
        None without a capacity check.
    """
    check = case.battery.capacity_check
    if check is None:
        return None
    limit = case.limit("min_capacity_fraction")
    rated = case.battery.rated_capacity_ah
    share = check.capacity_ah / rated
    severity = capacity_severity(share, check.sd_ah / rated, limit.value)
    value = percent_below(share, limit.value)
    text = say(f"capacity.{severity}", value=value, limit=100 * limit.value)
    return against("capacity", severity, text, share, limit)


def capacity_severity(share: float, sd: float, least_share: float) -> Severity:
    """How a capacity bears on the outcome.

    Parameters
    ----------
    share : float
        Capacity over rated capacity.
    sd : float
        Its standard error.
    least_share : float
        The limit.

    Returns
    -------
    Severity
        `SERVICE` below the limit, `NOTE` where the interval reaches below it.
    """
    if share < least_share:
        return Severity.SERVICE
    return Severity.NOTE if share - LEVEL_SD * sd < least_share else Severity.OK


def capacity_check_overdue(case: Case) -> Finding:
    """Age of the last capacity check; never more than a note.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding
    """
    check, limit = case.battery.capacity_check, case.limit("capacity_check_interval_days")
    if check is None:
        text = say("capacity_check_overdue.none")
        return Finding(rule="capacity_check_overdue", severity=Severity.NOTE, text=text)
    days = float(max((case.on - check.on).days, 0))
    variant, severity = ("note", Severity.NOTE) if days > limit.value else ("ok", Severity.OK)
    text = say(
        f"capacity_check_overdue.{variant}",
        age=days_words(days),
        limit=days_words(limit.value),
        since=check.on + timedelta(days=round(limit.value)),
    )
    return against("capacity_check_overdue", severity, text, days, limit)
