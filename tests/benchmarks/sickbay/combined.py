"""Families with two faults at once."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.sickbay.family import (
    ANY,
    EVERY_KIND,
    LEAD,
    LEAD_AND_NICD,
    LOW,
    NICD,
    VERY_LOW,
    VRLA,
    Family,
    also,
    recorded,
    unrecorded,
)
from tests.benchmarks.sickbay.mistakes import clamp_third
from tests.benchmarks.sickbay.plan import Plan, altered
from tests.benchmarks.sickbay.sick import (
    EVENTS,
    TYPED,
    accepts_little,
    bad_joint,
    cell_open,
    last_known_stale,
    leaking,
    runaway,
    shorted,
    sulfated,
    worn,
)
from tests.benchmarks.sickbay.sound import fan_drifts, late, load_told_wrong, load_untold, motors


def _at_27_v(plan: Plan, rng: np.random.Generator) -> Plan:
    return altered(plan, source={"set_v": float(rng.uniform(26.5, 27.3))})


UNTOLD = recorded(temperature="none")
COARSE = recorded(resolution_a=1.0)

COMBINED = tuple(
    Family(name, kinds, soc, also(unrecorded, *changes))
    for name, kinds, soc, changes in (
        ("sulfated, late start", LEAD, VERY_LOW, (sulfated, late)),
        ("sulfated, load declared wrong", LEAD, VERY_LOW, (sulfated, load_told_wrong)),
        ("sulfated, fan drifts", LEAD, VERY_LOW, (sulfated, fan_drifts)),
        ("bad joint, load undeclared", EVERY_KIND, VERY_LOW, (bad_joint, load_untold)),
        ("bad joint, last known stale", EVERY_KIND, VERY_LOW, (bad_joint, last_known_stale)),
        ("open, load undeclared", EVERY_KIND, ANY, (cell_open, load_untold)),
        ("open, motors", EVERY_KIND, ANY, (cell_open, motors)),
        ("worn, supply at 27 V", EVERY_KIND, LOW, (worn, _at_27_v)),
        ("worn, clamp on one of three", EVERY_KIND, LOW, (worn, clamp_third)),
        ("shorted cell, 1 A meter", LEAD_AND_NICD, ANY, (shorted, COARSE)),
        ("leak, load undeclared", LEAD_AND_NICD, ANY, (leaking, load_untold)),
        ("low acceptance, late start", (NICD,), LOW, (accepts_little, late)),
        (
            "runaway, text in rows, no temperature",
            (NICD, VRLA),
            (0.6, 0.99),
            (runaway((60.0, 900.0), TYPED), UNTOLD),
        ),
        (
            "runaway, fan drifts, 1 A meter",
            (NICD, VRLA),
            (0.6, 0.99),
            (runaway((60.0, 900.0), EVENTS), fan_drifts, COARSE),
        ),
    )
)
"""Families with two faults, or a fault and a mistake."""
