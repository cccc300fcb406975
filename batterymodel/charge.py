"""State of charge at connection and now, from independent evidence on one grid.

Every piece of evidence is a likelihood over the state of charge at connection, on the grid
`SOC_GRID`. Their product, with a flat prior, is the combination.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import ndtri

from batterymodel.chargeband import ChargeBand, charge_band
from batterymodel.chemistry import NEARLY_FULL_SOC, data_for
from batterymodel.posterior import ChargePosterior, charge_posterior
from batterymodel.records import Battery
from batterymodel.taper import TaperFit
from batterymodel.taperprior import present_capacity_ah
from batterymodel.temperature import rest_voltage_v

SOC_GRID = np.linspace(0.0, 1.0, 401)
"""States of charge at which evidence is held [0..1]."""

LEVEL = 0.90
"""Probability inside every interval the tool shows."""

LEVEL_SD = float(ndtri(0.5 + LEVEL / 2.0))
"""Half the width of that interval in standard deviations of a normal quantity."""

REST_VOLTAGE_METER_SD_V = 0.05
"""Error of a rest voltage read at the battery [V] (common practice, no source)."""

MISLEADING = 0.05
"""Share of cases in which a piece of evidence is taken to say nothing (own choice): rest voltage
with surface charge, a record that missed a flight."""

LOSS_PER_DAY = 0.01
"""State of charge a parked battery may lose per day, standard deviation (common practice)."""

BEYOND_EMPTY = 1e-6
"""Share of the taper's likelihood below which no charge the battery can hold explains it."""

WAITS_S = (60.0, 120.0, 180.0, 300.0, 450.0, 600.0, 900.0, 1200.0, 1800.0)
"""Times after the last reading at which the next one may be asked for [s]."""

AT_LIMIT_WAIT_S = 300.0
NOW_BINS = 400
NOW_RANGE = 1e-6
_FACTOR_NODES = 15


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence: a likelihood over `SOC_GRID`, its highest value 1."""

    name: str
    likelihood: np.ndarray
    remark: str | None = None

    @property
    def density(self) -> np.ndarray:
        """As a probability density over the state of charge, alone."""
        return self.likelihood / np.trapezoid(self.likelihood, SOC_GRID)

    @property
    def mean(self) -> float:
        """Mean state of charge of this evidence alone [0..1]."""
        return float(np.trapezoid(self.density * SOC_GRID, SOC_GRID))

    def support_from(self, other: Evidence) -> float:
        """Mean likelihood of this evidence (peak 1) over the other's density: 1 is agreement."""
        return float(np.trapezoid(other.density * self.likelihood, SOC_GRID))


@dataclass(frozen=True)
class Spread:
    """A quantity with its mean and the central interval at `level`."""

    mean: float
    low: float
    high: float
    level: float = LEVEL


@dataclass(frozen=True)
class ChargeState:
    """What is known of the battery's charge after the last reading.

    ``soc_at_connection_values`` and ``weight``, shape ``(q, f)``, are states of charge by charge
    to return and charge factor, and their probabilities.
    """

    evidence: tuple[Evidence, ...]
    combined: Evidence
    soc_at_connection: Spread
    soc_now: Spread
    charge_to_return_ah: Spread
    minutes_to_top_off: Spread
    soc_at_connection_values: np.ndarray
    weight: np.ndarray
    next_reading_s: float

    def probability_below(self, soc: float) -> float:
        """Probability that the state of charge at connection was below a value [0..1]."""
        return float(self.weight[self.soc_at_connection_values < soc].sum())


def rest_voltage_evidence(battery: Battery, rest_voltage: float, temp_c: float | None) -> Evidence:
    """Likelihood of a rest voltage [V] read at a battery temperature [degC] (25 if unknown).

    Normal around the chemistry's curve, with the spread between batteries and the meter's error
    added in quadrature, and a share `MISLEADING` that says nothing. A voltage above that of a full
    battery is surface charge and counts as full.
    """
    data = data_for(battery.chemistry)
    expected = rest_voltage_v(battery, SOC_GRID, 25.0 if temp_c is None else temp_c)
    sd = np.hypot(battery.cells * data.rest.sd_v, REST_VOLTAGE_METER_SD_V)
    read = min(rest_voltage, float(expected[-1]))
    likelihood = np.exp(-0.5 * ((expected - read) / sd) ** 2)
    floor = _misleading_level(sd, float(np.ptp(expected)))
    return _evidence("rest voltage", floor + likelihood, data.rest_voltage_remark)


