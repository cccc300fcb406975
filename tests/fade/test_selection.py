"""Rolling origins: what is compared, who wins, and how past misses widen."""

import numpy as np
import pytest

from batterymodel.fade.bends import MODELS
from batterymodel.fade.models import LinePrior
from batterymodel.fade.selection import DEFAULT, ModelScore, compared, widening, winner

PRIOR = LinePrior(1.0, 0.06, 0.05, 0.04)


def score(label, log_density, misses=1.0, origins=4, predicted=10):
    return ModelScore(
        label=label,
        log_density=log_density,
        mean_error=0.02,
        misses=misses,
        origins=origins,
        predicted=predicted,
    )


def test_short_records_are_not_compared():
    at = np.array([0.0, 1.0, 2.0])
    scores = compared(at, 1.0 - 0.05 * at, np.full(3, 0.02), PRIOR)
    assert scores == ()
    assert winner(scores) is DEFAULT
    assert widening(scores, DEFAULT) == 1.0


def test_every_model_is_scored_on_the_same_origins():
    at = np.linspace(0.0, 5.0, 10)
    scores = compared(at, 1.0 - 0.05 * at, np.full(10, 0.02), PRIOR)
    assert [s.label for s in scores] == [model.label for model in MODELS]
    assert len({(s.origins, s.predicted) for s in scores}) == 1
    assert scores[0].origins == 6
    assert scores[0].predicted == sum(10 - n for n in (3, 4, 5, 6, 7, 9))


def test_the_best_wins_only_by_more_than_chance():
    plain = [score(model.label, 1.0) for model in MODELS]
    assert winner(tuple(plain)) is DEFAULT
    better = [score("local trend", 1.05) if s.label == "local trend" else s for s in plain]
    assert winner(tuple(better)) is DEFAULT
    better = [score("local trend", 1.20) if s.label == "local trend" else s for s in plain]
    assert winner(tuple(better)).label == "local trend"


def test_widening_by_hand():
    """Two origins taken for granted and four with mean square 7: sqrt((2 + 28) / 6)."""
    assert score("knee", 1.0, misses=7.0).widening == pytest.approx(np.sqrt(5.0))
    assert score("knee", 1.0, misses=1.0).widening == pytest.approx(1.0)
    assert score("knee", 1.0, misses=0.0).widening == 0.8


def test_a_record_that_turns_is_widened_and_a_steady_one_is_not():
    at, sd = np.linspace(0.0, 4.0, 12), np.full(12, 0.02)
    noise = 0.02 * np.random.default_rng(3).standard_normal(12)
    steady = compared(at, 1.0 - 0.05 * at + noise, sd, PRIOR)
    turning = compared(at, 1.0 - 0.3 * np.maximum(at - 2.0, 0.0) + noise, sd, PRIOR)
    assert steady[0].widening < 1.2
    assert turning[0].widening > 1.8
