"""Where a finding says that the current may mislead, the numbers count it for less."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import assess
from batterymodel.rules.doubts import DOUBT, with_doubt
from batterymodel.taper.trends import Rise
from tests.conftest import simulated_connection
from tests.rules.cases import ON, SUPPLY, case_of, quiet_case, with_fitted
from tests.rules.test_findings import clamped


def hot(case):
    temps = np.full(len(case.readings), 70.0)
    readings = case.readings.model_copy(update={"battery_temp_c": temps})
    return replace(case, readings=readings, temp_c=70.0)


def with_large_plate(case):
    large = {"rated_capacity_ah": 400.0, "capacity_check": None}
    return replace(case, battery=case.battery.model_copy(update=large))


def with_scatter(case):
    data = case.fit.data
    current = data.current_a + 5.0 * np.sin(data.time_s / 6.0)
    return replace(case, fit=replace(case.fit, data=replace(data, current_a=current)))


def with_third_clamp(case):
    return replace(case, readings=clamped(8.0, factor=1.0 / 3.0), load_a=8.0)


DOUBTED = {
    "unlike any taper": lambda case: replace(case, unlike_history=True),
    "scatter": with_scatter,
    "load contradicted": lambda case: with_fitted(case, load_a=20.0),
    "clamp on one of three": with_third_clamp,
    "plate of 400 Ah": with_large_plate,
    "runaway": lambda case: replace(case, rise=Rise(9.0, 0.3, 120.0, 100.0, 9.0, 0.3, True)),
    "hot": hot,
}


@pytest.mark.parametrize("what", DOUBTED)
def test_a_current_that_may_mislead_counts_for_less(battery, what):
    """A share `DOUBT` of the belief goes to what is known without the current: nothing, here."""
    before = DOUBTED[what](quiet_case(battery))
    after = with_doubt(before)
    was, now = before.state.probability_below(0.5), after.state.probability_below(0.5)
    assert now == pytest.approx((1.0 - DOUBT) * was + DOUBT * 0.5, abs=0.005)
    assert after.state.soc_at_connection.low < before.state.soc_at_connection.low - 0.2
    assert after.state.charge_to_return_ah.high > 2.0 * before.state.charge_to_return_ah.high
    assert after.state.soc_now.low < before.state.soc_now.low - 0.2


def test_numbers_stay_where_nothing_casts_doubt(battery):
    case = quiet_case(battery)
    assert with_doubt(case) is case


def test_a_watched_temperature_casts_no_doubt(battery):
    """Nickel-cadmium whose temperature nobody took is watched; its current tells as before."""
    nicd = battery.model_copy(update={"chemistry": "nicd", "cells": 20, "history": None})
    case = case_of(simulated_connection(0.1), nicd)
    assert with_doubt(case) is case


def test_what_else_is_known_still_counts(battery):
    """A rest voltage that says full keeps the doubted numbers from reaching down to empty."""
    told = {"load_a": 8.0, "load_sd_a": 0.2, "on": ON}
    bare = assess(clamped(8.0, factor=1.0 / 3.0), battery, SUPPLY, **told)
    rested = assess(clamped(8.0, factor=1.0 / 3.0), battery, SUPPLY, rest_voltage_v=25.7, **told)
    assert bare.state_of_charge.at_connection.low < 0.5
    assert rested.state_of_charge.at_connection.low > bare.state_of_charge.at_connection.low + 0.1
