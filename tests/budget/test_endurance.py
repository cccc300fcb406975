"""Minutes on the battery alone: by hand, against discharges by another law, and what is refused."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Battery, BatteryModelError
from batterymodel.budget.endurance import (
    BatteryAlone,
    LoadProfile,
    StoppedBy,
    WearGrade,
    endurance,
)
from batterymodel.budget.resistance import generic_resistance
from batterymodel.reference.temperature import battery_capacity_factor
from tests.budget.two_wells import drawn_wells, first_below_zero

PLATE_AH = 40.0
BATTERY = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=PLATE_AH)
FULL = BatteryAlone(BATTERY, 1.0, 0.0, PLATE_AH, 0.0, 25.0)


def _task(load_a: float, minutes: float = 20.0) -> LoadProfile:
    return LoadProfile((minutes,), (load_a,), 0.0)


def test_at_the_rated_current_half_of_the_charge_lasts_half_an_hour():
    """By hand: Peukert's law does nothing at the rated current, and the reserve is a half."""
    last = endurance(_task(PLATE_AH), FULL, 0.5)
    assert last.minutes.mean == pytest.approx(30.0, rel=0.01)
    assert last.stopped_by is StoppedBy.RESERVE
    assert last.charge_ah.mean == pytest.approx(PLATE_AH / 3.0)
    assert last.soc_after.mean == pytest.approx(2.0 / 3.0, abs=0.01)
    assert last.chance_enough > 0.995


def test_at_half_the_rated_current_it_lasts_by_peukerts_law():
    """By hand: 60 min x 2**1.12 for all of the charge (exponent of `reference.capacity`)."""
    last = endurance(_task(PLATE_AH / 2.0), FULL, 0.0)
    assert last.minutes.mean == pytest.approx(60.0 * 2.0**1.12, rel=0.01)


def test_parts_of_a_task_add_up_to_one_of_the_same_load():
    whole = endurance(_task(30.0, 40.0), FULL, 0.3)
    parts = endurance(LoadProfile((10.0, 5.0, 25.0), (30.0, 30.0, 30.0), 0.0), FULL, 0.3)
    assert parts.minutes.mean == pytest.approx(whole.minutes.mean)
    assert parts.soc_after.mean == pytest.approx(whole.soc_after.mean)


def test_a_heavy_part_ends_the_task_where_the_voltage_falls_too_low():
    """By hand: 25.8 V less exp(0.4) x 15.5 mohm x 150 A is 22.3 V when full."""
    known = replace(generic_resistance(BATTERY), median_ohm=0.0155, log_sd=0.0)
    heavy = LoadProfile((10.0, 2.0, 30.0), (10.0, 150.0, 10.0), 0.0)
    now = replace(FULL, resistance=known)
    last = endurance(heavy, now, 0.3, least_v=24.0)
    assert last.stopped_by is StoppedBy.LEAST_VOLTAGE
    assert last.minutes.low == last.minutes.high == pytest.approx(10.0)
    assert last.chance_enough < 0.1
    assert endurance(heavy, now, 0.3, least_v=20.0).minutes.mean > 80.0


def test_a_least_voltage_below_the_batterys_end_voltage_changes_nothing():
    heavy = _task(220.0)
    assert endurance(heavy, FULL, 0.0, 5.0) == endurance(heavy, FULL, 0.0)
    assert endurance(heavy, FULL, 0.0).stopped_by is StoppedBy.LEAST_VOLTAGE


def test_a_battery_at_its_reserve_lasts_no_minute():
    last = endurance(_task(10.0), replace(FULL, soc=0.4), 0.5)
    assert last.minutes.high == 0.0
    assert last.chance_enough == 0.0


def test_without_load_it_lasts_as_long_as_is_told():
    assert endurance(_task(0.0), FULL, 0.5).minutes.low == 7 * 24 * 60


def test_cold_takes_minutes_off_and_an_unknown_temperature_widens():
    warm, cold = (endurance(_task(30.0), replace(FULL, temp_c=c), 0.3) for c in (25.0, -10.0))
    assert cold.minutes.mean < 0.75 * warm.minutes.mean
    unknown = endurance(_task(30.0), replace(FULL, temp_c=None), 0.3)
    assert unknown.minutes.sd > 1.3 * warm.minutes.sd


def test_more_resistance_brings_the_voltage_limit_sooner():
    high = replace(generic_resistance(BATTERY), median_ohm=0.05)
    last = [
        endurance(_task(40.0), replace(FULL, resistance=r), 0.1, 23.0).minutes.mean
        for r in (None, high)
    ]
    assert last[1] < 0.8 * last[0]


