"""Families of sick batteries."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.sickbay.draw import log_uniform
from tests.benchmarks.sickbay.family import (
    ANY,
    EVERY_KIND,
    FULL,
    LEAD,
    LEAD_AND_NICD,
    LFP,
    LOW,
    NICD,
    VERY_FULL,
    VERY_LOW,
    VRLA,
    Change,
    Family,
    also,
    unrecorded,
)
from tests.benchmarks.sickbay.plan import Plan, altered


def cell_open(plan: Plan, rng: np.random.Generator) -> Plan:
    """Relay or a cell open: nothing charges, the load is declared."""
    error = {"told_load_error_a": float(rng.normal(0.0, 0.3)), "told_load_sd_a": 0.5}
    return altered(plan, cell={"is_open": True}, recording=error)


def sulfated(plan: Plan, rng: np.random.Generator) -> Plan:
    """Accepts 5 to 20 times less, at twice to five times the resistance; some capacity is lost."""
    cell = {
        "accepts": log_uniform(rng, 5.0, 20.0),
        "ohm_times": float(rng.uniform(1.5, 5.0)),
        "capacity_ah": plan.cell.plate_ah * float(rng.uniform(0.6, 0.95)),
    }
    return altered(plan, cell=cell, recording={"check": None})


def bad_joint(plan: Plan, rng: np.random.Generator) -> Plan:
    """A joint of 0.3 to 2 ohm in the battery's lead."""
    return altered(plan, cell={"joint_ohm": log_uniform(rng, 0.3, 2.0)})


def accepts_little(plan: Plan, rng: np.random.Generator) -> Plan:
    """Accepts 5 to 20 times less, with its capacity and resistance as they were."""
    return altered(plan, cell={"accepts": log_uniform(rng, 5.0, 20.0)})


def shorted(plan: Plan, rng: np.random.Generator) -> Plan:
    """One cell shorted, or soft with up to a third of its voltage left."""
    lost = 1.0 if rng.random() < 0.6 else float(rng.uniform(0.67, 1.0))
    return altered(plan, cell={"lost_cells": lost})


def leaking(plan: Plan, rng: np.random.Generator) -> Plan:
    """An internal leak of 1 to 5 A."""
    return altered(plan, cell={"leak_a": float(rng.uniform(1.0, 5.0))})


def worn(plan: Plan, rng: np.random.Generator) -> Plan:
    """Worn to 40 to 60 % of its plate, with no check on file."""
    left = plan.cell.plate_ah * float(rng.uniform(0.4, 0.6))
    cell = {"capacity_ah": left, "ohm_times": float(rng.uniform(1.0, 1.6))}
    return altered(plan, cell=cell, recording={"check": None})


def worn_since_check(plan: Plan, rng: np.random.Generator) -> Plan:
    """Worn to half, with a good check from one to four years ago."""
    plan = worn(plan, rng)
    then = plan.cell.plate_ah * float(rng.uniform(0.92, 1.03)) / plan.cell.capacity_ah
    return altered(plan, recording={"check": (then, int(rng.integers(370, 1500)))})


def runaway(turns_s: tuple[float, float], events: tuple[str, ...]) -> Change:
    """Current that overtakes the taper at a time in a range and doubles in 2 to 10 minutes."""

    def changed(plan: Plan, rng: np.random.Generator) -> Plan:
        doubling, turn = 60.0 * log_uniform(rng, 2.0, 10.0), float(rng.uniform(*turns_s))
        after = max(float(rng.uniform(2.5, 4.0)) * doubling, 240.0)
        minutes = float(np.ceil((turn + after) / 60.0))
        every = float(rng.choice([30.0, 60.0] if minutes > 40.0 else [5.0, 10.0, 30.0]))
        warm = float(rng.uniform(30.0, 48.0))
        recording = {"minutes": minutes, "every_s": every, "late_s": 0.0}
        most = {"limit_a": 300.0 if plan.cell.plate_ah > 25.0 else 160.0}
        return altered(
            plan,
            cell={"doubling_s": doubling, "turn_s": turn, "temp_c": warm, "ambient_c": warm - 8.0},
            source=most,
            recording=recording | {"events": str(rng.choice(events))},
        )

    return changed


def hot(temperature: str) -> Change:
    """A battery at 55 to 65 degC whose temperature is told as column, ambient only, or not."""

    def changed(plan: Plan, rng: np.random.Generator) -> Plan:
        cell = {
            "temp_c": float(rng.uniform(55.0, 65.0)),
            "ambient_c": float(rng.uniform(22.0, 38.0)),
        }
        return altered(plan, cell=cell, recording={"temperature": temperature})

    return changed


def last_known_stale(plan: Plan, rng: np.random.Generator) -> Plan:
    """A record that last knew the battery nearly full, some days ago."""
    known = (float(rng.uniform(0.93, 1.0)), int(rng.integers(1, 40)))
    return altered(plan, recording={"last_known": known})


EVENTS = ("none", "steps")
TYPED = ("every", "fourth")

SICK = tuple(
    Family(name, kinds, soc, also(unrecorded, change))
    for name, kinds, soc, change in (
        ("nothing charging", EVERY_KIND, ANY, cell_open),
        ("sulfated", LEAD, VERY_LOW, sulfated),
        ("sulfated, last known stale", LEAD, VERY_LOW, also(sulfated, last_known_stale)),
        ("bad joint", EVERY_KIND, VERY_LOW, bad_joint),
        ("accepts little, NiCd", (NICD,), LOW, accepts_little),
        ("accepts little, LFP", (LFP,), LOW, accepts_little),
        ("shorted cell, lead-acid", LEAD, ANY, shorted),
        ("shorted cell, NiCd", (NICD,), ANY, shorted),
        ("internal leak", LEAD_AND_NICD, ANY, leaking),
        ("worn, no check, low", EVERY_KIND, LOW, worn),
        ("worn, no check, full", EVERY_KIND, VERY_FULL, worn),
        ("worn, old check, low", EVERY_KIND, LOW, worn_since_check),
        ("worn, old check, full", EVERY_KIND, VERY_FULL, worn_since_check),
        ("runaway, NiCd", (NICD,), (0.6, 0.99), runaway((60.0, 900.0), EVENTS)),
        ("runaway, VRLA", (VRLA,), (0.6, 0.99), runaway((60.0, 900.0), EVENTS)),
        ("runaway, text in rows", (NICD, VRLA), (0.6, 0.99), runaway((60.0, 900.0), TYPED)),
        (
            "runaway after an hour",
            (NICD, VRLA),
            (0.6, 0.99),
            runaway((4500.0, 5400.0), EVENTS + TYPED),
        ),
        ("hot, temperature read", LEAD_AND_NICD, FULL, hot("column")),
        ("hot, only ambient told", LEAD_AND_NICD, FULL, hot("ambient")),
        ("hot, nothing told", LEAD_AND_NICD, FULL, hot("none")),
    )
)
"""Families with one fault of the battery."""
