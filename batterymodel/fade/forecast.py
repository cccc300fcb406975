"""Capacity over months or cycles: how fast it falls, when it crosses its limit, what to do next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from pathlib import Path

import numpy as np
from pydantic import Field

from batterymodel.basis.calendar import DAYS_PER_YEAR, days_words
from batterymodel.basis.intervals import LEVEL, Interval, interval_around, sample_interval
from batterymodel.basis.text import percent_below
from batterymodel.basis.threads import on_one_thread
from batterymodel.capacity.wording import FADE_TEXTS, say_capacity
from batterymodel.errors import InputError
from batterymodel.fade.mixture import Mixture, ModelShare
from batterymodel.fade.models import LinePrior
from batterymodel.fade.moments import Moment, about_words, width_years
from batterymodel.fade.past_forecasts import PastForecasts, past_forecasts
from batterymodel.fade.paths import Paths, scattered_paths, trend_paths
from batterymodel.inputs.check_record import CheckRecord, read_checks
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import capacity_data_for
from batterymodel.reference.limits import Limit, limit_for
from batterymodel.rules.results import Result
from batterymodel.rules.wording import CAUTIONS, source_words

CROSSING_LEVEL = 0.80
"""Probability inside the interval of the crossing date (own choice)."""

HORIZON_YEARS = 5.0
"""How far ahead a crossing date is given [years] (own choice)."""

CYCLE_HORIZON = 2.0
"""How far ahead a crossing is given in a record by cycles: so many times its last cycle
(own choice)."""

KNEE_ODDS = 10.0
"""Odds for a change of slope from which it is reported (own choice)."""

BAD_PROBABILITY = 0.5
"""Probability from which a check is named as not fitting the others (own choice)."""

SOON_DAYS = 30
"""A check asked for at once is due within so many days (own choice)."""

LIKELY_BELOW = 0.5
"""Probability of a capacity below its limit from which it is said to be there (own choice)."""

LEAST_BELIEVED, MOST_BELIEVED = 0.02, 2.0
"""Fractions of rated outside which a check is not this battery's (own choice)."""

LEAST_FOR_A_KNEE = 4
"""Finished checks from which a change of slope is looked for (own choice)."""

YEAR_HALF_WIDTH, CYCLE_HALF_WIDTH = 0.5, 0.05
"""Half of the stretch over which the loss is told: in years, and over the last cycle (own
choice)."""

CYCLES_BETWEEN_CHECKS = 0.1
"""Share of the cycles so far after which the next check is due (own choice)."""


class Crossing(Result):
    """When the trend falls below the limit; None means not within the horizon.

    For a record by cycles it is the last cycle at or above the limit. ``dated`` is False where all
    checks are of one day: these tell nothing of the loss, and no moment is claimed.
    """

    best: Moment | None
    low: Moment | None
    high: Moment | None
    level: float
    probability_below_now: float
    dated: bool = True


class NextCheck(Result):
    """When to check capacity next, and why; ``due_since`` where that day has passed."""

    on: Moment
    why: str
    due_since: date | None = None


class SlopeChange(Result):
    """A change of slope the checks give evidence for; losses are percent of rated per unit."""

    at: Moment
    before_percent: float
    after_percent: float
    odds: float


class FadeCurves(Result):
    """Arrays for charts, capacity in ampere-hours; not part of the JSON."""

    at: np.ndarray
    mean_ah: np.ndarray
    low_ah: np.ndarray
    high_ah: np.ndarray
    check_at: np.ndarray
    check_ah: np.ndarray
    check_sd_ah: np.ndarray
    check_kind: np.ndarray
    crossing_at: tuple[float, float | None, float | None] | None
    first_on: date | None
    last_check_at: float
    limit_ah: float


