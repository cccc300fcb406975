"""Rules about the current: its size, its fall or rise, the supply, the load and the meters."""

from __future__ import annotations

from itertools import combinations

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.inputs.records import Battery, Chemistry, Readings
from batterymodel.reference.chemistry import COMMON_PRACTICE, REFERENCE_TEMP_C
from batterymodel.reference.limits import Limit
from batterymodel.reference.supply import continuous_output_a, output_limit
from batterymodel.reference.temperature import rest_voltage_v, within_data_c
from batterymodel.rules.battery_rules import no_charge_explains_rest
from batterymodel.rules.case import (
    LEAST_READINGS,
    LEAST_SCATTER_A,
    MOST_CONFLICT,
    OWN_RULE,
    Case,
    against,
)
from batterymodel.rules.proof_rules import fall_seen
from batterymodel.rules.results import (
    Finding,
    Severity,
)
from batterymodel.rules.wording import AT_LIMIT_WORDS, minutes_words, say
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.load_steps import LoadStep
from batterymodel.taper.trends import (
    Change,
    Rise,
    battery_current,
    line_change,
    warming_c_per_min,
    whole_change,
)

LEAST_WINDOW_S = 120.0
"""Constant-voltage readings shorter than this tell no taper [s] (own choice)."""

CURRENT_LIMITED_MINUTES = 3.0
"""Longest time at the supply's limit that still counts as topping off [min] (common practice, no
source)."""

LEAST_ROOM_PER_AH = 0.5
"""Where the bus load leaves the battery less than this [A per rated Ah], a healthy battery too
keeps the supply at its limit (own rule, from the reference set)."""

ENDS_COMPARED = 3
"""Readings at each end of a stretch whose medians are compared (own choice)."""

LEAST_SUPPORT = 0.1
"""Two pieces of evidence may disagree when neither gives the other more than this share of its peak
likelihood [-], about two standard deviations (own choice)."""

LEAST_APART = 0.12
"""Two pieces of evidence disagree when besides their means are this far apart in state of charge
[0..1] (own choice)."""

MISSING_WINDOW_S = 180.0
"""Shortest span that may be said to lack a taper where the load is known [s] (own choice)."""

MISSING_OF_RATED_PER_H = 0.05
"""Battery current over rated capacity, above the float current, from which on a taper is missed
[1/h] (own choice)."""

MISSING_LOAD_SDS = 2.0
"""Errors of the load by which the current must exceed that [-] (own choice)."""

MISSING_ERRORS = 3.0
"""Standard errors granted to the fall before it counts as missing [-] (own choice)."""

MISSING_SHARE = 0.5
"""Fall over that of the slowest taper believed possible, below which a taper is missing [-] (own
choice)."""

LEVEL_ERRORS = 3.0
"""A current beside an unknown load is level when it falls by no more than so many standard errors
[-] (own choice)."""

LEVEL_METER_STEPS = 2.0
"""And by no more than so many steps of the meter [-] (own choice)."""

FLOAT_AFTER_CHARGE_TIMES = 2.0
"""Charge times in the hold after which what flows is the float current [-] (own choice)."""

FLOAT_WINDOW_S = 120.0
"""Last readings whose median is the float current [s] (own choice)."""

LAST_PART, FALLS_ON = 1.0 / 3.0, 1.0
"""Last part of the readings, and how much more than there the current may yet fall [-]: a taper
that halves in that time falls as much again (own choice)."""

FLOAT_READINGS = 3
"""Readings that median takes at least (own choice)."""

SHAPE_SDS = 8.0
"""Scatter about the taper over the spread of its shape that is granted [-] (own choice)."""

LEAST_SCATTER_READINGS = 8
"""Readings below which scatter about the taper is not judged (own choice)."""

STAYS_CHANGED = 0.5
"""Share of a jump by which the whole taper must lie changed after it, to be called a step [-] (own
choice)."""

STEADY_S = 180.0
"""Last stretch whose median is the steady draw of the supply [s] (own choice)."""

LOAD_SDS = 3.0
"""Errors of a given load by which the fitted one contradicts it [-] (own choice)."""

HURTS_PER_H = {
    Chemistry.NICD: 0.025,
    Chemistry.VRLA: 0.025,
    Chemistry.VENTED_LEAD_ACID: 0.05,
    Chemistry.LFP: 0.05,
}
"""Gradual rise of the battery current over rated capacity from which on it can hurt [1/h] (own
choice: at 28 V, 0.025 of the capacity warm a battery by some degrees an hour; chemistries known to
run away at half of the others)."""

