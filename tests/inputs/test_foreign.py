"""Files of other loggers: any dialect comes back as it was, and all faults are told at once."""

import re
from contextlib import suppress
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel.errors import InputError, InputFaultsError
from batterymodel.inputs.column_map import UNITS, Column, ColumnMap, Quantity
from batterymodel.inputs.faults import MOST_TOLD
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.records import OPTIONAL_COLUMNS
from batterymodel.samples.connections import load_scenario, sample_readings_path
from tests.inputs.foreign_dialects import DATED, DIALECTS, START, written
from tests.sparing import examples

HEAD = "Time;Amps;Volts\n"
PLAIN = HEAD + "14:02:00;18,3;28,1\n14:02:05;18,2;28,1\n14:02:10;18;28\n"


def read(text, *choices, decimal=None):
    content = text if isinstance(text, bytes) else text.encode()
    guess = guess_columns(content, "log.csv", choices, decimal)
    return readings_from_foreign(content, "log.csv", guess.column_map)


def guessed(text, *choices):
    return guess_columns(text.encode(), "log.csv", choices)


def faults(text, *choices):
    with pytest.raises(InputFaultsError) as caught:
        read(text, *choices)
    for sentence in caught.value.faults:
        assert sentence.startswith("log.csv: ")
        assert sentence.isprintable()
        assert not re.search(r"[.!?] [A-Z]", sentence)
    return [sentence.removeprefix("log.csv: ") for sentence in caught.value.faults]


# Any dialect


@cache
def samples():
    keys = [case.key for case in load_scenario()[0]]
    return [readings_from_bytes(sample_readings_path(k).read_bytes(), k) for k in keys]


@pytest.mark.long
@given(st.integers(0, 11), DIALECTS)
@examples(60)
def test_a_sample_in_any_dialect_comes_back_equal(which, dialect):
    readings = samples()[which]
    content = written(readings, dialect)
    guess = guess_columns(content, "log.csv")
    assert guess.doubts == ()
    again = readings_from_foreign(content, "log.csv", guess.column_map)
    assert_same(again, readings)
    assert again.started_at == (START if dialect.time in DATED else again.started_at)
    assert (again.started_at is None) == (dialect.time not in (*DATED, "unix_s"))


def assert_same(again, readings):
    np.testing.assert_allclose(again.elapsed_s, readings.elapsed_s, atol=1e-5)
    for name in ("supply_current_a", *OPTIONAL_COLUMNS):
        ours, theirs = getattr(again, name), getattr(readings, name)
        assert (ours is None) == (theirs is None), name
        if ours is not None:
            np.testing.assert_allclose(ours, theirs, atol=1e-8)
    said = [(e.elapsed_s, e.text) for e in readings.events]
    assert [(pytest.approx(e.elapsed_s, abs=1e-5), e.text) for e in again.events] == said


def test_the_own_format_goes_through_untouched():
    for readings, case in zip(samples(), load_scenario()[0], strict=True):
        content = sample_readings_path(case.key).read_bytes()
        guess = guess_columns(content, "log.csv")
        assert guess.column_map.own
        assert guess.is_sure
        again = readings_from_foreign(content, "log.csv", guess.column_map)
        assert again == readings
        assert again.notes == readings.notes


@pytest.mark.parametrize(
    "text",
    [
        "elapsed_s;supply_current_a\n0;18,5\n5;17,5\n10;16,5\n",
        "time,supply_current_a\n14:02:00,18.5\n14:02:05,17.5\n14:02:10,16.5\n",
        "time,supply_current_a\n17.03.2026 14:02:00,18.5\n17.03.2026 14:02:05,17.5\n"
        "17.03.2026 14:02:10,16.5\n",
    ],
)
def test_own_names_with_foreign_cells_are_foreign(text):
    guess = guessed(text)
    assert not guess.column_map.own
    assert guess.is_sure
    assert read(text).supply_current_a.tolist() == [18.5, 17.5, 16.5]


# Nothing but InputError