class FadeForecast(Result):
    """Forecast of one battery's capacity; it reports itself.

    ``fade_percent`` is the loss per ``unit`` (year or cycle) around the last check, in percent of
    rated capacity; ``capacity_ah`` the trend at ``last``, not that check's own reading.
    ``measured_ah`` is what the last finished check on a bench measured, on ``measured_on``; None
    where all values are estimates in service.
    """

    tail: str
    headline: str
    unit: str
    checks: int
    first: Moment
    last: Moment
    models: tuple[ModelShare, ...]
    past_forecasts: PastForecasts | None
    capacity_ah: Interval
    measured_ah: Interval | None
    measured_on: Moment | None
    fade_percent: Interval
    limit: Limit
    limit_ah: float
    rated_capacity_ah: float
    crossing: Crossing
    next_check: NextCheck
    slope_change: SlopeChange | None
    prior_source: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    curves: FadeCurves = Field(exclude=True, repr=False)


@dataclass(frozen=True)
class _FittedRecord:
    """One record with its battery, its fitted model and the paths drawn from it."""

    record: CheckRecord
    battery: Battery
    limit: Limit
    model: Mixture
    past: PastForecasts | None
    paths: Paths
    crossing_at: np.ndarray
    horizon: float

    @property
    def rated(self) -> float:
        return self.battery.rated_capacity_ah


@on_one_thread
def fade_forecast(
    checks: CheckRecord | str | Path, battery: Battery, *, today: date | None = None
) -> FadeForecast:
    """Forecast the capacity of a battery from its record of checks.

    1. A mixture of models is fitted to all checks, each with its own error; a bad one counts
       little, and every model as much as the checks speak for it (`mixture`).
    2. The mixture forecasts later checks of this record from several origins; what it missed
       there widens its forecast (`past_forecasts`). Short records are taken as they are.
    3. Paths drawn from it, weighed by the lower bounds, give the loss per year, the date the
       trend falls below the limit, and its interval.

    Parameters
    ----------
    checks : CheckRecord or path of a CSV
        See `batterymodel.inputs.check_record`.
    battery : Battery
        Its limits card gives the least capacity, else the generic value of the chemistry.
    today : date, optional
        The next check is not advised for a day before it, and a crossing before it is told as past.

    Returns
    -------
    FadeForecast

    Raises
    ------
    InputError
        A record without a finished check, or with capacities that cannot be this battery's.

    Notes
    -----
    With one check the loss is the chemistry's prior, with two the prior dominates: common
    practice without a source, and the interval is accordingly wide. Coverage and errors are
    measured by ``tests.benchmarks.fade``.
    """
    record = checks if isinstance(checks, CheckRecord) else read_checks(checks)
    _check_capacities(record, battery)
    fitted = _fitted(record, battery)
    change = _slope_change(fitted)
    crossing = _crossing(fitted)
    measured_ah, measured_on = _measured(record)
    return FadeForecast(
        tail=battery.tail,
        headline=_headline(fitted, crossing, today),
        unit=record.unit,
        checks=int((~record.lower_bound).sum()),
        first=record.moment(record.at[0]),
        last=record.moment(fitted.paths.last),
        models=fitted.model.shares_,
        past_forecasts=fitted.past,
        capacity_ah=sample_interval(fitted.paths.value(fitted.paths.last) * fitted.rated),
        measured_ah=measured_ah,
        measured_on=measured_on,
        fade_percent=sample_interval(100.0 * fitted.paths.loss_per_unit(_half_width(fitted))),
        limit=fitted.limit,
        limit_ah=fitted.limit.value * fitted.rated,
        rated_capacity_ah=fitted.rated,
        crossing=crossing,
        next_check=_not_before(_next_check(fitted), today),
        slope_change=change,
        prior_source=capacity_data_for(battery.chemistry).fade.source,
        notes=(*record.notes, *_notes(fitted)),
        cautions=CAUTIONS[:1],
        curves=_curves(fitted),
    )


