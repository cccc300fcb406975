"""Generate the reference set: lead-acid connections nobody tuned to, from the physics model.

``python -m tests.benchmarks.generate [--jobs N]`` simulates every battery of `draw_batteries` with
PyBaMM (see `tests.reference_battery` for model and source) and writes ``lead_acid.npz`` beside this
file. About two seconds a connection. Half of the batteries is for calibration, half for tests (see
`half_of`); a battery is never in both. The second and third draw were made after the ones before
had been seen; all of the third are for tests.
"""

from __future__ import annotations

import argparse
import multiprocessing
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from tests.reference_battery import rated_fraction, settled_connection

SEED = 20261125
FIRST_DRAW = 32
SECOND_DRAW = 16
THIRD_DRAW = 8
CONNECTIONS = 32
CALIBRATION, TEST = "calibration", "test"
CELLS = 12
SPREAD = 0.4
THICKNESS = (
    "Negative electrode thickness [m]",
    "Positive electrode thickness [m]",
    "Separator thickness [m]",
)
VARIED = (
    "Electrode height [m]",
    "Electrolyte diffusivity [m2.s-1]",
    "Negative electrode conductivity [S.m-1]",
    "Positive electrode conductivity [S.m-1]",
    "Negative electrode exchange-current density [A.m-2]",
    "Positive electrode exchange-current density [A.m-2]",
)
CONDUCTIVITY = "Electrolyte conductivity [S.m-1]"
LEAST_CONDUCTIVITY = 0.25
"""Everything within 40 % gives charge times of 0.21 to 0.50 h; the conductivity goes further down
and two batteries of each half stand at the corners, so that the set spans 0.2 to 0.8 h."""

SLOW_CORNER, FAST_CORNER = (1.4, 0.25), (0.6, 1.4)
NEARLY_SLOW, NEARLY_FAST = (1.35, 0.27), (0.65, 1.3)
"""Thickness and electrolyte conductivity of the corner batteries, all else as published."""

POROSITY = ("Maximum porosity of negative electrode", "Maximum porosity of positive electrode")
TEMPS_C = (0.0, 10.0, 22.0, 40.0)
HOLDS_V = (27.5, 28.0, 28.5)
LIMITS = (1.0, 3.0)
RATED_AH = (17.0, 24.0, 36.0, 44.0)
WINDOW_S = np.concatenate([np.arange(0, 60, 1), np.arange(60, 300, 5), np.arange(300, 1201, 10)])
TAPER_S = np.arange(0.0, 5 * 3600.0 + 1.0, 30.0)
DATA = Path(__file__).with_name("lead_acid.npz")


@dataclass(frozen=True)
class PlannedConnection:
    """One connection to simulate: state of charge, temperature, supply and load."""

    soc: float
    temp_c: float
    hold_v: float
    limit_per_h: float
    load_a: float


@dataclass(frozen=True)
class PlannedBattery:
    """One battery to simulate: scale factors of its cell and its connections."""

    scales: tuple[tuple[str, float], ...]
    rated_ah: float
    connections: tuple[PlannedConnection, ...]


def draw_batteries() -> list[PlannedBattery]:
    """All batteries and connections, from the fixed seeds."""
    rng = np.random.default_rng(SEED)
    first = [_draw_battery(rng) for _ in range(FIRST_DRAW)]
    rng = np.random.default_rng(SEED + 1)
    half = SECOND_DRAW // 2
    second = [_draw_battery(rng) for _ in range(SECOND_DRAW)]
    for start in (0, half):
        second[start] = replace(second[start], scales=_corner(*SLOW_CORNER))
        second[start + 1] = replace(second[start + 1], scales=_corner(*FAST_CORNER))
    rng = np.random.default_rng(SEED + 2)
    third = [_draw_battery(rng) for _ in range(THIRD_DRAW)]
    third[0] = replace(third[0], scales=_corner(*NEARLY_SLOW))
    third[1] = replace(third[1], scales=_corner(*NEARLY_FAST))
    return first + second + third


def half_of(battery: int) -> str:
    """Which half a battery belongs to: of the first two draws, the first half calibrates."""
    if battery >= FIRST_DRAW + SECOND_DRAW:
        return TEST
    second = battery >= FIRST_DRAW
    place, draw = (battery - FIRST_DRAW, SECOND_DRAW) if second else (battery, FIRST_DRAW)
    return CALIBRATION if place < draw // 2 else TEST


