"""Every row of the cell-size table against two sources outside the code."""

import csv
from pathlib import Path

import numpy as np
import pytest

from batterymodel.inputs.records import Chemistry
from batterymodel.reference.temperature import IEEE_485_CELL_SIZE_FACTOR, capacity_factor

TRANSCRIBED = Path(__file__).parents[1] / "data" / "lead_acid_temperature_factors.csv"

# Rows outside the transcribed table, IEEE 485-1997/2010/2020 Table 1: from memory (high).
BEYOND = {25: 1.520, 30: 1.430, 35: 1.350, 125: 0.850}

TIME_ADJUSTED, CELL_SIZE = "time_adjusted_k_t", "rate_adjusted_kt_77F"


def transcribed(column: str) -> dict[int, float]:
    """Factor by temperature [degF]; see tests/data/README.md: verified (secondary)."""
    with TRANSCRIBED.open(encoding="utf-8") as file:
        return {int(row["temp_f"]): float(row[column]) for row in csv.DictReader(file)}


def our_factor(temp_f: float) -> float:
    return float(1.0 / capacity_factor(Chemistry.VENTED_LEAD_ACID, (temp_f - 32.0) / 1.8))


KNOWN = transcribed(CELL_SIZE) | BEYOND


def test_every_row_of_ours_has_a_source_outside():
    ours = {int(row[0]) for row in IEEE_485_CELL_SIZE_FACTOR}
    assert len(ours) == 22
    assert ours <= set(KNOWN)
    assert len(ours & set(transcribed(CELL_SIZE))) == 18


@pytest.mark.parametrize("temp_f", [int(row[0]) for row in IEEE_485_CELL_SIZE_FACTOR])
def test_row_of_the_cell_size_table(temp_f):
    assert our_factor(temp_f) == pytest.approx(KNOWN[temp_f], abs=1e-9)


@pytest.mark.parametrize("temp_f", list(KNOWN))
def test_every_published_row_between_ours(temp_f):
    """Half of the last digit on either side, and the bend between rows five degrees apart."""
    assert our_factor(temp_f) == pytest.approx(KNOWN[temp_f], abs=0.003)


def test_the_time_adjusted_table_agrees_near_room_temperature():
    """Another table for the same battery: 1 % apart at 65 to 90 degF, 5 % at 50, 13 % at 40."""
    apart = {t: abs(k * our_factor(t) - 1.0) for t, k in transcribed(TIME_ADJUSTED).items()}
    assert max(a for t, a in apart.items() if 65 <= t <= 90) < 0.011
    assert apart[50] < 0.065
    assert apart[40] == pytest.approx(0.129, abs=0.001)


def test_above_the_last_row_nothing_more_is_gained():
    assert our_factor(139.0) == pytest.approx(0.850)


def test_below_the_first_row_the_last_slope_goes_on():
    """From 1/1.43 at 30 to 1/1.52 at 25 degF capacity falls by 0.0414: as much again at 20."""
    first, second = 1.0 / 1.520, 1.0 / 1.430
    assert 1.0 / our_factor(20.0) == pytest.approx(2.0 * first - second, rel=1e-9)
    assert np.sign(our_factor(20.0) - our_factor(25.0)) == 1.0
