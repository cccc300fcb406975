"""Load steps while the taper runs, and what they teach of a consumer."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Event, Readings, Supply
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.budget.learning import (
    SHARED_REL_SD,
    CurrentBelief,
    MeasuredStep,
    declared,
    draws_more,
    measured_steps,
    updated,
    updated_by,
)
from batterymodel.samples.simulate import meter_reading_a
from tests.benchmarks.cases import connections, reference_set
from tests.conftest import simulated_connection

SUPPLY = Supply(rated_current_a=200.0)
BASE_A = 40.0


def _drawn_steps(rng: np.random.Generator, every_s: float, end_s: float) -> list[tuple]:
    """One to three switch actions of 1 to 15 A, at least five readings apart."""
    count = int(rng.integers(1, 4))
    at = np.sort(np.ceil(rng.uniform(0.15, 0.9, count) * end_s / every_s) * every_s)
    apart = np.append(np.diff(at), np.inf) > 5.0 * every_s
    by = rng.uniform(1.0, 15.0, count) * np.where(rng.random(count) < 0.7, 1.0, -1.0)
    return list(zip(at[apart].tolist(), by[apart].tolist(), strict=True))


@cache
def _stated_case(number: int) -> tuple[Readings, tuple]:
    """Readings of the stated model of a connection, and the true steps."""
    rng = np.random.default_rng((7, number))
    minutes, every = float(rng.uniform(4.0, 10.0)), float(rng.choice([2.0, 5.0, 10.0]))
    steps = tuple(_drawn_steps(rng, every, 60.0 * minutes))
    readings = simulated_connection(
        float(rng.uniform(0.05, 0.35)),
        float(rng.uniform(0.2, 0.5)),
        load_a=BASE_A,
        limit_a=200.0,
        minutes=minutes,
        every_s=every,
        resolution_a=float(rng.choice([0.05, 0.1, 0.5, 1.0])),
        noise_a=float(rng.uniform(0.02, 0.15)),
        seed=number,
        steps=steps,
    )
    return readings, steps


@cache
def _electrochemical_case(number: int) -> tuple[Readings, tuple]:
    """A taper of the electrochemical reference set with steps of the load, and the true steps."""
    rng = np.random.default_rng((8, number))
    rows = [c for c in connections("test") if c.soc > 0.6]
    connection = rows[int(rng.integers(len(rows)))]
    minutes, every = float(rng.uniform(4.0, 10.0)), float(rng.choice([2.0, 5.0, 10.0]))
    steps = tuple(_drawn_steps(rng, every, 60.0 * minutes))
    time = np.arange(0.0, 60.0 * minutes + 0.1, every)
    data = reference_set()
    current = np.interp(time, data["window_s"], data["rate"][connection.row])
    current = current * connection.rated_ah + BASE_A
    for at, by in steps:
        current = current + by * (time >= at)
    resolution, noise = float(rng.choice([0.05, 0.1, 0.5, 1.0])), float(rng.uniform(0.02, 0.15))
    return Readings(
        elapsed_s=time,
        supply_current_a=meter_reading_a(current, resolution, noise, rng),
        events=tuple(Event(elapsed_s=at, text="switch") for at, _ in steps),
    ), steps


def _errors(case, count: int) -> tuple[np.ndarray, np.ndarray, float]:
    """Errors of the steps found [A], their true sizes, and the share found."""
    errors, sizes, found = [], [], []
    for number in range(count):
        readings, steps = case(number)
        measured = measured_steps(readings, SUPPLY)
        for at, by in steps:
            here = [m for m in measured if m.marked and abs(m.elapsed_s - at) < 1.0]
            found.append(bool(here))
            if here:
                errors.append(here[0].size_a - by)
                sizes.append(by)
    return np.array(errors), np.array(sizes), float(np.mean(found))


@pytest.mark.parametrize("case", [_stated_case, _electrochemical_case])
@pytest.mark.parametrize("count", [40, pytest.param(600, marks=pytest.mark.slow)])
def test_steps_are_within_half_an_ampere_or_five_percent(case, count):
    errors, sizes, found = _errors(case, count)
    near = np.abs(errors) <= np.maximum(0.5, 0.05 * np.abs(sizes))
    assert near.mean() >= (0.95 if count >= 600 else 0.90)
    assert found > 0.9
    assert 0.005 < np.median(np.abs(errors)) < 0.15


@pytest.mark.slow
def test_a_meter_of_whole_amperes_still_tells_most_steps():
    errors = []
    for number in range(300):
        readings, steps = _stated_case(number)
        coarse = readings.model_copy(
            update={"supply_current_a": np.round(readings.supply_current_a)}
        )
        for at, by in steps:
            here = [m for m in measured_steps(coarse, SUPPLY) if abs(m.elapsed_s - at) < 1.0]
            errors += [abs(m.size_a - by) <= max(0.5, 0.05 * abs(by)) for m in here]
    assert 0.75 < np.mean(errors) < 0.95


def test_a_clamp_tells_the_load_apart_from_the_battery():
    plain = simulated_connection(0.2, load_a=20.0, steps=((120.0, 6.0),), noise_a=0.05, seed=3)
    battery = plain.supply_current_a - 20.0 - 6.0 * (plain.elapsed_s >= 120.0)
    clamped = plain.model_copy(update={"battery_current_a": battery})
    (step,) = measured_steps(clamped, SUPPLY)
    assert step.size_a == pytest.approx(6.0, abs=0.05)
    assert not step.shared
    (by_supply,) = measured_steps(plain, SUPPLY)
    assert by_supply.shared
    assert by_supply.sd_a > 0.08 * 6.0


def test_a_step_at_the_supply_limit_shows_only_in_the_clamp():
    time = np.arange(0.0, 300.0, 5.0)
    load = 30.0 + 8.0 * (time >= 150.0)
    supply = np.full(time.size, 60.0)
    events = (Event(elapsed_s=150.0, text="heater on"),)
    limit = Supply(rated_current_a=60.0)
    blind = Readings(elapsed_s=time, supply_current_a=supply, events=events)
    assert measured_steps(blind, limit) == ()
    seeing = Readings(
        elapsed_s=time, supply_current_a=supply, battery_current_a=supply - load, events=events
    )
    (step,) = measured_steps(seeing, limit)
    assert step.size_a == pytest.approx(8.0, abs=0.01)
    assert (step.text, step.marked, step.elapsed_s) == ("heater on", True, 150.0)


def test_a_step_that_nobody_wrote_down_is_told_as_such():
    readings = simulated_connection(0.2, steps=((120.0, 6.0),), marked=False)
    (step,) = measured_steps(readings, SUPPLY)
    assert isinstance(step, MeasuredStep)
    assert not step.marked


def test_a_late_first_reading_keeps_the_clock_of_the_readings():
    plain = simulated_connection(0.2, steps=((120.0, 6.0),))
    late = plain.model_copy(
        update={
            "elapsed_s": plain.elapsed_s + 2000.0,
            "events": (Event(elapsed_s=2120.0, text="on"),),
        }
    )
    (step,) = measured_steps(late, SUPPLY)
    assert step.elapsed_s == 2120.0


def test_updates_are_those_of_the_conjugate_formula_by_hand():
    """10 A with spread 1 A, then 12 A: mean 11; 4 x 1 + 4 x 1 / 2 = 6 over 5."""
    after = updated(CurrentBelief(10.0, 1.0), 12.0, 0.0)
    assert after.mean_a == pytest.approx(11.0)
    assert after.sd_a == pytest.approx(np.sqrt(6.0 / 5.0))
    assert after.readings == 1


def test_switching_off_teaches_the_same_as_switching_on():
    belief = declared(10.0)
    assert updated(belief, -9.0, 0.1) == updated(belief, 9.0, 0.1)


def test_an_uncertain_step_teaches_nothing():
    belief = declared(10.0)
    assert updated(belief, 13.0, 1.01) is belief
    assert updated(belief, 13.0, 0.99).readings == 1


@settings(max_examples=20)
@given(mean=st.floats(1.0, 50.0), spread=st.floats(0.01, 0.1), seed=st.integers(0, 99))
def test_many_steps_find_mean_and_spread_whatever_was_declared(mean, spread, seed):
    rng = np.random.default_rng(seed)
    belief = declared(1.4 * mean)
    for size in rng.normal(mean, spread * mean + 0.1, 200):
        belief = updated(belief, float(size), 0.05)
    true_sd = spread * mean + 0.1
    prior = 0.45 * mean / 200.0
    assert abs(belief.mean_a - mean) < 4.0 * true_sd / np.sqrt(200.0) + prior
    assert 0.8 * true_sd < belief.sd_a < 1.3 * true_sd + 0.1 * mean


def _occasions(rng: np.random.Generator, changed: float, count: int) -> tuple[float, bool]:
    """Probability that it draws more, of a simulated consumer, and whether it does."""
    mean, spread = rng.uniform(2.0, 20.0), rng.uniform(0.03, 0.08)
    belief = declared(mean * float(np.exp(rng.normal(0.0, 0.12))))
    for _ in range(int(rng.integers(3, 10))):
        size = mean * (1.0 + spread * rng.normal()) + 0.15 * rng.normal()
        belief = updated(belief, float(size), 0.15)
    more = bool(rng.random() < changed)
    now = mean * (1.0 + (rng.uniform(0.2, 0.8) if more else 0.0))
    new = now * (1.0 + spread * rng.normal(size=count)) + 0.15 * rng.normal(size=count)
    return draws_more(belief, new.tolist(), [0.15] * count).probability, more


@pytest.mark.parametrize("count", [200, pytest.param(4000, marks=pytest.mark.slow)])
def test_a_probability_of_nine_in_ten_is_rarely_wrong_and_finds_most(count):
    rng = np.random.default_rng(4)
    told = [_occasions(rng, 0.3, 2) for _ in range(count)]
    probability, more = (np.array(c) for c in zip(*told, strict=True))
    assert (probability[~more] > 0.9).mean() < 0.02
    assert (probability[more] > 0.9).mean() > 0.5
    assert probability[more].mean() > 0.7
    assert probability[~more].mean() < 0.1


def test_a_bare_difference_inside_the_spread_is_no_finding():
    """11.5 A where 10 A with a spread of 1.5 A was known; 14 A where the spread was 0.3 A is."""
    assert draws_more(CurrentBelief(10.0, 1.5, 5), [11.5], [0.2]).probability < 0.2
    clear = draws_more(CurrentBelief(10.0, 0.3, 5), [14.0], [0.2])
    assert clear.probability > 0.95
    assert clear.excess_a.low < 4.0 < clear.excess_a.high
    assert draws_more(CurrentBelief(10.0, 0.3, 5), [6.0], [0.2]).probability < 0.01


@pytest.mark.parametrize(
    ("belief", "seen_a", "more"),
    [
        (CurrentBelief(9.5, 0.0), 9.5, False),
        (CurrentBelief(80.0, 0.0), 9.5, False),
        (CurrentBelief(40.0, 0.05, 3), 2.0, False),
        (CurrentBelief(2.0, 0.05, 50), 60.0, True),
    ],
)
def test_a_step_far_from_a_current_told_without_spread_is_judged_all_the_same(belief, seen_a, more):
    """Its density underflows under every account, and a spread of nothing is a division by it."""
    found = draws_more(belief, [seen_a], [0.2], 0.1)
    assert found.probability > 0.99 if more else found.probability < 0.1
    assert 0.0 <= found.excess_a.low <= found.excess_a.mean <= found.excess_a.high


@settings(max_examples=30)
@given(
    mean_a=st.floats(0.0, 100.0),
    sd_a=st.floats(0.0, 5.0),
    readings=st.integers(0, 50),
    seen_a=st.floats(0.0, 200.0),
)
def test_every_step_has_a_probability(mean_a, sd_a, readings, seen_a):
    found = draws_more(CurrentBelief(mean_a, sd_a, readings), [seen_a], [0.05])
    assert 0.0 <= found.probability <= 1.0
    assert np.isfinite([found.excess_a.low, found.excess_a.mean, found.excess_a.high]).all()


@settings(max_examples=30)
@given(first=st.floats(10.0, 20.0), further=st.floats(0.0, 5.0))
def test_a_larger_step_never_lowers_the_probability(first, further):
    belief = CurrentBelief(10.0, 0.5, 4)
    low, high = (draws_more(belief, [s], [0.1]).probability for s in (first, first + further))
    assert high >= low - 1e-9


def _error_of_scale(rng: np.random.Generator, kind: str) -> float:
    """Error that a connection's steps share: of either sign, or a bus that sags behind a cable."""
    if kind == "meter":
        return float(rng.normal(0.0, SHARED_REL_SD))
    half, some, few = 0.03 * rng.random(), 0.03 + 0.1 * rng.random(), 0.2
    return -float(rng.choice([half, some, few], p=[0.5, 0.4, 0.1]))


