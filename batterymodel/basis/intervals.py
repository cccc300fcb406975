"""An uncertain quantity as its mean and the interval that holds it."""

from __future__ import annotations

import numpy as np
from pydantic import BaseModel, ConfigDict
from scipy.special import ndtri

LEVEL = 0.90
"""Probability inside every interval the tool shows, where none else is named (own choice)."""

LEVEL_SD = float(ndtri(0.5 + LEVEL / 2.0))
"""Half the width of that interval in standard deviations of a normal quantity."""

STEPS = 400
"""Equal steps of probability among which the shortest interval is sought [-] (own choice,
numerical)."""

OFF_MIDDLE = 0.001
"""Part of its width by which an interval must be shorter for every step that it lies off the middle
[-] (own choice, numerical: of an even belief all intervals are as short as the central one)."""

NEGLIGIBLE_WEIGHT = 1e-9
"""Weight over the highest below which a value tells nothing of an interval [-] (own choice,
numerical)."""


class Interval(BaseModel):
    """A quantity: mean and the interval that holds it with probability `level` or more."""

    model_config = ConfigDict(frozen=True)

    mean: float
    low: float
    high: float
    level: float

    def scaled(self, by: float) -> Interval:
        """The quantity times a positive number.

        Parameters
        ----------
        by : float
            Above zero; may carry a unit into another.

        Returns
        -------
        Interval
            At the same level.
        """
        return Interval(
            mean=by * self.mean, low=by * self.low, high=by * self.high, level=self.level
        )

    def widened(self, middle: float, by: float, least: float, most: float) -> Interval:
        """The quantity with each end so many times as far from its middle, its mean kept inside.

        ``middle - by (middle - low)`` and ``middle + by (high - middle)``, not beyond the bounds.

        Parameters
        ----------
        middle : float
            Its median, in the unit of the quantity.
        by : float
            Factor, above zero [-]; 1 changes nothing.
        least, most : float
            What the quantity can be at least and at most.

        Returns
        -------
        Interval
            At the same level.
        """
        if by == 1.0:
            return self
        low = max(middle - by * (middle - self.low), least)
        high = min(middle + by * (self.high - middle), most)
        return self.model_copy(update={"low": min(low, self.mean), "high": max(high, self.mean)})

    @property
    def sd(self) -> float:
        """Standard deviation of the normal quantity whose interval at `LEVEL` is as wide."""
        return (self.high - self.low) / (2.0 * LEVEL_SD)


def interval_around(mean: float, sd: float, least: float = -np.inf) -> Interval:
    """Interval at `LEVEL` of a normal quantity, not below ``least``; same unit as given.

    ``mean +- LEVEL_SD sd``.

    Parameters
    ----------
    mean : float
    sd : float
        Standard deviation, zero or more.
    least : float
        Lower end at least, whatever the spread.

    Returns
    -------
    Interval
        Mean and upper end are not touched by `least`.

    Examples
    --------
    >>> interval = interval_around(10.0, 1.0)
    >>> round(interval.low, 3), round(interval.high, 3)
    (8.355, 11.645)
    """
    low = max(mean - LEVEL_SD * sd, least)
    return Interval(mean=mean, low=low, high=mean + LEVEL_SD * sd, level=LEVEL)


def weighted_interval(values: np.ndarray, weight: np.ndarray) -> Interval:
    """Interval of weighted values, in their unit: central and shortest interval, both in it.

    Each of the two holds `LEVEL`, so that both together hold a little more. Where a belief has its
    peak at an end, as at a full battery, the central interval leaves out what is likeliest, and the
    shortest one the whole tail. Quantiles are read off the cumulative weights at the middle of each
    value; negligible weights (`NEGLIGIBLE_WEIGHT`) are left out.

    Parameters
    ----------
    values : ndarray of any shape
    weight : ndarray of that shape
        Zero or more, sum 1.

    Returns
    -------
    Interval
    """
    return weighted_interval_and_median(values, weight)[0]


def weighted_interval_and_median(values: np.ndarray, weight: np.ndarray) -> tuple[Interval, float]:
    """`weighted_interval` and `weighted_median`, in the unit of the values, by one ranking.

    Parameters
    ----------
    values : ndarray of any shape
    weight : ndarray of that shape
        Zero or more, sum 1.

    Returns
    -------
    tuple of Interval and float
    """
    ranked, cumulative = _ranked(values, weight)
    low, high = _ends(ranked, cumulative)
    kept = weight.ravel() > NEGLIGIBLE_WEIGHT * weight.max()
    mean = float(values.ravel()[kept] @ weight.ravel()[kept])
    interval = Interval(mean=mean, low=low, high=high, level=LEVEL)
    return interval, float(np.interp(0.5, cumulative, ranked))


def _ends(ranked: np.ndarray, cumulative: np.ndarray) -> tuple[float, float]:
    """Ends of central and shortest interval together."""
    quantiles = np.interp(np.linspace(0.0, 1.0, STEPS + 1), cumulative, ranked)
    tail = round(0.5 * (1.0 - LEVEL) * STEPS)
    starts, ends = quantiles[: 2 * tail + 1], quantiles[STEPS - 2 * tail :]
    off_middle = 1.0 + OFF_MIDDLE * np.abs(np.arange(starts.size) - tail)
    shortest = int(np.argmin((ends - starts) * off_middle))
    low, high = min(starts[tail], starts[shortest]), max(ends[tail], ends[shortest])
    return float(low), float(high)


def weighted_median(values: np.ndarray, weight: np.ndarray) -> float:
    """Median of weighted values, in their unit, read off as `weighted_interval` reads its ends.

    Parameters
    ----------
    values : ndarray of any shape
    weight : ndarray of that shape
        Zero or more, sum 1.

    Returns
    -------
    float
    """
    ranked, cumulative = _ranked(values, weight)
    return float(np.interp(0.5, cumulative, ranked))


def _ranked(values: np.ndarray, weight: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Values that are not negligible from low to high, and the weight up to the middle of each."""
    kept = weight.ravel() > NEGLIGIBLE_WEIGHT * weight.max()
    flat, w = values.ravel()[kept], weight.ravel()[kept]
    order = np.argsort(flat)
    return flat[order], np.cumsum(w[order]) - 0.5 * w[order]


def sample_interval(values: np.ndarray, level: float = LEVEL) -> Interval:
    """Interval of equally likely values, in their unit.

    Parameters
    ----------
    values : ndarray, shape (n,)
    level : float
        Probability inside [0..1].

    Returns
    -------
    Interval
    """
    tail = (1.0 - level) / 2.0
    low, high = np.quantile(values, [tail, 1.0 - tail])
    return Interval(mean=float(values.mean()), low=float(low), high=float(high), level=level)
