"""Capacity over months or cycles: how fast it falls, when it crosses its limit, what to do next."""

from __future__ import annotations

from datetime import date
from pathlib import Path

import numpy as np
from pydantic import Field

from batterymodel.basis.calendar import DAYS_PER_YEAR, days_words
from batterymodel.basis.intervals import LEVEL, Interval, sample_interval
from batterymodel.basis.text import percent_below
from batterymodel.basis.threads import on_one_thread
from batterymodel.capacity.wording import FADE_TEXTS, say_capacity
from batterymodel.errors import InputError
from batterymodel.fade.doubts import CapacityRise, span_of, span_words
from batterymodel.fade.fitted import FittedRecord, counts_little, fitted_record, measured
from batterymodel.fade.mixture import ModelShare
from batterymodel.fade.moments import Moment, about_words, width_years
from batterymodel.fade.past_forecasts import PastForecasts
from batterymodel.inputs.check_record import CheckRecord, read_checks
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import capacity_data_for
from batterymodel.reference.limits import Limit, limit_for
from batterymodel.rules.results import Result
from batterymodel.rules.wording import CAUTIONS, source_words

CROSSING_LEVEL = 0.80
"""Probability inside the interval of the crossing date (own choice)."""

TAIL = (1.0 - CROSSING_LEVEL) / 2.0
"""Probability on either side of that interval (derived)."""

KNEE_ODDS = 10.0
"""Odds for a change of slope from which it is reported (own choice)."""

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

    For a record by cycles it is the last cycle at or above the limit. ``dated`` is False where the
    checks are too close together or may not be of one battery: these tell nothing of the loss, and
    no moment is claimed.
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
    where all values are estimates in service. ``rise`` is where the checks may not be of one
    battery.
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
    rise: CapacityRise | None
    prior_source: str
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    curves: FadeCurves = Field(exclude=True, repr=False)

    @property
    def is_usual(self) -> bool:
        """Whether the loss is what is usual for the chemistry, as the checks tell none."""
        return not self.crossing.dated and self.rise is None


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
    fitted = fitted_record(record, battery)
    change = _slope_change(fitted)
    crossing = _crossing(fitted)
    measured_ah, measured_on = measured(record)
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
        rise=fitted.rise,
        prior_source=capacity_data_for(battery.chemistry).fade.source,
        notes=(*_rise_notes(fitted), *record.notes, *_notes(fitted)),
        cautions=CAUTIONS[:1],
        curves=_curves(fitted),
    )


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


def _crossing(fitted: FittedRecord) -> Crossing:
    dated = fitted.is_dated
    quantiles = _crossing_quantiles(fitted) if dated else np.full(3, np.inf)
    low, best, high = (_moment(fitted, value) for value in quantiles)
    return Crossing(
        best=best,
        low=low,
        high=high,
        level=CROSSING_LEVEL,
        probability_below_now=fitted.below_now,
        dated=dated,
    )


def _crossing_quantiles(fitted: FittedRecord) -> np.ndarray:
    return np.quantile(fitted.crossing_at, [TAIL, 0.5, 1.0 - TAIL], method="lower")


def _moment(fitted: FittedRecord, at: float) -> Moment | None:
    return fitted.record.moment(at) if np.isfinite(at) else None


def _half_width(fitted: FittedRecord) -> float:
    if fitted.record.unit == "year":
        return YEAR_HALF_WIDTH
    return CYCLE_HALF_WIDTH * fitted.paths.last + 1.0


def _headline(fitted: FittedRecord, crossing: Crossing, today: date | None) -> str:
    share, limit, rise = fitted.measured_share, fitted.limit.value, fitted.rise
    wide = width_years(crossing.low, crossing.high)
    told = "one" if (~fitted.record.lower_bound).sum() == 1 else "more"
    return say_capacity(
        f"fade.{_headline_key(fitted, crossing, today)}",
        limit=100.0 * limit,
        best=about_words(crossing.best, wide),
        checks=FADE_TEXTS[f"undated.{'short' if span_of(fitted.record) > 0.0 else told}"],
        measured=percent_below(share, limit) if np.isfinite(share) else "",
        probability=100.0 * crossing.probability_below_now,
        until=fitted.record.moment(fitted.paths.last + fitted.horizon),
        **({"rise": rise.percent, "on": rise.on} if rise else {}),
    )


def _headline_key(fitted: FittedRecord, crossing: Crossing, today: date | None) -> str:
    """What is said first: what was measured goes before the trend, a doubt before any date."""
    by_year, below = fitted.record.unit == "year", fitted.measured_share < fitted.limit.value
    if crossing.probability_below_now > LIKELY_BELOW:
        return "below_by_trend" if fitted.passes else "below"
    if below and (by_year or not crossing.dated):
        return "measured_below"
    if not crossing.dated:
        return "undated" if fitted.rise is None else "rose"
    if crossing.best is None:
        return "far" if by_year else "far_cycles"
    if not by_year:
        return "ahead_cycles"
    is_past = today is not None and isinstance(crossing.best, date) and crossing.best < today
    return "passed" if is_past else "ahead"


