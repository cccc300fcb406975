"""How well the forecast of capacity holds: measured ageing series and simulated fleets.

``python -m tests.benchmarks.fade`` prints its tables. Constants were settled on the
calibration fleet and on the first halves of the measured series; the test fleet judges. The second
halves were looked at three times, with changes in between: see ``README.md`` beside this file.
"""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache
from pathlib import Path

import numpy as np
import pandas as pd

from batterymodel import Battery, Limits
from batterymodel.fade.fitted import HORIZON_YEARS, line_prior
from batterymodel.fade.forecast import CROSSING_LEVEL, fade_forecast
from batterymodel.fade.mixture import MODELS, Mixture
from batterymodel.fade.past_forecasts import LEAST_ORIGIN
from batterymodel.fade.paths import trend_paths
from batterymodel.inputs.check_record import CheckRecord
from tests.benchmarks.fleets import LIMIT, FleetBattery, fleet, fleet_of_other_shapes

SERIES = Path(__file__).resolve().parent.parent / "data" / "nasa_pcoe_capacity.csv"
END_OF_LIFE_AH = 1.4
RATED_CELL_AH = 2.0
CELL_SD_AH = 0.004
"""Error of one measured capacity of the cells [Ah]: their recorded scatter from cycle to cycle."""

CALIBRATION_SEED, TEST_SEED = 1, 3
BATTERIES = 120
TAIL = (1.0 - CROSSING_LEVEL) / 2.0
CHOSEN, ORDINARY = "the tool: mixture, widened", "ordinary straight line"

