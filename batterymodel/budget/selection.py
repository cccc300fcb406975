"""Which consumers run: the fewest left off, the least needed first, exact.

With binary x the load under one limit is ``m x + z sqrt(v0 + v x)``, means m, variances v, and
the fixed part's variance v0. `scipy.optimize.milp` knows straight lines only. The variance ``v x``
is one number, so its range is cut into pieces, one of which is chosen, and in each the margin is
taken by its chord, which is never above it: nothing that fits is lost. What a round proposes is
tried against the limit itself; where it fails, its variance becomes an end of two new pieces, where
the chord is exact, and the plain fact that this set is too much is added. Each round excludes at
least one set, so the last one is exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg import block_diag
from scipy.optimize import Bounds, LinearConstraint, milp
from scipy.special import ndtri

from batterymodel.basis.arrays import BoolArray, FloatArray

HELD = 0.95
"""Probability with which the load stays below each limit (own choice)."""

HELD_SD = float(ndtri(HELD))
"""The same in standard deviations of the load above its mean."""

ROUNDING_A = 1e-6
"""Excess over a limit that is rounding [A] (own choice, numerical)."""

_PIECES = 8
"""Pieces of the variance's range to begin with (own choice, numerical)."""

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
    runs = _Search(ceilings, must_run, everything).kept(wants)
    return Choice(runs, _worst_excess_a(ceilings, runs))


class _Pieces:
    """One limit as straight lines: the room for the means, by pieces of the variance."""

    def __init__(self, ceiling: Ceiling, fewest: BoolArray, most: BoolArray) -> None:
        """Equal pieces between the fewest and the most that may run."""
        self.ceiling = ceiling
        self._variances = ceiling.sds_a**2
        self._scale = float(self._variances.sum()) or 1.0
        ends = self._share(fewest), self._share(most)
        self._points = np.unique(np.linspace(*ends, _PIECES + 1))

    @property
    def count(self) -> int:
        """How many pieces there are; none where there is no spread."""
        return self._points.size - 1

    def split(self, runs: BoolArray) -> None:
        """Begin a piece at the variance of a set."""
        self._points = np.union1d(self._points, self._share(runs))

    def rows(self) -> _Lines:
        """The lines, in the consumers, the choice of a piece, and the variance in each piece."""
        if self.count == 0:
            row = self.ceiling.means_a[np.newaxis, :]
            return _Lines(row, np.empty((1, 0)), np.array([-np.inf]), self._room_a())
        j, low, high = self.count, self._points[:-1], self._points[1:]
        slope = np.diff(self._room_a()) / np.diff(self._points)
        at_zero = self._room_a()[:-1] - slope * low
        one, none = np.ones(j), np.zeros(j)
        own = np.vstack(
            [
                np.concatenate([-at_zero, -slope]),
                np.concatenate([none, -one]),
                np.concatenate([one, none]),
                np.hstack([np.diag(low), -np.eye(j)]),
                np.hstack([-np.diag(high), np.eye(j)]),
            ]
        )
        of_consumers = np.zeros((own.shape[0], self._variances.size))
        of_consumers[0], of_consumers[1] = self.ceiling.means_a, self._variances / self._scale
        least = np.concatenate([[-np.inf, 0.0, 1.0], np.full(2 * j, -np.inf)])
        return _Lines(of_consumers, own, least, np.concatenate([[0.0, 0.0, 1.0], none, none]))

    def _share(self, runs: BoolArray) -> float:
        return float(runs @ self._variances) / self._scale

    def _room_a(self) -> FloatArray:
        """What is left for the means at each end of a piece [A]."""
        fixed = self.ceiling
        sd_a = np.sqrt(fixed.fixed_sd_a**2 + self._scale * self._points)
        return np.asarray(fixed.limit_a - fixed.fixed_a - HELD_SD * sd_a + ROUNDING_A)


@dataclass(frozen=True)
class _Lines:
    """Lines ``least <= of_consumers x + own z <= most`` of one limit, z its own unknowns."""

    of_consumers: FloatArray
    own: FloatArray
    least: FloatArray
    most: FloatArray


class _Search:
    """What is known so far, and the optimisations under it."""

    def __init__(self, ceilings: tuple[Ceiling, ...], must_run: BoolArray, most: BoolArray) -> None:
        """Every limit in pieces, between the fewest and the most that may run."""
        self._pieces = [_Pieces(ceiling, must_run, most) for ceiling in ceilings]
        self._low, self._high = must_run.astype(float), most.astype(float)
        self._facts: list[tuple[FloatArray, float]] = []

    def kept(self, wants: tuple[int, ...]) -> BoolArray:
        """Those that run: their number first, then by importance, some places at a time."""
        every = np.zeros_like(self._low)
        every[list(wants)] = 1.0
        runs = self._best(every)
        self._facts.append((-every, -float(runs @ every)))
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
            broken = [one for one in self._pieces if one.ceiling.excess_a(runs) > ROUNDING_A]
            if not broken:
                return runs
            for pieces in broken:
                pieces.split(runs)
            self._facts.append((runs.astype(float), runs.sum() - 1.0))

    def _proposed(self, weights: FloatArray) -> BoolArray:
        counts = [one.count for one in self._pieces]
        own = 2 * sum(counts)
        whole = np.concatenate([np.ones(weights.size), *(_choosing(count) for count in counts)])
        found = milp(
            np.concatenate([-weights, np.zeros(own)]),
            integrality=whole.astype(np.int64),
            bounds=Bounds(
                np.concatenate([self._low, np.zeros(own)]),
                np.concatenate([self._high, np.ones(own)]),
            ),
            constraints=self._constraints(own),
            options={"mip_rel_gap": 0.0},
        )
        if found.x is None:  # what must run was tried before, so that there is a set
            raise AssertionError(found.message)
        return np.asarray(found.x[: weights.size] > 0.5)

    def _constraints(self, own: int) -> LinearConstraint:
        """The lines of every limit, each with its own unknowns, and the plain facts."""
        lines = [pieces.rows() for pieces in self._pieces]
        rows = [
            np.vstack([line.of_consumers for line in lines]),
            block_diag(*(o.own for o in lines)),
        ]
        facts = np.array([row for row, _ in self._facts]).reshape(-1, self._low.size)
        table = np.vstack([np.hstack(rows), np.hstack([facts, np.zeros((len(facts), own))])])
        least = np.concatenate([*(line.least for line in lines), np.full(len(facts), -np.inf)])
        most = np.concatenate([*(line.most for line in lines), [limit for _, limit in self._facts]])
        return LinearConstraint(table, least, most)


def _choosing(count: int) -> FloatArray:
    """Which unknowns of a limit are whole numbers: the choice of a piece, not the variance."""
    return np.repeat([1.0, 0.0], count)


def _worst_excess_a(ceilings: tuple[Ceiling, ...], runs: BoolArray) -> float:
    return max(ceiling.excess_a(runs) for ceiling in ceilings)
