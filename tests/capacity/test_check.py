"""The capacity check: by hand, by a second method, on simulated truth, and at its edges."""

from datetime import date

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel import Battery, InputError, Limits
from batterymodel.capacity.check import TimedDischarge, Verdict, capacity_check
from batterymodel.capacity.correction import rate_correction, temperature_correction
from batterymodel.capacity.peukert import rate_adjusted_percent, time_adjusted_percent
from batterymodel.inputs.discharge_log import DischargeLog
from batterymodel.reference.temperature import battery_capacity_factor
from batterymodel.samples.discharges import simulated_discharge


def vrla(**limits) -> Battery:
    return Battery(
        tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0, limits=Limits(**limits)
    )


PUBLISHED = {
    "document": "Invented manual, rates",
    "discharge_minutes": (10.0, 30.0, 60.0, 180.0, 600.0),
    "discharge_current_a": (150.0, 68.0, 40.0, 16.0, 5.5),
}


def test_rated_current_at_25_degc_by_hand():
    """54 of 60 minutes at the one-hour current are 90 % of rated, 36 Ah; nothing to correct."""
    result = capacity_check(TimedDischarge(40.0, 54.0), vrla(), temp_c=25.0)
    assert result.percent_of_rated.mean == pytest.approx(90.0, rel=1e-9)
    assert result.capacity_ah.mean == pytest.approx(36.0, rel=1e-9)
    assert [c.factor for c in result.corrections] == [1.0, 1.0]


def test_temperature_by_hand():
    """At 60 degF the IEEE 485 factor is 1.110 (from memory (high)): 54 min count as 59.94."""
    at = (60.0 - 32.0) / 1.8
    result = capacity_check(TimedDischarge(40.0, 54.0), vrla(), temp_c=at)
    assert result.percent_of_rated.mean == pytest.approx(90.0 * 1.110, rel=1e-6)


@pytest.mark.parametrize(
    ("current", "minutes"), [(20.0, 90.0), (33.0, 60.0), (60.0, 30.0), (100.0, 12.0)]
)
def test_another_current_by_the_published_form(current, minutes):
    """Second method: 100 Ta / (Ts K_T) with the rated time of this current by Peukert's law."""
    factor, _ = battery_capacity_factor(vrla(), 15.0)
    rated_minutes = 60.0 * (40.0 / current) ** 1.12
    expected = time_adjusted_percent(minutes, rated_minutes, factor)
    result = capacity_check(TimedDischarge(current, minutes), vrla(), temp_c=15.0)
    assert result.percent_of_rated.mean == pytest.approx(float(expected), rel=1e-9)
    assert result.method == "time-adjusted"


def test_a_published_table_is_rate_adjusted_up_to_an_hour():
    """30 minutes at 55 A where a new battery gives 68 A: 80.88 % (by hand)."""
    result = capacity_check(TimedDischarge(55.0, 30.0), vrla(**PUBLISHED), temp_c=25.0)
    expected = float(rate_adjusted_percent(55.0, 68.0, 1.0))
    assert result.method == "rate-adjusted"
    assert result.percent_of_rated.mean == pytest.approx(expected, rel=1e-9)
    assert result.corrections[0].source == "Invented manual, rates"


def test_a_published_table_is_time_adjusted_above_an_hour():
    """150 of 180 minutes at 16 A: 83.33 % (by hand)."""
    result = capacity_check(TimedDischarge(16.0, 150.0), vrla(**PUBLISHED), temp_c=25.0)
    assert result.method == "time-adjusted"
    assert result.percent_of_rated.mean == pytest.approx(100.0 * 150.0 / 180.0, rel=1e-9)


def test_rate_uncertainty_grows_with_the_distance_from_the_rated_current():
    def spread(current):
        hours = np.array([0.5])
        return rate_correction(hours, np.array([current]), 0.5, vrla())[0].rel_sd

    assert spread(40.0) == 0.0
    assert spread(80.0) == pytest.approx(spread(20.0), rel=1e-9)
    assert spread(160.0) == pytest.approx(2.0 * spread(80.0), rel=1e-9)


@pytest.mark.parametrize("chemistry", ["nicd", "lfp"])
def test_chemistries_without_a_table_get_no_factor_but_a_wider_interval(chemistry):
    cells = {"nicd": 20, "lfp": 8}[chemistry]
    bare = Battery(tail="D", chemistry=chemistry, cells=cells, rated_capacity_ah=40.0)
    cold, warm = (temperature_correction(at, bare) for at in (0.0, 25.0))
    assert (cold.factor, warm.factor) == (1.0, 1.0)
    assert "no table" in cold.source
    assert cold.rel_sd > 0.1 > 0.02 > warm.rel_sd