@pytest.mark.parametrize("count", [150, pytest.param(3000, marks=pytest.mark.slow)])
def test_intervals_hold_the_minutes_of_discharges_by_another_law(count):
    rng = np.random.default_rng(3)
    capacity = PLATE_AH * rng.uniform(0.6, 1.05, count)
    temp_c, soc = rng.uniform(0.0, 35.0, count), rng.uniform(0.7, 1.0, count)
    factor = np.array([battery_capacity_factor(BATTERY, t)[0] for t in temp_c])
    warm = capacity * factor * np.exp(0.004 * np.abs(temp_c - 25.0) * rng.normal(size=count))
    load, reserve = rng.uniform(6.0, 45.0, count), rng.uniform(0.2, 0.6, count)
    minutes = _true_minutes(rng, warm, soc, load, reserve)
    told_soc, told_ah = soc + 0.03 * rng.normal(size=count), capacity + 2.0 * rng.normal(size=count)
    told_a, told_c = load / (1.0 + 0.05 * rng.normal(size=count)), temp_c + rng.normal(size=count)
    inside, error = [], []
    for k in range(count):
        now = BatteryAlone(
            BATTERY, float(np.clip(told_soc[k], 0.0, 1.0)), 0.03, told_ah[k], 2.0, told_c[k]
        )
        last = endurance(LoadProfile((20.0,), (told_a[k],)), now, reserve[k]).minutes
        inside.append(last.low <= minutes[k] <= last.high)
        error.append(np.log(last.mean / max(minutes[k], 0.1)))
    assert np.mean(inside) >= (0.87 if count >= 1000 else 0.82)
    assert abs(np.median(error)) < 0.10
    assert 0.02 < np.median(np.abs(error)) < 0.15


def _true_minutes(
    rng: np.random.Generator,
    warm_ah: np.ndarray,
    soc: np.ndarray,
    load_a: np.ndarray,
    reserve: np.ndarray,
) -> np.ndarray:
    """Minutes until what the battery could still give at the rated current is the reserve."""
    wells = drawn_wells(rng, warm_ah)
    start = wells.filled(soc)

    def over_reserve(hours: np.ndarray) -> np.ndarray:
        left = wells.after(start, load_a, hours)
        return np.where(left[0] > 0.0, wells.hours_left(left, warm_ah), 0.0) - reserve

    return 60.0 * first_below_zero(over_reserve, wells.hours_left(start, load_a))


def test_wear_is_graded_by_depth_and_by_what_may_still_be_topped_off():
    grades = [endurance(_task(30.0, m), FULL, 0.1).wear.grade for m in (5.0, 16.0, 30.0, 55.0)]
    assert grades == [
        WearGrade.SHALLOW,
        WearGrade.MARKED,
        WearGrade.BELOW_TOP_OFF,
        WearGrade.DEEP,
    ]


def test_capacity_lost_is_the_priors_share_of_a_cycle():
    """By hand: 0.1 % of the rated capacity for a whole cycle, at half of the depth."""
    wear = endurance(_task(PLATE_AH, 30.0), FULL, 0.0).wear
    assert wear.depth.mean == pytest.approx(0.5, abs=0.01)
    assert wear.capacity_lost.mean == pytest.approx(0.001 * 0.5, rel=0.15)


@settings(max_examples=25)
@given(load=st.floats(1.0, 80.0), more=st.floats(1.0, 2.0), reserve=st.floats(0.0, 0.9))
def test_more_load_or_more_reserve_never_lasts_longer(load, more, reserve):
    now = replace(FULL, soc=0.9, soc_sd=0.02, capacity_sd_ah=1.0)
    base = endurance(_task(load), now, reserve).minutes
    assert endurance(_task(load * more), now, reserve).minutes.mean <= base.mean + 1e-9
    assert endurance(_task(load), now, min(reserve + 0.1, 1.0)).minutes.mean <= base.mean + 1e-9
    assert 0.0 <= base.low <= base.high


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (lambda: LoadProfile((), ()), "at least one"),
        (lambda: LoadProfile((1.0,), (1.0, 2.0)), "one load for each time"),
        (lambda: LoadProfile((1.0,), (-1.0,)), "no negative load"),
        (lambda: LoadProfile((0.0,), (1.0,)), "more than 0 min"),
        (lambda: replace(FULL, soc=1.1), "0 to 1"),
        (lambda: replace(FULL, capacity_ah=0.0), "more than 0"),
        (lambda: endurance(_task(1.0), FULL, 1.2), "0 to 1"),
    ],
)
def test_what_cannot_be_is_refused_in_one_sentence(change, said):
    with pytest.raises(BatteryModelError, match=said) as error:
        change()
    assert "\n" not in str(error.value)


def test_a_tiny_current_brings_no_more_charge_than_twenty_hours():
    """By hand: at a twentieth of the rated current 20**1.12 hours, 1.43 times the plate's charge;
    at an eightieth four times as long, and no more charge."""
    slow, tiny = (endurance(_task(amperes), FULL, 0.5).minutes.mean for amperes in (2.0, 0.5))
    assert slow == pytest.approx(0.5 * 60.0 * 20.0**1.12, rel=0.04)
    assert tiny == pytest.approx(4.0 * slow, rel=0.01)
