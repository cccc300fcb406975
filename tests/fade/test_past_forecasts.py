"""Rolling origins: where forecasts of the record began, and how past misses widen."""

import numpy as np
import pytest

from batterymodel.fade.models import LinePrior
from batterymodel.fade.past_forecasts import PastForecasts, past_forecasts

PRIOR = LinePrior(1.0, 0.06, 0.05, 0.04)


def past(misses):
    return PastForecasts(log_density=1.0, mean_error=0.02, misses=misses, origins=4, predicted=10)


def forecasts_of(at, fraction, sound=True):
    sd = np.full(at.size, 0.02)
    return past_forecasts(at, fraction, sd, PRIOR, np.full(at.size, sound))


def test_short_records_have_no_past_forecasts():
    at = np.array([0.0, 1.0, 2.0])
    assert forecasts_of(at, 1.0 - 0.05 * at) is None


def test_the_origins_are_spread_over_the_record():
    at = np.linspace(0.0, 5.0, 10)
    found = forecasts_of(at, 1.0 - 0.05 * at)
    assert found.origins == 6
    assert found.predicted == sum(10 - n for n in (3, 4, 5, 6, 7, 9))


def test_widening_by_hand():
    """Two origins taken for granted and four with mean square 7: sqrt((2 + 28) / 6)."""
    assert past(7.0).widening == pytest.approx(np.sqrt(5.0))
    assert past(1.0).widening == pytest.approx(1.0)
    assert past(0.0).widening == 0.8


def test_a_record_that_turns_is_widened_and_a_steady_one_is_not():
    at = np.linspace(0.0, 4.0, 12)
    noise = 0.02 * np.random.default_rng(3).standard_normal(12)
    steady = forecasts_of(at, 1.0 - 0.05 * at + noise)
    turning = forecasts_of(at, 1.0 - 0.3 * np.maximum(at - 2.0, 0.0) + noise)
    assert steady.widening < 1.2
    assert turning.widening > 1.4
    assert turning.mean_error > 2.0 * steady.mean_error


def test_bad_checks_are_no_misses():
    at = np.linspace(0.0, 4.0, 12)
    turning = 1.0 - 0.3 * np.maximum(at - 2.0, 0.0)
    assert forecasts_of(at, turning, sound=False).misses == 1.0
