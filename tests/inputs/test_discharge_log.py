"""Discharge logs: what is read, what is refused, and when the end voltage counts as reached."""

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.discharge_log import (
    DischargeLog,
    discharge_log_from_bytes,
    end_of_discharge,
    read_discharge_log,
)
from batterymodel.samples.discharges import discharge_csv, simulated_discharge

HEAD = "elapsed_s,discharge_current_a,battery_voltage_v\n"


def straight(slope_v_per_s=-0.01, every_s=10.0, until_s=600.0, current_a=20.0) -> DischargeLog:
    time = np.arange(0.0, until_s + 0.1, every_s)
    return DischargeLog(time, np.full(time.size, current_a), 24.0 + slope_v_per_s * time)


def test_a_log_reads_back_equal(tmp_path):
    log = simulated_discharge(36.0)
    path = tmp_path / "d.csv"
    path.write_text(discharge_csv(log))
    read = read_discharge_log(path)
    for name in ("elapsed_s", "current_a", "voltage_v", "temp_c"):
        np.testing.assert_array_equal(getattr(read, name), getattr(log, name))
    assert read.start_temp_c == pytest.approx(21.0, abs=0.1)


def test_rows_out_of_order_are_sorted_and_noted():
    head, *rows = discharge_csv(simulated_discharge(36.0)).splitlines()
    text = "\n".join([head, *rows[100:], *rows[:100]])
    read = discharge_log_from_bytes(text.encode(), "d.csv")
    assert (np.diff(read.elapsed_s) > 0).all()
    assert any("out of order" in note for note in read.notes)


def test_end_voltage_is_interpolated_by_hand():
    """24 V falling 10 mV a second meets 20.05 V at 395 s, between rows at 390 and 400 s."""
    assert end_of_discharge(straight(), 20.05).at_s == pytest.approx(395.0, abs=1e-6)


def test_error_of_the_moment_by_hand():
    """10 s interval: 10/sqrt(12) = 2.89 s; 50 mV over 10 mV/s = 5 s; together 5.77 s."""
    assert end_of_discharge(straight(), 20.0).sd_s == pytest.approx(np.hypot(2.887, 5.0), rel=1e-3)


def test_end_voltage_not_reached_is_none():
    assert end_of_discharge(straight(until_s=300.0), 20.0) is None


def test_a_dip_is_not_the_end():
    log = straight(every_s=2.0)
    volts = log.voltage_v.copy()
    volts[60] = 19.0
    dipped = DischargeLog(log.elapsed_s, log.current_a, volts)
    assert end_of_discharge(dipped, 20.0).at_s == pytest.approx(400.0, abs=2.0)


@pytest.mark.parametrize("seed", range(8))
def test_noise_at_the_end_voltage_moves_it_little(seed):
    log = straight(every_s=2.0)
    noise = 0.05 * np.random.default_rng(seed).standard_normal(log.elapsed_s.size)
    noisy = DischargeLog(log.elapsed_s, log.current_a, log.voltage_v + noise)
    end = end_of_discharge(noisy, 20.0)
    assert abs(end.at_s - 400.0) < 4.0 * end.sd_s


def test_recovered_voltage_after_the_load_does_not_hide_the_end():
    log = simulated_discharge(36.0)
    end = end_of_discharge(log, 20.0)
    assert log.voltage_v[-1] > 21.0
    assert end.at_s == pytest.approx(3600.0 * 36.0 / 40.0, abs=10.0)


def test_charge_is_that_of_the_current_by_hand():
    """20 A for 400 s is 2.222 Ah."""
    hours, current = straight().until(400.0)
    assert hours @ current == pytest.approx(20.0 * 400.0 / 3600.0, rel=1e-12)


def test_a_pause_is_found():
    log = straight(every_s=10.0)
    current = np.where((log.elapsed_s >= 100.0) & (log.elapsed_s <= 200.0), 0.0, log.current_a)
    paused = DischargeLog(log.elapsed_s, current, log.voltage_v)
    assert paused.paused_s(400.0) == pytest.approx(100.0, abs=10.0)
    assert log.paused_s(400.0) == 0.0


BAD = {
    "empty": ("", "is empty"),
    "header only": (HEAD, "no readings"),
    "two rows": (HEAD + "0,20,24\n10,20,23.9\n", "at least 3"),
    "milliamperes": (HEAD + "0,40000,24\n10,40000,24\n20,40000,23\n", "milliamperes"),
    "millivolts": (HEAD + "0,40,24000\n10,40,23900\n20,40,23800\n", "millivolts"),
    "reversed": (HEAD + "0,-40,24\n10,-40,23.9\n20,-40,23.8\n", "meter leads reversed"),
    "no current": (HEAD + "0,0,24\n10,0,24\n20,0,24\n", "no value reaches 0.2"),
    "charging": (HEAD + "".join(f"{k},20,{24 + k / 50}\n" for k in range(60)), "rises from"),
    "true": (HEAD + "0,true,24\n10,true,24\n20,true,23\n", "'true' is not a number"),
    "text": (HEAD + "0,20,24\n10,many,24\n20,20,23\n", "not a number"),
    "minus time": (HEAD + "-5,20,24\n0,20,24\n5,20,23.9\n", "is negative"),
    "milliseconds": (HEAD + "".join(f"{k * 400000},20,24\n" for k in range(5)), "milliseconds"),
    "no voltage column": ("elapsed_s,discharge_current_a\n0,20\n", "no column 'battery_voltage_v'"),
    "other name": ("elapsed_s,current,battery_voltage_v\n0,20,24\n", "discharge_current_a"),
}


@pytest.mark.parametrize("name", BAD)
def test_what_cannot_be_a_discharge_is_one_sentence(name):
    text, part = BAD[name]
    with pytest.raises(InputError, match=part) as error:
        discharge_log_from_bytes(text.encode(), "d.csv")
    for sentence in error.value.faults:
        assert sentence.startswith("d.csv")
        assert "\n" not in sentence


def test_voltage_per_cell_says_so():
    with pytest.raises(InputError, match="whole battery"):
        end_of_discharge(DischargeLog(np.arange(4.0), np.full(4, 20.0), np.full(4, 2.0)), 20.0)
