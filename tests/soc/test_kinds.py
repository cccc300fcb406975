"""What the batteries of a kind teach of one more: tapers, rest voltages, and how it is said."""

from __future__ import annotations

import math
from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import Battery, CapacityCheck, Chemistry, Limits, Outcome, Supply, assess
from batterymodel.inputs.kinds import KindCheck, TaperLesson
from batterymodel.inputs.records import record_from, record_toml, toml_data
from batterymodel.reference.chemistry import data_for
from batterymodel.rules.wording import WITHOUT_KIND
from batterymodel.soc.kinds import (
    BatteryLessons,
    RestLesson,
    kind_belief,
    rest_lesson,
    rest_lessons,
    tells_more,
)
from batterymodel.soc.pooling import own_value, pooled
from tests.conftest import BELIEF, simulated_connection

ON = date(2026, 3, 2)
BARE = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
TOLD = {"load_a": 8.0, "load_sd_a": 0.3, "ambient_c": 25.0, "on": ON}


def taper(log_time_s=7.4, share=0.15, **more) -> TaperLesson:
    values = {"log_time_sd": 0.05, "fast_share_sd": 0.03, "missing": 0.2, "missing_sd": 0.02}
    values["voltage_read"] = True
    return TaperLesson(
        **{"log_time_s": log_time_s, "fast_share": share, "left": 0.01, **values, **more}
    )


def battery_lessons(log_time_s=7.4, share=0.15, count=2, rest_v=None, check=None):
    rests = () if rest_v is None else (RestLesson(rest_v, 0.005),)
    return BatteryLessons((taper(log_time_s, share),) * count, rests, check)


LESSONS = st.lists(
    st.builds(
        battery_lessons,
        st.floats(6.0, 9.0),
        st.floats(0.02, 0.7),
        st.integers(0, 4),
        st.none() | st.floats(-0.1, 0.1),
        st.none()
        | st.builds(
            KindCheck,
            age_years=st.floats(0, 9),
            share=st.floats(0.3, 1.2),
            share_log_sd=st.floats(0.01, 0.1),
        ),
    ),
    max_size=6,
)


def test_nothing_on_record_is_no_kind():
    assert kind_belief(Chemistry.VRLA, []) is None
    assert kind_belief(Chemistry.VRLA, [BatteryLessons()]) is None


@given(LESSONS, st.randoms(), st.sampled_from(list(Chemistry)))
def test_no_order_matters_and_nothing_is_wider_than_the_chemistry(lessons, random, chemistry):
    mixed = list(lessons)
    random.shuffle(mixed)
    kind = kind_belief(chemistry, lessons)
    assert kind == kind_belief(chemistry, mixed)
    if kind is None:
        return
    data = data_for(chemistry)
    assert kind.time_constant_log_sd <= data.taper.time_constant_log_sd
    assert kind.fast_share_sd <= data.taper.fast_share_sd
    assert kind.float_current_per_ah_sd <= data.taper.float_current_per_ah_sd
    assert kind.rest_shift_sd_v <= data.rest.sd_v
    assert kind.connections == sum(len(one.tapers) for one in lessons)


def test_bench_checks_alone_leave_the_taper_to_the_chemistry():
    check = KindCheck(age_years=3.0, share=0.9, share_log_sd=0.02)
    kind = kind_belief(Chemistry.VRLA, [battery_lessons(count=0, check=check)])
    assert kind.time_constant_h == pytest.approx(BELIEF.time_constant_h)
    assert (kind.time_constant_log_sd, kind.fast_share) == (
        BELIEF.time_constant_log_sd,
        BELIEF.fast_share,
    )
    assert (kind.checks, kind.batteries, kind.connections) == ((check,), 1, 0)


def test_a_kind_reads_back_from_the_file_it_is_written_to():
    check = KindCheck(age_years=3.0, share=0.9, share_log_sd=0.02)
    kind = kind_belief(Chemistry.VRLA, [battery_lessons(rest_v=0.01, check=check)] * 3)
    battery = BARE.model_copy(update={"kind": kind})
    assert record_from(toml_data(record_toml(battery), "B.toml"), Battery, "B.toml") == battery


def test_a_rest_voltage_of_a_full_battery_lies_above_the_curve_by_what_was_read():
    """By hand: 25.92 V is 12 x 2.150 + 0.12, 0.01 V a cell; the meter's 0.05 V is 0.0042 V."""
    found = rest_lesson(BARE, 25.92, 1.0, 1e-6, 25.0)
    assert found.shift_v == pytest.approx(0.01)
    assert found.sd_v == pytest.approx(0.05 / 12, rel=1e-3)


