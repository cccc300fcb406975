"""Families of batteries far down whose recording or supply hides it."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.sickbay.curves import KINDS, open_circuit_v
from tests.benchmarks.sickbay.family import (
    EVERY_KIND,
    LEAD_AND_NICD,
    LOW,
    Family,
    also,
    recorded,
    unrecorded,
)
from tests.benchmarks.sickbay.plan import Plan, altered
from tests.benchmarks.sickbay.sound import late, load_told_wrong, load_untold, slip, trip


def _held_at(low_v: float, high_v: float) -> object:
    def changed(plan: Plan, rng: np.random.Generator) -> Plan:
        return altered(plan, source={"set_v": float(rng.uniform(low_v, high_v))})

    return changed


def _sags(plan: Plan, rng: np.random.Generator) -> Plan:
    return altered(plan, source={"sag_ohm": float(rng.uniform(0.04, 0.2))})


def _drifts_down(plan: Plan, rng: np.random.Generator) -> Plan:
    minutes = max(plan.recording.minutes, 5.0)
    falls = {"drift_v": -float(rng.uniform(0.6, 2.0))}
    return altered(plan, source=falls, recording={"minutes": minutes})


def clamp_third(plan: Plan, rng: np.random.Generator) -> Plan:
    """A clamp on one of three leads."""
    share = float(rng.uniform(0.25, 0.42))
    return altered(plan, recording={"clamp": "third", "clamp_share": share})


def _feeds_the_bus(plan: Plan, rng: np.random.Generator) -> Plan:
    """The supply lies so low that the battery gives a steady 1 to 6 A to the bus."""
    cell, source = plan.cell, plan.source
    rest = open_circuit_v(cell.chemistry, cell.soc, 25.0) + cell.offset_v
    rest += KINDS[cell.chemistry].charge_branch_v
    wires = source.line_ohm + source.sag_ohm + source.lead_ohm
    ohm = wires + cell.ohm_vh * cell.cells / cell.capacity_ah
    gives = float(rng.uniform(1.0, 6.0))
    load = max(plan.bus.load_a, gives + 4.0)
    held = rest * cell.cells - gives * ohm + load * (source.line_ohm + source.sag_ohm)
    steady = {"set_v": held, "settling_v": 0.0, "drift_v": 0.0}
    return altered(plan, source=steady, bus={"load_a": load}, recording={"clamp": "good"})


def _ten_times_plate(plan: Plan, rng: np.random.Generator) -> Plan:
    return altered(plan, recording={"typed_capacity_times": 10.0, "check": None})


def _ten_times_check(plan: Plan, rng: np.random.Generator) -> Plan:
    check = (float(rng.normal(1.0, 0.03)), 120)
    return altered(plan, recording={"typed_check_times": 10.0, "check": check})


MISTAKES = tuple(
    Family(name, kinds, LOW, also(unrecorded, change))
    for name, kinds, change in (
        ("supply at 26 V", EVERY_KIND, _held_at(25.8, 26.2)),
        ("supply at 27 V", EVERY_KIND, _held_at(26.8, 27.2)),
        ("supply sags", EVERY_KIND, _sags),
        ("supply drifts down", EVERY_KIND, _drifts_down),
        ("supply trips, low", EVERY_KIND, trip),
        ("clamp on a dead lead", EVERY_KIND, recorded(clamp="dead")),
        ("clamp on one of three", EVERY_KIND, clamp_third),
        ("clamp reversed", EVERY_KIND, recorded(clamp="reversed")),
        ("battery feeds the bus", LEAD_AND_NICD, _feeds_the_bus),
        ("late start, low", EVERY_KIND, late),
        ("load undeclared, low", EVERY_KIND, load_untold),
        ("load declared wrong, low", EVERY_KIND, load_told_wrong),
        ("slip in a reading, low", EVERY_KIND, slip),
        ("plate typed tenfold", EVERY_KIND, _ten_times_plate),
        ("check typed tenfold", EVERY_KIND, _ten_times_check),
    )
)
"""Families of sound batteries at 20 to 74 % with a mistake or a supply that hides it."""
