"""Rises, slips, trips, highest values and clamps: each on its story and on both sides of it."""

from dataclasses import replace

import numpy as np
import pytest

from batterymodel import Battery, Event, Outcome, Readings, Severity, Supply
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.rules import findings
from batterymodel.taper.trends import Rise
from tests.conftest import simulated_connection
from tests.rules.cases import case_of, quiet_case
from tests.rules.test_findings import found, judged
from tests.sparing import sparing

NICD = Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0)


def runaway(minutes_before, minutes_after, doubling_min, every_s=10.0, text_each=0):
    """A settled 6 A of battery current that turns into 10 A doubling at a time, 8 A of load."""
    time = np.arange(0.0, 60.0 * (minutes_before + minutes_after) + 0.1, every_s)
    since = np.maximum(time / 60.0 - minutes_before, 0.0)
    own = 4.0 + 6.0 * np.exp(-time / 200.0) + 10.0 * (2.0 ** (since / doubling_min) - 1.0)
    noise = np.random.default_rng(4).normal(0.0, 0.03, time.size)
    events = (
        () if not text_each else tuple(Event(elapsed_s=t, text="ok") for t in time[::text_each])
    )
    current = np.round(own + 8.0 + noise, 1)
    return Readings(elapsed_s=time, supply_current_a=current, events=events)


@pytest.mark.long
@pytest.mark.parametrize("text_each", sparing([0, 2, 4, 1]))
@pytest.mark.parametrize("minutes_before", [8.0, 60.0])
@pytest.mark.parametrize("doubling_min", [2.0, 5.0])
def test_a_fast_rise_is_found_within_three_minutes(text_each, minutes_before, doubling_min):
    """10 A that double in five minutes are 5.2 A more after three, whatever is written beside."""
    readings = runaway(minutes_before, 3.0, doubling_min, text_each=text_each)
    assert found(judged(readings, NICD), "current_rising").severity == Severity.DISCONNECT


@pytest.mark.long
def test_a_rise_that_reaches_the_supplys_limit_is_no_opening_phase():
    readings = runaway(8.0, 14.0, 4.0)
    limited = np.minimum(readings.supply_current_a, 58.0)
    assert (limited == 58.0).sum() > 12
    readings = readings.model_copy(update={"supply_current_a": limited})
    assert judged(readings, NICD).outcome is Outcome.DISCONNECT


@pytest.mark.long
@pytest.mark.parametrize("size_a", sparing([0.8, 3.0, 12.0], every=2))
@pytest.mark.parametrize("each_s", [5.0, 30.0])
def test_a_load_switched_on_is_never_a_runaway(battery, size_a, each_s):
    for at in (200.0, 400.0, 510.0, 570.0, 600.0):
        readings = simulated_connection(
            0.05, minutes=10.0, every_s=each_s, steps=((at, size_a),), marked=False
        )
        finding = found(judged(readings, battery), "current_rising")
        assert finding is None or finding.severity == Severity.WATCH


def wandering(seed, drift_a=0.0):
    """Loads that wander by 0.5 A over two minutes, and may drift up."""
    rng = np.random.default_rng(seed)
    readings = simulated_connection(0.05, minutes=10.0, every_s=10.0, seed=seed)
    wander, keep = np.zeros(len(readings)), np.exp(-10.0 / rng.uniform(40.0, 400.0))
    for k in range(1, wander.size):
        wander[k] = keep * wander[k - 1] + rng.normal(0.0, 0.5 * np.sqrt(1.0 - keep**2))
    load = wander + drift_a * readings.elapsed_s / readings.elapsed_s[-1]
    load = load + rng.uniform(0.8, 3.0) * (readings.elapsed_s >= rng.uniform(30.0, 570.0))
    current = np.round(readings.supply_current_a + load, 1)
    return readings.model_copy(update={"supply_current_a": current})


@pytest.mark.long
@pytest.mark.parametrize(
    "seeds", [range(15), pytest.param(range(15, 40), marks=pytest.mark.slow)], ids=str
)
@pytest.mark.parametrize("drift_a", [0.0, 2.0])
def test_loads_that_wander_step_and_drift_are_never_a_runaway(battery, drift_a, seeds):
    alarms = [
        finding.severity
        for seed in seeds
        if (finding := found(judged(wandering(seed, drift_a), battery), "current_rising"))
    ]
    assert Severity.DISCONNECT not in alarms


