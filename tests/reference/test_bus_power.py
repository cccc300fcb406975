"""The bus window: the aircraft's document, else the standard, marked so."""

import pytest

from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.reference.bus_power import (
    ABNORMAL_MAX_V,
    ABNORMAL_MIN_V,
    bus_max,
    bus_min,
)


def loads(**told) -> AircraftLoads:
    return AircraftLoads(tail="X", consumers=(), **told)


def test_without_a_document_the_standard_holds_and_is_marked_generic():
    """MIL-STD-704F, Table IV: 22.0 to 29.0 V steady, from memory (high), not seen."""
    low, high = bus_min(loads()), bus_max(loads())
    assert (low.value, high.value, low.unit) == (22.0, 29.0, "V")
    assert low.generic
    assert high.generic
    assert "from memory" in low.source


def test_the_aircrafts_document_takes_its_place():
    told = loads(bus_min_v=24.5, bus_max_v=28.5, document="Invented manual")
    assert (bus_min(told).value, bus_max(told).value) == (24.5, 28.5)
    assert (bus_min(told).source, bus_min(told).generic) == ("Invented manual", False)


def test_a_value_without_a_document_says_so():
    assert "not named" in bus_min(loads(bus_min_v=24.5)).source


@pytest.mark.parametrize("inside", [22.0, 29.0])
def test_abnormal_is_wider_than_normal(inside):
    """MIL-STD-704F, Table IV, from memory (medium): 20.0 to 31.5 V."""
    assert ABNORMAL_MIN_V < inside < ABNORMAL_MAX_V
    assert (ABNORMAL_MIN_V, ABNORMAL_MAX_V) == (20.0, 31.5)
