"""What one check does to a forecast, and that the words on it follow from that."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest

from batterymodel import Battery
from batterymodel.fade import fitted
from batterymodel.fade.fitted import counts_little, fitted_record, line_prior
from batterymodel.fade.forecast import fade_forecast
from batterymodel.fade.paths import Paths
from batterymodel.inputs.check_record import CheckRecord, checks_from_bytes
from batterymodel.reference.chemistry import Chemistry

BATTERY = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
ASKS = "was the battery full, and was the discharge run to its end voltage?"


def test_loss_by_the_square_root_of_time_is_believed_of_lithium_and_by_years_only():
    lithium = BATTERY.model_copy(update={"chemistry": Chemistry.LFP, "cells": 8})
    assert 0.5 in line_prior(lithium, "year").powers
    assert 0.5 not in line_prior(lithium, "cycle").powers
    assert 0.5 not in line_prior(BATTERY, "year").powers


def test_the_age_at_the_first_check_is_told_by_the_day_of_installation():
    lithium = BATTERY.model_copy(update={"installed_on": date(2020, 1, 1)})
    assert line_prior(lithium, "year", date(2024, 1, 1)).began == pytest.approx(4.0, abs=0.01)
    assert line_prior(lithium, "year", date(2019, 1, 1)).began == 0.0
    assert line_prior(BATTERY, "year", date(2024, 1, 1)).began == 0.0
    record = CheckRecord(
        at=np.array([0.0]),
        capacity_ah=np.array([33.0]),
        sd_ah=np.array([1.0]),
        in_service=np.array([False]),
        lower_bound=np.array([False]),
        first_on=date(2024, 1, 1),
    )
    assert fitted_record(record, lithium).model.prior.began == pytest.approx(4.0, abs=0.01)


def told(*rows):
    text = "\n".join(("on,capacity_ah", *rows))
    return fade_forecast(checks_from_bytes(text.encode(), "c.csv"), BATTERY)


def bad_note(*rows) -> str:
    (said,) = [n for n in told(*rows).notes if "does not fit" in n or "is unlike" in n]
    return said


@pytest.mark.parametrize(
    "rows",
    [
        ("2025-01-01,40", "2026-01-01,1"),
        ("2025-01-01,40", "2026-01-01,12"),
        ("2026-01-01,1",),
        ("2026-01-01,30",),
    ],
)
def test_a_check_that_moves_the_forecast_is_not_said_to_count_little(rows):
    said = bad_note(*rows)
    assert "little" not in said
    assert "the forecast is another one without it" in said
    assert "or the battery failed. Measure again." in said


def test_a_check_that_hardly_moves_the_forecast_counts_little():
    fair = [f"{year}-01-01,{40 - 0.6 * (year - 2016)}" for year in range(2016, 2026)]
    fair[4] = "2020-01-01,28"
    said = "The check of 2020-01-01 (70 %) does not fit the others and counts little: "
    assert bad_note(*fair) == said + ASKS


def test_a_check_far_above_is_not_said_to_be_of_a_failed_battery():
    said = bad_note("2025-01-01,40", "2026-01-01,58")
    assert "the forecast is another one without it" in said
    assert "failed" not in said


def sample_of(first) -> fitted.FittedRecord:
    return fitted_record(
        CheckRecord(
            np.arange(5.0),
            np.array([40.0, 39.0, first, 37.0, 36.0]),
            np.full(5, 1.0),
            np.zeros(5, bool),
            np.zeros(5, bool),
            date(2020, 1, 1),
        ),
        BATTERY,
    )


def test_without_a_check_is_as_if_it_had_never_been(monkeypatch):
    found, seen = sample_of(24.0), []
    kept = np.arange(5) != 2
    checks = found.record
    columns = ("at", "capacity_ah", "sd_ah", "in_service", "lower_bound")
    less = replace(checks, **{name: getattr(checks, name)[kept] for name in columns})
    never = fitted_record(less, BATTERY, found.wider)

    def kept_aside(*told):
        seen.append(fitted_record(*told))
        return seen[-1]

    monkeypatch.setattr(fitted, "fitted_record", kept_aside)
    counts_little(found, 2)
    last = found.paths.last
    assert seen[0].paths.value(last).mean() == pytest.approx(
        never.paths.value(last).mean(), abs=0.003
    )


def drawn(found, values, crossing_at) -> fitted.FittedRecord:
    """The same record with paths of such values at its last check, and such crossings."""
    last = found.paths.last
    fraction = np.column_stack([values, values])
    return replace(
        found,
        paths=Paths(np.array([last, last + 1.0]), fraction, last),
        crossing_at=np.asarray(crossing_at, dtype=float),
    )


@pytest.mark.parametrize(
    ("lower", "falling", "later_years", "little"),
    [
        (0.019, 0, 0.0, True),
        (0.021, 0, 0.0, False),
        (0.0, 4, 0.0, True),
        (0.0, 6, 0.0, False),
        (0.0, 0, 0.49, True),
        (0.0, 0, 0.51, False),
    ],
)
def test_little_is_two_percent_of_rated_a_chance_of_a_twentieth_and_half_a_year(
    lower, falling, later_years, little, monkeypatch
):
    """Of 100 paths; those that fall do it by a hair across the limit, so that the mean stays."""
    found = sample_of(38.0)
    above = found.limit.value + 0.001 * np.ones(100)
    above[:50] += 0.1
    below = above.copy()
    below[100 - falling :] -= 0.002
    crossing_at = np.full(100, found.paths.last + 2.0)
    one = drawn(found, below - lower * (np.arange(100) < 50) * 2.0, crossing_at)
    other = drawn(found, above, crossing_at + later_years)
    monkeypatch.setattr(fitted, "fitted_record", lambda *_: other)
    assert counts_little(one, 2) == little