def line_prior(battery: Battery, unit: str) -> LinePrior:
    """Belief on start and loss of capacity by chemistry.

    Parameters
    ----------
    battery : Battery
    unit : str
        ``year`` or ``cycle``: what the loss is counted by [fraction of rated per unit].

    Returns
    -------
    LinePrior

    References
    ----------
    `FadePrior` of the chemistry (common practice, no source).
    """
    prior = capacity_data_for(battery.chemistry).fade
    if unit == "year":
        return LinePrior(prior.start, prior.start_sd, prior.per_year, prior.per_year_sd)
    return LinePrior(prior.start, prior.start_sd, prior.per_cycle, prior.per_cycle_sd)


def _check_capacities(record: CheckRecord, battery: Battery) -> None:
    if record.lower_bound.all():
        raise InputError(
            f"{record.source}: every check stopped early and is a lower bound; at least one that "
            "reached its end voltage would be right"
        )
    rated = battery.rated_capacity_ah
    wrong = (record.capacity_ah > MOST_BELIEVED * rated) | (
        record.capacity_ah < LEAST_BELIEVED * rated
    )
    if wrong.any():
        k = int(wrong.argmax())
        raise InputError(
            f"{record.source}: {record.capacity_ah[k]:g} Ah at {record.moment(record.at[k])} "
            f"cannot be a check of a {rated:g} Ah battery; its own ampere-hours would be right"
        )


def _fitted(record: CheckRecord, battery: Battery) -> _FittedRecord:
    used = ~record.lower_bound
    at, rated = record.at[used], battery.rated_capacity_ah
    fraction, sd = record.capacity_ah[used] / rated, record.sd_ah[used] / rated
    prior = line_prior(battery, record.unit)
    model = Mixture(prior).fit(at[:, None], fraction, sd)
    past = past_forecasts(at, fraction, sd, prior, model.bad_ < BAD_PROBABILITY)
    wider = past.widening if past else 1.0
    limit = limit_for(battery, "min_capacity_fraction")
    horizon = HORIZON_YEARS
    if record.unit == "cycle":
        horizon = max(CYCLE_HORIZON * float(at[-1]), prior.life)
    bound = record.lower_bound
    bounds = record.at[bound], record.capacity_ah[bound] / rated, record.sd_ah[bound] / rated
    last = float(record.at[-1])
    paths = trend_paths(model, last, horizon, bounds).widened(wider)
    crossing = paths.crossing(limit.value)
    if record.unit == "cycle":
        ahead = scattered_paths(model, last, horizon, wider)
        crossing = _last_cycle(ahead, record, limit.value, rated)
    return _FittedRecord(record, battery, limit, model, past, paths, crossing, horizon)


def _last_cycle(paths: Paths, record: CheckRecord, limit: float, rated: float) -> np.ndarray:
    """Last cycle at or above the limit along each path, scatter and recovery included."""
    above = record.at[record.capacity_ah >= limit * rated]
    seen = float(above[-1]) if above.size else float(record.at[0])
    found = paths.last_above(limit)
    never_again = ~(paths.fraction >= limit).any(axis=1)
    return np.where(never_again, seen, found)


def _measured(record: CheckRecord) -> tuple[Interval | None, Moment | None]:
    """What the last finished check on a bench measured [Ah], and when; None without any.

    Of several of one day it is the least: a repeat that passes does not hide one that failed.
    """
    finished = np.flatnonzero(~record.lower_bound & ~record.in_service)
    if not finished.size:
        return None, None
    of_last = finished[record.at[finished] == record.at[finished[-1]]]
    k = int(of_last[record.capacity_ah[of_last].argmin()])
    measured = interval_around(float(record.capacity_ah[k]), float(record.sd_ah[k]), least=0.0)
    return measured, record.moment(record.at[k])


def _is_dated(record: CheckRecord) -> bool:
    """Whether the finished checks are of more than one moment, so that they tell of the loss."""
    return np.unique(record.at[~record.lower_bound]).size > 1


