"""Each rule on both sides of what decides it; the values stand in the test, worked by hand."""

import re
from dataclasses import replace
from datetime import date, timedelta

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from batterymodel import Battery, CapacityCheck, Chemistry, Readings, Supply
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.rules import findings
from batterymodel.rules.readings_rules import short_words
from batterymodel.soc.evidence import SOC_GRID, Evidence
from tests.conftest import simulated_connection
from tests.rules.cases import (
    case_of,
    quiet_case,
    with_evidence,
    with_fitted,
    with_limit_until,
    with_probability_below,
)


def severity(finding) -> str | None:
    return finding and finding.severity.value


@pytest.mark.parametrize(
    ("probability", "expected"),
    [(0.005, "ok"), (0.02, "watch"), (0.5, "watch"), (0.93, "watch"), (0.96, "service")],
)
def test_state_of_charge_is_judged_by_its_probability(battery, probability, expected):
    """Under one in a hundred below the limit tops off, over nineteen in twenty serves."""
    case = with_probability_below(quiet_case(battery), 0.75, probability, low=0.74)
    assert severity(findings.deep_discharge(case)) == expected


def test_no_battery_is_sent_away_on_a_range_that_reaches_over_the_limit(battery):
    case = with_probability_below(quiet_case(battery), 0.75, 0.96, low=0.5)
    for high, expected in ((0.75, "service"), (0.76, "watch")):
        soc = case.state.soc_at_connection.model_copy(update={"high": high})
        reaching = replace(case, state=replace(case.state, soc_at_connection=soc))
        assert severity(findings.deep_discharge(reaching)) == expected


def test_charge_current_is_what_the_battery_takes_with_its_floor(battery):
    """25 A of taper on 3 A of float current are 28 A: above a card of 27, below one of 29."""
    for most, expected in ((27.0, "service"), (29.0, "ok")):
        case = with_fitted(
            quiet_case(battery, max_charge_current_a=most),
            hold_amplitude_a=25.0,
            float_current_a=3.0,
        )
        finding = findings.charge_current(case)
        assert finding.value == pytest.approx(28.0)
        assert severity(finding) == expected


@pytest.mark.parametrize(
    ("last_a", "told", "expected"),
    [
        (59.0, {}, "note"),
        (60.5, {}, "watch"),
        (59.8, {}, "watch"),
        (59.0, {"load_a": None}, "watch"),
    ],
)
def test_more_than_a_generic_current_is_watched_until_it_fell(battery, last_a, told, expected):
    """One and a half times 40 Ah are 60 A; the load's 0.2 A leave 0.33 A of doubt.

    Without a load nobody knows what the battery takes.
    """
    bare = battery.model_copy(update={"history": None})
    readings = simulated_connection(0.1)
    fallen = 8.0 + last_a + 10.0 * np.exp(-readings.elapsed_s / 30.0)
    readings = readings.model_copy(update={"supply_current_a": fallen})
    case = case_of(readings, bare, Supply(rated_current_a=200.0), **told)
    case = with_fitted(case, hold_amplitude_a=70.0, float_current_a=0.0)
    assert severity(findings.charge_current(case)) == expected


@pytest.mark.parametrize(("correlation", "expected"), [(-1.0, "service"), (1.0, "watch")])
def test_errors_of_charge_current_that_cancel_are_not_counted_twice(battery, correlation, expected):
    """28 A over 27: 1 A and 1 A that move against each other are 0 A, with each other 2 A."""
    case = quiet_case(battery, max_charge_current_a=27.0)
    covariance = np.zeros_like(case.fit.covariance)
    covariance[np.ix_([0, 3], [0, 3])] = [[1.0, correlation], [correlation, 1.0]]
    assert case.fit.names[0] == "hold_amplitude_a"
    assert case.fit.names[3] == "float_current_a"
    case = with_fitted(case, covariance, hold_amplitude_a=25.0, float_current_a=3.0)
    assert severity(findings.charge_current(case)) == expected


@pytest.mark.parametrize(
    ("room_a", "minutes", "expected"),
    [(18.0, 4.0, "watch"), (22.0, 4.0, "service"), (22.0, 3.2, "service"), (22.0, 2.8, "note")],
)
def test_a_supply_at_its_limit(battery, room_a, minutes, expected):
    """Half of 40 Ah is 20 A of room: with less the load is at fault, with more the battery.

    Three minutes at the limit still count as topping off.
    """
    case = with_fitted(quiet_case(battery), hold_amplitude_a=room_a)
    finding = findings.supply_at_limit(with_limit_until(case, 60.0 * minutes))
    assert severity(finding) == expected
    assert ("bus load" in finding.text) == (room_a < 20.0)


