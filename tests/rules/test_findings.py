"""Each rule fires on its story, stays quiet on a healthy one, and respects uncertainty."""

from datetime import date, timedelta

import numpy as np
import pytest

from batterymodel import Battery, CapacityCheck, Limits, Outcome, Readings, Severity, Supply, assess
from batterymodel.rules.findings import RULES, outcome_of
from batterymodel.rules.results import Finding
from batterymodel.rules.wording import RULE_WORDS
from tests.conftest import simulated_connection

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)


def judged(readings, battery, supply=SUPPLY, **given_values):
    values = {"load_a": 8.0, "load_sd_a": 0.2, "ambient_c": 20.0, "on": ON, **given_values}
    return assess(readings, battery, supply, **values)


def found(result, rule):
    return next((f for f in result.findings if f.rule == rule), None)


def with_limits(battery, **limits):
    return battery.model_copy(update={"limits": Limits(document="card", **limits)})


def temperatures(readings, start, per_min=0.0):
    temps = start + per_min * readings.elapsed_s / 60.0
    return readings.model_copy(update={"battery_temp_c": temps})


def test_a_healthy_battery_has_nothing_against_it(battery):
    result = judged(simulated_connection(0.08), battery)
    assert result.outcome is Outcome.TOP_OFF
    assert {f.severity for f in result.findings} <= {Severity.OK, Severity.NOTE}


@pytest.mark.parametrize(
    ("depth", "severity"), [(0.1, "ok"), (0.25, "watch"), (0.45, "service"), (0.8, "service")]
)
def test_deep_discharge_respects_the_interval(battery, depth, severity):
    finding = found(judged(simulated_connection(depth), battery), "deep_discharge")
    assert finding.severity == severity
    assert finding.limit == 0.75
    assert finding.generic


def test_topping_off_asks_for_more_than_the_interval_shows(battery):
    """With 1 to 5 % of probability below the limit, an interval all above it is not enough."""
    readings = simulated_connection(0.15)
    soc = judged(readings, battery).state_of_charge.at_connection
    near = with_limits(battery, min_top_off_soc=soc.low - 0.001)
    result = judged(readings, near)
    assert result.state_of_charge.at_connection.low > near.limits.min_top_off_soc
    assert "chance that it was below" in found(result, "deep_discharge").text
    assert result.outcome is Outcome.KEEP_WATCHING


def test_card_moves_the_limit(battery):
    strict = with_limits(battery, min_top_off_soc=0.95)
    result = judged(simulated_connection(0.1), strict)
    finding = found(result, "deep_discharge")
    assert (finding.severity, finding.generic, finding.source) == ("service", False, "card")


def test_straddling_gives_the_time_of_the_next_reading(battery):
    result = judged(simulated_connection(0.25), battery)
    assert result.outcome is Outcome.KEEP_WATCHING
    assert 1.0 <= result.next_reading_minutes <= 30.0


@pytest.mark.parametrize(("days", "since"), [(365, None), (366, "2026-03-01"), (900, "2024-09-13")])
def test_an_overdue_check_says_since_when(battery, days, since):
    """By the generic year, from the day after it has run out on; 2026-03-02 is the day."""
    check = CapacityCheck(on=ON - timedelta(days=days), capacity_ah=40.0, capacity_sd_ah=0.8)
    checked = battery.model_copy(update={"capacity_check": check})
    finding = found(judged(simulated_connection(0.1), checked), "capacity_check_overdue")
    assert finding.severity == ("ok" if since is None else "note")
    assert (f"due since {since}" in finding.text) == (since is not None)
    assert "1 days" not in finding.text


@pytest.mark.parametrize(("volts", "severity"), [(25.5, "ok"), (24.0, "service")])
def test_rest_voltage_per_cell(battery, volts, severity):
    result = judged(simulated_connection(0.1), battery, rest_voltage_v=volts)
    assert found(result, "rest_voltage").severity == severity


