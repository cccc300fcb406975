"""The ground power budget: is the choice of consumers the best, and how long does it take?

``python -m tests.benchmarks.power_budget [--cases 1000] [--large 100]`` compares the choice with
every set tried on random configurations of up to 14 consumers, and times whole budgets of 60
consumers under three limits, most of them too large for their supply.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Iterator

import numpy as np

from batterymodel import Supply
from batterymodel.basis.intervals import interval_around
from batterymodel.budget.battery import BatteryNow
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Verdict
from batterymodel.budget.selection import most_kept
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from tests.budget.cases import random_configuration, tried_all

CASES, LARGE, CONSUMERS = 1_000, 100, 60


def choices_right(cases: int) -> tuple[int, int]:
    """How many choices are those of every set tried, and how many of the cases fit at all."""
    right = fitting = 0
    for seed in range(cases):
        ceilings, must, wants = random_configuration(seed)
        choice, best = most_kept(ceilings, must, wants), tried_all(ceilings, must, wants)
        fitting += best is not None
        same = best is not None and choice.runs.tolist() == best.tolist()
        right += same if choice.fits else best is None
    return right, fitting


def large_plan(seed: int) -> tuple[AircraftLoads, Task, Supply]:
    """An aircraft of 60 consumers, most of them wanted, on a supply for a part of them."""
    rng = np.random.default_rng(seed)
    consumers = tuple(
        Consumer(
            name=f"C{k}",
            continuous_a=float(rng.uniform(0.3, 12.0)),
            continuous_sd_a=float(rng.uniform(0.0, 2.0)),
            duty=float(rng.uniform(0.2, 1.0)),
            may_switch_off=bool(rng.random() < 0.95),
        )
        for k in range(CONSUMERS)
    )
    names = [one.name for one in consumers]
    needs = names[:4]
    wants = [str(name) for name in rng.permutation(names[4:])]
    loads = AircraftLoads(tail="X", consumers=consumers)
    task = Task(name="t", minutes=240.0, needs=tuple(needs), wants=tuple(wants))
    total_a = sum(one.continuous_a for one in consumers)
    supply = Supply(
        rated_current_a=float(rng.uniform(0.3, 0.9)) * total_a,
        input_voltage_v=230.0,
        circuit_breaker_a=float(rng.uniform(0.05, 0.12)) * total_a,
    )
    return loads, task, supply


def large_times_ms(cases: int) -> tuple[np.ndarray, int]:
    """Milliseconds of each whole budget, and how many had to leave something off."""
    battery = BatteryNow(interval_around(8.0, 1.5), 0.5, 900.0)
    taken, less = [], 0
    for seed in range(cases):
        loads, task, supply = large_plan(seed)
        begun = time.perf_counter()
        found = budget(loads, task, supply, battery)
        taken.append(1000.0 * (time.perf_counter() - begun))
        less += found.verdict is Verdict.FITS_WITH_LESS
    return np.array(taken), less


def lines(cases: int = CASES, large: int = LARGE) -> Iterator[str]:
    """What was measured, one line each."""
    right, fitting = choices_right(cases)
    yield f"- choices that are those of every set tried: {right:,} of {cases:,} ({fitting:,} fit)"
    taken, less = large_times_ms(large)
    yield (
        f"- {CONSUMERS} consumers, {large} budgets, {less} of which leave something off: median "
        f"{np.median(taken):.0f} ms, 95 % within {np.quantile(taken, 0.95):.0f} ms, most "
        f"{taken.max():.0f} ms"
    )


def main(arguments: list[str] | None = None) -> int:
    """Print the lines."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--cases", type=int, default=CASES, help="small configurations (1000)")
    parser.add_argument("--large", type=int, default=LARGE, help="budgets of 60 consumers (100)")
    options = parser.parse_args(arguments)
    for line in lines(options.cases, options.large):
        print(line, flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