@pytest.mark.parametrize(
    ("volts", "expected"),
    [(28.83, "ok"), (28.9, "note"), (29.05, "note"), (29.15, "service"), (26.9, "watch")],
)
def test_set_voltage_against_a_window_worked_by_hand(battery, volts, expected):
    """Twelve cells from 2.25 to 2.40 V at 25 degC are 27.0 to 28.8 V.

    0.03 V outside is nothing, 0.1 and 0.25 V too high are a note, 0.35 V is for service; a battery
    held too low takes less than it says, so that is watched.
    """
    supply = Supply(rated_current_a=60.0, set_voltage_v=volts)
    finding = findings.set_voltage(case_of(simulated_connection(0.1), battery, supply))
    assert severity(finding) == expected
    assert finding.limit == pytest.approx(27.0 if volts < 27.0 else 28.8)


def test_a_voltage_too_low_by_any_amount_is_never_for_service(battery):
    supply = Supply(rated_current_a=60.0, set_voltage_v=24.0)
    case = case_of(simulated_connection(0.1), battery, supply)
    assert severity(findings.set_voltage(case)) == "watch"


REST_REACH_V = 1.645 * np.hypot(12 * 0.015, 0.05)
"""Twelve cells spread by 15 mV each, a quarter of the way from 12 mV when full to 24 mV when empty
(75 % is the limit), and a meter of 50 mV: 95 % are within 0.307 V on one side."""


@pytest.mark.parametrize("temp_c", [25.0, -20.0])
@pytest.mark.parametrize(
    ("away_v", "expected"),
    [
        (-REST_REACH_V - 0.01, "service"),
        (-REST_REACH_V + 0.01, "watch"),
        (REST_REACH_V - 0.01, "watch"),
        (REST_REACH_V + 0.01, "ok"),
    ],
)
def test_rest_voltage_of_twelve_cells(battery, away_v, expected, temp_c):
    """Twelve cells of 2.04 V are 24.48 V at 25 degC, and move as the rest voltage's curve does."""
    half_full = [float(rest_voltage_v(battery, 0.5, t)) for t in (25.0, temp_c)]
    volts = 24.48 + half_full[1] - half_full[0] + away_v
    case = case_of(simulated_connection(0.1), battery, rest_voltage_v=volts, ambient_c=temp_c)
    assert severity(findings.rest_voltage(case)) == expected


@pytest.mark.parametrize(
    ("capacity_ah", "expected"), [(31.8, "service"), (32.2, "note"), (33.2, "note"), (33.4, "ok")]
)
def test_last_capacity_check_around_its_limit(battery, capacity_ah, expected):
    """80 % of 40 Ah are 32 Ah; 1.645 times 0.8 Ah above it are 33.32 Ah."""
    check = CapacityCheck(on=date(2026, 1, 5), capacity_ah=capacity_ah, capacity_sd_ah=0.8)
    checked = battery.model_copy(update={"capacity_check": check})
    case = case_of(simulated_connection(0.05), checked)
    assert severity(findings.capacity(case)) == expected


def test_a_capacity_just_below_its_limit_is_not_rounded_up_to_it(battery):
    rated = battery.rated_capacity_ah
    check = battery.capacity_check.model_copy(update={"capacity_ah": 0.796 * rated})
    checked = battery.model_copy(update={"capacity_check": check})
    case = case_of(simulated_connection(0.05), checked)
    least = 100 * case.limit("min_capacity_fraction").value
    said = findings.capacity(case).text
    assert f"gave 79.6 % of rated, below the {least:.0f} % asked" in said


@pytest.mark.parametrize(("days", "expected"), [(365, "ok"), (366, "note")])
def test_a_capacity_check_is_due_after_a_year(battery, days, expected):
    day = battery.capacity_check.on + timedelta(days=days)
    case = case_of(simulated_connection(0.05), battery, on=day)
    assert severity(findings.capacity_check_overdue(case)) == expected
    earlier = replace(case, on=battery.capacity_check.on - timedelta(days=days))
    assert findings.capacity_check_overdue(earlier).value == 0.0


@pytest.mark.parametrize(("temp_c", "expected"), [(44.9, "ok"), (45.1, "disconnect")])
def test_hottest_battery_that_may_be_charged(battery, temp_c, expected):
    case = case_of(simulated_connection(0.1), battery, ambient_c=temp_c)
    assert severity(findings.battery_temperature(case)) == expected


@pytest.mark.parametrize(("temp_c", "expected"), [(0.1, "ok"), (-0.1, "service")])
def test_coldest_lead_acid_battery_that_may_be_charged(battery, temp_c, expected):
    case = case_of(simulated_connection(0.1), battery, ambient_c=temp_c)
    assert severity(findings.battery_temperature(case)) == expected