@pytest.mark.parametrize(("most", "severity"), [(40.0, "ok"), (13.0, "watch"), (5.0, "service")])
def test_charge_current_against_the_card(battery, most, severity):
    strict = with_limits(battery, max_charge_current_a=most)
    result = judged(simulated_connection(0.1), strict, load_sd_a=1.0)
    assert found(result, "charge_current").severity == severity


@pytest.mark.parametrize(
    ("depth", "minutes", "severity"),
    [(0.1, 5.0, None), (0.38, 6.0, "note"), (0.9, 2.0, "watch"), (0.9, 5.0, "service")],
)
def test_time_at_the_supplys_limit(battery, depth, minutes, severity):
    finding = found(
        judged(simulated_connection(depth, minutes=minutes), battery), "supply_at_limit"
    )
    assert (finding and finding.severity) == severity


def test_a_bus_that_takes_all_is_not_blamed_on_the_battery(battery):
    readings = simulated_connection(0.3, load_a=58.5)
    finding = found(judged(readings, battery, load_a=58.5), "supply_at_limit")
    assert finding.severity == "watch"
    assert "bus load" in finding.text


def test_a_full_battery_behind_a_heavy_bus_load_is_not_sent_for_servicing(battery):
    """14 A left for 40 Ah: a battery that was 85 % full holds the supply at its limit too."""
    result = judged(simulated_connection(0.15, load_a=46.0, minutes=6.0), battery, load_a=46.0)
    finding = found(result, "supply_at_limit")
    assert finding.severity == "watch"
    assert result.outcome is Outcome.KEEP_WATCHING


def test_flat_current_is_a_missing_taper(battery):
    time = np.arange(0.0, 400.0, 5.0)
    noise = np.random.default_rng(4).normal(0, 0.03, time.size)
    flat = Readings(elapsed_s=time, supply_current_a=np.round(20.0 + noise, 1))
    result = judged(flat, battery)
    assert found(result, "taper_missing").severity == "service"
    assert result.outcome is Outcome.SERVICE


@pytest.mark.long
@pytest.mark.parametrize("level", [5.0, 17.0, 40.0])
def test_flat_current_beside_an_unknown_load_is_never_topped_off(battery, level):
    noise = np.random.default_rng(6).normal(0, 0.03, 61)
    flat = Readings(elapsed_s=5.0 * np.arange(61), supply_current_a=np.round(level + noise, 1))
    for supply in (None, SUPPLY, Supply(rated_current_a=level)):
        assert judged(flat, battery, supply, load_a=None).outcome is not Outcome.TOP_OFF


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("charge_time", [0.2, 0.31, 0.6])
def test_a_real_taper_is_not_missed(battery, charge_time, seed):
    bare = battery.model_copy(update={"history": None})
    readings = simulated_connection(0.15, charge_time, seed=seed)
    assert found(judged(readings, bare), "taper_missing").severity == "ok"


@pytest.mark.long
@pytest.mark.parametrize("chemistry", ["nicd", "vrla"])
@pytest.mark.parametrize("per_min", [1.2, 2.0])
def test_rising_current_means_disconnect(chemistry, per_min):
    cells = {"nicd": 20, "vrla": 12}[chemistry]
    battery = Battery(tail="D", chemistry=chemistry, cells=cells, rated_capacity_ah=40.0)
    readings = simulated_connection(0.08, minutes=12.0, rise_a_per_min=per_min, rise_from_s=240.0)
    result = judged(readings, battery)
    assert found(result, "current_rising").severity == "disconnect"
    assert result.outcome is Outcome.DISCONNECT


