"""How the forecast of capacity holds on cells that age by models nobody here wrote.

``python -m tests.benchmarks.fade_aged`` forecasts from invented checks of the cells of
`tests.benchmarks.aged_cells` and holds them against what the models say came after. Everything
below was settled before any of these forecasts was looked at; what came of that look stands in
``README.md`` beside this file.
"""

from __future__ import annotations

import argparse
import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np

from batterymodel import Battery, fade_forecast
from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.fade.fitted import HORIZON_YEARS
from batterymodel.fade.forecast import FadeForecast
from batterymodel.inputs.records import UNSTATED_CHECK_SD
from tests.benchmarks.aged_cells import MONTHS, YEARS, AgedCell, aged_cells
from tests.benchmarks.fade import CrossingCase
from tests.benchmarks.fleets import LIMIT

SEED = 20261126
HISTORIES = (2, 3, 5, 8)
FROM_NEW, BEGUN_LATER = "from new", "begun later"

LEAST_LIFE_YEARS = 4.0
"""Batteries that fall below the limit sooner are left out: no eight yearly checks of them."""

LAST_ORIGIN_YEARS = YEARS - HORIZON_YEARS
"""Age at the last check of a history at most, so that the truth is known as far as one looks."""

BENCH_SD = 0.5 * UNSTATED_CHECK_SD
"""Error that all checks of a battery share: one bench. With each check's own it makes up the error
that the tool takes for a check that states none."""

OWN_SD = math.sqrt(UNSTATED_CHECK_SD**2 - BENCH_SD**2)
NEW_OVER_PLATE = (0.98, 1.04)
FIRST_CHECK_YEARS, BETWEEN_YEARS = (0.0, 1.0), (0.75, 1.25)
NEW_ON = date(2010, 3, 1)

BATTERY = Battery(tail="AGED", chemistry="lfp", cells=8, rated_capacity_ah=40.0)
"""Right for the cells of lithium iron phosphate; the others are of chemistries the tool does not
have, and this is the nearest."""


@dataclass(frozen=True)
class AgedBattery:
    """One cell as a battery with its checks: age [years] and what was read [fraction of plate]."""

    cell: AgedCell
    start: float
    years: np.ndarray
    read: np.ndarray
    begun_later_at: int

    @property
    def crossing_years(self) -> float:
        """Age at which the capacity falls below the limit; infinite where it does not."""
        return crossing_years(self.start * self.cell.capacity)

    def true_at(self, years: float) -> float:
        """Capacity at an age [fraction of plate]; NaN where the model gives none."""
        return float(self.start * np.interp(years, MONTHS / 12.0, self.cell.capacity))

    def histories(self) -> Iterator[tuple[str, int, int]]:
        """Kind of history, first check and number of checks, all made while above the limit."""
        sound = self.years < min(self.crossing_years, LAST_ORIGIN_YEARS)
        for kind, first in ((FROM_NEW, 0), (BEGUN_LATER, self.begun_later_at)):
            for n in HISTORIES:
                if first + n <= int(sound.sum()):
                    yield kind, first, n


@dataclass(frozen=True)
class AgedCase:
    """One forecast: its crossing, and whether the capacity at the coming check was in its range."""

    cell: str
    kind: str
    crossing: CrossingCase
    is_dated: bool
    capacity_covered: bool | None
    capacity_error: float

    @property
    def in_view(self) -> bool:
        """Whether the truth falls below the limit within the horizon."""
        return math.isfinite(self.crossing.truth)


def crossing_years(fraction: np.ndarray) -> float:
    """Age at which a curve by `MONTHS` falls below the limit, straight between months."""
    below = np.flatnonzero(fraction < LIMIT)
    if below.size == 0:
        return np.inf
    k = int(below[0])
    share = (fraction[k - 1] - LIMIT) / (fraction[k - 1] - fraction[k])
    return float(MONTHS[k] - 1.0 + share) / 12.0


