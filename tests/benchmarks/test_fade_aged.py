"""The cells that age by models of others: what is drawn of them, and that ranges hold there."""

import numpy as np
import pytest

from tests.benchmarks.aged_cells import MONTHS, SERVICES, AgedCell, aged_cells, label_of
from tests.benchmarks.fade_aged import (
    HISTORIES,
    AgedBattery,
    capacity_share,
    cases,
    crossing_share,
    crossing_years,
    drawn_battery,
    is_used,
)

STRAIGHT = 1.0 - 0.03 * MONTHS / 12.0
"""Three percent a year: below 80 % after 6 years and 8 months."""

EVERY = 7
"""Of so many curves one is forecast here."""

LEAST_CROSSING, LEAST_CAPACITY, MOST_ERROR = 0.60, 0.75, 0.05
"""Shares of ranges of 80 and of 90 % that must hold, and median error of the capacity at the coming
check; stated before any of these forecasts was seen, as what coverage would have to fall to before
one says that it broke down (about 40 dated forecasts in view stray by 6 points)."""


def cell(capacity) -> AgedCell:
    return AgedCell("invented", "none", 1.0, capacity)


@pytest.mark.parametrize(
    ("name", "rated_ah", "label"),
    [
        ("Lfp_Gr_Maker3Ah_Battery", 3, "LFP/graphite 3 Ah"),
        ("NMC_Gr_50Ah_B1", 50, "NMC/graphite 50 Ah B1"),
        ("Nmc811_GrSi_Maker_5Ah_Battery", 5, "NMC811/graphite-silicon 5 Ah"),
        ("Nmc_Lto_10Ah_Battery", 10.2, "NMC/LTO 10.2 Ah"),
    ],
)
def test_a_cell_is_named_without_its_maker(name, rated_ah, label):
    assert label_of(name, rated_ah) == label


def test_the_crossing_of_a_straight_line_is_that_by_hand():
    assert crossing_years(STRAIGHT) == pytest.approx(20.0 / 3.0, abs=1e-3)
    assert crossing_years(np.full(MONTHS.size, 0.9)) == np.inf


def test_a_year_of_service_has_its_uses_and_its_temperatures():
    for service in SERVICES:
        year = service.year()
        through = np.abs(np.diff(year["SOC"])).sum() / 2.0
        assert through == pytest.approx(12 * service.uses_a_month * service.depth)
        assert year["SOC"].min() == pytest.approx(1.0 - service.depth)
        assert year["Temperature_C"].mean() == pytest.approx(service.mean_c, abs=0.1)


def test_curves_begin_new_and_none_is_a_straight_line():
    """A reference that fades straight would only repeat what the forecast believes."""
    assert len(aged_cells()) > 200
    for one in aged_cells():
        known = one.capacity[~np.isnan(one.capacity)]
        assert known[0] == 1.0
    worn = [one.capacity for one in aged_cells() if np.nanmin(one.capacity) < 0.8]
    assert len(worn) > 50
    half = [c[int(12 * crossing_years(c)) // 2] for c in worn]
    assert np.median(half) < 0.89


def test_histories_end_while_the_battery_is_truly_above_its_limit():
    for number in range(20):
        battery = drawn_battery(cell(STRAIGHT), number)
        found = list(battery.histories())
        assert {n for _, _, n in found} <= set(HISTORIES)
        for _, first, n in found:
            assert battery.true_at(battery.years[first + n - 1]) >= 0.8


def test_errors_of_checks_are_those_the_tool_assumes_and_share_a_bench():
    drawn = [drawn_battery(cell(np.ones(MONTHS.size)), number) for number in range(400)]
    errors = np.array([one.read[:10] / one.start - 1.0 for one in drawn])
    assert errors.std() == pytest.approx(0.03, rel=0.1)
    assert errors.mean(axis=1).std() == pytest.approx(np.hypot(0.015, 0.026 / np.sqrt(10)), rel=0.1)


def test_a_curve_that_ends_unknown_is_not_used():
    unknown = np.where(MONTHS > 60, np.nan, 0.95)
    worn = np.where(STRAIGHT < 0.6, np.nan, STRAIGHT)
    assert not is_used(drawn_battery(cell(unknown), 1))
    assert is_used(drawn_battery(cell(worn), 1))
    soon = AgedBattery(cell(1.0 - MONTHS / 120.0), 1.0, np.array([0.5]), np.array([1.0]), 1)
    assert not is_used(soon)


@pytest.mark.long
def test_ranges_hold_on_cells_that_age_by_models_of_others():
    """Published ageing tests as fitted by blast-lite (NREL); sources in `README.md` beside this."""
    found = cases(EVERY)
    view = [case for case in found if case.in_view]
    assert len(view) >= 20
    assert crossing_share(view) >= LEAST_CROSSING
    assert capacity_share(found) >= LEAST_CAPACITY
    assert np.nanmedian([case.capacity_error for case in found]) <= MOST_ERROR