LOAD_DRIFT_A = 3.5
"""A gradual rise on the supply's meter up to this may be a fan or an inverter that takes more [A]
(own choice: fans of 3 A and loads that wander by half an ampere stay below)."""

WARM_DRIFT_A = 2.0
"""The same where the battery is warm, or warms [A] (own choice: above what wandering makes)."""

WARM_C, WARMS_C_PER_MIN = 40.0, 0.2
"""Temperature of the battery from which on it is warm [degC], and rate at which it warms
[degC/min] (own choice)."""

JUMP_ERRORS, LEAST_JUMP_A = 6.0, 1.0
"""Errors, and amperes, by which a reading jumps over the one before where something was switched or
a clamp moved [-], [A] (own choice)."""

LEAST_GAIN_V = 0.15
"""Rise of the supply's voltage that explains nothing: the last digit of a voltmeter moves by it [V]
(own choice)."""

EXPLAINS_PER_V_H = 2.0
"""Current that a higher voltage drives, over volt and rated capacity [1/(V h)] (own choice: 12.5
mohm for 40 Ah, battery and wiring)."""


def charge_current(case: Case) -> Finding:
    """Battery current when the constant-voltage phase began, against the card's maximum.

    Where it is within the maximum, the value is the most that it may have been, errors counted.
    Nobody knows whether more than a generic maximum was too much: once the current has fallen below
    it there is nothing left to watch, and it is a note.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding
    """
    limit = case.limit("max_charge_current_a")
    fit = case.fit
    names = [fit.names.index(n) for n in ("hold_amplitude_a", "float_current_a")]
    current = fit["hold_amplitude_a"] + fit["float_current_a"]
    sd = float(np.sqrt(fit.covariance[np.ix_(names, names)].sum()))
    if current - LEVEL_SD * sd > limit.value and not limit.generic:
        variant, severity = "service", Severity.SERVICE
    elif current + LEVEL_SD * sd <= limit.value:
        current += LEVEL_SD * sd
        variant, severity = "ok", Severity.OK
    elif limit.generic and _takes_less_by_now(case, limit.value):
        variant, severity = "fallen", Severity.NOTE
    else:
        variant, severity = "watch", Severity.WATCH
    text = say(f"charge_current.{variant}", value=current, limit=limit.value)
    return against("charge_current", severity, text, current, limit)


def _takes_less_by_now(case: Case, most_a: float) -> bool:
    """Whether the last readings show a battery current below a most [A], its load being known."""
    signal = case.fit.signal
    _, current = battery_current(case.fit)
    if not (signal.load.given or signal.from_clamp) or current.size < ENDS_COMPARED:
        return False
    error = 0.0 if signal.from_clamp else signal.load.sd_a
    return float(current[-ENDS_COMPARED:].mean()) + LEVEL_SD * error < most_a


def supply_at_limit(case: Case) -> Finding | None:
    """How long the supply was at its limit, and whether battery or bus load kept it there.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    signal = case.fit.signal
    if signal.limit_end_s is None:
        return None
    end = signal.time_s[-1] if np.isinf(signal.limit_end_s) else signal.limit_end_s
    minutes = float(end - signal.time_s[0]) / 60.0
    room = case.fit["hold_amplitude_a"]
    of_load = room < LEAST_ROOM_PER_AH * case.battery.rated_capacity_ah
    if of_load:
        variant, severity = "load", Severity.WATCH
    elif minutes > CURRENT_LIMITED_MINUTES and not signal.load.given:
        variant, severity = "unknown", Severity.WATCH
    elif minutes > CURRENT_LIMITED_MINUTES:
        variant, severity = "service", Severity.SERVICE
    elif signal.limited_throughout:
        variant, severity = "watch", Severity.WATCH
    else:
        variant, severity = "note", Severity.NOTE
    text = say(
        f"supply_at_limit.{variant}",
        value=minutes,
        limit=CURRENT_LIMITED_MINUTES,
        room=room,
        **AT_LIMIT_WORDS[case.supply is not None],
    )
    limit = Limit(CURRENT_LIMITED_MINUTES, "min", COMMON_PRACTICE, generic=True)
    return against("supply_at_limit", severity, text, minutes, limit)


def taper_missing(case: Case) -> Finding | None:
    """Whether the battery current falls at least half as much as the slowest plausible taper.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    fit = case.fit
    change = whole_change(fit)
    if not case.tapers or change is None or change.span_s < LEAST_WINDOW_S:
        return None
    if case.rise is not None:
        return None
    if not fit.signal.load.given:
        return _fall_beside_unknown_load(change, fit)
    if change.span_s < MISSING_WINDOW_S:
        return None
    _, current = battery_current(fit)
    level = float(np.median(current))
    ordinary = MISSING_OF_RATED_PER_H * case.battery.rated_capacity_ah
    ordinary += case.limit("max_float_current_a").value
    if level - MISSING_LOAD_SDS * fit.signal.load.sd_a < ordinary:
        return None
    least = level * -np.expm1(-change.span_s / _slowest_time_constant_s(fit))
    falls = -change.amount
    missing = falls + MISSING_ERRORS * change.standard_error < MISSING_SHARE * least
    variant, severity = "ok" if fall_seen(case) else "unseen", Severity.OK
    if missing:
        variant, severity = "service", Severity.SERVICE
    if missing and (_jumps(fit) or any(not step.marked for step in fit.signal.steps)):
        variant, severity = "steps", Severity.WATCH
    text = say(f"taper_missing.{variant}", value=max(0.0, falls), limit=least)
    return Finding(
        rule="taper_missing",
        severity=severity,
        text=text,
        value=falls,
        limit=MISSING_SHARE * least,
        unit="A",
        source=OWN_RULE + ": half the slowest taper believed possible",
    )


