"""A sound battery, its bus, supply and recording, drawn at random: the start of every plan."""

from __future__ import annotations

import numpy as np

from batterymodel import Chemistry
from tests.benchmarks.sickbay.curves import KINDS
from tests.benchmarks.sickbay.plan import Bus, Cell, Plan, Recording, Source, Step

PLATES_AH = {
    Chemistry.VENTED_LEAD_ACID: (18.0, 24.0, 35.0, 40.0, 50.0),
    Chemistry.VRLA: (13.0, 18.0, 24.0, 28.0, 40.0, 44.0),
    Chemistry.NICD: (17.0, 22.0, 23.0, 36.0, 40.0, 43.0),
    Chemistry.LFP: (15.0, 18.0, 26.0, 36.0, 45.0),
}
WINDOWS_MIN = (2.0, 3.0, 5.0, 5.0, 8.0, 10.0, 15.0, 20.0)
EVERY_S = (5.0, 5.0, 10.0, 15.0, 30.0, 60.0, None)


def log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    """A value whose logarithm is uniform."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def drawn_plan(
    seed: tuple[int, ...],
    chemistry: Chemistry,
    law: str,
    soc: tuple[float, float],
    rng: np.random.Generator,
) -> Plan:
    """A sound battery in a range of states of charge, recorded in some way."""
    cell = drawn_cell(chemistry, law, soc, rng)
    bus, source = drawn_bus(rng), drawn_source(cell, rng)
    return Plan(seed, cell, bus, source, drawn_recording(cell, rng))


def drawn_cell(
    chemistry: Chemistry, law: str, soc: tuple[float, float], rng: np.random.Generator
) -> Cell:
    """A sound battery: 90 to 105 % of its plate, 8 to 33 degC."""
    kind = KINDS[chemistry]
    plate = float(rng.choice(PLATES_AH[chemistry]))
    ambient = float(rng.uniform(8.0, 33.0))
    return Cell(
        chemistry=chemistry,
        cells=int(rng.choice(kind.cells)),
        plate_ah=plate,
        capacity_ah=plate * float(rng.uniform(0.90, 1.05)),
        soc=float(rng.uniform(*soc)),
        temp_c=ambient + float(rng.uniform(-3.0, 3.0)),
        ambient_c=ambient,
        law=law,
        tau_h=log_uniform(rng, *kind.tau_h),
        ohm_vh=log_uniform(rng, *kind.ohm_vh),
        fast_share=float(rng.uniform(0.1, 0.8)),
        fast_s=log_uniform(rng, 5.0, 60.0),
        bend=float(rng.uniform(0.0, 1.0)),
        split=float(rng.uniform(0.0, 1.0)),
        lag=float(rng.uniform(0.0, 1.0)),
        side_per_h=log_uniform(rng, *kind.side_per_h),
        offset_v=float(rng.normal(0.0, kind.rest_sd_v)),
        warms_per_k=float(rng.uniform(0.003, 0.028)),
    )


def drawn_source(cell: Cell, rng: np.random.Generator) -> Source:
    """A supply within its tolerance, 1.5 to 7 times the plate's current, with its wires."""
    named = 28.5 if cell.cells == 20 else 28.0
    return Source(
        set_v=named + float(np.clip(rng.normal(0.0, 0.15), -0.4, 0.4)),
        limit_a=float(rng.choice([60.0, 100.0, 160.0, 300.0])),
        line_ohm=log_uniform(rng, 0.002, 0.012),
        lead_ohm=log_uniform(rng, 0.003, 0.03),
        settling_v=float(rng.uniform(-1.5, 1.0)) if rng.random() < 0.6 else 0.0,
        settling_s=float(rng.uniform(1.0, 5.0)),
        sag_ohm=float(rng.uniform(0.0, 0.004)),
        drift_v=float(rng.normal(0.0, 0.03)),
        named_v=named,
    )


def drawn_bus(rng: np.random.Generator) -> Bus:
    """A steady load of 1 to 25 A, at times with a motor that starts."""
    motors = ()
    if rng.random() < 0.2:
        lasts = float(rng.uniform(1.0, 8.0))
        motors = (Step(float(rng.uniform(20.0, 240.0)), float(rng.uniform(5, 25)), False, lasts),)
    return Bus(
        load_a=float(rng.uniform(1.0, 25.0)),
        wander_sd_a=float(rng.choice([0.0, 0.03, 0.08])),
        wander_s=log_uniform(rng, 30.0, 400.0),
        steps=motors,
    )


def drawn_recording(cell: Cell, rng: np.random.Generator) -> Recording:
    """One way to record out of many."""
    minutes = float(rng.choice(WINDOWS_MIN))
    every = EVERY_S[rng.integers(len(EVERY_S))]
    if every is not None and 60.0 * minutes / every < 7.0:
        every = None
    resolution = float(rng.choice([0.1, 0.1, 0.5, 1.0]))
    error = drawn_load_error_a(rng)
    return Recording(
        minutes=minutes,
        every_s=every,
        resolution_a=resolution,
        noise_a=float(rng.choice([0.02, 0.05, 0.15])),
        offset_a=float(rng.normal(0.0, 0.08)),
        clamp="good" if rng.random() < 0.3 else "none",
        clamp_offset_a=float(rng.normal(0.0, 0.12)),
        voltage=str(rng.choice(["none", "bus", "supply"])),
        temperature=str(rng.choice(["none", "ambient", "column"])),
        events=str(rng.choice(["none", "steps", "steps", "fourth", "every"])),
        rest_voltage=bool(rng.random() < 0.45),
        surface_v=drawn_surface_v(cell, rng),
        told_load_error_a=error[0],
        told_load_sd_a=error[1],
        history=bool(rng.random() < 0.4),
        check=drawn_check(rng),
        last_known=drawn_last_known(cell, rng),
        supply_given=bool(rng.random() < 0.85),
        card=bool(rng.random() < 0.5),
    )


def drawn_load_error_a(rng: np.random.Generator) -> tuple[float | None, float]:
    """Error of the declared load and its stated standard error [A]; None: not declared."""
    if rng.random() < 0.2:
        return None, 0.5
    sd = float(rng.choice([0.1, 0.5, 1.0]))
    return float(rng.normal(0.0, sd)), sd


def drawn_surface_v(cell: Cell, rng: np.random.Generator) -> float:
    """Surface charge left on the battery's rest voltage [V per cell], one time in seven."""
    return float(rng.uniform(0.005, 0.035)) if rng.random() < 1.0 / 7.0 else 0.0


def drawn_check(rng: np.random.Generator) -> tuple[float, int] | None:
    """Error factor of a capacity check and its age [days]; None: no check on file."""
    if rng.random() < 0.5:
        return None
    return float(rng.normal(1.0, 0.03)), int(rng.choice([20, 120, 300]))


def drawn_last_known(cell: Cell, rng: np.random.Generator) -> tuple[float, int] | None:
    """State of charge on record, true within five points, and its age [days]."""
    if rng.random() < 0.8:
        return None
    return float(np.clip(cell.soc + rng.normal(0.0, 0.04), 0.02, 1.0)), int(rng.integers(1, 20))