WORDS = (
    "0 1 12,5 12.5 1.234,5 14:02 14:02:05 23:59:59 2026-03-02 OL 1e999 -5 A [A] Total Time Amps "
    'nan Date elapsed_s supply_current_a # " 5:30 1772000000 \u0663'
)
CELLS = st.sampled_from(["", "02.03.2026 10:00:00", "12 mA", "2 PM", *WORDS.split()])
CELLS |= st.text(max_size=8)
TABLES = st.lists(st.lists(CELLS, max_size=5), max_size=8)


@given(TABLES, st.sampled_from(",;\t|"))
@examples(300)
def test_random_tables_raise_nothing_but_input_errors(rows, separator):
    _try("\n".join(separator.join(row) for row in rows).encode("utf-8", "surrogatepass"))


@given(st.sampled_from([b"", b"PK\x03\x04", b"\xff\xfe", b"\xfe\xff"]), st.binary(max_size=300))
@settings(max_examples=200)
def test_random_bytes_raise_nothing_but_input_errors(start, rest):
    _try(start + rest)


COLUMNS = st.sampled_from(list(Quantity)).flatmap(
    lambda q: st.builds(
        Column,
        header=st.sampled_from(["Time", "Amps", "Volts", "X"]),
        quantity=st.just(q),
        unit=st.sampled_from(UNITS[q]),
    )
)


@given(st.lists(COLUMNS, max_size=4, unique_by=(lambda c: c.header, lambda c: c.quantity)), TABLES)
def test_any_map_on_any_table_raises_nothing_but_input_errors(columns, rows):
    text = "Time;Amps;Volts;X\n" + "\n".join(";".join(row) for row in rows)
    column_map = ColumnMap(columns=columns)
    for content in (PLAIN.encode(), text.encode("utf-8", "surrogatepass")):
        with suppress(InputError):
            readings_from_foreign(content, "log.csv", column_map)


def _try(content):
    """Reads it; an error says which file, on one line each."""
    said = ()
    try:
        guess = guess_columns(content, "log.csv")
        readings_from_foreign(content, "log.csv", guess.column_map)
    except InputError as error:
        said = error.faults
    assert all(fault.startswith("log.csv: ") and fault.isprintable() for fault in said)


# All faults at once


def test_all_faults_are_told_with_row_and_column_as_seen():
    text = (
        "Logger 7\n\nt [min];I (A);Note\n0;18,5;\n1;abc;\n\n# comment\n2;-16;\nx;17;\n"
        '3;5000;\n4;15;a;b\n5;14;"open\n6;13;\n'
    )
    assert faults(text) == [
        "row 5, column 'I (A)': 'abc' is not a number in A; only digits and a decimal ',' would "
        "be right",
        "row 8, column 'I (A)': '-16' is negative; it must not be below -1: meter leads reversed?",
        "row 9, column 't [min]': 'x' is not a number in min; only digits and a decimal ',' would "
        "be right",
        "row 10, column 'I (A)': '5000' looks like milliamperes; in amperes it would be 5",
        "row 11: has 4 cells where the header has 3; write decimals as 12.5 or put text with the "
        "separator in double quotes",
        "row 12: a quote mark is not closed; close it in the same row",
    ]


def test_the_first_twenty_faults_are_told_and_the_rest_counted():
    assert MOST_TOLD == 20
    for wrong, last in ((20, "row 21"), (21, "and 1 more"), (30, "and 10 more")):
        rows = "".join(f"{k};{'x' if k < wrong else 5};1\n" for k in range(70))
        told = faults("t [s];I (A);n\n" + rows)
        assert len(told) == 20 + (wrong > 20)
        assert told[0].startswith("row 2, ")
        assert told[-1].startswith(last)


def test_very_many_faults_are_counted_all():
    rows = "".join(f"{k};5;1;2\n" for k in range(1500))
    told = faults("t [s];I (A);n\n0;9;1\n1;8;1\n" + rows)
    assert told[0].startswith("row 4: has 4 cells")
    assert told[19].startswith("row 23: ")
    assert told[20] == "and 1480 more"


def test_a_value_outside_is_told_in_both_units():
    (told,) = faults("t [s];I (mA)\n0;18000\n5;-17000\n10;16000\n")
    assert told.startswith("row 3, column 'I (mA)': '-17000' (-17 A) is negative")


