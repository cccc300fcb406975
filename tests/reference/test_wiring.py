"""Cables against published copper wire tables and by hand."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.inputs.records import Cable
from batterymodel.reference.wiring import (
    UNSTATED_CONTACTS_OHM,
    bundled_a,
    cable_drop_v,
    cable_ohm,
    conductor_area_mm2,
    conductor_ohm,
    gauge_diameter_mm,
)

FOOT_M, MIL_MM = 0.3048, 0.0254

TABLE = {
    -3: (460.0, 0.04901),
    0: (324.9, 0.09825),
    4: (204.3, 0.2485),
    8: (128.5, 0.6282),
    10: (101.9, 0.9988),
    14: (64.1, 2.524),
    18: (40.3, 6.386),
    24: (20.1, 25.67),
}
"""Diameter [mil] and ohms per 1000 feet at 20 degC of solid annealed copper: NBS Handbook 100,
*Copper Wire Tables*, 1966, from memory (high); to the digits printed."""


@pytest.mark.parametrize("gauge", TABLE)
def test_diameters_are_those_of_the_published_table(gauge):
    """Printed to a tenth of a mil, which is a quarter percent of the thinnest."""
    mils, _ = TABLE[gauge]
    assert gauge_diameter_mm(gauge) == pytest.approx(mils * MIL_MM, rel=0.003)


@pytest.mark.parametrize("gauge", TABLE)
def test_resistances_are_those_of_the_published_table(gauge):
    """Four digits are printed, and the table was reckoned with rounded diameters."""
    _, per_1000_feet = TABLE[gauge]
    area = conductor_area_mm2(Cable(length_m=1.0, gauge_awg=gauge))
    assert conductor_ohm(area, 1000.0 * FOOT_M) == pytest.approx(per_1000_feet, rel=1e-3)


def test_the_ends_of_the_gauge_are_its_definition():
    """ASTM B258 (from memory (high)): 0.005 inch for 36, 0.46 inch for 0000."""
    assert gauge_diameter_mm(36) == pytest.approx(0.005 * 25.4, rel=1e-12)
    assert gauge_diameter_mm(-3) == pytest.approx(0.46 * 25.4, rel=1e-12)


def test_three_gauges_thicker_is_twice_the_copper():
    """The trade's rule of thumb (common practice, no source): 92^(6/39) = 2.005."""
    thin, thick = (conductor_area_mm2(Cable(length_m=1.0, gauge_awg=n)) for n in (10, 7))
    assert thick / thin == pytest.approx(2.0, rel=0.01)


def test_a_cable_counts_out_and_return_by_hand():
    """10 m of 10 mm2 both ways: 0.017241 x 20 / 10 = 34.5 milliohm; at 50 A 1.72 V."""
    cable = Cable(length_m=10.0, area_mm2=10.0, contacts_ohm=0.0)
    assert cable_ohm(cable) == pytest.approx(0.034482, rel=1e-6)
    assert cable_drop_v(cable, 50.0) == pytest.approx(1.7241, rel=1e-6)


def test_contacts_count_as_stated_else_as_usual():
    stated = Cable(length_m=10.0, area_mm2=10.0, contacts_ohm=0.005)
    silent = Cable(length_m=10.0, area_mm2=10.0)
    assert cable_ohm(stated) == pytest.approx(0.039482, rel=1e-6)
    assert cable_ohm(silent) == pytest.approx(0.034482 + UNSTATED_CONTACTS_OHM, rel=1e-6)
    assert pytest.approx(0.002) == UNSTATED_CONTACTS_OHM


def test_a_warm_conductor_loses_more():
    """40 degrees more are 15.7 percent (0.00393 x 40)."""
    cold, warm = (
        cable_ohm(Cable(length_m=5.0, gauge_awg=4, contacts_ohm=0.0, conductor_temp_c=temp))
        for temp in (20.0, 60.0)
    )
    assert warm / cold == pytest.approx(1.1572, rel=1e-6)


def test_without_a_cable_nothing_is_lost():
    assert cable_drop_v(None, 50.0) == 0.0


@given(st.floats(0.5, 100.0), st.integers(-3, 24), st.floats(0.0, 200.0), st.floats(1.0, 3.0))
def test_the_drop_is_in_proportion_to_current_and_length(length, gauge, current, by):
    if length * by > 200.0:
        return
    near = Cable(length_m=length, gauge_awg=gauge, contacts_ohm=0.0)
    far = Cable(length_m=by * length, gauge_awg=gauge, contacts_ohm=0.0)
    drop = cable_drop_v(near, current)
    assert cable_drop_v(near, by * current) == pytest.approx(by * drop)
    assert cable_drop_v(far, current) == pytest.approx(by * drop)


@given(st.integers(-3, 23), st.floats(-50.0, 100.0))
def test_thinner_and_warmer_is_more_resistance(gauge, temp):
    this, thinner, warmer = (
        cable_ohm(Cable(length_m=5.0, gauge_awg=n, conductor_temp_c=t))
        for n, t in ((gauge, temp), (gauge + 1, temp), (gauge, temp + 1.0))
    )
    assert this < thinner
    assert this < warmer


@pytest.mark.parametrize(
    ("cable", "amperes"),
    [
        ({"gauge_awg": -3}, 225.0),
        ({"gauge_awg": 0}, 150.0),
        ({"gauge_awg": 4}, 80.0),
        ({"gauge_awg": 5}, 60.0),
        ({"gauge_awg": 20}, 7.5),
        ({"gauge_awg": 22}, None),
        ({"area_mm2": 8.37}, 46.0),
        ({"area_mm2": 8.2}, 33.0),
        ({"area_mm2": 500.0}, 225.0),
    ],
)
def test_the_wire_table_counts_for_conductors_no_thinner_than_its_gauge(cable, amperes):
    """Single values of the table by hand; gauge 8 has 8.37 mm^2."""
    assert bundled_a(Cable(length_m=5.0, **cable)) == amperes