def batteries(every: int = 1) -> list[AgedBattery]:
    """One battery of each curve (or each so-manyth) that is known, and lives, long enough."""
    drawn = [drawn_battery(cell, k) for k, cell in list(enumerate(aged_cells()))[::every]]
    return [one for one in drawn if is_used(one)]


def is_used(battery: AgedBattery) -> bool:
    """Whether the truth is known to the crossing or all along, and the crossing not too early."""
    at = battery.crossing_years
    known = math.isfinite(at) or not np.isnan(battery.cell.capacity).any()
    return known and at >= LEAST_LIFE_YEARS


def drawn_battery(cell: AgedCell, number: int) -> AgedBattery:
    """Capacity over the plate, days of the checks, and their errors, drawn by number."""
    rng = np.random.default_rng([SEED, number])
    start = rng.uniform(*NEW_OVER_PLATE)
    between = np.concatenate([[0.0], np.cumsum(rng.uniform(*BETWEEN_YEARS, 2 * YEARS))])
    years = rng.uniform(*FIRST_CHECK_YEARS) + between
    years = years[years < YEARS]
    error = BENCH_SD * rng.standard_normal() + OWN_SD * rng.standard_normal(years.size)
    true = start * np.interp(years, MONTHS / 12.0, cell.capacity)
    sound = int((years < min(crossing_years(start * cell.capacity), LAST_ORIGIN_YEARS)).sum())
    later = int(rng.integers(1, max(sound - 1, 2)))
    return AgedBattery(cell, start, years, true * (1.0 + error), later)


def forecast_of(battery: AgedBattery, first: int, n: int, folder: Path) -> FadeForecast:
    """What the tool says of the file of so many checks, none of which states its error."""
    rated, chosen = BATTERY.rated_capacity_ah, slice(first, first + n)
    rows = [
        f"{day_of(age):%Y-%m-%d},{rated * read:.2f}"
        for age, read in zip(battery.years[chosen], battery.read[chosen], strict=True)
    ]
    path = folder / "checks.csv"
    path.write_text("\n".join(["on,capacity_ah", *rows, ""]), encoding="utf-8")
    return fade_forecast(path, BATTERY)


def day_of(age_years: float) -> date:
    """The day at which a battery has an age."""
    return NEW_ON + timedelta(days=round(age_years * DAYS_PER_YEAR))


def case_of(battery: AgedBattery, kind: str, first: int, n: int, folder: Path) -> AgedCase:
    """One forecast held against what came after."""
    found = forecast_of(battery, first, n, folder)
    last = float(battery.years[first + n - 1])
    truth = battery.crossing_years - last
    ends = [
        np.inf if on is None else (on - day_of(last)).days / DAYS_PER_YEAR
        for on in (found.crossing.low, found.crossing.best, found.crossing.high)
    ]
    crossing = CrossingCase(kind, n, truth if truth <= HORIZON_YEARS else np.inf, *ends, np.nan)
    coming = float(battery.years[first + n])
    covered, error = capacity_held(
        found, coming - float(battery.years[first]), battery.true_at(coming)
    )
    return AgedCase(battery.cell.cell, kind, crossing, found.crossing.dated, covered, error)


def capacity_held(found: FadeForecast, at: float, true: float) -> tuple[bool | None, float]:
    """Whether the 90 % range of the capacity at a time holds the true one, and the mean's error.

    None where the model gives no truth. Time in years since the first check, fractions of rated.
    """
    if math.isnan(true):
        return None, np.nan
    curves, rated = found.curves, found.rated_capacity_ah
    low, mean, high = (
        float(np.interp(at, curves.at, ah)) / rated
        for ah in (curves.low_ah, curves.mean_ah, curves.high_ah)
    )
    return low <= true <= high, abs(mean - true)


def cases(every: int = 1) -> list[AgedCase]:
    """All forecasts of all batteries, or of each so-manyth."""
    with TemporaryDirectory() as folder:
        return [
            case_of(battery, *history, Path(folder))
            for battery in batteries(every)
            for history in battery.histories()
        ]


