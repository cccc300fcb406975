"""The prior of a battery whose kind is known: in the chemistry's place, and in no history twice."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Battery, History
from batterymodel.inputs.kinds import KindBelief
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.soc.evidence import rest_voltage_sd_v
from batterymodel.taper.prior import instead, prior_for
from tests.conftest import BELIEF

BARE = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
SDS = st.floats(0.02, 2.0)
MEANS = st.floats(-3.0, 3.0)


def kind(**values) -> KindBelief:
    usual = {
        "batteries": 4,
        "connections": 9,
        "time_constant_h": BELIEF.time_constant_h,
        "time_constant_log_sd": BELIEF.time_constant_log_sd,
        "fast_share": BELIEF.fast_share,
        "fast_share_sd": BELIEF.fast_share_sd,
        "float_current_per_ah": BELIEF.float_current_per_ah,
        "float_current_per_ah_sd": BELIEF.float_current_per_ah_sd,
        "rest_shift_sd_v": 0.012,
    }
    return KindBelief(**{**usual, **values})


def of(belief: KindBelief, **more) -> Battery:
    return BARE.model_copy(update={"kind": belief, **more})


def test_a_kind_that_says_what_the_chemistry_says_changes_nothing():
    assert prior_for(of(kind()), 25.0) == prior_for(BARE, 25.0)


def test_a_kind_takes_the_chemistry_s_place():
    """By hand: a connection moves by 0.045, hypot(0.12, 0.045) = 0.1282; the share by 0.028."""
    known = kind(
        time_constant_h=0.6,
        time_constant_log_sd=0.12,
        fast_share=0.1,
        fast_share_sd=0.021,
        float_current_per_ah=0.001,
        float_current_per_ah_sd=0.0005,
    )
    prior = prior_for(of(known), 25.0)
    assert prior.log_time_s == pytest.approx(math.log(2160.0))
    assert prior.log_time_sd == pytest.approx(0.1282, abs=1e-4)
    assert (prior.fast_share, prior.fast_share_sd) == pytest.approx((0.1, 0.035))
    assert (prior.float_current_a, prior.float_current_sd_a) == pytest.approx((0.04, 0.02))


def test_temperature_widens_a_kind_as_it_widens_the_chemistry():
    narrow = of(kind(time_constant_log_sd=0.12))
    assert prior_for(narrow, 0.0).log_time_sd == pytest.approx(math.hypot(0.1282, 0.125), rel=1e-3)


@given(st.floats(0.05, 0.5), st.floats(0.2, 0.9), st.floats(0.02, 0.36))
def test_a_history_with_a_kind_is_never_wider_than_without(rel_sd, hours, kind_sd):
    history = History(charge_time_h=hours, charge_time_rel_sd=rel_sd, fast_share=0.15)
    plain = prior_for(BARE.model_copy(update={"history": history}), 25.0)
    both = prior_for(of(kind(time_constant_log_sd=kind_sd), history=history), 25.0)
    assert both.log_time_sd <= plain.log_time_sd + 1e-9


@given(MEANS, SDS, MEANS, SDS, MEANS, SDS)
def test_another_belief_takes_the_place_of_the_one_that_is_held(own, own_sd, m0, s0, new, new_sd):
    """An own measurement weighed with either belief: the second from the first."""

    def weighed(mean, sd):
        variance = 1.0 / (own_sd**-2 + sd**-2)
        return variance * (own * own_sd**-2 + mean * sd**-2), math.sqrt(variance)

    found = instead(weighed(m0, s0), (m0, s0), (new, new_sd))
    assert found == pytest.approx(weighed(new, new_sd), rel=1e-4, abs=1e-4)


def test_a_history_that_holds_no_more_than_the_chemistry_gives_way():
    assert instead((1.0, 0.36), (0.5, 0.36), (0.7, 0.1)) == (0.7, 0.1)
    assert instead((1.0, 0.5), (0.5, 0.36), (0.7, 0.1)) == (0.7, 0.1)


def test_a_kind_shifts_and_narrows_the_curve_of_the_chemistry_alone():
    """0.01 V a cell up is 0.12 V; a third of the spread, beside the meter's 0.05 V."""
    known = of(kind(rest_shift_v=0.01, rest_shift_sd_v=0.004))
    up = rest_voltage_v(known, 0.8, 25.0) - rest_voltage_v(BARE, 0.8, 25.0)
    assert float(up) == pytest.approx(0.12)
    assert rest_voltage_sd_v(known, 1.0) == pytest.approx(math.hypot(12 * 0.004, 0.05))
    assert rest_voltage_sd_v(known, 0.0) == pytest.approx(math.hypot(12 * 0.008, 0.05))
    card = {"limits": {"rest_voltage_soc": (0.0, 1.0), "rest_voltage_v": (23.0, 26.0)}}
    plain = Battery.model_validate({**BARE.model_dump(), **card})
    own = plain.model_copy(update={"kind": known.kind})
    assert rest_voltage_v(own, 0.8, 25.0) == rest_voltage_v(plain, 0.8, 25.0)
    assert rest_voltage_sd_v(own, 0.5) == rest_voltage_sd_v(plain, 0.5)
