"""The forecast on both sides of what decides it: simulated truth, the calendar, and by hand."""

from datetime import date, timedelta

import numpy as np
import pytest

from batterymodel import Battery, Limits
from batterymodel.fade import doubts, forecast
from batterymodel.fade.forecast import fade_forecast
from batterymodel.inputs.check_record import CheckRecord

FIRST = date(2020, 1, 1)


def battery(interval_days=365) -> Battery:
    card = Limits(
        document="Manual", min_capacity_fraction=0.8, capacity_check_interval_days=interval_days
    )
    return Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0, limits=card)


def record(at, ah, sd_ah, first_on=FIRST) -> CheckRecord:
    at = np.asarray(at, dtype=float)
    none = np.zeros(at.size, dtype=bool)
    return CheckRecord(at, np.asarray(ah, float), np.full(at.size, sd_ah), none, none, first_on)


HALF_YEARS = np.arange(0.0, 6.1, 0.5)


def bent(loss_ah, more_ah, knee):
    return 40.0 - loss_ah * HALF_YEARS - more_ah * np.maximum(HALF_YEARS - knee, 0.0)


@pytest.mark.parametrize("days", [90, 180, 365])
def test_the_next_check_is_due_after_the_cards_interval(days):
    """A battery that hardly fades: the last check of five years and so many days, by calendar."""
    years = np.arange(6.0)
    found = fade_forecast(record(years, 40.0 - 0.2 * years, 0.6), battery(days))
    expected = found.last + timedelta(days=days)
    assert abs((found.next_check.on - expected).days) <= 1


def odds_of(checks, monkeypatch) -> float:
    """Odds of the change of slope, whether or not they are enough to be told."""
    with monkeypatch.context() as patch:
        patch.setattr(forecast, "KNEE_ODDS", 0.0)
        return fade_forecast(checks, battery()).slope_change.odds


@pytest.mark.long
@pytest.mark.parametrize(("more_ah", "told"), [(2.0, False), (2.1, False), (2.4, True)])
def test_a_change_of_slope_is_told_from_odds_of_ten(more_ah, told, monkeypatch):
    """Ten to one is where evidence begins to be strong (Jeffreys' grades, from memory (high))."""
    checks = record(HALF_YEARS, bent(0.8, more_ah, 3.5), 0.6)
    odds = odds_of(checks, monkeypatch)
    assert (odds > 10.0) == told
    assert 3.2 < odds < 35.0
    assert (fade_forecast(checks, battery()).slope_change is not None) == told


def test_loss_per_year_is_that_of_the_last_year():
    """One percent a year for five years, then 4.4 of 40 Ah a year, 11 %."""
    checks = record(HALF_YEARS, bent(0.4, 4.0, 5.0), 0.4)
    assert fade_forecast(checks, battery()).fade_percent.mean == pytest.approx(11.0, abs=2.2)


def test_loss_per_cycle_is_that_of_the_last_tenth():
    """The same over 600 cycles: 0.11 % a cycle in the last hundred."""
    checks = record(100.0 * HALF_YEARS, bent(0.4, 4.0, 5.0), 0.4, first_on=None)
    found = fade_forecast(checks, battery())
    assert found.unit == "cycle"
    assert found.fade_percent.mean == pytest.approx(0.11, abs=0.015)


def test_four_in_five_crossings_lie_in_the_interval(monkeypatch):
    """Two checks of 40 +- 1.41 Ah days apart, so one of 40 +- 1 Ah that tells nothing of the loss.

    By hand on a straight line with the chemistry's prior, without the least span of a date.

    Start 1.0 +- 0.0231, loss 0.05 +- 0.04 a year: one in ten is below 0.8 after t years with
    (0.2 - 0.05 t) = 1.28 x hypot(0.0231, 0.04 t), t = 1.93; one in four after 2.57.
    """
    monkeypatch.setattr(doubts, "LEAST_SPAN_LIVES", 0.0)
    found = fade_forecast(record([0.0, 0.01], [40.0, 40.0], 2.0**0.5), battery())
    years = (found.crossing.low - FIRST).days / 365.25
    assert years == pytest.approx(1.93, abs=0.25)


@pytest.mark.parametrize(("loss_ah", "given"), [(1.0, True), (0.7, False)])
def test_a_crossing_is_given_within_five_years(loss_ah, given):
    """From 40 to 32 Ah in 8 and in 11.4 years: 4 and 7.4 years after the checks of four."""
    years = np.arange(0.0, 4.1, 0.25)
    found = fade_forecast(record(years, 40.0 - loss_ah * years, 0.2), battery())
    assert (found.crossing.best is not None) == given
    if given:
        assert abs((found.crossing.best - date(2028, 1, 1)).days) < 365


@pytest.mark.parametrize(("dent_ah", "named"), [(1.0, False), (7.0, True)])
def test_a_check_far_off_the_others_is_named(dent_ah, named):
    """Errors of 0.6 Ah: 1 Ah off is chance, 7 Ah off is not."""
    ah = bent(0.8, 0.0, 0.0)
    ah[5] -= dent_ah
    notes = fade_forecast(record(HALF_YEARS, ah, 0.6), battery()).notes
    assert any("does not fit" in note for note in notes) == named
