"""Bench checks of other batteries of a kind: they weigh start and loss, never beyond reason."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Battery
from batterymodel.inputs.kinds import KindBelief, KindCheck
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.capacity_of_kind import start_and_loss

ON = date(2026, 3, 2)
START, LOSS = np.array([0.9, 1.0, 1.1]), np.array([0.02, 0.05, 0.2])
WEIGHT = np.array([0.3, 0.6, 0.1])
CHECKS = st.lists(
    st.builds(
        KindCheck,
        age_years=st.floats(0.0, 20.0),
        share=st.floats(0.2, 1.4),
        share_log_sd=st.floats(0.01, 0.2),
    ),
    max_size=5,
)


def belief(*checks: KindCheck, **more: object):
    kind = KindBelief(
        batteries=max(len(checks), 1),
        connections=0,
        time_constant_h=0.45,
        time_constant_log_sd=0.36,
        fast_share=0.155,
        fast_share_sd=0.045,
        float_current_per_ah=0.003,
        float_current_per_ah_sd=0.003,
        rest_shift_sd_v=0.012,
        checks=checks,
    )
    battery = Battery(
        tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0, kind=kind, **more
    )
    return capacity_belief(battery, ON)


def test_no_checks_are_the_chemistry():
    known = np.broadcast_to(WEIGHT / 3, (3, 3))
    assert np.array_equal(start_and_loss(START, LOSS, WEIGHT, ()), known)
    plain = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    assert np.array_equal(belief().capacity_ah, capacity_belief(plain, ON).capacity_ah)
    assert np.array_equal(belief().weight, capacity_belief(plain, ON).weight)


@given(CHECKS, st.randoms())
def test_weights_sum_to_one_in_any_order(checks, random):
    mixed = list(checks)
    random.shuffle(mixed)
    found = start_and_loss(START, LOSS, WEIGHT, checks)
    assert found.sum() == pytest.approx(1.0)
    assert (found >= 0.0).all()
    assert np.allclose(found, start_and_loss(START, LOSS, WEIGHT, mixed), atol=1e-12)


def test_one_check_is_weighed_as_by_hand():
    """Every share of likeness in turn, summed by loops over starts and losses."""
    check = KindCheck(age_years=5.0, share=0.8, share_log_sd=0.02)
    sd = np.hypot(0.02, 0.05)
    like = [
        [np.exp(-0.5 * ((np.log(0.8) - np.log(s) + 5 * r) / sd) ** 2) for r in LOSS] for s in START
    ]
    prior = np.array([[w / 3 for w in WEIGHT] for _ in START])
    of_any = float((prior * like).sum())
    expected, total = np.zeros((3, 3)), 0.0
    for k in (0.1, 0.3, 0.5, 0.7, 0.9):
        joint = prior * (k * np.array(like) + (1 - k) * of_any)
        total += joint.sum()
        expected += k * joint + (1 - k) * joint.sum() * prior
    assert np.allclose(start_and_loss(START, LOSS, WEIGHT, (check,)), expected / total)


def test_a_kind_that_keeps_its_capacity_makes_a_worn_battery_unlikely():
    """Ten batteries of six years at 95 %: a battery of six years nobody checked is seldom worn."""
    good = [KindCheck(age_years=6.0, share=0.95, share_log_sd=0.02)] * 10
    poor = [KindCheck(age_years=6.0, share=0.65, share_log_sd=0.02)] * 10
    installed = {"installed_on": date(2020, 3, 2)}
    plain, better, worse = (belief(*c, **installed) for c in ((), good, poor))
    assert better.worn < 0.5 * plain.worn
    assert worse.worn > 1.5 * plain.worn
    assert better.rel_sd < plain.rel_sd
    assert better.worn > 0.01


def test_an_own_check_leaves_the_loss_since_to_the_kind():
    check = {"capacity_check": {"on": "2024-03-02", "capacity_ah": 38.0}}
    fast = [KindCheck(age_years=4.0, share=0.6, share_log_sd=0.02)] * 8
    plain, faster = belief(**check), belief(*fast, **check)
    assert faster.median_ah < 0.97 * plain.median_ah
