"""A correction is refused what the way into the record refuses; a check stays with its find."""

from __future__ import annotations

from datetime import date

import pytest

from batterymodel import InputError
from batterymodel.store.corrections import corrected_entry
from batterymodel.store.intake import add_battery, add_check
from batterymodel.store.records import BenchCheck, KnownState, Move, Servicing, ServicingFound
from batterymodel.store.servicing import add_servicing
from tests.store.cases import BARE, DAY, small_record

FOUND_ON = date(2025, 8, 4)
WRONG = [
    ({"on": date(2099, 1, 1)}, "later than today"),
    ({"on": date(1990, 1, 1)}, "older than the installation"),
]


@pytest.fixture
def serviced(store):
    """The small record with another battery, and a capacity that servicing found of the first."""
    ids = small_record(store)
    other = add_battery(
        store, "B-2", BARE.model_copy(update={"rated_capacity_ah": 24.0}), date(2024, 1, 5)
    )
    find, _ = add_servicing(store, "B-1", ServicingFound.CAPACITY, FOUND_ON, 22.0)
    return store, ids, other.id, find


@pytest.mark.parametrize(("changes", "why"), WRONG)
def test_a_find_and_a_check_keep_to_days_on_which_they_can_have_been(serviced, changes, why):
    store, ids, _, find = serviced
    check = add_check(store, BenchCheck(battery_id=ids.battery, on=DAY, capacity_ah=36.0)).entry
    for entry in (find, check):
        with pytest.raises(InputError, match=why):
            corrected_entry(store, entry.id, changes, "a slip")
        assert store.entry(entry.id) == entry
    assert store.entry(find.record.check_id).record.on == FOUND_ON


def test_a_connection_is_not_moved_to_a_day_still_to_come(serviced):
    store, ids, _, _ = serviced
    with pytest.raises(InputError, match="the connection of 2099-01-01 is later than today"):
        corrected_entry(store, ids.connection, {"day": "2099-01-01"}, "a slip")


def test_a_check_is_not_corrected_beyond_the_plate(serviced):
    store, _, _, find = serviced
    with pytest.raises(InputError, match="cannot be that of a battery rated 40 Ah"):
        corrected_entry(store, find.record.check_id, {"capacity_ah": 220.0}, "a slip")


def test_the_check_of_a_find_goes_along_to_another_battery_and_day(serviced):
    store, _, other, find = serviced
    moved = {"battery_id": other, "on": date(2025, 8, 5)}
    corrected_entry(store, find.id, moved, "the other battery")
    check = store.entry(find.record.check_id).record
    assert (check.battery_id, check.on, check.capacity_ah) == (other, date(2025, 8, 5), 22.0)


def test_the_check_of_a_find_does_not_part_from_it(serviced):
    store, ids, other, find = serviced
    for changes in ({"battery_id": other}, {"on": date(2025, 8, 5)}):
        with pytest.raises(InputError, match="the check goes along"):
            corrected_entry(store, find.record.check_id, changes, "a slip")
    corrected_entry(store, find.record.check_id, {"capacity_ah": 22.5}, "misread")
    alien = add_check(store, BenchCheck(battery_id=other, on=FOUND_ON, capacity_ah=20.0)).entry
    with pytest.raises(InputError, match="of another battery or day"):
        corrected_entry(store, find.id, {"check_id": alien.id}, "a slip")
    [there] = store.entries(Servicing, battery_id=ids.battery, check_id=find.record.check_id)
    assert there.id == find.id


def test_a_word_corrected_in_a_move_puts_no_battery_back_that_was_taken_off_that_day(store):
    ids = small_record(store)
    about = {"battery_id": ids.battery, "on": date(2026, 3, 5)}
    put_in = store.add(Move(**about, aircraft_id=ids.aircraft, reason="back"))
    store.add(Move(**about, aircraft_id=None, reason="smelled hot"))
    corrected_entry(store, put_in.id, {"reason": "back from the bench"}, "a slip")
    assert store.aircraft_of("B-1") is None


def test_a_charge_told_first_does_not_count_again_for_being_corrected(store):
    ids = small_record(store)
    about = {"battery_id": ids.battery, "on": date(2026, 3, 5)}
    full = store.add(KnownState(**about, state_of_charge=1.0, sd=0.02))
    store.add(KnownState(**about, state_of_charge=0.3, sd=0.05))
    corrected_entry(store, full.id, {"sd": 0.03}, "a slip")
    assert store.battery("B-1").last_known.state_of_charge == 0.3
