"""The normal taper: what a battery's history makes likely, against limits worked by hand."""

import numpy as np
import pytest

from batterymodel.charts.normal import normal_taper
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.samples.simulate import TruePath, battery_current_a
from batterymodel.taper.expected import expected_taper
from batterymodel.taper.prior import prior_for
from tests.conftest import assessed_sample
from tests.sheet.cases import BY_KEY

TIME_S = np.linspace(0.0, 40_000.0, 40_001)


def charge_ah(current_a: np.ndarray) -> float:
    return float(np.trapezoid(current_a, TIME_S)) / 3600.0


@pytest.mark.parametrize("soc", [0.98, 0.9, 0.6, 0.3])
@pytest.mark.parametrize("room_a", [np.inf, 50.0, 20.0])
def test_all_the_charge_to_return_is_returned(battery: Battery, soc: float, room_a: float):
    """Integrated numerically, with and without a limit: depth times capacity over efficiency."""
    current, _ = expected_taper(battery, soc, TIME_S, room_a)
    expected = (1.0 - soc) * 40.0 / data_for(battery.chemistry).taper.efficiency
    assert charge_ah(current) == pytest.approx(expected, rel=2e-3)
    assert (np.diff(current) <= 1e-9).all()
    assert current.max() <= room_a + 1e-9


def test_current_with_a_limit_is_that_of_the_stepped_model(battery: Battery):
    """`simulate` steps the branches numerically; the closed form must give the same."""
    room = 20.0
    current, amplitude = expected_taper(battery, 0.7, TIME_S[:1800], room)
    prior = prior_for(battery, None)
    rate = float(prior.c_rate_per_h(room))
    share, slow_s = float(prior.share_at(rate)), float(np.exp(prior.log_time_at(rate)))
    time_h = slow_s * (1.0 - share * (1.0 - prior.fast_ratio)) / 3600.0
    path = TruePath(amplitude * time_h, time_h, share, prior.fast_ratio, 0.0)
    stepped = battery_current_a(path, TIME_S[:1800], np.full(1800, room), step_s=0.05)
    np.testing.assert_allclose(current, stepped, atol=0.05)


def test_a_small_charge_takes_the_time_of_the_history(battery: Battery):
    """At a small rate the charge time is that of the history: charge over amplitude."""
    current, amplitude = expected_taper(battery, 0.999, TIME_S)
    assert charge_ah(current) / amplitude == pytest.approx(0.31, rel=0.02)


def test_normal_lies_close_to_a_healthy_taper_and_above_a_cold_one():
    healthy, cold = assessed_sample("healthy-top-off"), assessed_sample("cold-battery")
    near = normal_taper(healthy, BY_KEY["healthy-top-off"].battery)
    far = normal_taper(cold, BY_KEY["cold-battery"].battery)
    assert np.abs(near.current_a - healthy.curves.fit_a).max() < 0.5
    assert far.current_a[0] - cold.curves.fit_a[0] > 5.0


def test_normal_never_exceeds_what_the_supply_can_give():
    result = assessed_sample("supply-at-its-limit")
    normal = normal_taper(result, BY_KEY["supply-at-its-limit"].battery)
    assert normal.current_a.max() <= result.curves.limit_a + 1e-9


def test_no_history_no_normal_taper():
    assert normal_taper(assessed_sample("no-card-no-load"), BY_KEY["no-card-no-load"].battery) is (
        None
    )


def test_no_normal_taper_where_the_current_does_not_taper(battery: Battery):
    lfp = Battery.model_validate({**battery.model_dump(), "chemistry": "lfp", "cells": 8})
    assert normal_taper(assessed_sample("healthy-top-off"), lfp) is None
