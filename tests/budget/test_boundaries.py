"""Budgets on both sides of every value that decides."""

import pytest

from batterymodel import Severity, Supply
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Verdict
from batterymodel.budget.selection import HELD_SD
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.inputs.records import Cable
from tests.budget.plans import consumer, drawing


def verdict(consumers, rated_a, battery=None, minutes=60.0, **told):
    """The verdict on a task that needs all of them."""
    task = Task(name="t", minutes=minutes, needs=tuple(one.name for one in consumers))
    loads = AircraftLoads(tail="X", consumers=consumers, tasks=(task,))
    return budget(loads, "t", Supply(rated_current_a=rated_a, **told), battery).verdict


@pytest.mark.parametrize(("rated_a", "fits"), [(31.64, False), (31.65, True)])
def test_the_panel_meters_error_is_in_the_margin(rated_a, fits):
    """30 A and 1.645 times one ampere (common practice, no source)."""
    assert (verdict((consumer("a", 30.0),), rated_a) is Verdict.FITS) is fits


@pytest.mark.parametrize(("rated_a", "fits"), [(37.58, False), (37.59, True)])
def test_the_spread_of_a_current_that_nobody_measured_is_in_the_margin(rated_a, fits):
    """30 A with 15 % of spread and the meter's one: 1.645 sqrt(4.5^2 + 1) = 7.583 A."""
    told = (Consumer(name="a", continuous_a=30.0),)
    assert (verdict(told, rated_a) is Verdict.FITS) is fits


@pytest.mark.parametrize(("rated_a", "fits"), [(43.67, False), (43.68, True)])
def test_the_batterys_spread_is_in_the_margin(rated_a, fits):
    """30 A and 10 A with 2 A of spread: 1.645 sqrt(4 + 1) = 3.678 A."""
    battery = drawing(10.0, 2.0)
    assert battery.current_a.high == pytest.approx(10.0 + LEVEL_SD * 2.0)
    assert (verdict((consumer("a", 30.0),), rated_a, battery) is Verdict.FITS) is fits


@pytest.mark.parametrize(("less_a", "fits"), [(0.01, True), (-0.01, False)])
def test_a_guessed_circuit_is_trusted_less(less_a, fits):
    """51.43 A with a tenth of spread, and the meter's: 51.43 - 1.645 sqrt(5.143^2 + 1) = 42.81 A;
    over three hours four fifths, 41.14 - 1.645 sqrt(4.114^2 + 1) = 34.18 A."""
    circuit = {"input_voltage_v": 120.0, "circuit_breaker_a": 15.0}
    now, hours = ((consumer("a", amperes - less_a),) for amperes in (42.81, 34.18))
    assert (verdict(now, 60.0, **circuit) is Verdict.FITS) is fits
    assert (verdict(hours, 60.0, None, 180.0, **circuit) is Verdict.FITS) is fits


@pytest.mark.parametrize(("amperes", "fits"), [(31.55, True), (31.65, False)])
def test_a_part_time_load_counts_with_its_mean_and_the_spread_of_its_part_over_hours(amperes, fits):
    """10 A of breaker at 15 A for 60 A are 40 A, over hours 32 A. On for nine tenths,
    with a tenth left to the whole: 0.9 x 31.6 + 1.645 sqrt((0.1 x 31.6 / 1.645)^2 + 1) = 32.0 A."""
    circuit = {"input_current_full_load_a": 15.0, "circuit_breaker_a": 10.0}
    told = (consumer("a", amperes, duty=0.9),)
    assert (verdict(told, 60.0, None, 180.0, **circuit) is Verdict.FITS) is fits
    assert verdict(told, 60.0, None, 179.0, **circuit) is Verdict.FITS


@pytest.mark.parametrize(("amperes", "fits"), [(8.96, True), (8.98, False)])
def test_the_spread_of_a_cables_resistance_is_in_its_limit(amperes, fits):
    """50 m of 2.5 mm2 both ways are 0.6896 ohm, with the usual contacts 0.6916 ohm. From 29.5 V
    down to 22 V that is 10.844 A, less 1.645 sqrt((0.05 x 10.844)^2 + 1) = 1.871 A: 8.97 A."""
    cable = Cable(length_m=50.0, area_mm2=2.5)
    found = verdict((consumer("a", amperes),), 60.0, set_voltage_v=30.0, cable=cable)
    assert (found is Verdict.FITS) is fits


@pytest.mark.parametrize(("tau_s", "wait"), [(21_500.0, 359.0), (21_650.0, None)])
def test_no_longer_wait_than_six_hours_is_proposed(tau_s, wait):
    """30 A and the margin leave 10 e = 27.183 A for 10 A of battery after one time constant:
    21,500 s are 358.3 minutes."""
    task = Task(name="t", minutes=60.0, needs=("a",))
    loads = AircraftLoads(tail="X", consumers=(consumer("a", 30.0),), tasks=(task,))
    battery = drawing(27.18281828, time_constant_s=tau_s)
    found = budget(loads, "t", Supply(rated_current_a=40.0 + HELD_SD), battery)
    assert found.verdict is Verdict.TOO_MUCH
    assert (found.wait_minutes and found.wait_minutes.mean) == wait


def test_a_load_right_at_its_limit_fits_in_verdict_and_finding_alike():
    """60 A less 1.645 of margin, and a rounding of a hundred-billionth more."""
    told = (consumer("a", 60.0 - HELD_SD + 1e-11),)
    task = Task(name="t", minutes=60.0, needs=("a",))
    found = budget(AircraftLoads(tail="X", consumers=told), task, Supply(rated_current_a=60.0))
    line = next(one for one in found.findings if one.rule == "output_limit")
    assert (found.verdict, line.severity) == (Verdict.FITS, Severity.OK)
    assert "stays 0 A below" in line.text


@pytest.mark.parametrize(
    ("minutes", "fits"), [(180.0, True), (300.0, True), (360.0, False), (1440.0, False)]
)
def test_a_part_time_load_may_have_all_of_its_time_in_a_row(minutes, fits):
    """10 A of breaker at 15 A for 60 A are 32 A over hours. 30.8 A, on for half of six hours, may
    be on for three in a row: 30.8 A and 1.645 of margin. Half of five hours are 150 minutes,
    five sixths of three hours: 25.67 + 1.645 sqrt((30.8 / 6 / 1.645)^2 + 1) = 31.06 A."""
    circuit = {"input_current_full_load_a": 15.0, "circuit_breaker_a": 10.0}
    told = (consumer("a", 30.8, duty=0.5),)
    assert (verdict(told, 60.0, None, minutes, **circuit) is Verdict.FITS) is fits


def test_a_little_off_is_no_more_load_than_on_all_the_time():
    """Nine tenths with a fifth of spread would be more than the whole: the spread ends there."""
    circuit = {"input_current_full_load_a": 15.0, "circuit_breaker_a": 10.0}
    for duty in (1.0, 0.99, 0.9, 0.8):
        told = (consumer("a", 30.3, duty=duty),)
        assert verdict(told, 60.0, None, 180.0, **circuit) is Verdict.FITS
