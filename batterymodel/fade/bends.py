"""The models of fade that bend: what each adds to the straight line of `models.TrendModel`."""

from __future__ import annotations

from itertools import product

import numpy as np
from sklearn.gaussian_process.kernels import (  # type: ignore[import-untyped]  # no types
    Matern,
)

from batterymodel.fade.models import TrendModel


class LocalTrend(TrendModel):
    """Line whose slope wanders: an integrated random walk, so the latest slope counts most."""

    label = "local trend"

    def hyperparameters(self) -> list[tuple[float, ...]]:
        """Standard deviation of the slope's change over one life [fraction per life]."""
        return [(q,) for q in (0.01, 0.03, 0.06, 0.12, 0.25, 0.5, 1.0)]

    def hyperprior(self) -> np.ndarray:
        """The more a slope wanders, the less likely before the checks."""
        steps = np.array([q for (q,) in self.hyperparameters()])
        likely = 1.0 / (1.0 + steps / 0.1)
        return likely / likely.sum()

    def kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Integrated Wiener process from the first check.

        Parameters
        ----------
        a, b : ndarray, shapes (i,) and (j,)
            Times [lives since the first check]; before it the process is zero.
        own : tuple of one float
            Standard deviation of the slope's change over one life [fraction per life].

        Returns
        -------
        ndarray, shape (i, j)
            Covariance [fraction of rated, squared].
        """
        low = np.minimum(a[:, None], b[None, :]).clip(min=0.0)
        high = np.maximum(a[:, None], b[None, :])
        return own[0] ** 2 * low**2 * (high / 2.0 - low / 6.0)


class GaussianProcessTrend(TrendModel):
    """Line plus a smooth deviation that forgets itself: far ahead the line alone is followed."""

    label = "Gaussian process"

    def hyperparameters(self) -> list[tuple[float, ...]]:
        """Size [fraction of rated] and length [lives] of the deviation."""
        return list(product((0.01, 0.03, 0.08), (0.4, 0.8, 1.6)))

    def kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Matern kernel, twice differentiable.

        Parameters
        ----------
        a, b : ndarray, shapes (i,) and (j,)
            Times [lives since the first check].
        own : tuple of two floats
            Size [fraction of rated] and length [lives] of the deviation.

        Returns
        -------
        ndarray, shape (i, j)
            Covariance [fraction of rated, squared].
        """
        size, length = own
        return size**2 * Matern(length_scale=length, nu=2.5)(a[:, None], b[:, None])


class AcceleratingKnee(TrendModel):
    """Loss that may grow with a power of time, and one knee after which it is faster still.

    Near the end of a lead-acid battery's life capacity falls faster: that is why standards for
    stationary batteries ask for replacement at 80 % of rated (IEEE 450, 1188, from memory).
    """

    label = "knee"

    KNEE_LOSS, KNEE_LOSS_SD = 0.15, 0.15
    """Extra loss after a knee [fraction per life], and its spread (own choice)."""

    KNEES_PER_LIFE = 0.15
    """Knees a battery meets per life (own choice)."""

    AHEAD = 3.0
    """Lives ahead of the last check in which a knee is looked for (own choice)."""

    SEEN = 10
    """Knees that are tried between the first and the last check (own choice)."""

    def hyperparameters(self) -> list[tuple[float, ...]]:
        """Time of the knee [lives since the first check], infinite for none, and the power."""
        return [(knee, power) for knee in self._knees() for power in self.prior.powers]

    def hyperprior(self) -> np.ndarray:
        """Knees are as likely in any stretch of time as in any other of its length."""
        each = self.KNEES_PER_LIFE * np.diff(self._knees()[:-1], prepend=0.0)
        none = max(1.0 - each.sum(), 0.2)
        of_knees = np.append(each, none) / (each.sum() + none)
        powers = len(self.prior.powers)
        return np.repeat(of_knees, powers) / powers

    def kernel(self, a: np.ndarray, b: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Kernel of the hinge's ridge weight, and of the power in place of the straight line.

        Parameters
        ----------
        a, b : ndarray, shapes (i,) and (j,)
            Times [lives since the first check].
        own : tuple of two floats
            Time of the knee [lives since the first check], infinite for none; power.

        Returns
        -------
        ndarray, shape (i, j)
            What is added to the line's covariance [fraction of rated, squared].
        """
        knee, power = own
        hinge = self.KNEE_LOSS_SD**2 * np.outer(_hinge(a, knee), _hinge(b, knee))
        slope_sd = self.prior.loss_sd * self.prior.life
        bent = np.outer(self._risen(a, power), self._risen(b, power)) - np.outer(a, b)
        return hinge + slope_sd**2 * bent

    def mean_shift(self, a: np.ndarray, own: tuple[float, ...]) -> np.ndarray:
        """Mean extra loss after the knee, and by the power.

        Parameters
        ----------
        a : ndarray, shape (i,)
            Times [lives since the first check].
        own : tuple of two floats
            Time of the knee [lives since the first check], infinite for none; power.

        Returns
        -------
        ndarray, shape (i,)
            What is added to the line [fraction of rated].
        """
        knee, power = own
        by_power = self.prior.loss * self.prior.life * (self._risen(a, power) - a)
        return -self.KNEE_LOSS * _hinge(a, knee) - by_power

    def _risen(self, at: np.ndarray, power: float) -> np.ndarray:
        """Time to a power, from the first check on; before it, where it has none, time itself."""
        began = self.prior.began / self.prior.life if power < 1.0 else 0.0
        since_new = began + np.maximum(at, 0.0)
        return np.where(at > 0.0, since_new**power - began**power, at)

    def _knees(self) -> np.ndarray:
        """Times at which a knee is tried [lives since the first check]; the last is no knee."""
        end = float(self.x_.max())
        seen = np.linspace(0.0, end, self.SEEN + 1)[1:] if end > 0.0 else np.empty(0)
        ahead = np.linspace(end, end + self.AHEAD, 9)[1:]
        return np.concatenate([seen, ahead, [np.inf]])


def _hinge(at: np.ndarray, knee: float) -> np.ndarray:
    return np.maximum(at - knee, 0.0) if np.isfinite(knee) else np.zeros(at.size)
