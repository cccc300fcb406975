"""Which consumers run: the fewest left off, the least needed first, exact.

With binary x the load under one limit is ``m x + z sqrt(v x + v0)``, means m, variances v, and the
fixed part's variance v0. `scipy.optimize.milp` knows straight lines only, so the square root, which
is convex in x where ``x^2 = x``, is approached by tangents: what a round proposes is tried against
the limit itself, and where it fails, a tangent there and the plain fact that this set and all that
contain it are too much are added. Each round excludes at least one set, so the last one is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.special import ndtri

from batterymodel.basis.arrays import BoolArray, FloatArray

HELD = 0.95
"""Probability with which the load stays below each limit (own choice)."""

HELD_SD = float(ndtri(HELD))
"""The same in standard deviations of the load above its mean."""

ROUNDING_A = 1e-6
"""Excess over a limit that is rounding [A] (own choice, numerical)."""

_AT_ONCE = 16
"""Consumers whose order of importance one optimisation settles: their weights are powers of two,
and more would be lost beside the solver's tolerance (own choice, numerical)."""


@dataclass(frozen=True)
class Ceiling:
    """One limit for the load of those that run.

    ``means_a`` and ``sds_a`` of shape ``(n,)`` are the consumers', zero or more; ``fixed_a`` and
    ``fixed_sd_a`` what is there whatever runs (battery, meter, the spread of the limit).
    """

    means_a: FloatArray
    sds_a: FloatArray
    fixed_a: float
    fixed_sd_a: float
    limit_a: float

    def load_sd_a(self, runs: BoolArray) -> float:
        """Spread of the load of those that run.

        Parameters
        ----------
        runs : ndarray of bool, shape (n,)

        Returns
        -------
        float
            Standard deviation [A].
        """
        return float(np.sqrt(self.fixed_sd_a**2 + runs @ self.sds_a**2))

    def excess_a(self, runs: BoolArray) -> float:
        """By how much the load with its margin is above the limit.

        ``m x + fixed + HELD_SD sd - limit``.

        Parameters
        ----------
        runs : ndarray of bool, shape (n,)

        Returns
        -------
        float
            [A]; below zero where there is room.
        """
        mean_a = float(runs @ self.means_a) + self.fixed_a
        return mean_a + HELD_SD * self.load_sd_a(runs) - self.limit_a

    def tangent(self, at: BoolArray) -> tuple[FloatArray, float]:
        """A straight line that no set within the limit is above, nearest the limit at one set.

        Parameters
        ----------
        at : ndarray of bool, shape (n,)
            The set it is taken at.

        Returns
        -------
        weights, most : ndarray of shape (n,), float
            ``weights x <= most`` [A].
        """
        sd_a = self.load_sd_a(at)
        share = HELD_SD / sd_a if sd_a > 0.0 else 0.0
        weights = self.means_a + share * at * self.sds_a**2
        return weights, self.limit_a - self.fixed_a - share * self.fixed_sd_a**2 + ROUNDING_A


@dataclass(frozen=True)
class Choice:
    """Which run, shape ``(n,)``, and by how much even the fewest are too much [A].

    ``short_a`` is zero or less where they fit.
    """

    runs: BoolArray
    short_a: float

    @property
    def fits(self) -> bool:
        """Whether what runs stays below every limit."""
        return self.short_a <= ROUNDING_A


def most_kept(ceilings: tuple[Ceiling, ...], must_run: BoolArray, wants: tuple[int, ...]) -> Choice:
    """The choice that leaves fewest of the wanted off, and among those the least important.

    1. What must run, with nothing wanted. 2. Everything wanted. 3. The most that fit.
    4. With that number, the most important that can stay, stays; then the next.

    Parameters
    ----------
    ceilings : tuple of Ceiling
        At least one.
    must_run : ndarray of bool, shape (n,)
    wants : tuple of int
        Places of the wanted, the most important first, none of which must run.

    Returns
    -------
    Choice
        Where not even what must run fits: that alone, with what is short.
    """
    least_short_a = _worst_excess_a(ceilings, must_run)
    everything = must_run.copy()
    everything[list(wants)] = True
    if least_short_a > ROUNDING_A or not wants:
        return Choice(must_run, least_short_a)
    if _worst_excess_a(ceilings, everything) <= ROUNDING_A:
        return Choice(everything, _worst_excess_a(ceilings, everything))
    runs = _Rows(ceilings, must_run, everything).kept(wants)
    return Choice(runs, _worst_excess_a(ceilings, runs))


class _Rows:
    """The straight lines known so far, and the optimisations under them."""

    def __init__(self, ceilings: tuple[Ceiling, ...], must_run: BoolArray, most: BoolArray) -> None:
        """The lines of each limit at the fewest and at the most that may run."""
        self._ceilings = ceilings
        self._low, self._high = must_run.astype(float), most.astype(float)
        self._rows = [ceiling.tangent(at) for ceiling in ceilings for at in (must_run, most)]

    def kept(self, wants: tuple[int, ...]) -> BoolArray:
        """Those that run: their number first, then by importance, some places at a time."""
        every = np.zeros_like(self._low)
        every[list(wants)] = 1.0
        runs = self._best(every)
        self._rows.append((-every, -float(runs @ every)))
        for start in range(0, len(wants), _AT_ONCE):
            places = list(wants[start : start + _AT_ONCE])
            weights = np.zeros_like(every)
            weights[places] = 2.0 ** np.arange(len(places) - 1, -1, -1)
            runs = self._best(weights)
            self._low[places] = self._high[places] = runs[places]
        return runs

    def _best(self, weights: FloatArray) -> BoolArray:
        """The set of the highest weight among those within every limit."""
        while True:
            runs = self._proposed(weights)
            broken = [c for c in self._ceilings if c.excess_a(runs) > ROUNDING_A]
            if not broken:
                return runs
            self._rows += [ceiling.tangent(runs) for ceiling in broken]
            self._rows.append((runs.astype(float), runs.sum() - 1.0))

    def _proposed(self, weights: FloatArray) -> BoolArray:
        rows = np.array([row for row, _ in self._rows])
        most = np.array([limit for _, limit in self._rows])
        found = milp(
            -weights,
            integrality=np.ones(weights.size, dtype=np.int64),
            bounds=Bounds(self._low, self._high),
            constraints=LinearConstraint(rows, -np.inf, most),
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:  # what must run was tried before, so that there is a set
            raise AssertionError(found.message)
        return np.asarray(found.x > 0.5)


def _worst_excess_a(ceilings: tuple[Ceiling, ...], runs: BoolArray) -> float:
    return max(ceiling.excess_a(runs) for ceiling in ceilings)