def test_a_temperature_that_was_told_is_not_called_the_battery_s(battery):
    told = case_of(simulated_connection(0.1), battery, ambient_c=-5.0)
    text = findings.battery_temperature(told).text
    assert text.startswith("Battery or air around it, as told, at -5 °C, below the")
    readings = simulated_connection(0.1)
    read = readings.model_copy(update={"battery_temp_c": np.full(len(readings.elapsed_s), -5.0)})
    measured = findings.battery_temperature(case_of(read, battery, ambient_c=20.0))
    assert measured.text.startswith("Battery at -5 °C")


@pytest.mark.parametrize(("per_min", "fast"), [(0.45, False), (0.55, True)])
def test_warming_around_half_a_degree_a_minute(battery, per_min, fast):
    readings = simulated_connection(0.1)
    temps = 25.0 + per_min * readings.elapsed_s / 60.0
    case = case_of(readings.model_copy(update={"battery_temp_c": temps}), battery)
    assert (findings.temperature_rise(case) is not None) == fast


@pytest.mark.parametrize(
    ("means", "sd", "disagree"),
    [
        ((0.50, 0.72), 0.06, True),
        ((0.50, 0.63), 0.06, False),
        ((0.50, 0.61), 0.01, False),
        ((0.50, 0.63), 0.01, True),
    ],
)
def test_two_pieces_of_evidence_disagree(battery, means, sd, disagree):
    """Two normal pieces d apart support each other by exp(-(d / 2 sd)**2) / sqrt(2).

    0.22 apart with 0.06 that is 0.025, under a tenth; 0.13 apart 0.22. With 0.01 it is nothing,
    and being 0.12 apart decides.
    """
    support = np.exp(-((np.diff(means)[0] / (2.0 * sd)) ** 2)) / np.sqrt(2.0)
    case = with_evidence(quiet_case(battery), sd, *means)
    first, second = case.state.evidence
    assert first.support_from(second) == pytest.approx(support, abs=1e-3)
    assert (findings.contradiction(case) is not None) == disagree


@pytest.mark.parametrize(("minutes", "short"), [(1.8, True), (2.2, False)])
def test_two_minutes_of_taper_are_needed(battery, minutes, short):
    case = case_of(simulated_connection(0.05, minutes=minutes), battery)
    assert (findings.short_window(case) is not None) == short


@given(st.integers(0, 400), st.floats(0.0, 1e5))
@example(4, 300.0)
@example(5, 119.97)
@example(0, 0.0)
def test_what_is_called_short_is_less_than_what_is_asked(count, span_s):
    """Only the kind that is short is named; 300 s are never too few where 120 are asked."""
    text = short_words(count, span_s)
    assert (text is None) == (count >= 5 and span_s >= 120.0)
    if text is None:
        return
    seen, asked = text.split(". To tell a taper takes at least ")
    assert "constant voltage" in seen
    counts = [re.findall(r"(?:far: |^)(\d+)", seen), re.findall(r"(\d+) of them", asked)]
    times_s = [re.findall(r"(\d+) s\b", part) for part in (seen, asked)]
    for had, wanted, short in ((*counts, count < 5), (*times_s, span_s < 120.0)):
        assert len(had) == len(wanted) == short
        assert all(int(h) < int(w) for h, w in zip(had, wanted, strict=True))
    assert counts[1] in ([], ["5"])
    assert times_s[1] in ([], ["120"])


@pytest.mark.parametrize(("away_a", "wrong"), [(0.55, False), (0.65, True), (-0.65, True)])
def test_a_load_three_standard_errors_off_is_said(battery, away_a, wrong):
    """Told 8 A to 0.2 A: 0.6 A is where it cannot be right."""
    case = with_fitted(quiet_case(battery), load_a=8.0 + away_a)
    assert (findings.contradiction(case) is not None) == wrong


@pytest.mark.parametrize(("float_current_a", "expected"), [(0.4, "ok"), (1.6, "service")])
def test_float_current_of_a_battery_of_40_ah(battery, float_current_a, expected):
    """0.02 A per Ah are 0.8 A; a load told to 0.2 A adds 0.33 A of doubt."""
    readings = simulated_connection(
        0.1, minutes=90.0, every_s=20.0, float_current_a=float_current_a
    )
    assert severity(findings.floor_current(case_of(readings, battery))) == expected


