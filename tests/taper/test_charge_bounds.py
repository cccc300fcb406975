"""The band of charge to return where the current is no exponential taper."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import Battery, Readings, Supply, assess
from batterymodel.taper.charge_bounds import TAIL_H, charge_bounds
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from tests.conftest import simulated_connection

SUPPLY = Supply(rated_current_a=60.0)
LFP = Battery(tail="DEMO-1", chemistry="lfp", cells=8, rated_capacity_ah=30.0)


def band_of(current_a, minutes=10.0, load_a=5.0, load_sd_a=0.05):
    time = np.linspace(0.0, 60.0 * minutes, len(current_a))
    readings = Readings(elapsed_s=time, supply_current_a=np.round(current_a, 1) + load_a)
    prior = replace(prior_for(LFP, 25.0), capacity_ah=LFP.rated_capacity_ah)
    fit = fit_taper(signal_from(readings, SUPPLY, load_a, load_sd_a), prior)
    return charge_bounds(fit)


def ends_ah(band, share=0.5):
    inside = band.charge_ah[band.of_charge > share]
    return inside[0], inside[-1]


def test_a_level_current_bounds_only_from_below():
    """By hand: 20 A for 10 minutes are 3.33 Ah; above, everything up to the grid's end remains."""
    low, high = ends_ah(band_of(np.full(61, 20.0)))
    assert low == pytest.approx(20.0 / 6.0, rel=0.05)
    assert high > LFP.rated_capacity_ah


def test_a_fallen_current_bounds_from_above():
    """By hand: 20 A falling evenly to 2 A in 10 minutes: 1.83 Ah, and 2 A for 1 h / 0.9 at most."""
    low, high = ends_ah(band_of(np.linspace(20.0, 2.0, 61)))
    assert low == pytest.approx(11.0 / 6.0, rel=0.06)
    assert high == pytest.approx(11.0 / 6.0 + 2.0 * TAIL_H / 0.9, rel=0.08)


def test_more_delivered_than_any_battery_holds_counts_as_the_most_of_it():
    """By hand: 340 A for an hour are 340 Ah, in a battery of 30 Ah."""
    low, high = ends_ah(band_of(np.full(61, 340.0), minutes=60.0), 0.9)
    assert low == high == pytest.approx(1.6 * LFP.rated_capacity_ah)


def test_an_unsure_load_widens_the_band():
    current = np.linspace(20.0, 2.0, 61)
    sure, unsure = (ends_ah(band_of(current, load_sd_a=sd), 0.1) for sd in (0.05, 1.5))
    assert unsure[0] < sure[0]
    assert unsure[1] > sure[1]


def test_charge_left_is_what_was_not_delivered():
    band = band_of(np.linspace(20.0, 2.0, 61))
    node, at, _ = band.pairs()
    left = band.charge_at_ah(band.window_end_s, node, at)
    expected = band.charge_ah[at] - band.delivered_ah[node, 0]
    clear = expected > 0.1 * band.charge_ah[at]
    np.testing.assert_allclose(left[clear], expected[clear])


def test_a_lithium_battery_says_how_little_the_current_tells():
    result = assess(simulated_connection(0.2), LFP, SUPPLY, load_a=8.0, ambient_c=20.0)
    soc = result.state_of_charge.at_connection
    assert soc.high - soc.low > 0.3
    assert "bounds" in result.curves.remarks["taper"]
    assert result.learned_history is None
    assert not {"taper_missing", "floor_current", "taper_shape"} & {f.rule for f in result.findings}