def with_rise(battery, gradual_a, from_battery, temp_c=None, chemistry=None):
    case = quiet_case(battery)
    rise = Rise(5.0, 0.3, 120.0, 100.0, gradual_a, 0.3, from_battery)
    readings = case.readings
    if temp_c is not None:
        temps = np.full(len(readings), temp_c)
        readings = readings.model_copy(update={"battery_temp_c": temps})
    own = battery.model_copy(update={"chemistry": chemistry or battery.chemistry})
    return replace(case, rise=rise, readings=readings, temp_c=temp_c or 25.0, battery=own)


@pytest.mark.parametrize(
    ("gradual_a", "from_battery", "temp_c", "chemistry", "severity"),
    [
        (0.9, True, None, None, "watch"),
        (1.1, True, None, None, "disconnect"),
        (1.9, True, None, "vented_lead_acid", "watch"),
        (2.1, True, None, "vented_lead_acid", "disconnect"),
        (3.4, False, None, None, "watch"),
        (3.6, False, None, None, "disconnect"),
        (3.4, False, 39.0, None, "watch"),
        (1.9, False, 41.0, None, "watch"),
        (2.1, False, 41.0, None, "disconnect"),
    ],
)
def test_a_rise_that_can_hurt(battery, gradual_a, from_battery, temp_c, chemistry, severity):
    """40 Ah: 0.025 an hour are 1 A, twice that for vented; loads drift by 3.5 A, 2 A if warm."""
    case = with_rise(battery, gradual_a, from_battery, temp_c, chemistry)
    assert findings.current_rising(case).severity == severity


@pytest.mark.parametrize(
    ("gain_v", "amount", "temp_c", "severity"),
    [
        (0.2, 15.0, None, "watch"),
        (0.2, 17.0, None, "disconnect"),
        (0.1, 7.0, None, "disconnect"),
        (0.2, 15.0, 39.0, "watch"),
        (0.2, 15.0, 41.0, "disconnect"),
    ],
)
def test_a_little_voltage_does_not_excuse_a_large_rise(battery, gain_v, amount, temp_c, severity):
    """0.2 V drive 0.2 x 2 x 40 = 16 A through 40 Ah; 0.1 V is the last digit of a voltmeter; a warm
    battery is excused by none."""
    case = with_rise(battery, 6.0, True, temp_c)
    volts = np.where(case.readings.elapsed_s < 200.0, 28.0, 28.0 + gain_v)
    readings = case.readings.model_copy(update={"supply_voltage_v": volts})
    given = replace(case, readings=readings, rise=replace(case.rise, amount=amount))
    assert findings.current_rising(given).severity == severity


@pytest.mark.long
@pytest.mark.parametrize("every_s", [60.0, 120.0, 300.0])
@pytest.mark.parametrize("chemistry", ["nicd", "vrla"])
def test_a_runaway_that_is_read_seldom_is_found(chemistry, every_s):
    """A current that doubles between readings is no straight line, and its last step no jump."""
    time = np.arange(11.0) * every_s
    current = 4.0 * np.exp(-time / 600.0) + 1.0 + 20.0 * 2.0 ** (np.arange(11) - 10.0)
    battery = Battery(tail="D", chemistry=chemistry, cells=12, rated_capacity_ah=40.0)
    readings = Readings(
        elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=np.round(current, 1)
    )
    assert found(judged(readings, battery), "current_rising").severity == "disconnect"


def test_loads_switched_on_one_by_one_are_no_runaway(battery):
    """Three loads in three minutes on the supply's meter, the last one smaller than the second."""
    time = 60.0 * np.arange(11.0)
    current = (
        8.0
        + 6.0 * np.exp(-time / 600.0)
        + np.select([time > 570.0, time > 510.0, time > 450.0], [9.0, 6.5, 2.5], 0.0)
    )
    readings = Readings(elapsed_s=time, supply_current_a=np.round(current, 1))
    assert judged(readings, battery).outcome != "disconnect"


@pytest.mark.parametrize("every_s", [1.0, 5.0, 10.0])
def test_an_inverter_that_starts_softly_is_no_runaway(battery, every_s):
    """A log that ends while a load of 11 A comes up, each second by more than in the one before."""
    time = every_s * np.arange(61.0)
    start = np.zeros(61)
    start[-4:] = 0.5, 2.0, 5.5, 11.0
    current = np.round(8.0 + 6.0 * np.exp(-time / 400.0) + start, 1)
    result = judged(Readings(elapsed_s=time, supply_current_a=current), battery)
    assert result.outcome != "disconnect"