def test_an_unsure_state_of_charge_makes_the_rest_voltage_unsure():
    """From 0.75 to 1.0 the curve rises by 0.038 V: 0.1 of charge is 0.0152 V."""
    found = rest_lesson(BARE, 12 * 2.131, 0.875, 0.1, 25.0)
    assert found.shift_v == pytest.approx(0.0, abs=1e-9)
    assert found.sd_v == pytest.approx(math.hypot(0.0152, 0.05 / 12), rel=1e-6)


def test_a_curve_on_the_card_needs_no_other():
    card = Limits(document="manual", rest_voltage_soc=(0.0, 1.0), rest_voltage_v=(23.0, 26.0))
    battery = BARE.model_copy(update={"limits": card})
    assert rest_lesson(battery, 25.9, 1.0, 0.01, 25.0) is None
    assert rest_lessons(battery, taper(), 25.0, 25.9) == ()


@pytest.mark.parametrize(("left", "count"), [(0.1, 2), (0.11, 1)])
def test_a_rest_voltage_after_a_taper_counts_where_the_battery_was_nearly_full(left, count):
    assert len(rest_lessons(BARE, taper(left=left), 25.0, 25.9)) == count


def test_rest_voltages_are_held_against_the_charge_and_temperature_they_were_read_at():
    """Eight points short of full afterwards, and cold: neither full nor 25 degC may be taken."""
    lesson = taper(left=0.08, missing=0.3, temp_c=2.0)
    before, after = rest_lessons(BARE, lesson, 25.0, 25.7)
    assert before == rest_lesson(BARE, 25.0, 0.7, 0.02, 2.0)
    assert after == rest_lesson(BARE, 25.7, 0.92, 0.08, 2.0)
    assert before != rest_lesson(BARE, 25.0, 0.7, 0.02, None)
    assert after.shift_v > rest_lesson(BARE, 25.7, 1.0, 0.08, 2.0).shift_v + 0.005


def test_without_the_supply_s_voltage_nobody_knows_what_a_rest_voltage_belongs_to():
    assert rest_lessons(BARE, taper(voltage_read=False), 25.0, 25.9) == ()


def test_a_taper_without_a_fast_share_of_its_own_teaches_the_rest():
    alone = BatteryLessons((taper(fast_share_sd=None, share=0.4),) * 2)
    kind = kind_belief(Chemistry.VRLA, [alone])
    assert (kind.fast_share, kind.fast_share_sd) == (BELIEF.fast_share, BELIEF.fast_share_sd)
    assert kind.time_constant_log_sd < BELIEF.time_constant_log_sd
    both = BatteryLessons((taper(fast_share_sd=None, share=0.4), taper(share=0.1)))
    assert kind_belief(Chemistry.VRLA, [both]).fast_share < BELIEF.fast_share


def test_one_battery_s_values_move_between_connections_by_what_is_stated():
    """0.004 V a cell at rest, half of 0.003 A per Ah of float current."""
    floats = [taper(float_current_per_ah=a, float_current_per_ah_sd=0.0002) for a in (0.001, 0.002)]
    rests = (RestLesson(0.004, 0.001), RestLesson(0.008, 0.001))
    kind = kind_belief(Chemistry.VRLA, [BatteryLessons(tuple(floats), rests)])
    own = own_value((0.004, 0.008), (0.001, 0.001), 0.004)
    shift = pooled([own[0]], [own[1]], 0.0, 0.012)
    assert (kind.rest_shift_v, kind.rest_shift_sd_v) == pytest.approx(shift)
    own = own_value((0.001, 0.002), (0.0002, 0.0002), 0.0015)
    current = pooled([own[0]], [own[1]], 0.003, 0.003)
    assert (kind.float_current_per_ah, kind.float_current_per_ah_sd) == pytest.approx(current)


def test_what_tells_more_is_told_from_what_does_not():
    many = kind_belief(Chemistry.VRLA, [battery_lessons(7.4 + 0.05 * k) for k in range(6)])
    assert tells_more(many, BARE)
    check = KindCheck(age_years=3.0, share=0.9, share_log_sd=0.02)
    checked = kind_belief(Chemistry.VRLA, [battery_lessons(count=0, check=check)])
    own_check = CapacityCheck(on=date(2026, 1, 5), capacity_ah=40.0)
    own = BARE.model_copy(update={"capacity_check": own_check})
    assert tells_more(checked, BARE)
    assert not tells_more(checked, own)


@pytest.mark.parametrize(("ratio", "narrower"), [(0.89, True), (0.91, False)])
def test_a_tenth_narrower_is_called_narrower(ratio, narrower):
    kind = kind_belief(Chemistry.VRLA, [battery_lessons()])
    wide = {
        "time_constant_log_sd": ratio * BELIEF.time_constant_log_sd,
        "fast_share_sd": BELIEF.fast_share_sd,
        "rest_shift_sd_v": data_for(Chemistry.VRLA).rest.sd_v,
    }
    assert tells_more(kind.model_copy(update=wide), BARE) is narrower


