"""Families of sound batteries: many ways to record them, and bus loads that cry wolf."""

from __future__ import annotations

import numpy as np

from tests.benchmarks.sickbay.family import (
    ANY,
    EVERY_KIND,
    FULL,
    LEAD,
    LOW,
    VERY_FULL,
    Family,
    also,
    recorded,
    unchanged,
)
from tests.benchmarks.sickbay.plan import Plan, Step, altered


def _known_load(plan: Plan, rng: np.random.Generator) -> Plan:
    error = {"told_load_error_a": float(rng.normal(0.0, 0.5)), "told_load_sd_a": 0.5}
    return altered(plan, recording=error, bus={"steps": ()})


def _watched(minutes: float, **values: object) -> object:
    plain = {"rest_voltage": False, "history": False, "last_known": None, "surface_v": 0.0}
    return also(_known_load, recorded(**(plain | values), minutes=minutes, every_s=10.0))


def _cold(plan: Plan, rng: np.random.Generator) -> Plan:
    cold = float(rng.uniform(-25.0, -2.0))
    return altered(plan, cell={"temp_c": cold, "ambient_c": cold - float(rng.uniform(0.0, 4.0))})


def load_wanders(plan: Plan, rng: np.random.Generator) -> Plan:
    """A load that wanders by half an ampere."""
    wander = {"wander_sd_a": 0.5, "wander_s": float(rng.uniform(40.0, 400.0))}
    return altered(plan, bus=wander)


def fan_drifts(plan: Plan, rng: np.random.Generator) -> Plan:
    """A fan or inverter that takes 1 to 3 A more over the window."""
    return altered(plan, bus={"drift_a": float(rng.uniform(1.0, 3.0))})


def step_unmarked(plan: Plan, rng: np.random.Generator) -> Plan:
    """A consumer of 0.8 to 3 A switched on or off, and nobody wrote it down."""
    by = float(rng.uniform(0.8, 3.0)) * float(rng.choice([-1.0, 1.0]))
    at = float(rng.uniform(0.15, 0.85)) * 60.0 * plan.recording.minutes
    bus = {"steps": (Step(at, by, False),), "load_a": max(plan.bus.load_a, 4.0)}
    return altered(plan, bus=bus)


def steps_marked(plan: Plan, rng: np.random.Generator) -> Plan:
    """One to three consumers switched, each marked."""
    count = int(rng.integers(1, 4))
    window = 60.0 * plan.recording.minutes
    at = np.sort(rng.uniform(0.1, 0.9, count)) * window
    by = rng.uniform(1.0, 8.0, count) * rng.choice([-1.0, 1.0], count)
    steps = tuple(Step(float(t), float(a), True) for t, a in zip(at, by, strict=True))
    bus = {"steps": steps, "load_a": max(plan.bus.load_a, 20.0)}
    return altered(plan, bus=bus, recording={"events": "steps"})


def motors(plan: Plan, rng: np.random.Generator) -> Plan:
    """Motors that start again and again for seconds."""
    window, count = 60.0 * plan.recording.minutes, int(rng.integers(2, 7))
    steps = tuple(
        Step(float(t), float(rng.uniform(5.0, 30.0)), False, float(rng.uniform(2.0, 15.0)))
        for t in rng.uniform(0.0, window, count)
    )
    return altered(plan, bus={"steps": steps})


def load_untold(plan: Plan, rng: np.random.Generator) -> Plan:
    """A bus load of 2 to 25 A that nobody declared."""
    load = {"load_a": float(rng.uniform(2.0, 25.0))}
    return altered(plan, bus=load, recording={"told_load_error_a": None})


def load_told_wrong(plan: Plan, rng: np.random.Generator) -> Plan:
    """A load declared 3 to 10 A too high or too low."""
    error = float(rng.uniform(3.0, 10.0)) * float(rng.choice([-1.0, 1.0]))
    bus = {"load_a": max(plan.bus.load_a, 1.0 - min(error, 0.0))}
    return altered(plan, bus=bus, recording={"told_load_error_a": error, "told_load_sd_a": 0.5})


def trip(plan: Plan, rng: np.random.Generator) -> Plan:
    """The supply trips for 20 to 120 s in the middle."""
    minutes = max(plan.recording.minutes, 5.0)
    starts = float(rng.uniform(0.2, 0.6)) * 60.0 * minutes
    lasts = float(rng.uniform(20.0, 120.0))
    source = {"trip": (starts, lasts)}
    return altered(plan, source=source, recording={"minutes": minutes, "every_s": 10.0})


def slip(plan: Plan, rng: np.random.Generator) -> Plan:
    """One reading typed ten times too high or low."""
    mistake = (float(rng.uniform(0.1, 0.95)), float(rng.choice([10.0, 0.1])))
    return altered(plan, recording={"typing_slip": mistake})


def late(plan: Plan, rng: np.random.Generator) -> Plan:
    """Read from 10 to 30 minutes after connection, the clock from zero."""
    return altered(plan, recording={"late_s": 60.0 * float(rng.uniform(10.0, 30.0))})


SOUND = (
    Family("sound", EVERY_KIND, ANY, unchanged),
    Family("sound, full", EVERY_KIND, FULL, unchanged),
    Family("sound, near the limit", EVERY_KIND, (0.60, 0.85), unchanged),
    Family("full, 5 min, rest voltage", LEAD, VERY_FULL, _watched(5.0, rest_voltage=True)),
    Family("full, 5 min, history", EVERY_KIND, VERY_FULL, _watched(5.0, history=True)),
    Family("full, 20 min, neither", EVERY_KIND, VERY_FULL, _watched(20.0)),
    Family("low, rest voltage", LEAD, LOW, _watched(5.0, rest_voltage=True)),
    Family("low, history", EVERY_KIND, LOW, _watched(5.0, history=True)),
    Family("low, 20 min, neither", EVERY_KIND, LOW, _watched(20.0)),
    Family("cold", EVERY_KIND, ANY, _cold),
    Family("load wanders", EVERY_KIND, FULL, load_wanders),
    Family("fan drifts up", EVERY_KIND, FULL, fan_drifts),
    Family("unmarked step", EVERY_KIND, FULL, step_unmarked),
    Family("marked steps", EVERY_KIND, FULL, steps_marked),
    Family("motors", EVERY_KIND, FULL, motors),
    Family("load undeclared, full", EVERY_KIND, FULL, load_untold),
    Family("load declared wrong, full", EVERY_KIND, FULL, load_told_wrong),
    Family("supply trips, full", EVERY_KIND, FULL, trip),
    Family("slip in a reading, full", EVERY_KIND, FULL, slip),
    Family("late start, full", EVERY_KIND, FULL, late),
    Family("1 A meter", EVERY_KIND, ANY, recorded(resolution_a=1.0)),
    Family("by hand", EVERY_KIND, ANY, recorded(every_s=None)),
)
"""Families without a fault of the battery and without a mistake that hides its charge."""