@pytest.mark.parametrize("by_clamp", [False, True])
def test_a_rise_that_loads_can_make_is_watched_unless_a_clamp_shows_it(battery, by_clamp):
    """2.8 A in eight minutes: a fan may take as much, but not through the battery's own lead."""
    readings = simulated_connection(0.08, minutes=12.0, rise_a_per_min=0.8, rise_from_s=240.0)
    if by_clamp:
        own = readings.supply_current_a - 8.0
        readings = readings.model_copy(update={"battery_current_a": own})
    finding = found(judged(readings, battery), "current_rising")
    assert finding.severity == ("disconnect" if by_clamp else "watch")
    assert ("clamp the battery lead or feel for warmth" in finding.text) != by_clamp


THREE_EACH = [range(first, 60, 3) for first in range(3)]


@pytest.mark.long
@pytest.mark.parametrize(
    "seeds", [THREE_EACH[0], *(pytest.param(s, marks=pytest.mark.slow) for s in THREE_EACH[1:])]
)
@pytest.mark.parametrize("resolution", [0.1, 1.0])
def test_current_rising_false_alarms(battery, resolution, seeds):
    """None in 120 connections without a rise, some with a marked load switched on."""
    alarms = 0
    for seed in seeds:
        depth = 0.005 + 0.005 * seed
        for steps in ((), ((200.0, 9.0),)):
            readings = simulated_connection(
                depth, seed=seed, resolution_a=resolution, steps=steps, minutes=7.0
            )
            alarms += found(judged(readings, battery), "current_rising") is not None
    assert alarms == 0


@pytest.mark.parametrize(
    ("temp", "severity"), [(20.0, "ok"), (50.0, "disconnect"), (-5.0, "service")]
)
def test_battery_temperature(battery, temp, severity):
    result = judged(temperatures(simulated_connection(0.1), temp), battery)
    assert found(result, "battery_temperature").severity == severity


def test_unknown_temperature_is_a_note(battery):
    result = judged(simulated_connection(0.1), battery, ambient_c=None)
    assert found(result, "battery_temperature").severity == "note"


def test_fast_warming(battery):
    readings = temperatures(simulated_connection(0.1), 25.0, per_min=1.0)
    assert found(judged(readings, battery), "temperature_rise").severity == "service"
    nicd = Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0)
    assert found(judged(readings, nicd), "temperature_rise").severity == "disconnect"
    slow = temperatures(simulated_connection(0.1), 25.0, per_min=0.1)
    assert found(judged(slow, battery), "temperature_rise") is None


@pytest.mark.parametrize(
    ("temp", "volts", "severity", "word"),
    [
        (25.0, 28.0, "ok", "suits"),
        (40.0, 28.6, "service", "too high"),
        (2.0, 27.0, "watch", "too low"),
    ],
)
def test_set_voltage_after_temperature_compensation(battery, temp, volts, severity, word):
    supply = Supply(rated_current_a=60.0, set_voltage_v=volts)
    result = judged(temperatures(simulated_connection(0.1), temp), battery, supply)
    finding = found(result, "set_voltage")
    assert finding.severity == severity
    assert word in finding.text


@pytest.mark.parametrize(("float_current_a", "severity"), [(0.1, "ok"), (3.0, "service")])
def test_current_left_after_the_taper(battery, float_current_a, severity):
    readings = simulated_connection(
        0.1, minutes=90.0, every_s=20.0, float_current_a=float_current_a
    )
    assert found(judged(readings, battery), "floor_current").severity == severity


@pytest.mark.parametrize(
    ("capacity", "severity"), [(39.0, "ok"), (32.5, "note"), (28.0, "service")]
)
def test_last_capacity_check(battery, capacity, severity):
    check = battery.capacity_check.model_copy(update={"capacity_ah": capacity})
    checked = battery.model_copy(update={"capacity_check": check})
    result = judged(simulated_connection(0.05), checked)
    assert found(result, "capacity").severity == severity


@pytest.mark.parametrize(("day", "severity"), [(ON, "ok"), (date(2028, 1, 1), "note")])
def test_age_of_the_capacity_check(battery, day, severity):
    result = judged(simulated_connection(0.05), battery, on=day)
    assert found(result, "capacity_check_overdue").severity == severity