def current_rising(case: Case) -> Finding | None:
    """Whether the battery current rises at constant voltage with no load event.

    Power comes off only for a rise that can hurt: without its sharpest jump it must be over
    `HURTS_PER_H` of the rated capacity and, on the supply's meter, over what loads drift by.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    rise = case.rise
    if rise is None or _gives_current(case):
        return None
    minutes = max(rise.span_s / 60.0, 1.0)
    least = _least_that_hurts_a(case, rise)
    if voltage_explains(case, rise):
        variant, severity = "voltage", Severity.WATCH
    elif rise.gradual_a > least:
        variant, severity = "disconnect", Severity.DISCONNECT
    else:
        variant, severity = _watched_rise(rise, least), Severity.WATCH
    value = max(rise.amount, rise.gradual_a)
    text = say(f"current_rising.{variant}", value=value, minutes=minutes_words(minutes))
    source = (
        "thermal runaway: overcharge heats the cell, its voltage falls, the current at constant "
        "voltage rises (textbook, from memory); threshold: " + OWN_RULE
    )
    limit = Limit(least, "A", source, generic=False)
    return against("current_rising", severity, text, value, limit)


def voltage_explains(case: Case, rise: Rise) -> bool:
    """Whether the supply's voltage rose as well, enough to make a rise of a battery that is cool.

    Parameters
    ----------
    case : Case
    rise : Rise

    Returns
    -------
    bool
    """
    explained_a = _voltage_explains_a(case.readings, case.battery, rise.since_s)
    return explained_a >= rise.amount and not _is_warm(case)


def last_reading_rose(fit: TaperFit) -> bool:
    """Whether the last current stands above the one before by more than noise and meter.

    Parameters
    ----------
    fit : TaperFit

    Returns
    -------
    bool
        The sharp part of a load step, told or found, counts as none.
    """
    signal = fit.signal
    stepped = (step.size_a for step in signal.steps if step.elapsed_s > signal.time_s[-2])
    rose_a = signal.current_a[-1] - signal.current_a[-2] - sum(stepped)
    return bool(rose_a > _least_jump_a(fit))


def _least_jump_a(fit: TaperFit) -> float:
    return max(JUMP_ERRORS * fit.signal.sigma_a, 2.0 * fit.signal.resolution_a, LEAST_JUMP_A)


def _jumps(fit: TaperFit) -> bool:
    """A reading stands above the one before by more than noise and the least that a step is."""
    _, current = battery_current(fit)
    return bool((np.diff(current) > _least_jump_a(fit)).any())


def _watched_rise(rise: Rise, least_a: float) -> str:
    """Which sentence a rise takes that leaves power on: a load's, a jump, or too little to hurt."""
    if not rise.from_battery:
        return "load"
    return "jump" if rise.amount > least_a else "small"


def _least_that_hurts_a(case: Case, rise: Rise) -> float:
    """Gradual rise from which on power comes off [A]: by capacity, chemistry, meter and warmth."""
    hurts = HURTS_PER_H[case.battery.chemistry] * case.battery.rated_capacity_ah
    if rise.from_battery:
        return max(hurts, rise.unsure_a)
    drift = WARM_DRIFT_A if _is_warm(case) else LOAD_DRIFT_A
    return max(hurts, rise.unsure_a, drift)