def _next_check(fitted: FittedRecord) -> NextCheck:
    """The earliest of: at once, the crossing's early end, the card's interval."""
    record, last = fitted.record, fitted.paths.last
    early = float(_crossing_quantiles(fitted)[0])
    used = np.flatnonzero(~record.lower_bound)
    of_last = (record.at[used] == record.at[-1]) & ~record.in_service[used]
    doubtful = bool(fitted.is_bad[of_last].any())
    soon = last + (SOON_DAYS / DAYS_PER_YEAR if record.unit == "year" else 1.0)
    if doubtful:
        key = "next.doubtful" if used.size > 1 else "next.doubtful_alone"
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS[key])
    if fitted.below_now > LIKELY_BELOW:
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS["next.likely_below"])
    if record.unit == "year" and fitted.measured_share < fitted.limit.value:
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS["next.measured_below"])
    if early <= soon:
        key = "next.below" if fitted.below_now > TAIL else "next.soon"
        return NextCheck(on=record.moment(soon), why=FADE_TEXTS[key])
    if record.unit == "cycle":
        regular, why = last + max(CYCLES_BETWEEN_CHECKS * last, 1.0), FADE_TEXTS["next.cycles"]
    else:
        interval = limit_for(fitted.battery, "capacity_check_interval_days")
        regular = last + interval.value / DAYS_PER_YEAR
        source = source_words(interval.source, interval.generic)
        why = say_capacity("next.interval", days=days_words(interval.value), source=source)
    if early < regular:
        key = "next.early" if fitted.is_spread else "next.early_undated"
        return NextCheck(on=record.moment(early), why=FADE_TEXTS[key])
    return NextCheck(on=record.moment(regular), why=why)


def _not_before(check: NextCheck, today: date | None) -> NextCheck:
    if today is None or not isinstance(check.on, date) or check.on >= today:
        return check
    why = say_capacity("next.overdue", why=check.why, due=check.on)
    return NextCheck(on=today, why=why, due_since=check.on)


def _slope_change(fitted: FittedRecord) -> SlopeChange | None:
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


def _losses_around(fitted: FittedRecord, when: float) -> tuple[float, float]:
    """Mean loss before and after a time between the checks [fraction of rated per unit]."""
    used = fitted.record.at[~fitted.record.lower_bound]
    ends = np.asarray(fitted.model.predict(np.array([[used[0]], [when], [used[-1]]])))
    before = (ends[0] - ends[1]) / (when - used[0])
    return float(before), float((ends[1] - ends[2]) / (used[-1] - when))


def _odds(weight: np.ndarray, chosen: np.ndarray) -> float:
    share = weight[chosen].sum() / weight.sum()
    return float(share / max(1.0 - share, 1e-9))


def _rise_notes(fitted: FittedRecord) -> list[str]:
    """The doubt about the record as a whole, before all else."""
    if (rise := fitted.rise) is None:
        return []
    below = 100.0 * fitted.below_now
    return [say_capacity("fade.rise", rise=rise.percent, on=rise.on, probability=below)]


def _notes(fitted: FittedRecord) -> list[str]:
    record, notes = fitted.record, []
    used = np.flatnonzero(~record.lower_bound)
    if not fitted.is_spread:
        key = "one_check" if used.size == 1 else "short" if span_of(record) > 0.0 else "one_day"
        notes.append(say_capacity(key, least=span_words(fitted.least_span, record.unit)))
    elif used.size == 2:
        notes.append(FADE_TEXTS["two_checks"])
    notes += [_bad_note(fitted, int(at)) for at in used[fitted.is_bad] if not record.in_service[at]]
    for key, marked in (("bound", record.lower_bound), ("in_service", record.in_service)):
        if count := int(marked.sum()):
            notes.append(say_capacity(f"fade.{key}{'s' * (count > 1)}", count=count))
    return notes


def _bad_note(fitted: FittedRecord, at: int) -> str:
    """What a check that does not fit does to the forecast, by its place in the record."""
    record = fitted.record
    share = record.capacity_ah[at] / fitted.rated
    key = "fade.bad" if (~record.lower_bound).sum() > 1 else "fade.bad_alone"
    if not counts_little(fitted, at):
        key = f"{key}_moves"
    on, cause = record.moment(record.at[at]), FADE_TEXTS[_cause_key(fitted, at)]
    return say_capacity(key, on=on, percent=100.0 * share, cause=cause)


def _cause_key(fitted: FittedRecord, at: int) -> str:
    """What may be behind a check that does not fit; a failed battery has no better check later."""
    record = fitted.record
    trend = float(np.asarray(fitted.model.predict(record.at[at : at + 1, None]))[0])
    if record.capacity_ah[at] > trend * fitted.rated:
        return "cause.high"
    later = ~record.lower_bound & ~record.in_service & (record.at > record.at[at])
    better = (record.capacity_ah[later] > record.capacity_ah[at]).any()
    return "cause.was_low" if better else "cause.low"


def _curves(fitted: FittedRecord) -> FadeCurves:
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
        crossing_at=None if first is None or not fitted.is_dated else (first, best, latest),
        first_on=record.first_on,
        last_check_at=fitted.paths.last,
        limit_ah=fitted.limit.value * fitted.rated,
    )