def test_errors_of_the_whole_table_name_the_column_as_seen():
    with pytest.raises(InputError, match=r"log.csv: column 'I \(A\)': every value is 0"):
        read("t [s];I (A)\n0;0\n5;0\n10;0\n")
    with pytest.raises(InputError, match="usable readings: 2; at least 3"):
        read("t [s];I (A)\n0;9\n5;8\n")


def test_a_second_header_is_refused():
    (told,) = faults(PLAIN + PLAIN)
    assert told == "row 5: is the header of row 1 again; give the readings of one connection"


def test_two_decimal_marks_in_one_column_are_faults_of_the_fewer():
    (told,) = faults(HEAD + "14:02:00;18,3;28\n14:02:05;18,2;28\n14:02:10;18.1;28\n")
    assert told.startswith("row 4, column 'Amps': '18.1' is not a number")


# Times


def test_midnight_is_passed_and_noted():
    readings = read(HEAD + "23:59:50;18;28\n23:59:58;18;28\n00:00:03;17;28\n")
    assert readings.elapsed_s.tolist() == [0.0, 8.0, 13.0]
    assert "the clock passes midnight at row 4" in readings.notes
    assert readings.started_at is None


def test_newest_first_passes_midnight_backwards():
    readings = read(HEAD + "00:00:03;17;28\n23:59:58;18;28\n23:59:50;19;28\n")
    assert readings.elapsed_s.tolist() == [0.0, 8.0, 13.0]
    assert readings.supply_current_a.tolist() == [19.0, 18.0, 17.0]


def test_the_clock_goes_the_shorter_way():
    """Twelve hours and a second forward are taken as a step back, twelve less one as forward."""
    forward = read(HEAD + "06:00:00;9;28\n17:59:59;8;28\n18:00:00;7;28\n")
    assert forward.elapsed_s.tolist() == [0.0, 43199.0, 43200.0]
    back = read(HEAD + "06:00:00;9;28\n18:00:01;8;28\n18:00:02;7;28\n")
    assert back.supply_current_a.tolist() == [8.0, 7.0, 9.0]


def test_times_of_day_over_a_day_are_refused():
    rows = "".join(f"{(6 * k) % 24:02}:00:00;9;28\n" for k in range(6))
    (told,) = faults(HEAD + rows)
    assert told.startswith("row 7, column 'Time': '06:00:00' is over 24 h after")


def test_repeated_times_are_averaged_and_noted():
    readings = read(HEAD + "14:02;18;28\n14:02;17;28\n14:03;16;28\n14:04;15;28\n")
    assert readings.elapsed_s.tolist() == [0.0, 60.0, 120.0]
    assert readings.supply_current_a.tolist() == [17.5, 16.0, 15.0]
    assert "2 rows at the same time as another: their mean is used" in readings.notes


def test_a_clock_without_its_date_is_a_fault():
    text = "Date;Time;Amps\n17.03.2026;14:02:00;9\n;14:02:05;8\n17.03.2026;14:02:10;7\n"
    (told,) = faults(text + "17.03.2026;14:02:15;7\n")
    assert told.startswith("row 3, column 'Date': has a time of day but no date")


def test_elapsed_outside_a_day_is_a_fault():
    text = "t [h];I (A)\n{};9\n0.1;9\n0.2;8\n"
    assert read(text.format("24")).elapsed_s[-1] == 86_400.0
    for outside in ("24.01", "-0.01"):
        (told,) = faults(text.format(outside))
        assert told.startswith(f"row 2, column 't [h]': '{outside}' [h] is not between 0 and 24 h")


# Rows that are no readings


def test_units_below_the_header_are_taken_and_totals_left_out():
    text = "Time;Current;Remark\nhh:mm:ss;[mA];\n14:02:00;18.300,5;on\n14:02:05;OL;\n"
    text += "14:02:10;17.300;\n14:02:15;17000;\nTotal;52600,5;\nMean;17000;\n"
    readings = read(text)
    assert readings.supply_current_a.tolist() == [18.3005, 17.3, 17.0]
    notes = " | ".join(readings.notes)
    for said in ("row 7 ('Total') is no reading", "row 8 ('Mean') is no reading", "mA converted"):
        assert said in notes
    assert "1 cell over the meter's range, no value" in notes


