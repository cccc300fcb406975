"""The next observation: of all that could still be looked at, the one that tells most.

What a rule asks for comes first, because without it the battery cannot be topped off. Else each
observation is weighed by the chance of a wrong decision that it should leave (`soc.observations`);
among those that gain nearly as much as the best, the one with least effort is taken.
"""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from batterymodel.inputs.records import Chemistry
from batterymodel.reference.conditions import Condition
from batterymodel.reference.temperature import within_data_c
from batterymodel.rules.battery_rules import LEAD_ACID
from batterymodel.rules.case import Case, any_seen
from batterymodel.rules.current_rules import (
    LEAST_ROOM_PER_AH,
    LEAST_WINDOW_S,
    last_reading_rose,
    voltage_explains,
)
from batterymodel.rules.results import Finding, NextObservation, Outcome, Severity
from batterymodel.rules.wording import (
    OBSERVATION_REASONS,
    OBSERVATION_WHY,
    OBSERVATIONS,
    minutes_words,
)
from batterymodel.soc.observations import Foresight
from batterymodel.taper.trends import battery_current

EFFORT = ("bus_load", "temperature", "clamp", "read_again", "rest_voltage", "capacity_check")
"""Observations that are weighed, by effort (own choice): seconds, minutes, hours."""

PAUSES_READING = ("read_again", "supply_on", "rest_voltage", "capacity_check")
"""Observations beside which no further reading of the meter is asked for."""

LEAST_GAIN_SAID = 0.01
"""Gain below which no figures are given for it [-] (own choice: one percent)."""

NEARLY = 0.8
"""Share of the best gain from which on an observation of less effort is taken [-] (own choice)."""

LEAST_GAIN = 5e-4
"""Gain below which no observation tells anything [-] (own choice)."""

WAITS_S = (120.0, 300.0, 900.0)
"""Times to another reading that are weighed [s] (own choice: nobody leaves a battery in doubt alone
for longer)."""

SHORTEST_WAIT_S = 60.0
"""Least time to the next reading that is asked for [s] (own choice)."""

FORBIDDEN_BY_TEMPERATURE = 0.01
"""Share of batteries of unknown temperature that are too hot or too cold to charge [0..1] (own
choice)."""


def next_observation(
    case: Case, findings: Iterable[Finding], outcome: Outcome
) -> NextObservation | None:
    """The observation that most lowers the chance of a wrong decision.

    Parameters
    ----------
    case : Case
    findings : iterable of Finding
        Of all rules; those at `Severity.WATCH` may ask for something.
    outcome : Outcome

    Returns
    -------
    NextObservation or None
        None where power comes off anyway. Never one that was made already.
    """
    if outcome in (Outcome.SERVICE, Outcome.DISCONNECT):
        return None
    possible = possible_observations(case)
    if outcome is Outcome.TOP_OFF:
        name = "temperature" if "temperature" in possible else "read_again"
        return _observation(name, usual_wait_s(case), _why("most", name))
    watched = {f.rule for f in findings if f.severity is Severity.WATCH}
    asked = _asked(case, watched, possible)
    if asked is not None:
        told = "rise" if asked == "read_again" and _rises(case) else asked
        return _observation(asked, _wait_to_taper_s(case), _why("needed", told))
    return _most_telling(case, possible)


def possible_observations(case: Case) -> tuple[str, ...]:
    """Names of `EFFORT` that nobody made and that would tell something of this battery.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
    """
    readings, load_known = case.readings, case.fit.signal.load.given
    nicd = case.battery.chemistry is Chemistry.NICD
    told = case.temp_c is not None and not nicd and case.rise is None
    made = {
        "bus_load": load_known,
        "temperature": told or readings.battery_temps()[1].size > 0,
        "clamp": case.fit.signal.from_clamp or any_seen(readings.battery_current_a),
        "rest_voltage": case.rest_voltage_v is not None or case.battery.chemistry not in LEAD_ACID,
        "capacity_check": case.battery.capacity_check is not None,
    }
    return tuple(name for name in EFFORT if not made.get(name, False))


def _asked(case: Case, watched: set[str], possible: tuple[str, ...]) -> str | None:
    """What a rule that keeps the battery under watch asks for first; None where none does."""
    room_a = LEAST_ROOM_PER_AH * case.battery.rated_capacity_ah
    too_loaded = case.fit["hold_amplitude_a"] < room_a
    at_limit = "less_load" if too_loaded else "read_again"
    current = next((n for n in ("bus_load", "clamp") if n in possible), None)
    answers = {
        "supply_trip": "supply_on" if case.fit.signal.off[-1] else None,
        "battery_temperature": "temperature",
        "current_rising": _asked_of_rise(case, possible),
        "rated_capacity": "plate",
        "set_voltage": "set_voltage",
        "clamp": "clamp_again",
        "undeclared_load_step": "load_change",
        "supply_at_limit": at_limit,
        "short_window": "read_again",
        "taper_missing": current,
        "charge_current": current,
    }
    return next((name for rule, name in answers.items() if rule in watched and name), None)