@pytest.mark.parametrize(("fall_a", "expected"), [(0.0, "service"), (3.0, "ok")])
def test_a_taper_is_missing_under_half_of_the_slowest(battery, fall_a, expected):
    """12 A through five minutes, slowest time constant about 0.45 h x exp(1.645 x 0.36) = 0.81 h.

    Such a taper falls by 12 x (1 - exp(-0.103)) = 1.2 A; half of it is 0.6 A.
    """
    bare = battery.model_copy(update={"history": None})
    readings = simulated_connection(0.1)
    line = 20.0 - fall_a * readings.elapsed_s / readings.elapsed_s[-1]
    flat = readings.model_copy(update={"supply_current_a": np.round(line, 2)})
    finding = findings.taper_missing(case_of(flat, bare))
    assert finding.limit == pytest.approx(0.6, abs=0.1)
    assert severity(finding) == expected


@pytest.mark.parametrize(("scatter_a", "said"), [(0.3, False), (1.2, True)])
def test_scatter_that_small_loads_make_is_not_said(battery, scatter_a, said):
    """Half an ampere is what small loads make."""
    readings = simulated_connection(0.02)
    wave = scatter_a * np.sqrt(2.0) * np.sin(readings.elapsed_s / 6.0)
    wavy = readings.model_copy(update={"supply_current_a": readings.supply_current_a + wave})
    assert (findings.taper_shape(case_of(wavy, battery)) is not None) == said


@pytest.mark.parametrize(("steady_a", "said"), [(28.0, True), (27.0, False)])
def test_eighty_percent_of_the_wall_circuit(battery, steady_a, said):
    """60 A of output at 17.5 A of input on a 10 A breaker: 34.29 A, of which 80 % are 27.43 A."""
    supply = Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=10.0)
    readings = simulated_connection(0.1, load_a=25.0)
    level = np.full(readings.elapsed_s.size, steady_a)
    steady = readings.model_copy(update={"supply_current_a": level})
    case = case_of(steady, battery, supply, load_a=25.0)
    assert (findings.wall_circuit(case) is not None) == said


def test_a_rest_voltage_says_the_chance_of_being_below(battery):
    """0.1 V above the least, with 0.187 V of spread: normal beyond 0.535 deviations, 30 %."""
    case = case_of(simulated_connection(0.1), battery, rest_voltage_v=24.58)
    assert "30 %" in findings.rest_voltage(case).text


LITHIUM = Battery(tail="D", chemistry=Chemistry.LFP, cells=8, rated_capacity_ah=30.0)


def lithium_case(fall_a, sigma_a, resolution_a, below):
    """A current that falls by so much from its first three readings to its last, so precisely
    read; its likelihood leaves so much for a charge below the limit."""
    time_s = np.arange(0.0, 601.0, 10.0)
    middle = np.clip((time_s - 20.0) / 560.0, 0.0, 1.0)
    readings = Readings(elapsed_s=time_s, supply_current_a=13.0 - fall_a * middle)
    case = case_of(readings, LITHIUM)
    signal = replace(
        case.fit.signal,
        sigma_a=sigma_a,
        resolution_a=resolution_a,
        usable=np.ones(time_s.size, dtype=bool),
    )
    case = replace(case, fit=replace(case.fit, signal=signal))
    limit = case.limit("min_top_off_soc").value
    full = np.where(limit > SOC_GRID, below / limit, (1.0 - below) / (1.0 - limit))
    by_current = Evidence("taper", full / full.max())
    return replace(case, state=replace(case.state, evidence=(by_current,)))


@pytest.mark.parametrize(
    ("fall_a", "sigma_a", "resolution_a", "falls"),
    [
        (0.65, 0.3, 0.01, False),
        (0.85, 0.3, 0.01, True),
        (0.18, 0.001, 0.1, False),
        (0.22, 0.001, 0.1, True),
    ],
)
def test_a_fall_of_three_errors_and_two_steps_is_seen(fall_a, sigma_a, resolution_a, falls):
    """Means of three readings differ by 0.3 x sqrt(2 / 3) = 0.245 A, three of that are 0.735 A."""
    finding = findings.current_seen(lithium_case(fall_a, sigma_a, resolution_a, 0.01))
    assert ("does not fall" not in finding.text) == falls


@pytest.mark.parametrize(("fall_a", "expected"), [(2.9, "watch"), (3.1, "ok")])
def test_a_flat_current_must_fall_to_two_fifths(fall_a, expected):
    """From 5 A to 2 A: a joint that warms may let it fall to half."""
    assert severity(findings.current_seen(lithium_case(fall_a, 0.01, 0.01, 0.01))) == expected


@pytest.mark.parametrize(("below", "expected"), [(0.04, "ok"), (0.06, "watch")])
def test_a_current_may_leave_a_twentieth_for_too_low_a_charge(below, expected):
    assert severity(findings.current_seen(lithium_case(5.0, 0.01, 0.01, below))) == expected