def test_a_load_that_was_read_at_first_only_is_not_the_batterys_own_current(battery):
    """The load column ends after 100 s, then the load drifts by 5 A: no battery is judged by it."""
    time = np.arange(0.0, 901.0, 15.0)
    load = 8.0 + 5.0 * np.clip((time - 300.0) / 600.0, 0.0, 1.0)
    current = np.round(load + 4.0 * np.exp(-time / 400.0), 1)
    told = np.where(time < 100.0, 8.0, np.nan)
    readings = Readings(elapsed_s=time, supply_current_a=current, load_a=told)
    rise = case_of(readings, battery).rise
    assert rise is not None
    assert not rise.from_battery


@pytest.mark.parametrize(("first_s", "late"), [(890.0, False), (910.0, True)])
def test_readings_that_begin_late_do_not_tell_the_charge_at_connection(battery, first_s, late):
    time = first_s + np.arange(0.0, 601.0, 10.0)
    current = np.round(8.0 + 3.0 * np.exp(-(time - first_s) / 500.0), 1)
    result = judged(Readings(elapsed_s=time, supply_current_a=current), battery, load_a=8.0)
    said = [f for f in result.findings if f.rule == "short_window"]
    assert bool(said) == late
    assert not late or result.outcome == "keep_watching"


@pytest.mark.long
def test_a_clamp_that_moved_does_not_make_a_taper_missing(battery):
    """3.8 A of fall and then 6 A at once, on the clamp alone: nothing says the battery is bad."""
    time = np.arange(0.0, 901.0, 15.0)
    current = np.round(1.0 + 5.0 * np.exp(-time / 450.0) + 6.0 * (time >= 600.0), 1)
    readings = Readings(elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=current)
    missing = [f for f in judged(readings, battery).findings if f.rule == "taper_missing"]
    assert all(str(f.severity) != "service" for f in missing)


def changed(readings, column, row, value):
    values = getattr(readings, column).copy()
    values[row] = value
    return readings.model_copy(update={column: values})


def test_a_decimal_point_is_asked_for(battery):
    readings = simulated_connection(0.05)
    current = readings.supply_current_a.copy()
    current[29:32] = 15.2, 150.0, 15.0
    result = judged(readings.model_copy(update={"supply_current_a": current}), battery)
    finding = found(result, "typing_slip")
    assert finding.severity == Severity.WATCH
    assert "says 150 A between 15.2 and 15: is a decimal point missing" in finding.text


def test_a_voltage_a_tenth_of_its_neighbours_is_asked_about(battery):
    readings = simulated_connection(0.05, supply_voltage_v=np.full(61, 28.0))
    result = judged(changed(readings, "supply_voltage_v", 30, 2.8), battery)
    assert "2.8 V between 28 and 28" in found(result, "typing_slip").text


def test_a_clock_that_steps_back_is_asked_about(battery):
    rows = [(10 * k, 20.0 - 0.1 * k) for k in range(40)]
    text = "elapsed_s,supply_current_a\n"
    lines = [f"{t},{a:.1f}" for t, a in rows]
    for order, asked in ((lines, False), (lines[::-1], False), (lines[20:] + lines[:20], True)):
        readings = readings_from_bytes((text + "\n".join(order)).encode(), "r.csv")
        assert (found(judged(readings, battery), "clock_back") is not None) == asked


def joined(first, second, gap_s):
    """One log of two: the second ``gap_s`` after the last reading of the first."""
    later_s = first.elapsed_s[-1] + gap_s + second.elapsed_s
    return first.model_copy(
        update={
            "elapsed_s": np.append(first.elapsed_s, later_s),
            "supply_current_a": np.append(first.supply_current_a, second.supply_current_a),
        }
    )


def test_two_connections_in_one_log_are_watched_and_never_topped_off(battery):
    first, second = simulated_connection(0.1, minutes=15.0), simulated_connection(0.08, seed=2)
    assert judged(first, battery).outcome is Outcome.TOP_OFF
    result = judged(joined(first, second, 1200.0), battery)
    finding = found(result, "two_connections")
    assert (finding.severity, finding.unit) == (Severity.WATCH, "A")
    assert finding.value == second.supply_current_a[0]
    assert finding.text.startswith(
        f"After a pause of 20 minutes the current stands at {finding.value:.1f} A at 2100 s and "
        "falls anew: two connections, or a load switched on?"
    )
    assert result.outcome is not Outcome.TOP_OFF


def test_two_connections_in_one_log_teach_neither_battery_nor_kind(battery):
    """An hour's whole taper teaches by itself; what comes after a pause may be another battery."""
    first, second = simulated_connection(0.05, minutes=60.0), simulated_connection(0.3, seed=2)
    bare = battery.model_copy(update={"history": None})
    alone, both = judged(first, bare), judged(joined(first, second, 900.0), bare)
    assert alone.learned_history is not None
    assert alone.taper_lesson is not None
    assert found(both, "two_connections").severity == Severity.WATCH
    assert both.learned_history is None
    assert both.taper_lesson is None


