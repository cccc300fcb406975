"""All models of fade as one: a mixture that the checks weigh by their evidence."""

from __future__ import annotations

import numpy as np

from batterymodel.fade.bends import AcceleratingKnee, GaussianProcessTrend, LocalTrend
from batterymodel.fade.models import TrendModel
from batterymodel.rules.results import Result

MODELS: dict[type[TrendModel], float] = {
    TrendModel: 0.05,
    LocalTrend: 0.05,
    GaussianProcessTrend: 0.2,
    AcceleratingKnee: 0.7,
}
"""The models, and the share of the belief that each has before the checks (calibrated on the
calibration fleets of `tests.benchmarks.fade`, and on the cells so far that none is left out)."""


class ModelShare(Result):
    """One model of the mixture: the share of the belief it has before and after the checks."""

    label: str
    before: float
    after: float


class Mixture(TrendModel):
    """Every setting of every model of `MODELS`, all weighed on one scale."""

    label = "mixture"

    def hyperparameters(self) -> list[tuple[float, ...]]:
        """Settings of every model, each behind its model's place in `MODELS`."""
        return [(k, *own) for k, m in enumerate(self.models_) for own in m.hyperparameters()]

    def hyperprior(self) -> np.ndarray:
        """Each model's own belief times its share."""
        shares = zip(MODELS.values(), self.models_, strict=True)
        return np.concatenate([share * model.hyperprior() for share, model in shares])

    def kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Kernel of the model that a setting belongs to.

        Parameters
        ----------
        a, b : ndarray, shapes (i,) and (j,)
            Times [lives since the first check].
        own : tuple of floats
            One setting of `hyperparameters`.

        Returns
        -------
        ndarray, shape (i, j)
            Covariance [fraction of rated, squared].
        """
        place, *setting = own
        return self.models_[int(place)].kernel(a, b, tuple(setting))

    def mean_shift(self, a: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Mean of what the model that a setting belongs to adds to the line.

        Parameters
        ----------
        a : ndarray, shape (i,)
            Times [lives since the first check].
        own : tuple of floats
            One setting of `hyperparameters`.

        Returns
        -------
        ndarray, shape (i,)
            [fraction of rated].
        """
        place, *setting = own
        return self.models_[int(place)].mean_shift(a, tuple(setting))

    @property
    def shares_(self) -> tuple[ModelShare, ...]:
        """Share of each model before and after the checks, in the order of `MODELS`."""
        after = np.zeros(len(MODELS))
        for (place, *_), weight in self.hyperposterior_:
            after[int(place)] += weight
        shares = zip(MODELS.items(), after, strict=True)
        return tuple(
            ModelShare(label=model.label, before=before, after=float(share))
            for (model, before), share in shares
        )

    def knees(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Every setting's knee before the last check, with its share before and after the checks.

        Returns
        -------
        at, before, after : ndarray, shape (k,)
            Time of the knee [unit of the prior], infinite for a setting without one in the
            record; shares, each adding up to one.
        """
        after = dict.fromkeys(self.hyperparameters(), 0.0)
        for own, weight in self.hyperposterior_:
            after[own] += weight
        at = np.array([self._knee(own) for own in after])
        return at, self.hyperprior(), np.array(list(after.values()))

    def _knee(self, own: tuple[float, ...]) -> float:
        if not isinstance(self.models_[int(own[0])], AcceleratingKnee):
            return np.inf
        seen = own[1] < self.x_.max()
        return self.origin_ + own[1] * self.prior.life if seen else np.inf

    def _prepare(self) -> None:
        self.models_ = [model(self.prior) for model in MODELS]
        for model in self.models_:
            model.x_ = self.x_
        super()._prepare()
