"""Cases of a half of the seeds: what the tool is given, and what is true."""

from __future__ import annotations

import zlib
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from batterymodel import Battery, Chemistry, Readings, Supply, assess
from tests.benchmarks.sickbay.circuit import traces
from tests.benchmarks.sickbay.combined import COMBINED
from tests.benchmarks.sickbay.draw import drawn_plan
from tests.benchmarks.sickbay.family import Family
from tests.benchmarks.sickbay.meter import history_charge_times_h, told
from tests.benchmarks.sickbay.mistakes import MISTAKES
from tests.benchmarks.sickbay.plan import LAWS, Plan
from tests.benchmarks.sickbay.sick import SICK
from tests.benchmarks.sickbay.sound import SOUND
from tests.benchmarks.sickbay.truth import Truth, truth_of

FAMILIES: tuple[Family, ...] = (*SOUND, *MISTAKES, *SICK, *COMBINED)

SEEDS = {"calibration": 7321, "test": 9054, "unseen": 26417, "last": 58211}
"""Seed of each half; ``last`` is kept for the very last look."""


@dataclass(frozen=True)
class Case:
    """One case: what `batterymodel.assess` is given, and the truth."""

    family: str
    chemistry: Chemistry
    plan: Plan
    readings: Readings
    battery: Battery
    supply: Supply | None
    keywords: dict[str, Any]
    truth: Truth


def cases(half: str, per_family: int, families: Iterable[Family] = FAMILIES) -> list[Case]:
    """Cases of each family; the first ones stay the same whatever `per_family` is."""
    chosen = list(families)
    plans = [planned(half, family, k) for family in chosen for k in range(per_family)]
    names = [family.name for family in chosen for _ in range(per_family)]
    known = [k for k, plan in enumerate(plans) if plan.recording.history]
    times = dict(zip(known, history_charge_times_h([plans[k] for k in known]), strict=True))
    return [
        _case(name, plan, trace, times.get(k))
        for k, (name, plan, trace) in enumerate(zip(names, plans, traces(plans), strict=True))
    ]


def planned(half: str, family: Family, index: int) -> Plan:
    """Plan of one case of a family."""
    seed = (SEEDS[half], zlib.crc32(family.name.encode()), index)
    rng = np.random.default_rng(seed)
    chemistry = family.chemistries[index % len(family.chemistries)]
    law = LAWS[(index // len(family.chemistries)) % len(LAWS)]
    return family.change(drawn_plan(seed, chemistry, law, family.soc, rng), rng)


def _case(family: str, plan: Plan, trace: Any, charge_time_h: float | None) -> Case:
    given = told(plan, trace, charge_time_h)
    return Case(
        family=family,
        chemistry=plan.cell.chemistry,
        plan=plan,
        readings=given.readings,
        battery=given.battery,
        supply=given.supply,
        keywords=given.keywords,
        truth=truth_of(plan, trace),
    )


def growing(case: Case, minutes: float) -> Case:
    """The case as it stood after so many minutes of readings; its truth is that of the whole."""
    readings = case.readings
    kept = readings.elapsed_s <= 60.0 * minutes
    columns = {
        name: None if (column := getattr(readings, name)) is None else column[kept]
        for name in (
            "elapsed_s",
            "supply_current_a",
            "supply_voltage_v",
            "battery_current_a",
            "battery_temp_c",
            "load_a",
        )
    }
    events = tuple(e for e in readings.events if e.elapsed_s <= 60.0 * minutes)
    return replace(case, readings=Readings(**columns, events=events, source=readings.source))


def assessed(case: Case) -> Any:
    """What the tool says of a case; raises `BatteryModelError` where it refuses."""
    return assess(case.readings, case.battery, case.supply, **case.keywords)
