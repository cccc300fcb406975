"""What paths drawn from a fade model say: when the limit is crossed, how fast capacity falls."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from batterymodel.fade.models import TrendModel

PATHS = 2000
"""Paths drawn from a model (own choice)."""

POINTS = 110
"""Times of a path (own choice)."""


@dataclass(frozen=True)
class Paths:
    """Paths of capacity [fraction of rated], shape ``(k, m)``, at times ``at``, shape ``(m,)``.

    ``last`` is the time of the last check.
    """

    at: np.ndarray
    fraction: np.ndarray
    last: float

    def crossing(self, limit: float) -> np.ndarray:
        """Time each path falls below a limit, infinite where it does not.

        A path below the limit at the last check crossed it where it last came from above; any
        other crosses at its first fall after the last check.

        Parameters
        ----------
        limit : float
            [fraction of rated].

        Returns
        -------
        ndarray, shape (k,)
            In the unit of `at`, straight between its points.
        """
        k = int(np.searchsorted(self.at, self.last))
        below = self.fraction < limit
        ahead = np.where(below[:, k:].any(axis=1), k + below[:, k:].argmax(axis=1), -1)
        above_before = ~below[:, : k + 1]
        behind = np.where(above_before.any(axis=1), k + 1 - above_before[:, ::-1].argmax(axis=1), 0)
        first = np.where(below[:, k], behind, ahead)
        return np.where(first < 0, np.inf, self._between(np.maximum(first, 0), limit))

    def last_above(self, limit: float) -> np.ndarray:
        """Last time each path is at or above a limit.

        Parameters
        ----------
        limit : float
            [fraction of rated].

        Returns
        -------
        ndarray, shape (k,)
            One of `at`: the first where the path is never above; infinite where it is the last.
        """
        above = self.fraction >= limit
        from_end = above[:, ::-1].argmax(axis=1)
        at = self.at[self.at.size - 1 - from_end]
        at = np.where(above.any(axis=1), at, self.at[0])
        return np.where(from_end == 0, np.where(above.any(axis=1), np.inf, at), at)

    def loss_per_unit(self, half_width: float) -> np.ndarray:
        """Loss of capacity around the last check.

        Parameters
        ----------
        half_width : float
            Half the stretch of time it is taken over, in the unit of `at`.

        Returns
        -------
        ndarray, shape (k,)
            [fraction of rated per unit of time], positive where capacity falls.
        """
        low, high = max(self.last - half_width, self.at[0]), self.last + half_width
        ends = np.array([np.interp([low, high], self.at, path) for path in self.fraction])
        return (ends[:, 0] - ends[:, 1]) / (high - low)

    def value(self, at: float) -> np.ndarray:
        """Capacity of each path at a time.

        Parameters
        ----------
        at : float
            In the unit of the paths' times; beyond their ends the value there counts.

        Returns
        -------
        ndarray, shape (k,)
            [fraction of rated].
        """
        return np.array([np.interp(at, self.at, path) for path in self.fraction])

    def falling(self) -> np.ndarray:
        """The paths, none of which rises after the last check, shape ``(k, m)``."""
        k = int(np.searchsorted(self.at, self.last))
        ahead = np.minimum.accumulate(self.fraction[:, k:], axis=1)
        return np.concatenate([self.fraction[:, :k], ahead], axis=1)

    def widened(self, factor: float) -> Paths:
        """Paths whose spread after the last check grows faster by a factor, about the same mean.

        What they already differ by at the last check stays as it is.

        Parameters
        ----------
        factor : float
            On the growth of the spread [-]; 1 leaves the paths as they are.

        Returns
        -------
        Paths
        """
        k = min(int(np.searchsorted(self.at, self.last)), self.at.size - 1)
        away = self.fraction - self.fraction.mean(axis=0)
        ahead = self.at >= self.last
        more = (factor - 1.0) * (away - away[:, k : k + 1]) * ahead
        return Paths(self.at, self.fraction + more, self.last)

    def _between(self, first: np.ndarray, limit: float) -> np.ndarray:
        before = np.maximum(first - 1, 0)
        rows = np.arange(first.size)
        high, low = self.fraction[rows, before], self.fraction[rows, first]
        share = np.clip((high - limit) / np.maximum(high - low, 1e-12), 0.0, 1.0)
        return self.at[before] + share * (self.at[first] - self.at[before])


def trend_paths(
    model: TrendModel,
    last: float,
    horizon: float,
    bounds: tuple[np.ndarray, np.ndarray, np.ndarray] = (np.empty(0),) * 3,
) -> Paths:
    """Paths of the trend from the first check to so long after the last one.

    Parameters
    ----------
    model : TrendModel
        Fitted.
    last, horizon : float
        Time of the last check, and how far to look ahead of it.
    bounds : three ndarrays, shape (b,)
        Times, values and errors of lower bounds: a path is kept the likelier, the better it
        clears them.

    Returns
    -------
    Paths
        `PATHS` of them; each may rise as well as fall (`Paths.falling` gives those that do not).
    """
    first = model.origin_
    before = np.linspace(first, last, max(int(POINTS * 0.4), 2)) if last > first else [last]
    after = np.linspace(last, last + horizon, int(POINTS * 0.6))[1:]
    at = np.unique(np.concatenate([before, after]))
    drawn = Paths(at, model.sample_paths(at[:, None], PATHS, seed=1), last)
    return _cleared(drawn, bounds)


def scattered_paths(model: TrendModel, last: float, horizon: float, widening: float = 1.0) -> Paths:
    """Paths of what a check would read, scatter and recovery included, after the last check.

    Parameters
    ----------
    model : TrendModel
        Fitted.
    last, horizon : float
        Time of the last check, and how far to look ahead of it [cycles].
    widening : float
        Factor on the spread about the mean [-].

    Returns
    -------
    Paths
        `PATHS` of them, from one cycle after the last check on.
    """
    step = max(round(horizon / (1.6 * POINTS)), 1)
    at = np.arange(last + 1.0, last + horizon + 0.5, step)
    drawn = model.sample_paths(at[:, None], PATHS, seed=2, scatter=True)
    mean = drawn.mean(axis=0)
    return Paths(at, mean + widening * (drawn - mean), last)


def _cleared(paths: Paths, bounds: tuple[np.ndarray, np.ndarray, np.ndarray]) -> Paths:
    weight = np.ones(paths.fraction.shape[0])
    for at, least, sd in zip(*bounds, strict=True):
        weight *= np.maximum(ndtr((paths.value(at) - least) / sd), 1e-6)
    if (weight == 1.0).all():
        return paths
    rng = np.random.default_rng(3)
    kept = rng.choice(weight.size, weight.size, p=weight / weight.sum())
    return Paths(paths.at, paths.fraction[kept], paths.last)