def _asked_of_rise(case: Case, possible: tuple[str, ...]) -> str:
    """What tells a battery that begins to run away from a load or a voltage that rises."""
    if "temperature" in possible:
        return "temperature"
    if case.rise is not None and voltage_explains(case, case.rise):
        return "set_voltage"
    return "clamp" if "clamp" in possible else "read_again"


def _most_telling(case: Case, possible: tuple[str, ...]) -> NextObservation:
    foresight = _foresight(case)
    gains, reading_s = ({}, 0.0) if foresight is None else _gains(foresight, possible)
    best = max(gains.values(), default=0.0)
    if foresight is None or best < LEAST_GAIN:
        name = _without_gain(case, possible)
        return _observation(name, min(usual_wait_s(case), WAITS_S[-1]), _why("most", name))
    name = next(n for n in EFFORT if gains.get(n, 0.0) >= NEARLY * best)
    if name == "read_again" and _rises(case):
        return _observation(name, SHORTEST_WAIT_S, _why("most", "rise"))
    now = foresight.wrong_now
    return _observation(name, reading_s, _why("gain", name, now, now - gains[name]))


def _without_gain(case: Case, possible: tuple[str, ...]) -> str:
    """What to look at where no single observation changes the decision that is better now.

    Where nothing may be charging, or the load of a current that is no taper is unknown, the
    battery's own current; else the meter again.
    """
    open_circuit = case.conditions and case.conditions.gravest is Condition.NOTHING_CHARGING
    if open_circuit or not case.tapers:
        return next((n for n in ("bus_load", "clamp") if n in possible), "read_again")
    return "read_again"


def _foresight(case: Case) -> Foresight | None:
    """What the conditions predict; None where they do not say how the current goes on."""
    if case.conditions is None or not case.tapers or case.fit.signal.limited_throughout:
        return None
    temp_c = None if case.temp_c is None else within_data_c(case.temp_c)
    least = case.limit("min_top_off_soc").value
    return Foresight(case.conditions, case.battery, case.fit, least, temp_c)


def _gains(foresight: Foresight, possible: tuple[str, ...]) -> tuple[dict[str, float], float]:
    """What each possible observation takes off the chance of a wrong decision, and the wait [s].

    Whoever reads later has read on the way too, so that a longer wait never tells less. The wait
    is the shortest of `WAITS_S` with `NEARLY` the gain of the longest.
    """
    now = foresight.wrong_now
    left_by_wait = np.array([foresight.after_reading(wait_s) for wait_s in WAITS_S])
    by_wait = np.maximum.accumulate(np.maximum(now - left_by_wait, 0.0))
    wait_s = next(w for w, g in zip(WAITS_S, by_wait, strict=True) if g >= NEARLY * by_wait.max())
    left = {
        "read_again": lambda: float(now - by_wait[WAITS_S.index(wait_s)]),
        "bus_load": lambda: foresight.after_bus_load,
        "clamp": lambda: foresight.after_clamp,
        "rest_voltage": lambda: foresight.after_rest_voltage,
        "capacity_check": lambda: foresight.after_capacity_check,
        "temperature": lambda: now - FORBIDDEN_BY_TEMPERATURE * (1.0 - now),
    }
    return {name: now - left[name]() for name in possible}, wait_s


def usual_wait_s(case: Case) -> float:
    """Time from the last reading to the next one [s], the shortest while the current rises.

    Parameters
    ----------
    case : Case

    Returns
    -------
    float
    """
    return SHORTEST_WAIT_S if _rises(case) else max(case.state.next_reading_s, SHORTEST_WAIT_S)


def _rises(case: Case) -> bool:
    return case.rise is not None or last_reading_rose(case.fit)


def _wait_to_taper_s(case: Case) -> float:
    """The usual wait [s], and at least until the hold was read long enough to tell a taper."""
    time_s, _ = battery_current(case.fit)
    span_s = float(time_s[-1] - time_s[0]) if time_s.size else 0.0
    return max(usual_wait_s(case), LEAST_WINDOW_S - span_s)


def _observation(name: str, wait_s: float, why: str) -> NextObservation:
    """The observation with its sentences; minutes are given for another reading of the meter."""
    minutes = wait_s / 60.0
    return NextObservation(
        name=name,
        minutes=minutes if name == "read_again" else None,
        text=OBSERVATIONS[name].format(minutes=minutes_words(minutes)),
        why=why,
    )


def _why(kind: str, name: str, now: float = 0.0, after: float = 0.0) -> str:
    """One sentence why; without figures where they fall by less than a person would act on."""
    told = {"now": _percent(now), "after": _percent(after)}
    kind = "most" if kind == "gain" and now - after < LEAST_GAIN_SAID else kind
    return OBSERVATION_WHY[kind].format(reason=OBSERVATION_REASONS[name], **told)


def _percent(chance: float) -> str:
    return f"{100.0 * chance:.0f} %" if chance >= 0.01 else "under 1 %"
