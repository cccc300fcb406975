"""Bus load and the supply's held voltage over time, as given by a plan."""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

from tests.benchmarks.sickbay.plan import Plan

WANDER_STEP_S = 5.0


def bus_load_a(plan: Plan, time_s: np.ndarray) -> np.ndarray:
    """True load of the bus [A] at times from connection, never below zero."""
    since_first = time_s - plan.recording.late_s
    load = plan.bus.load_a + wander_a(plan, time_s)
    window_s = 60.0 * plan.recording.minutes
    load = load + plan.bus.drift_a * np.clip(since_first / window_s, 0.0, 1.0)
    for step in plan.bus.steps:
        ends = np.inf if step.lasts_s is None else step.at_s + step.lasts_s
        load = load + step.by_a * ((since_first >= step.at_s) & (since_first < ends))
    return np.maximum(load, 0.0)


def wander_a(plan: Plan, time_s: np.ndarray) -> np.ndarray:
    """A mean-reverting random load [A] of the plan's spread and correlation time."""
    if plan.bus.wander_sd_a == 0.0:
        return np.zeros_like(time_s)
    nodes = np.arange(0.0, plan.end_s + 2.0 * WANDER_STEP_S, WANDER_STEP_S)
    keep = np.exp(-WANDER_STEP_S / plan.bus.wander_s)
    noise = np.random.default_rng((*plan.seed, 1)).normal(size=nodes.size)
    noise[1:] *= np.sqrt(1.0 - keep**2)
    return plan.bus.wander_sd_a * np.interp(time_s, nodes, lfilter([1.0], [1.0, -keep], noise))


def held_v(plan: Plan, time_s: np.ndarray) -> np.ndarray:
    """Voltage the supply regulates to [V] at times from connection, without sag."""
    source = plan.source
    settling = source.settling_v * np.exp(-time_s / source.settling_s)
    return source.set_v + settling + source.drift_v * time_s / max(plan.end_s, 1.0)


def is_tripped(plan: Plan, time_s: np.ndarray) -> np.ndarray:
    """Where the supply is off, as booleans."""
    if plan.source.trip is None:
        return np.zeros(time_s.shape, dtype=bool)
    starts, lasts = plan.source.trip
    since_first = time_s - plan.recording.late_s
    return (since_first >= starts) & (since_first < starts + lasts)