def test_the_header_stands_among_the_first_sixty_rows():
    """Of the table's rows: blank ones and comments do not count."""
    table = "t [s];I (A)\n0;9\n5;8\n10;7\n"
    assert len(read("about;this\n\n# more\n" * 59 + table)) == 3
    with pytest.raises(InputError, match="holds no rows of values below a header"):
        read("about;this\n" * 60 + table)


def test_a_line_that_names_the_separator_is_obeyed():
    readings = read("sep=;\nt [s];I (A)\n0;9,5\n5;8,5\n10;7,5\n")
    assert readings.supply_current_a.tolist() == [9.5, 8.5, 7.5]
    (told,) = faults("sep=;\nt [s];I (A)\n0;9\n5;x\n10;7\n15;6\n")
    assert told.startswith("row 4, column 'I (A)': 'x'")


def test_a_unit_in_the_cell_goes_before_that_of_the_column():
    readings = read("Time|Amps\n14:02|5\n14:03|4 A\n14:04|3000 mA\n")
    assert readings.supply_current_a.tolist() == [5.0, 4.0, 3.0]
    (told,) = faults("Time|Amps\n14:02|5\n14:03|4 A\n14:04|3000 V\n")
    assert "'3000 V' is not a number in A" in told


def test_a_column_of_units_belongs_to_the_values_at_its_left():
    text = "Time,Current,Unit,Bus,Unit\n14:02:00,18.3,A,28,V\n14:02:05,18.2,A,28,V\n"
    text += "14:02:10,950,{},28100.5,mV\n"
    readings = read(text.format("mA"), "Bus=supply_voltage_v:V")
    assert readings.supply_current_a.tolist() == [18.3, 18.2, 0.95]
    assert readings.supply_voltage_v.tolist() == [28.0, 28.0, 28.1005]
    (told,) = faults(text.format("V"))
    assert told.startswith("row 4, column 'Current': '950 V' is not a number in A")


def test_decimal_commas_between_commas_are_told_before_any_column():
    with pytest.raises(InputError, match="row 2: has 4 cells where the header has 2") as caught:
        guessed("Time,Amps\n14:02:00,18,3,1\n14:02:05,18,2,1\n")
    assert len(caught.value.faults) == 2


# The map


def test_a_map_for_another_file_is_refused_with_what_is_there():
    column_map = guessed(PLAIN).column_map
    with pytest.raises(InputError) as caught:
        readings_from_foreign(b"Zeit;Ampere\n14:02;1\n14:03;1\n", "log.csv", column_map)
    assert "no column 'Amps'; it has 'Zeit', 'Ampere'" in str(caught.value)


def test_a_preview_is_in_the_units_of_the_readings():
    guess = guessed("t [min];I (mA);Note\n0;18500;a\n1;;\n" + "2;9000;\n" * 9)
    assert guess.preview[0] == {"elapsed_s": 0.0, "supply_current_a": 18.5, "event": "a"}
    assert guess.preview[1] == {"elapsed_s": 60.0, "supply_current_a": None, "event": None}
    assert len(guess.preview) == 5


def test_the_notes_begin_with_how_the_columns_were_taken():
    assert read(PLAIN).notes[0] == (
        "columns: 'Time' as time [time of day], 'Amps' as supply current [A], 'Volts' as supply "
        "voltage [V]; decimals behind a comma"
    )


def test_a_decimal_mark_in_doubt_is_told():
    text = "t [s];I (mA)\n0;250,500\n5;240,200\n10;230,100\n"
    guess = guessed(text)
    assert not guess.is_sure
    assert guess.doubts == ("a comma may stand before decimals or thousands",)
    assert read(text, decimal=".").supply_current_a.tolist() == [250.5, 240.2, 230.1]
    assert read(text, decimal=",").supply_current_a.tolist() == [0.2505, 0.2402, 0.2301]
    with pytest.raises(InputError, match="no decimal mark"):
        read(text, decimal=":")


@pytest.mark.parametrize("unit", ["A", "mA"])
def test_a_decimal_mark_is_settled_by_what_a_current_may_be(unit):
    guess = guessed(f"t [s];I ({unit})\n0;18,300\n5;17,200\n10;16,100\n")
    assert guess.is_sure
    assert guess.preview[0]["supply_current_a"] == 18.3
