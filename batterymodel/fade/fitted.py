"""One record of checks with its model and the paths drawn from it, and what is read off them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.basis.intervals import Interval, interval_around
from batterymodel.fade.doubts import CapacityRise, capacity_rise, least_span, span_of
from batterymodel.fade.mixture import Mixture
from batterymodel.fade.models import LinePrior
from batterymodel.fade.moments import Moment
from batterymodel.fade.past_forecasts import PastForecasts, past_forecasts
from batterymodel.fade.paths import Paths, scattered_paths, trend_paths
from batterymodel.inputs.check_record import CheckRecord
from batterymodel.inputs.last_check import place_of_last
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import capacity_data_for
from batterymodel.reference.limits import Limit, limit_for

HORIZON_YEARS = 5.0
"""How far ahead a crossing date is given [years] (own choice)."""

CYCLE_HORIZON = 2.0
"""How far ahead a crossing is given in a record by cycles: so many times its last cycle
(own choice)."""

BAD_PROBABILITY = 0.5
"""Probability from which a check is named as not fitting the others (own choice)."""

LEFT_OUT_SD = 100.0
"""Error that leaves a check out of a forecast [fraction of rated] (own choice: any that is far
above all others)."""

LITTLE_SHARE, LITTLE_PROBABILITY, LITTLE_OF_HORIZON = 0.02, 0.05, 0.1
"""A check counts little where the forecast without it differs by no more than this: in the capacity
[fraction of rated] and the probability of being below the limit at the last check, and in the
crossing [of the horizon] (own choice)."""


@dataclass(frozen=True)
class FittedRecord:
    """One record with its battery, its fitted model and the paths drawn from it.

    ``wider`` is the factor on the spread ahead [-], ``crossing_at`` when each path crosses the
    limit, ``horizon`` how far ahead that is looked for, both in the record's unit.
    """

    record: CheckRecord
    battery: Battery
    limit: Limit
    model: Mixture
    past: PastForecasts | None
    wider: float
    paths: Paths
    crossing_at: np.ndarray
    horizon: float

    @property
    def rated(self) -> float:
        """Rated capacity [Ah]."""
        return self.battery.rated_capacity_ah

    @property
    def below_now(self) -> float:
        """Probability that the trend is below the limit at the last check."""
        return float((self.paths.value(self.paths.last) < self.limit.value).mean())

    @property
    def is_bad(self) -> np.ndarray:
        """Finished checks that do not fit the others."""
        return self.model.bad_ > BAD_PROBABILITY

    @property
    def rise(self) -> CapacityRise | None:
        """Where the checks may not be of one battery; see `capacity_rise`."""
        return capacity_rise(self.record, self.rated, ~self.is_bad)

    @property
    def least_span(self) -> float:
        """Span of checks from which they tell of the loss [years or cycles]."""
        return least_span(line_prior(self.battery, self.record.unit))

    @property
    def is_spread(self) -> bool:
        """Whether the finished checks are far enough apart to tell of the loss."""
        return span_of(self.record) >= self.least_span

    @property
    def is_dated(self) -> bool:
        """Whether the checks tell when the limit is crossed."""
        return self.is_spread and self.rise is None

    @property
    def measured_share(self) -> float:
        """What the last finished check on a bench measured, of rated; endless without any."""
        found, _ = measured(self.record)
        return np.inf if found is None else found.mean / self.rated

    @property
    def passes(self) -> bool:
        """Whether the last finished check on a bench is above the limit beyond its error."""
        found, _ = measured(self.record)
        return found is not None and found.low > self.limit.value * self.rated


def line_prior(battery: Battery, unit: str, first_on: date | None = None) -> LinePrior:
    """Belief on start and loss of capacity by chemistry, and by age at the first check.

    Parameters
    ----------
    battery : Battery
    unit : str
        ``year`` or ``cycle``: what the loss is counted by [fraction of rated per unit].
    first_on : date, optional
        Day of the first check; without it or `installed_on` the battery counts as new then.

    Returns
    -------
    LinePrior

    References
    ----------
    `FadePrior` of the chemistry (common practice, no source).
    """
    prior = capacity_data_for(battery.chemistry).fade
    if unit == "year":
        yearly = prior.start, prior.start_sd, prior.per_year, prior.per_year_sd, prior.powers
        return LinePrior(*yearly, began=_years_old(battery, first_on))
    return LinePrior(prior.start, prior.start_sd, prior.per_cycle, prior.per_cycle_sd)


def _years_old(battery: Battery, on: date | None) -> float:
    """Age on a day [a]; 0 where it is not known."""
    if on is None or battery.installed_on is None:
        return 0.0
    return max((on - battery.installed_on).days, 0) / DAYS_PER_YEAR


def fitted_record(
    record: CheckRecord, battery: Battery, widening: float | None = None
) -> FittedRecord:
    """The record with its model.

    Parameters
    ----------
    record : CheckRecord
        With one finished check at least.
    battery : Battery
    widening : float, optional
        Factor on the spread ahead [-], in place of what past forecasts ask for.

    Returns
    -------
    FittedRecord
    """
    used = ~record.lower_bound
    at, rated = record.at[used], battery.rated_capacity_ah
    fraction, sd = record.capacity_ah[used] / rated, record.sd_ah[used] / rated
    prior, past = line_prior(battery, record.unit, record.first_on), None
    model = Mixture(prior).fit(at[:, None], fraction, sd)
    if widening is None:
        past = past_forecasts(at, fraction, sd, prior, model.bad_ < BAD_PROBABILITY)
        widening = past.widening if past else 1.0
    limit = limit_for(battery, "min_capacity_fraction")
    horizon = HORIZON_YEARS
    if record.unit == "cycle":
        horizon = max(CYCLE_HORIZON * float(at[-1]), prior.life)
    bound = record.lower_bound
    bounds = record.at[bound], record.capacity_ah[bound] / rated, record.sd_ah[bound] / rated
    last = float(record.at[-1])
    paths = trend_paths(model, last, horizon, bounds).widened(widening)
    crossing = paths.crossing(limit.value)
    if record.unit == "cycle":
        ahead = scattered_paths(model, last, horizon, widening)
        crossing = _last_cycle(ahead, record, limit.value, rated)
    return FittedRecord(record, battery, limit, model, past, widening, paths, crossing, horizon)


def counts_little(fitted: FittedRecord, at: int) -> bool:
    """Whether the forecast is about the same without one check.

    Parameters
    ----------
    fitted : FittedRecord
    at : int
        Place of the check in the record.

    Returns
    -------
    bool
        By `LITTLE_SHARE`, `LITTLE_PROBABILITY` and `LITTLE_OF_HORIZON`.
    """
    sd_ah = fitted.record.sd_ah.copy()
    sd_ah[at] = LEFT_OUT_SD * fitted.rated
    without = fitted_record(replace(fitted.record, sd_ah=sd_ah), fitted.battery, fitted.wider)
    last = fitted.paths.last
    ends = [np.minimum(one.crossing_at, last + one.horizon) for one in (fitted, without)]
    moved = fitted.paths.value(last).mean() - without.paths.value(last).mean()
    later = np.median(ends[0]) - np.median(ends[1])
    return bool(
        abs(moved) <= LITTLE_SHARE
        and abs(fitted.below_now - without.below_now) <= LITTLE_PROBABILITY
        and abs(later) <= LITTLE_OF_HORIZON * fitted.horizon
    )


def _last_cycle(paths: Paths, record: CheckRecord, limit: float, rated: float) -> np.ndarray:
    """Last cycle at or above the limit along each path, scatter and recovery included."""
    above = record.at[record.capacity_ah >= limit * rated]
    seen = float(above[-1]) if above.size else float(record.at[0])
    found = paths.last_above(limit)
    never_again = ~(paths.fraction >= limit).any(axis=1)
    return np.where(never_again, seen, found)


def measured(record: CheckRecord) -> tuple[Interval | None, Moment | None]:
    """What the last finished check on a bench measured.

    Parameters
    ----------
    record : CheckRecord

    Returns
    -------
    Interval or None
        [Ah]; of several checks of its day the least (`place_of_last`), None without any.
    date or int or None
        Its day or cycle.
    """
    finished = np.flatnonzero(~record.lower_bound & ~record.in_service)
    place = place_of_last(record.at[finished].tolist(), record.capacity_ah[finished].tolist())
    if place is None:
        return None, None
    k = int(finished[place])
    found = interval_around(float(record.capacity_ah[k]), float(record.sd_ah[k]), least=0.0)
    return found, record.moment(record.at[k])
