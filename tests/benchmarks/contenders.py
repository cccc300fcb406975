"""Other ways to read the same five minutes, side by side with ours in one run.

``python -m tests.benchmarks.contenders`` prints error, coverage, misses and time per connection of
a plain `scipy.optimize.curve_fit` of a free exponential, an lmfit model with bounds, the rest
voltage alone, and `batterymodel.assess`, on the same connections.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np
from scipy.optimize import curve_fit

from batterymodel.basis.intervals import LEVEL
from batterymodel.soc.evidence import SOC_GRID, rest_voltage_evidence
from tests.benchmarks.accuracy import assessed
from tests.benchmarks.cases import DRAWN, Case, Recording, cases
from tests.benchmarks.generate import TEST

Z = 1.645
SERVICE_SOC = 0.75
OURS = "this tool"


@dataclass(frozen=True)
class Estimate:
    """State of charge at connection with its 90 % interval."""

    mean: float
    low: float
    high: float


def exponential(t: np.ndarray, floor: float, amplitude: float, tau: float) -> np.ndarray:
    """``floor + amplitude exp(-t / tau)``."""
    return floor + amplitude * np.exp(-t / tau)


def free_exponential(case: Case) -> Estimate:
    """curve_fit of a free exponential; charge to return is amplitude times time constant."""
    t, y = case.readings.elapsed_s, case.readings.supply_current_a - (case.load_a or 0.0)
    start = (0.0, max(float(y[0]), 0.1), 1000.0)
    best, covariance = curve_fit(exponential, t, y, p0=start, maxfev=2000)
    gradient = np.array([0.0, best[2], best[1]])
    return _of_charge(best[1] * best[2], float(gradient @ covariance @ gradient), case)


def bounded_model(case: Case) -> Estimate:
    """lmfit with a float current up to 5 % of capacity and a time constant from 2 to 60 minutes."""
    t, y = case.readings.elapsed_s, case.readings.supply_current_a - (case.load_a or 0.0)
    import lmfit

    model = lmfit.Model(exponential)
    parameters = model.make_params(
        floor={"value": 0.1, "min": -1.0, "max": 0.05 * case.connection.rated_ah},
        amplitude={"value": max(float(y[0]), 0.1), "min": 0.0, "max": 1000.0},
        tau={"value": 1000.0, "min": 120.0, "max": 3600.0},
    )
    result = model.fit(y, parameters, t=t)
    best = result.best_values
    covariance = result.covar if result.covar is not None else np.full((3, 3), np.inf)
    order = [result.var_names.index(n) for n in ("amplitude", "tau")]
    gradient = np.array([best["tau"], best["amplitude"]])
    variance = float(gradient @ covariance[np.ix_(order, order)] @ gradient)
    return _of_charge(best["amplitude"] * best["tau"], variance, case)


def rest_voltage_alone(case: Case) -> Estimate:
    """The rest-voltage evidence of the tool, nothing else."""
    evidence = rest_voltage_evidence(case.battery, case.rest_voltage_v, case.connection.temp_c)
    cumulative = np.cumsum(evidence.density)
    tail = (1.0 - LEVEL) / 2.0
    low, high = np.interp([tail, 1.0 - tail], cumulative / cumulative[-1], SOC_GRID)
    return Estimate(evidence.mean, float(low), float(high))


def ours(case: Case) -> Estimate:
    """The whole assessment."""
    soc = assessed(case).state_of_charge.at_connection
    return Estimate(soc.mean, soc.low, soc.high)


CONTENDERS: dict[str, Callable[[Case], Estimate]] = {
    "free exponential (curve_fit)": free_exponential,
    "bounded exponential (lmfit)": bounded_model,
    "rest voltage alone": rest_voltage_alone,
    OURS: ours,
}


@dataclass(frozen=True)
class Figures:
    """One contender over all cases: errors in points, share covered in percent."""

    median: float
    p95: float
    covered: float
    misses: int
    failed: int
    median_ms: float

    def row(self, label: str) -> str:
        """Row of the table, without the time, which differs by machine."""
        return (
            f"| {label} | {self.median:.1f} | {self.p95:.1f} | {self.covered:.0f} % | "
            f"{self.misses} | {self.failed} |"
        )


def figures(name: str, chosen: list[Case]) -> Figures:
    """Figures of one contender."""
    errors, covered, misses, failed, seconds = [], [], 0, 0, []
    for case in chosen:
        begun = time.perf_counter()
        try:
            estimate = CONTENDERS[name](case)
        except RuntimeError:
            failed += 1
            continue
        finally:
            seconds.append(time.perf_counter() - begun)
        errors.append(abs(estimate.mean - case.soc))
        covered.append(estimate.low <= case.soc <= estimate.high)
        misses += estimate.low >= SERVICE_SOC > case.soc
    return Figures(
        median=100 * float(np.median(errors)),
        p95=100 * float(np.quantile(errors, 0.95)),
        covered=100 * float(np.mean(covered)),
        misses=misses,
        failed=failed,
        median_ms=1000 * float(np.median(seconds)),
    )


def chosen_cases(half: str, history: bool) -> list[Case]:
    """Connections that never limit the supply, read for five minutes."""
    recording = Recording(history=history, rest_voltage=DRAWN)
    return [case for case in cases(half, recording) if not _limited_at_start(case)]


def table(half: str = TEST) -> Iterator[str]:
    """Every way without history, and the tool with it."""
    yield "| way | median error | 95th percentile | covered | misses | failed |"
    yield "|---|---|---|---|---|---|"
    unknown = chosen_cases(half, history=False)
    for name in CONTENDERS:
        label = f"{name}, no history" if name == OURS else name
        yield figures(name, unknown).row(label)
    yield figures(OURS, chosen_cases(half, history=True)).row(f"{OURS}, history")


def main(arguments: list[str] | None = None) -> int:
    """Print the comparison with and without history."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", default=TEST, choices=("calibration", "test"))
    half = parser.parse_args(arguments).half
    for history in (True, False):
        chosen = chosen_cases(half, history)
        known = "with history" if history else "without history"
        print(f"{len(chosen)} connections that never limit the supply, 5 minutes, {known}")
        print("| way | median error | 95th pct | covered | misses | failed | time |")
        print("|---|---|---|---|---|---|---|")
        for name in CONTENDERS:
            found = figures(name, chosen)
            print(f"{found.row(name)} {found.median_ms:.1f} ms |", flush=True)
    return 0


def _limited_at_start(case: Case) -> bool:
    return bool(case.readings.supply_current_a.max() > 0.985 * case.supply.rated_current_a)


def _of_charge(charge_as: float, variance: float, case: Case) -> Estimate:
    capacity = 3600.0 * case.connection.rated_ah
    mean, half = 1.0 - charge_as / capacity, Z * np.sqrt(max(variance, 0.0)) / capacity
    return Estimate(*(float(np.clip(v, -1.0, 1.0)) for v in (mean, mean - half, mean + half)))


if __name__ == "__main__":
    raise SystemExit(main())
