"""Independent pieces of evidence for the state of charge at connection, each on one grid.

Every piece is a likelihood over the state of charge at connection, on the grid `SOC_GRID`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date

import numpy as np
from scipy.special import ndtri

from batterymodel.basis.arrays import FloatArray, FloatOrArray
from batterymodel.basis.calendar import days_words
from batterymodel.basis.meters import VOLTMETER_SD_V
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.taper.charge_bounds import ChargeBounds, charge_bounds
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.posterior import ChargePosterior, charge_posterior

SOC_GRID = np.linspace(0.0, 1.0, 401)
"""States of charge at which evidence is held [0..1], shape ``(s,)`` (own choice, numerical)."""

MISLEADING = 0.05
"""Share of cases in which a piece of evidence is taken to say nothing [0..1] (own choice): rest
voltage with surface charge, a record that missed a flight."""

SURFACE_SD_V = 0.05
"""Surface charge a cell may carry at rest, standard deviation [V per cell] (own choice)."""

LOSS_PER_DAY = 0.01
"""State of charge a parked battery may lose per day, standard deviation [1/d] (common practice, no
source)."""

UNRECORDED_PER_DAY = 0.01
"""Chance that a parked battery was used that day and nobody wrote it down [1/d] (own choice)."""

BEYOND_EMPTY = 1e-6
"""Share of the taper's likelihood below which no charge the battery can hold explains it [-] (own
choice)."""

CAPACITY_NODES = 121
"""Equally likely capacities of which charge factors are made (own choice, numerical)."""

_FACTOR_NODES = 15
"""Equally likely values of a log-normal quantity (own choice, numerical)."""

REST_VOLTAGE = "rest voltage"
"""Name of that evidence."""


@dataclass(frozen=True)
class Evidence:
    """One piece of evidence: a likelihood over `SOC_GRID`, shape ``(s,)``, its highest value 1.

    ``peak`` is that highest value before it was made 1, on a scale that all conditions share: what
    no charge of a battery explains must count against that battery (`soc.conditions`).
    """

    name: str
    likelihood: FloatArray
    remark: str | None = None
    peak: float = 1.0

    @property
    def density(self) -> FloatArray:
        """Probability density over the state of charge of this evidence alone [-], ``(s,)``."""
        return self.likelihood / np.trapezoid(self.likelihood, SOC_GRID)

    @property
    def mean(self) -> float:
        """Mean state of charge of this evidence alone [0..1]."""
        return float(np.trapezoid(self.density * SOC_GRID, SOC_GRID))

    def below(self, soc: float) -> float:
        """Probability of a state of charge below a value, by this evidence alone.

        Parameters
        ----------
        soc : float
            State of charge [0..1].

        Returns
        -------
        float
            Probability [0..1].
        """
        return float(np.trapezoid(self.density * (soc > SOC_GRID), SOC_GRID))

    def support_from(self, other: Evidence) -> float:
        """Mean likelihood of this evidence over the other's density.

        ``integral of p_other L dsoc``, the highest value of ``L`` being 1.

        Parameters
        ----------
        other : Evidence

        Returns
        -------
        float
            From 0 to 1, which is agreement [-].
        """
        return float(np.trapezoid(other.density * self.likelihood, SOC_GRID))


def rest_voltage_evidence(battery: Battery, rest_voltage: float, temp_c: float | None) -> Evidence:
    """Likelihood of a rest voltage read before connection.

    Normal around the battery's curve, ``exp(-((V(soc) - V) / sd)**2 / 2) / sd``, with the spread
    between batteries and the meter's error (`rest_voltage_sd_v`), and a share `MISLEADING` that
    says nothing. A voltage above that of a full battery
    is surface charge and counts as full.

    Parameters
    ----------
    battery : Battery
    rest_voltage : float
        Of the whole battery [V].
    temp_c : float or None
        Battery temperature then [degC]; 25 degC if unknown.

    Returns
    -------
    Evidence
        Its ``peak`` is 1 for the voltage of a full battery, and near nothing for one that no charge
        explains. Source of the curve: `chemistry.RestVoltageCurve.source`.

    Raises
    ------
    InputError
        Temperature outside `DATA_TEMP_C`.
    """
    data = data_for(battery.chemistry)
    expected = rest_voltage_v(battery, SOC_GRID, REFERENCE_TEMP_C if temp_c is None else temp_c)
    sd = np.asarray(rest_voltage_sd_v(battery, SOC_GRID))
    read = min(rest_voltage, float(expected[-1]))
    likelihood = sd[-1] / sd * np.exp(-0.5 * ((expected - read) / sd) ** 2)
    flat_share = _misleading_level(float(sd[-1]), float(np.ptp(expected)))
    found = (flat_share + likelihood) / (flat_share + 1.0)
    evidence = as_evidence(REST_VOLTAGE, found, data.rest_voltage_remark)
    return replace(evidence, peak=float(found.max()))


def surface_plausibility(battery: Battery, rest_voltage: float, temp_c: float | None) -> float:
    """How well a rest voltage above that of a full battery can be surface charge [0..1].

    ``m + (1 - m) exp(-(excess / sd)**2 / 2)`` with `SURFACE_SD_V` for each cell and the share
    ``m`` of misleading voltages (`MISLEADING`).

    Parameters
    ----------
    battery : Battery
    rest_voltage : float
        Of the whole battery [V].
    temp_c : float or None
        Battery temperature then [degC]; 25 degC if unknown.

    Returns
    -------
    float
        1 for every voltage up to that of a full battery.

    Raises
    ------
    InputError
        Temperature outside `DATA_TEMP_C`.
    """
    full = float(rest_voltage_v(battery, 1.0, REFERENCE_TEMP_C if temp_c is None else temp_c))
    excess = max(rest_voltage - full, 0.0) / (battery.cells * SURFACE_SD_V)
    return float(MISLEADING + (1.0 - MISLEADING) * np.exp(-0.5 * excess**2))


def rest_voltage_sd_v(battery: Battery, soc: FloatOrArray) -> FloatOrArray:
    """Spread of a rest voltage around the battery's curve, by state of charge.

    That of the cells in a straight line from empty to full, and the meter's (`VOLTMETER_SD_V`), in
    quadrature. Without a curve on the limits card both ends are as much narrower as others of the
    kind make the full end.

    Parameters
    ----------
    battery : Battery
    soc : float or ndarray, any shape
        State of charge [0..1].

    Returns
    -------
    float or ndarray
        Standard deviation, meter included [V], same shape.

    References
    ----------
    ``sd_v`` and ``sd_empty_v``: `chemistry.RestVoltageCurve`.
    """
    rest = data_for(battery.chemistry).rest
    of_cell = rest.sd_empty_v + (rest.sd_v - rest.sd_empty_v) * soc
    if battery.kind is not None and not battery.limits.rest_voltage_v:
        of_cell = of_cell * (battery.kind.rest_shift_sd_v / rest.sd_v)
    return np.hypot(battery.cells * of_cell, VOLTMETER_SD_V)


def last_known_evidence(battery: Battery, on: date) -> Evidence | None:
    """Likelihood from the record's last known state; a parked battery can only have lost.

    Normal around it with the record's error, above it; below it with `LOSS_PER_DAY` for every day
    since added in quadrature; and a share that says nothing, `MISLEADING` on the day itself and
    `UNRECORDED_PER_DAY` more with each day::

        1 - (1 - MISLEADING) (1 - UNRECORDED_PER_DAY)**days

    Parameters
    ----------
    battery : Battery
    on : date
        Day of the connection.

    Returns
    -------
    Evidence or None
        None where nothing is known.
    """
    known = battery.last_known
    if known is None:
        return None
    days = max((on - known.on).days, 0)
    below = np.hypot(known.sd, LOSS_PER_DAY * days)
    sd = np.where(known.state_of_charge > SOC_GRID, below, known.sd)
    likelihood = np.exp(-0.5 * ((SOC_GRID - known.state_of_charge) / sd) ** 2)
    fresh = (1.0 - MISLEADING) * (1.0 - UNRECORDED_PER_DAY) ** days
    flat_share = _misleading_level(float(known.sd), 1.0, 1.0 - fresh)
    return as_evidence("last known state", flat_share + likelihood, f"{days_words(days)} old")


def charge_likelihood(fit: TaperFit, battery: Battery) -> ChargePosterior | ChargeBounds:
    """What the current says of the charge to return, by how the chemistry tapers.

    Parameters
    ----------
    fit : TaperFit
    battery : Battery

    Returns
    -------
    ChargePosterior or ChargeBounds
        The first where the current is an exponential taper.
    """
    if data_for(battery.chemistry).taper.exponential:
        return charge_posterior(fit)
    return charge_bounds(fit)


def charge_factors(battery: Battery, on: date | None = None) -> FloatArray:
    """State of charge per ampere-hour returned: equally likely values.

    ``efficiency / capacity``: the capacity as `capacity_belief` has it, the efficiency log-normal
    with its relative error. Of all products, quantiles are handed on.

    Parameters
    ----------
    battery : Battery
    on : date or None
        Day of the connection, for the age of battery and check.

    Returns
    -------
    ndarray, shape (f,)
        From low to high [1/Ah]. Source of the efficiency: `chemistry.TaperPrior.source`.

    Raises
    ------
    InputError
        Installed after the day of the connection, or a check that cannot be this battery's.
    """
    taper = data_for(battery.chemistry).taper
    capacity = capacity_belief(battery, on).nodes_ah(CAPACITY_NODES)
    z = ndtri((np.arange(_FACTOR_NODES) + 0.5) / _FACTOR_NODES)
    stored = taper.efficiency * np.exp(taper.efficiency_sd / taper.efficiency * z)
    every = np.sort(np.outer(1.0 / capacity, stored), axis=None)
    return np.quantile(every, (np.arange(_FACTOR_NODES) + 0.5) / _FACTOR_NODES, method="hazen")


def _misleading_level(sd: float, span: float, misleading: float = MISLEADING) -> float:
    """Level of a flat share beside a normal density of unit peak."""
    odds = misleading / (1.0 - misleading)
    return float(odds * sd * np.sqrt(2.0 * np.pi) / span)


def as_evidence(name: str, likelihood: FloatArray, remark: str | None = None) -> Evidence:
    """Evidence from a likelihood over `SOC_GRID` of any scale, with its highest value made 1.

    Parameters
    ----------
    name : str
    likelihood : ndarray, shape (s,)
        Over `SOC_GRID`; positive somewhere.
    remark : str, optional
        What a reader must know of this evidence.

    Returns
    -------
    Evidence
    """
    return Evidence(name, likelihood / likelihood.max(), remark)