CELL = Battery(
    tail="CELL",
    chemistry="lfp",
    cells=1,
    rated_capacity_ah=RATED_CELL_AH,
    limits=Limits(document="end of life 30 % fade", min_capacity_fraction=0.7),
)
FLEET_BATTERY = Battery(tail="FLEET", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
TOLD_LITHIUM = Battery(tail="FLEET", chemistry="lfp", cells=8, rated_capacity_ah=40.0)


@dataclass(frozen=True)
class CellForecast:
    """Last cycle at or above 1.4 Ah of one cell: truth, straight line, and ours with interval."""

    cell: str
    origin: int
    truth: int
    crosses: bool
    line: float
    best: float
    low: float
    high: float
    model: str

    @property
    def relative_error(self) -> float:
        """Error of the best value over the truth; not meaningful where the cell never crosses."""
        return abs(self.best - self.truth) / self.truth

    @property
    def covered(self) -> bool:
        """The interval holds the truth; a record that ends above the limit is a lower bound."""
        return self.high >= self.truth and (self.low <= self.truth or not self.crosses)


@dataclass(frozen=True)
class CrossingCase:
    """Crossing date of one simulated battery from one origin, years from the last check."""

    model: str
    checks: int
    truth: float
    low: float
    best: float
    high: float
    log_density: float

    @property
    def covered(self) -> bool:
        """Beyond the horizon counts as infinite on both sides."""
        return self.low <= self.truth <= self.high

    @property
    def error_years(self) -> float:
        """Error of the best value, both cut at the horizon."""
        return abs(min(self.best, HORIZON_YEARS) - min(self.truth, HORIZON_YEARS))

    @property
    def width_years(self) -> float:
        """Width of the interval, cut at the horizon."""
        return min(self.high, HORIZON_YEARS) - min(self.low, HORIZON_YEARS)


@cache
def series() -> dict[str, np.ndarray]:
    """Measured capacity [Ah] by cycle, one array per cell."""
    frame = pd.read_csv(SERIES)
    return {str(cell): group["capacity_ah"].to_numpy() for cell, group in frame.groupby("battery")}


def cell_record(capacity_ah: np.ndarray) -> CheckRecord:
    """Record of checks of one cell from its first cycles."""
    n = capacity_ah.size
    return CheckRecord(
        at=np.arange(1.0, n + 1.0),
        capacity_ah=capacity_ah,
        sd_ah=np.full(n, CELL_SD_AH),
        in_service=np.zeros(n, bool),
        lower_bound=np.zeros(n, bool),
    )


def cell_forecast(cell: str, part: float = 0.5) -> CellForecast:
    """Forecast of one cell from the first part of its record."""
    whole = series()[cell]
    n = int(part * whole.size)
    above = np.flatnonzero(whole >= END_OF_LIFE_AH)
    found = fade_forecast(cell_record(whole[:n]), CELL)
    ends = [np.inf if v is None else float(v) for v in
            (found.crossing.best, found.crossing.low, found.crossing.high)]  # fmt: skip
    truth = int(above[-1]) + 1
    likeliest = max(found.models, key=lambda model: model.after)
    return CellForecast(
        cell, n, truth, truth < whole.size, ordinary_last_cycle(whole[:n]), *ends, likeliest.label
    )


def ordinary_last_cycle(capacity_ah: np.ndarray) -> float:
    """Last cycle at or above 1.4 Ah on an ordinary least-squares line."""
    slope, start = np.polyfit(np.arange(1, capacity_ah.size + 1), capacity_ah, 1)
    return float(np.floor((END_OF_LIFE_AH - start) / slope))


def fleet_record(battery: FleetBattery, n: int) -> CheckRecord:
    """The first checks of a simulated battery, as read."""
    rated = FLEET_BATTERY.rated_capacity_ah
    return CheckRecord(
        at=battery.years[:n] - battery.years[0],
        capacity_ah=battery.fraction[:n] * rated,
        sd_ah=battery.sd[:n] * rated,
        in_service=np.zeros(n, bool),
        lower_bound=np.zeros(n, bool),
        first_on=date(2020, 1, 1),
    )


def origins(battery: FleetBattery) -> list[int]:
    """Numbers of checks, from two, to forecast from while the battery is truly above its limit."""
    sound = [n for n in range(2, battery.years.size) if
             battery.years[n - 1] < battery.crossing_years]  # fmt: skip
    return sorted({sound[0], sound[len(sound) // 2], sound[-1]}) if sound else []


def fleet_cases(
    batteries: list[FleetBattery], told: Battery = FLEET_BATTERY
) -> Iterator[CrossingCase]:
    """Every model, the tool and an ordinary line, on every battery and origin."""
    prior = line_prior(told, "year")
    for battery in batteries:
        for n in origins(battery):
            since = battery.years - battery.years[0]
            last = float(since[n - 1])
            truth = battery.crossing_years - battery.years[n - 1]
            truth = truth if truth <= HORIZON_YEARS else np.inf
            later = slice(n, n + 4)
            for model in (*MODELS, Mixture):
                fitted = model(prior).fit(since[:n, None], battery.fraction[:n], battery.sd[:n])
                crossing = trend_paths(fitted, last, HORIZON_YEARS).crossing(LIMIT) - last
                quantiles = np.quantile(crossing, [TAIL, 0.5, 1.0 - TAIL], method="lower")
                density = fitted.log_density(
                    since[later, None], battery.fraction[later], battery.sd[later]
                ).mean()
                yield CrossingCase(model.label, n, truth, *quantiles, float(density))
            chosen = chosen_case(battery, n, truth, told)
            if chosen is not None:
                yield chosen
            line = ordinary_crossing(since[:n], battery.fraction[:n]) - last
            yield CrossingCase(ORDINARY, n, truth, line, line, line, np.nan)


def chosen_case(
    battery: FleetBattery, n: int, truth: float, told: Battery = FLEET_BATTERY
) -> CrossingCase | None:
    """What the tool says as a whole; None where it tells no date."""
    found = fade_forecast(fleet_record(battery, n), told).crossing
    if not found.dated:
        return None
    last = fleet_record(battery, n)
    day = last.moment(last.at[-1])
    ends = [np.inf if on is None else (on - day).days / 365.25 for on in
            (found.low, found.best, found.high)]  # fmt: skip
    return CrossingCase(CHOSEN, n, truth, *ends, np.nan)


def ordinary_crossing(years: np.ndarray, fraction: np.ndarray) -> float:
    """Crossing of an ordinary least-squares line [years]; infinite where it does not fall."""
    slope, start = np.polyfit(years, fraction, 1)
    at = (LIMIT - start) / slope if slope < 0.0 else np.inf
    return float(at)


def cells_table() -> str:
    """The measured cells from half of each record."""
    lines = [
        "| cell | from cycle | truth | ordinary straight line | forecast (80 %) | error | covers |",
        "|---|---|---|---|---|---|---|",
    ]
    for cell in series():
        case = cell_forecast(cell)
        truth = str(case.truth) if case.crosses else f"over {case.truth}"
        error = f"{100 * case.relative_error:.0f} %" if case.crosses else "-"
        ends = f"{_number(case.best)} ({_number(case.low)} to {_number(case.high)})"
        lines.append(
            f"| {case.cell} | {case.origin} | {truth} | {case.line:.0f} | {ends}, {case.model} | "
            f"{error} | {'yes' if case.covered else 'no'} |"
        )
    return "\n".join(lines)


def cells_models_table() -> str:
    """Rolling origins over the measured cells: mean error of later capacity by model."""
    prior = line_prior(CELL, "cycle")
    lines = ["| model | mean error, % of rated | log density |", "|---|---|---|"]
    for model in (*MODELS, Mixture):
        errors, densities = [], []
        for capacity in series().values():
            at, fraction = np.arange(1.0, capacity.size + 1.0)[:, None], capacity / RATED_CELL_AH
            for n in np.linspace(capacity.size // 4, 3 * capacity.size // 4, 5).astype(int):
                sd = np.full(capacity.size, CELL_SD_AH / RATED_CELL_AH)
                fitted = model(prior).fit(at[:n], fraction[:n], sd[:n])
                ahead = slice(n, n + capacity.size // 4)
                errors.append(np.abs(fitted.predict(at[ahead]) - fraction[ahead]).mean())
                densities.append(fitted.log_density(at[ahead], fraction[ahead], sd[ahead]).mean())
        lines.append(f"| {model.label} | {100 * np.mean(errors):.2f} | {np.mean(densities):.2f} |")
    return "\n".join(lines)


def fleet_table(cases: list[CrossingCase]) -> str:
    """Coverage, error and width of the crossing date by model, from two checks up."""
    lines = [
        "| model | cases | 80 % interval covers | median error, years | mean error, years | "
        "median width, years | log density |",
        "|---|---|---|---|---|---|---|",
    ]
    for label in (*(model.label for model in (*MODELS, Mixture)), CHOSEN, ORDINARY):
        own = [case for case in cases if case.model == label]
        errors = np.array([case.error_years for case in own])
        covered = f"{100 * np.mean([case.covered for case in own]):.0f} %"
        width = f"{np.median([case.width_years for case in own]):.2f}"
        density = np.mean([case.log_density for case in own])
        if label == ORDINARY:
            covered, width = "-", "-"
        density_text = f"{density:.3f}" if np.isfinite(density) else "-"
        lines.append(
            f"| {label} | {len(own)} | {covered} | {np.median(errors):.2f} | {errors.mean():.2f} | "
            f"{width} | {density_text} |"
        )
    return "\n".join(lines)


def by_checks_table(cases: list[CrossingCase]) -> str:
    """Coverage of the tool as a whole by number of checks; one alone gives no date."""
    lines = ["| checks | cases | 80 % interval covers | median error, years |", "|---|---|---|---|"]
    for low, high in ((2, 2), (LEAST_ORIGIN, 5), (6, 10), (11, 98), (2, 99)):
        own = [c for c in cases if c.model == CHOSEN and low <= c.checks <= high]
        if own:
            covered = 100 * np.mean([case.covered for case in own])
            error = np.median([case.error_years for case in own])
            name = f"{low}" if low == high else f"{low} to {high}"
            name = {98: "11 and up", 99: "all"}.get(high, name)
            lines.append(f"| {name} | {len(own)} | {covered:.0f} % | {error:.2f} |")
    return "\n".join(lines)


def fleet_tables(cases: list[CrossingCase]) -> str:
    """By model, and of the tool as a whole by number of checks."""
    return f"{fleet_table(cases)}\n\n{by_checks_table(cases)}"


def _number(cycle: float) -> str:
    return f"{cycle:.0f}" if np.isfinite(cycle) else "beyond"


def main(arguments: list[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument(
        "--batteries", type=int, default=BATTERIES, help="simulated batteries (120)"
    )
    parser.add_argument("--seed", type=int, default=TEST_SEED, help="fleet (3; 1 calibrates)")
    parser.add_argument("--fleets-only", action="store_true", help="leave the cells out")
    parser.add_argument(
        "--told-lithium", action="store_true", help="forecast as iron phosphate, which none is"
    )
    options = parser.parse_args(arguments)
    told = TOLD_LITHIUM if options.told_lithium else FLEET_BATTERY
    for drawn in (fleet, fleet_of_other_shapes):
        print(
            fleet_tables(list(fleet_cases(drawn(options.batteries, options.seed), told))),
            "",
            sep="\n",
        )
    if not options.fleets_only:
        print(cells_table(), "", cells_models_table(), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