def simulate_battery(plan: PlannedBattery) -> dict[str, np.ndarray] | None:
    """Currents per rated ampere-hour of every connection and of two completed tapers."""
    share = rated_fraction(plan.scales)
    rows = [row for c in plan.connections if (row := _simulate(plan, c, share)) is not None]
    tapers = [_taper(plan, depth, share) for depth in (0.12, 0.18)]
    return {
        "rate": np.array([r[0] for r in rows], dtype=np.float32),
        "rest_v": np.array([r[1] for r in rows]),
        "soc": np.array([r[2].soc for r in rows]),
        "temp_c": np.array([r[2].temp_c for r in rows]),
        "hold_v": np.array([r[2].hold_v for r in rows]),
        "limit_per_h": np.array([r[2].limit_per_h for r in rows]),
        "load_a": np.array([r[2].load_a for r in rows]),
        "unlimited": np.array([r[3] for r in rows]),
        "taper": np.array(tapers, dtype=np.float32),
        "rated_ah": np.full(len(rows), plan.rated_ah),
        "share": np.full(len(rows), share),
    }


def main(arguments: list[str] | None = None) -> int:
    """Simulate everything and write the data file."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--jobs", type=int, default=1, help="processes (1)")
    jobs = parser.parse_args(arguments).jobs
    plans = draw_batteries()
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        done = []
        for number, result in enumerate(pool.imap(simulate_battery, plans)):
            done.append(result)
            print(
                f"battery {number + 1} of {len(plans)}: {len(result['soc'])} connections",
                flush=True,
            )
    rows = {k: np.concatenate([d[k] for d in done]) for k in done[0] if k != "taper"}
    rows["battery"] = np.concatenate([np.full(len(d["soc"]), b) for b, d in enumerate(done)])
    rows["taper"] = np.array([d["taper"] for d in done])
    np.savez_compressed(DATA, window_s=WINDOW_S, taper_s=TAPER_S, **rows)
    print(f"wrote {rows['soc'].size} connections to {DATA.name}")
    return 0


def _draw_battery(rng: np.random.Generator) -> PlannedBattery:
    thickness = _log_uniform(rng, 1.0 - SPREAD, 1.0 + SPREAD)
    scales = [(name, thickness * _log_uniform(rng, 0.9, 1.1)) for name in THICKNESS]
    scales += [(name, _log_uniform(rng, 1.0 - SPREAD, 1.0 + SPREAD)) for name in VARIED]
    scales += [(CONDUCTIVITY, _log_uniform(rng, LEAST_CONDUCTIVITY, 1.0 + SPREAD))]
    scales += [(name, float(rng.uniform(1.0 - SPREAD / 2, 1.0 + SPREAD / 2))) for name in POROSITY]
    rated = float(rng.choice(RATED_AH))
    socs = rng.permutation(np.linspace(0.20, 0.98, CONNECTIONS))
    corners = [(t, v, k) for t in TEMPS_C for v in HOLDS_V for k in LIMITS]
    picks = [corners[i % len(corners)] for i in rng.permutation(CONNECTIONS)]
    planned = []
    for soc, (temp, hold, limit) in zip(socs, picks, strict=True):
        load = float(rng.uniform(0.0, min(30.0, 0.7 * limit * rated)))
        planned.append(PlannedConnection(float(soc), temp, hold, limit, load))
    return PlannedBattery(tuple(scales), rated, tuple(planned))


def _corner(thickness: float, conductivity: float) -> tuple[tuple[str, float], ...]:
    return (*((name, thickness) for name in THICKNESS), (CONDUCTIVITY, conductivity))


def _log_uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _simulate(
    plan: PlannedBattery, c: PlannedConnection, share: float
) -> tuple[np.ndarray, float, PlannedConnection, float] | None:
    room = c.limit_per_h - c.load_a / plan.rated_ah
    try:
        run = settled_connection(
            (1.0 - c.soc) * share, room * share, plan.scales, c.hold_v / CELLS, c.temp_c, 0.4
        )
    except Exception as error:
        print(f"left out: {c} ({type(error).__name__})", flush=True)
        return None
    rate = np.interp(WINDOW_S, run.time_s, run.c_rate_per_h) / share
    return rate, run.rest_v_per_cell * CELLS, c, run.first_rate_per_h / share


def _taper(plan: PlannedBattery, depth: float, share: float) -> np.ndarray:
    run = settled_connection(depth * share, 6.0, plan.scales, 28.0 / CELLS, 22.0, 5.0)
    return np.interp(TAPER_S, run.time_s, run.c_rate_per_h) / share


if __name__ == "__main__":
    raise SystemExit(main())
