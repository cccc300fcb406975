"""Truths against what was simulated, and what is no truth."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import Battery, FitError
from batterymodel.inputs.kinds import KindBelief
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.track import truths
from batterymodel.track.answers import first_part
from batterymodel.track.truths import charge_at_rest, returned_charge
from tests.conftest import simulated_connection

PLATE = Battery(tail="D", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
FLOAT_A = 0.1


def returned(readings, battery=PLATE, after_s=300.0, load_a=8.0):
    return returned_charge(readings, battery, None, load_a, 0.5, 22.0, after_s)


def integrated_ah(readings, after_s, load_a=8.0):
    """Charge above load and float current by the trapezoid rule: a second method."""
    later = readings.elapsed_s >= after_s
    above = readings.supply_current_a[later] - load_a - FLOAT_A
    return float(np.trapezoid(above, readings.elapsed_s[later]) / 3600.0)


@pytest.mark.parametrize("depth", [0.06, 0.15])
@pytest.mark.parametrize("charge_time_h", [0.25, 0.5])
def test_a_completed_taper_tells_what_it_returned(depth, charge_time_h):
    readings = simulated_connection(depth, charge_time_h, minutes=200.0, every_s=30.0)
    found = returned(readings)
    assert found.after_s == 300.0
    assert found.charge_ah == pytest.approx(integrated_ah(readings, 300.0), rel=0.04)
    assert 0.03 * found.charge_ah <= found.sd_ah < 0.15 * found.charge_ah


@pytest.mark.parametrize("charge_time_h", [0.2, 0.3])
def test_a_firm_belief_that_is_wrong_does_not_judge_itself(monkeypatch, charge_time_h):
    """Twice the charge time, and believed ten times as firmly: the taper still counts as ended."""
    long = simulated_connection(0.15, charge_time_h, minutes=240.0, every_s=30.0)
    truth_ah = integrated_ah(long, 300.0)
    believed = truths.prior_for
    monkeypatch.setattr(
        truths, "prior_for", lambda *told: _shifted(believed(*told), np.log(2.0), 0.1)
    )
    found = returned(simulated_connection(0.15, charge_time_h, minutes=80.0, every_s=30.0))
    assert found is not None
    assert found.charge_ah == pytest.approx(truth_ah, abs=2.0 * found.sd_ah)
    assert found.charge_ah == pytest.approx(truth_ah, rel=0.07)


def _shifted(prior, by, spread):
    return replace(prior, log_time_s=prior.log_time_s + by, log_time_sd=spread * prior.log_time_sd)


def test_readings_of_two_connections_are_no_truth():
    whole, other = (simulated_connection(d, minutes=90.0, every_s=30.0) for d in (0.15, 0.1))
    later_s = whole.elapsed_s[-1] + 900.0 + other.elapsed_s
    both = whole.model_copy(
        update={
            "elapsed_s": np.append(whole.elapsed_s, later_s),
            "supply_current_a": np.append(whole.supply_current_a, other.supply_current_a),
        }
    )
    assert returned(whole) is not None
    assert returned(both) is None


def test_what_was_not_seen_to_its_end_is_no_truth():
    assert returned(simulated_connection(0.3, 0.5, minutes=15.0, every_s=30.0)) is None
    assert returned(simulated_connection(0.1, minutes=5.0), after_s=300.0) is None


def test_a_current_that_is_no_taper_tells_no_charge():
    lithium = Battery(tail="D", chemistry="lfp", cells=8, rated_capacity_ah=40.0)
    readings = simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)
    assert returned(readings, lithium) is None


def test_readings_that_give_no_fit_are_no_truth(monkeypatch):
    def fails(*_):
        raise FitError("none")

    monkeypatch.setattr(truths, "fit_taper", fails)
    assert returned(simulated_connection(0.1, 0.3, minutes=120.0, every_s=30.0)) is None


@pytest.mark.parametrize("soc", [0.3, 0.6, 0.8])
def test_a_rest_voltage_tells_the_charge_it_belongs_to(soc):
    found = charge_at_rest(PLATE, float(rest_voltage_v(PLATE, soc, 22.0)), 22.0)
    assert found.soc == pytest.approx(soc, abs=found.sd)
    assert 0.02 < found.sd < 0.15


def test_a_voltage_above_full_is_full():
    full = float(rest_voltage_v(PLATE, 1.0, 25.0))
    assert charge_at_rest(PLATE, full + 1.0, None) == charge_at_rest(PLATE, full, None)


OF_KIND = PLATE.model_copy(
    update={
        "kind": KindBelief(
            batteries=4,
            connections=12,
            rest_voltages=6,
            time_constant_h=0.4,
            time_constant_log_sd=0.1,
            fast_share=0.14,
            fast_share_sd=0.02,
            float_current_per_ah=0.003,
            float_current_per_ah_sd=0.003,
            rest_shift_v=0.015,
            rest_shift_sd_v=0.004,
        )
    }
)


def test_a_taper_is_read_without_what_the_kind_taught():
    readings = simulated_connection(0.15, 0.3, minutes=120.0, every_s=30.0)
    assert returned(readings, OF_KIND) == returned(readings)


def test_what_other_laws_may_still_return_is_in_the_error(monkeypatch):
    """The charge after the last reading, by a longer log; its error made the only one that counts.

    At two hours the taper counts as ended with a little of its charge to come.
    """
    plain = returned(simulated_connection(0.15, 0.5, minutes=120.0, every_s=30.0))
    monkeypatch.setattr(truths, "OTHER_LAW_LOG_SD", 1000.0)
    found = returned(simulated_connection(0.15, 0.5, minutes=120.0, every_s=30.0))
    whole = simulated_connection(0.15, 0.5, minutes=400.0, every_s=30.0)
    assert found.sd_ah / 1000.0 == pytest.approx(integrated_ah(whole, 7200.0), abs=0.05)
    assert found.sd_ah > 10.0 * plain.sd_ah


def test_a_rest_voltage_is_read_without_what_the_kind_taught():
    of_kind = OF_KIND
    assert rest_voltage_v(of_kind, 0.8, 22.0) > rest_voltage_v(PLATE, 0.8, 22.0)
    assert charge_at_rest(of_kind, 25.5, 22.0) == charge_at_rest(PLATE, 25.5, 22.0)


def test_the_first_part_holds_nothing_of_later():
    readings = simulated_connection(0.15, minutes=20.0, every_s=30.0, steps=((600.0, 5.0),))
    part = first_part(readings, 300.0)
    assert part.elapsed_s[-1] == 300.0
    assert len(part) == 11
    assert (len(readings.events), len(part.events)) == (1, 0)
    assert first_part(part, -1.0) is None
