"""The estimators: against algebra by hand and scikit-learn, and how they treat a bad check."""

import numpy as np
import pytest
from sklearn.base import clone
from sklearn.gaussian_process import GaussianProcessRegressor
from sklearn.gaussian_process.kernels import ConstantKernel, DotProduct, WhiteKernel

from batterymodel.fade import models as fademodels
from batterymodel.fade.mixture import MODELS
from batterymodel.fade.models import LinePrior, TrendModel

PRIOR = LinePrior(1.0, 0.06, 0.05, 0.04)
AT = np.array([0.0, 0.6, 1.3, 2.1, 2.8, 3.3])[:, None]
SD = np.full(6, 0.02)
FALLING = 1.0 - 0.05 * AT[:, 0] + np.array([0.004, -0.006, 0.002, 0.005, -0.004, 0.001])


@pytest.mark.parametrize("model", MODELS)
class TestEveryModel:
    def test_is_a_scikit_learn_estimator(self, model):
        own = model(PRIOR)
        assert own.get_params() == {"prior": PRIOR}
        assert clone(own).prior == PRIOR
        assert own.fit(AT, FALLING, SD) is own
        mean, sd = own.predict(AT, return_std=True)
        assert mean.shape == sd.shape == (6,)
        np.testing.assert_allclose(own.predict(AT), mean)
        assert own.score(AT, FALLING) > 0.9

    def test_uncertainty_grows_ahead_and_shrinks_with_checks(self, model):
        fitted = model(PRIOR).fit(AT, FALLING, SD)
        _, sd = fitted.predict(np.array([[3.3], [5.0], [8.0]]), return_std=True)
        assert (np.diff(sd) > 0).all()
        _, fewer = model(PRIOR).fit(AT[:2], FALLING[:2], SD[:2]).predict(AT[3:4], return_std=True)
        assert fewer[0] > fitted.predict(AT[3:4], return_std=True)[1][0]

    def test_paths_have_the_predicted_mean_and_spread(self, model):
        fitted = model(PRIOR).fit(AT, FALLING, SD)
        later = np.array([[2.0], [4.0], [6.0]])
        mean, sd = fitted.predict(later, return_std=True)
        paths = fitted.sample_paths(later, 20_000, seed=5)
        np.testing.assert_allclose(paths.mean(axis=0), mean, atol=0.04 * sd.max())
        np.testing.assert_allclose(paths.std(axis=0), sd, rtol=0.06)

    def test_one_bad_check_pulls_little(self, model):
        clean = model(PRIOR).fit(AT, FALLING, SD)
        dented = FALLING.copy()
        dented[2] -= 0.2
        robust = model(PRIOR).fit(AT, dented, SD)
        assert robust.bad_.argmax() == 2
        assert robust.bad_[2] > 0.9
        assert clean.bad_.max() < 0.3
        shift = np.abs(robust.predict(AT) - clean.predict(AT)).max()
        assert shift < 0.02

    def test_order_of_checks_does_not_matter(self, model):
        order = np.array([3, 0, 5, 1, 4, 2])
        one = model(PRIOR).fit(AT, FALLING, SD)
        other = model(PRIOR).fit(AT[order], FALLING[order], SD[order])
        np.testing.assert_allclose(one.predict(AT), other.predict(AT), rtol=1e-9)

    def test_precise_checks_count_more(self, model):
        sd = np.array([0.02, 0.02, 0.02, 0.02, 0.02, 0.2])
        high = FALLING + np.array([0.0, 0.0, 0.0, 0.0, 0.0, 0.08])
        vague = model(PRIOR).fit(AT, high, sd).predict(AT[-1:])[0]
        sharp = model(PRIOR).fit(AT, high, SD).predict(AT[-1:])[0]
        assert abs(vague - FALLING[-1]) < abs(sharp - FALLING[-1])


def test_straight_line_against_scikit_learn(monkeypatch):
    """Second method: a Gaussian process of scikit-learn with one scatter and no bad checks."""
    monkeypatch.setattr(fademodels, "SCATTER", (0.01,))
    monkeypatch.setattr(fademodels, "SCATTER_HALVED", 1e12)
    monkeypatch.setattr(fademodels, "BAD_SHARE", 1e-12)
    own = TrendModel(PRIOR).fit(AT, FALLING, SD)
    kernel = ConstantKernel(0.04**2, "fixed") * DotProduct(0.06 / 0.04, "fixed")
    kernel += WhiteKernel(0.01**2, "fixed")
    theirs = GaussianProcessRegressor(kernel, alpha=SD**2 + 1e-8, optimizer=None)
    theirs.fit(AT, FALLING - (1.0 - 0.05 * AT[:, 0]))
    later = np.array([[1.0], [5.0]])
    mean, sd = theirs.predict(later, return_std=True)
    own_mean, own_sd = own.predict(later, return_std=True)
    np.testing.assert_allclose(own_mean, mean + 1.0 - 0.05 * later[:, 0], atol=1e-9)
    np.testing.assert_allclose(own_sd, np.sqrt(sd**2 - 0.01**2), rtol=1e-6)
    assert own.log_evidence_ == pytest.approx(theirs.log_marginal_likelihood_value_, abs=1e-4)
