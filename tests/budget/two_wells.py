"""Discharges by another law than the tool's: charge in two wells, of which one gives the current.

The kinetic battery model of Manwell and McGowan (Solar Energy 50 (1993) 399-405, from memory
(high)): the second well feeds the first at a finite rate, so that a high current leaves charge
behind. All ranges are own choices.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class TwoWells:
    """Batteries of total charge ``total_ah``, of which ``share`` is at hand; arrays ``(n,)``."""

    total_ah: np.ndarray
    share: np.ndarray
    rate_per_h: np.ndarray

    def filled(self, soc: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Charge in both wells of a rested battery."""
        return soc * self.share * self.total_ah, soc * (1.0 - self.share) * self.total_ah

    def after(
        self, wells: tuple[np.ndarray, np.ndarray], current_a: np.ndarray, hours: np.ndarray
    ) -> tuple[np.ndarray, np.ndarray]:
        """Charge in both wells after a time at a current."""
        k, c, (near, far) = self.rate_per_h, self.share, wells
        keep, whole = np.exp(-k * hours), near + far
        lag = (k * hours - 1.0 + keep) / k
        return (
            near * keep + (whole * k * c - current_a) * (1.0 - keep) / k - current_a * c * lag,
            far * keep + whole * (1.0 - c) * (1.0 - keep) - current_a * (1.0 - c) * lag,
        )

    def hours_left(self, wells: tuple[np.ndarray, np.ndarray], current_a: np.ndarray) -> np.ndarray:
        """Time until the first well is empty at a current."""
        most = (wells[0] + wells[1]) / current_a
        return first_below_zero(lambda h: self.after(wells, current_a, h)[0], most)


def first_below_zero(value: Callable[[np.ndarray], np.ndarray], most: np.ndarray) -> np.ndarray:
    """Where falling functions cross zero, by halving; 0 where they start below it."""
    low, high = np.zeros_like(most), most.copy()
    for _ in range(30):
        middle = 0.5 * (low + high)
        above = value(middle) > 0.0
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return 0.5 * (low + high)


def of_rated(rated_ah: np.ndarray, share: np.ndarray, rate_per_h: np.ndarray) -> TwoWells:
    """Batteries that give their rated charge in one hour at the rated current."""
    unit = TwoWells(np.ones_like(share), share, rate_per_h)
    full = unit.filled(np.ones_like(share))
    rate = first_below_zero(lambda a: unit.after(full, a, np.ones_like(a))[0], np.ones_like(share))
    return TwoWells(rated_ah / rate, share, rate_per_h)


def drawn_wells(rng: np.random.Generator, rated_ah: np.ndarray) -> TwoWells:
    """Batteries that give 1.03 to 1.30 times their rated charge at a fifth of the current."""
    share, rate = np.empty(rated_ah.size), np.empty(rated_ah.size)
    for k in range(rated_ah.size):
        while True:
            share[k], rate[k] = rng.uniform(0.3, 0.9), np.exp(rng.uniform(np.log(0.3), np.log(8.0)))
            one = of_rated(np.ones(1), share[k : k + 1], rate[k : k + 1])
            slow = one.hours_left(one.filled(np.ones(1)), np.full(1, 0.2)) * 0.2
            if 1.03 < slow[0] < 1.30:
                break
    return of_rated(rated_ah, share, rate)
