"""Makes the reference for the forecast of capacity: ageing models of commercial lithium-ion cells.

``python -m tests.benchmarks.aged_cells`` lets every cell model of the library blast-lite (NREL,
BSD-3-Clause) that begins new stand and be used in a few invented hangars, and writes its capacity
by months to ``aged_cells.npz`` beside this file; ``--check`` compares instead. The models are fits
to published calendar and cycle ageing tests, no measurements; ``README.md`` names the publications.

The library asks for NumPy before 2 and goes nowhere beside this project: it needs a virtual
environment of its own (Python 3.11 or 3.12) and nothing else. What only reads the file does not.
"""

from __future__ import annotations

import argparse
import re
import warnings
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

CURVES = Path(__file__).with_name("aged_cells.npz")

YEARS = 20
MONTHS = np.arange(12 * YEARS + 1)
STORED_PER_ONE = 10_000
"""Capacity is stored in such parts of the new cell's, 0 where the model gives none."""

WORN_OUT = 0.5
"""Fraction of new at which a cell is followed no further."""

STEP_DAYS = 14
"""Longest step of the models [days]; they also step with every equivalent full cycle."""

HOURS = np.arange(365 * 24 + 1.0)
DAILY_SWING_C = 3.0
FACTORS = (1 / 3, 1.0, 3.0, 9.0)
"""The models' own factor on every loss: by themselves the cells last from two years to far beyond
twenty in one and the same hangar, and few of them cross 80 % in 4 to 15."""


@dataclass(frozen=True)
class Service:
    """An invented hangar and use: standing fully charged, discharged so often and so deep."""

    name: str
    mean_c: float
    swing_c: float
    uses_a_month: int
    depth: float

    def year(self) -> dict[str, np.ndarray]:
        """One year by hours: coldest at its ends and at midnight, each use begins at nine.

        Two hours of discharge and four of charge.
        """
        season = -self.swing_c * np.cos(2.0 * np.pi * HOURS / HOURS[-1])
        temp_c = self.mean_c + season - DAILY_SWING_C * np.cos(2.0 * np.pi * HOURS / 24.0)
        soc = np.ones(HOURS.size)
        uses = 12 * self.uses_a_month
        for middle in (np.arange(uses) + 0.5) * HOURS[-1] / uses:
            nine = int(middle // 24) * 24 + 9
            soc[nine : nine + 7] -= self.depth * np.interp(np.arange(7), [0, 2, 6], [0, 1, 0])
        return {"Time_s": 3600.0 * HOURS, "SOC": soc, "Temperature_C": temp_c}


SERVICES = (
    Service("cold hangar, seldom used", 10.0, 9.0, 2, 0.2),
    Service("mild hangar, used weekly", 17.0, 9.0, 6, 0.4),
    Service("warm hangar, used most days", 24.0, 8.0, 20, 0.4),
    Service("hot ramp, used often", 31.0, 7.0, 12, 0.3),
)


@dataclass(frozen=True)
class AgedCell:
    """Capacity of one cell in one service, fraction of new by `MONTHS`; NaN where none is given."""

    cell: str
    service: str
    factor: float
    capacity: np.ndarray


@cache
def aged_cells() -> tuple[AgedCell, ...]:
    """Every curve of the file, in its order."""
    with np.load(CURVES) as file:
        stored, cells = file["capacity"], file["cells"].tolist()
        services, factors = file["services"].tolist(), file["factors"].tolist()
    capacity = np.where(stored > 0, stored / STORED_PER_ONE, np.nan)
    return tuple(
        AgedCell(cells[i], services[j], factors[k], capacity[i, j, k])
        for i, j, k in np.ndindex(stored.shape[:3])
    )


def label_of(name: str, rated_ah: float) -> str:
    """A cell by chemistry and size, without its maker's name."""
    positive, negative = re.match(r"([A-Za-z]+\d*)_([A-Za-z]+)_", name).groups()  # type: ignore[union-attr]
    letter = re.search(r"Ah_([A-Z]\d?)$", name)
    known_as = f" {letter.group(1)}" if letter else ""
    negative = {"gr": "graphite", "grsi": "graphite-silicon"}.get(
        negative.lower(), negative.upper()
    )
    return f"{positive.upper()}/{negative} {rated_ah:g} Ah{known_as}"


def models() -> dict[str, Any]:
    """Class of every cell model that begins new, by its label."""
    from blast import models as library  # in an environment of its own

    classes = [getattr(library, name) for name in library.available_models()]
    new = [one for one in classes if "qNew" not in one().outputs]
    return {label_of(one.__name__, one().cap): one for one in new}


def capacity_by_month(model: Any, service: Service, factor: float) -> np.ndarray:
    """Capacity of one cell [fraction of new] by `MONTHS`; NaN once the model fails or is worn."""
    cell = model(degradation_scalar=factor)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of logarithms where a model leaves its own range
        cell.simulate_battery_life(
            service.year(),
            threshold_time=YEARS,
            threshold_capacity=WORN_OUT,
            breakpoints_max_time_diff_s=86400 * STEP_DAYS,
        )
    months = 12.0 * cell.stressors["t_days"] / 365.0
    capacity = cell.outputs["q"]
    fails = np.flatnonzero(~np.isfinite(capacity))
    end = fails[0] if fails.size else capacity.size
    return np.interp(MONTHS, months[:end], capacity[:end], right=np.nan)


def made() -> dict[str, np.ndarray]:
    """What the file holds, simulated anew."""
    found = models()
    capacity = np.array(
        [
            [
                [capacity_by_month(model, service, factor) for factor in FACTORS]
                for service in SERVICES
            ]
            for model in found.values()
        ]
    )
    return {
        "capacity": np.nan_to_num(np.round(STORED_PER_ONE * capacity)).astype(np.uint16),
        "cells": np.array(list(found)),
        "services": np.array([service.name for service in SERVICES]),
        "factors": np.array(FACTORS),
    }


def main(arguments: list[str] | None = None) -> int:
    """Write the file, or compare it with what the library says now."""
    parser = argparse.ArgumentParser(description=main.__doc__)
    parser.add_argument("--check", action="store_true", help="compare, and write nothing")
    options = parser.parse_args(arguments)
    now = made()
    if not options.check:
        np.savez_compressed(CURVES, **now)
        print(f"wrote {now['capacity'].shape} to {CURVES.name}")
        return 0
    with np.load(CURVES) as file:
        away = np.abs(file["capacity"].astype(int) - now["capacity"]).max() / STORED_PER_ONE
    print(f"largest difference {away:.4f} of the new cell's capacity")
    return int(away > 1.5 / STORED_PER_ONE)


if __name__ == "__main__":
    raise SystemExit(main())
