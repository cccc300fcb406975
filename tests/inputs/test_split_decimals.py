"""Decimal commas between cells that commas set apart: never taken for two numbers unasked."""

import pytest

from batterymodel.inputs.column_guess import Sureness
from batterymodel.inputs.foreign import guess_columns

HEADER = "Time [s],Current (A),Battery temp (degC)"


def guess_of(header, rows):
    return guess_columns("\n".join([header, *rows, ""]).encode(), "log.csv")


@pytest.mark.parametrize(
    ("header", "rows"),
    [
        (HEADER, ["0,18,3", "5,17,9", "10,17,2"]),
        (HEADER, ["0,18,30", "5,17,95", "10,17,25"]),
        (HEADER, ["0,18,305", "5,17,950", "10,17,025"]),
        (HEADER, ["0,0,18", "0,5,17", "1,0,17"]),
        ("Time,Current (A),Voltage (V)", ["14:00:00,18,3", "14:00:05,17,9", "14:00:10,17,2"]),
        (f"{HEADER},Voltage (V)", ["0,18,3,28", "5,17,9,28", "10,17,2,28"]),
    ],
)
def test_numbers_that_may_be_halves_of_one_are_asked_for(header, rows):
    guess = guess_of(header, rows)
    assert not guess.is_sure
    unsure = [g for g in guess.unsure if "may be one number with a decimal comma" in g.why]
    assert unsure


def test_all_columns_behind_a_cut_are_asked_for():
    rows = ["0,18,3,28", "5,17,9,28", "10,17,2,28"]
    guess = guess_of(f"{HEADER},Voltage (V)", rows)
    assert [g.sureness for g in guess.columns] == [Sureness.SURE, *[Sureness.UNSURE] * 3]


@pytest.mark.parametrize(
    ("header", "rows"),
    [
        (HEADER, ["0,18.5,20", "5,17,20", "10,17,20"]),
        (HEADER, ["0,18,9", "5,17,10", "10,17,11"]),
        (HEADER, ["0,18,", "5,17,20", "10,17,20"]),
        (HEADER.replace(",", ";"), ["0;18;3", "5;17;9", "10;17;2"]),
        ("Time [s],Current (A)", ["0,18", "5,17", "10,17"]),
        ("Time [s],Current (A),Event", ["0,18,start", "5,17,", "10,17,"]),
        (HEADER, ['0,"18,3",20', '5,"17,9",20', '10,"17,2",20']),
    ],
)
def test_numbers_that_are_no_halves_leave_no_doubt(header, rows):
    assert guess_of(header, rows).is_sure