def _crossing(fitted: _FittedRecord) -> Crossing:
    dated = _is_dated(fitted.record)
    quantiles = _crossing_quantiles(fitted) if dated else np.full(3, np.inf)
    low, best, high = (_moment(fitted, value) for value in quantiles)
    below = fitted.paths.value(fitted.paths.last) < fitted.limit.value
    return Crossing(
        best=best,
        low=low,
        high=high,
        level=CROSSING_LEVEL,
        probability_below_now=float(below.mean()),
        dated=dated,
    )


def _crossing_quantiles(fitted: _FittedRecord) -> np.ndarray:
    tail = (1.0 - CROSSING_LEVEL) / 2.0
    return np.quantile(fitted.crossing_at, [tail, 0.5, 1.0 - tail], method="lower")


def _moment(fitted: _FittedRecord, at: float) -> Moment | None:
    return fitted.record.moment(at) if np.isfinite(at) else None


def _half_width(fitted: _FittedRecord) -> float:
    if fitted.record.unit == "year":
        return YEAR_HALF_WIDTH
    return CYCLE_HALF_WIDTH * fitted.paths.last + 1.0


def _measured_share(fitted: _FittedRecord) -> float:
    """What the last finished check on a bench measured, of rated; endless without any."""
    measured, _ = _measured(fitted.record)
    return np.inf if measured is None else measured.mean / fitted.rated


def _headline(fitted: _FittedRecord, crossing: Crossing, today: date | None) -> str:
    key, share = "ahead", _measured_share(fitted)
    wide = width_years(crossing.low, crossing.high)
    values: dict[str, object] = {"best": about_words(crossing.best, wide)}
    if crossing.probability_below_now > LIKELY_BELOW:
        key = "below"
    elif share < fitted.limit.value and (fitted.record.unit == "year" or not crossing.dated):
        key = "measured_below"
        values = {"measured": percent_below(share, fitted.limit.value)}
    elif not crossing.dated:
        key = "undated"
    elif crossing.best is None:
        key = "far" if fitted.record.unit == "year" else "far_cycles"
        values = {"until": fitted.record.moment(fitted.paths.last + fitted.horizon)}
    elif fitted.record.unit == "cycle":
        key = "ahead_cycles"
    elif today is not None and isinstance(crossing.best, date) and crossing.best < today:
        key = "passed"
    told = FADE_TEXTS["undated.one" if (~fitted.record.lower_bound).sum() == 1 else "undated.more"]
    return say_capacity(f"fade.{key}", limit=100.0 * fitted.limit.value, checks=told, **values)


def _next_check(fitted: _FittedRecord) -> NextCheck:
    """The earliest of: at once, the crossing's early end, the card's interval."""
    record, last = fitted.record, fitted.paths.last
    early = float(_crossing_quantiles(fitted)[0])
    used = np.flatnonzero(~record.lower_bound)
    of_last = (record.at[used] == record.at[-1]) & ~record.in_service[used]
    doubtful = bool((fitted.model.bad_[of_last] > BAD_PROBABILITY).any())
    soon = last + (SOON_DAYS / DAYS_PER_YEAR if record.unit == "year" else 1.0)
    if doubtful:
        key = "next.doubtful" if _is_dated(record) else "next.doubtful_alone"
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS[key])
    if (fitted.paths.value(last) < fitted.limit.value).mean() > LIKELY_BELOW:
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS["next.likely_below"])
    if record.unit == "year" and _measured_share(fitted) < fitted.limit.value:
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS["next.measured_below"])
    if early <= soon:
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS["next.below"])
    if record.unit == "cycle":
        regular, why = last + max(CYCLES_BETWEEN_CHECKS * last, 1.0), FADE_TEXTS["next.cycles"]
    else:
        interval = limit_for(fitted.battery, "capacity_check_interval_days")
        regular = last + interval.value / DAYS_PER_YEAR
        source = source_words(interval.source, interval.generic)
        why = say_capacity("next.interval", days=days_words(interval.value), source=source)
    if early < regular:
        key = "next.early" if _is_dated(record) else "next.early_undated"
        return NextCheck(on=record.moment(early), why=FADE_TEXTS[key])
    return NextCheck(on=record.moment(regular), why=why)


