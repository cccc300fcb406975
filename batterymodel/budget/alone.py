"""The same task without ground power: how long the battery alone carries it."""

from __future__ import annotations

import numpy as np

from batterymodel.budget.case import Told
from batterymodel.budget.endurance import BatteryAlone, Endurance, LoadProfile, endurance
from batterymodel.budget.resistance import Resistance
from batterymodel.budget.results import Load
from batterymodel.inputs.records import Battery
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.limits import Limit

UNSTATED_RESERVE = 0.60
"""Part of the capacity to keep for the start where the aircraft's papers state none [-] (own
choice)."""

OWN_RESERVE = "own choice of this tool; the aircraft's papers give none"


def reserve_of(told: Told) -> Limit:
    """The part of the capacity to keep for the start, and who says so.

    Parameters
    ----------
    told : Told

    Returns
    -------
    Limit
        As a fraction; generic where the aircraft's papers state none.
    """
    stated = told.loads.start_reserve_fraction
    if stated is None:
        return Limit(UNSTATED_RESERVE, "fraction", OWN_RESERVE, generic=True)
    document = told.loads.document or "aircraft's load plan (document not named)"
    return Limit(stated, "fraction", document, generic=False)


def task_on_battery(told: Told, load: Load, ohm: Resistance | None) -> Endurance | None:
    """How long the battery alone carries a task until its reserve is left.

    Parameters
    ----------
    told : Told
    load : Load
        Of the consumers that run.
    ohm : Resistance, optional
        The battery's, with its leads.

    Returns
    -------
    Endurance or None
        None without a resistance: then no battery is known that may be used.
    """
    plate, now = told.plate, told.battery
    if ohm is None or plate is None or now is None or now.state_of_charge is None:
        return None
    capacity_ah, capacity_sd_ah = _capacity(plate, told)
    alone = BatteryAlone(
        battery=plate,
        soc=now.state_of_charge.mean,
        soc_sd=now.state_of_charge.sd,
        capacity_ah=capacity_ah,
        capacity_sd_ah=capacity_sd_ah,
        temp_c=told.battery_temp_c,
        resistance=ohm,
    )
    rel_sd = load.average_sd_a / load.average_a if load.average_a > 0.0 else 0.0
    profile = LoadProfile((told.task.minutes,), (load.average_a,), rel_sd, load.at_once_a)
    return endurance(profile, alone, reserve_of(told).value, bus_min(told.loads).value)


def _capacity(battery: Battery, told: Told) -> tuple[float, float]:
    """Mean and spread of what the battery may hold [Ah], by its last check, plate and age."""
    belief = capacity_belief(battery, told.day)
    off = belief.capacity_ah - belief.mean_ah
    return belief.mean_ah, float(np.sqrt(belief.weight @ off**2))
