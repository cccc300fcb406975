"""What is read and told of a simulated case, with every meter's faults."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Any

import numpy as np

from batterymodel import (
    Battery,
    CapacityCheck,
    Event,
    History,
    LastKnown,
    Limits,
    Readings,
    Supply,
)
from tests.benchmarks.sickbay.bus import bus_load_a, is_tripped
from tests.benchmarks.sickbay.circuit import Trace, traces
from tests.benchmarks.sickbay.curves import open_circuit_v
from tests.benchmarks.sickbay.plan import Plan, altered

ON = date(2026, 3, 2)
HISTORY_ERROR = 0.08
SETTLED_S = 30.0
WITHOUT_FAULT: dict[str, Any] = {
    "lost_cells": 0.0,
    "leak_a": 0.0,
    "joint_ohm": 0.0,
    "is_open": False,
    "accepts": 1.0,
    "ohm_times": 1.0,
    "doubling_s": None,
    "turn_s": None,
}
STEADY: dict[str, Any] = {"settling_v": 0.0, "drift_v": 0.0, "trip": None, "sag_ohm": 0.0}
EVERY_ROW = ("read", "ok", "noted", "as before")


@dataclass(frozen=True)
class Told:
    """What the tool is given: readings, battery, supply and the keywords of `assess`."""

    readings: Readings
    battery: Battery
    supply: Supply | None
    keywords: dict[str, Any]


def told(plan: Plan, trace: Trace, charge_time_h: float | None) -> Told:
    """All that is recorded and told of one case."""
    rng = np.random.default_rng((*plan.seed, 2))
    readings = readings_of(plan, trace, rng)
    return Told(
        readings, battery_of(plan, charge_time_h, rng), supply_of(plan), keywords_of(plan, rng)
    )


def readings_of(plan: Plan, trace: Trace, rng: np.random.Generator) -> Readings:
    """The meters' values at the times of reading."""
    elapsed = reading_times_s(plan, rng)
    at = elapsed + plan.recording.late_s
    battery = np.interp(at, trace.time_s, trace.battery_a)
    load, off = bus_load_a(plan, at), is_tripped(plan, at)
    supply_a = np.clip(np.where(off, 0.0, battery + load), 0.0, plan.source.limit_a)
    columns = {"supply_current_a": np.maximum(_read_a(plan, supply_a, rng), 0.0)}
    columns |= _clamp(plan, battery, rng) | _voltage(plan, trace, at, rng)
    if plan.recording.temperature == "column":
        columns["battery_temp_c"] = np.round(np.interp(at, trace.time_s, trace.battery_temp_c), 1)
    _slip(plan, columns["supply_current_a"])
    return Readings(elapsed_s=elapsed, events=_events(plan, elapsed), **columns)


def reading_times_s(plan: Plan, rng: np.random.Generator) -> np.ndarray:
    """Times of reading on the technician's clock: regular, or by hand."""
    end = 60.0 * plan.recording.minutes
    if plan.recording.every_s is not None:
        return np.arange(0.0, end + 0.01, plan.recording.every_s)
    count = int(rng.integers(6, 13))
    even = np.linspace(0.0, end, count)
    even[1:-1] += rng.uniform(-0.3, 0.3, count - 2) * end / count
    return np.round(even)


