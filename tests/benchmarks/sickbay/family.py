"""What a family of cases is: which batteries, in which range of charge, changed in which way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from batterymodel import Chemistry
from tests.benchmarks.sickbay.plan import Plan, altered

Change = Callable[[Plan, np.random.Generator], Plan]

VENTED, VRLA = Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA
NICD, LFP = Chemistry.NICD, Chemistry.LFP
LEAD = (VENTED, VRLA)
LEAD_AND_NICD = (VENTED, VRLA, NICD)
EVERY_KIND = (VRLA, NICD, VENTED, LFP)

ANY = (0.20, 0.99)
LOW = (0.20, 0.745)
VERY_LOW = (0.20, 0.50)
FULL = (0.85, 0.99)
VERY_FULL = (0.90, 0.99)


@dataclass(frozen=True)
class Family:
    """A kind of case: its name, chemistries, range of charge and what is changed in each."""

    name: str
    chemistries: tuple[Chemistry, ...]
    soc: tuple[float, float]
    change: Change


def unchanged(plan: Plan, rng: np.random.Generator) -> Plan:
    """The plan as drawn."""
    return plan


def also(*changes: Change) -> Change:
    """One change after another."""

    def changed(plan: Plan, rng: np.random.Generator) -> Plan:
        for change in changes:
            plan = change(plan, rng)
        return plan

    return changed


def recorded(**values: Any) -> Change:
    """A change of how the case is recorded."""
    return lambda plan, rng: altered(plan, recording=values)


def unrecorded(plan: Plan, rng: np.random.Generator) -> Plan:
    """No last known state of charge: too much may have happened since."""
    return altered(plan, recording={"last_known": None})