def last_known_evidence(battery: Battery, on: date) -> Evidence | None:
    """Likelihood from the record's last known state; a parked battery can only have lost."""
    known = battery.last_known
    if known is None:
        return None
    days = max((on - known.on).days, 0)
    below = np.hypot(known.sd, LOSS_PER_DAY * days)
    sd = np.where(known.state_of_charge > SOC_GRID, below, known.sd)
    likelihood = np.exp(-0.5 * ((SOC_GRID - known.state_of_charge) / sd) ** 2)
    floor = _misleading_level(float(known.sd), 1.0)
    return _evidence("last known state", floor + likelihood, f"{days} days old")


def charge_likelihood(fit: TaperFit, battery: Battery) -> ChargePosterior | ChargeBand:
    """What the current says of the charge to return, by how the chemistry tapers."""
    if data_for(battery.chemistry).taper.exponential:
        return charge_posterior(fit)
    return charge_band(fit)


def taper_evidence(posterior: ChargePosterior | ChargeBand, battery: Battery) -> Evidence:
    """Likelihood of the taper over the state of charge: charge to return through the factor."""
    factors = charge_factors(battery, *connection_tail(posterior))
    wanted = (1.0 - SOC_GRID)[:, None] / factors[None, :]
    total = np.interp(wanted, posterior.charge_ah, posterior.of_charge).mean(axis=1)
    if total.max() < BEYOND_EMPTY:
        total[0] = 1.0
    return _evidence("taper", total, data_for(battery.chemistry).taper_remark)


def charge_factors(battery: Battery, tail_log: float, tail_log_sd: float) -> np.ndarray:
    """State of charge per ampere-hour returned [1/Ah]: equally likely values, shape ``(f,)``.

    Log-normal: efficiency of the charge taken above the floor over the capacity to count on, and
    what the two exponentials miss of that charge.
    """
    taper = data_for(battery.chemistry).taper
    capacity, capacity_sd = present_capacity_ah(battery)
    parts = (taper.efficiency_sd / taper.efficiency, capacity_sd / capacity, tail_log_sd)
    spread = float(np.linalg.norm(parts))
    return taper.efficiency / capacity * log_normal_nodes(tail_log, spread)


def log_normal_nodes(log: float, log_sd: float) -> np.ndarray:
    """Equally likely values of a log-normal quantity, from low to high, shape ``(f,)``."""
    z = ndtri((np.arange(_FACTOR_NODES) + 0.5) / _FACTOR_NODES)
    return np.exp(log + log_sd * z)


def connection_tail(posterior: ChargePosterior | ChargeBand) -> tuple[float, float]:
    """Shift and spread [ln] of the charge to return at connection for what its tail misses.

    What was delivered during the readings was measured; only the part still left is in doubt.
    """
    node, at, weight = posterior.pairs()
    left = posterior.charge_at_ah(posterior.window_end_s, node, at)
    share = float(weight @ left / (weight @ posterior.charge_ah[at]))
    return share * posterior.tail_log, share * posterior.tail_log_sd


