"""The card overrides the generic value, and everything says which it is."""

import pytest

from batterymodel import Battery, Limits
from batterymodel.reference.limits import LIMIT_NAMES, limit_for


def with_card(**limits) -> Battery:
    return Battery(
        tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0, limits=Limits(**limits)
    )


@pytest.mark.parametrize("name", LIMIT_NAMES)
def test_blank_card_falls_back_to_generic_with_a_source(name):
    limit = limit_for(with_card(), name)
    assert limit.generic
    assert limit.source.startswith("value for valve-regulated lead-acid: ")


def test_card_entry_names_its_document():
    limit = limit_for(with_card(document="Manual, rev. 3", min_top_off_soc=0.6), "min_top_off_soc")
    assert (limit.value, limit.generic, limit.source) == (0.6, False, "Manual, rev. 3")


def test_card_without_a_document_says_so():
    limit = limit_for(with_card(max_charge_current_a=30.0), "max_charge_current_a")
    assert not limit.generic
    assert "not named" in limit.source


def test_generic_values_scale_with_cells_and_capacity():
    big = Battery(tail="D", chemistry="vrla", cells=6, rated_capacity_ah=20.0)
    assert limit_for(big, "charge_voltage_max_v").value == pytest.approx(6 * 2.40)
    ratio = (
        limit_for(with_card(), "max_float_current_a").value
        / limit_for(big, "max_float_current_a").value
    )
    assert ratio == pytest.approx(2.0)