def known(log_time_s, count=8):
    tapers = [battery_lessons(log_time_s + 0.03 * (k % 3 - 1)) for k in range(count)]
    return BARE.model_copy(update={"kind": kind_belief(Chemistry.VRLA, tapers)})


def test_an_answer_says_in_one_sentence_what_it_rests_on():
    readings = simulated_connection(0.2, 0.38)
    result = assess(readings, known(math.log(3600 * 0.45)), Supply(rated_current_a=60.0), **TOLD)
    assert result.kind.model_dump() == {
        "batteries": 8,
        "connections": 16,
        "rest_voltages": 0,
        "capacity_checks": 0,
        "in_use": True,
    }
    assert result.notes[-1] == (
        "What is expected of this battery rests on 16 connections of 8 other batteries of its kind "
        "on record too (valve-regulated lead-acid, 12 cells, 40 Ah)"
    )
    assert assess(readings, BARE, Supply(rated_current_a=60.0), **TOLD).kind is None


def test_a_check_that_widens_the_answer_is_not_said_to_narrow_it():
    """A battery of the kind that lost a third in three years lets more be missing here."""
    readings, supply = simulated_connection(0.11, 0.38), Supply(rated_current_a=60.0)
    check = KindCheck(age_years=3.0, share=0.65, share_log_sd=0.02)
    kind = kind_belief(Chemistry.VRLA, [battery_lessons(count=0, check=check)])
    installed = BARE.model_copy(update={"installed_on": date(2018, 3, 2)})
    plain, of_kind = (
        assess(readings, installed.model_copy(update={"kind": k}), supply, **TOLD)
        for k in (None, kind)
    )
    before, after = (found.state_of_charge.at_connection for found in (plain, of_kind))
    assert after.high - after.low > before.high - before.low
    assert "rests on 1 capacity check of another battery" in of_kind.notes[-1]
    assert "narrower" not in of_kind.notes[-1]


def test_a_kind_moves_the_answer_towards_its_own_taper():
    """A slower kind takes the same current for more charge still to return."""
    readings, supply = simulated_connection(0.2, 0.38), Supply(rated_current_a=60.0)
    fast, slow = (
        assess(readings, known(math.log(3600 * hours)), supply, **TOLD).charge_to_return_ah.mean
        for hours in (0.40, 0.55)
    )
    assert slow > 1.05 * fast


def test_a_kind_that_the_readings_contradict_is_left_out():
    readings, supply = (
        simulated_connection(0.2, 0.3, minutes=90.0, every_s=20.0),
        Supply(rated_current_a=60.0),
    )
    plain = assess(readings, BARE, supply, **TOLD)
    result = assess(readings, known(math.log(3600 * 1.6), 40), supply, **TOLD)
    assert not result.kind.in_use
    assert "were left out" in result.notes[-1]
    assert result.state_of_charge == plain.state_of_charge
    assert result.findings == plain.findings
    assert result.learned_history == plain.learned_history


def test_what_a_taper_teaches_is_the_same_whatever_its_kind():
    """Neither lesson nor history holds the kind's belief: it would come back to it."""
    readings, supply = (
        simulated_connection(0.2, 0.38, minutes=90.0, every_s=20.0),
        Supply(rated_current_a=60.0),
    )
    plain = assess(readings, BARE, supply, **TOLD)
    of_kind = assess(readings, known(math.log(3600 * 0.5)), supply, **TOLD)
    assert plain.taper_lesson is not None
    assert of_kind.taper_lesson == plain.taper_lesson
    assert of_kind.learned_history == plain.learned_history
    assert plain.taper_lesson.missing == pytest.approx(0.2, abs=0.02)


LONG = {"minutes": 90.0, "every_s": 20.0}


@pytest.mark.parametrize(("read_v", "is_read"), [(None, False), (28.2, True)])
def test_a_lesson_says_whether_the_supply_s_voltage_was_read(read_v, is_read):
    """A set voltage is no reading: a supply has 28 V where nobody told another."""
    volts = None if read_v is None else np.full(271, read_v)
    readings = simulated_connection(0.2, 0.38, supply_voltage_v=volts, **LONG)
    found = assess(readings, BARE, Supply(rated_current_a=60.0, set_voltage_v=28.2), **TOLD)
    assert found.taper_lesson.voltage_read is is_read


def believed(**more):
    """A kind whose tapers and rest voltages are known closely."""
    kind = kind_belief(Chemistry.VRLA, [battery_lessons(7.4 + 0.01 * k) for k in range(6)])
    shift = {"rest_shift_v": -0.012, "rest_shift_sd_v": 0.004, "rest_voltages": 12}
    return BARE.model_copy(update={"kind": kind.model_copy(update=shift | more)})