def test_no_capacity_check_is_said(battery):
    bare = battery.model_copy(update={"capacity_check": None})
    result = judged(simulated_connection(0.05), bare)
    assert "No capacity check" in found(result, "capacity_check_overdue").text
    assert result.capacity_ah is None


def test_full_by_voltage_and_empty_by_current_disagree(battery):
    result = judged(simulated_connection(0.35), battery, rest_voltage_v=26.0)
    finding = found(result, "contradiction")
    assert finding.severity == "watch"
    assert result.outcome is not Outcome.TOP_OFF


def test_load_that_cannot_be_right_is_said(battery):
    result = judged(simulated_connection(0.05, minutes=40.0, every_s=20.0), battery, load_a=4.0)
    assert found(result, "contradiction").severity == "watch"


def test_unmarked_step_asks_to_repeat(battery):
    readings = simulated_connection(0.1, steps=((150.0, 9.0),), marked=False)
    result = judged(readings, battery)
    assert found(result, "undeclared_load_step").value == pytest.approx(9.0, abs=0.5)
    assert result.outcome is Outcome.KEEP_WATCHING
    marked = judged(simulated_connection(0.1, steps=((150.0, 9.0),)), battery)
    assert marked.outcome is Outcome.TOP_OFF


def test_unknown_load_is_a_note(battery):
    assert found(judged(simulated_connection(0.1), battery, load_a=None), "load_unknown")


def test_a_short_window_never_tops_off(battery):
    result = judged(simulated_connection(0.02, minutes=1.5), battery)
    assert found(result, "short_window").severity == "watch"
    assert result.outcome is Outcome.KEEP_WATCHING


def test_scatter_beyond_the_meter_is_said(battery):
    readings = simulated_connection(0.1)
    wave = 2.5 * np.sin(readings.elapsed_s / 6.0)
    wavy = readings.model_copy(update={"supply_current_a": readings.supply_current_a + wave})
    assert found(judged(wavy, battery), "taper_shape").severity == "watch"


def test_wall_circuit_over_hours(battery):
    supply = Supply(rated_current_a=60.0, input_current_full_load_a=17.5, circuit_breaker_a=10.0)
    result = judged(simulated_connection(0.1, load_a=25.0), battery, supply, load_a=25.0)
    assert found(result, "wall_circuit").severity == "note"
    assert result.supply.limited_by == "wall circuit"


def test_every_rule_has_words_and_every_word_a_rule():
    assert {rule.__name__ for rule in RULES} == set(RULE_WORDS)


def test_outcome_is_that_of_the_gravest_finding():
    def one(severity):
        return Finding(rule="capacity", severity=severity, text="")

    graver = [Severity.OK, Severity.NOTE, Severity.WATCH, Severity.SERVICE, Severity.DISCONNECT]
    outcomes = [outcome_of((one(Severity.OK), one(s))).value for s in graver]
    assert outcomes == ["top_off", "top_off", "keep_watching", "service", "disconnect"]


def clamped(load_a: float, factor: float = 1.0, drift_a: float = 0.0) -> Readings:
    """A connection read by a clamp as well: the supply shows the bus load on top."""
    readings = simulated_connection(0.1, load_a=0.0)
    drift = drift_a * readings.elapsed_s / readings.elapsed_s[-1]
    return readings.model_copy(
        update={
            "battery_current_a": factor * readings.supply_current_a,
            "supply_current_a": readings.supply_current_a + load_a + drift,
        }
    )


def test_a_clamp_that_agrees_is_not_spoken_of(battery):
    assert found(judged(clamped(8.0), battery), "clamp") is None
    assert found(judged(clamped(8.0), battery, load_a=None), "clamp") is None


