"""How long an assessment takes, as ratios within one run.

``python -m tests.benchmarks.speed`` times, in turns, on the same 300 readings: the whole
assessment, its fit alone, lmfit on the fit's own residuals (no derivatives), and one
`scipy.optimize.curve_fit` call of two exponentials and a float current; then the assessment of
up to a million readings; then the start of the command line over the import of numpy and pandas.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import time
from collections.abc import Callable, Iterator

import numpy as np
from scipy.optimize import curve_fit

from batterymodel import Battery, History, Readings, Supply, assess
from batterymodel.samples.simulate import TruePath, battery_current_a, meter_reading_a
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.prior import prior_for
from batterymodel.taper.problem import residuals, taper_data
from batterymodel.taper.signals import signal_from

LOAD_A, LOAD_SD_A = 8.0, 0.5
SUPPLY = Supply(rated_current_a=60.0)
BATTERY = Battery(
    tail="DEMO-1",
    chemistry="vrla",
    cells=12,
    rated_capacity_ah=40.0,
    history=History(charge_time_h=0.31, charge_time_rel_sd=0.06),
)
REPEATS = 41
ROWS = (300, 3_000, 30_000, 300_000, 1_000_000)


def readings(rows: int, minutes: float = 5.0) -> Readings:
    """A connection of a battery at 75 %, read so many times."""
    time_s = np.linspace(0.0, 60.0 * minutes, rows)
    path = TruePath(10.0, 0.31, 0.2, 0.125, 0.1)
    current = battery_current_a(path, time_s, np.full(rows, 52.0)) + LOAD_A
    rng = np.random.default_rng(1)
    return Readings(elapsed_s=time_s, supply_current_a=meter_reading_a(current, 0.1, 0.03, rng))


def ways(given: Readings) -> dict[str, Callable[[], object]]:
    """What is timed, by name."""
    import lmfit

    signal = signal_from(given, SUPPLY, LOAD_A, LOAD_SD_A)
    prior = prior_for(BATTERY, 25.0)
    data = taper_data(signal, prior)
    start = fit_taper(signal, prior)
    parameters = lmfit.Parameters()
    for name in start.names:
        parameters.add(name, value=0.0)
    opening = dict(
        zip(
            start.names,
            [data.amplitude_guess_a, prior.log_time_s, -1.5, prior.float_current_a, LOAD_A],
            strict=False,
        )
    )

    def by_lmfit() -> object:
        for name, value in opening.items():
            parameters[name].value = value
        return lmfit.minimize(
            lambda p: residuals(np.array([p[n].value for n in start.names]), data, prior),
            parameters,
        )

    t, y = given.elapsed_s, given.supply_current_a
    return {
        "assessment": lambda: assess(given, BATTERY, SUPPLY, load_a=LOAD_A, load_sd_a=LOAD_SD_A),
        "its fit alone": lambda: fit_taper(signal, prior),
        "lmfit, same model": by_lmfit,
        "one curve_fit": lambda: curve_fit(
            _two_exponentials, t, y, p0=(8.0, 20.0, 1000.0, 5.0, 100.0), maxfev=4000
        ),
    }


def median_ms(timed: dict[str, Callable[[], object]], repeats: int) -> dict[str, float]:
    """Median milliseconds of each, taken in turns."""
    taken: dict[str, list[float]] = {name: [] for name in timed}
    for _ in range(repeats):
        for name, call in timed.items():
            begun = time.perf_counter()
            call()
            taken[name].append(time.perf_counter() - begun)
    return {name: 1000.0 * float(np.median(values)) for name, values in taken.items()}


def starts() -> dict[str, Callable[[], object]]:
    """Processes that are timed from start to end, by name."""

    def start(*words: str) -> Callable[[], object]:
        return lambda: subprocess.run([sys.executable, *words], check=True, capture_output=True)

    return {
        "numpy and pandas": start("-c", "import numpy, pandas"),
        "--help": start("-m", "batterymodel", "--help"),
        "import batterymodel": start("-c", "import batterymodel"),
        "import of assess": start("-c", "from batterymodel import assess"),
    }


def lines(repeats: int = REPEATS) -> Iterator[str]:
    """The ratios, one line each."""
    taken = median_ms(ways(readings(300)), repeats)
    for name, ms in taken.items():
        yield f"- {name}: {ms:.1f} ms, {ms / taken['one curve_fit']:.1f} x one curve_fit"
    fitter = taken["lmfit, same model"]
    yield f"- lmfit over assessment: {fitter / taken['assessment']:.1f}"
    yield f"- lmfit over the fit alone: {fitter / taken['its fit alone']:.1f}"
    for rows in ROWS:
        ms = assessment_ms(readings(rows))
        yield f"- {rows:,} readings: {ms:.0f} ms, {1000.0 * ms / rows:.2f} us a reading"
    begun = median_ms(starts(), 7)
    for name, ms in begun.items():
        yield f"- {name}: {ms:.0f} ms, {ms / begun['numpy and pandas']:.2f} x numpy and pandas"


def assessment_ms(given: Readings) -> float:
    """Median milliseconds of three assessments."""
    return median_ms({"": lambda: assess(given, BATTERY, SUPPLY, load_a=LOAD_A)}, 3)[""]


def main(arguments: list[str] | None = None) -> int:
    """Print the ratios."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--repeats", type=int, default=REPEATS)
    for line in lines(parser.parse_args(arguments).repeats):
        print(line, flush=True)
    return 0


def _two_exponentials(
    t: np.ndarray, floor: float, slow: float, tau: float, fast: float, tau_fast: float
) -> np.ndarray:
    return floor + slow * np.exp(-t / tau) + fast * np.exp(-t / tau_fast)


if __name__ == "__main__":
    raise SystemExit(main())
