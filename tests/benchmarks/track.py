"""How soon a record of answers that turned out wrong brings ranges back, and what it costs.

``python -m tests.benchmarks.track [--orders 400]`` takes the completed tapers of the reference set
(`tests.benchmarks.cases`): each gives an answer from its first five minutes and, by its end, the
charge it truly returned. It prints, for beliefs that are right and deliberately wrong, how often
ranges hold the true charge without a record and after so many scored cases, in many orders of the
cases. What scores is the charge as the tool reads it off the whole taper; what is printed is held
against the simulation's own.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import date

import numpy as np
import pytest

from batterymodel import Battery, Chemistry, Readings, assess
from batterymodel.reference import chemistry
from batterymodel.samples.simulate import meter_reading_a
from batterymodel.soc import account
from batterymodel.taper import fit
from batterymodel.track.answers import EARLY_S, answer_of, first_part
from batterymodel.track.conformal import MANY_CASES, needed_factor, widening_of
from batterymodel.track.truths import returned_charge
from tests.benchmarks.cases import CELLS, reference_set

ON, SEED, ORDERS = date(2026, 3, 2), 20261126, 400
STARTS_S = (0.0, 0.0, 600.0, 1200.0)
"""How far into its taper a battery is connected [s]: from nearly full ones too."""

AFTER, LOAD_ERROR_A, STEP_S = 30, 1.0, 10.0
STAGES = (9, AFTER, 60)


@dataclass(frozen=True)
class Belief:
    """How the belief in the charge time is spoilt: its factor, its spread's, and no other law."""

    name: str
    time_by: float = 1.0
    spread_by: float = 1.0
    one_law: bool = False


BELIEFS = (
    Belief("as it is"),
    Belief("charge time x 2", 2.0),
    Belief("x 2, and believed ten times as firmly", 2.0, 0.1),
    Belief("same, and no other law or slow taper allowed for", 2.0, 0.1, True),
    Belief("as it is, and no other law allowed for", one_law=True),
)


@dataclass(frozen=True)
class TaperCase:
    """One connection: what its range needed by the taper's end, and by the true charge."""

    needed: float | None
    truly_needed: float
    returned_error: float | None
    outcome: str


@contextmanager
def believing(belief: Belief) -> Iterator[None]:
    """The tool with this belief in valve-regulated batteries."""
    data = chemistry.CHEMISTRIES[Chemistry.VRLA]
    taper = replace(
        data.taper,
        time_constant_h=belief.time_by * data.taper.time_constant_h,
        time_constant_log_sd=belief.spread_by * data.taper.time_constant_log_sd,
    )
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(chemistry.CHEMISTRIES, Chemistry.VRLA, replace(data, taper=taper))
        if belief.one_law:
            patch.setattr(account, "_LAWS", np.ones_like(account._LAWS))
            patch.setattr(fit, "MOST_CONFLICT", np.inf)
        yield


def taper_cases(belief: Belief) -> list[TaperCase]:
    """Every taper of the reference set that is seen to its end, under a belief."""
    count = reference_set()["taper"].shape[0]
    with believing(belief):
        found = [_case(battery, k) for battery in range(count) for k in range(2)]
    return found


def _case(battery: int, number: int) -> TaperCase:
    data, rng = reference_set(), np.random.default_rng([SEED, battery, number])
    rated_ah = float(data["rated_ah"][data["battery"] == battery][0])
    start_s = float(rng.choice(STARTS_S))
    fine_s = np.arange(0.0, data["taper_s"][-1] - start_s, STEP_S)
    current_a = np.interp(fine_s + start_s, data["taper_s"], data["taper"][battery, number])
    current_a = np.maximum(current_a, 0.0) * rated_ah
    charge_ah = np.cumsum(current_a) * STEP_S / 3600.0
    end_s = fine_s[np.argmax(charge_ah > rng.uniform(0.95, 0.99) * charge_ah[-1])]
    time_s = np.unique(np.r_[np.arange(0.0, EARLY_S + 1.0, 15.0), np.arange(EARLY_S, end_s, 60.0)])
    load_a = rng.uniform(2.0, 15.0)
    shown_a = meter_reading_a(np.interp(time_s, fine_s, current_a) + load_a, 0.1, 0.03, rng)
    readings = Readings(
        elapsed_s=time_s, supply_current_a=shown_a, battery_temp_c=np.full(time_s.size, 22.0)
    )
    plate = Battery(tail="X", chemistry="vrla", cells=CELLS, rated_capacity_ah=rated_ah)
    told_a, sd_a = load_a + rng.uniform(-LOAD_ERROR_A, LOAD_ERROR_A), LOAD_ERROR_A / np.sqrt(3.0)
    truth_ah = float(charge_ah[-1] - np.interp(EARLY_S, fine_s, charge_ah))
    return _scored(readings, plate, told_a, float(sd_a), truth_ah)


