"""A capacity that bench and servicing both tell is one check; what may be one is asked about."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from batterymodel import InputError
from batterymodel.store.intake import add_battery, add_check
from batterymodel.store.records import BenchCheck, ServicingFound
from batterymodel.store.servicing import add_servicing
from tests.store.cases import BARE

ON = date(2025, 8, 4)


@pytest.fixture
def bench(sqlite_store):
    """One battery; gives store and what makes a check of it."""
    battery_id = add_battery(sqlite_store, "B-1", BARE, date(2024, 1, 5)).id

    def check(capacity_ah=36.0, days=0, **more):
        on = ON + timedelta(days=days)
        return BenchCheck(battery_id=battery_id, on=on, capacity_ah=capacity_ah, **more)

    return sqlite_store, check


def serviced(store, capacity_ah=36.0, days=0, **more):
    on = ON + timedelta(days=days)
    return add_servicing(store, "B-1", ServicingFound.CAPACITY, on, capacity_ah, **more)[0]


def test_a_check_told_after_the_same_servicing_is_that_one_with_more_of_it(bench):
    store, check = bench
    check_id = serviced(store).record.check_id
    more = {"capacity_sd_ah": 0.6, "discharge_current_a": 40.0, "log_name": "b.csv"}
    taken = add_check(store, check(36.04, **more), b"bench")
    assert (taken.was_there, taken.is_completed, taken.entry.id) == (True, True, check_id)
    [entry] = store.entries(BenchCheck)
    assert entry.record.capacity_ah == 36.0
    assert (entry.record.capacity_sd_ah, entry.record.discharge_current_a) == (0.6, 40.0)
    assert store.file(entry.record.log_sha256) == b"bench"
    assert add_check(store, check(36.04, **more), b"bench").entry == entry


@pytest.mark.parametrize("other", [{"capacity_ah": 36.1}, {"is_lower_bound": True}])
def test_another_capacity_of_the_day_and_a_bound_are_checks_of_their_own(bench, other):
    store, check = bench
    serviced(store)
    assert not add_check(store, check(**{"capacity_ah": 36.0, **other})).was_there


def test_the_same_capacity_measured_otherwise_is_another_check(bench):
    store, check = bench
    add_check(store, check(discharge_current_a=40.0))
    assert not add_check(store, check(discharge_current_a=20.0)).was_there
    assert not add_check(store, check(days=1, discharge_current_a=10.0)).was_there


@pytest.mark.parametrize(("days", "is_asked"), [(-5, True), (5, True), (-6, False), (6, False)])
def test_the_same_capacity_of_a_few_days_apart_is_asked_about(bench, days, is_asked):
    store, check = bench
    serviced(store)
    if not is_asked:
        assert not add_check(store, check(days=days)).was_there
        return
    with pytest.raises(
        InputError, match=r"the record has the same of 2025-08-04; .*measured again"
    ):
        add_check(store, check(days=days))
    with pytest.raises(InputError, match="give 2025-08-04 as its day"):
        serviced(store, days=days)
    assert len(store.entries(BenchCheck)) == 1
    again = add_check(store, check(days=days), again=True)
    assert not again.was_there
    assert serviced(store, days=days).record.check_id == again.entry.id
