"""How well the model's own earlier forecasts of this record have held: rolling origins."""

from __future__ import annotations

import numpy as np

from batterymodel.fade.mixture import Mixture
from batterymodel.fade.models import LinePrior
from batterymodel.rules.results import Result

LEAST_ORIGIN = 3
"""Checks the model is given at the first origin (own choice)."""

MOST_ORIGINS = 6
"""Origins at most (own choice)."""

MOST_AHEAD = 12
"""Later checks that are predicted from one origin at most (own choice)."""

BELIEVED_ORIGINS = 2.0
"""Origins of well-placed forecasts that are taken for granted before any is seen (own choice).
Within the first halves of the measured series of `tests.benchmarks.fade`, 80 % intervals of the
models that bend covered 39 to 49 % of what followed before they were widened, and 78 to 84 % after;
those of the model chosen each time covered 70 %."""

LEAST_WIDENING = 0.8
"""Widening below which intervals are never narrowed (own choice)."""


class PastForecasts(Result):
    """What forecasts from earlier origins of the record were worth.

    ``log_density`` is the mean log density of later checks, ``mean_error`` the mean absolute error
    of the predicted capacity [fraction of rated], ``misses`` the mean square of the error over its
    predicted standard deviation, 1 where the forecasts knew how good they were.
    """

    log_density: float
    mean_error: float
    misses: float
    origins: int
    predicted: int

    @property
    def widening(self) -> float:
        """Factor on the spread of a forecast that the past misses ask for."""
        total = BELIEVED_ORIGINS + self.origins
        square = (BELIEVED_ORIGINS + self.origins * self.misses) / total
        return float(max(np.sqrt(square), LEAST_WIDENING))


def past_forecasts(
    at: np.ndarray, fraction: np.ndarray, sd: np.ndarray, prior: LinePrior, sound: np.ndarray
) -> PastForecasts | None:
    """The mixture from several origins of a record.

    Parameters
    ----------
    at, fraction, sd : ndarray, shape (n,)
        Time, capacity and its error [fraction of rated] of the checks, rising in time.
    prior : LinePrior
    sound : ndarray of bool, shape (n,)
        Checks that count as misses where they are missed.

    Returns
    -------
    PastForecasts or None
        None where the record is too short.

    Notes
    -----
    From each origin the mixture sees the checks before it and predicts up to `MOST_AHEAD` later
    ones, spread over what is left, each by its own density.
    """
    origins = _origins(at)
    if not origins:
        return None
    densities, errors, misses, predicted = [], [], [], 0
    for n in origins:
        ahead = n + np.unique(np.linspace(0, at.size - n - 1, MOST_AHEAD).astype(int))
        fitted = Mixture(prior).fit(at[:n, None], fraction[:n], sd[:n])
        later, predicted = at[ahead, None], predicted + ahead.size
        densities.append(fitted.log_density(later, fraction[ahead], sd[ahead]).mean())
        mean, spread = fitted.predict(later, return_std=True, scatter=True)
        away = fraction[ahead] - mean
        errors.append(np.abs(away).mean())
        square = away**2 / (spread**2 + sd[ahead] ** 2)
        misses.append(square[sound[ahead]].mean() if sound[ahead].any() else 1.0)
    return PastForecasts(
        log_density=float(np.mean(densities)),
        mean_error=float(np.mean(errors)),
        misses=float(np.mean(misses)),
        origins=len(origins),
        predicted=predicted,
    )


def _origins(at: np.ndarray) -> list[int]:
    first, last = max(LEAST_ORIGIN, at.size // 3), at.size - 1
    if last < first:
        return []
    return sorted(set(np.linspace(first, last, MOST_ORIGINS).astype(int).tolist()))