def test_a_makers_table_applies_to_any_chemistry():
    card = Limits(
        document="Invented manual", capacity_temp_c=(0.0, 25.0), capacity_temp_factor=(0.9, 1.0)
    )
    nicd = Battery(tail="D", chemistry="nicd", cells=20, rated_capacity_ah=40.0, limits=card)
    cold = temperature_correction(0.0, nicd)
    assert cold.factor == pytest.approx(1.0 / 0.9, rel=1e-12)
    assert cold.source == "Invented manual"
    assert temperature_correction(10.0, nicd).factor == pytest.approx(1.0 / 0.94, rel=1e-12)
    with pytest.raises(InputError, match="outside the limits card's table"):
        temperature_correction(-5.0, nicd)


def test_temperature_not_given_widens_and_says_so():
    known = capacity_check(TimedDischarge(40.0, 54.0), vrla(), temp_c=25.0)
    unknown = capacity_check(TimedDischarge(40.0, 54.0), vrla())
    assert unknown.capacity_sd_ah > 2.0 * known.capacity_sd_ah
    assert "25 °C assumed" in unknown.corrections[1].source


def test_a_marginal_check_without_a_temperature_asks_for_it_before_another_discharge():
    card = vrla(document="Manual", min_capacity_fraction=0.85)
    told, untold = (
        capacity_check(TimedDischarge(40.0, 51.5), card, temp_c=temp_c) for temp_c in (25.0, None)
    )
    assert (told.verdict, untold.verdict) == ("marginal", "marginal")
    assert told.next_step.startswith("Charge fully")
    assert untold.next_step.startswith("Tell the battery's temperature")


@pytest.mark.parametrize(
    ("minutes", "verdict"), [(56.0, "pass"), (51.5, "marginal"), (46.0, "fail")]
)
def test_verdict_against_the_card(minutes, verdict):
    """85 % of an hour is 51 minutes."""
    card = vrla(document="Manual", min_capacity_fraction=0.85)
    result = capacity_check(TimedDischarge(40.0, minutes), card, temp_c=25.0)
    assert result.verdict == verdict
    assert not result.limit.generic
    low, high = result.percent_of_rated.low, result.percent_of_rated.high
    assert {"pass": low >= 85.0, "marginal": low < 85.0 <= high, "fail": high < 85.0}[verdict]


def test_blank_card_falls_back_to_generic_with_a_source():
    result = capacity_check(TimedDischarge(40.0, 54.0), vrla(), temp_c=25.0)
    assert result.limit.generic
    assert "stationary" in result.limit.source
    assert result.end_voltage.generic


def test_stopped_early_is_a_lower_bound_and_never_a_number():
    result = capacity_check(TimedDischarge(40.0, 30.0, False), vrla(), temp_c=25.0)
    assert result.verdict is Verdict.NOT_FINISHED
    assert result.capacity_ah is None
    assert result.percent_of_rated is None
    assert result.record is None
    assert 48.0 < result.at_least_percent < 50.0


def test_stopped_early_above_the_limit_passes():
    result = capacity_check(TimedDischarge(40.0, 55.0, False), vrla(), temp_c=25.0)
    assert result.verdict is Verdict.PASS
    assert result.capacity_ah is None
    just_short = capacity_check(TimedDischarge(40.0, 48.5, False), vrla(), temp_c=25.0)
    assert just_short.verdict is Verdict.NOT_FINISHED


def test_log_that_stops_early():
    log = simulated_discharge(36.0, stop_s=1800.0, temp_c=25.0)
    result = capacity_check(log, vrla())
    assert result.verdict is Verdict.NOT_FINISHED
    assert result.delivered_ah == pytest.approx(20.0, rel=0.01)


@pytest.mark.parametrize("every_s", [1.0, 10.0, 60.0])
@pytest.mark.parametrize("true_ah", [28.0, 36.0, 41.0])
def test_log_gives_the_true_capacity(true_ah, every_s):
    log = simulated_discharge(true_ah, every_s=every_s, temp_c=25.0)
    result = capacity_check(log, vrla(end_voltage_v=20.0), on=date(2026, 3, 2))
    assert result.capacity_ah.mean == pytest.approx(true_ah, rel=0.012)
    assert result.record.on == date(2026, 3, 2)


def test_interval_covers_simulated_truth():
    """Meter scale, temperature, Peukert's exponent and the start of charge off by their errors."""
    rng, covered, n = np.random.default_rng(4), 0, 300
    for k in range(n):
        true_ah, temp, current = rng.uniform(28, 42), rng.uniform(12, 32), rng.uniform(30, 60)
        exponent = rng.normal(1.12, 0.06)
        factor = battery_capacity_factor(vrla(), temp + rng.normal(0.0, 1.0))[0]
        factor *= np.exp(0.004 * abs(temp - 25.0) * rng.standard_normal())
        at_current = true_ah * factor * (current / 40.0) ** (1.0 - exponent)
        at_current *= 1.0 + 0.01 * rng.standard_normal()
        log = simulated_discharge(at_current, current, temp_c=temp, seed=k)
        scale = 1.0 + 0.01 * rng.standard_normal()
        read = DischargeLog(log.elapsed_s, scale * log.current_a, log.voltage_v, log.temp_c)
        found = capacity_check(read, vrla(end_voltage_v=20.0)).capacity_ah
        covered += found.low <= true_ah <= found.high
    assert 0.86 <= covered / n <= 0.97


