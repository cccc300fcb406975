"""Two entries of one check, as older records hold them: both stay, and they count once."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from math import hypot
from types import SimpleNamespace

import pytest

from batterymodel.reference.capacity import REPEAT_REL_SD
from batterymodel.say.attention import attention_row
from batterymodel.say.record_view import checks_of
from batterymodel.sheet.case import with_record
from batterymodel.store.intake import add_battery
from batterymodel.store.kinds import known_battery
from batterymodel.store.records import BenchCheck
from batterymodel.store.told_twice import each_once
from tests.sheet.test_case import told_case
from tests.store.cases import BARE

ON, INSTALLED = date(2025, 8, 4), date(2024, 1, 5)


@pytest.fixture
def older(sqlite_store):
    """A battery with one check told by servicing and by bench, and another of its kind."""
    battery_id = add_battery(sqlite_store, "B-7", BARE, INSTALLED).id
    add_battery(sqlite_store, "B-8", BARE, INSTALLED)
    for more in ({"capacity_ah": 36.0}, {"capacity_ah": 36.04, "capacity_sd_ah": 0.3}):
        sqlite_store.add(BenchCheck(battery_id=battery_id, on=ON, **more))
    return sqlite_store, battery_id


def test_they_count_once_where_capacity_is_forecast_and_both_stay(older):
    store, battery_id = older
    checks = checks_of(store, "B-7")
    assert (checks.capacity_ah.tolist(), checks.sd_ah.tolist()) == ([36.0], [0.3])
    assert len(store.entries(BenchCheck, battery_id=battery_id)) == 2


def test_the_least_of_both_counts_whichever_was_told_first(older):
    store, battery_id = older
    every = store.entries(BenchCheck, battery_id=battery_id)
    for told in (every, every[::-1]):
        (one,) = each_once(told)
        assert (one.id, one.record.capacity_ah) == (told[0].id, 36.0)
        assert one.record.capacity_sd_ah == 0.3


def test_they_count_once_for_battery_kind_sheet_and_the_first_page(older):
    store, _ = older
    check = store.battery("B-7").capacity_check
    assert (check.capacity_ah, check.capacity_sd_ah) == (36.0, 0.3)
    assert attention_row(store, "B-7", ON).trend is None
    assert with_record(store, told_case("B-7")).checks_on_file == 1
    (of_kind,) = known_battery(store, "B-8").kind.checks
    assert of_kind.share == pytest.approx(0.9)
    assert of_kind.share_log_sd == pytest.approx(hypot(0.3 / 36.0, REPEAT_REL_SD))


@pytest.mark.parametrize(
    "other",
    [
        {"on": ON + timedelta(days=1)},
        {"capacity_ah": 36.2},
        {"is_lower_bound": True},
        {"battery_id": "another"},
    ],
)
def test_what_is_another_check_counts_by_itself(older, other):
    store, battery_id = older
    one, _ = store.entries(BenchCheck, battery_id=battery_id)
    two = one.record.model_copy(update=other)
    assert each_once([one, replace(one, record=two)])[1].record == two


def test_measured_otherwise_they_are_two(older):
    store, battery_id = older
    every = store.entries(BenchCheck, battery_id=battery_id)
    told = [
        replace(one, record=one.record.model_copy(update={"discharge_current_a": a}))
        for one, a in zip(every, (40.0, 20.0), strict=True)
    ]
    assert each_once(told) == tuple(told)


def test_checks_of_other_days_and_batteries_are_not_held_against_each_other():
    """Hundreds of batteries of a kind are asked for theirs each time one is assessed."""
    looks = []

    class Seen:
        is_lower_bound, capacity_ah = False, 36.0

        def __init__(self, battery_id, on):
            self.battery_id, self._on = battery_id, on

        @property
        def on(self):
            looks.append(self._on)
            return self._on

    checks = [
        SimpleNamespace(record=Seen(f"B-{k % 20}", ON + timedelta(days=k // 20)))
        for k in range(400)
    ]
    assert each_once(checks) == tuple(checks)
    assert len(looks) <= 2 * len(checks)
