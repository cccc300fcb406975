"""Where a finding says that the current may mislead, the numbers count it for less."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import assess
from batterymodel.reference.chemistry import NEARLY_FULL_SOC, data_for
from batterymodel.rules.doubts import DOUBT, casting_doubt, with_doubt
from batterymodel.rules.proof_rules import unlike_any_taper
from batterymodel.taper.prior import prior_for
from batterymodel.taper.trends import Rise
from tests.conftest import simulated_connection
from tests.rules.cases import ON, SUPPLY, case_of, quiet_case, with_evidence, with_fitted
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
    "unlike_any_taper": lambda case: replace(case, unlike_history=True),
    "taper_shape": with_scatter,
    "contradiction": lambda case: with_evidence(case, 0.02, 0.9, 0.3),
    "clamp": with_third_clamp,
    "rated_capacity": with_large_plate,
    "current_rising": lambda case: replace(case, rise=Rise(9.0, 0.3, 120.0, 100.0, 9.0, 0.3, True)),
    "battery_temperature": hot,
}


@pytest.mark.parametrize("rule", DOUBTED)
def test_a_current_that_may_mislead_counts_for_less(battery, rule):
    """A share `DOUBT` of the belief goes to what is known without the current: nothing, here.

    Evidence that contradicts the current leaves it at that: either may mislead.
    """
    before = DOUBTED[rule](quiet_case(battery))
    assert casting_doubt(before) == (rule,)
    after = with_doubt(before)
    was, now = before.state.probability_below(0.5), after.state.probability_below(0.5)
    assert now == pytest.approx((1.0 - DOUBT) * was + DOUBT * 0.5, abs=0.005)
    assert after.state.soc_at_connection.low < before.state.soc_at_connection.low - 0.2
    assert after.state.charge_to_return_ah.high > 2.0 * before.state.charge_to_return_ah.high
    assert after.state.soc_now.low < before.state.soc_now.low - 0.2
    assert after.state.minutes_to_top_off.high > 1.5 * before.state.minutes_to_top_off.high


def test_the_time_to_go_follows_the_same_mixture(battery):
    """Against draws of any charge and of the believed time constant, by ``tau ln(left / done)``."""
    before = DOUBTED["clamp"](quiet_case(battery))
    state, prior, rng = before.state, prior_for(battery, None), np.random.default_rng(11)
    tau_min = np.exp(rng.normal(prior.log_time_s, prior.log_time_sd, 40_000)) / 60.0
    efficiency = data_for(battery.chemistry).taper.efficiency
    over = rng.uniform(size=tau_min.size) / efficiency / (1.0 - NEARLY_FULL_SOC)
    drawn = np.mean(tau_min * np.log(np.maximum(over, 1.0)))
    expected = (1.0 - DOUBT) * state.minutes_to_top_off.mean + DOUBT * drawn
    assert with_doubt(before).state.minutes_to_top_off.mean == pytest.approx(expected, rel=0.02)


def test_evidence_that_agrees_with_the_current_takes_doubt_from_it(battery):
    """Two normal pieces of 0.02 at 0.9: blind 0.02 sqrt(2 pi) agree, sighted 1 / sqrt(2).

    0.15 0.0501 / (0.15 0.0501 + 0.85 0.7071) leaves a doubt of 0.0123.
    """
    before = replace(with_evidence(quiet_case(battery), 0.02, 0.9, 0.9), unlike_history=True)
    assert casting_doubt(before) == ("unlike_any_taper",)
    was, now = (c.state.probability_below(0.5) for c in (before, with_doubt(before)))
    assert now == pytest.approx(0.9877 * was + 0.0123 * 0.5, abs=5e-4)


def test_a_fast_taper_beside_a_rest_voltage_that_confirms_still_casts_doubt(battery):
    case = case_of(simulated_connection(0.1), battery, rest_voltage_v=25.9)
    faster = case.fit.belief.log_time_s - 1.0
    case = with_fitted(case, log_time_constant=faster)
    case = replace(case, fit=replace(case.fit, conflict=2.0))
    assert unlike_any_taper(case).severity == "note"
    assert "unlike_any_taper" in casting_doubt(case)


def test_numbers_stay_where_nothing_casts_doubt(battery):
    case = quiet_case(battery)
    assert with_doubt(case) is case


def test_a_battery_too_cold_to_charge_casts_no_doubt(battery):
    case = replace(quiet_case(battery), temp_c=-15.0)
    assert casting_doubt(case) == ()


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
