"""State of charge at connection and now: every condition's account, weighed by its probability.

The numbers are a mixture. The sound battery's account comes from its own fit; each other condition
that is not too unlikely (`LEAST_MIXED`) adds its own split of the readings into charge, capacity
and charging law (`soc.account`), with the probability that `soc.conditions` gave it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import Any

import numpy as np
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtri

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import (
    Interval,
    weighted_interval_and_median,
    weighted_median,
)
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import NEARLY_FULL_SOC, data_for
from batterymodel.reference.conditions import Condition
from batterymodel.soc.account import LAW_NODES, Account, Weighted
from batterymodel.soc.conditions import ConditionState
from batterymodel.soc.evidence import SOC_GRID, Evidence, as_evidence, charge_factors
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.posterior import ChargePosterior
from batterymodel.taper.prior import present_capacity_ah, prior_for

SMOOTH_POINTS = 1.5
"""Width over which densities are smoothed, in points of `SOC_GRID` [-]: values stand on a grid of
charges (own choice, numerical)."""

SOC_SD = 0.02
"""Spread of states of charge that no model and no meter tells: how full *full* is differs from
battery to battery, and with what capacity was last counted [-], standard deviation (own choice,
settled on the calibration half of `tests.benchmarks.sick`)."""

FINE_POINTS = 2001
"""States of charge on which that spread is laid over a belief [-] (own choice, numerical)."""

LEAST_MIXED = 0.005
"""Probability below which a condition leaves the numbers as they are [0..1] (own choice)."""

WAITS_S = (60.0, 120.0, 180.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1800.0)
"""Times after the last reading at which the next one may be asked for [s] (own choice)."""

CURRENT_LIMITED_WAIT_S = 300.0
"""Time to the next reading where the current bounds the charge only [s] (own choice)."""

TELLING_SIGMAS = 3.0
"""A reading tells more when the shapes still believed differ by so many of its errors [-] (own
choice)."""


@dataclass(frozen=True)
class Unwidened:
    """A quantity as the model alone has it: its interval, and the median it is widened around."""

    interval: Interval
    middle: float

    def widened(self, by: float, most: float = np.inf) -> Interval:
        """The interval times a factor around the median, within 0 and ``most``.

        Parameters
        ----------
        by : float
            Factor [-].
        most : float
            What the quantity can be at most.

        Returns
        -------
        Interval
        """
        return self.interval.widened(self.middle, by, 0.0, most)

    def narrowed_value(self, value: float, by: float) -> float:
        """The value that comes to lie at ``value`` when all are widened around the median.

        Parameters
        ----------
        value : float
        by : float
            Factor [-].

        Returns
        -------
        float
        """
        return self.middle + (value - self.middle) / by


@dataclass(frozen=True)
class ChargeState:
    """What is known of the battery's charge after the last reading.

    ``soc_at_connection_values`` and ``weight``, shape ``(n,)``, are states of charge and their
    probabilities under all conditions; ``told`` and ``untold`` are what the current says, and
    what is known without it. ``evidence`` holds each piece by itself, for a sound
    battery, and ``combined`` the mixture of all. ``next_reading_s`` is the time from the last
    reading to the next that tells more [s].
    """

    evidence: tuple[Evidence, ...]
    combined: Evidence
    soc_at_connection: Interval
    soc_now: Interval
    charge_to_return_ah: Interval
    minutes_to_top_off: Interval
    soc_at_connection_values: FloatArray
    weight: FloatArray
    next_reading_s: float
    told: _Told
    untold: _Told
    unwidened: dict[str, Unwidened]
    widening: float = 1.0

    @property
    def judged_by(self) -> float:
        """Factor of the ranges that outcomes are judged by [-].

        `widening`, but never below 1: a record of mostly sound batteries narrows what is shown, and
        says nothing of the next sick one.
        """
        return max(self.widening, 1.0)

    def doubted(self, share: float) -> ChargeState:
        """The same where the current tells nothing, with this probability before all else is known.

        Other evidence that agrees with the current lowers the probability, by its mean likelihood
        ``Z`` over all states of charge and ``Z_told`` over those of the current::

            s' = s Z / (s Z + (1 - s) Z_told)

        Evidence that contradicts the current does not raise it: either may mislead.

        Parameters
        ----------
        share : float
            [0..1].

        Returns
        -------
        ChargeState
        """
        current, *others = self.evidence
        other = as_evidence("other", _product(tuple(others)))
        blind = share * float(np.trapezoid(other.likelihood, SOC_GRID))
        sighted = (1.0 - share) * other.support_from(current)
        left = min(blind / (blind + sighted), share)
        return replace(self, **_numbers(self.told.mixed(self.untold, left), self.widening))

    def probability_below(self, soc: float) -> float:
        """Probability that the state of charge at connection was below a value.

        Parameters
        ----------
        soc : float
            State of charge [0..1].

        Returns
        -------
        float
            Probability [0..1].
        """
        limit = self.unwidened["soc_at_connection"].narrowed_value(soc, self.judged_by)
        return float(self.weight[self.soc_at_connection_values < limit].sum())

    def current_below(self, soc: float) -> float:
        """The same probability by what the current alone says of a sound battery.

        Parameters
        ----------
        soc : float
            State of charge [0..1].

        Returns
        -------
        float
            Probability [0..1].
        """
        current = self.evidence[0]
        middle = weighted_median(SOC_GRID, current.density / current.density.sum())
        return current.below(middle + (soc - middle) / self.judged_by)


def charge_state(
    posterior: ChargePosterior | ChargeBounds,
    battery: Battery,
    others: tuple[Evidence, ...],
    conditions: ConditionState | None,
    sigma_a: float,
    on: date | None = None,
    widening: float = 1.0,
) -> ChargeState:
    """Combine the taper with other evidence into the state of charge and what follows from it.

    Parameters
    ----------
    posterior : ChargePosterior or ChargeBounds
        What the current says of a sound battery.
    battery : Battery
    others : tuple of Evidence
        Everything but the taper.
    conditions : ConditionState or None
        What else the battery may be; None: nothing else is weighed.
    sigma_a : float
        Error of one reading [A], to judge when another reading will tell more.
    on : date or None
        Day of the connection, for the age of battery and check.
    widening : float
        Factor of all ranges [-]; 1 leaves them as the model has them.

    Returns
    -------
    ChargeState

    Raises
    ------
    InputError
        Installed after the day of the connection, or a check that cannot be this battery's.
    """
    sound = Account(posterior, _factors(battery, conditions, on), _product(others))
    mixed = _mixed(sound, conditions)
    done_ah = (1.0 - NEARLY_FULL_SOC) * present_capacity_ah(battery, on)
    untold = _without_current(_product(others), battery, on, done_ah)
    told = _Told(
        _together([(a.at_connection, p) for a, p in mixed]),
        _together([(a.now, p) for a, p in mixed]),
        _together([(a.left_ah, p) for a, p in mixed]),
        _together([(a.minutes_until(done_ah), p) for a, p in mixed]),
    )
    told = replace(told.mixed(untold, _nothing_charging(conditions)), minutes=told.minutes)
    return ChargeState(
        evidence=(_alone(sound, battery), *others),
        next_reading_s=_next_reading_s(sound, sigma_a),
        told=told,
        untold=untold,
        widening=widening,
        **_numbers(told, widening),
    )


@dataclass(frozen=True)
class _Told:
    """State of charge at connection and now [0..1], charge to return [Ah], and time to go [min]."""

    at_connection: Weighted
    now: Weighted
    left_ah: Weighted
    minutes: Weighted

    def mixed(self, other: _Told, share: float) -> _Told:
        """The other account with this probability, this one else."""
        if share <= 0.0:
            return self
        both = zip(self._all, other._all, strict=True)
        return _Told(*(_together([(a, 1.0 - share), (b, share)]) for a, b in both))

    @property
    def _all(self) -> tuple[Weighted, ...]:
        return self.at_connection, self.now, self.left_ah, self.minutes


def _numbers(told: _Told, widening: float) -> dict[str, Any]:
    """Fields of `ChargeState` that follow from what is told; the one place where ranges widen."""
    at_connection, now = _blurred(told.at_connection), _blurred(told.now)
    unwidened = {
        "soc_at_connection": _unwidened(at_connection),
        "soc_now": _unwidened(now),
        "charge_to_return_ah": _unwidened(told.left_ah),
        "minutes_to_top_off": _unwidened(told.minutes),
    }
    most = {name: 1.0 if name.startswith("soc") else np.inf for name in unwidened}
    middle = unwidened["soc_at_connection"].middle
    return {
        "combined": as_evidence("combined", _density(_spread(at_connection, middle, widening))),
        **{name: found.widened(widening, most[name]) for name, found in unwidened.items()},
        "soc_at_connection_values": at_connection.values,
        "weight": at_connection.weight,
        "unwidened": unwidened,
    }


def _spread(soc: Weighted, middle: float, by: float) -> Weighted:
    """States of charge so many times as far from their middle, thrown together at the ends."""
    if by == 1.0:
        return soc
    return Weighted(np.clip(middle + by * (soc.values - middle), 0.0, 1.0), soc.weight)


def _blurred(soc: Weighted) -> Weighted:
    """States of charge with the spread `SOC_SD`, thrown back at empty and full."""
    share = _point_share(FINE_POINTS)
    density = _on_grid(soc, FINE_POINTS) / share
    spread = gaussian_filter1d(density, SOC_SD * (FINE_POINTS - 1), mode="mirror")
    return Weighted(np.linspace(0.0, 1.0, FINE_POINTS), share * spread)


def _factors(battery: Battery, conditions: ConditionState | None, on: date | None) -> FloatArray:
    """Charge factors of a sound battery; of any where no conditions are told apart."""
    if conditions is None:
        return charge_factors(battery, on)
    return conditions.accounts[Condition.SOUND].factors


def _mixed(sound: Account, conditions: ConditionState | None) -> list[tuple[Account, float]]:
    """Accounts that count, each with its probability; the sound battery's by its own fit."""
    if conditions is None:
        return [(sound, 1.0)]
    accounts = {**conditions.accounts, Condition.SOUND: sound}
    likely = [(a, conditions.probability[c]) for c, a in accounts.items()]
    return [(a, p) for a, p in likely if p >= LEAST_MIXED] or [(sound, 1.0)]


