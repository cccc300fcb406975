"""What one more observation leaves of the chance of a wrong decision, by hand and in limits."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import Battery
from batterymodel.rules.next_observation import WAITS_S
from batterymodel.soc.observations import Foresight
from tests.conftest import simulated_connection
from tests.rules.cases import case_of

PLAIN = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)


def foresight_of(depth: float, battery: Battery = PLAIN, load_a: float | None = None) -> Foresight:
    case = case_of(simulated_connection(depth), battery, load_a=load_a)
    return Foresight(case.conditions, battery, case.fit, case.limit("min_top_off_soc").value)


def left_after(foresight: Foresight) -> dict[str, float]:
    return {
        "rest voltage": foresight.after_rest_voltage,
        "bus load": foresight.after_bus_load,
        "clamp": foresight.after_clamp,
        "capacity check": foresight.after_capacity_check,
        **{f"{w:.0f} s": foresight.after_reading(w) for w in WAITS_S},
    }


@pytest.mark.parametrize("depth", [0.05, 0.15, 0.25, 0.4, 0.7])
@pytest.mark.parametrize("load_a", [None, 8.0])
def test_no_observation_raises_the_expected_chance_of_a_wrong_decision(depth, load_a):
    """More knowledge never makes the better of two decisions worse; 2e-3 is numerical."""
    foresight = foresight_of(depth, load_a=load_a)
    for name, left in left_after(foresight).items():
        assert 0.0 <= left <= foresight.wrong_now + 2e-3, name


def test_where_the_charge_is_in_doubt_each_observation_tells_something():
    foresight = foresight_of(0.25)
    assert foresight.wrong_now > 0.1
    told = left_after(foresight)
    del told["capacity check"]
    for name, left in told.items():
        assert left < foresight.wrong_now - 1e-3, name


def test_a_capacity_check_tells_where_the_current_was_told_apart():
    foresight = foresight_of(0.15, load_a=8.0)
    assert foresight.after_capacity_check < foresight.wrong_now - 0.01


def test_a_clamp_tells_more_than_the_same_current_read_with_a_larger_error():
    foresight = foresight_of(0.25)
    assert foresight.after_clamp < foresight.after_bus_load


def test_a_load_that_is_known_leaves_nothing_to_tell():
    """With the load known to 0.01 A, reading it again to half an ampere changes nothing."""
    foresight = foresight_of(0.15)
    load = replace(foresight.fit.signal.load, sd_a=0.01)
    known = replace(foresight.fit, signal=replace(foresight.fit.signal, load=load))
    sound = {c: p for c, p in foresight.conditions.probability.items() if c != "nothing_charging"}
    state = replace(foresight.conditions, probability=sound)
    again = replace(foresight, fit=known, conditions=state)
    assert again.after_bus_load == pytest.approx(again.wrong_now, abs=2e-3)


def test_a_rest_voltage_leaves_what_sampling_leaves():
    """Against random batteries of the same accounts and read voltages, sorted by bins."""
    from batterymodel.reference.conditions import CONDITIONS, UNSAFE
    from batterymodel.reference.temperature import rest_voltage_v
    from batterymodel.soc.evidence import SOC_GRID, rest_voltage_sd_v

    foresight, rng = foresight_of(0.25), np.random.default_rng(3)
    volts, bad = [], []
    for condition, chance in foresight.conditions.probability.items():
        count = round(400_000 * chance)
        account = foresight.conditions.accounts.get(condition)
        if not count or account is None:
            continue
        found = account.at_connection
        soc = rng.choice(found.values, count, p=found.weight / found.weight.sum())
        kept = 1.0 - CONDITIONS[condition].cells_lost / PLAIN.cells
        volts.append(kept * np.interp(soc, SOC_GRID, rest_voltage_v(PLAIN, SOC_GRID, 25.0)))
        bad.append((soc < foresight.least_soc) | (condition in UNSAFE))
    read, bad = np.concatenate(volts), np.concatenate(bad)
    reach = rest_voltage_v(PLAIN, SOC_GRID, 25.0)
    read = read + rng.normal(0.0, rest_voltage_sd_v(PLAIN, foresight.least_soc), read.size)
    misleads = rng.random(read.size) < 0.05
    read[misleads] = rng.uniform(reach[0], reach[-1], misleads.sum())
    place = np.digitize(read, np.linspace(read.min(), read.max(), 40))
    unfit, every = np.bincount(place, bad, 50), np.bincount(place, minlength=50)
    left = np.minimum(unfit, every - unfit).sum() / read.size
    assert foresight.after_rest_voltage == pytest.approx(left, abs=0.015)
