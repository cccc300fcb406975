"""What completed tapers teach: weighing by variance, drift with age, no taper counted twice."""

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import History, Readings, Supply, assess
from batterymodel.soc.learning import (
    MeasuredTaper,
    learned_history,
    measured_taper,
    updated_history,
    without_belief,
)
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import charge_posterior
from batterymodel.taper.prior import prior_for
from batterymodel.taper.signals import signal_from
from tests.conftest import BELIEF, believed_at, simulated_connection

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)


def bare(battery):
    return battery.model_copy(update={"history": None})


def knowing(battery, **values):
    return battery.model_copy(update={"history": History(**values)})


def test_first_taper_is_weighed_against_the_chemistry(battery):
    """By hand: the taper has hypot(0.06, 0.045) = 0.075, the chemistry 0.36 around 0.45 h.

    Precisions 177.78 and 7.716: the log time constant is that of 1500 s moved by
    7.716 / 185.49 = 0.0416 of ln(1620 / 1500) = 0.07696, which is 0.00320; its error 0.07342.
    """
    measured = MeasuredTaper(np.log(1500.0), 0.06, 0.155, 0.02)
    history = updated_history(bare(battery), measured, ON)
    assert history.charge_time_rel_sd == pytest.approx(0.0734, abs=1e-4)
    of_charge = 1.0 - 0.875 * 0.155
    assert history.charge_time_h == pytest.approx(1504.8 / 3600.0 * of_charge, rel=5e-4)
    assert history.on == ON


def test_belief_is_taken_out_of_a_measured_taper():
    """By hand: 0.3 before and 0.24 after have precisions 11.11 and 17.36; gained are 6.25.

    That is an error of 0.4, and the mean is (17.36 x 7.2 - 11.11 x 7.0) / 6.25 = 7.5556.
    """
    assert without_belief(7.2, 0.24, 7.0, 0.3) == pytest.approx((7.5556, 0.4), rel=1e-4)
    for sd in (0.3, 0.31):
        assert without_belief(7.2, sd, 7.0, 0.3) == (7.2, np.inf)


@given(
    st.lists(st.tuples(st.floats(6.0, 9.0), st.floats(0.05, 2.0)), min_size=1, max_size=5),
    st.floats(0.1, 0.9),
)
def test_tapers_taken_apart_and_put_together_hold_the_belief_once(tapers, believed_sd):
    """One belief and all measurements at once, against each measured with the belief and apart."""
    precision, moment = believed_sd**-2, 7.0 * believed_sd**-2
    for value, sd in tapers:
        after = 1.0 / (believed_sd**-2 + sd**-2)
        mean = after * (7.0 * believed_sd**-2 + value * sd**-2)
        found, found_sd = without_belief(mean, after**0.5, 7.0, believed_sd)
        precision, moment = precision + found_sd**-2, moment + found * found_sd**-2
    weights = np.array([believed_sd**-2, *(sd**-2 for _, sd in tapers)])
    values = np.array([7.0, *(value for value, _ in tapers)])
    assert precision == pytest.approx(weights.sum(), rel=1e-6)
    assert moment / precision == pytest.approx(weights @ values / weights.sum(), rel=1e-6)


def test_a_share_the_readings_say_nothing_of_stays_as_believed(battery):
    measured = MeasuredTaper(np.log(1500.0), 0.06, 0.5, np.inf)
    history = updated_history(bare(battery), measured, ON)
    assert (history.fast_share, history.fast_share_sd) == (BELIEF.fast_share, BELIEF.fast_share_sd)


@pytest.mark.parametrize(("time_s", "taught"), [(5.0, False), (25.0, True), (9e4, False)])
def test_a_taper_no_battery_could_have_teaches_nothing(battery, time_s, taught):
    """Charge times of 0.001, 0.006 and 22 h: a history holds 0.005 to 20 h."""
    measured = MeasuredTaper(np.log(time_s), 0.1, 0.155, 0.02)
    assert (updated_history(bare(battery), measured, ON) is not None) is taught
    assert (updated_history(battery, measured, ON) is not None) is taught


def test_a_current_gone_within_seconds_is_assessed_and_teaches_nothing(battery):
    """800 A that halves every 8 s: a short circuit or a capacitor, no battery of 40 Ah."""
    t = np.arange(0.0, 301.0, 2.0)
    current = np.round(0.1 + 800.0 * (0.2 * np.exp(-t / 1.5) + 0.8 * np.exp(-t / 12.0)), 1)
    readings = Readings(elapsed_s=t, supply_current_a=current + 8.0, battery_current_a=current)
    assert assess(readings, bare(battery)).learned_history is None


@pytest.mark.parametrize(("conflict", "taught"), [(1.55, True), (1.65, False)])
def test_a_taper_in_conflict_with_belief_teaches_nothing(battery, conflict, taught):
    """1.6 is where a taper fits no battery of the kind."""
    readings = simulated_connection(0.12, 0.31, minutes=90.0, every_s=20.0)
    signal = signal_from(readings, SUPPLY, 8.0, 0.1)
    fit = fit_taper(signal, prior_for(bare(battery), 25.0))
    posterior, moved = charge_posterior(fit), replace(fit, conflict=conflict)
    learned = learned_history(moved, posterior, bare(battery), 25.0, ON)
    assert (learned is not None) is taught


