"""Invented discharges and checks: what the stated model says, and the same bytes every time."""

import numpy as np
import pytest

from batterymodel.inputs.check_record import checks_from_bytes
from batterymodel.samples.connections import SAMPLE_FOLDER
from batterymodel.samples.discharges import (
    fading_checks_csv,
    loaded_voltage_v,
    simulated_discharge,
    write_capacity_samples,
)


def test_voltage_meets_the_end_voltage_at_the_capacity_and_falls_all_the_way():
    x = np.linspace(0.0, 1.0, 200)
    volts = loaded_voltage_v(x, 12, 20.0)
    assert volts[-1] == pytest.approx(20.0, rel=1e-12)
    assert volts[0] == pytest.approx(12 * 2.02)
    assert (np.diff(volts) < 0).all()


def test_current_over_the_discharge_is_the_capacity():
    log = simulated_discharge(36.0, 30.0, every_s=5.0)
    below = log.elapsed_s[np.argmax(log.voltage_v <= 20.0)]
    assert 30.0 * below / 3600.0 == pytest.approx(36.0, rel=0.01)


def test_files_are_what_the_script_writes(tmp_path):
    write_capacity_samples(tmp_path)
    for path in tmp_path.iterdir():
        kept = (SAMPLE_FOLDER / path.name).read_bytes()
        assert path.read_bytes() == kept
        assert kept.startswith(b"# invented\n")


def test_the_record_holds_every_kind_of_check():
    record = checks_from_bytes(fading_checks_csv().encode(), "c.csv")
    assert record.in_service.sum() == 1
    assert record.lower_bound.sum() == 1
    assert len(record) == 9