def _nothing_charging(conditions: ConditionState | None) -> float:
    """Probability that counts of a battery that takes nothing [0..1]."""
    if conditions is None:
        return 0.0
    probability = conditions.probability.get(Condition.NOTHING_CHARGING, 0.0)
    return probability if probability >= LEAST_MIXED else 0.0


def _without_current(
    others: FloatArray, battery: Battery, on: date | None, done_ah: float
) -> _Told:
    """What is known without the current: all states of charge, by the other evidence."""
    ah = present_capacity_ah(battery, on) / data_for(battery.chemistry).taper.efficiency
    weight = others * _point_share(SOC_GRID.size)
    soc = Weighted(SOC_GRID, weight)
    left_ah = ah * (1.0 - SOC_GRID)
    return _Told(
        soc, soc, Weighted(left_ah, weight), _believed_minutes(left_ah, weight, battery, done_ah)
    )


def _believed_minutes(
    left_ah: FloatArray, weight: FloatArray, battery: Battery, done_ah: float
) -> Weighted:
    """Time until so much is left by the belief in the taper's time constant alone [min].

    ``tau ln(left / done)`` of an exponential taper that no supply limits.
    """
    prior = prior_for(battery, None)
    share = (np.arange(LAW_NODES) + 0.5) / LAW_NODES
    tau_min = np.exp(prior.log_time_s + prior.log_time_sd * ndtri(share)) / 60.0
    minutes = np.outer(tau_min, np.log(np.maximum(left_ah / done_ah, 1.0)))
    return Weighted(minutes.ravel(), np.tile(weight, LAW_NODES))