def _is_warm(case: Case) -> bool:
    """The battery's own temperature, read there, is high or rises."""
    at_s, temps = case.readings.battery_temps()
    if not temps.size or case.temp_c is None:
        return False
    warming = warming_c_per_min(at_s, temps)
    return case.temp_c >= WARM_C or (warming is not None and warming > WARMS_C_PER_MIN)


def _voltage_explains_a(readings: Readings, battery: Battery, since_s: float) -> float:
    """Rise of the current that the rise of the supply's voltage since a time explains [A]."""
    gain = _voltage_gain_v(readings, since_s)
    if gain <= LEAST_GAIN_V:
        return 0.0
    return gain * EXPLAINS_PER_V_H * battery.rated_capacity_ah


def _voltage_gain_v(readings: Readings, since_s: float) -> float:
    """How much higher the supply's voltage is at the end than at a time [V]; 0 if unread."""
    volts = readings.supply_voltage_v
    if volts is None:
        return 0.0
    late = (readings.elapsed_s >= since_s) & np.isfinite(volts)
    seen = volts[late]
    if seen.size < 2 * ENDS_COMPARED:
        return 0.0
    return float(np.median(seen[-ENDS_COMPARED:]) - np.median(seen[:ENDS_COMPARED]))


def _gives_current(case: Case) -> bool:
    """The clamp shows current out of the battery to the end: no charge that could run away."""
    _, current = battery_current(case.fit)
    return case.fit.signal.from_clamp and bool((current[-3:] < 0.0).all())


def floor_current(case: Case) -> Finding | None:
    """Current left when the taper is over, beside a load that is known.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    fit = case.fit
    if not case.tapers or not fit.signal.load.given or fit.signal.limited_throughout:
        return None
    t, current = battery_current(fit)
    over_s = FLOAT_AFTER_CHARGE_TIMES * 3600.0 * fit.charge_time_h
    if t.size < LEAST_READINGS or t[-1] - fit.data.limit_time_s < over_s:
        return None
    late = current[t >= t[-1] - FLOAT_WINDOW_S]
    enough = late.size >= FLOAT_READINGS
    remaining = float(np.median(late if enough else current[-FLOAT_READINGS:]))
    limit = case.limit("max_float_current_a")
    high = remaining - LEVEL_SD * fit.signal.load.sd_a > limit.value
    variant, severity = ("service", Severity.SERVICE) if high else ("ok", Severity.OK)
    least = remaining - LEVEL_SD * fit.signal.load.sd_a - _still_to_fall_a(t, current, fit)
    if high and (fit.conflict > MOST_CONFLICT or least <= limit.value):
        variant, severity = "watch", Severity.WATCH
    text = say(f"floor_current.{variant}", value=max(remaining, 0.0), limit=limit.value)
    return against("floor_current", severity, text, remaining, limit)


def _still_to_fall_a(time_s: FloatArray, current_a: FloatArray, fit: TaperFit) -> float:
    """What the current may yet fall by: `FALLS_ON` times its fall in the last third [A]."""
    last = time_s >= time_s[-1] - (time_s[-1] - time_s[0]) * LAST_PART
    if last.sum() < LEAST_READINGS:
        return 0.0
    change = line_change(time_s[last], current_a[last], fit.signal.sigma_a)
    return FALLS_ON * max(-change.amount, 0.0)


def contradiction(case: Case) -> Finding | None:
    """Whether two pieces of evidence, or meter and given load, cannot both be right.

    A rest voltage that no charge explains is no evidence of any, and contradicts by itself.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    return _rest_contradiction(case) or _evidence_contradiction(case) or _load_contradiction(case)


def _rest_contradiction(case: Case) -> Finding | None:
    if case.rest_voltage_v is None or not no_charge_explains_rest(case):
        return None
    temp = REFERENCE_TEMP_C if case.temp_c is None else within_data_c(case.temp_c)
    empty = Limit(float(rest_voltage_v(case.battery, 0.0, temp)), "V", OWN_RULE, generic=False)
    text = say("contradiction.rest", value=case.rest_voltage_v, limit=empty.value)
    return against("contradiction", Severity.WATCH, text, case.rest_voltage_v, empty)


