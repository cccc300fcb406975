"""Simulated fleets with known truth: batteries that age by age and heat, and how they are checked.

The truth owes nothing to the estimators: a power of time, a sudden knee, seasons of heat.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

LIMIT = 0.80
Truth = Callable[[np.random.Generator], tuple[np.ndarray, float | None]]
GRID_YEARS = np.linspace(0.0, 25.0, 5001)
STOP_FRACTION = 0.5


@dataclass(frozen=True)
class FleetBattery:
    """One simulated battery: its checks [years, fractions of rated], and its true capacity."""

    number: int
    years: np.ndarray
    fraction: np.ndarray
    sd: np.ndarray
    bad: np.ndarray
    true_fraction: np.ndarray
    knee_years: float | None

    @property
    def crossing_years(self) -> float:
        """When the true capacity falls below `LIMIT` [years]; infinite where it never does."""
        below = np.flatnonzero(self.true_fraction < LIMIT)
        return float(GRID_YEARS[below[0]]) if below.size else np.inf

    def true_at(self, years: np.ndarray) -> np.ndarray:
        """True capacity [fraction of rated]."""
        return np.interp(years, GRID_YEARS, self.true_fraction)


def fleet(count: int, seed: int) -> list[FleetBattery]:
    """Batteries drawn anew, each with checks from its first year until it is well worn."""
    return [_battery(k, np.random.default_rng([seed, k]), _true_fraction) for k in range(count)]


def fleet_of_other_shapes(count: int, seed: int) -> list[FleetBattery]:
    """Batteries whose fade is no power of time, checked like those of `fleet`."""
    return [_battery(k, np.random.default_rng([seed, k]), _other_fraction) for k in range(count)]


def _battery(number: int, rng: np.random.Generator, truth_of: Truth) -> FleetBattery:
    truth, knee = truth_of(rng)
    worn = GRID_YEARS[np.argmax(truth < 0.65)] if (truth < 0.65).any() else GRID_YEARS[-1]
    every = rng.uniform(3.0, 12.0) / 12.0
    years = np.cumsum(every * rng.uniform(0.8, 1.2, 60)) + rng.uniform(-0.9, 0.0) * every
    years = years[years < min(worn, 9.0)]
    sd = np.full(years.size, rng.uniform(0.02, 0.04))
    bad = np.zeros(years.size, bool)
    if years.size > 2 and rng.random() < 0.3:
        bad[rng.integers(years.size)] = True
    read = np.interp(years, GRID_YEARS, truth) + sd * rng.standard_normal(years.size)
    read = read - bad * rng.uniform(0.10, 0.25, years.size)
    return FleetBattery(number, years, np.maximum(read, 0.05), sd, bad, truth, knee)


def _true_fraction(rng: np.random.Generator) -> tuple[np.ndarray, float | None]:
    """Start times a power of time, faster in heat and summer, and faster still after a knee."""
    start = rng.normal(1.0, 0.04)
    rate = 0.035 * np.exp(0.4 * rng.standard_normal())
    temp_c = rng.uniform(12.0, 33.0) + 8.0 * np.sin(2.0 * np.pi * (GRID_YEARS + rng.random()))
    heat = 2.0 ** ((temp_c - 25.0) / 9.0)
    aged = np.concatenate([[0.0], np.cumsum(heat[:-1] * np.diff(GRID_YEARS))])
    power = rng.uniform(0.9, 1.6)
    loss = rate * 3.0 * (aged / 3.0) ** power
    knee = float(rng.uniform(1.0, 6.0)) if rng.random() < 0.25 else None
    if knee is not None:
        after = np.maximum(aged - np.interp(knee, GRID_YEARS, aged), 0.0)
        loss = loss + rng.uniform(1.0, 3.0) * rate * after
    return np.maximum(start - loss, STOP_FRACTION * 0.5), knee


def _other_fraction(rng: np.random.Generator) -> tuple[np.ndarray, float | None]:
    """Losses that run straight, wear off, grow by themselves or collapse at the end of a life."""
    start, life = rng.normal(1.0, 0.04), np.exp(rng.normal(np.log(6.0), 0.4))
    at = GRID_YEARS / life
    curve = SHAPES[rng.integers(len(SHAPES))](at, rng.uniform(0.5, 2.0))
    season = 0.01 * np.sin(2.0 * np.pi * (GRID_YEARS + rng.random())) * rng.random()
    return np.maximum(start - 0.2 * curve - season, STOP_FRACTION * 0.5), None


SHAPES = (
    lambda at, bend: at,
    lambda at, bend: (1.0 - np.exp(-bend * at)) / (1.0 - np.exp(-bend)),
    lambda at, bend: np.expm1(bend * at) / np.expm1(bend),
    lambda at, bend: 0.4 * at + 0.6 * at ** (4.0 * bend + 1.0),
)
"""Loss over 0.2 of rated against time over the life in which that is lost; a number bends it."""
