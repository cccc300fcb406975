"""Which model of fade to keep: rolling-origin validation on the record itself."""

from __future__ import annotations

import numpy as np

from batterymodel.fademodels import MODELS, KneeRidge, LinePrior, TrendModel
from batterymodel.results import Result

LEAST_ORIGIN = 3
"""Checks a model is given at the first origin."""

MOST_ORIGINS = 6
MOST_AHEAD = 12
"""Later checks that are predicted from one origin at most."""

DEFAULT: type[TrendModel] = KneeRidge
"""Model kept where the record is too short to choose: the best on the calibration fleets of
`tests.benchmarks.fade` by log density."""

MARGIN = 0.1
"""Log density per check by which another model must be better to be kept: on short records the
difference is chance (own choice, on the calibration fleets)."""


class ModelScore(Result):
    """One model in the comparison: mean log density of later checks, and its mean error.

    ``mean_error`` is the mean absolute error of the predicted capacity [fraction of rated].
    """

    label: str
    log_density: float
    mean_error: float
    origins: int


def compared(
    at: np.ndarray, fraction: np.ndarray, sd: np.ndarray, prior: LinePrior
) -> tuple[ModelScore, ...]:
    """Every model from several origins of a record; none where the record is too short.

    Parameters
    ----------
    at, fraction, sd : ndarray, shape (n,)
        Time, capacity and its error [fraction of rated] of the checks, rising in time.
    prior : LinePrior

    Notes
    -----
    From each origin the model sees the checks before it and predicts up to `MOST_AHEAD` later
    ones, spread over what is left, each by its own density.
    """
    origins = _origins(at)
    if not origins:
        return ()
    return tuple(_score(model, origins, at, fraction, sd, prior) for model in MODELS)


def winner(scores: tuple[ModelScore, ...]) -> type[TrendModel]:
    """The model with the highest log density of later checks.

    `DEFAULT` where none was scored, or none is better than it by `MARGIN`.
    """
    if not scores:
        return DEFAULT
    head_start = {DEFAULT.label: MARGIN}
    best = max(scores, key=lambda s: s.log_density + head_start.get(s.label, 0.0))
    return next(model for model in MODELS if model.label == best.label)


def _origins(at: np.ndarray) -> list[int]:
    first, last = max(LEAST_ORIGIN, at.size // 3), at.size - 1
    if last < first:
        return []
    return sorted(set(np.linspace(first, last, MOST_ORIGINS).astype(int).tolist()))


def _score(
    model: type[TrendModel],
    origins: list[int],
    at: np.ndarray,
    fraction: np.ndarray,
    sd: np.ndarray,
    prior: LinePrior,
) -> ModelScore:
    densities, errors = [], []
    for n in origins:
        ahead = n + np.unique(np.linspace(0, at.size - n - 1, MOST_AHEAD).astype(int))
        fitted = model(prior).fit(at[:n, None], fraction[:n], sd[:n])
        later = at[ahead, None]
        densities.append(fitted.log_density(later, fraction[ahead], sd[ahead]).mean())
        errors.append(np.abs(fitted.predict(later) - fraction[ahead]).mean())
    return ModelScore(
        label=model.label,
        log_density=float(np.mean(densities)),
        mean_error=float(np.mean(errors)),
        origins=len(origins),
    )