def test_a_load_that_was_marked_in_a_pause_makes_no_second_connection(battery):
    first, second = simulated_connection(0.1, minutes=15.0), simulated_connection(0.08, seed=2)
    marked = joined(first, second, 1200.0)
    event = Event(elapsed_s=1500.0, text="radios on")
    result = judged(marked.model_copy(update={"events": (event,)}), battery)
    assert found(result, "two_connections") is None


def test_a_second_connection_hides_no_service(battery):
    first, second = simulated_connection(0.45, minutes=10.0), simulated_connection(0.4, seed=2)
    result = judged(joined(first, second, 1200.0), battery)
    assert found(result, "two_connections").severity == Severity.WATCH
    assert result.outcome is Outcome.SERVICE


RISEN_C = 37.6 + np.array([0.0] * 12 + [0.1] * 7 + [7.7, 8.4, 9.0, 9.8, 10.5, 11.4])


def before_and_after_a_gap():
    """A nickel-cadmium battery whose current falls a little, and rises after a gap (invented)."""
    time_s = np.append(30.0 * np.arange(19.0), 1590.0 + 30.0 * np.arange(6.0))
    falling_a = 27.5 + 3.2 * np.exp(-time_s[:19] / 180.0)
    rising_a = 44.9 * np.exp((time_s[19:] - time_s[19]) / 750.0)
    return time_s, np.round(np.append(falling_a, rising_a), 1)


@pytest.mark.parametrize("warmth", [True, False])
def test_a_current_that_rises_after_a_gap_is_a_runaway_and_no_second_connection(warmth):
    nicd = Battery(tail="DEMO-1", chemistry="nicd", cells=20, rated_capacity_ah=43.0)
    lines = ["elapsed_s,supply_current_a,supply_voltage_v,battery_temp_c"]
    for time_s, current_a, temp_c in zip(*before_and_after_a_gap(), RISEN_C, strict=True):
        lines.append(f"{time_s},{current_a},28.5,{f'{temp_c:.1f}' if warmth else ''}")
    readings = readings_from_bytes("\n".join(lines).encode(), "log.csv")
    result = judged(readings, nicd, Supply(rated_current_a=300.0), load_a=13.6, ambient_c=None)
    assert result.outcome is Outcome.DISCONNECT
    assert found(result, "current_rising").severity == Severity.DISCONNECT
    assert found(result, "two_connections") is None


@pytest.mark.parametrize("to_the_end", [False, True])
def test_a_trip_is_watched_and_never_full(battery, to_the_end):
    readings = simulated_connection(0.05, minutes=10.0)
    current, volts = readings.supply_current_a.copy(), np.full(len(readings), 28.0)
    off = slice(70, None if to_the_end else 85)
    current[off] = volts[off] = 0.0
    given = {"supply_current_a": current, "supply_voltage_v": volts}
    result = judged(readings.model_copy(update=given), battery)
    assert result.outcome is Outcome.KEEP_WATCHING
    assert ("no full battery" in " ".join(found(result, "supply_trip").text.split())) == to_the_end


@pytest.mark.parametrize(("many", "severity"), [(1, "ok"), (2, "disconnect")])
def test_the_hottest_of_the_run_counts_when_two_readings_show_it(battery, many, severity):
    temps = np.full(61, 20.0)
    temps[30 : 30 + many] = 60.0
    result = judged(simulated_connection(0.05, battery_temp_c=temps), battery)
    assert found(result, "battery_temperature").severity == severity
    assert (found(result, "typing_slip") is not None) == (many == 1)


@pytest.mark.parametrize(("lasts_s", "severity"), [(50.0, "ok"), (70.0, "service")])
def test_a_voltage_too_high_for_a_minute_counts(battery, lasts_s, severity):
    time = 5.0 * np.arange(121)
    volts = np.where((time >= 100.0) & (time < 100.0 + lasts_s), 31.5, 28.0)
    readings = simulated_connection(0.05, minutes=10.0, supply_voltage_v=volts)
    finding = found(judged(readings, battery), "set_voltage")
    assert finding.severity == severity
    assert ("31.5 V for a minute" in finding.text) == (severity == "service")


