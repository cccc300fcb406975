"""What widened ranges do to an answer: wider, never surer."""

import pytest

from batterymodel import Battery, InputError, Outcome, assess
from batterymodel.basis.intervals import Interval
from batterymodel.rules.results import Severity
from batterymodel.samples.connections import load_scenario, sample_readings_path
from tests.conftest import simulated_connection

LFP = Battery(tail="D", chemistry="lfp", cells=8, rated_capacity_ah=40.0)
SAMPLES, SUPPLY = load_scenario()


def told(sample):
    names = ("rest_voltage_v", "load_a", "ambient_c")
    return {name: getattr(sample, name) for name in names}


def answer(sample, widening):
    path = sample_readings_path(sample.key)
    return assess(path, sample.battery, SUPPLY, widening=widening, **told(sample))


def ranges(result):
    soc = result.state_of_charge
    return soc.at_connection, soc.now, result.charge_to_return_ah, result.minutes_to_top_off


def test_an_interval_widened_by_hand():
    """Around 0.8: 0.2 below becomes 0.4, 0.1 above becomes 0.2 and ends at 1."""
    found = Interval(mean=0.78, low=0.6, high=0.9, level=0.9)
    assert found.widened(0.8, 2.0, 0.0, 1.0).model_dump() == pytest.approx(
        {"mean": 0.78, "low": 0.4, "high": 1.0, "level": 0.9}
    )
    assert found.widened(0.8, 5.0, 0.0, 1.0).low == 0.0
    assert found.widened(0.8, 0.5, 0.0, 1.0).low == pytest.approx(0.7)
    assert found.widened(0.9, 0.5, 0.0, 1.0).low == pytest.approx(0.75)
    assert Interval(mean=0.5, low=0.4, high=0.9, level=0.9).widened(0.85, 0.1, 0.0, 1.0).low == 0.5


@pytest.mark.long
@pytest.mark.parametrize("sample", SAMPLES, ids=lambda sample: sample.key)
def test_wider_ranges_hold_the_narrower_and_never_decide_more(sample):
    before = answer(sample, 1.0)
    for by in (1.3, 2.0, 4.0):
        after = answer(sample, by)
        for wide, narrow in zip(ranges(after), ranges(before), strict=True):
            assert wide.low <= narrow.low <= narrow.high <= wide.high
            assert wide.mean == pytest.approx(narrow.mean)
        assert after.outcome in (before.outcome, Outcome.KEEP_WATCHING)
        before = after


@pytest.mark.long
@pytest.mark.parametrize("depth", [0.02, 0.1, 0.3, 0.6, 0.9])
def test_a_charge_that_was_sure_is_watched_when_ranges_widen(battery, depth):
    """The finding of the charge goes from sure to watched, and never back."""
    readings = simulated_connection(depth, minutes=20.0, every_s=10.0)
    seen = []
    for by in (0.5, 1.0, 2.0, 5.0, 10.0):
        result = assess(readings, battery, load_a=8.0, widening=by)
        [found] = [f for f in result.findings if f.rule == "deep_discharge"]
        seen.append(found.severity is Severity.WATCH)
    assert seen == sorted(seen)
    assert seen[-1]


@pytest.mark.parametrize("depth", [0.3, 0.45, 0.6])
def test_narrowed_ranges_are_shown_and_decide_nothing(battery, depth):
    """A record of sound batteries must not make a low one sure to be charged, or the other way."""
    readings = simulated_connection(depth, minutes=5.0)
    plain, narrow = (assess(readings, battery, load_a=8.0, widening=by) for by in (1.0, 0.5))
    shown, before = narrow.state_of_charge.now, plain.state_of_charge.now
    assert shown.high - shown.low < before.high - before.low
    assert [(f.rule, f.severity) for f in narrow.findings] == [
        (f.rule, f.severity) for f in plain.findings
    ]
    assert narrow.outcome is plain.outcome


def test_a_current_that_is_no_taper_is_judged_by_widened_ranges_too():
    readings = simulated_connection(0.02, 0.1, minutes=10.0, every_s=10.0)
    severities = []
    for by in (1.0, 10.0):
        result = assess(readings, LFP, load_a=8.0, widening=by)
        [found] = [f for f in result.findings if f.rule == "current_seen"]
        severities.append((found.value, found.severity))
    assert severities[1][0] > severities[0][0]
    assert severities[1][1] is Severity.WATCH


def test_without_a_record_nothing_is_widened(battery):
    result = assess(simulated_connection(0.1), battery, load_a=8.0)
    assert result.widening == 1.0
    kept = result.unwidened["charge_to_return_ah"]
    shown = result.charge_to_return_ah
    assert (kept.low, kept.high) == (shown.low, shown.high)
    assert kept.low <= kept.middle <= kept.high
    assert "unwidened" not in result.model_dump()


@pytest.mark.parametrize("by", [0.29, 10.1, None, True])
def test_a_factor_that_cannot_be_is_refused(battery, by):
    with pytest.raises(InputError, match="widening"):
        assess(simulated_connection(0.1), battery, load_a=8.0, widening=by)