def loosely(part_of_spread, **more):
    """A kind whose spreads are the chemistry's but for a part."""
    data = data_for(Chemistry.VRLA)
    spreads = {
        "time_constant_log_sd": data.taper.time_constant_log_sd,
        "fast_share_sd": data.taper.fast_share_sd,
        "rest_shift_sd_v": data.rest.sd_v,
    }
    return believed(**{name: part_of_spread * sd for name, sd in spreads.items()} | more)


def is_given_without_kind(result) -> bool:
    return any(note.startswith(WITHOUT_KIND[:25]) for note in result.notes)


@pytest.mark.parametrize("part_of_spread", [0.2, 0.918])
def test_a_kind_that_is_wrong_never_lifts_an_outcome(part_of_spread):
    """Half empty. The kind says that its rest voltages lie low, so the same volts are more.

    A kind that tells hardly more than the chemistry is held to it as much as a sharp one.
    """
    readings = simulated_connection(0.5, 0.3, minutes=0.5, every_s=5.0, seed=3)
    told, low = {**TOLD, "rest_voltage_v": 12 * 2.09}, loosely(part_of_spread, rest_shift_v=-0.03)
    assert tells_more(low.kind, low) is (part_of_spread < 0.9)
    plain, of_kind = (assess(readings, one, **told) for one in (BARE, low))
    assert plain.outcome is of_kind.outcome is Outcome.SERVICE
    assert is_given_without_kind(of_kind)
    assert not is_given_without_kind(plain)


def test_an_answer_without_the_kind_is_the_whole_answer_as_if_it_were_not_there():
    """Headline, key figures, minutes, next observation and charts speak of one belief."""
    readings = simulated_connection(0.5, 0.3, minutes=0.5, every_s=5.0, seed=3)
    told, low = {**TOLD, "rest_voltage_v": 12 * 2.09}, believed(rest_shift_v=-0.03)
    plain, of_kind = (assess(readings, one, **told) for one in (BARE, low))
    apart = {"kind", "notes"}
    assert of_kind.model_dump(exclude=apart | {"curves"}) == plain.model_dump(
        exclude=apart | {"curves"}
    )
    assert of_kind.curves.fit_a == pytest.approx(plain.curves.fit_a)
    assert of_kind.notes[:-1] == plain.notes
    assert of_kind.notes[-1] == (
        "This answer is given as if 12 connections of 6 other batteries of its kind on record "
        "(valve-regulated lead-acid, 12 cells, 40 Ah) were not there: with them the outcome would "
        "be better, and they may narrow a range but never do that"
    )
    assert of_kind.kind is not None
    assert not of_kind.kind.in_use


@pytest.mark.long
@settings(max_examples=12)
@given(
    depth=st.floats(0.02, 0.6),
    rest_v=st.none() | st.floats(24.2, 25.9),
    shift=st.floats(-0.02, 0.02),
    hours=st.floats(0.15, 0.6),
    part_of_spread=st.floats(0.2, 1.0),
)
def test_no_kind_makes_an_outcome_better(depth, rest_v, shift, hours, part_of_spread):
    readings = simulated_connection(depth, 0.3, minutes=4.0, every_s=10.0, seed=3)
    kind = loosely(part_of_spread, rest_shift_v=shift, time_constant_h=hours)
    told = {**TOLD, "rest_voltage_v": rest_v}
    plain, of_kind = (assess(readings, one, **told).outcome for one in (BARE, kind))
    order = list(Outcome)
    assert order.index(of_kind) >= order.index(plain)


def test_a_kind_that_makes_an_outcome_more_careful_judges_it():
    """Ten minutes of a shallow charge; the kind's slow tapers leave more to return."""
    readings = simulated_connection(0.12, 0.38, minutes=10.0, every_s=10.0, seed=3)
    check = {"capacity_check": CapacityCheck(on=ON, capacity_ah=40.0)}
    both = BARE, believed(time_constant_h=0.9, rest_shift_v=0.0)
    supply, each = Supply(rated_current_a=60.0), (one.model_copy(update=check) for one in both)
    plain, of_kind = (assess(readings, one, supply, **TOLD) for one in each)
    order = list(Outcome)
    assert order.index(of_kind.outcome) > order.index(plain.outcome)
    assert of_kind.kind.in_use
    assert not is_given_without_kind(of_kind)


def test_a_taper_at_too_low_a_voltage_teaches_no_kind():
    readings = simulated_connection(0.2, 0.38, minutes=90.0, every_s=20.0)
    low = assess(readings, BARE, Supply(rated_current_a=60.0, set_voltage_v=26.5), **TOLD)
    assert low.taper_lesson is None
