"""Currents, voltages and temperatures of many planned cases at once.

The supply holds its voltage behind a line resistance; the bus load and the battery share it. The
battery is its open-circuit voltage, a law of charging, a first diffusion element, a side current
(Tafel in voltage, doubling every 9 K), a leak, and heat.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from batterymodel import Chemistry
from tests.benchmarks.sickbay.bus import bus_load_a, held_v, is_tripped
from tests.benchmarks.sickbay.curves import KINDS, SOC_NODES, rest_curve_v
from tests.benchmarks.sickbay.laws import LAW_OF, Law
from tests.benchmarks.sickbay.plan import LAWS, Plan

SIDE_DOUBLING_K = 9.0
"""Lead-acid self-discharge doubles every 8.4 to 9.6 K (US Army TM 9-6140-200-14, derived)."""

RESISTANCE_PER_K = -0.012
COOLING_S = 3.0 * 3600.0
LONG_S = 2100.0
LEAST_AT_TURN = 0.008
"""A runaway's side current at its turn, at least, over the plate [1/h] (own choice)."""

OPEN_A = 0.02


@dataclass(frozen=True)
class Trace:
    """What truly happens in one case, arrays ``(t,)`` from connection on."""

    time_s: np.ndarray
    battery_a: np.ndarray
    charging_a: np.ndarray
    bus_v: np.ndarray
    supply_v: np.ndarray
    battery_temp_c: np.ndarray
    missing_ah: np.ndarray


def traces(plans: Sequence[Plan]) -> list[Trace]:
    """Traces of the plans, in their order; plans of one law and length run together."""
    found: dict[int, Trace] = {}
    for law in LAWS:
        for long in (False, True):
            rows = [
                k for k, p in enumerate(plans) if p.cell.law == law and (p.end_s > LONG_S) == long
            ]
            if rows:
                together = _run([plans[k] for k in rows])
                found.update(zip(rows, together, strict=True))
    return [_with_runaway(plans[k], found[k]) for k in range(len(plans))]


def grid_s(end_s: float) -> np.ndarray:
    """Times of the simulation: every second for a minute, then every five."""
    return np.concatenate([np.arange(0.0, 60.0), np.arange(60.0, end_s + 10.0, 5.0)])


class _Batch:
    """Constants of plans that run together, arrays ``(n,)``."""

    def __init__(self, plans: Sequence[Plan]) -> None:
        cells = [p.cell for p in plans]
        kinds = [KINDS[c.chemistry] for c in cells]
        self.capacity_ah = _of(cells, "capacity_ah")
        self.cells = _of(cells, "cells") - _of(cells, "lost_cells")
        self.leak_a, self.fast_s = _of(cells, "leak_a"), _of(cells, "fast_s")
        self.temp_c, self.ambient_c = _of(cells, "temp_c"), _of(cells, "ambient_c")
        self.is_open = np.array([c.is_open for c in cells])
        sources = [p.source for p in plans]
        self.limit_a = _of(sources, "limit_a")
        self.line_ohm = _of(sources, "line_ohm") + _of(sources, "sag_ohm")
        self.sag_ohm = _of(sources, "sag_ohm")
        self.lead_ohm = _of(sources, "lead_ohm") + _of(cells, "joint_ohm")
        ohm = _of(cells, "ohm_vh") * _of(cells, "ohm_times")
        ohm = ohm * np.exp(RESISTANCE_PER_K * (self.temp_c - 25.0))
        self.ohm_vh, self.fast_vh = ohm, ohm * _of(cells, "fast_share")
        self.wire_vh = (self.line_ohm + self.lead_ohm) * self.capacity_ah / self.cells
        plate_over_true = _of(cells, "plate_ah") / self.capacity_ah
        self.side_per_h = _of(cells, "side_per_h") * plate_over_true
        self.side_v, self.fold_v = _of(kinds, "side_v"), _of(kinds, "side_fold_v")
        self.heat_j_per_k = _of(kinds, "heat_j_per_k_ah") * _of(cells, "plate_ah")
        shift = _of(cells, "offset_v") + _of(kinds, "charge_branch_v")
        self.curve_v = np.stack([rest_curve_v(c.chemistry) for c in cells]) + shift[:, None]
        self.law = self._law(plans)

    def _law(self, plans: Sequence[Plan]) -> Law:
        cells = [p.cell for p in plans]
        colder = np.exp(-_of(cells, "warms_per_k") * (self.temp_c - 25.0))
        slower = colder * _of(cells, "accepts")
        lithium = np.array([c.chemistry is Chemistry.LFP for c in cells])
        kinds = [KINDS[c.chemistry] for c in cells]
        return LAW_OF[cells[0].law](
            tau_h=_of(cells, "tau_h") * slower,
            resistance_vh=self.wire_vh + self.ohm_vh,
            bend=_of(cells, "bend"),
            split=_of(cells, "split"),
            lag=_of(cells, "lag"),
            headroom_v=np.maximum(_of(kinds, "side_v") - self.curve_v[:, -1], 0.03),
            scale_v=np.where(lithium, 0.06, 0.1) * (_of(kinds, "side_v") / 2.333) ** 0.5,
        )

    def open_circuit_v(self, missing: np.ndarray) -> np.ndarray:
        """Voltage [V per cell] of the charging curve at a missing share."""
        at = np.clip(1.0 - missing, 0.0, 1.0) * (SOC_NODES.size - 1)
        low = np.minimum(at.astype(int), SOC_NODES.size - 2)
        rows = np.arange(missing.size)
        left, right = self.curve_v[rows, low], self.curve_v[rows, low + 1]
        return left + (at - low) * (right - left)


