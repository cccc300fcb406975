"""Which model of fade to keep: rolling-origin validation on the record itself."""

from __future__ import annotations

import numpy as np

from batterymodel.fade.bends import MODELS, KneeRidge
from batterymodel.fade.models import LinePrior, TrendModel
from batterymodel.rules.results import Result

LEAST_ORIGIN = 3
"""Checks a model is given at the first origin (own choice)."""

MOST_ORIGINS = 6
"""Origins at most (own choice)."""

MOST_AHEAD = 12
"""Later checks that are predicted from one origin at most (own choice)."""

DEFAULT: type[TrendModel] = KneeRidge
"""Model kept where the record is too short to choose: the best on the calibration fleets of
`tests.benchmarks.fade` by log density."""

BELIEVED_ORIGINS = 2.0
"""Origins of well-placed forecasts that are taken for granted before any is seen (own choice).
Within the first halves of the measured series of `tests.benchmarks.fade`, 80 % intervals of the
models that bend covered 39 to 49 % of what followed before they were widened, and 78 to 84 % after;
those of the model chosen each time covered 70 %."""

LEAST_WIDENING = 0.8
"""Widening below which intervals are never narrowed (own choice)."""

HEAD_START = 1.0
"""Log density, over all predicted checks together, by which another model must be better than
`DEFAULT` to be kept: on short records a smaller difference is chance (own choice; the calibration
fleets were run with it afterwards)."""


class ModelScore(Result):
    """One model in the comparison: mean log density of later checks, and its mean error.

    ``mean_error`` is the mean absolute error of the predicted capacity [fraction of rated];
    ``misses`` the mean square of the error over its predicted standard deviation, 1 where the
    forecasts knew how good they were.
    """

    label: str
    log_density: float
    mean_error: float
    misses: float
    origins: int
    predicted: int

    @property
    def widening(self) -> float:
        """Factor on the spread of a forecast that the model's own past misses ask for."""
        total = BELIEVED_ORIGINS + self.origins
        square = (BELIEVED_ORIGINS + self.origins * self.misses) / total
        return float(max(np.sqrt(square), LEAST_WIDENING))


def compared(
    at: np.ndarray, fraction: np.ndarray, sd: np.ndarray, prior: LinePrior
) -> tuple[ModelScore, ...]:
    """Every model from several origins of a record; none where the record is too short.

    Parameters
    ----------
    at, fraction, sd : ndarray, shape (n,)
        Time, capacity and its error [fraction of rated] of the checks, rising in time.
    prior : LinePrior

    Returns
    -------
    tuple of ModelScore
        In the order of `MODELS`, or empty.

    Notes
    -----
    From each origin the model sees the checks before it and predicts up to `MOST_AHEAD` later
    ones, spread over what is left, each by its own density. Checks that are bad by `DEFAULT` do
    not count as misses.
    """
    origins = _origins(at)
    if not origins:
        return ()
    sound = DEFAULT(prior).fit(at[:, None], fraction, sd).bad_ < 0.5
    return tuple(_score(model, origins, at, fraction, sd, prior, sound) for model in MODELS)


def widening(scores: tuple[ModelScore, ...], model: type[TrendModel]) -> float:
    """`ModelScore.widening` of a model; 1 where it was not scored.

    Parameters
    ----------
    scores : tuple of ModelScore
        From `compared`, perhaps empty.
    model : type of TrendModel

    Returns
    -------
    float
        Factor on the spread of its forecast [-].
    """
    return next((score.widening for score in scores if score.label == model.label), 1.0)


def winner(scores: tuple[ModelScore, ...]) -> type[TrendModel]:
    """The model with the highest log density of later checks.

    `DEFAULT` where none was scored, or none is better than it by `HEAD_START`.

    Parameters
    ----------
    scores : tuple of ModelScore
        From `compared`, perhaps empty.

    Returns
    -------
    type of TrendModel
    """
    if not scores:
        return DEFAULT
    head_start = {DEFAULT.label: HEAD_START / scores[0].predicted}
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
    sound: np.ndarray,
) -> ModelScore:
    densities, errors, misses, predicted = [], [], [], 0
    for n in origins:
        ahead = n + np.unique(np.linspace(0, at.size - n - 1, MOST_AHEAD).astype(int))
        fitted = model(prior).fit(at[:n, None], fraction[:n], sd[:n])
        later, predicted = at[ahead, None], predicted + ahead.size
        densities.append(fitted.log_density(later, fraction[ahead], sd[ahead]).mean())
        mean, spread = fitted.predict(later, return_std=True, scatter=True)
        away = fraction[ahead] - mean
        errors.append(np.abs(away).mean())
        square = away**2 / (spread**2 + sd[ahead] ** 2)
        misses.append(square[sound[ahead]].mean() if sound[ahead].any() else 1.0)
    return ModelScore(
        label=model.label,
        log_density=float(np.mean(densities)),
        mean_error=float(np.mean(errors)),
        misses=float(np.mean(misses)),
        origins=len(origins),
        predicted=predicted,
    )
