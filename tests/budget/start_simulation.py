"""A motor's start on the bus by other equations than the tool's, solved by scipy.

Battery: voltage, resistance and one resistor-capacitor branch, which charges against a larger
resistance than it discharges with, as a battery near the end of its charge does. Supply: a
regulator that takes a finite time both to hold its voltage and to hold its limit. Motor:
resistance, inductance, back-voltage, inertia, and a load torque that rises with speed. All ranges
are own choices.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.integrate import solve_ivp

from batterymodel.budget.peaks import BusBattery, MotorStart, SupplyLine


@dataclass(frozen=True)
class TrueStart:
    """One true circuit; torque and speed of the motor are in volts and amperes of its winding.

    ``stored`` is the part of the overvoltage of charging that the battery still has when the motor
    starts.
    """

    rest_v: float
    prompt_ohm: float
    later_ohm: float
    later_s: float
    draw_a: float
    set_v: float
    limit_a: float
    line_ohm: float
    loop_s: float
    load_a: float
    motor_ohm: float
    motor_henry: float
    inertia_s: float
    torque_a: float
    torque_by_speed: float
    battery_joined: bool = True
    stored: float = 1.0


@dataclass(frozen=True)
class SeenStart:
    """What a perfect recorder on the bus sees of it, arrays over time."""

    time_s: np.ndarray
    bus_v: np.ndarray
    supply_a: np.ndarray
    battery_a: np.ndarray

    @property
    def battery_charge_ah(self) -> float:
        given = np.maximum(self.battery_a, 0.0)
        return float(np.trapezoid(given, self.time_s) / 3600.0)


def drawn_start(rng: np.random.Generator) -> TrueStart:
    """A sound 24 V battery of 17 to 60 Ah, a supply of 25 to 120 A, a motor of 40 to 250 A."""
    capacity, limit = rng.uniform(17.0, 60.0), rng.uniform(25.0, 120.0)
    ohm = 12.0 * _log_uniform(rng, 0.02, 0.06) / capacity + rng.uniform(0.001, 0.004)
    later = ohm * rng.uniform(0.15, 0.55)
    motor = 28.0 / _log_uniform(rng, 40.0, 250.0)
    running = rng.uniform(0.08, 0.35) * 28.0 / motor
    return TrueStart(
        rest_v=rng.uniform(24.4, 25.9),
        prompt_ohm=ohm - later,
        later_ohm=later,
        later_s=_log_uniform(rng, 0.015, 0.2),
        draw_a=_log_uniform(rng, 0.3, 0.3 * limit),
        set_v=rng.uniform(27.8, 28.6),
        limit_a=limit,
        line_ohm=_log_uniform(rng, 0.003, 0.025),
        loop_s=_log_uniform(rng, 0.0005, 0.01),
        load_a=rng.uniform(0.0, 0.6) * limit,
        motor_ohm=motor,
        motor_henry=motor * _log_uniform(rng, 0.0003, 0.004),
        inertia_s=_log_uniform(rng, 0.05, 0.8),
        torque_a=running,
        torque_by_speed=rng.uniform(0.0, 1.0),
    )


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def seen_start(true: TrueStart, length_s: float) -> SeenStart:
    """The start by an implicit solver of stiff equations, recorded evenly in the logarithm."""
    before_v = true.set_v - true.line_ohm * (true.load_a + true.draw_a)
    over_v = before_v - true.rest_v - true.prompt_ohm * true.draw_a if true.battery_joined else 0.0
    over_v *= true.stored
    charging_ohm = max(over_v / true.draw_a, true.later_ohm)
    farad = true.later_s / true.later_ohm

    def slopes(_: float, y: np.ndarray) -> list[float]:
        over, source, motor_a, back = y
        bus, _, battery = _bus(true, over, source, motor_a)
        wanted = min(true.set_v, bus + true.line_ohm * true.limit_a)
        branch = charging_ohm if over > 0.0 else true.later_ohm
        speed = max(back, 0.0) / 28.0
        torque = true.torque_a * (1.0 - true.torque_by_speed * (1.0 - speed**2))
        turns = back > 0.0 or motor_a > torque
        return [
            -(battery + over / branch) / farad,
            (wanted - source) / true.loop_s,
            (bus - motor_a * true.motor_ohm - back) / true.motor_henry,
            (motor_a - torque) * true.motor_ohm / true.inertia_s if turns else 0.0,
        ]

    time = np.concatenate([[0.0], np.geomspace(1e-5, length_s, 600)])
    start = [max(over_v, 0.0), true.set_v, 0.0, 0.0]
    y = solve_ivp(slopes, (0.0, length_s), start, "LSODA", t_eval=time, rtol=1e-5, atol=1e-6).y
    seen = np.array([_bus(true, *row[:3]) for row in y.T])
    return SeenStart(time, *seen.T)


def _bus(true: TrueStart, over: float, source: float, motor_a: float) -> tuple[float, float, float]:
    """Bus voltage, supply's and battery's current where the currents add up."""
    taken = true.load_a + motor_a
    if not true.battery_joined:
        return source - true.line_ohm * taken, taken, 0.0
    inner = true.rest_v + over
    bus = (inner / true.prompt_ohm + source / true.line_ohm - taken) / (
        1.0 / true.prompt_ohm + 1.0 / true.line_ohm
    )
    if source < bus:
        bus = inner - true.prompt_ohm * taken
        return bus, 0.0, taken
    return bus, (source - bus) / true.line_ohm, (inner - bus) / true.prompt_ohm


def as_told(true: TrueStart) -> tuple[MotorStart, SupplyLine, BusBattery]:
    """The figures of one circuit as instruments give them: no branch, no loop, no inductance.

    The motor's are those of its start on a bus that stays at 28 V; the resistance is what a load
    step shows within a second.
    """
    stiff = replace(true, rest_v=28.0, prompt_ohm=1e-6, later_ohm=1e-6, draw_a=1e-9, set_v=28.0)
    length = 12.0 * true.inertia_s
    motor = _motor_on(stiff, length)
    supply = SupplyLine(true.set_v, true.limit_a, true.line_ohm)
    ohm = true.prompt_ohm + true.later_ohm
    return motor, supply, BusBattery(true.rest_v, 0.0, ohm, 0.0, true.draw_a)


def _motor_on(stiff: TrueStart, length_s: float) -> MotorStart:
    def slopes(_: float, y: np.ndarray) -> list[float]:
        speed = max(y[1], 0.0) / 28.0
        torque = stiff.torque_a * (1.0 - stiff.torque_by_speed * (1.0 - speed**2))
        return [
            (28.0 - y[0] * stiff.motor_ohm - y[1]) / stiff.motor_henry,
            (y[0] - torque) * stiff.motor_ohm / stiff.inertia_s,
        ]

    time = np.concatenate([[0.0], np.geomspace(1e-5, length_s, 800)])
    solved = solve_ivp(slopes, (0.0, length_s), [0.0, 0.0], "LSODA", t_eval=time, rtol=1e-6)
    current = solved.y[0]
    peak, running = float(current.max()), float(current[-1])
    above = np.flatnonzero(current > running + 0.05 * (peak - running))
    return MotorStart(running, peak, float(time[above[-1]]), 0.0, 0.0)