def charge_state(
    posterior: ChargePosterior | ChargeBand,
    battery: Battery,
    others: tuple[Evidence, ...],
    sigma_a: float,
) -> ChargeState:
    """Combine the taper with other evidence into the state of charge and what follows from it.

    Parameters
    ----------
    posterior : ChargePosterior or ChargeBand
    battery : Battery
    others : tuple of Evidence
        Everything but the taper.
    sigma_a : float
        Error of one reading [A], to judge when another reading will tell more.
    """
    evidence = (taper_evidence(posterior, battery), *others)
    other = np.prod([e.likelihood for e in others], axis=0) if others else np.ones(SOC_GRID.size)
    node, at, taper_weight = posterior.pairs()
    by_charge = np.bincount(at, taper_weight, minlength=posterior.charge_ah.size)
    factors = charge_factors(battery, *connection_tail(posterior))
    soc, support = _supported_soc(posterior.charge_ah, by_charge, factors, other)
    weight = by_charge[:, None] * support
    pair_weight = taper_weight * support.mean(axis=1)[at]
    pair_weight = pair_weight / pair_weight.sum()
    left = posterior.charge_at_ah(posterior.window_end_s, node, at)
    now_factors = charge_factors(battery, posterior.tail_log, posterior.tail_log_sd)
    tail = log_normal_nodes(posterior.tail_log, posterior.tail_log_sd)
    tail_weight = np.outer(pair_weight, np.full(tail.size, 1.0 / tail.size))
    done_ah = (1.0 - NEARLY_FULL_SOC) * present_capacity_ah(battery)[0]
    minutes = posterior.minutes_until_ah(done_ah, node, at)
    return ChargeState(
        evidence=evidence,
        combined=_evidence("combined", np.prod([e.likelihood for e in evidence], axis=0)),
        soc_at_connection=spread_of(soc, weight / weight.sum()),
        soc_now=_soc_now(left, taper_weight, support[at], now_factors),
        charge_to_return_ah=spread_of(np.outer(left, tail), tail_weight),
        minutes_to_top_off=spread_of(np.outer(minutes, tail), tail_weight),
        soc_at_connection_values=soc,
        weight=weight / weight.sum(),
        next_reading_s=_next_reading_s(posterior, node, at, pair_weight, sigma_a),
    )


def _supported_soc(
    charge_ah: np.ndarray, weight: np.ndarray, factors: np.ndarray, other: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
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
    left_ah: np.ndarray, weight: np.ndarray, support: np.ndarray, factors: np.ndarray
) -> Spread:
    """State of charge at the last reading, from pairs ``(p,)`` and their support ``(p, f)``."""
    most = max(float(left_ah.max()), 1e-9) * (1.0 + 1e-9)
    least = max(float(left_ah.min()), NOW_RANGE * most)
    edges = np.geomspace(least, most, NOW_BINS + 1)
    bins = np.clip(np.searchsorted(edges, left_ah, side="right") - 1, 0, NOW_BINS - 1)
    sums = [np.bincount(bins, weight * support[:, f], NOW_BINS) for f in range(factors.size)]
    shares = np.array(sums)
    middle = np.sqrt(edges[:-1] * edges[1:])
    soc = np.clip(1.0 - factors[:, None] * middle[None, :], 0.0, 1.0)
    return spread_of(soc, shares / shares.sum())


def spread_of(values: np.ndarray, weight: np.ndarray) -> Spread:
    """Weighted mean and central interval of any array with weights of its shape that sum to 1."""
    flat, w = values.ravel(), weight.ravel()
    order = np.argsort(flat)
    cumulative = np.cumsum(w[order]) - 0.5 * w[order]
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.interp([tail, 1.0 - tail], cumulative, flat[order])
    return Spread(float(flat @ w), float(low), float(high))


def _next_reading_s(
    posterior: ChargePosterior | ChargeBand,
    node: np.ndarray,
    at: np.ndarray,
    weight: np.ndarray,
    sigma_a: float,
) -> float:
    """Seconds from the last reading until the shapes still believed differ by three errors."""
    if isinstance(posterior, ChargeBand) or posterior.limited_throughout:
        return AT_LIMIT_WAIT_S
    times = posterior.window_end_s + np.array([0.0, *WAITS_S])
    current = posterior.current_per_ah(times)
    fall = current[:, :1] - current[:, 1:]
    nodes, charge = current.shape[0], posterior.charge_ah[at]
    mean = np.bincount(node, weight * charge, nodes) @ fall
    square = np.bincount(node, weight * charge**2, nodes) @ fall**2
    telling = square - mean**2 > (3.0 * sigma_a) ** 2
    return float(WAITS_S[np.argmax(telling)] if telling.any() else WAITS_S[-1])


def _misleading_level(sd: float, span: float) -> float:
    """Level of a flat share `MISLEADING` beside a normal density of unit peak."""
    share = MISLEADING / (1.0 - MISLEADING)
    return float(share * sd * np.sqrt(2.0 * np.pi) / span)


def _evidence(name: str, likelihood: np.ndarray, remark: str | None = None) -> Evidence:
    return Evidence(name, likelihood / likelihood.max(), remark)