def _scored(
    readings: Readings, plate: Battery, load_a: float, load_sd_a: float, truth_ah: float
) -> TaperCase:
    early = first_part(readings, EARLY_S)
    assert early is not None
    answer = answer_of(assess(early, plate, load_a=load_a, load_sd_a=load_sd_a, on=ON))
    told = answer.charge_to_return_ah
    seen = returned_charge(readings, plate, None, load_a, load_sd_a, None, answer.until_s)
    truly = needed_factor(told, truth_ah, 1e-9)
    assert truly is not None
    return TaperCase(
        needed=None if seen is None else needed_factor(told, seen.charge_ah, seen.sd_ah),
        truly_needed=truly,
        returned_error=None if seen is None else seen.charge_ah / truth_ah - 1.0,
        outcome=answer.outcome,
    )


@dataclass(frozen=True)
class Recovery:
    """Coverage of the true charge and mean factor by the number of cases scored before."""

    alone: float
    covered: dict[int, float]
    factor: dict[int, float]
    widened: dict[int, float]


def recovery(cases: Sequence[TaperCase], orders: int = ORDERS, seed: int = 1) -> Recovery:
    """Cases after so many scored ones, those that never score among them, in many orders."""
    scored = [case for case in cases if case.needed is not None]
    rng = np.random.default_rng(seed)
    stages = [s for s in (*STAGES, MANY_CASES) if s < len(scored)]
    held: dict[int, list[float]] = {stage: [] for stage in stages}
    factors: dict[int, list[float]] = {stage: [] for stage in stages}
    for _ in range(orders):
        order = rng.permutation(len(scored))
        for stage in stages:
            before = [scored[k].needed or 0.0 for k in order[:stage]]
            factor = widening_of(before).factor
            factors[stage].append(factor)
            later = [scored[k].truly_needed <= factor for k in order[stage:]] + [
                case.truly_needed <= factor for case in cases if case.needed is None
            ]
            held[stage].append(float(np.mean(later)))
    return Recovery(
        alone=float(np.mean([case.truly_needed <= 1.0 for case in cases])),
        covered={s: float(np.mean(v)) for s, v in held.items()},
        factor={s: float(np.mean(v)) for s, v in factors.items()},
        widened={s: float(np.mean(np.array(v) > 1.0)) for s, v in factors.items()},
    )


def lines(orders: int = ORDERS) -> Iterator[str]:
    """The table."""
    yield (
        "| belief in the charge time | scored of "
        f"{2 * reference_set()['taper'].shape[0]} | held without a record | "
        + " | ".join(f"after {s}: held, mean factor" for s in (*STAGES, MANY_CASES))
        + " | charge as read off |"
    )
    yield "|---" * (4 + len(STAGES) + 1) + "|"
    for belief in BELIEFS:
        cases = taper_cases(belief)
        found = recovery(cases, orders)
        errors = [100.0 * c.returned_error for c in cases if c.returned_error is not None]
        low, high = np.quantile(errors, [0.05, 0.95])
        stages = " | ".join(
            f"{100 * found.covered[s]:.0f} %, {found.factor[s]:.2f}" if s in found.covered else "-"
            for s in (*STAGES, MANY_CASES)
        )
        scored = sum(case.needed is not None for case in cases)
        yield (
            f"| {belief.name} | {scored} | {100 * found.alone:.0f} % | {stages} | "
            f"{low:+.0f} to {high:+.0f} % |"
        )


def main() -> None:
    """Command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--orders", type=int, default=ORDERS, help="orders of the cases (400)")
    for line in lines(parser.parse_args().orders):
        print(line, flush=True)


if __name__ == "__main__":
    main()
