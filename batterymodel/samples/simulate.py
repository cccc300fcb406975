"""A stated model of a connection, stepped in time: for sample data and for tests.

The battery is two resistor-capacitor branches side by side on a fixed-voltage supply with a
current limit. The steps integrate the branch equations numerically, apart from the closed forms
of `batterymodel.taper.shape`, so that one can check the other.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True)
class TruePath:
    """Battery as the simulation has it.

    ``charge_to_return_ah`` at connection, ``charge_time_h`` of an unlimited supply, fast share
    and ratio as in the taper model, ``float_current_a`` the current left after the taper;
    ``runaway_a_per_min`` a rise that starts at ``runaway_from_s``. All values are invented.
    """

    charge_to_return_ah: float
    charge_time_h: float
    fast_share: float = 0.2
    fast_ratio: float = 0.13
    float_current_a: float = 0.1
    runaway_a_per_min: float = 0.0
    runaway_from_s: float = 0.0

    @property
    def amplitude_a(self) -> float:
        """Battery current at connection with an unlimited supply, float current left out [A]."""
        return self.charge_to_return_ah / self.charge_time_h


def battery_current_a(
    path: TruePath, time_s: np.ndarray, available_a: np.ndarray, step_s: float = 0.5
) -> np.ndarray:
    """Battery current at the given times, float current included.

    Each branch follows ``level' = (target - level) / tau`` in steps, with the target raised by what
    the supply holds back.

    Parameters
    ----------
    path : TruePath
    time_s : ndarray, shape (n,)
        Times since connection [s], rising.
    available_a : ndarray, shape (n,)
        What supply limit and bus load leave for the battery at those times [A].
    step_s : float
        Step of the integration [s].

    Returns
    -------
    ndarray, shape (n,)
        Battery current [A].
    """
    grid = np.arange(0.0, float(time_s[-1]) + step_s, step_s)
    room = np.interp(grid, time_s, available_a)
    w = np.array([path.fast_share, 1.0 - path.fast_share])
    slow = 3600.0 * path.charge_time_h / (w[1] + w[0] * path.fast_ratio)
    tau = np.array([slow * path.fast_ratio, slow])
    level, taken = np.ones(2), np.empty(grid.size)
    for k in range(grid.size):
        wanted = path.amplitude_a * float(w @ level)
        current = min(wanted, max(room[k] - path.float_current_a, 0.0))
        held_back = (wanted - current) / path.amplitude_a
        target = np.full(2, held_back)
        level = target + (level - target) * np.exp(-step_s / tau)
        taken[k] = current
    extra = path.runaway_a_per_min * np.maximum(time_s - path.runaway_from_s, 0.0) / 60.0
    return np.interp(time_s, grid, taken) + path.float_current_a + extra


def meter_reading_a(
    current_a: np.ndarray, resolution_a: float, noise_a: float, rng: np.random.Generator
) -> np.ndarray:
    """Current as a meter shows it: normal noise, then its resolution.

    Parameters
    ----------
    current_a : ndarray, any shape
        True current [A].
    resolution_a : float
        Smallest step the meter shows [A], above 0.
    noise_a : float
        Standard deviation of the noise [A].
    rng : Generator

    Returns
    -------
    ndarray, shape of `current_a`
        Whole steps of the resolution [A].
    """
    noisy = current_a + rng.normal(0.0, noise_a, current_a.shape)
    return np.round(np.round(noisy / resolution_a) * resolution_a, 4)