def _is_covered(rng: np.random.Generator, kind: str, connections: int, steps: int) -> bool:
    """Whether the range learned on one supply holds what the consumer takes the next time."""
    mean, spread, own_a = rng.uniform(2.0, 20.0), rng.uniform(0.02, 0.06), 0.1
    shared = 1.0 + _error_of_scale(rng, kind)
    belief = declared(mean * float(np.exp(rng.normal(0.0, 0.12))))
    for _ in range(connections):
        sizes = mean * (1.0 + spread * rng.normal(size=steps)) * shared
        sizes = sizes + own_a * rng.normal(size=steps)
        belief = updated_by(belief, [_shared_step(size, own_a) for size in sizes.tolist()])
    now_a = mean * (1.0 + spread * rng.normal())
    return abs(now_a - belief.mean_a) <= LEVEL_SD * float(np.hypot(belief.sd_a, belief.mean_sd_a))


def _shared_step(size_a: float, own_a: float) -> MeasuredStep:
    common_a = SHARED_REL_SD * abs(size_a)
    error_a = float(np.hypot(own_a, common_a))
    return MeasuredStep(0.0, "on", True, size_a, error_a, True, common_a)


@pytest.mark.long
@pytest.mark.parametrize("kind", ["meter", "sag"])
@pytest.mark.parametrize(
    ("connections", "steps", "most"), [(1, 6, 1.0), (3, 6, 1.0), (8, 2, 0.97), (8, 6, 0.97)]
)
def test_ranges_hold_the_next_draw_where_all_steps_share_an_error(kind, connections, steps, most):
    """90 % ranges; with each step on its own they hold 13 to 91 % of them. Few connections leave
    the wide spread of an entry that nobody measured."""
    rng = np.random.default_rng(12)
    covered = np.mean([_is_covered(rng, kind, connections, steps) for _ in range(1000)])
    assert 0.87 <= covered <= most