def _together(parts: list[tuple[Weighted, float]]) -> Weighted:
    """Mixture of weighted values, its weights summing to 1."""
    total = sum(p for _, p in parts)
    scaled = [part.scaled(p / total) for part, p in parts]
    return Weighted(
        np.concatenate([s.values for s in scaled]), np.concatenate([s.weight for s in scaled])
    )


def _unwidened(found: Weighted) -> Unwidened:
    interval, middle = weighted_interval_and_median(found.values, found.weight)
    return Unwidened(interval, min(max(middle, interval.low), interval.high))


def _density(found: Weighted) -> FloatArray:
    """Density over `SOC_GRID`, smoothed, shape ``(s,)``."""
    density = _on_grid(found, SOC_GRID.size) / _point_share(SOC_GRID.size)
    return gaussian_filter1d(density, SMOOTH_POINTS, mode="nearest")


def _point_share(points: int) -> FloatArray:
    """Part of its bin that each of so many even points has from 0 to 1: a half at both ends."""
    share = np.ones(points)
    share[[0, -1]] = 0.5
    return share


def _on_grid(found: Weighted, points: int) -> FloatArray:
    """Weights on so many even points from 0 to 1; each value is shared by two neighbours."""
    place = np.clip(found.values, 0.0, 1.0) * (points - 1)
    low = np.minimum(place.astype(int), points - 2)
    high_part = found.weight * (place - low)
    low_share = np.bincount(low, found.weight - high_part, points)
    return np.asarray(low_share + np.bincount(low + 1, high_part, points), dtype=float)


def _alone(sound: Account, battery: Battery) -> Evidence:
    """What the current alone says of a sound battery."""
    bare = Account(sound.posterior, sound.factors, np.ones(SOC_GRID.size))
    remark = data_for(battery.chemistry).taper_remark
    return as_evidence("taper", _density(bare.at_connection), remark)


def _product(evidence: tuple[Evidence, ...]) -> FloatArray:
    """Product of the likelihoods over `SOC_GRID`; 1 everywhere without any."""
    product = np.ones(SOC_GRID.size)
    for piece in evidence:
        product = product * piece.likelihood
    return product


def _next_reading_s(account: Account, sigma_a: float) -> float:
    """Time from the last reading until the shapes still believed differ enough to tell [s]."""
    posterior = account.posterior
    if isinstance(posterior, ChargeBounds) or posterior.limited_throughout:
        return CURRENT_LIMITED_WAIT_S
    node, at, weight = account.pair_weight
    times = posterior.window_end_s + np.array([0.0, *WAITS_S])
    current = posterior.current_per_ah(times)
    fall = current[:, :1] - current[:, 1:]
    nodes, charge = current.shape[0], posterior.charge_ah[at]
    mean = np.bincount(node, weight * charge, nodes) @ fall
    square = np.bincount(node, weight * charge**2, nodes) @ fall**2
    telling = square - mean**2 > (TELLING_SIGMAS * sigma_a) ** 2
    return float(WAITS_S[np.argmax(telling)] if telling.any() else WAITS_S[-1])