def test_a_voltage_nobody_read_is_called_a_setting(battery):
    finding = found(judged(simulated_connection(0.05), battery), "set_voltage")
    assert "set voltage of 28.0 V" in finding.text
    volts = np.full(61, 28.0)
    read = judged(simulated_connection(0.05, supply_voltage_v=volts), battery)
    assert "supply's 28.0 V" in found(read, "set_voltage").text


def test_a_little_too_high_for_a_while_does_not_excuse_too_low(battery):
    volts = np.where(np.arange(61) < 20, 28.9, 26.5)
    readings = simulated_connection(0.05, supply_voltage_v=volts)
    case = case_of(readings, battery)
    assert findings.set_voltage(case).severity == "watch"


def test_a_short_clamp_is_still_held_against_the_load(battery):
    """Ten readings of a clamp on one of three leads, then none."""
    readings = simulated_connection(0.1)
    clamp = np.full(len(readings), np.nan)
    clamp[:10] = (readings.supply_current_a[:10] - 8.0) / 3.0
    given = readings.model_copy(update={"battery_current_a": clamp})
    assert "misses a lead" in found(judged(given, battery), "clamp").text


def test_a_rise_after_a_trip_is_seen(battery):
    """Ten minutes of taper, one without the supply, ten in which the current climbs."""
    time = np.arange(0.0, 1261.0, 10.0)
    before = 5.0 * np.exp(-time / 400.0)
    after = 2.0 + 0.008 * np.maximum(time - 660.0, 0.0)
    current = np.round(8.0 + np.where(time < 600.0, before, after), 1)
    current[(time >= 600.0) & (time < 660.0)] = 0.0
    rise = case_of(Readings(elapsed_s=time, supply_current_a=current), battery).rise
    assert rise is not None
    assert rise.since_s >= 660.0


@pytest.mark.parametrize(("last_out", "expected"), [(3, None), (1, "watch")])
def test_a_battery_that_feeds_the_bus_to_the_end_cannot_run_away(battery, last_out, expected):
    """Of the last three readings all must show current out of the battery."""
    case = case_of(simulated_connection(0.1), battery)
    fit, signal = case.fit, case.fit.signal
    current = signal.current_a.copy()
    current[-3:] = 1.0
    current[-last_out:] = -1.0
    moved = replace(
        signal, from_clamp=True, current_a=current, load=replace(signal.load, mean_a=0.0)
    )
    rise = Rise(0.4, 0.3, 120.0, 100.0, 0.1, 0.3, True)
    finding = findings.current_rising(replace(case, fit=replace(fit, signal=moved), rise=rise))
    assert (None if finding is None else str(finding.severity)) == expected


def test_the_sharpest_jump_is_no_part_of_a_gradual_climb(battery):
    """A clamp: 3 A of ramp over five minutes, and 2 A at once in the midst of it."""
    time = np.arange(0.0, 901.0, 10.0)
    ramp = 0.01 * np.maximum(time - 600.0, 0.0) + 2.0 * (time >= 750.0)
    current = np.round(4.0 * np.exp(-time / 300.0) + ramp, 2)
    readings = Readings(elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=current)
    rise = case_of(readings, battery).rise
    assert rise is not None
    assert rise.gradual_a == pytest.approx(2.5, abs=0.5)


@pytest.mark.parametrize(
    ("jump_a", "words"), [(4.0, "most of it from one"), (0.0, "too little to hurt")]
)
def test_a_jump_on_the_clamp_is_not_called_too_little_to_hurt(battery, jump_a, words):
    """On a 40 Ah battery 2 A of climb hurt: 1 A of ramp does not, nor does a jump, but it is no
    small one."""
    time = np.arange(0.0, 901.0, 10.0)
    ramp = 0.003 * np.maximum(time - 600.0, 0.0) + jump_a * (time >= 750.0)
    current = np.round(4.0 * np.exp(-time / 300.0) + ramp, 2)
    readings = Readings(elapsed_s=time, supply_current_a=current + 8.0, battery_current_a=current)
    found_rise = found(judged(readings, battery), "current_rising")
    assert words in found_rise.text
    assert str(found_rise.severity) == "watch"


def test_one_digit_of_a_coarse_meter_is_no_fall(battery):
    """6 A and then 5 A on a meter of whole amperes may be 5.51 A and 5.49 A of a bad joint."""
    time = 15.0 * np.arange(21)
    current = np.where(time < 150.0, 6.0, 5.0)
    bare = battery.model_copy(update={"history": None, "capacity_check": None})
    result = judged(Readings(elapsed_s=time, supply_current_a=current), bare, load_a=3.0)
    assert found(result, "charge_confirmed").severity == "watch"
    assert result.outcome == "keep_watching"