def test_current_that_is_not_constant_is_summed_and_noted():
    log = simulated_discharge(36.0, temp_c=25.0)
    wavy = log.current_a * (1.0 + 0.2 * np.sin(log.elapsed_s / 100.0))
    result = capacity_check(DischargeLog(log.elapsed_s, wavy, log.voltage_v), vrla(), temp_c=25.0)
    assert any("not constant" in note for note in result.notes)
    assert result.delivered_ah == pytest.approx(36.0, rel=0.02)


def test_a_pause_is_noted_and_makes_less_certain():
    log = simulated_discharge(36.0, temp_c=25.0)
    later = log.elapsed_s + 600.0 * (log.elapsed_s >= 1500.0)
    time = np.concatenate([later, np.arange(1500.0, 2090.0, 10.0)])
    idle = np.zeros(time.size - later.size)
    order = np.argsort(time)
    paused = DischargeLog(
        time[order],
        np.concatenate([log.current_a, idle])[order],
        np.concatenate([log.voltage_v, idle + 25.0])[order],
    )
    plain = capacity_check(log, vrla())
    result = capacity_check(paused, vrla(), temp_c=25.0)
    assert any("paused for 10 min" in note for note in result.notes)
    assert result.minutes == pytest.approx(plain.minutes, abs=0.5)
    assert result.capacity_ah.mean == pytest.approx(plain.capacity_ah.mean, rel=0.01)
    assert result.capacity_sd_ah > plain.capacity_sd_ah


def test_minutes_in_the_seconds_column_are_refused():
    log = simulated_discharge(36.0, temp_c=25.0)
    wrong = DischargeLog(log.elapsed_s / 60.0, log.current_a, log.voltage_v)
    with pytest.raises(InputError, match="time is in seconds"):
        capacity_check(wrong, vrla())


def test_voltage_of_one_cell_is_refused():
    log = simulated_discharge(36.0, temp_c=25.0)
    wrong = DischargeLog(log.elapsed_s, log.current_a, log.voltage_v / 12.0)
    with pytest.raises(InputError, match="volts of the whole battery"):
        capacity_check(wrong, vrla())


@pytest.mark.parametrize("row", [0, 1, 2])
@pytest.mark.parametrize("idle_a", [0.0, 0.3])
def test_current_in_one_row_alone_is_no_discharge(row, idle_a):
    """From load on to load off no time passes, so no charge is known."""
    current = np.full(3, idle_a)
    current[row] = 30.0
    log = DischargeLog(np.array([0.0, 10.0, 20.0]), current, np.full(3, 25.0), source="d.csv")
    with pytest.raises(InputError, match=r"^d\.csv: current flows in one row alone"):
        capacity_check(log, vrla(), temp_c=25.0)


def test_time_without_current_takes_no_charge_from_the_rate():
    """A log that starts and pauses at 0 A is summed by Peukert's law without a word of numpy."""
    hours, current = np.array([0.5, 0.1, 0.4]), np.array([40.0, 0.0, 20.0])
    by_hand = (0.5 + 0.4 * 0.5**1.12) * 40.0 / 28.0
    with np.errstate(all="raise"):
        correction, _ = rate_correction(hours, current, 0.9, vrla())
    assert correction.factor == pytest.approx(by_hand, rel=1e-12)


@pytest.mark.parametrize(
    ("timed", "part"),
    [
        (TimedDischarge(0.0, 50.0), "discharge current"),
        (TimedDischarge(float("nan"), 50.0), "discharge current"),
        (TimedDischarge(40.0, 0.0), "minutes"),
        (TimedDischarge(40.0, float("inf")), "minutes"),
        (TimedDischarge(40.0, 600.0), "cannot be the discharge"),
    ],
)
def test_bad_figures_are_one_sentence(timed, part):
    with pytest.raises(InputError, match=part):
        capacity_check(timed, vrla(), temp_c=25.0)


@given(minutes=st.floats(10.0, 50.0), temp=st.floats(0.0, 40.0), current=st.floats(20.0, 50.0))
def test_more_minutes_are_more_capacity(minutes, temp, current):
    less = capacity_check(TimedDischarge(current, minutes), vrla(), temp_c=temp)
    more = capacity_check(TimedDischarge(current, minutes * 1.1), vrla(), temp_c=temp)
    ratio = more.capacity_ah.mean / less.capacity_ah.mean
    assert ratio == pytest.approx(1.1, rel=1e-9)
    assert less.capacity_ah.low < less.capacity_ah.mean < less.capacity_ah.high


def test_an_unbelievable_timed_discharge_is_said_in_plain_numbers_and_minutes():
    battery = Battery(tail="X-1", chemistry="vrla", cells=12, rated_capacity_ah=40.0)
    with pytest.raises(InputError) as error:
        capacity_check(TimedDischarge(40.0, 6000.0, True), battery, temp_c=25.0)
    said = str(error.value)
    assert said.startswith("4000 Ah in 6000 min cannot be")
    assert said.endswith("check that time is in minutes and current in amperes")
