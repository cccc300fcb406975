"""The main job: readings of one connection in, an outcome with its reasons out."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, datetime
from numbers import Real
from pathlib import Path

import numpy as np

from batterymodel.basis.intervals import LEVEL_SD, Interval, interval_around
from batterymodel.basis.meters import LOAD_SD_A
from batterymodel.basis.threads import on_one_thread
from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, outside
from batterymodel.inputs.kinds import TaperLesson
from batterymodel.inputs.readings import check_bounds, read_readings
from batterymodel.inputs.records import (
    AIR_CELSIUS_RANGE,
    Battery,
    Chemistry,
    Readings,
    Supply,
)
from batterymodel.inputs.second_starts import starts_anew
from batterymodel.reference.capacity_in_use import check_capacity
from batterymodel.reference.conditions import Condition
from batterymodel.reference.limits import limit_for
from batterymodel.reference.supply import output_limit
from batterymodel.reference.temperature import check_rest_voltage, within_data_c
from batterymodel.rules.battery_rules import not_checked
from batterymodel.rules.case import LEAST_READINGS, Case
from batterymodel.rules.current_rules import steady_current_a
from batterymodel.rules.doubts import with_doubt
from batterymodel.rules.findings import findings_for, outcome_of
from batterymodel.rules.kind_in_use import kind_notes, kind_on_record
from batterymodel.rules.next_observation import (
    PAUSES_READING,
    next_observation,
    usual_wait_s,
)
from batterymodel.rules.results import (
    AT_LIMIT,
    READING,
    RISING,
    TRANSIENT,
    Assessment,
    ConditionChance,
    Curves,
    Finding,
    ModelRange,
    NextObservation,
    Outcome,
    StateOfCharge,
    SupplySummary,
    TaperSummary,
    is_topped_off,
)
from batterymodel.rules.wording import (
    CAUTIONS,
    DOUBT_NOTE,
    HEADLINE,
    KEEP_READING,
    NEARLY_DONE,
    NEXT_STEPS,
    NEXT_STEPS_FULL,
    NICD_CAUTION,
    OUTCOME_WORDS,
    RISING_STEP,
    TOPPING_OFF,
    minutes_words,
)
from batterymodel.soc.combination import ChargeState, charge_state
from batterymodel.soc.conditions import condition_state
from batterymodel.soc.evidence import (
    SOC_GRID,
    Evidence,
    charge_likelihood,
    last_known_evidence,
    rest_voltage_evidence,
)
from batterymodel.soc.learning import (
    MeasuredTaper,
    completed_taper,
    taper_lesson,
    updated_history,
)
from batterymodel.soc.overheating import overheating_log_ratio
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.fit import MOST_CONFLICT, TaperFit, fit_taper
from batterymodel.taper.posterior import ChargePosterior
from batterymodel.taper.prior import Prior, prior_for, slower_log
from batterymodel.taper.signals import Signal, held_voltage_v, signal_from
from batterymodel.taper.slips import slip_mask
from batterymodel.taper.trends import Rise, rise_of, warming_c_per_min

ESTIMATE_VERSION = "2"
"""Version of the estimate: raised with every change that moves an answer, so that a record tells
answers of before from those of now. `tests/track/test_version.py` fails where it must be."""

CONTRACT_NAMES = {"float_current_a": "floor_a"}
"""Names of fitted values in the JSON contract, where they differ."""

LAST_TEMPERATURES = 3
"""Last temperatures of which the highest is the battery's: a hot battery must not be missed (own
choice)."""

FORECAST_OF_WINDOW = 1.6
"""How far the taper is carried on in charts, over the length of the readings [-] (own choice)."""

FIT_POINTS = 161
"""Points of the drawn taper (own choice)."""

BEFORE_STEP_S = 1e-3
"""How long before a load step its edge is drawn [s] (own choice)."""

WIDENING_RANGE = (0.3, 10.0)
"""Factors of the ranges that are taken [-] (own choice)."""

MOST_LOAD_A, MOST_LOAD_SD_A = 1000.0, 100.0
LEAST_LOAD_SD_A = 0.01
"""Bus load and its error that are accepted at most, and least error [A] (own choice)."""


@on_one_thread
def assess(
    readings: Readings | str | Path,
    battery: Battery,
    supply: Supply | None = None,
    *,
    rest_voltage_v: float | None = None,
    load_a: float | None = None,
    load_sd_a: float = LOAD_SD_A,
    ambient_c: float | None = None,
    on: date | None = None,
    widening: float = 1.0,
) -> Assessment:
    """Assess one connection.

    Parameters
    ----------
    readings : Readings or path of a readings CSV
    battery : Battery
    supply : Supply, optional
    rest_voltage_v : float, optional
        Open-circuit voltage of the whole battery before connection [V].
    load_a, load_sd_a : float, optional
        Bus load without the battery [A] and its standard error.
    ambient_c : float, optional
        Temperature taken for the battery's where the readings give none [degC].
    on : date, optional
        Day of the connection; else that of the readings' time column, else today.
    widening : float
        Factor of all ranges, by which outcomes are judged too [-]: what a record of earlier answers
        teaches (`track.conformal`); 1 leaves them as the model has them.

    Returns
    -------
    Assessment
        The JSON contract as a model, with `curves` for charts.

    Raises
    ------
    InputError
        Readings or a value that cannot be used, in one sentence.
    FitError
        Too few readings at constant voltage.
    """
    numbers = {
        "rest_voltage_v": rest_voltage_v,
        "load_a": load_a,
        "load_sd_a": load_sd_a,
        "ambient_c": ambient_c,
        "widening": widening,
    }
    _check_kinds(battery, supply, **numbers)
    if not isinstance(readings, Readings):
        readings = read_readings(readings)
    check_bounds(readings)
    _check_inputs(battery, rest_voltage_v, load_a, load_sd_a, ambient_c, widening)
    about = _About(readings, supply, rest_voltage_v, load_a, load_sd_a, ambient_c, on, widening)
    case, posterior, findings = _judged(about, battery)
    return _assessment(case, posterior, findings, outcome_of(findings))


@dataclass(frozen=True)
class _About:
    """What is told of one connection beside the battery, as `assess` takes it."""

    readings: Readings
    supply: Supply | None
    rest_voltage_v: float | None
    load_a: float | None
    load_sd_a: float
    ambient_c: float | None
    on: date | None
    widening: float


Judged = tuple[Case, ChargePosterior | ChargeBounds, tuple[Finding, ...]]
"""The case, what the current says of the charge, and what the rules found."""


def _judged(about: _About, battery: Battery) -> Judged:
    """The connection as it is judged: without its kind where that would lift the outcome."""
    case, posterior = _case(about, battery)
    findings = findings_for(case)
    is_worst = outcome_of(findings) is _ORDER[-1]
    if is_worst or battery.kind is None or _leaves_out_kind_alone(case):
        return case, posterior, findings
    plain, posterior_plain = _case(about, battery.model_copy(update={"kind": None}))
    without = findings_for(plain)
    if _ORDER.index(outcome_of(without)) <= _ORDER.index(outcome_of(findings)):
        return case, posterior, findings
    return replace(plain, kind=battery.kind, kind_would_lift=True), posterior_plain, without


def _leaves_out_kind_alone(case: Case) -> bool:
    """Whether the readings contradict the kind and nothing else, so that it moved no number."""
    return case.battery.kind is None and not case.unlike_history


_ORDER = tuple(Outcome)
"""The outcomes, the most careful last."""


def _case(about: _About, battery: Battery) -> tuple[Case, ChargePosterior | ChargeBounds]:
    """The connection as the rules look at it, and what the current says of the charge."""
    readings, supply, rest_voltage_v = about.readings, about.supply, about.rest_voltage_v
    temp_c = _battery_temp_c(readings, about.ambient_c)
    day = connection_day(readings, about.on)
    signal = signal_from(readings, supply, about.load_a, about.load_sd_a)
    held_v = held_voltage_v(readings, supply, signal.limit_end_s or 0.0)
    known, (battery, prior, fit) = battery, _fitted(signal, battery, temp_c, day, held_v)
    rise = rise_of(fit)
    if rise is not None:
        fit = _fit_before(rise.since_s, fit, prior)
    posterior = charge_likelihood(fit, battery)
    others = _other_evidence(battery, rest_voltage_v, _usable_temp(temp_c), day)
    conditions = condition_state(
        fit.signal,
        prior,
        battery,
        others,
        rest_voltage_v,
        _usable_temp(temp_c),
        _heat_log_ratio(readings, battery, rise, temp_c),
        limit_for(battery, "min_top_off_soc").value,
        day,
    )
    state = charge_state(
        posterior, battery, others, conditions, signal.sigma_a, day, about.widening
    )
    case = Case(
        battery=battery,
        supply=supply,
        readings=readings,
        fit=fit,
        rise=rise,
        state=state,
        temp_c=temp_c,
        rest_voltage_v=rest_voltage_v,
        on=day,
        conditions=conditions,
        load_a=about.load_a,
        load_sd_a=about.load_sd_a,
        unlike_history=known.history is not None and battery.history is None,
        kind=known.kind,
        held_v=held_v,
    )
    return with_doubt(case), posterior


def connection_day(readings: Readings, on: date | None = None) -> date:
    """Day of a connection: the one given, else that of the readings' clock, else today.

    Parameters
    ----------
    readings : Readings
    on : date, optional

    Returns
    -------
    date

    Raises
    ------
    InputError
        No date.
    """
    if on is not None and not isinstance(on, date):
        raise InputError(f"on: a date is needed, not {on!r}")
    if isinstance(on, datetime):
        return on.date()
    return on or (readings.started_at.date() if readings.started_at else date.today())


def _heat_log_ratio(
    readings: Readings, battery: Battery, rise: Rise | None, temp_c: float | None
) -> float:
    """How much speaks for overheating, from the rise and the temperatures [ln]."""
    hottest = limit_for(battery, "charge_temp_max_c").value
    fastest = limit_for(battery, "max_temp_rise_c_per_min").value
    warming = warming_c_per_min(*readings.battery_temps())
    return overheating_log_ratio(
        rise,
        hot=temp_c is not None and temp_c > hottest,
        warming=warming is not None and warming > fastest,
        read=readings.battery_temps()[1].size > 0,
    )


def _fitted(
    signal: Signal, battery: Battery, temp_c: float | None, on: date, held_v: float | None
) -> tuple[Battery, Prior, TaperFit]:
    """Battery, belief and fit; what the readings contradict is left out, its kind last."""
    prior = prior_for(battery, _usable_temp(temp_c), on, held_v)
    fit = fit_taper(signal, prior)
    known = [name for name in ("history", "kind") if getattr(battery, name) is not None]
    if not known or fit.conflict <= MOST_CONFLICT:
        return battery, prior, fit
    less = battery.model_copy(update={known[0]: None})
    return _fitted(signal, less, temp_c, on, held_v)


def _fit_before(turn_s: float, fit: TaperFit, prior: Prior) -> TaperFit:
    """The taper up to where the current turns to rise; the whole fit where that is too little."""
    usable = fit.signal.usable & (fit.signal.time_s <= turn_s)
    if usable.sum() < LEAST_READINGS:
        return fit
    return fit_taper(replace(fit.signal, usable=usable), prior)


def _assessment(
    case: Case,
    posterior: ChargePosterior | ChargeBounds,
    findings: tuple[Finding, ...],
    outcome: Outcome,
) -> Assessment:
    state, fit = case.state, case.fit
    wait = usual_wait_s(case) / 60.0
    reason = _reason(outcome, state, findings)
    full = is_topped_off(outcome, state.minutes_to_top_off)
    taught = _taught(case, posterior)
    observation = None if full else next_observation(case, findings, outcome)
    if observation is not None and observation.minutes is not None:
        wait = observation.minutes
    return Assessment(
        outcome=outcome,
        headline=HEADLINE.format(words=OUTCOME_WORDS[outcome], reason=reason),
        reason=reason,
        next_steps=NEXT_STEPS_FULL if full else _next_steps(outcome, findings, observation, wait),
        findings=findings,
        conditions=_conditions(case),
        not_checked=not_checked(case),
        state_of_charge=StateOfCharge(at_connection=state.soc_at_connection, now=state.soc_now),
        charge_to_return_ah=state.charge_to_return_ah,
        minutes_to_top_off=state.minutes_to_top_off,
        taper=_taper_summary(fit),
        capacity_ah=_capacity(case.battery),
        supply=_supply_summary(case),
        next_reading_minutes=wait if outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING) else None,
        next_observation=observation,
        learned_history=updated_history(case.battery, taught, case.on) if taught else None,
        taper_lesson=_lesson(case, taught) if taught else None,
        kind=kind_on_record(case),
        notes=_notes(case),
        cautions=CAUTIONS + ((NICD_CAUTION,) if case.battery.chemistry is Chemistry.NICD else ()),
        widening=state.widening,
        unwidened=_unwidened(state),
        curves=_curves(case),
    )


def _unwidened(state: ChargeState) -> dict[str, ModelRange]:
    return {
        name: ModelRange(middle=found.middle, low=found.interval.low, high=found.interval.high)
        for name, found in state.unwidened.items()
    }


def _taught(case: Case, posterior: ChargePosterior | ChargeBounds) -> MeasuredTaper | None:
    """What it teaches: nothing against what is known of the battery, or where it may be two."""
    if case.unlike_history or starts_anew(case.readings):
        return None
    return completed_taper(case.fit, posterior, case.battery, _usable_temp(case.temp_c))


def _lesson(case: Case, taught: MeasuredTaper) -> TaperLesson | None:
    """What it teaches of others of its kind; nothing at low voltage, or by a battery not sound."""
    slow = case.held_v is not None and slower_log(case.battery, case.held_v) > 0.0
    sound = case.conditions is None or case.conditions.ranked[0][0] is Condition.SOUND
    if slow or not sound:
        return None
    is_read = held_voltage_v(case.readings, None, case.fit.signal.limit_end_s or 0.0) is not None
    temp_c = _usable_temp(case.temp_c)
    return taper_lesson(taught, case.battery, temp_c, case.on, voltage_read=is_read)


def _notes(case: Case) -> tuple[str, ...]:
    readings, signal = case.readings.notes, case.fit.signal
    return (*readings, *signal.notes, *_signal_notes(signal), *_doubts(case), *kind_notes(case))


def _reason(outcome: Outcome, state: ChargeState, findings: tuple[Finding, ...]) -> str:
    """Why the outcome is what it is, as half a sentence behind its name."""
    if outcome is not Outcome.TOP_OFF:
        return findings[0].text
    minutes = state.minutes_to_top_off.mean
    done = is_topped_off(outcome, state.minutes_to_top_off)
    template = NEARLY_DONE if done else TOPPING_OFF
    return template.format(soc=100.0 * state.soc_at_connection.mean, minutes=minutes_words(minutes))


def _next_steps(
    outcome: Outcome,
    findings: tuple[Finding, ...],
    observation: NextObservation | None,
    wait: float,
) -> tuple[str, ...]:
    """What to do next, the next observation first; a reading is asked for once."""
    rises = any(finding.rule == "current_rising" for finding in findings)
    told = (RISING_STEP,) if rises and outcome is Outcome.KEEP_WATCHING else NEXT_STEPS[outcome]
    steps = tuple(step.format(wait=minutes_words(wait)) for step in told)
    if observation is None or (outcome is Outcome.TOP_OFF and observation.minutes is not None):
        return steps
    first = f"{observation.text} {observation.why}"
    if outcome is Outcome.TOP_OFF or observation.name in PAUSES_READING:
        return (first, *steps)
    return (first, KEEP_READING.format(wait=minutes_words(wait)), *steps)


def _conditions(case: Case) -> tuple[ConditionChance, ...]:
    ranked = case.conditions.ranked if case.conditions else ()
    return tuple(ConditionChance(name=name, probability=p) for name, p in ranked)


def _taper_summary(fit: TaperFit) -> TaperSummary:
    return TaperSummary(
        amplitude_a=fit.amplitude_a,
        time_constant_s=fit.time_constant_s,
        charge_time_h=fit.charge_time_h,
        floor_a=fit["float_current_a"],
        load_a=fit["load_a"],
        standard_errors={CONTRACT_NAMES.get(k, k): v for k, v in fit.standard_errors.items()},
        window_s=fit.window_s,
        rmse_a=fit.rmse_a,
    )


def _supply_summary(case: Case) -> SupplySummary | None:
    if case.supply is None:
        return None
    limit = output_limit(case.supply)
    steady = steady_current_a(case.readings)
    return SupplySummary(
        limit_a=limit.limit_a,
        limited_by=limit.limited_by,
        peak_a=float(case.readings.supply_current_a.max()),
        continuous_a=steady,
        margin_a=limit.limit_a - steady,
    )


def _capacity(battery: Battery) -> Interval | None:
    check = battery.capacity_check
    if check is None:
        return None
    return interval_around(check.capacity_ah, check.sd_ah, least=0.0)


def _curves(case: Case) -> Curves:
    fit, signal = case.fit, case.fit.signal
    end = float(signal.time_s[-1])
    even = np.linspace(0.0, FORECAST_OF_WINDOW * end, FIT_POINTS)
    grid = np.unique(np.concatenate([even, *_step_edges(signal)]))
    mean, sd = fit.predict(grid), fit.predict_sd(grid)
    role = np.where(signal.current_limited, AT_LIMIT, READING)
    role = np.where(~signal.usable & ~signal.current_limited, TRANSIENT, role)
    if case.rise is not None:
        role = np.where(signal.time_s > case.rise.since_s, RISING, role)
    evidence: tuple[Evidence, ...] = (*case.state.evidence, case.state.combined)
    return Curves(
        time_s=signal.time_s,
        current_a=signal.current_a,
        role=role,
        fit_time_s=grid,
        fit_a=mean,
        fit_low_a=mean - LEVEL_SD * sd,
        fit_high_a=mean + LEVEL_SD * sd,
        load_a=fit.base(grid),
        steps=tuple(_step(fit, k) for k in range(len(signal.steps))),
        limit_a=signal.limit_current_a,
        limit_end_s=None if signal.limit_end_s is None else min(signal.limit_end_s, end),
        soc=SOC_GRID,
        evidence={e.name: e.density for e in evidence},
        remarks={e.name: e.remark for e in evidence if e.remark},
        min_top_off_soc=case.limit("min_top_off_soc").value,
        current_label="Battery current" if signal.from_clamp else "Supply current",
        from_clamp=signal.from_clamp,
        on=case.on,
    )


def _step(fit: TaperFit, number: int) -> tuple[float, str, bool]:
    """Time, words and mark of a load step; an unmarked one with its size as the fit has it."""
    step = fit.signal.steps[number]
    size = f"{fit.step_sizes_a[number]:+.1f} A, not marked"
    return step.elapsed_s, step.text if step.marked else size, step.marked


def _step_edges(signal: Signal) -> list[np.ndarray]:
    return [np.array([s.elapsed_s - BEFORE_STEP_S, s.elapsed_s]) for s in signal.steps]


def _signal_notes(signal: Signal) -> tuple[str, ...]:
    if not signal.transients:
        return ()
    one = "1 reading is a short transient"
    many = one if signal.transients == 1 else f"{signal.transients} readings are short transients"
    return (f"{many} and not used for the taper.",)


def _doubts(case: Case) -> tuple[str, ...]:
    return (DOUBT_NOTE,) if case.doubted else ()


def _other_evidence(
    battery: Battery, rest_voltage_v: float | None, temp_c: float | None, on: date
) -> tuple[Evidence, ...]:
    found = []
    if rest_voltage_v is not None:
        found.append(rest_voltage_evidence(battery, rest_voltage_v, temp_c))
    known = last_known_evidence(battery, on)
    return (*found, known) if known is not None else tuple(found)


def _battery_temp_c(readings: Readings, ambient_c: float | None) -> float | None:
    _, told = readings.battery_temps(but=slip_mask(readings, ("battery_temp_c",)))
    return float(told[-LAST_TEMPERATURES:].max()) if told.size else ambient_c


def _usable_temp(temp_c: float | None) -> float | None:
    return None if temp_c is None else within_data_c(temp_c)


def _check_kinds(battery: object, supply: object, **numbers: object) -> None:
    """Refuse what a caller without type checks may give."""
    if not isinstance(battery, Battery):
        raise InputError(f"battery: a Battery is needed, not a {type(battery).__name__}")
    if supply is not None and not isinstance(supply, Supply):
        raise InputError(f"supply: a Supply or None is needed, not a {type(supply).__name__}")
    for name, number in numbers.items():
        blank = number is None and name not in ("load_sd_a", "widening")
        if not blank and (isinstance(number, bool) or not isinstance(number, Real)):
            raise InputError(f"{name}: a number is needed, not {number!r}")


def _check_inputs(
    battery: Battery,
    rest_voltage_v: float | None,
    load_a: float | None,
    load_sd_a: float,
    ambient_c: float | None,
    widening: float,
) -> None:
    check_capacity(battery)
    if rest_voltage_v is not None:
        check_rest_voltage(battery, rest_voltage_v)
    for name, value, (least, most), called in (
        ("load_a", load_a, (0.0, MOST_LOAD_A), "bus load"),
        ("load_sd_a", load_sd_a, (LEAST_LOAD_SD_A, MOST_LOAD_SD_A), "error of the bus load"),
        ("ambient_c", ambient_c, AIR_CELSIUS_RANGE, "temperature"),
        ("widening", widening, WIDENING_RANGE, "widening of the ranges"),
    ):
        if value is not None and not least <= value <= most:
            raise EntryError("", name, outside(value, least, most), name=called)
