"""The version of the estimate: raised whenever an answer to the samples moves."""

import json
from datetime import date
from pathlib import Path

import pytest

from batterymodel import assess
from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.samples.connections import load_scenario, sample_readings_path

KNOWN = Path(__file__).with_name("answers_of_a_version.json")
DAY = date(2026, 3, 2)
"""Day of the samples: without it an answer to readings without a clock moves from day to day."""

AS_BEFORE = 0.002
"""Part of a range's width by which machines and libraries may differ."""


def answers():
    """Ranges of every sample as the present code gives them: charge now, charge to return."""
    samples, supply = load_scenario()
    found = {}
    for sample in samples:
        result = assess(
            sample_readings_path(sample.key),
            sample.battery,
            supply,
            rest_voltage_v=sample.rest_voltage_v,
            load_a=sample.load_a,
            ambient_c=sample.ambient_c,
            on=DAY,
        )
        ranges = (result.state_of_charge.now, result.charge_to_return_ah)
        found[sample.key] = [round(v, 4) for r in ranges for v in (r.mean, r.low, r.high)]
    return found


def test_answers_that_move_have_another_version():
    """Where this fails: raise `ESTIMATE_VERSION`, and run this file as a program."""
    known = json.loads(KNOWN.read_text())
    assert known["version"] == ESTIMATE_VERSION
    for key, values in answers().items():
        before = known["answers"][key]
        width = max(before[2] - before[1], 0.01), max(before[5] - before[4], 0.01)
        for now, then, wide in zip(values, before, [width[0]] * 3 + [width[1]] * 3, strict=True):
            assert now == pytest.approx(then, abs=AS_BEFORE * wide + 1e-4), key


if __name__ == "__main__":
    KNOWN.write_text(json.dumps({"version": ESTIMATE_VERSION, "answers": answers()}, indent=1))
