"""Independent pieces of evidence for the state of charge at connection, each on one grid.

Every piece is a likelihood over the state of charge at connection, on the grid `SOC_GRID`.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from scipy.special import ndtri

from batterymodel.basis.meters import VOLTMETER_SD_V
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.taper.charge_bounds import ChargeBounds, charge_bounds
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.posterior import ChargePosterior, charge_posterior
from batterymodel.taper.prior import present_capacity_ah

SOC_GRID = np.linspace(0.0, 1.0, 401)
"""States of charge at which evidence is held [0..1]."""

MISLEADING = 0.05
"""Share of cases in which a piece of evidence is taken to say nothing (own choice): rest voltage
with surface charge, a record that missed a flight."""

LOSS_PER_DAY = 0.01
"""State of charge a parked battery may lose per day, standard deviation (common practice)."""

BEYOND_EMPTY = 1e-6
"""Share of the taper's likelihood below which no charge the battery can hold explains it."""

_FACTOR_NODES = 15

REST_VOLTAGE = "rest voltage"
"""Name of that evidence."""


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


def rest_voltage_evidence(battery: Battery, rest_voltage: float, temp_c: float | None) -> Evidence:
    """Likelihood of a rest voltage [V] read at a battery temperature [degC] (25 if unknown).

    Normal around the chemistry's curve, with the spread between batteries and the meter's error
    added in quadrature, and a share `MISLEADING` that says nothing. A voltage above that of a full
    battery is surface charge and counts as full.
    """
    data = data_for(battery.chemistry)
    expected = rest_voltage_v(battery, SOC_GRID, REFERENCE_TEMP_C if temp_c is None else temp_c)
    sd = np.hypot(battery.cells * data.rest.sd_v, VOLTMETER_SD_V)
    read = min(rest_voltage, float(expected[-1]))
    likelihood = np.exp(-0.5 * ((expected - read) / sd) ** 2)
    floor = _misleading_level(sd, float(np.ptp(expected)))
    return as_evidence(REST_VOLTAGE, floor + likelihood, data.rest_voltage_remark)


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
    return as_evidence("last known state", floor + likelihood, f"{days} days old")


def charge_likelihood(fit: TaperFit, battery: Battery) -> ChargePosterior | ChargeBounds:
    """What the current says of the charge to return, by how the chemistry tapers."""
    if data_for(battery.chemistry).taper.exponential:
        return charge_posterior(fit)
    return charge_bounds(fit)


def taper_evidence(posterior: ChargePosterior | ChargeBounds, battery: Battery) -> Evidence:
    """Likelihood of the taper over the state of charge: charge to return through the factor."""
    factors = charge_factors(battery, *connection_tail(posterior))
    wanted = (1.0 - SOC_GRID)[:, None] / factors[None, :]
    total = np.interp(wanted, posterior.charge_ah, posterior.of_charge).mean(axis=1)
    if total.max() < BEYOND_EMPTY:
        total[0] = 1.0
    return as_evidence("taper", total, data_for(battery.chemistry).taper_remark)


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


def connection_tail(posterior: ChargePosterior | ChargeBounds) -> tuple[float, float]:
    """Shift and spread [ln] of the charge to return at connection for what its tail misses.

    What was delivered during the readings was measured; only the part still left is in doubt.
    """
    node, at, weight = posterior.pairs()
    left = posterior.charge_at_ah(posterior.window_end_s, node, at)
    share = float(weight @ left / (weight @ posterior.charge_ah[at]))
    return share * posterior.tail_log, share * posterior.tail_log_sd


def _misleading_level(sd: float, span: float) -> float:
    """Level of a flat share `MISLEADING` beside a normal density of unit peak."""
    share = MISLEADING / (1.0 - MISLEADING)
    return float(share * sd * np.sqrt(2.0 * np.pi) / span)


def as_evidence(name: str, likelihood: np.ndarray, remark: str | None = None) -> Evidence:
    """Evidence from a likelihood over `SOC_GRID` of any scale, with its highest value made 1."""
    return Evidence(name, likelihood / likelihood.max(), remark)