def test_steps_that_share_an_error_count_as_fewer_by_hand():
    """Scatter 0.4 A twofold of four steps, 0.8 A alike: (0.16 + 0.64) / (0.04 + 0.64) = 1.2; of
    half an ampere alike beside 2 A of scatter: 4.25 / 1.25 = 3.4."""
    off = 0.4 * np.sqrt(3.0) / 2.0
    belief = CurrentBelief(10.0, 5.0)
    one = updated_by(belief, _steps((10.0 - off, 10.0 + off) * 2, common_a=0.8))
    assert (one.readings, one.mean_a) == (1, pytest.approx(10.0))
    off = 2.0 * np.sqrt(3.0) / 2.0
    three = updated_by(belief, _steps((12.0 - off, 12.0 + off) * 2, common_a=0.5))
    assert three.readings == 3
    assert three.mean_a == pytest.approx(10.0 + 2.0 * 3 / 4)
    squares = 4.0 * 25.0 + 2.0 * 4.0 + 4.0 * 3.0 / 4.0
    assert three.sd_a == pytest.approx(np.sqrt(squares / 7.0))


def _steps(sizes, common_a: float) -> list[MeasuredStep]:
    return [MeasuredStep(0.0, "on", True, s, common_a, True, common_a) for s in sizes]


def test_the_spread_is_never_less_than_what_the_steps_share():
    belief = CurrentBelief(10.0, 0.1, 500)
    assert updated_by(belief, _steps((10.0,), common_a=0.8)).sd_a == 0.8


def test_an_error_that_steps_share_makes_no_consumer_draw_more():
    """Six steps of 11 A where 10 A was known: 0.8 A alike explains them, 0.1 A each does not."""
    belief, sizes, own = CurrentBelief(10.0, 0.2, 30), [11.2] * 6, [0.1] * 6
    assert draws_more(belief, sizes, own).probability > 0.95
    assert draws_more(belief, sizes, own, common_sd_a=0.8).probability < 0.5