def _not_before(check: NextCheck, today: date | None) -> NextCheck:
    if today is None or not isinstance(check.on, date) or check.on >= today:
        return check
    why = say_capacity("next.overdue", why=check.why, due=check.on)
    return NextCheck(on=today, why=why, due_since=check.on)


def _slope_change(fitted: _FittedRecord) -> SlopeChange | None:
    """A knee before the last check, by its odds against none there; None where unlikely."""
    if (~fitted.record.lower_bound).sum() < LEAST_FOR_A_KNEE:
        return None
    at, believed, weight = fitted.model.knees()
    inside = np.isfinite(at)
    odds = _odds(weight, inside) / _odds(believed, inside)
    when = float(weight[inside] @ at[inside] / weight[inside].sum())
    before, after = (100.0 * loss for loss in _losses_around(fitted, when))
    if odds < KNEE_ODDS or after <= before:
        return None
    return SlopeChange(
        at=fitted.record.moment(when), before_percent=before, after_percent=after, odds=odds
    )


def _losses_around(fitted: _FittedRecord, when: float) -> tuple[float, float]:
    """Mean loss before and after a time between the checks [fraction of rated per unit]."""
    used = fitted.record.at[~fitted.record.lower_bound]
    ends = np.asarray(fitted.model.predict(np.array([[used[0]], [when], [used[-1]]])))
    before = (ends[0] - ends[1]) / (when - used[0])
    return float(before), float((ends[1] - ends[2]) / (used[-1] - when))


def _odds(weight: np.ndarray, chosen: np.ndarray) -> float:
    share = weight[chosen].sum() / weight.sum()
    return float(share / max(1.0 - share, 1e-9))


def _notes(fitted: _FittedRecord) -> list[str]:
    record, notes = fitted.record, []
    used = np.flatnonzero(~record.lower_bound)
    if not _is_dated(record):
        notes.append(FADE_TEXTS["one_check" if used.size == 1 else "one_day"])
    elif used.size == 2:
        notes.append(FADE_TEXTS["two_checks"])
    for k in np.flatnonzero(fitted.model.bad_ > BAD_PROBABILITY):
        at = used[k]
        if record.in_service[at]:
            continue
        percent = 100.0 * record.capacity_ah[at] / fitted.rated
        key = "fade.bad" if used.size > 1 else "fade.bad_alone"
        notes.append(say_capacity(key, on=record.moment(record.at[at]), percent=percent))
    for key, marked in (("bound", record.lower_bound), ("in_service", record.in_service)):
        if count := int(marked.sum()):
            notes.append(say_capacity(f"fade.{key}{'s' * (count > 1)}", count=count))
    return notes


def _curves(fitted: _FittedRecord) -> FadeCurves:
    falling, record = fitted.paths.falling() * fitted.rated, fitted.record
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.quantile(falling, [tail, 1.0 - tail], axis=0)
    first, best, latest = (
        float(q) if np.isfinite(q) else None for q in _crossing_quantiles(fitted)
    )
    kind = np.where(record.in_service, "in service", "check")
    kind = np.where(record.lower_bound, "stopped early, at least", kind)
    return FadeCurves(
        at=fitted.paths.at,
        mean_ah=falling.mean(axis=0),
        low_ah=low,
        high_ah=high,
        check_at=record.at,
        check_ah=record.capacity_ah,
        check_sd_ah=record.sd_ah,
        check_kind=kind,
        crossing_at=None if first is None or not _is_dated(record) else (first, best, latest),
        first_on=record.first_on,
        last_check_at=fitted.paths.last,
        limit_ah=fitted.limit.value * fitted.rated,
    )
