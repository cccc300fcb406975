"""What a supply can give: common-practice figures, limits by hand, and which of them binds."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Interval, Supply
from batterymodel.budget.capability import bus_voltage, capability, output_limits
from batterymodel.budget.selection import HELD_SD
from batterymodel.inputs.records import Cable
from batterymodel.reference.limits import Limit

BUS_MIN = Limit(22.0, "V", "made up", generic=True)
HOUR, ALL_DAY = 60.0, 480.0


def limits_of(supply, minutes=HOUR, temp_c=None):
    return {one.name: one for one in output_limits(supply, minutes, BUS_MIN, temp_c)}


def test_a_15_a_circuit_allows_about_50_a_and_40_over_hours():
    """Common practice, no source: 60 A at 28 V draw 17.5 A at 120 V; 15 A of them allow about
    50 A. The 80 % rule (NFPA 70, 210.20(A), from memory (high)) leaves 12 A of input: 41.1 A."""
    supply = Supply(rated_current_a=60.0, input_voltage_v=120.0, circuit_breaker_a=15.0)
    found = limits_of(supply)
    assert found["wall circuit"].limit_a == pytest.approx(50.0, abs=2.0)
    assert found["wall circuit over hours"].limit_a == pytest.approx(41.1, abs=0.1)


def test_60_a_over_hours_need_more_than_a_20_a_circuit():
    """17.5 A are more than the 16 A that 80 % of 20 A leave: 54.9 A of output; 25 A do."""
    for breaker_a, limit_a, binding in ((20.0, 54.9, "wall circuit over hours"), (25.0, 60, None)):
        supply = Supply(
            rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=breaker_a
        )
        able = capability(supply, ALL_DAY, BUS_MIN)
        assert able.limit_a == pytest.approx(limit_a, abs=0.1)
        assert able.binding == (binding or "supply rating")


@pytest.mark.parametrize(("minutes", "binding"), [(179.0, "wall circuit"), (180.0, "over hours")])
def test_three_hours_make_a_load_continuous(minutes, binding):
    """NFPA 70, Article 100 (from memory (high)): continuous is three hours or more."""
    supply = Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=15.0)
    able = capability(supply, minutes, BUS_MIN)
    assert able.binding.endswith(binding)
    assert [limit.applies for limit in able.limits] == sorted(
        (limit.applies for limit in able.limits), reverse=True
    )


def test_an_estimated_input_current_is_generic_and_has_a_spread():
    plate = limits_of(
        Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=15.0)
    )["wall circuit"]
    guess = limits_of(Supply(rated_current_a=60.0, input_voltage_v=120.0, circuit_breaker_a=15.0))[
        "wall circuit"
    ]
    assert (plate.generic, plate.sd_a) == (False, 0.0)
    assert guess.generic
    assert guess.sd_a == pytest.approx(0.1 * guess.limit_a)
    assert "estimated" in guess.source


def test_a_warm_supply_binds_lower_and_an_unknown_derating_leaves_the_plate():
    supply = Supply(rated_current_a=60.0, rated_at_c=40.0, derating_a_per_c=2.0)
    assert capability(supply, HOUR, BUS_MIN, 45.0).binding == "supply rating when warm"
    assert capability(supply, HOUR, BUS_MIN, 45.0).limit_a == 50.0
    assert capability(supply, HOUR, BUS_MIN, 30.0).binding == "supply rating"
    assert capability(supply, HOUR, BUS_MIN, 80.0).limit_a == 0.0
    unknown = Supply(rated_current_a=60.0, rated_at_c=40.0)
    assert capability(unknown, HOUR, BUS_MIN, 45.0).limit_a == 60.0


def test_a_long_thin_cable_binds_by_the_bus_voltage():
    """30 m of 4 mm2 both ways: 0.017241 x 60 / 4 = 0.2586 ohm; from 27.5 V down to 22 V that
    is 5.5 / 0.2586 = 21.3 A."""
    cable = Cable(length_m=30.0, area_mm2=4.0, contacts_ohm=0.0)
    able = capability(Supply(rated_current_a=60.0, cable=cable), HOUR, BUS_MIN)
    assert able.binding == "cable"
    assert able.limit_a == pytest.approx(21.27, abs=0.01)
    margins_a = 1.645 * (np.hypot(0.05 * 21.27, 1.0) - 1.0)  # 5 % of the cable, 1 A of the meter
    assert able.below_next_a == pytest.approx(60.0 - 21.27 + margins_a, abs=0.01)
    assert able.cable_ohm == pytest.approx(0.25862, abs=1e-4)
    assert able.limits[0].generic


def test_one_limit_has_no_next():
    able = capability(Supply(rated_current_a=60.0), HOUR, BUS_MIN)
    assert (able.binding, able.below_next_a, able.cable_ohm) == ("supply rating", None, None)


def test_voltage_at_the_aircraft_by_hand():
    """0.0345 ohm at 50 A: 1.72 V below 28 V; the ends take half a volt, and 5 % spread of the
    cable's resistance at 1.645."""
    cable = Cable(length_m=10.0, area_mm2=10.0, contacts_ohm=0.0)
    load = Interval(mean=50.0, low=40.0, high=60.0, level=0.9)
    found = bus_voltage(Supply(rated_current_a=60.0, cable=cable), load)
    assert found.drop_v == pytest.approx(1.7241, abs=1e-4)
    assert found.at_aircraft_v.mean == pytest.approx(26.276, abs=1e-3)
    assert found.at_aircraft_v.low == pytest.approx(27.5 - 1.08224 * 2.06892, abs=1e-3)
    assert found.at_aircraft_v.high == pytest.approx(28.5 - 0.91776 * 1.37928, abs=1e-3)


def test_without_a_cable_the_aircraft_has_what_the_supply_has():
    found = bus_voltage(Supply(rated_current_a=60.0), Interval(mean=5, low=4, high=6, level=0.9))
    assert found.drop_v is None
    assert found.at_aircraft_v == found.at_supply_v


supplies = st.builds(
    Supply,
    rated_current_a=st.floats(10.0, 200.0),
    input_current_full_load_a=st.none() | st.floats(2.0, 60.0),
    input_voltage_v=st.none() | st.floats(100.0, 240.0),
    circuit_breaker_a=st.none() | st.floats(1.0, 60.0),
    rated_at_c=st.just(40.0),
    derating_a_per_c=st.none() | st.floats(0.0, 5.0),
    cable=st.none() | st.builds(Cable, length_m=st.floats(0.5, 50.0), gauge_awg=st.integers(0, 12)),
)


def left_by_name(able):
    """What each limit that applies leaves below its margin, with the meter's 1 A."""
    return {
        limit.name: limit.limit_a - HELD_SD * np.hypot(limit.sd_a, 1.0)
        for limit in able.limits
        if limit.applies
    }


@given(supplies, st.floats(1.0, 1440.0), st.none() | st.floats(-20.0, 60.0))
def test_the_limit_that_leaves_least_binds_and_never_above_the_plate(supply, minutes, temp_c):
    able = capability(supply, minutes, BUS_MIN, temp_c)
    left_a = left_by_name(able)
    assert left_a[able.binding] == min(left_a.values()) < supply.rated_current_a
    assert all(limit.limit_a >= 0.0 for limit in able.limits)
    assert able.binding in {limit.name for limit in able.limits}
    longer = capability(supply, min(2.0 * minutes, 1440.0), BUS_MIN, temp_c)
    assert left_by_name(longer)[longer.binding] <= left_a[able.binding]
