"""Lithium iron phosphate: does the tool say how little it knows?

``python -m tests.benchmarks.lithium --generate`` simulates connections of eight cells in series
with PyBaMM (parameter set "Prada2013": E. Prada et al., J. Electrochem. Soc. 160 (2013) A616, as
shipped; Doyle-Fuller-Newman model) and writes ``lithium.npz``; without the option it scores them
with the tool as in `tests.benchmarks.accuracy`. The set is for judging only and sets no parameter.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path

import numpy as np

from batterymodel import Battery, Readings, Supply
from batterymodel.samples.simulate import meter_reading_a
from tests.benchmarks.accuracy import Score, scored
from tests.benchmarks.cases import DRAWN, Case, Connection, Recording

SEED = 20261126
CELLS = 8
RATED_AH = 30.0
NOMINAL_AH = 2.3
END_V_PER_CELL = 2.5
HOLD_V_PER_CELL = 3.5
SOCS = np.linspace(0.20, 0.98, 14)
TEMPS_C = (0.0, 22.0, 40.0)
LIMITS_PER_H = (1.0, 3.0)
BATTERIES = 6
VARIED = (
    "Negative electrode thickness [m]",
    "Positive electrode thickness [m]",
    "Positive particle radius [m]",
    "Negative particle radius [m]",
)
CONTACT = "Contact resistance [Ohm]"
LEAST_RESISTANCE_OHM, MOST_RESISTANCE_OHM = 0.002, 0.02
"""Contact resistance of the 2.3 Ah cell; leads and contacts, which the published set leaves out."""

WINDOW_S = np.arange(0.0, 1201.0, 2.0)
DATA = Path(__file__).with_name("lithium.npz")
RECORDINGS = {
    "5 min, no history, load +-1 A, rest voltage": Recording(history=False, rest_voltage=DRAWN),
    "5 min, no history, load unknown": Recording(history=False, load_error_a=None),
    "20 min, no history, load +-1 A, rest voltage": Recording(
        minutes=20.0, history=False, rest_voltage=DRAWN
    ),
}


def generate() -> dict[str, np.ndarray]:
    """Battery current per rated ampere-hour of every connection, and its truth."""
    rng = np.random.default_rng(SEED)
    rows = []
    for battery in range(BATTERIES):
        scales = {name: float(rng.uniform(0.7, 1.3)) for name in VARIED}
        scales[CONTACT] = float(rng.uniform(LEAST_RESISTANCE_OHM, MOST_RESISTANCE_OHM))
        rated_ah = _rated_ah(scales)
        for soc in SOCS:
            temp, limit = float(rng.choice(TEMPS_C)), float(rng.choice(LIMITS_PER_H))
            row = _simulate(1.0 - float(soc), limit, temp, scales, rated_ah)
            if row is not None:
                rows.append((battery, float(soc), temp, limit, *row))
        print(f"battery {battery + 1} of {BATTERIES}: {len(rows)} connections", flush=True)
    names = ("battery", "soc", "temp_c", "limit_per_h", "rest_v", "rate")
    return {name: np.array([r[k] for r in rows]) for k, name in enumerate(names)}


def cases(recording: Recording) -> Iterator[Case]:
    """Every connection, recorded in one way."""
    with np.load(DATA) as data:
        for row in range(data["soc"].size):
            yield _recorded({k: data[k][row] for k in data.files}, row, recording)


def line(name: str, scores: list[Score]) -> str:
    """One row of the table."""
    kept = sum(s.outcome == "keep_watching" for s in scores)
    topped = sum(s.outcome == "top_off" for s in scores)
    width = 100.0 * np.median([s.high - s.low for s in scores])
    cover = 100.0 * np.mean([s.covered for s in scores])
    misses = sum(s.dangerous for s in scores)
    return (
        f"| {name} | {len(scores)} | {cover:.0f} % | {width:.0f} | {topped} | {kept} | "
        f"{len(scores) - kept - topped} | {misses} |"
    )


def table() -> Iterator[str]:
    """Rows of the table."""
    yield "| condition | cases | covered | width | top off | watch | service | misses |"
    yield "|---|---|---|---|---|---|---|---|"
    for name, recording in RECORDINGS.items():
        yield line(name, [scored(case) for case in cases(recording)])


def main(arguments: list[str] | None = None) -> int:
    """Write the data file, or print the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--generate", action="store_true", help="simulate and write the data file")
    if parser.parse_args(arguments).generate:
        np.savez_compressed(DATA, **generate())
        return 0
    for row in table():
        print(row, flush=True)
    return 0