@pytest.mark.long
def test_a_clamp_turned_round_is_watched_and_never_a_runaway(battery):
    result = judged(clamped(8.0, factor=-1.0), battery)
    assert "out of the battery" in found(result, "current_out").text
    assert found(result, "clamp") is None
    assert found(result, "current_rising") is None
    assert result.outcome is Outcome.KEEP_WATCHING


def test_a_clamp_on_one_of_three_leads_does_not_match_the_load(battery):
    result = judged(clamped(8.0, factor=1.0 / 3.0), battery)
    assert found(result, "clamp").severity == Severity.WATCH
    drifting = judged(clamped(8.0, drift_a=3.0), battery, load_a=None)
    assert "drift apart" in found(drifting, "clamp").text


@pytest.mark.parametrize(("away_a", "spoken"), [(0.5, False), (1.0, True)])
def test_clamp_and_load_may_differ_by_three_errors(battery, away_a, spoken):
    """Errors of 0.2 A (load) and 0.1 A (clamp): three together are 0.67 A."""
    result = judged(clamped(8.0 + away_a), battery)
    assert (found(result, "clamp") is not None) == spoken


def test_nickel_cadmium_is_topped_off_only_with_its_own_temperature():
    nicd = Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0)
    ambient = found(judged(simulated_connection(0.05), nicd), "battery_temperature")
    assert ambient.severity == Severity.WATCH
    unknown = judged(simulated_connection(0.05), nicd, ambient_c=None)
    assert found(unknown, "battery_temperature").severity == Severity.WATCH
    read = judged(temperatures(simulated_connection(0.05), 25.0), nicd)
    assert found(read, "battery_temperature").severity == Severity.OK
    hot = judged(simulated_connection(0.05), nicd, ambient_c=60.0)
    assert found(hot, "battery_temperature").severity == Severity.DISCONNECT


def test_what_nobody_checked_is_listed(battery):
    bare = judged(simulated_connection(0.08), battery.model_copy(update={"capacity_check": None}))
    assert bare.not_checked == ("temperature", "capacity", "rest_voltage", "voltage")
    readings = temperatures(simulated_connection(0.08), 25.0)
    readings = readings.model_copy(update={"supply_voltage_v": np.full(len(readings), 28.0)})
    check = CapacityCheck(on=date(2026, 1, 5), capacity_ah=39.0)
    checked = battery.model_copy(update={"capacity_check": check})
    assert judged(readings, checked, rest_voltage_v=25.7).not_checked == ()
    old = judged(readings, checked, rest_voltage_v=25.7, on=date(2027, 1, 6))
    assert old.not_checked == ("capacity",)
    day_due = judged(readings, checked, rest_voltage_v=25.7, on=date(2027, 1, 5))
    assert day_due.not_checked == ()
    assert judged(readings, checked, load_a=None).not_checked == ("rest_voltage", "load")


def test_a_clamp_a_little_below_zero_is_its_zero_error(battery):
    """The clamp's zero error is 0.1 A: at 90 % a reading of 0.16 A below zero is still none."""
    readings = simulated_connection(0.1, load_a=0.0)
    for level_a, spoken in ((-0.1, False), (-0.3, True)):
        flat = np.full(len(readings), level_a)
        given = readings.model_copy(
            update={"battery_current_a": flat, "supply_current_a": 8.0 + flat}
        )
        assert (found(judged(given, battery), "current_out") is not None) == spoken


@pytest.mark.parametrize(("drift_a", "spoken"), [(0.3, False), (1.0, True)])
def test_clamp_and_supply_may_drift_by_half_an_ampere(battery, drift_a, spoken):
    result = judged(clamped(8.0, drift_a=drift_a), battery, load_a=None)
    assert (found(result, "clamp") is not None) == spoken


def test_a_load_column_counts_as_a_load_that_was_given(battery):
    readings = simulated_connection(0.08)
    readings = readings.model_copy(update={"load_a": np.full(len(readings), 8.0)})
    assert "load" not in judged(readings, battery, load_a=None).not_checked


