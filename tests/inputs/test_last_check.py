"""Which check says what was measured last: the last day, and of it the least."""

from __future__ import annotations

from datetime import date, timedelta

from hypothesis import given
from hypothesis import strategies as some

from batterymodel.inputs.last_check import place_of_last

CHECKS = some.lists(some.tuples(some.integers(0, 3), some.floats(1.0, 50.0)), min_size=1)


@given(CHECKS)
def test_it_is_of_the_last_day_and_nothing_of_that_day_is_less(found):
    on = [date(2026, 1, 1) + timedelta(days=day) for day, _ in found]
    ah = [amount for _, amount in found]
    k = place_of_last(on, ah)
    assert on[k] == max(on)
    assert ah[k] == min(amount for day, amount in zip(on, ah, strict=True) if day == on[k])


def test_without_a_check_there_is_none():
    assert place_of_last([], []) is None