def undeclared_load_step(case: Case) -> Finding | None:
    """A jump of the current that no event explains.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    for step, size in zip(case.fit.signal.steps, case.fit.step_sizes_a, strict=True):
        if not step.marked:
            variant, value = _step_as_said(step, size, case)
            text = say(f"undeclared_load_step.{variant}", value=value, at=step.elapsed_s)
            return Finding(
                rule="undeclared_load_step",
                severity=Severity.WATCH,
                text=text,
                value=value,
                unit="A",
                source=OWN_RULE,
            )
    return None


def _step_as_said(step: LoadStep, fitted_a: float, case: Case) -> tuple[str, float]:
    """Which sentence an unmarked step takes, and its size [A], by the taper where it reaches."""
    if case.rise is not None and step.elapsed_s > case.rise.since_s:
        return "watch", step.size_a
    stays = fitted_a * np.sign(step.size_a) >= STAYS_CHANGED * abs(step.size_a)
    return ("watch", fitted_a) if stays else ("passing", step.size_a)


def load_unknown(case: Case) -> Finding | None:
    """The bus load was not given.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    if case.fit.signal.load.given:
        return None
    text = say("load_unknown.note")
    return Finding(rule="load_unknown", severity=Severity.NOTE, text=text, source=OWN_RULE)


def taper_shape(case: Case) -> Finding | None:
    """Residual scatter against what the meter's steps and the shape's spread allow.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    fit = case.fit
    shape = SHAPE_SDS * fit.belief.shape_rel_sd * fit.amplitude_a
    allowed = max(fit.signal.resolution_a, LEAST_SCATTER_A, shape)
    few = fit.residuals_a.size < LEAST_SCATTER_READINGS
    if not case.tapers or few or fit.rmse_a <= allowed:
        return None
    text = say("taper_shape.watch", value=fit.rmse_a, limit=allowed)
    limit = Limit(allowed, "A", OWN_RULE, generic=False)
    return against("taper_shape", Severity.WATCH, text, fit.rmse_a, limit)


def wall_circuit(case: Case) -> Finding | None:
    """Steady draw against what the wall circuit carries over hours.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Finding or None
    """
    if case.supply is None or output_limit(case.supply).limited_by != "wall circuit":
        return None
    steady = steady_current_a(case.readings)
    allowed = continuous_output_a(case.supply)
    if steady <= allowed:
        return None
    text = say("wall_circuit.note", value=steady, limit=allowed)
    source = "80 % of the circuit for loads over hours: common practice; the local code governs"
    return against("wall_circuit", Severity.NOTE, text, steady, Limit(allowed, "A", source, True))


def steady_current_a(readings: Readings) -> float:
    """Median supply current over the last `STEADY_S`.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    float
        [A].
    """
    late = readings.elapsed_s >= readings.elapsed_s[-1] - STEADY_S
    return float(np.median(readings.supply_current_a[late]))


def _slowest_time_constant_s(fit: TaperFit) -> float:
    return float(np.exp(fit.belief.log_time_s + LEVEL_SD * fit.belief.log_time_sd))


def _fall_beside_unknown_load(change: Change, fit: TaperFit) -> Finding | None:
    """A level current beside a load that nobody gave: full battery and failed one look alike."""
    noise = LEVEL_ERRORS * change.standard_error
    least = max(noise, LEVEL_METER_STEPS * fit.signal.resolution_a)
    if -change.amount > least:
        return None
    text = say("taper_missing.watch", value=max(-change.amount, 0.0), limit=least)
    limit = Limit(least, "A", OWN_RULE, generic=False)
    return against("taper_missing", Severity.WATCH, text, -change.amount, limit)


def _evidence_contradiction(case: Case) -> Finding | None:
    for first, second in combinations(case.state.evidence, 2):
        support = max(first.support_from(second), second.support_from(first))
        apart = abs(first.mean - second.mean)
        if support < LEAST_SUPPORT and apart > LEAST_APART:
            text = say(
                "contradiction.evidence",
                first=first.name,
                second=second.name,
                first_soc=100 * first.mean,
                second_soc=100 * second.mean,
            )
            limit = Limit(LEAST_APART, "fraction", OWN_RULE, generic=False)
            return against("contradiction", Severity.WATCH, text, apart, limit)
    return None


def _load_contradiction(case: Case) -> Finding | None:
    signal, fit = case.fit.signal, case.fit
    if not signal.load.given or signal.from_clamp:
        return None
    away = fit["load_a"] - signal.load.mean_a
    if abs(away) < LOAD_SDS * signal.load.sd_a:
        return None
    beside = max(fit["load_a"] + fit["float_current_a"], 0.0)
    text = say("contradiction.load", value=beside, limit=signal.load.mean_a)
    limit = Limit(LOAD_SDS * signal.load.sd_a, "A", OWN_RULE, generic=False)
    return against("contradiction", Severity.WATCH, text, away, limit)
