"""The mixture: shares add up, evidence decides, and one scale for all models."""

import numpy as np
import pytest

from batterymodel.fade.bends import AcceleratingKnee
from batterymodel.fade.mixture import MODELS, Mixture
from batterymodel.fade.models import LinePrior, TrendModel

PRIOR = LinePrior(1.0, 0.06, 0.05, 0.04)
AT = np.linspace(0.0, 5.0, 11)[:, None]
NOISE = 0.01 * np.random.default_rng(4).standard_normal(11)


def mixed(loss):
    return Mixture(PRIOR).fit(AT, 1.0 - loss + NOISE, np.full(11, 0.01))


def test_shares_add_up_before_and_after_the_checks():
    shares = mixed(0.05 * AT[:, 0]).shares_
    assert [share.label for share in shares] == [model.label for model in MODELS]
    assert sum(share.before for share in shares) == pytest.approx(1.0)
    assert sum(share.after for share in shares) == pytest.approx(1.0)


def test_the_evidence_is_the_mean_of_the_models_own():
    """By the law of total probability, each model fitted by itself."""
    fraction, sd = 1.0 - 0.03 * AT[:, 0] ** 1.3 + NOISE, np.full(11, 0.01)
    alone = [model(PRIOR).fit(AT, fraction, sd).log_evidence_ for model in MODELS]
    whole = np.log(np.array(list(MODELS.values())) @ np.exp(alone))
    found = Mixture(PRIOR).fit(AT, fraction, sd)
    assert found.log_evidence_ == pytest.approx(whole, abs=1e-6)
    after = np.array(list(MODELS.values())) * np.exp(alone - whole)
    assert [share.after for share in found.shares_] == pytest.approx(list(after), abs=1e-6)


def test_a_wave_takes_the_belief_from_the_straight_line():
    wave = mixed(0.05 * AT[:, 0] + 0.12 * np.sin(2.0 * AT[:, 0]))
    line = wave.shares_[list(MODELS).index(TrendModel)]
    assert line.after < 0.01 * line.before


def test_the_mean_is_that_of_the_models_by_their_shares():
    fraction, sd = 1.0 - 0.05 * AT[:, 0] + NOISE, np.full(11, 0.01)
    later, found = np.array([[7.0]]), Mixture(PRIOR).fit(AT, fraction, sd)
    alone = [model(PRIOR).fit(AT, fraction, sd).predict(later)[0] for model in MODELS]
    shares = [share.after for share in found.shares_]
    assert found.predict(later)[0] == pytest.approx(np.dot(shares, alone), abs=2e-3)


def test_knees_are_those_of_one_model_before_the_last_check():
    at, before, after = mixed(0.05 * AT[:, 0]).knees()
    assert before.sum() == pytest.approx(1.0)
    assert after.sum() == pytest.approx(1.0)
    inside = np.isfinite(at)
    assert at[inside].min() > 0.0
    assert at[inside].max() < 5.0
    assert before[inside].sum() < MODELS[AcceleratingKnee]


def test_a_turn_puts_the_belief_where_it_is():
    at, _, after = mixed(0.01 * AT[:, 0] + 0.12 * np.maximum(AT[:, 0] - 3.0, 0.0)).knees()
    inside = np.isfinite(at)
    assert after[inside].sum() > 0.9
    assert after[inside] @ at[inside] / after[inside].sum() == pytest.approx(3.0, abs=0.5)


def test_covariances_in_pieces_are_those_at_once(monkeypatch):
    whole = mixed(0.05 * AT[:, 0])
    monkeypatch.setattr("batterymodel.fade.models.MOST_NUMBERS", 3 * 11**2)
    pieces = mixed(0.05 * AT[:, 0])
    assert pieces.log_evidence_ == pytest.approx(whole.log_evidence_, rel=1e-12)
    later = np.array([[6.0]])
    assert pieces.predict(later) == pytest.approx(whole.predict(later), rel=1e-12)
