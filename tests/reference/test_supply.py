"""Supply arithmetic against common-practice figures, which have no source."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.inputs.records import Supply
from batterymodel.reference.supply import (
    circuit_output_a,
    continuous_output_a,
    full_load_input_a,
    input_current_a,
    input_factor,
    output_limit,
    warm_output_a,
)


def test_sixty_amperes_at_28_v_draw_about_17_5_a_at_120_v():
    """Common practice, no source."""
    supply = Supply(rated_current_a=60.0, set_voltage_v=28.0, input_voltage_v=120.0)
    assert full_load_input_a(supply) == pytest.approx(17.5, abs=0.5)


def test_the_same_supply_on_a_15_a_circuit_gives_about_50_a():
    """Common practice, no source."""
    supply = Supply(rated_current_a=60.0, input_voltage_v=120.0, circuit_breaker_a=15.0)
    limit = output_limit(supply)
    assert limit.limit_a == pytest.approx(50.0, abs=2.0)
    assert limit.limited_by == "wall circuit"


def test_no_load_voltage_is_28_v_within_half_a_volt():
    """Common practice, no source: the default a supply is taken to have."""
    supply = Supply(rated_current_a=60.0)
    assert supply.set_voltage_v == 28.0
    assert supply.voltage_tolerance_v == 0.5


def test_plate_current_beats_the_estimate():
    supply = Supply(
        rated_current_a=50.0,
        input_voltage_v=230.0,
        input_current_full_load_a=9.0,
        circuit_breaker_a=16.0,
    )
    assert full_load_input_a(supply) == 9.0
    assert output_limit(supply).limit_a == 50.0
    assert output_limit(supply).limited_by == "supply rating"


def test_unknown_wall_circuit_leaves_the_rating():
    supply = Supply(rated_current_a=45.0)
    assert full_load_input_a(supply) is None
    assert input_current_a(supply, 20.0) is None
    assert circuit_output_a(supply) is None
    assert output_limit(supply).limit_a == continuous_output_a(supply) == 45.0


def test_continuous_draw_is_eighty_percent_of_the_circuit():
    supply = Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=15.0)
    assert continuous_output_a(supply) == pytest.approx(0.8 * 60.0 * 15.0 / 17.5)


@given(st.floats(10.0, 200.0), st.floats(5.0, 50.0), st.floats(5.0, 50.0), st.floats(0.0, 1.0))
def test_input_is_proportional_and_the_limit_never_above_either(rated, full, breaker, share):
    supply = Supply(
        rated_current_a=rated, input_current_full_load_a=full, circuit_breaker_a=breaker
    )
    assert input_current_a(supply, share * rated) == pytest.approx(share * full)
    limit = output_limit(supply).limit_a
    assert limit <= rated
    assert input_current_a(supply, limit) <= breaker * (1 + 1e-9)


def test_the_plate_tells_efficiency_and_power_factor_together():
    """1680 W of output from 2100 VA of input are four fifths; without both, nobody knows."""
    supply = Supply(rated_current_a=60.0, input_voltage_v=120.0, input_current_full_load_a=17.5)
    assert input_factor(supply) == pytest.approx(0.8)
    assert input_factor(Supply(rated_current_a=60.0, input_voltage_v=120.0)) is None


@pytest.mark.parametrize(
    ("temp_c", "output_a"), [(39.9, 60.0), (40.0, 60.0), (42.0, 57.0), (90.0, 0.0)]
)
def test_a_warm_supply_gives_less_by_its_plate(temp_c, output_a):
    """1.5 A less for each degree above 40: at 42 °C 57 A; never below nothing."""
    supply = Supply(rated_current_a=60.0, rated_at_c=40.0, derating_a_per_c=1.5)
    assert warm_output_a(supply, temp_c) == pytest.approx(output_a)


def test_how_much_less_a_warm_supply_gives_may_not_be_known():
    supply = Supply(rated_current_a=60.0, rated_at_c=40.0)
    assert warm_output_a(supply, 40.0) == 60.0
    assert warm_output_a(supply, 41.0) is None
    assert warm_output_a(Supply(rated_current_a=60.0), 80.0) == 60.0
