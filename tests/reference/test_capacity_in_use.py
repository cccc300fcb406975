"""Capacity to count on: against draws at random, limits worked by hand, and what must never be."""

from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Battery, CapacityCheck, Chemistry
from batterymodel.errors import InputError
from batterymodel.inputs.records import record_from
from batterymodel.reference.capacity import capacity_data_for
from batterymodel.reference.capacity_in_use import (
    CHECK_RANGE,
    LEAST_SHARE,
    MOST_SHARE,
    NEGLECTED,
    NEGLECTED_FACTOR,
    UNKNOWN_AGE_MEAN_YEARS,
    WORN_SHARE,
    CapacityBelief,
    capacity_belief,
)

ON = date(2026, 3, 2)
CHEMISTRIES = st.sampled_from(list(Chemistry))
YEARS = st.floats(0.0, 40.0)
LEVELS = np.array([0.05, 0.25, 0.5, 0.75, 0.95])


def days_before(years: float) -> date:
    return ON - timedelta(days=round(365.25 * years))


def plain(chemistry: Chemistry = Chemistry.VENTED_LEAD_ACID, **told: object) -> Battery:
    return Battery(tail="D", chemistry=chemistry, cells=12, rated_capacity_ah=40.0, **told)


def checked(share: float, rel_sd: float, years: float, **told: object) -> Battery:
    capacity = 40.0 * share
    check = CapacityCheck(
        on=days_before(years), capacity_ah=capacity, capacity_sd_ah=rel_sd * capacity
    )
    return plain(capacity_check=check, **told)


def drawn_shares(age_years: float | None, draws: int = 400_000) -> np.ndarray:
    """Capacity over plate of vented lead-acid batteries, drawn from the written law."""
    rng, fade = np.random.default_rng(5), capacity_data_for(Chemistry.VENTED_LEAD_ACID).fade
    shape = (fade.per_year / fade.per_year_sd) ** 2
    loss = rng.gamma(shape, fade.per_year / shape, draws)
    loss = np.where(rng.uniform(size=draws) < NEGLECTED, NEGLECTED_FACTOR * loss, loss)
    age = rng.exponential(UNKNOWN_AGE_MEAN_YEARS, draws) if age_years is None else age_years
    start = rng.normal(0.0, fade.start_sd, draws)
    return np.exp(start - age * loss)


@pytest.mark.parametrize("age_years", [None, 2.0, 8.0])
def test_quantiles_are_those_of_draws_at_random(age_years):
    installed = None if age_years is None else days_before(age_years)
    belief = capacity_belief(plain(installed_on=installed), ON)
    drawn = np.quantile(drawn_shares(age_years), LEVELS)
    np.testing.assert_allclose(belief.quantile_ah(LEVELS) / 40.0, drawn, rtol=0.03)


def test_an_unknown_battery_may_hold_half_its_plate():
    """Median near 0.93, one in twenty near half its plate or less, skewed towards little."""
    belief = capacity_belief(plain(), ON)
    low, _, middle, _, high = belief.quantile_ah(LEVELS) / 40.0
    assert middle == pytest.approx(0.93, abs=0.02)
    assert 0.45 < low < 0.6
    assert middle - low > 2.0 * (high - middle)
    assert 0.1 < belief.worn < 0.3


def test_a_new_battery_holds_its_plate():
    """Nothing is lost on the first day: the plate, with the spread of new batteries of 6 %."""
    belief = capacity_belief(plain(installed_on=ON), ON)
    assert belief.mean_ah == pytest.approx(40.0, rel=1e-6)
    assert np.log(belief.nodes_ah(200)).std() == pytest.approx(0.06, rel=0.1)


def test_a_fresh_exact_check_is_what_was_found():
    belief = capacity_belief(checked(0.9, 1e-6, 0.0), ON)
    assert belief.mean_ah == pytest.approx(36.0, rel=1e-6)
    assert np.log(belief.nodes_ah(200)).std() == pytest.approx(0.01, rel=0.1)


def test_without_a_day_a_check_is_fresh():
    battery = checked(0.9, 0.03, 5.0)
    assert capacity_belief(battery).mean_ah == pytest.approx(36.0, rel=1e-6)
    assert capacity_belief(battery, ON).mean_ah < 0.9 * 36.0


def test_what_is_told_of_a_later_day_is_refused():
    capacity_belief(checked(0.9, 0.03, 0.0), ON)
    with pytest.raises(InputError, match=r"capacity check of .* is later than the connection"):
        capacity_belief(checked(0.9, 0.03, -1.0), ON)
    state = {"on": days_before(-3.0), "state_of_charge": 0.98, "sd": 0.02}
    with pytest.raises(InputError, match=r"last known state of .* is later than the connection"):
        capacity_belief(plain("vrla", last_known=state), ON)


def test_a_check_of_the_battery_before_this_one_is_refused():
    with pytest.raises(InputError, match="older than its installation"):
        capacity_belief(checked(0.9, 0.03, 2.0, installed_on=days_before(1.0)), ON)