def _recorded(row: dict[str, np.ndarray], number: int, recording: Recording) -> Case:
    rng = np.random.default_rng([9, number])
    load, limit = float(rng.uniform(0.0, 15.0)), float(row["limit_per_h"]) * RATED_AH + 15.0
    time = np.arange(0.0, 60.0 * recording.minutes + 0.1, recording.every_s or 30.0)
    battery_a = np.interp(time, WINDOW_S, row["rate"]) * RATED_AH
    supply_a = np.minimum(battery_a + load, limit)
    error = recording.load_error_a
    told = None if error is None else max(load + rng.uniform(-error, error), 0.0)
    rest_v = float(row["rest_v"]) * CELLS + rng.uniform(-0.05, 0.05)
    return Case(
        connection=Connection(
            row=number,
            battery=int(row["battery"]),
            soc=float(row["soc"]),
            temp_c=float(row["temp_c"]),
            hold_v=HOLD_V_PER_CELL * CELLS,
            limit_a=limit,
            load_a=load,
            rated_ah=RATED_AH,
            rest_v=rest_v,
            charge_time_h=float("nan"),
        ),
        recording=recording,
        readings=Readings(
            elapsed_s=time,
            supply_current_a=meter_reading_a(supply_a, recording.resolution_a, 0.03, rng),
            battery_temp_c=np.full(time.size, float(row["temp_c"])),
        ),
        battery=Battery(
            tail=f"DEMO-LFP-{int(row['battery'])}",
            chemistry="lfp",
            cells=CELLS,
            rated_capacity_ah=RATED_AH,
        ),
        supply=Supply(rated_current_a=limit, set_voltage_v=HOLD_V_PER_CELL * CELLS),
        load_a=told,
        load_sd_a=recording.load_sd_a,
        rest_voltage_v=rest_v if recording.rest_voltage == DRAWN else None,
    )


def _simulate(
    depth: float, limit_per_h: float, temp_c: float, scales: dict[str, float], rated_ah: float
) -> tuple[float, np.ndarray] | None:
    """Rest voltage per cell, and rate over `WINDOW_S`; None where the solver fails."""
    import pybamm

    step = pybamm.step
    first = [
        *_settling(rated_ah),
        step.current(0.2 * rated_ah, duration=depth / 0.2 * 3600.0, period=60),
        step.rest(duration=3600.0, period=600),
    ]
    connected = [
        step.current(
            -limit_per_h * rated_ah,
            duration=6 * 3600.0,
            period=2,
            termination=f"{HOLD_V_PER_CELL} V",
        ),
        step.voltage(HOLD_V_PER_CELL, duration=1500.0, period=1),
    ]
    try:
        cycles = _solved(first + connected, scales, temp_c)
    except Exception as error:
        print(f"left out: depth {depth:.2f}, {temp_c:g} degC ({type(error).__name__})", flush=True)
        return None
    parts = [c for c in cycles[len(first) :] if c is not None]
    time = np.concatenate([c["Time [s]"].entries for c in parts])
    current = -np.concatenate([c["Current [A]"].entries for c in parts])
    rest_v = float(cycles[len(first) - 1]["Battery voltage [V]"].entries[-1])
    return rest_v, np.interp(WINDOW_S, time - time[0], current) / rated_ah


def _rated_ah(scales: dict[str, float]) -> float:
    """One-hour capacity of the settled cell at 25 degC to its end voltage, nearly."""
    import pybamm

    discharge = pybamm.step.current(
        NOMINAL_AH, duration=3 * 3600.0, period=10, termination=f"{END_V_PER_CELL} V"
    )
    last = _solved([*_settling(NOMINAL_AH), discharge], scales, 25.0)[-1]
    times = last["Time [s]"].entries
    return float(times[-1] - times[0]) / 3600.0 * NOMINAL_AH


def _settling(rated_ah: float) -> list:
    import pybamm

    step, hold = pybamm.step, f"{HOLD_V_PER_CELL} V"
    return [
        step.current(-0.3 * rated_ah, duration=8 * 3600.0, termination=hold, period=60),
        step.voltage(HOLD_V_PER_CELL, duration=6 * 3600.0, termination="C/100", period=60),
        step.rest(duration=3600.0, period=600),
    ]


def _solved(steps: list, scales: dict[str, float], temp_c: float) -> list:
    import pybamm

    pybamm.set_logging_level("ERROR")
    values = pybamm.ParameterValues("Prada2013")
    values["Ambient temperature [K]"] = values["Initial temperature [K]"] = 273.15 + temp_c
    for name, scale in scales.items():
        values[name] = scale if name == CONTACT else scale * values[name]
    model = pybamm.lithium_ion.DFN({"contact resistance": "true"})
    experiment = pybamm.Experiment(steps)
    simulation = pybamm.Simulation(model, parameter_values=values, experiment=experiment)
    return list(simulation.solve(initial_soc=0.5).cycles)


if __name__ == "__main__":
    raise SystemExit(main())