@pytest.mark.long
def test_a_current_that_rises_with_the_voltage_is_watched(battery):
    rising = simulated_connection(0.1, minutes=10.0, rise_a_per_min=1.6, rise_from_s=240.0)
    assert judged(rising, battery).outcome is Outcome.DISCONNECT
    for gain_v, outcome in ((0.0, Outcome.DISCONNECT), (1.5, Outcome.KEEP_WATCHING)):
        volts = 27.0 + gain_v * rising.elapsed_s / rising.elapsed_s[-1]
        given = rising.model_copy(update={"supply_voltage_v": volts})
        finding = found(judged(given, battery), "current_rising")
        assert finding.severity == (
            Severity.DISCONNECT if outcome is Outcome.DISCONNECT else Severity.WATCH
        )


def test_few_readings_over_a_long_time_are_called_few(battery):
    readings = simulated_connection(0.1, minutes=3.0, every_s=60.0)
    text = found(judged(readings, battery), "short_window").text
    assert "Readings at constant voltage so far: 4." in text
    assert "at least 5 of them" in text
    assert " s" not in text.replace(" so", "")


LFP = Battery(
    tail="DEMO-1",
    chemistry="lfp",
    cells=8,
    rated_capacity_ah=30.0,
    last_known={"on": "2026-03-01", "state_of_charge": 0.97, "sd": 0.02},
)


def lithium(course_a, **told):
    """Ten minutes of a course of battery current beside a bus load of 8 A."""
    time_s = np.arange(0.0, 601.0, 10.0)
    readings = Readings(elapsed_s=time_s, supply_current_a=8.0 + np.round(course_a(time_s), 1))
    return assess(readings, LFP, SUPPLY, ambient_c=20.0, on=ON, **told)


@pytest.mark.parametrize("load_a", [8.0, None], ids=("load known", "load unknown"))
@pytest.mark.parametrize(
    "course_a",
    [lambda t: 0.0 * t, lambda t: 0.3 + 0.0 * t, lambda t: 0.1 * (t < 300.0)],
    ids=("no current", "a leak", "one step of the meter"),
)
def test_lithium_is_not_topped_off_without_a_fall_of_the_current(course_a, load_a):
    result = lithium(course_a, load_a=load_a, load_sd_a=0.05, rest_voltage_v=26.9)
    assert found(result, "current_seen").severity == "watch"
    assert result.outcome is not Outcome.TOP_OFF


def test_lithium_whose_current_falls_is_topped_off():
    result = lithium(lambda t: 6.0 * np.exp(-t / 100.0), load_a=8.0, load_sd_a=0.05)
    assert found(result, "current_seen").severity == "ok"
    assert result.outcome is Outcome.TOP_OFF


def test_a_chemistry_with_conditions_needs_no_such_rule(battery):
    assert found(judged(simulated_connection(0.1), battery), "current_seen") is None


def test_a_supply_at_its_limit_beside_an_unknown_load_says_nothing_of_the_battery(battery):
    """Whether the current goes into battery or bus, nobody can tell without the load."""
    readings = simulated_connection(0.9, minutes=5.0)
    finding = found(judged(readings, battery, load_a=None), "supply_at_limit")
    assert (finding.severity, "without the bus load" in finding.text) == ("watch", True)


def test_a_rest_voltage_that_says_full_holds_back_servicing(battery):
    """8 A of load that nobody told look like a battery that takes 8 A more; a rest voltage of a
    full battery says otherwise, and one more observation is asked for."""
    readings, told = simulated_connection(0.05, load_a=20.0), {"load_a": 8.0, "load_sd_a": 0.5}
    blind = found(judged(readings, battery, **told), "deep_discharge")
    seen = found(judged(readings, battery, **told, rest_voltage_v=25.75), "deep_discharge")
    assert blind.severity == "service"
    assert seen.severity == "watch"