def test_a_battery_slower_than_any_of_its_kind_leaves_no_history(battery):
    """Six times the usual charge time: seen to its end, said to be unlike any, and not learned."""
    slow = simulated_connection(0.2, 2.2, minutes=500.0, every_s=60.0)
    result = assess(slow, bare(battery), SUPPLY, load_a=8.0, load_sd_a=0.1, ambient_c=25.0, on=ON)
    assert "unlike_any_taper" in {f.rule for f in result.findings}
    assert result.learned_history is None


def test_equal_errors_meet_in_the_middle(battery):
    share = 0.155
    known_h = 1000 / 3600 * (1 - 0.875 * share)
    known = knowing(
        battery, charge_time_h=known_h, charge_time_rel_sd=0.075, fast_share=share, on=ON
    )
    history = updated_history(known, MeasuredTaper(np.log(1440.0), 0.06, share, 0.02), ON)
    assert history.charge_time_h == pytest.approx(known_h * 1.2, rel=2e-3)
    assert history.charge_time_rel_sd == pytest.approx(0.075 / np.sqrt(2.0), abs=1e-3)


def test_many_tapers_narrow_the_history(battery):
    current, spread = bare(battery), []
    for _ in range(6):
        learned = updated_history(current, MeasuredTaper(np.log(1300.0), 0.05, 0.15, 0.03), ON)
        current = battery.model_copy(update={"history": learned})
        spread.append(learned.charge_time_rel_sd)
    assert (np.diff(spread) < 0).all()
    assert spread[-1] < 0.5 * spread[0]


def test_an_old_history_gives_way_to_a_new_taper(battery):
    def learned(known_on):
        known = knowing(
            battery, charge_time_h=0.30, charge_time_rel_sd=0.03, fast_share=0.15, on=known_on
        )
        return updated_history(known, MeasuredTaper(np.log(1700.0), 0.04, 0.15, 0.02), ON)

    assert learned(date(2021, 3, 2)).charge_time_h > learned(ON).charge_time_h > 0.30


def test_the_taper_itself_is_read_without_the_history(battery):
    """A wrong but confident history must not colour what the taper is measured to be."""
    readings = simulated_connection(0.12, 0.31, minutes=90.0, every_s=20.0)
    values = {"load_a": 8.0, "load_sd_a": 0.1, "ambient_c": 25.0, "on": ON}
    plain = assess(readings, bare(battery), SUPPLY, **values).learned_history
    wrong = knowing(battery, charge_time_h=0.6, charge_time_rel_sd=0.9, fast_share=0.15)
    again = assess(readings, wrong, SUPPLY, **values).learned_history
    assert again.charge_time_h == pytest.approx(plain.charge_time_h, rel=0.02)


def completed_taper(own_time_h, own_share, rng):
    """A long connection of a battery whose own values moved a little, as belief has it."""
    of_fast = 1.0 - BELIEF.fast_ratio
    time_h = own_time_h * np.exp(rng.normal(0.0, BELIEF.time_transfer_log_sd))
    moved = own_share + rng.normal(0.0, BELIEF.share_transfer_sd)
    depth, share, here_h = rng.uniform(0.06, 0.3), moved, time_h
    for _ in range(30):
        rate = depth / 0.985 / (here_h * (1.0 - of_fast * share))
        share, here_h = believed_at(rate, moved, time_h)
    return simulated_connection(
        depth,
        here_h * (1.0 - of_fast * share),
        seed=int(rng.integers(1_000_000)),
        load_a=8.0 + rng.normal(0.0, 1.0),
        limit_a=300.0,
        fast_share=share,
        float_current_a=float(max(rng.normal(0.12, 0.12), 0.0)),
        minutes=180.0 * own_time_h,
        every_s=60.0,
        noise_a=3.0,
    )


@pytest.mark.starts_first
@pytest.mark.slow
def test_five_tapers_of_one_battery_cover_its_charge_time(battery):
    """Nominal 90 %: 120 batteries drawn from belief, five noisy tapers each, three binomial errors.

    The least errors a history is given may widen it, so that coverage may be above.
    """
    rng, supply, covered = np.random.default_rng(2026), Supply(rated_current_a=300.0), []
    for _ in range(120):
        own_time_h = BELIEF.time_constant_h * np.exp(rng.normal(0.0, BELIEF.time_constant_log_sd))
        own_share = max(BELIEF.fast_share + rng.normal(0.0, BELIEF.fast_share_sd), 0.02)
        current = bare(battery)
        for _ in range(5):
            readings = completed_taper(own_time_h, own_share, rng)
            measured = measured_taper(signal_from(readings, supply, 8.0, 1.0), current, 25.0)
            if measured is not None:
                current = knowing_learned(current, measured)
        learned, truth_h = current.history, own_time_h * (1.0 - 0.875 * own_share)
        away = abs(np.log(learned.charge_time_h / truth_h))
        covered.append(away <= 1.645 * learned.charge_time_rel_sd)
    assert np.mean(covered) >= 0.9 - 3.0 * np.sqrt(0.9 * 0.1 / 120)


def knowing_learned(battery, measured):
    return battery.model_copy(update={"history": updated_history(battery, measured, ON)})
