"""Loads by hand: sums, roots of squares, and duty."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.budget.demand import average_sd_a, columns, current_sd_a, load_of
from batterymodel.inputs.load_plan import Consumer


def test_a_current_that_nobody_measured_has_a_spread_and_a_stated_one_its_own():
    assert current_sd_a(Consumer(name="a", continuous_a=9.0)) == pytest.approx(1.35)
    assert current_sd_a(Consumer(name="a", continuous_a=0.2)) == pytest.approx(0.3)
    stated = Consumer(name="a", continuous_a=9.0, continuous_sd_a=0.0)
    assert current_sd_a(stated) == 0.0


def test_the_next_reading_of_a_measured_current_may_be_off_by_the_mean_too():
    """Spread 1 A, and an error of the mean of 1 / sqrt(1 + 3) = 0.5 A: 1.118 A together."""
    measured = Consumer(name="a", continuous_a=9.0, continuous_sd_a=1.0, readings=3)
    assert current_sd_a(measured) == pytest.approx(1.118, abs=1e-3)


def test_loads_add_and_their_spreads_as_roots_of_squares():
    """10 A and half of 4 A over an hour: 14 A at once, 12 A on average, 12 Ah. Spreads of 0.6 and
    0.8 A make 1 A at once. On average the second has half of 0.8 A and of a fifth of 4 A:
    0.5 sqrt(0.64 + 0.64) = 0.566 A; with 0.6 A that is 0.825 A."""
    load = load_of(
        (
            Consumer(name="a", continuous_a=10.0, continuous_sd_a=0.6),
            Consumer(name="b", continuous_a=4.0, continuous_sd_a=0.8, duty=0.5),
        ),
        60.0,
    )
    assert load.at_once_a == pytest.approx(14.0)
    assert load.at_once_sd_a == pytest.approx(1.0)
    assert load.average_a == pytest.approx(12.0)
    assert load.average_sd_a == pytest.approx(0.8246, abs=1e-4)
    assert load.charge_ah == pytest.approx(12.0)


def test_who_is_on_all_the_time_has_no_spread_of_duty():
    assert average_sd_a(Consumer(name="a", continuous_a=10.0, continuous_sd_a=0.6)) == 0.6


def test_nobody_on_is_no_load():
    load = load_of((), 60.0)
    assert (load.at_once_a, load.at_once_sd_a, load.charge_ah) == (0.0, 0.0, 0.0)
    assert columns((), 60.0, over_hours=False)[0].shape == (0,)


several = st.lists(
    st.builds(
        Consumer,
        name=st.just("a"),
        continuous_a=st.floats(0.0, 100.0),
        duty=st.floats(0.01, 1.0),
        continuous_sd_a=st.none() | st.floats(0.0, 10.0),
    ),
    max_size=6,
)


@given(several, st.booleans())
def test_columns_are_the_load_one_by_one(consumers, over_hours):
    means, sds = columns(consumers, 60.0, over_hours)
    load = load_of(consumers, 60.0)
    total = load.average_a if over_hours else load.at_once_a
    spread = load.average_sd_a if over_hours else load.at_once_sd_a
    assert means.sum() == pytest.approx(total)
    assert (sds**2).sum() == pytest.approx(spread**2)
    assert load.average_a <= load.at_once_a + 1e-9