@given(CHEMISTRIES, YEARS, YEARS)
def test_an_older_battery_never_holds_more(chemistry, one, other):
    young, old = (
        capacity_belief(plain(chemistry, installed_on=days_before(years)), ON).nodes_ah()
        for years in sorted((one, other))
    )
    assert (old <= young + 1e-9).all()


@given(st.floats(*CHECK_RANGE), st.floats(1e-4, 3.0), YEARS, YEARS)
def test_an_older_check_never_promises_more(share, rel_sd, one, other):
    fresh, stale = (
        capacity_belief(checked(share * 0.999 + 1e-4, rel_sd, years), ON).mean_ah
        for years in sorted((one, other))
    )
    assert stale <= fresh * (1.0 + 1e-6)


@given(st.floats(*CHECK_RANGE), st.floats(1e-4, 10.0), YEARS)
def test_no_stated_error_raises_the_mean(share, rel_sd, years):
    share = min(max(share, CHECK_RANGE[0] + 1e-6), CHECK_RANGE[1] - 1e-6)
    sure = capacity_belief(checked(share, 1e-9, years), ON).mean_ah
    unsure = capacity_belief(checked(share, rel_sd, years), ON).mean_ah
    assert unsure <= sure * (1.0 + 1e-6)
    assert unsure <= 40.0 * share * (1.0 + 1e-6)


@given(CHEMISTRIES, st.none() | YEARS, st.none() | st.floats(0.11, 1.59), st.floats(1e-4, 10.0))
def test_every_capacity_is_possible_and_weights_sum_to_one(chemistry, age, share, rel_sd):
    if age is not None and share is not None:
        age = max(age, 1.1)
    told = {"installed_on": None if age is None else days_before(age)}
    battery = plain(chemistry, **told) if share is None else checked(share, rel_sd, 1.0, **told)
    belief = capacity_belief(battery, ON)
    most = MOST_SHARE if share is None else CHECK_RANGE[1]
    assert belief.weight.sum() == pytest.approx(1.0)
    assert (np.diff(belief.capacity_ah) >= 0.0).all()
    assert belief.capacity_ah[0] >= LEAST_SHARE * 40.0 - 1e-9
    assert belief.capacity_ah[-1] <= most * 40.0 + 1e-9


@given(st.floats(0.5, 4.0), st.integers(5, 60))
def test_nodes_are_equally_likely(years, count):
    """Below the k-th of n lies the share (k - 1/2) / n of the belief; at ages at which the loss
    spreads its values and none is held at a bound."""
    belief = capacity_belief(plain(installed_on=days_before(years)), ON)
    below = np.searchsorted(belief.capacity_ah, belief.nodes_ah(count))
    reached = np.append(0.0, np.cumsum(belief.weight))[below]
    wanted = (np.arange(count) + 0.5) / count
    np.testing.assert_allclose(reached, wanted, atol=0.01)


@given(st.none() | YEARS)
def test_sound_and_worn_part_make_up_the_whole(age):
    belief = capacity_belief(plain(installed_on=None if age is None else days_before(age)), ON)
    sound, worn = belief.sound_part(), belief.worn_part()
    total = (1.0 - belief.worn) * (sound.mean_ah if sound else 0.0)
    total += belief.worn * (worn.mean_ah if worn else 0.0)
    assert total == pytest.approx(belief.mean_ah)


def test_the_limit_itself_is_not_worn():
    values = 40.0 * np.array([WORN_SHARE - 1e-9, WORN_SHARE])
    belief = CapacityBelief(values, np.array([0.3, 0.7]), 40.0)
    assert belief.worn == pytest.approx(0.3)
    surely_sound = CapacityBelief(values[1:], np.ones(1), 40.0)
    assert surely_sound.worn_part() is None
    assert surely_sound.sound_part().mean_ah == pytest.approx(32.0)


@pytest.mark.parametrize("share", [0.0999, 1.6001])
def test_a_check_that_cannot_be_this_battery_s_is_refused(share):
    with pytest.raises(InputError, match="cannot be that of a battery rated 40 Ah; 4 to 64"):
        capacity_belief(checked(share, 0.03, 0.0), ON)


def test_a_battery_connected_before_it_was_installed_is_refused():
    battery = plain(installed_on=ON + timedelta(days=1))
    with pytest.raises(InputError, match="installed on 2026-03-03, after the connection on 2026"):
        capacity_belief(battery, ON)
    assert capacity_belief(plain(installed_on=ON), ON).worn < 0.01


@pytest.mark.parametrize(
    ("installed", "words"),
    [
        ("1949-12-31", "no battery of 1949 is in service"),
        ("2024-02-31", "installed_on: no day of the calendar; one like 2024-05-31 would be right"),
        ("yesterday", "no day of the calendar"),
        (12, "no day of the calendar"),
        (True, "no day of the calendar"),
    ],
)
def test_a_day_that_is_none_is_refused_in_one_sentence(installed, words):
    data = plain().model_dump() | {"installed_on": installed}
    with pytest.raises(InputError) as refused:
        record_from(data, Battery, "battery.toml")
    assert words in str(refused.value)
    assert "\n" not in str(refused.value)


def test_the_earliest_day_is_taken():
    assert plain(installed_on=date(1950, 1, 1)).installed_on == date(1950, 1, 1)