def _read_a(plan: Plan, true_a: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    recording = plan.recording
    gain = 1.0 + float(rng.normal(0.0, 0.004))
    shown = true_a * gain + recording.offset_a + rng.normal(0.0, recording.noise_a, true_a.size)
    shown = np.where(true_a == 0.0, 0.0, shown)
    return np.round(np.round(shown / recording.resolution_a) * recording.resolution_a, 3)


def _clamp(plan: Plan, battery_a: np.ndarray, rng: np.random.Generator) -> dict[str, np.ndarray]:
    recording = plan.recording
    if recording.clamp == "none":
        return {}
    shares = {"good": 1.0, "dead": 0.0, "third": recording.clamp_share, "reversed": -1.0}
    share = shares[recording.clamp]
    shown = share * battery_a + recording.clamp_offset_a
    shown = shown + rng.normal(0.0, recording.noise_a, battery_a.size)
    step = recording.resolution_a
    return {"battery_current_a": np.round(np.round(shown / step) * step, 3)}


def _voltage(
    plan: Plan, trace: Trace, at: np.ndarray, rng: np.random.Generator
) -> dict[str, np.ndarray]:
    if plan.recording.voltage == "none":
        return {}
    source = trace.bus_v if plan.recording.voltage == "bus" else trace.supply_v
    shown = np.interp(at, trace.time_s, source) + rng.normal(0.0, 0.01, at.size)
    return {"supply_voltage_v": np.round(shown + rng.normal(0.0, 0.03), 2)}


def _slip(plan: Plan, column: np.ndarray) -> None:
    if plan.recording.typing_slip is not None:
        place, times = plan.recording.typing_slip
        column[round(place * (column.size - 1))] *= times


def _events(plan: Plan, elapsed: np.ndarray) -> tuple[Event, ...]:
    kind = plan.recording.events
    if kind in ("fourth", "every"):
        each = 4 if kind == "fourth" else 1
        return tuple(
            Event(elapsed_s=float(t), text=EVERY_ROW[k % len(EVERY_ROW)])
            for k, t in enumerate(elapsed[::each])
        )
    if kind == "none":
        return ()
    marks = [
        (float(elapsed[np.argmin(np.abs(elapsed - step.at_s))]), step.by_a)
        for step in plan.bus.steps
        if step.marked and step.at_s <= elapsed[-1]
    ]
    words = {True: "consumer on", False: "consumer off"}
    return tuple(Event(elapsed_s=t, text=words[by > 0.0]) for t, by in sorted(marks))


def battery_of(plan: Plan, charge_time_h: float | None, rng: np.random.Generator) -> Battery:
    """The battery as its plate, card and record say."""
    cell, recording = plan.cell, plan.recording
    history = None
    if charge_time_h is not None:
        learned = charge_time_h * float(np.exp(rng.normal(0.0, HISTORY_ERROR)))
        history = History(charge_time_h=float(np.clip(learned, 0.01, 19.0)))
    return Battery(
        tail="DEMO-1",
        chemistry=cell.chemistry,
        cells=cell.cells,
        rated_capacity_ah=cell.plate_ah * recording.typed_capacity_times,
        limits=_card(plan),
        history=history,
        capacity_check=_check(plan),
        last_known=_last_known(plan),
    )


def _card(plan: Plan) -> Limits:
    if not plan.recording.card:
        return Limits()
    return Limits(
        document="Invented maintenance manual DEMO-MM-1, revision B",
        charge_voltage_min_v=plan.source.named_v - 1.0,
        charge_voltage_max_v=plan.source.named_v + 1.0,
        charge_temp_min_c=0.0,
        charge_temp_max_c=45.0,
        min_top_off_soc=0.75,
        min_capacity_fraction=0.80,
    )


def _check(plan: Plan) -> CapacityCheck | None:
    if plan.recording.check is None:
        return None
    factor, days = plan.recording.check
    true = plan.cell.capacity_ah * factor * plan.recording.typed_check_times
    return CapacityCheck(on=ON - timedelta(days=days), capacity_ah=round(true, 1))


def _last_known(plan: Plan) -> LastKnown | None:
    if plan.recording.last_known is None:
        return None
    soc, days = plan.recording.last_known
    return LastKnown(on=ON - timedelta(days=days), state_of_charge=round(soc, 3))


def supply_of(plan: Plan) -> Supply | None:
    """The supply as its plate says."""
    if not plan.recording.supply_given:
        return None
    return Supply(rated_current_a=plan.source.limit_a, set_voltage_v=plan.source.named_v)


def keywords_of(plan: Plan, rng: np.random.Generator) -> dict[str, Any]:
    """Keywords of `assess`: rest voltage, load, ambient temperature and day."""
    recording = plan.recording
    given: dict[str, Any] = {"on": ON}
    if recording.rest_voltage:
        given["rest_voltage_v"] = rest_voltage_v(plan, rng)
    if recording.told_load_error_a is not None:
        told_a = max(plan.bus.load_a + recording.told_load_error_a, 0.0)
        given |= {"load_a": round(told_a, 1), "load_sd_a": recording.told_load_sd_a}
    if recording.temperature == "ambient":
        given["ambient_c"] = round(plan.cell.ambient_c, 0)
    return given


def rest_voltage_v(plan: Plan, rng: np.random.Generator) -> float:
    """Open-circuit voltage read before connection [V]: the battery's own, a leak pulls it down."""
    cell = plan.cell
    per_cell = open_circuit_v(cell.chemistry, cell.soc, cell.temp_c) + cell.offset_v
    per_cell += plan.recording.surface_v
    true = (cell.cells - cell.lost_cells) * per_cell
    true -= cell.leak_a * cell.ohm_vh * cell.ohm_times * cell.cells / cell.capacity_ah
    return round(true + float(rng.normal(0.0, 0.02)), 2)


def history_charge_times_h(plans: list[Plan]) -> list[float]:
    """Charge to return over the current at connection [h] of each battery when it was sound.

    Watched once at 80 to 95 %, 28 V, about 20 degC, below the supply's limit; read once the first
    seconds have settled, side current apart.
    """
    watched = [_when_sound(plan) for plan in plans]
    found = []
    for trace in traces(watched):
        charging = float(np.interp(SETTLED_S, trace.time_s, trace.charging_a))
        missing = float(np.interp(SETTLED_S, trace.time_s, trace.missing_ah))
        found.append(missing / max(charging, 1e-6))
    return found


def _when_sound(plan: Plan) -> Plan:
    rng = np.random.default_rng((*plan.seed, 3))
    cell = {
        "capacity_ah": plan.cell.plate_ah * float(rng.uniform(0.95, 1.03)),
        "soc": float(rng.uniform(0.80, 0.95)),
        "temp_c": float(rng.uniform(12.0, 28.0)),
        **WITHOUT_FAULT,
    }
    source = {"set_v": plan.source.named_v, "limit_a": 5000.0} | STEADY
    plain = replace(plan.bus, wander_sd_a=0.0, drift_a=0.0, steps=())
    at_once = {"minutes": 1.0, "late_s": 0.0}
    return altered(replace(plan, bus=plain), cell=cell, source=source, recording=at_once)
