"""State of charge at connection and now: all evidence combined.

The product of the evidence, with a flat prior, is the combination. It is taken twice, for two uses:

- `ChargeState.combined` is the product on `SOC_GRID`, where each piece of evidence is one curve
  with everything else averaged out. Charts draw it; no other number follows from it.
- Every number comes from `ChargeState.weight`, the same product over charge to return and charge
  factor. It keeps the two apart, which charge left, minutes to come and the state of charge now
  need; and it is not bound to the grid's steps.

They agree closely and not exactly: for each charge factor the one is even in state of charge and
the other in charge, and only the second can lie between grid points or beyond empty.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from batterymodel.basis.arrays import FloatArray, IntArray
from batterymodel.basis.intervals import Interval, weighted_interval
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import NEARLY_FULL_SOC
from batterymodel.soc.evidence import (
    BEYOND_EMPTY,
    SOC_GRID,
    Evidence,
    as_evidence,
    charge_factors,
    connection_tail,
    log_normal_nodes,
    taper_evidence,
)
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.posterior import ChargePosterior
from batterymodel.taper.prior import present_capacity_ah

WAITS_S = (60.0, 120.0, 180.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1800.0)
"""Times after the last reading at which the next one may be asked for [s] (own choice)."""

CURRENT_LIMITED_WAIT_S = 300.0
"""Time to the next reading where the current bounds the charge only [s] (own choice)."""

TELLING_SIGMAS = 3.0
"""A reading tells more when the shapes still believed differ by so many of its errors [-] (own
choice)."""

NOW_BINS = 400
"""Bins of the charge left (own choice, numerical)."""

NOW_RANGE = 1e-6
"""Least charge left over the most that bins reach to [-] (own choice, numerical)."""


@dataclass(frozen=True)
class ChargeState:
    """What is known of the battery's charge after the last reading.

    ``soc_at_connection_values`` and ``weight``, shape ``(q, f)``, are states of charge by charge
    to return and charge factor, and their probabilities; all intervals but ``combined``'s curve
    follow from them. ``next_reading_s`` is the time from the last reading to the next that tells
    more [s].
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

    def probability_below(self, soc: float) -> float:
        """Probability that the state of charge at connection was below a value [0..1]."""
        return float(self.weight[self.soc_at_connection_values < soc].sum())


def charge_state(
    posterior: ChargePosterior | ChargeBounds,
    battery: Battery,
    others: tuple[Evidence, ...],
    sigma_a: float,
    on: date | None = None,
) -> ChargeState:
    """Combine the taper with other evidence into the state of charge and what follows from it.

    Parameters
    ----------
    posterior : ChargePosterior or ChargeBounds
    battery : Battery
    others : tuple of Evidence
        Everything but the taper.
    sigma_a : float
        Error of one reading [A], to judge when another reading will tell more.
    on : date or None
        Day of the connection, for the age of battery and check.

    Returns
    -------
    ChargeState
    """
    evidence = (taper_evidence(posterior, battery, on), *others)
    other = _product(others)
    node, at, taper_weight = posterior.pairs()
    sums = np.bincount(at, taper_weight, minlength=posterior.charge_ah.size)
    by_charge = np.asarray(sums, dtype=float)
    factors = charge_factors(battery, *connection_tail(posterior), on)
    soc, support = _supported_soc(posterior.charge_ah, by_charge, factors, other)
    weight = by_charge[:, None] * support
    pair_weight = taper_weight * support.mean(axis=1)[at]
    pair_weight = pair_weight / pair_weight.sum()
    left = posterior.charge_at_ah(posterior.window_end_s, node, at)
    now_factors = charge_factors(battery, posterior.tail_log, posterior.tail_log_sd, on)
    tail = log_normal_nodes(posterior.tail_log, posterior.tail_log_sd)
    tail_weight = np.outer(pair_weight, np.full(tail.size, 1.0 / tail.size))
    done_ah = (1.0 - NEARLY_FULL_SOC) * present_capacity_ah(battery, on)
    minutes = posterior.minutes_until_ah(done_ah, node, at)
    return ChargeState(
        evidence=evidence,
        combined=as_evidence("combined", _product(evidence)),
        soc_at_connection=weighted_interval(soc, weight / weight.sum()),
        soc_now=_soc_now(left, taper_weight, support[at], now_factors),
        charge_to_return_ah=weighted_interval(np.outer(left, tail), tail_weight),
        minutes_to_top_off=weighted_interval(np.outer(minutes, tail), tail_weight),
        soc_at_connection_values=soc,
        weight=weight / weight.sum(),
        next_reading_s=_next_reading_s(posterior, node, at, pair_weight, sigma_a),
    )


def _product(evidence: tuple[Evidence, ...]) -> FloatArray:
    """Product of the likelihoods over `SOC_GRID`; 1 everywhere without any."""
    product = np.ones(SOC_GRID.size)
    for piece in evidence:
        product = product * piece.likelihood
    return product


def _supported_soc(
    charge_ah: FloatArray, weight: FloatArray, factors: FloatArray, other: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """State of charge of each charge and factor, shape ``(q, f)``, and the other evidence there.

    Where only more charge than the battery holds explains the readings, it counts as empty.
    """
    soc = 1.0 - charge_ah[:, None] * factors[None, :]
    support = np.interp(soc, SOC_GRID, other, left=0.0)
    if (weight @ support).mean() < BEYOND_EMPTY * weight.sum():
        soc = np.maximum(soc, 0.0)
        support = np.interp(soc, SOC_GRID, other)
    return soc, support


def _soc_now(
    left_ah: FloatArray, weight: FloatArray, support: FloatArray, factors: FloatArray
) -> Interval:
    """State of charge at the last reading, from pairs ``(p,)`` and their support ``(p, f)``."""
    most = max(float(left_ah.max()), 1e-9) * (1.0 + 1e-9)
    least = max(float(left_ah.min()), NOW_RANGE * most)
    edges = np.geomspace(least, most, NOW_BINS + 1)
    bins = np.clip(np.searchsorted(edges, left_ah, side="right") - 1, 0, NOW_BINS - 1)
    sums = [np.bincount(bins, weight * support[:, f], NOW_BINS) for f in range(factors.size)]
    shares = np.array(sums)
    middle = np.sqrt(edges[:-1] * edges[1:])
    soc = np.clip(1.0 - factors[:, None] * middle[None, :], 0.0, 1.0)
    return weighted_interval(soc, shares / shares.sum())


def _next_reading_s(
    posterior: ChargePosterior | ChargeBounds,
    node: IntArray,
    at: IntArray,
    weight: FloatArray,
    sigma_a: float,
) -> float:
    """Time from the last reading until the shapes still believed differ enough to tell [s]."""
    if isinstance(posterior, ChargeBounds) or posterior.limited_throughout:
        return CURRENT_LIMITED_WAIT_S
    times = posterior.window_end_s + np.array([0.0, *WAITS_S])
    current = posterior.current_per_ah(times)
    fall = current[:, :1] - current[:, 1:]
    nodes, charge = current.shape[0], posterior.charge_ah[at]
    mean = np.bincount(node, weight * charge, nodes) @ fall
    square = np.bincount(node, weight * charge**2, nodes) @ fall**2
    telling = square - mean**2 > (TELLING_SIGMAS * sigma_a) ** 2
    return float(WAITS_S[np.argmax(telling)] if telling.any() else WAITS_S[-1])
