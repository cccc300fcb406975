"""A flat current, weighed by its level and its fall: against stories worked by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from batterymodel import Battery, Readings, Supply
from batterymodel.reference.conditions import FLAT_CURRENT, Condition, FlatCurrentPrior
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.flat_current import ROUNDING, FlatCurrent, _law, _left_after
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from

LFP = Battery(tail="DEMO-1", chemistry="lfp", cells=8, rated_capacity_ah=30.0)
SUPPLY = Supply(rated_current_a=200.0)
SOUND = FLAT_CURRENT[Condition.SOUND]


def flat(current_a, minutes=10.0, load_a=5.0, load_sd_a=0.05) -> FlatCurrent:
    time = np.linspace(0.0, 60.0 * minutes, 61)
    readings = Readings(elapsed_s=time, supply_current_a=np.round(current_a(time), 1) + 5.0)
    signal = signal_from(readings, SUPPLY, load_a, load_sd_a)
    return FlatCurrent(fit_taper(signal, prior_for(LFP, 25.0)), LFP.rated_capacity_ah)


def log_likelihood(found: FlatCurrent, beliefs=SOUND, steady_per_ah=0.0) -> float:
    """Log of the integral over the charge to return, every charge equally likely."""
    bounds, scale = found.under(beliefs, steady_per_ah)
    return float(np.log((bounds.likelihood.sum(axis=0) * bounds.charge_ah).sum()) + scale)


def middle_ah(found: FlatCurrent, beliefs=SOUND) -> float:
    """Median of the charge to return."""
    bounds, _ = found.under(beliefs, 0.0)
    weight = np.cumsum(bounds.likelihood.sum(axis=0) * bounds.charge_ah)
    return float(np.interp(0.5 * weight[-1], weight, bounds.charge_ah))


@settings(max_examples=25, deadline=None)
@given(st.floats(-4.0, 4.0), st.floats(0.01, 8.0))
def test_the_law_is_run_on_as_a_solver_of_its_equation_does(log_left, after):
    solved = solve_ivp(
        lambda t, u: -_law(u), (0.0, after), [np.exp(log_left)], rtol=1e-9, atol=1e-14
    )
    found = _left_after(np.array([np.exp(log_left)]), np.array([after]))
    assert found[0] == pytest.approx(solved.y[0, -1], rel=5e-3, abs=1e-6)


def test_the_law_meets_level_and_tail():
    """Far from full the level; nearly full what is left over the tail; where both meet 2^(-1/n)."""
    assert _law(np.array([100.0, 0.01, 1.0])) == pytest.approx(
        [1.0, 0.01, 2.0 ** (-1.0 / ROUNDING)], rel=1e-5
    )


def test_a_level_current_bounds_the_charge_from_below_only():
    """By hand: 40 A for ten minutes are 6.7 Ah, and twice the level times the tail, 2 x 40 A x
    0.08 h = 6.4 Ah, must be left for it to stay; above, all up to a whole battery is open."""
    bounds, _ = flat(lambda t: 40.0 + 0.0 * t).under(SOUND, 0.0)
    assert bounds.of_charge[bounds.charge_ah < 5.0].max() < 1e-3
    half_ah = bounds.charge_ah[bounds.of_charge > 0.3][0]
    assert 6.7 < half_ah < 6.7 + 2.0 * 6.4
    assert bounds.of_charge[-1] > 0.9


def test_a_fallen_current_tells_the_charge():
    """By hand: 30 A exp(-t / 300 s) is 2.5 Ah to return, of which 2.16 came within ten minutes."""
    assert middle_ah(flat(lambda t: 30.0 * np.exp(-t / 300.0))) == pytest.approx(2.5, rel=0.15)


def test_a_narrow_level_is_the_most_likely_where_it_lies():
    """40 A on 30 Ah are 1.33 1/h, 0.29 in the log."""
    found = flat(lambda t: 40.0 + 0.0 * t)
    logs = (-0.6, 0.29, 1.2)
    low, there, high = (
        log_likelihood(found, (FlatCurrentPrior(level, 0.2, -3.0, 0.4),)) for level in logs
    )
    assert there > low + 2.0
    assert there > high + 2.0


@pytest.mark.parametrize(("fall_a", "battery"), [(0.0, False), (20.0, True)])
def test_no_battery_shows_no_fall(fall_a, battery):
    found = flat(lambda t: fall_a * np.exp(-t / 300.0))
    assert (log_likelihood(found) - np.log(30.0) > found.log_of_a_load()) == battery


def test_a_load_settles_by_an_ampere_or_two_from_the_first_reading_on():
    """Per ampere-squared: 6 A are four deviations of 1.5 A, however little is left of it later."""
    small, large = (flat(lambda t, a=a: a * np.exp(-t / 100.0)) for a in (1.5, 6.0))
    assert small.log_of_a_load() - large.log_of_a_load() > 5.0


def test_a_current_that_charges_nothing_leaves_less_delivered():
    found = flat(lambda t: 3.0 + 0.0 * t)
    all_of_it, _ = found.under(SOUND, 0.0)
    part, _ = found.under(SOUND, 0.06)
    assert part.delivered_ah.mean() < 0.8 * all_of_it.delivered_ah.mean()


def test_an_absurd_load_leaves_finite_numbers():
    found = flat(lambda t: 2.0 + 0.0 * t, load_a=900.0, load_sd_a=0.01)
    assert np.isfinite(log_likelihood(found))
    assert np.isfinite(found.log_of_a_load())


def test_a_supply_at_its_limit_throughout_shows_that_the_battery_takes_at_least_that():
    """35 of 40 A go into 30 Ah: a sound battery takes some 45 A, a bad joint lets 3 A through."""
    time = np.linspace(0.0, 600.0, 61)
    readings = Readings(elapsed_s=time, supply_current_a=np.full(61, 40.0))
    signal = signal_from(readings, Supply(rated_current_a=40.0), 5.0, 0.05)
    assert signal.limited_throughout
    found = FlatCurrent(fit_taper(signal, prior_for(LFP, 25.0)), LFP.rated_capacity_ah)
    joint = (FLAT_CURRENT[Condition.ACCEPTS_LITTLE][0],)
    assert log_likelihood(found) > log_likelihood(found, joint) + 2.0


def test_a_fall_on_the_clamp_is_the_batterys_and_no_drift_of_a_load():
    """0.4 A less in ten minutes: a bus load drifts so, a clamp on the battery's lead does not."""
    time = np.linspace(0.0, 600.0, 61)
    battery = 0.6 - 0.4 * time / 600.0
    columns = {"elapsed_s": time, "supply_current_a": np.round(5.0 + battery, 2)}
    by_meter = Readings(**columns)
    by_clamp = Readings(**columns, battery_current_a=np.round(battery, 2))
    against = []
    for readings in (by_meter, by_clamp):
        signal = signal_from(readings, SUPPLY, 5.0, 0.05)
        found = FlatCurrent(fit_taper(signal, prior_for(LFP, 25.0)), LFP.rated_capacity_ah)
        against.append(log_likelihood(found) - found.log_of_a_load())
    assert against[1] > against[0] + 5.0


def test_the_first_seconds_are_no_fall():
    """A surge that is gone in half a minute leaves the charge as unbounded as a level current."""
    level = middle_ah(flat(lambda t: np.full(t.shape, 20.0)))
    surge = middle_ah(flat(lambda t: 20.0 + 12.0 * np.exp(-t / 8.0)))
    assert surge == pytest.approx(level, rel=0.1)
