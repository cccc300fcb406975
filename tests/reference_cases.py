"""Connections with a known state of charge from the electrochemical reference, assessed.

A 40 Ah battery of 12 cells held at 28.0 V (2.333 V/cell), 10 A bus load that is known, a meter
with 0.1 A steps read every 5 s for five minutes. The history of each battery comes from the tool
itself: one completed taper of 15 % depth. ``python -m tests.reference_cases`` prints the errors.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel import Assessment, Battery, History, Readings, Supply, assess
from tests.reference_battery import connection, geometries

RATED_AH = 40.0
LOAD_A = 10.0
SOCS = (0.20, 0.40, 0.60, 0.80, 0.90, 0.97)
PLATES = geometries(5, seed=7)
SMALL = Supply(rated_current_a=60.0)
LARGE = Supply(rated_current_a=160.0)


@dataclass(frozen=True)
class Judged:
    soc: float
    supply: Supply
    result: Assessment
    limited_throughout: bool

    @property
    def error(self) -> float:
        return self.result.state_of_charge.at_connection.mean - self.soc

    @property
    def covered(self) -> bool:
        interval = self.result.state_of_charge.at_connection
        return interval.low <= self.soc <= interval.high


def readings_of(
    depth: float, plates: tuple, supply: Supply, seed: int, every_s: float, minutes: float
) -> Readings:
    room = supply.rated_current_a - LOAD_A
    run = connection(depth, room / RATED_AH, plates, hours=max(minutes / 60.0, 0.5))
    time = np.arange(0.0, 60.0 * minutes + 0.1, every_s)
    noise = np.random.default_rng(seed).normal(0.0, 0.03, time.size)
    current = np.minimum(run.current_a(time, RATED_AH) + LOAD_A, supply.rated_current_a)
    return Readings(elapsed_s=time, supply_current_a=np.round(current + noise, 1))


def battery(history: History | None) -> Battery:
    return Battery(
        tail="DEMO-1",
        chemistry="vrla",
        cells=12,
        rated_capacity_ah=RATED_AH,
        history=history,
        capacity_check={"on": "2026-01-05", "capacity_ah": RATED_AH, "capacity_sd_ah": 1.0},
    )


def learned(plates: tuple) -> History:
    long = readings_of(0.15, plates, LARGE, 99, 15.0, 150.0)
    history = assess(long, battery(None), LARGE, load_a=LOAD_A, load_sd_a=0.05).learned_history
    assert history is not None
    return history


def judged_cases() -> dict[bool, list[Judged]]:
    """Every case assessed without (False) and with (True) the battery's history."""
    found: dict[bool, list[Judged]] = {False: [], True: []}
    for p, plates in enumerate(PLATES):
        histories = {False: None, True: learned(plates)}
        for supply in (SMALL, LARGE):
            for k, soc in enumerate(SOCS):
                readings = readings_of(1.0 - soc, plates, supply, 10 * p + k, 5.0, 5.0)
                limited = float(readings.supply_current_a.min()) > supply.rated_current_a - 0.5
                for known, history in histories.items():
                    result = assess(
                        readings, battery(history), supply, load_a=LOAD_A, load_sd_a=0.05
                    )
                    found[known].append(Judged(soc, supply, result, limited))
    return found


def main() -> None:
    """Print error, coverage and outcomes by history and supply."""
    for known, cases in judged_cases().items():
        for supply in (SMALL, LARGE):
            mine = [j for j in cases if j.supply is supply]
            free = 100 * np.abs([j.error for j in mine if not j.limited_throughout])
            print(
                f"{'with' if known else 'without'} history, {supply.rated_current_a:.0f} A supply: "
                f"{len(mine)} cases, {len(mine) - free.size} limited throughout; error "
                f"median {np.median(free):.1f}, 90th percentile {np.quantile(free, 0.9):.1f}, "
                f"largest {free.max():.1f} points; 90 % interval covers "
                f"{100 * np.mean([j.covered for j in mine]):.0f} %"
            )
            for soc in SOCS:
                outcomes = [j.result.outcome.value for j in mine if j.soc == soc]
                counts = {o: outcomes.count(o) for o in sorted(set(outcomes))}
                print(f"    {100 * soc:.0f} %: {counts}")


if __name__ == "__main__":
    main()
