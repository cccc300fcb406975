"""Capacity to count on in service: what a battery may still hold, from its record and its age.

The plate says what a new battery held. Age, neglect and the last capacity check say what may be
left. The belief is a set of equally likely capacities, skewed towards little.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import lru_cache

import numpy as np
from scipy.optimize import brentq
from scipy.special import gammaincinv, ndtri

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.inputs.entry_faults import EntryError, fixed
from batterymodel.inputs.kinds import KindCheck
from batterymodel.inputs.records import Battery, CapacityCheck, Chemistry
from batterymodel.reference.capacity import REPEAT_REL_SD, FadePrior, capacity_data_for
from batterymodel.reference.capacity_of_kind import start_and_loss

CHECK_RANGE = (0.1, 1.6)
"""Capacity checks that are believed, over the rated capacity [-] (own choice: a tenfold slip of
either is outside)."""

LEAST_SHARE, MOST_SHARE = 0.05, 1.3
"""Capacities a battery may have, over its plate [-] (own choice). A check may have found more: up
to `CHECK_RANGE`."""

WORN_SHARE = 0.8
"""Capacity over the plate below which a battery counts as worn [-]: the replacement criterion of
stationary lead-acid, FIST 3-6 (verified)."""

NEGLECTED = 0.12
"""Share of batteries that lose capacity faster than their chemistry's belief: left discharged,
overcharged, run hot [-] (own choice)."""

NEGLECTED_FACTOR = 4.5
"""How much faster those lose it [-] (own choice: with `NEGLECTED`, one lead-acid battery in
twenty of unknown age holds 52 to 55 % of its plate or less)."""

UNKNOWN_AGE_MEAN_YEARS = 2.5
"""Mean age of a battery whose installation is not on record [a], exponential (own choice)."""

OLDEST_YEARS = 30.0
"""Age beyond which a battery counts as that old [a] (own choice)."""

FADE_NODES, ERROR_NODES, AGE_NODES = 60, 15, 15
"""Values of the loss per year of one group, finer towards the great ones, and equally likely values
of errors and of an unknown age (own choice, numerical)."""

CAPACITY_NODES = 31
"""Equally likely capacities handed on (own choice, numerical)."""


@dataclass(frozen=True)
class CapacityBelief:
    """What a battery may hold: capacities [Ah], shape ``(n,)``, from low to high, with their
    weights, shape ``(n,)``, which sum to 1; ``plate_ah`` is the rated capacity.
    """

    capacity_ah: FloatArray
    weight: FloatArray
    plate_ah: float

    @property
    def mean_ah(self) -> float:
        """Mean capacity [Ah]."""
        return float(self.weight @ self.capacity_ah)

    @property
    def median_ah(self) -> float:
        """Median capacity [Ah]."""
        return float(self.quantile_ah(np.array([0.5]))[0])

    @property
    def rel_sd(self) -> float:
        """Standard deviation of the capacity over its mean [-]."""
        square = float(self.weight @ (self.capacity_ah - self.mean_ah) ** 2)
        return float(np.sqrt(square)) / self.mean_ah

    @property
    def worn(self) -> float:
        """Probability that the battery holds less than `WORN_SHARE` of its plate [0..1]."""
        return float(self.weight[self._is_worn].sum())

    def quantile_ah(self, probability: FloatArray) -> FloatArray:
        """Capacities that are not reached with these probabilities.

        Parameters
        ----------
        probability : ndarray, any shape
            Probabilities [0..1].

        Returns
        -------
        ndarray
            Capacities [Ah], shape of ``probability``, interpolated between the middles of the
            steps.
        """
        middle = np.cumsum(self.weight) - 0.5 * self.weight
        return np.interp(probability, middle, self.capacity_ah)

    def nodes_ah(self, count: int = CAPACITY_NODES) -> FloatArray:
        """Equally likely capacities, the quantiles of ``(k + 1/2) / count``.

        Parameters
        ----------
        count : int, optional

        Returns
        -------
        ndarray, shape (count,)
            From low to high [Ah].
        """
        return self.quantile_ah((np.arange(count) + 0.5) / count)

    def sound_part(self) -> CapacityBelief | None:
        """The belief given that the battery is not worn; None where no part of it is left."""
        return self._part(~self._is_worn)

    def worn_part(self) -> CapacityBelief | None:
        """The belief given that the battery is worn; None where no part of it is left."""
        return self._part(self._is_worn)

    @property
    def _is_worn(self) -> np.ndarray:
        return self.capacity_ah < WORN_SHARE * self.plate_ah

    def _part(self, kept: np.ndarray) -> CapacityBelief | None:
        weight = self.weight[kept]
        if not weight.sum() > 0.0:
            return None
        return CapacityBelief(self.capacity_ah[kept], weight / weight.sum(), self.plate_ah)


def capacity_belief(battery: Battery, on: date | None = None) -> CapacityBelief:
    """What a battery may hold on a day, from its plate, its age and its last capacity check.

    Without a check ``C = plate * start * exp(-r t)``: the start of new batteries (log-normal), a
    loss ``r`` per year that is gamma distributed with the chemistry's mean and spread, and
    `NEGLECTED_FACTOR` times as much in a share `NEGLECTED`; ``t`` is the age, or exponential where
    no installation is on record. With a check ``C = check * e * exp(-r t)``, ``e`` being its error
    (log-normal, mean 1) and ``t`` the time since. Bench checks of other batteries of the kind weigh
    starts and losses (`capacity_of_kind.start_and_loss`). All is held within `LEAST_SHARE` and
    `MOST_SHARE` of the plate (a check: `CHECK_RANGE`).

    Parameters
    ----------
    battery : Battery
    on : date or None
        Day of the connection; None: the day of the check, or an unknown age.

    Returns
    -------
    CapacityBelief

    Raises
    ------
    InputError
        Installed after the day of the connection, or a check that cannot be this battery's.

    Notes
    -----
    The mean is never above that of an exact check of the same value: where the lower bound would
    raise it, all capacities are lowered until it is not. Loss per year and start:
    `reference.capacity.FadePrior` (common practice, no source); the rest is own choice.
    """
    check_dates(battery, on)
    check_capacity(battery)
    check, plate = battery.capacity_check, battery.rated_capacity_ah
    of_kind = battery.kind.checks if battery.kind else ()
    return _belief_of(battery.chemistry, plate, check, battery.installed_on, on, of_kind)


@lru_cache(maxsize=64)
def _belief_of(
    chemistry: Chemistry,
    plate_ah: float,
    check: CapacityCheck | None,
    installed_on: date | None,
    on: date | None,
    of_kind: tuple[KindCheck, ...],
) -> CapacityBelief:
    fade = capacity_data_for(chemistry).fade
    if check is None:
        return _unchecked(fade, plate_ah, installed_on, on, of_kind)
    return _checked(fade, plate_ah, check, on, of_kind)


def check_dates(battery: Battery, on: date | None) -> None:
    """Refuse a battery that was connected before it was installed or last checked.

    Parameters
    ----------
    battery : Battery
    on : date or None
        Day of the connection; None: nothing is refused.

    Raises
    ------
    InputError
        Installed, checked, or its last state known, after the day of the connection; checked before
        it was installed.
    """
    installed = battery.installed_on
    if installed is not None and on is not None and installed > on:
        what = f"installed on {installed}, after the connection on"
        right = f"{on}; an installation on or before that day would be right"
        raise _refused_day(battery, "installed_on", what, right)
    for what, key, told in (
        ("capacity check", "capacity_check.on", battery.capacity_check),
        ("last known state", "last_known.on", battery.last_known),
    ):
        if told is not None and on is not None and told.on > on:
            right = f"is later than the connection on {on}; the last one before it would be right"
            raise _refused_day(battery, key, f"{what} of {told.on}", right)
    check = battery.capacity_check
    if installed is not None and check is not None and check.on < installed:
        right = f"is older than its installation on {installed}; leave out what another battery was"
        raise _refused_day(battery, "capacity_check.on", f"capacity check of {check.on}", right)


def _refused_day(battery: Battery, key: str, what: str, right: str) -> EntryError:
    words = f"{what} {right}"
    return EntryError("", key, fixed(words), sentence=f"battery {battery.tail}: {words}")


def check_capacity(battery: Battery) -> None:
    """Refuse a last capacity check that cannot be that of the plate.

    Parameters
    ----------
    battery : Battery

    Raises
    ------
    InputError
        Check over rated capacity outside `CHECK_RANGE`.
    """
    check, rated_ah = battery.capacity_check, battery.rated_capacity_ah
    if check is not None:
        check_measured(check.capacity_ah, rated_ah, "capacity_check.capacity_ah")


def check_measured(capacity_ah: float, rated_ah: float, key: str = "capacity_ah") -> None:
    """Refuse a measured capacity that cannot be that of the plate.

    Parameters
    ----------
    capacity_ah : float
        As a capacity check found it [Ah].
    rated_ah : float
        Rated capacity [Ah].
    key : str, optional
        Of the entry it was told in.

    Raises
    ------
    InputError
        One over the other outside `CHECK_RANGE`.
    """
    low, high = (share * rated_ah for share in CHECK_RANGE)
    if not low <= capacity_ah <= high:
        problem = (
            f"{capacity_ah:g} Ah cannot be that of a battery rated {rated_ah:g} Ah; "
            f"{low:.3g} to {high:.3g} Ah would be right"
        )
        raise EntryError("", key, fixed(problem), name="capacity check")


def _unchecked(
    fade: FadePrior,
    plate_ah: float,
    installed_on: date | None,
    on: date | None,
    of_kind: tuple[KindCheck, ...],
) -> CapacityBelief:
    start = _starts(fade)
    age, age_weight = _age_years(installed_on, on)
    loss, loss_weight = _loss_per_year(fade)
    left = np.exp(-age[:, None] * loss[None, :])
    shares = start[:, None, None] * left[None, :, :]
    weight = np.broadcast_to(np.outer(age_weight, loss_weight), shares.shape) / start.size
    if of_kind:
        weight = age_weight[:, None] * _start_and_loss(fade, of_kind)[:, None, :]
    held = np.clip(shares, LEAST_SHARE, MOST_SHARE)
    return _belief(held * plate_ah, weight, plate_ah)


def _checked(
    fade: FadePrior,
    plate_ah: float,
    check: CapacityCheck,
    on: date | None,
    of_kind: tuple[KindCheck, ...],
) -> CapacityBelief:
    years = _years(check.on, on) if on is not None else 0.0
    loss, loss_weight = _loss_per_year(fade)
    if of_kind:
        loss_weight = _start_and_loss(fade, of_kind).sum(axis=0)
    left = check.capacity_ah * np.exp(-years * loss)
    bounds = (LEAST_SHARE * plate_ah, CHECK_RANGE[1] * plate_ah)
    most = float(loss_weight @ np.clip(left, *bounds))
    spread = float(np.hypot(check.sd_ah / check.capacity_ah, REPEAT_REL_SD))
    error = _log_normal_mean_one(spread)
    weight = np.outer(np.full(error.size, 1.0 / error.size), loss_weight)
    capacity = _held(np.outer(error, left), weight, bounds, most)
    return _belief(capacity, weight, plate_ah)


def _starts(fade: FadePrior) -> FloatArray:
    """Equally likely capacities of new batteries over their plate, shape ``(s,)``."""
    return _log_normal_mean_one(fade.start_sd / fade.start) * fade.start


def _held(
    capacity_ah: FloatArray, weight: FloatArray, bounds_ah: tuple[float, float], most_ah: float
) -> FloatArray:
    """Capacities inside their bounds, all lowered alike where their mean were above the most."""

    def excess(log_scale: float) -> float:
        held = np.clip(capacity_ah * np.exp(log_scale), *bounds_ah)
        return float((weight * held).sum()) - most_ah

    if excess(0.0) <= 0.0:
        return np.clip(capacity_ah, *bounds_ah)
    lowest = float(np.log(bounds_ah[0] / capacity_ah.max()))
    if excess(lowest) >= 0.0:
        return np.full_like(capacity_ah, bounds_ah[0])
    log_scale = brentq(excess, lowest, 0.0)
    return np.clip(capacity_ah * np.exp(log_scale), *bounds_ah)


def _belief(capacity_ah: FloatArray, weight: FloatArray, plate_ah: float) -> CapacityBelief:
    order = np.argsort(capacity_ah, axis=None, kind="stable")
    return CapacityBelief(capacity_ah.ravel()[order], weight.ravel()[order], plate_ah)


def _start_and_loss(fade: FadePrior, of_kind: tuple[KindCheck, ...]) -> FloatArray:
    """Weights of `_starts` and `_loss_per_year` by what others of the kind tell, ``(s, f)``."""
    usual, weight = _usual_loss_per_year(fade)
    neglected = (NEGLECTED, NEGLECTED_FACTOR)
    return start_and_loss(_starts(fade), usual, weight, neglected, of_kind)


def _loss_per_year(fade: FadePrior) -> tuple[FloatArray, FloatArray]:
    """Losses per year [1/a] with their weights, shape ``(f,)``; those of neglect come last."""
    usual, each = _usual_loss_per_year(fade)
    losses = np.concatenate([usual, NEGLECTED_FACTOR * usual])
    return losses, np.concatenate([(1.0 - NEGLECTED) * each, NEGLECTED * each])


def _usual_loss_per_year(fade: FadePrior) -> tuple[FloatArray, FloatArray]:
    """Usual losses per year [1/a] from few to many with their weights, shape ``(f,)``."""
    shape = (fade.per_year / fade.per_year_sd) ** 2
    edges = 1.0 - np.linspace(1.0, 0.0, FADE_NODES + 1) ** 2
    each, middle = np.diff(edges), 0.5 * (edges[1:] + edges[:-1])
    usual = gammaincinv(shape, middle) * fade.per_year_sd**2 / fade.per_year
    return np.asarray(usual, dtype=float), each


def _age_years(installed_on: date | None, on: date | None) -> tuple[FloatArray, FloatArray]:
    """Ages [a] with their weights: one where the installation is on record."""
    if installed_on is not None and on is not None:
        return np.array([_years(installed_on, on)]), np.ones(1)
    ages = -UNKNOWN_AGE_MEAN_YEARS * np.log1p(-_levels(AGE_NODES))
    return ages, np.full(AGE_NODES, 1.0 / AGE_NODES)


def _years(since: date, on: date) -> float:
    """Years from a day to another [a]: none where the other is earlier, `OLDEST_YEARS` at most."""
    return min(max((on - since).days, 0) / DAYS_PER_YEAR, OLDEST_YEARS)


def _log_normal_mean_one(rel_sd: float) -> FloatArray:
    """Equally likely values of a log-normal quantity of mean 1, from low to high."""
    log_sd = float(np.sqrt(np.log1p(rel_sd**2)))
    values = np.exp(log_sd * ndtri(_levels(ERROR_NODES)))
    return values / values.mean()


def _levels(count: int) -> FloatArray:
    return (np.arange(count) + 0.5) / count
