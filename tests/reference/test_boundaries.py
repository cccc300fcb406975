"""Limits and supplies on both sides of what decides them."""

import pytest

from batterymodel import Battery, Limits, Supply
from batterymodel.reference.limits import limit_for
from batterymodel.reference.supply import continuous_output_a, full_load_input_a, output_limit


def nicd(**limits) -> Battery:
    card = Limits(document="Manual", **limits)
    return Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0, limits=card)


@pytest.mark.parametrize(
    ("name", "other"), [("charge_temp_min_c", -10.0), ("min_top_off_soc", 0.75)]
)
def test_a_zero_on_the_card_is_a_value_and_no_blank(name, other):
    """Water freezes at 0 degC, and a maker may well stop charging there."""
    assert limit_for(nicd(), name).value == other
    found = limit_for(nicd(**{name: 0.0}), name)
    assert (found.value, found.generic, found.source) == (0.0, False, "Manual")


@pytest.mark.parametrize(
    ("breaker_a", "limit_a", "by"),
    [(17.4, 59.657, "wall circuit"), (17.6, 60.0, "supply rating")],
)
def test_the_lower_of_plate_and_circuit_is_the_limit(breaker_a, limit_a, by):
    """60 A of output at 17.5 A of input: 17.4 A feed 60 x 17.4 / 17.5 = 59.66 A."""
    supply = Supply(
        rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=breaker_a
    )
    found = output_limit(supply)
    assert found.limit_a == pytest.approx(limit_a, abs=1e-3)
    assert found.limited_by == by


@pytest.mark.parametrize(("breaker_a", "hours_a"), [(15.0, 41.14), (21.0, 57.6), (23.0, 60.0)])
def test_what_a_circuit_carries_over_hours(breaker_a, hours_a):
    """Four fifths of the circuit, never above the plate: 0.8 x 60 x 15 / 17.5 = 41.14 A."""
    supply = Supply(
        rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=breaker_a
    )
    assert continuous_output_a(supply) == pytest.approx(hours_a, abs=0.01)


@pytest.mark.parametrize(("volts", "input_a"), [(120.0, 17.5), (240.0, 8.75)])
def test_input_of_a_supply_without_a_plate_current(volts, input_a):
    """28 V x 60 A = 1680 W; with four fifths of volt-amperes 2100 VA."""
    supply = Supply(rated_current_a=60.0, set_voltage_v=28.0, input_voltage_v=volts)
    assert full_load_input_a(supply) == pytest.approx(input_a, rel=1e-6)