def share(values: Iterable[bool]) -> float:
    """Share of what is true; NaN of nothing."""
    values = list(values)
    return float(np.mean(values)) if values else math.nan


def crossing_share(found: list[AgedCase]) -> float:
    """Share of dated forecasts whose 80 % range holds the crossing."""
    return share(case.crossing.covered for case in found if case.is_dated)


def capacity_share(found: list[AgedCase]) -> float:
    """Share of forecasts whose 90 % range holds the capacity at the coming check."""
    return share(case.capacity_covered for case in found if case.capacity_covered is not None)


def row(name: str, found: list[AgedCase]) -> str:
    """One row of a table: all dated forecasts, and those whose truth is in view."""
    view = [case for case in found if case.in_view]
    dated = [case for case in view if case.is_dated]
    errors = [case.crossing.error_years for case in dated]
    signed = [min(case.crossing.best, HORIZON_YEARS) - case.crossing.truth for case in dated]
    early = share(case.crossing.truth < case.crossing.low for case in dated)
    late = share(case.crossing.truth > case.crossing.high for case in dated)
    error = f"{np.median(errors):.2f} | {np.median(signed):+.2f}" if errors else "- | -"
    capacity = 100.0 * np.nanmedian([case.capacity_error for case in found])
    return (
        f"| {name} | {len(found)} | {_percent(crossing_share(found))} | {len(view)} | "
        f"{_percent(crossing_share(view))} | {_percent(early)} | {_percent(late)} | {error} | "
        f"{_percent(capacity_share(found))} | {capacity:.1f} |"
    )


HEAD = (
    "cases | covers date | in view | covers date | truth before range | after range | "
    "median error, years | best - truth (median) | covers capacity | "
    "its median error, % of rated |"
)


def table(first: str, groups: dict[str, Callable[[AgedCase], bool]], found: list[AgedCase]) -> str:
    """Rows of the groups that have any case."""
    chosen = {name: [case for case in found if test(case)] for name, test in groups.items()}
    rows = [row(name, own) for name, own in chosen.items() if own]
    return "\n".join([f"| {first} | {HEAD}", "|---" * 11 + "|", *rows])


def lines(every: int = 1) -> list[str]:
    """What was drawn, then the tables by number of checks, by kind of history and by cell."""
    drawn, found = batteries(every), cases(every)
    crossing = [one for one in drawn if one.crossing_years <= LAST_ORIGIN_YEARS]
    undated = sum(not case.is_dated for case in found)
    cells = list(dict.fromkeys(case.cell for case in found))
    by_checks = {f"{n}": lambda case, n=n: case.crossing.checks == n for n in HISTORIES}
    by_kind = {kind: lambda case, kind=kind: case.kind == kind for kind in (FROM_NEW, BEGUN_LATER)}
    of_tool = {"lithium iron phosphate": lambda case: case.cell.startswith("LFP"),
               "other chemistries": lambda case: not case.cell.startswith("LFP")}  # fmt: skip
    by_cell = {cell: lambda case, cell=cell: case.cell == cell for cell in cells}
    return [
        f"{len(drawn)} batteries of {len(aged_cells()[::every])} curves, of which {len(crossing)} "
        f"fall below 80 % within 15 years; {len(found)} forecasts, {undated} without a date.",
        "",
        table("checks", {**by_checks, "all": lambda case: True}, found),
        "",
        table("history", {**by_kind, **of_tool}, found),
        "",
        table("cell", by_cell, found),
    ]


def _percent(part: float) -> str:
    return "-" if math.isnan(part) else f"{100.0 * part:.0f} %"


def main(arguments: list[str] | None = None) -> int:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--every", type=int, default=1, help="of so many curves one (1, all)")
    print(*lines(parser.parse_args(arguments).every), sep="\n")
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
