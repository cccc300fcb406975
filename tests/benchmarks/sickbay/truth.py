"""What is true of a case, and which answers would be wrong."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel import Chemistry
from tests.benchmarks.sickbay.circuit import Trace
from tests.benchmarks.sickbay.plan import Cell, Plan

LEAST_TOP_OFF_SOC = 0.75
LEAST_CAPACITY = 0.80
FULL_SOC = 0.85
HOT_C = 50.0
COLD_C = 0.0
SHUT_OUT = 4.0
"""Acceptance divided by this or more: the charge cannot be returned in place (own choice)."""

SETTLING_S = 30.0
"""The supply has settled by then; a low first current is no minimum of the taper."""

LEAD_ACID = (Chemistry.VENTED_LEAD_ACID, Chemistry.VRLA)


@dataclass(frozen=True)
class Truth:
    """The truth of one case.

    ``soc`` is at the true moment of connection, ``soc_at_zero`` at the first reading, both over the
    true present capacity; ``charge_to_return_ah`` is at the last reading. ``names`` are the
    conditions that are right to name. ``excused_by`` lists the missing checks one of which must be
    named for a top-off not to count as dangerous; empty: nothing excuses it. ``turn_s`` is the
    runaway's minimum of the current, from the first reading.
    """

    names: tuple[str, ...]
    soc: float
    soc_at_zero: float
    capacity_ah: float
    charge_to_return_ah: float
    charge_at_zero_ah: float
    top_off_is_dangerous: bool
    excused_by: tuple[str, ...]
    service_is_needless: bool
    disconnect_is_false: bool
    turn_s: float | None = None


def truth_of(plan: Plan, trace: Trace) -> Truth:
    """Truth of a simulated plan."""
    late = plan.recording.late_s
    missing = np.interp([late, plan.end_s], trace.time_s, trace.missing_ah)
    reasons = reasons_against(plan)
    return Truth(
        names=condition_names(plan.cell, trace),
        soc=plan.cell.soc,
        soc_at_zero=1.0 - float(missing[0]) / plan.cell.capacity_ah,
        capacity_ah=plan.cell.capacity_ah,
        charge_to_return_ah=float(missing[1]),
        charge_at_zero_ah=float(missing[0]),
        top_off_is_dangerous=bool(reasons),
        excused_by=excuse_of(reasons, plan),
        service_is_needless=is_needless_to_service(plan),
        disconnect_is_false=is_false_to_disconnect(plan.cell, trace),
        turn_s=turn_s(plan, trace),
    )


def reasons_against(plan: Plan) -> tuple[str, ...]:
    """Why topping off in place would be dangerous; empty: it would not."""
    cell = plan.cell
    found = {
        "charge": cell.soc < LEAST_TOP_OFF_SOC,
        "capacity": cell.capacity_ah < LEAST_CAPACITY * cell.plate_ah,
        "heat": cell.temp_c >= HOT_C,
        "cold": cell.chemistry is Chemistry.LFP and cell.temp_c < COLD_C,
        "failing": is_failing(cell),
    }
    return tuple(name for name, holds in found.items() if holds)


def is_failing(cell: Cell) -> bool:
    """Whether the battery has a fault for which it must come off, at any state of charge."""
    return bool(
        cell.lost_cells
        or cell.leak_a
        or cell.is_open
        or cell.doubling_s is not None
        or cell.accepts >= SHUT_OUT
    )


def excuse_of(reasons: tuple[str, ...], plan: Plan) -> tuple[str, ...]:
    """Missing checks that excuse a top-off: wear nobody checked, a temperature nobody took.

    Heat of lead-acid is excused with the ambient alone told, cold of lithium only with nothing.
    """
    told, lead_acid = plan.recording.temperature, plan.cell.chemistry in LEAD_ACID
    if reasons == ("heat",) and lead_acid and told != "column":
        return ("temperature",)
    if reasons == ("cold",) and told == "none":
        return ("temperature",)
    return ("capacity",) if reasons == ("capacity",) else ()


def condition_names(cell: Cell, trace: Trace) -> tuple[str, ...]:
    """Names of conditions that are right for this battery."""
    found = {
        "nothing_charging": cell.is_open or feeds_the_bus(trace),
        "overheating": cell.doubling_s is not None or cell.temp_c >= HOT_C,
        "shorted_cell": cell.lost_cells > 0.0,
        "leak_or_gassing": cell.leak_a > 0.0 or cell.doubling_s is not None or cell.lost_cells > 0,
        "accepts_little": cell.accepts >= SHUT_OUT or cell.joint_ohm > 0.0,
        "worn": cell.capacity_ah < LEAST_CAPACITY * cell.plate_ah,
    }
    return tuple(name for name, holds in found.items() if holds) or ("sound",)


def feeds_the_bus(trace: Trace) -> bool:
    """Whether current flows out of the battery most of the time."""
    return float(np.median(trace.battery_a)) < 0.0


def is_needless_to_service(plan: Plan) -> bool:
    """Whether nothing at all is wrong with this battery and its charge."""
    cell, source = plan.cell, plan.source
    well = not reasons_against(plan) and not cell.joint_ohm and cell.accepts < 2.0
    usual = COLD_C <= cell.temp_c <= 45.0 and abs(source.set_v - source.named_v) <= 0.5
    return well and usual and cell.soc >= FULL_SOC


def is_false_to_disconnect(cell: Cell, trace: Trace) -> bool:
    """Whether no fault, temperature or reversed current asks for the power to come off at once."""
    if feeds_the_bus(trace):
        return False
    faulty = is_failing(cell) and cell.accepts < SHUT_OUT
    return not faulty and not cell.joint_ohm and COLD_C <= cell.temp_c < HOT_C


def turn_s(plan: Plan, trace: Trace) -> float | None:
    """Time of a runaway's least current from the first reading [s], load and settling apart.

    Sought up to the planned turn: a runaway at the supply's limit may fall again.
    """
    if plan.cell.doubling_s is None or plan.cell.turn_s is None:
        return None
    settled_s = plan.recording.late_s + SETTLING_S
    latest_s = max(plan.cell.turn_s, settled_s) + SETTLING_S
    read = (trace.time_s >= settled_s) & (trace.time_s <= latest_s)
    at = trace.time_s[read][np.argmin(trace.battery_a[read])]
    return float(at - plan.recording.late_s)
