"""The next observation: what is asked for, what never is, and what it is worth when it is made."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Battery, CapacityCheck, Chemistry, Readings, Supply, assess
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.rules.case import Case
from batterymodel.rules.next_observation import _why
from batterymodel.rules.wording import minutes_words
from batterymodel.soc.evidence import rest_voltage_sd_v
from tests.conftest import simulated_connection
from tests.rules.cases import ON, SUPPLY, case_of
from tests.sparing import examples

PLAIN = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
LOAD_A = 8.0


def asked(readings: Readings, battery: Battery = PLAIN, supply: Supply = SUPPLY, **told: Any):
    return assess(readings, battery, supply, on=ON, **told)


def name_of(result) -> str | None:
    return result.next_observation and result.next_observation.name


def test_a_nickel_cadmium_battery_is_measured_first():
    nicd = PLAIN.model_copy(update={"chemistry": Chemistry.NICD, "cells": 19})
    result = asked(simulated_connection(0.2), nicd, ambient_c=20.0)
    assert name_of(result) == "temperature"
    assert result.next_observation.minutes is None
    warm = simulated_connection(0.2, battery_temp_c=np.full(61, 22.0))
    assert name_of(asked(warm, nicd)) != "temperature"


def test_a_voltage_too_low_is_set_right_first():
    supply = Supply(rated_current_a=60.0, set_voltage_v=26.0)
    assert name_of(asked(simulated_connection(0.2), supply=supply, load_a=LOAD_A)) == "set_voltage"


def test_a_supply_that_is_off_is_switched_on_first():
    """Also before a temperature that nickel-cadmium is asked for; once it is on again, no more."""
    nicd = PLAIN.model_copy(update={"chemistry": Chemistry.NICD, "cells": 19})
    readings = simulated_connection(0.2)
    current_a = np.array(readings.supply_current_a)
    current_a[-8:] = 0.0
    off = readings.model_copy(update={"supply_current_a": current_a})
    result = asked(off, nicd, load_a=LOAD_A, ambient_c=20.0)
    assert name_of(result) == "supply_on"
    assert "switch it on" in result.next_steps[0]
    assert "Keep reading" not in " ".join(result.next_steps)
    assert result.minutes_shown is None
    current_a[-8:-3] = readings.supply_current_a[-8:-3]
    current_a[20:26], current_a[-3:] = 0.0, readings.supply_current_a[-3:]
    again = readings.model_copy(update={"supply_current_a": current_a})
    assert name_of(asked(again, nicd, load_a=LOAD_A, ambient_c=20.0)) != "supply_on"


def test_no_time_until_full_is_shown_below_the_voltage_that_fills():
    low, fair = (Supply(rated_current_a=60.0, set_voltage_v=volts) for volts in (24.5, 28.0))
    told = {"load_a": LOAD_A, "ambient_c": 20.0}
    assert asked(simulated_connection(0.2), supply=low, **told).minutes_shown is None
    sound = asked(simulated_connection(0.2), supply=fair, **told)
    assert sound.minutes_shown == sound.minutes_to_top_off
    outside = sound.minutes_to_top_off.model_copy(update={"mean": 999.0})
    assert sound.model_copy(update={"minutes_to_top_off": outside}).minutes_shown is None


def test_an_implausible_plate_is_read_again_first():
    typed = PLAIN.model_copy(update={"rated_capacity_ah": 400.0})
    assert name_of(asked(simulated_connection(0.1), typed, load_a=LOAD_A)) == "plate"


def test_a_level_current_beside_an_unknown_load_asks_for_the_load():
    rng = np.random.default_rng(1)
    level = Readings(
        elapsed_s=np.arange(0.0, 301.0, 5.0),
        supply_current_a=np.round(LOAD_A + rng.normal(0.0, 0.05, 61), 1),
    )
    assert name_of(asked(level, ambient_c=20.0)) == "bus_load"


@pytest.mark.parametrize("minutes", [0.5, 1.0, 1.5])
def test_a_short_recording_is_read_on_to_two_minutes_at_least(minutes):
    result = asked(simulated_connection(0.2, minutes=minutes), load_a=LOAD_A, ambient_c=20.0)
    assert name_of(result) == "read_again"
    assert minutes + result.next_observation.minutes >= 2.0
    assert result.next_reading_minutes == result.next_observation.minutes


def test_topping_off_asks_for_a_temperature_nobody_took_and_then_to_read_on(battery):
    unread = asked(simulated_connection(0.1), battery, load_a=LOAD_A, rest_voltage_v=25.5)
    read = asked(
        simulated_connection(0.1), battery, load_a=LOAD_A, rest_voltage_v=25.5, ambient_c=20.0
    )
    assert (unread.outcome, read.outcome) == ("top_off", "top_off")
    assert (name_of(unread), name_of(read)) == ("temperature", "read_again")
    assert unread.next_steps[0].startswith(unread.next_observation.text)
    assert len(read.next_steps) == len(unread.next_steps) - 1


def test_the_first_step_is_the_observation_and_a_reading_is_asked_for_once():
    result = asked(simulated_connection(0.2), ambient_c=20.0)
    assert result.outcome == "keep_watching"
    found = result.next_observation
    assert result.next_steps[0] == f"{found.text} {found.why}"
    assert sum("useful reading is" in step for step in result.next_steps) <= 1


GIVEN = {
    "bus_load": "load",
    "clamp": "clamp",
    "temperature": "temperature",
    "rest_voltage": "rest",
    "capacity_check": "check",
}
"""Names of observations and the words under which the property below gives them."""


@pytest.mark.long
@given(
    st.sampled_from(["vented_lead_acid", "vrla", "nicd", "lfp"]),
    st.floats(0.01, 0.95),
    st.sampled_from([0.2, 0.31, 1.6]),
    st.sampled_from([1.0, 5.0, 20.0]),
    st.sets(st.sampled_from(sorted(GIVEN.values()))),
    st.integers(0, 99),
)
@examples(25)
def test_nothing_is_asked_for_twice_and_nothing_where_power_comes_off(
    chemistry, depth, charge_time, minutes, given_things, seed
):
    cells = {"nicd": 19, "lfp": 8}.get(chemistry, 12)
    battery = PLAIN.model_copy(update={"chemistry": Chemistry(chemistry), "cells": cells})
    plain = simulated_connection(depth, charge_time, minutes=minutes, seed=seed)
    told: dict[str, Any] = {}
    columns: dict[str, np.ndarray] = {}
    if "load" in given_things:
        told["load_a"] = LOAD_A
    if "rest" in given_things:
        told["rest_voltage_v"] = float(rest_voltage_v(battery, 1.0 - depth, 25.0))
    if "clamp" in given_things:
        columns["battery_current_a"] = plain.supply_current_a - LOAD_A
    if "temperature" in given_things:
        columns["battery_temp_c"] = np.full(plain.elapsed_s.size, 22.0)
    if "check" in given_things:
        check = CapacityCheck(on=ON, capacity_ah=38.0)
        battery = battery.model_copy(update={"capacity_check": check})
    result = asked(plain.model_copy(update=columns), battery, **told)
    if result.outcome in ("service", "disconnect"):
        assert result.next_observation is None
        return
    assert GIVEN.get(name_of(result)) not in given_things
    if chemistry in ("nicd", "lfp"):
        assert name_of(result) != "rest_voltage"


@dataclass(frozen=True)
class Truth:
    """A connection whose truth is known: depth over what the battery really holds, and its ills."""

    depth: float
    seed: int
    charge_time_h: float = 0.31
    capacity_ah: float = 38.0
    float_current_a: float = 0.1
    lost_cells: int = 0
    unsafe: bool = False
    told: dict[str, Any] = field(default_factory=dict)

    def readings(self, minutes: float) -> Readings:
        """Its readings over so many minutes."""
        if self.charge_time_h == 0.0:
            time = np.arange(0.0, 60.0 * minutes + 0.1, 5.0)
            noise = np.random.default_rng(self.seed).normal(0.0, 0.03, 500)[: time.size]
            return Readings(elapsed_s=time, supply_current_a=np.round(LOAD_A + noise, 1))
        return simulated_connection(
            self.depth,
            self.charge_time_h,
            rated_ah=self.capacity_ah,
            limit_a=150.0,
            minutes=minutes,
            float_current_a=self.float_current_a,
            seed=self.seed,
        )

    def wrong(self, case: Case) -> float:
        """Probability that the case gives to what is not true."""
        unfit = case.conditions.unfit
        return 1.0 - unfit if self.unsafe or 1.0 - self.depth < 0.75 else unfit


def judged(truth: Truth, minutes: float, battery: Battery = PLAIN, **more: Any) -> Case:
    told = {"load_a": None, "load_sd_a": 0.5, "ambient_c": 25.0, **truth.told, **more}
    return case_of(truth.readings(minutes), battery, Supply(rated_current_a=150.0), **told)


def after(truth: Truth, name: str, wait_minutes: float | None) -> float:
    """Probability of what is not true, once the observation was made."""
    rng = np.random.default_rng(1000 + truth.seed)
    if name == "bus_load":
        case = judged(truth, 5.0, load_a=LOAD_A + float(rng.normal(0.0, 0.5)))
    elif name == "clamp":
        case = judged(truth, 5.0, load_a=LOAD_A + float(rng.normal(0.0, 0.1)), load_sd_a=0.1)
    elif name == "rest_voltage":
        whole = float(rest_voltage_v(PLAIN, 1.0 - truth.depth, 25.0))
        spread = float(rng.normal(0.0, rest_voltage_sd_v(PLAIN, 1.0 - truth.depth)))
        case = judged(truth, 5.0, rest_voltage_v=whole * (1.0 - truth.lost_cells / 12) + spread)
    elif name == "capacity_check":
        held = truth.capacity_ah * float(rng.normal(1.0, 0.03))
        check = CapacityCheck(on=ON, capacity_ah=held)
        case = judged(truth, 5.0, PLAIN.model_copy(update={"capacity_check": check}))
    elif name == "read_again":
        case = judged(truth, 5.0 + wait_minutes)
    else:
        case = judged(truth, 5.0)
    return truth.wrong(case)


KINDS: dict[str, Callable[[int, float], Truth]] = {
    "sound": lambda k, d: Truth(0.3 * d, k),
    "low": lambda k, d: Truth(0.25 + 0.35 * d, k),
    "accepts little": lambda k, d: Truth(0.3 + 0.4 * d, k, charge_time_h=1.4),
    "worn": lambda k, d: Truth(0.15 + 0.3 * d, k, charge_time_h=0.22, capacity_ah=22.0),
    "shorted": lambda k, d: Truth(0.25 * d, k, float_current_a=2.4, lost_cells=1, unsafe=True),
    "leaks": lambda k, d: Truth(0.25 * d, k, float_current_a=2.4, unsafe=True),
    "open": lambda k, d: Truth(0.3 * d, k, charge_time_h=0.0, unsafe=True),
}
"""Seven kinds of connection by number and a share of their range of depth."""


def connections() -> list[Truth]:
    """Forty-two connections, half of them with the bus load told."""
    rng = np.random.default_rng(11)
    found = []
    for k in range(6):
        for number, kind in enumerate(KINDS.values()):
            truth = kind(10 * k + number, float(rng.random()))
            load = LOAD_A + float(rng.normal(0.0, 0.5))
            truth.told.update({"load_a": load} if (k + number) % 2 else {})
            found.append(truth)
    return found


@pytest.mark.slow
def test_the_observation_chosen_is_worth_at_least_another_reading_in_five_minutes():
    """Over 42 connections of known truth, where anything is asked for at all."""
    chosen, reading, before = [], [], []
    for truth in connections():
        told = {"ambient_c": 25.0, **truth.told}
        supply = Supply(rated_current_a=150.0)
        found = asked(truth.readings(5.0), supply=supply, **told).next_observation
        if found is None:
            continue
        before.append(truth.wrong(judged(truth, 5.0)))
        chosen.append(after(truth, found.name, found.minutes))
        reading.append(after(truth, "read_again", 5.0))
    assert len(chosen) >= 20
    assert np.mean(chosen) < np.mean(before)
    assert np.mean(chosen) <= np.mean(reading)


@pytest.mark.parametrize(
    ("now", "after", "has_figures"),
    [(0.010, 0.009, False), (0.0104, 0.0006, False), (0.03, 0.005, True), (0.5, 0.495, False)],
)
def test_figures_are_given_only_for_a_gain_a_person_would_act_on(now, after, has_figures):
    words = _why("gain", "read_again", now, after)
    assert ("should fall from" in words) == has_figures


def test_one_minute_is_said_as_one():
    assert [minutes_words(m) for m in (0.6, 1.4, 1.6)] == ["1 minute", "1 minute", "2 minutes"]
    result = asked(simulated_connection(0.2, minutes=1.0), load_a=LOAD_A, ambient_c=20.0)
    assert f"{minutes_words(result.next_reading_minutes)} after the last" in result.next_steps[0]


NICD_READ = PLAIN.model_copy(update={"chemistry": Chemistry.NICD, "cells": 20})
FALLS_AND_RISES_A = (19.4, 18.2, 17.3, 16.6, 16.1, 15.7, 17.5, 19.5, 22.0)
"""Meter beside a load of 6 A, read each 23 s; the temperature was taken once, at the start."""


def rising(values=FALLS_AND_RISES_A) -> Readings:
    time_s = 20.0 + 23.0 * np.arange(len(values))
    warmth = np.where(time_s == 20.0, 31.0, np.nan)
    return Readings(elapsed_s=time_s, supply_current_a=np.array(values), battery_temp_c=warmth)


def test_a_current_that_rises_is_the_reason_and_is_looked_at_within_a_minute():
    """Not the charge: the meter shows 6 A more than two minutes before with nothing switched on."""
    result = asked(rising(), NICD_READ, load_a=6.0)
    assert result.outcome == "keep_watching"
    assert result.reason.startswith("The current rises by")
    assert name_of(result) == "clamp"
    assert result.next_reading_minutes == pytest.approx(1.0)
    assert "next useful reading is 1 minute" in result.next_steps[1]
    assert result.next_steps[-1].startswith("Feel the battery now")
    steady = asked(rising(FALLS_AND_RISES_A[:6]), NICD_READ, load_a=6.0)
    assert "Feel the battery now" not in " ".join(steady.next_steps)


def test_a_rise_that_the_voltage_explains_asks_for_the_voltage():
    rises = simulated_connection(0.1, minutes=10.0, rise_a_per_min=1.6, rise_from_s=240.0)
    columns = {
        "supply_voltage_v": 27.0 + 1.5 * rises.elapsed_s / rises.elapsed_s[-1],
        "battery_temp_c": np.full(len(rises), 20.0),
    }
    result = asked(rises.model_copy(update=columns), load_a=LOAD_A)
    assert "so does the supply's voltage" in result.reason
    assert name_of(result) == "set_voltage"


@pytest.mark.parametrize(("last_a", "soon"), [(16.6, False), (16.8, True)])
def test_a_last_reading_over_the_one_before_is_looked_at_again_within_a_minute(last_a, soon):
    """By more than the ampere that a step is at least: 15.7 A before it, a meter of tenths."""
    result = asked(rising((*FALLS_AND_RISES_A[:6], last_a)), NICD_READ, load_a=6.0)
    assert (result.next_reading_minutes == pytest.approx(1.0)) == soon
