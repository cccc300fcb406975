"""How much more resistance a battery has when little charge is left in it, and when it is worn."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot

import numpy as np

from batterymodel.basis.intervals import Interval
from batterymodel.inputs.records import Chemistry
from batterymodel.reference.capacity_in_use import CapacityBelief

EMPTY_LOG = {
    Chemistry.VENTED_LEAD_ACID: 0.7,
    Chemistry.VRLA: 0.7,
    Chemistry.NICD: 0.3,
    Chemistry.LFP: 0.4,
}
"""Log by which an empty battery has more resistance than a full one [ln] (common practice, no
source: a lead-acid battery about twice as much, its acid being spent; others less)."""

WORN_POWER = 1.0
"""Power of plate over capacity by which the resistance of a worn battery is higher [-] (common
practice, no source: a quarter to a half more at 80 % of the plate)."""

GROWTH_REL_SD = 0.5
"""Spread of both, relative to the log [-] (own choice)."""


@dataclass(frozen=True)
class ResistanceGrowth:
    """Log of a battery's resistance over that of a sound full one [ln], and its spread."""

    log: float = 0.0
    log_sd: float = 0.0


def resistance_growth(
    chemistry: Chemistry, soc: Interval | None = None, capacity: CapacityBelief | None = None
) -> ResistanceGrowth:
    """By how much low charge and wear raise a battery's resistance.

    ``EMPTY_LOG (1 - s)**2 - WORN_POWER E[ln min(C / plate, 1)]``, with the spreads of ``s`` and
    ``C`` and `GROWTH_REL_SD` of each part.

    Parameters
    ----------
    chemistry : Chemistry
    soc : Interval, optional
        State of charge [0..1]; a full battery where none is given.
    capacity : CapacityBelief, optional
        What it may hold; a sound battery where none is given.

    Returns
    -------
    ResistanceGrowth

    Examples
    --------
    >>> half = Interval(mean=0.5, low=0.5, high=0.5, level=0.9)
    >>> round(resistance_growth(Chemistry.VRLA, half).log, 3)
    0.175
    """
    charge_log, charge_sd = (0.0, 0.0) if soc is None else _by_charge(EMPTY_LOG[chemistry], soc)
    worn_log, worn_sd = (0.0, 0.0) if capacity is None else _by_wear(capacity)
    spread = hypot(charge_sd, worn_sd, GROWTH_REL_SD * charge_log, GROWTH_REL_SD * worn_log)
    return ResistanceGrowth(charge_log + worn_log, spread)


def _by_charge(empty_log: float, soc: Interval) -> tuple[float, float]:
    spent = min(max(1.0 - soc.mean, 0.0), 1.0)
    return empty_log * spent**2, 2.0 * empty_log * spent * soc.sd


def _by_wear(capacity: CapacityBelief) -> tuple[float, float]:
    logs = -WORN_POWER * np.log(np.minimum(capacity.capacity_ah / capacity.plate_ah, 1.0))
    mean = float(capacity.weight @ logs)
    return mean, float(np.sqrt(capacity.weight @ (logs - mean) ** 2))