def _of(parts: Sequence[object], name: str) -> np.ndarray:
    return np.array([float(getattr(part, name)) for part in parts])


def _run(plans: Sequence[Plan]) -> list[Trace]:
    batch = _Batch(plans)
    time = grid_s(max(p.end_s for p in plans))
    loads = np.stack([bus_load_a(p, time) for p in plans])
    held = np.stack([held_v(p, time) for p in plans])
    off = np.stack([is_tripped(p, time) for p in plans])
    charge = batch.law.start(1.0 - np.array([p.cell.soc for p in plans]))
    fast_v, temp = np.zeros(len(plans)), batch.temp_c.copy()
    rows = []
    for k, step_s in enumerate(np.diff(time, append=time[-1] + 5.0)):
        now = _currents(batch, charge, fast_v, temp, loads[:, k], held[:, k], off[:, k])
        rows.append((*now, temp.copy(), charge.missing * batch.capacity_ah))
        rate = now[1] / batch.capacity_ah
        fast_v += (rate * batch.fast_vh - fast_v) * -np.expm1(-step_s / batch.fast_s)
        temp += _warming(batch, now[0], now[1], temp) * step_s
        batch.law.advance(charge, rate, step_s / 3600.0)
    columns = [np.stack(column, axis=1) for column in zip(*rows, strict=True)]
    return [Trace(time, *(column[n] for column in columns)) for n in range(len(plans))]


def _currents(
    batch: _Batch,
    charge: object,
    fast_v: np.ndarray,
    temp_c: np.ndarray,
    load_a: np.ndarray,
    held_v: np.ndarray,
    off: np.ndarray,
) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Battery current, its charging part [A], bus and supply voltage [V] at one time."""
    bus_side_v = held_v - load_a * batch.line_ohm
    drive = (bus_side_v - batch.leak_a * (batch.line_ohm + batch.lead_ohm)) / batch.cells - fast_v
    free = batch.law.rate(drive, charge, batch.open_circuit_v)
    cell_v = drive + fast_v - free * batch.wire_vh
    side = (
        batch.side_per_h
        * np.exp(np.minimum((cell_v - batch.side_v) / batch.fold_v, 4.0))
        * 2.0 ** ((temp_c - 25.0) / SIDE_DOUBLING_K)
    )
    side_a = np.maximum(side * batch.capacity_ah / (1.0 + side * batch.wire_vh / batch.fold_v), 0.0)
    most_a = np.where(off, -load_a, batch.limit_a - load_a)
    other_a = np.where(batch.is_open, 0.0, side_a + batch.leak_a)
    charging = np.where(batch.is_open, 0.0, np.minimum(free * batch.capacity_ah, most_a - other_a))
    battery = charging + np.where(batch.is_open, OPEN_A, other_a)
    held_back = np.clip(charging / np.maximum(free * batch.capacity_ah, 1e-6), -1.0, 1.0)
    rest = batch.open_circuit_v(charge.missing)
    terminal = batch.cells * (rest + (cell_v - rest) * held_back)
    limited = (free * batch.capacity_ah > most_a - other_a) & ~batch.is_open
    free_bus = held_v - (load_a + battery) * batch.line_ohm
    bus_v = np.where(limited, np.minimum(terminal + battery * batch.lead_ohm, free_bus), free_bus)
    supply_v = np.where(limited, bus_v, held_v - (load_a + battery) * batch.sag_ohm)
    return battery, charging, bus_v, supply_v


def _warming(
    batch: _Batch, battery_a: np.ndarray, charging_a: np.ndarray, temp_c: np.ndarray
) -> np.ndarray:
    """Rate of warming [K/s]: resistance, all of the side current, cooling to the ambient."""
    ohm = batch.ohm_vh * batch.cells / batch.capacity_ah
    heat_w = charging_a**2 * ohm + (battery_a - charging_a) * batch.side_v * batch.cells
    return heat_w / batch.heat_j_per_k - (temp_c - batch.ambient_c) / COOLING_S


def _with_runaway(plan: Plan, trace: Trace) -> Trace:
    """The trace with a side current that doubles; from the turn on it outgrows the taper's fall."""
    cell = plan.cell
    if cell.doubling_s is None or cell.turn_s is None:
        return trace
    growth = np.log(2.0) / cell.doubling_s
    after = trace.time_s >= cell.turn_s
    fall = -np.gradient(trace.battery_a, trace.time_s)[after]
    needed = fall * np.exp(-growth * (trace.time_s[after] - cell.turn_s)) / growth
    at_turn = max(float(needed.max()), LEAST_AT_TURN * cell.plate_ah)
    extra = at_turn * np.exp(np.minimum(growth * (trace.time_s - cell.turn_s), 8.0))
    room = plan.source.limit_a - bus_load_a(plan, trace.time_s) - trace.battery_a
    extra = np.clip(extra, 0.0, np.maximum(room, 0.0))
    heat = KINDS[cell.chemistry].heat_j_per_k_ah * cell.plate_ah
    warming = np.cumsum(extra * plan.source.set_v * np.gradient(trace.time_s)) / heat
    return replace(
        trace,
        battery_a=trace.battery_a + extra,
        battery_temp_c=np.minimum(trace.battery_temp_c + warming, 115.0),
    )
