"""What is refused, each in one sentence, and the limits of size."""

import time

import numpy as np
import pandas as pd
import pytest

from batterymodel.errors import InputError, InputFaultsError
from batterymodel.inputs import tables as module
from batterymodel.inputs.readings import (
    read_readings,
    readings_from_bytes,
    readings_from_frame,
)
from batterymodel.inputs.tables import MAX_ROWS
from tests.inputs.csv_text import HEADER, PLAIN, assert_one_sentence, read

# Errors


def with_cell(column, cell, rows=3):
    """A good file but for one cell, in row 3."""
    columns = {"elapsed_s": range(rows), "supply_current_a": [20] * rows}
    frame = pd.DataFrame({column: [""] * rows, **columns}, dtype=object)
    frame.loc[1, column] = cell
    return frame.to_csv(index=False, sep=";")


def with_column(column, values):
    columns = {"elapsed_s": range(3), "supply_current_a": [20] * 3, column: values}
    return pd.DataFrame(columns).to_csv(index=False)


ERRORS = {
    "empty": ("", ["is empty", "header row"]),
    "blank and comment lines only": ("\n \n# nothing\n;;\n", ["is empty"]),
    "byte order mark only": ("\n\ufeff", ["is empty"]),
    "header only": (HEADER, ["holds no readings below its column names", "one row per reading"]),
    "no header": ("0,30\n10,25\n20,22\n", ["row 1", "column names must come first"]),
    "one row": (HEADER + "0,30\n", ["usable readings: 1", "at least 3"]),
    "two rows": (HEADER + "0,30\n1,29\n", ["usable readings: 2", "at least 3"]),
    "three rows at two times": (HEADER + "0,30\n1,29\n1,28\n", ["usable readings: 2"]),
    "no usable row": (HEADER + "0,\n1,\n2,\n", ["usable readings: 0"]),
    "no times": ("time,supply_current_a\n,1\n,2\n,3\n", ["usable readings: 0"]),
    "time column missing": (
        "supply_current_a\n1\n2\n3\n",
        ["row 1", "no column 'elapsed_s' (seconds from the connection) or 'time'", "required"],
    ),
    "current column missing": (
        "# x\nelapsed_s,event\n1,\n2,\n3,\n",
        ["row 2", "no column 'supply_current_a' (amperes)", "required"],
    ),
    "duplicated column": (
        "elapsed_s,supply_current_a, Supply_Current_A\n0,1,1\n",
        ["row 1", "'supply_current_a' is there twice", "once"],
    ),
    "duplicated unknown column": ("elapsed_s,supply_current_a,x,x\n", ["'x' is there twice"]),
    "text in a number column": (
        with_cell("supply_voltage_v", "abc"),
        ["row 3, column 'supply_voltage_v': 'abc' is not a number", "volts"],
    ),
    "digits with underscore": (
        with_cell("supply_current_a", "1_0"),
        ["row 3, column 'supply_current_a': '1_0' is not a number", "amperes"],
    ),
    "thousands mark": (
        with_cell("supply_current_a", "1,234.5"),
        ["row 3, column 'supply_current_a': '1,234.5' is not a number"],
    ),
    "meter overload": (
        with_cell("battery_current_a", "OL"),
        ["row 3, column 'battery_current_a': 'OL' is not a number"],
    ),
    "long text with line breaks": (
        HEADER + '0,"' + "ab\u2028" * 99 + '"\n',
        ["row 2, column 'supply_current_a': 'ab ab", "…' is not a number"],
    ),
    "decimal comma between semicolons": (
        "elapsed_s;supply_current_a\n0;13\n1;-12,5\n2;12\n",
        ["row 3, column 'supply_current_a': '-12,5' has a decimal comma", "write '-12.5'"],
    ),
    "decimal comma between commas": (
        HEADER + "0,13\n1,12,5\n2,12\n",
        ["row 3: has 3 cells where at most 2 may be", "write decimals as 12.5, not 12,5"],
    ),
    "decimal comma under an event column": (
        HEADER.replace("\n", ",event\n") + "0,13,5\n1,12,5\n2,12,1\n",
        ["column 'event': is a number in every row: decimal comma"],
    ),
    "too many columns": ("elapsed_s" + ",x" * 200 + "\n", ["row 1: has 201 cells", "200"]),
    "quote not closed": (
        HEADER.replace("\n", ",event\n") + '0,1,"pump\n1,1,\n2,1,on"\n',
        ["row 2: a quote mark is not closed", "same row"],
    ),
    "quote out of place": (
        HEADER.replace("\n", ",event\n") + '0,1,x\n1,1,"a""\n2,1,y\n3,1,y"\n',
        ["row 3: a quote mark is not closed"],
    ),
    "negative elapsed time": (
        with_cell("elapsed_s", "-0.5"),
        ["row 3, column 'elapsed_s': -0.5 is negative", "seconds from the connection"],
    ),
    "elapsed milliseconds": (
        HEADER + "0,30\n60000,25\n120000,22\n",
        ["row 4, column 'elapsed_s': 120000 is over 24 h", "milliseconds", "give seconds"],
    ),
    "elapsed as clock time": (
        HEADER + "10:05:00,30\n10:05:10,25\n10:05:20,22\n",
        ["row 2, column 'elapsed_s': '10:05:00' is a clock time", "column 'time' in ISO 8601"],
    ),
    "current reversed": (
        with_cell("supply_current_a", "-1.5"),
        ["row 3, column 'supply_current_a': -1.5 is negative", "meter leads reversed?"],
    ),
    "load negative": (with_cell("load_a", "-2"), ["row 3, column 'load_a': -2 is negative"]),
    "voltage reversed": (
        with_cell("supply_voltage_v", "-28"),
        ["row 3, column 'supply_voltage_v': -28 is negative", "meter leads reversed?"],
    ),
    "supply milliamperes": (
        with_cell("supply_current_a", "25500"),
        ["row 3, column 'supply_current_a': 25500 looks like milliamperes", "would be 25.5"],
    ),
    "battery milliamperes": (
        with_cell("battery_current_a", "-20500"),
        ["row 3, column 'battery_current_a': -20500 looks like milliamperes", "be -20.5"],
    ),
    "load milliamperes": (
        with_cell("load_a", "9000"),
        ["row 3, column 'load_a': 9000 looks like milliamperes", "would be 9"],
    ),
    "current all zero": (
        HEADER + "0,0\n1,0\n2,0\n",
        ["column 'supply_current_a': every value is 0", "clamp on the supply lead?"],
    ),
    "kiloamperes": (
        HEADER + "0,0.03\n1,-0.19\n2,0\n",
        ["column 'supply_current_a': no value reaches 0.2", "kiloamperes", "clamp"],
    ),
    "millivolts": (
        with_cell("supply_voltage_v", "28100"),
        ["row 3, column 'supply_voltage_v': 28100 looks like millivolts", "it is 28.1"],
    ),
    "kilovolts": (
        with_column("supply_voltage_v", [0.028, 0.028, 4.9]),
        ["column 'supply_voltage_v': no value reaches 5", "kilovolts", "meter"],
    ),
    "voltage all zero": (
        with_column("supply_voltage_v", [0, 0, 0]),
        ["column 'supply_voltage_v': no value reaches 5", "meter not on the bus?"],
    ),
    "kelvin": (
        with_cell("battery_temp_c", "300"),
        ["row 3, column 'battery_temp_c': 300 looks like kelvin", "it is 26.85"],
    ),
    "too hot": (
        with_cell("battery_temp_c", "130"),
        ["row 3, column 'battery_temp_c': 130 is outside -60 to 120", "degrees Celsius"],
    ),
    "too cold": (
        with_cell("battery_temp_c", "-61"),
        ["row 3, column 'battery_temp_c': -61 is outside -60 to 120", "degrees Celsius"],
    ),
    "time unparsable": (
        "time,supply_current_a\n2024-05-01T10:05:00,30\n01.05.2024 10:05,25\n",
        ["row 3, column 'time': '01.05.2024 10:05' is not a time", "2024-05-01T10:05:00 (ISO 8601"],
    ),
    "time without a date": (
        "time,supply_current_a\n10:05:00,30\n10:05:01,25\n",
        ["row 2, column 'time': '10:05:00' is not a time like"],
    ),
    "date without a time": (
        "time,supply_current_a\n2024-05-01,30\n",
        ["row 2, column 'time': '2024-05-01' is not a time like"],
    ),
    "time as a number": (
        "time,supply_current_a\n20240501,30\n",
        ["row 2, column 'time': '20240501' is not a time like"],
    ),
    "time no calendar has": (
        "time,supply_current_a\n2024-02-30T10:00:00,30\n",
        ["row 2, column 'time': '2024-02-30T10:00:00' is not a time like"],
    ),
    "offset on some times": (
        "time,supply_current_a\n2024-05-01T10:05:00Z,30\n2024-05-01T10:05:01,25\n",
        ["row 3, column 'time': '2024-05-01T10:05:01' has no UTC offset but row 2", "all or none"],
    ),
    "time of a clock never set": (
        "time,supply_current_a\n0001-01-01T00:00:00,30\n",
        ["row 2, column 'time': '0001-01-01T00:00:00' is not a time like"],
    ),
    "time over two days": (
        "time,supply_current_a\n2024-05-01T10:05:00,30\n2024-05-02T10:05:01,25\n",
        ["row 3, column 'time': '2024-05-02T10:05:01' is over 24 h", "one connection"],
    ),
}
ERRORS |= {
    f"infinity in {column}": (
        with_cell(column, cell),
        [f"row 3, column '{column}': {float(cell)} is not a meter value", "leave the cell empty"],
    )
    for column, cell in [
        ("elapsed_s", "inf"),
        ("supply_current_a", "Infinity"),
        ("supply_voltage_v", "-inf"),
        ("battery_current_a", "1e999"),
        ("battery_temp_c", "-1e999"),
        ("load_a", "inf"),
    ]
}
ERRORS |= {
    f"column {name!r}": (
        f"{name};{'supply_current_a' if right in ('elapsed_s', 'time') else 'elapsed_s'}\n1;2\n",
        [f"row 1: column '{name.lower()}' is not known; name it '{right}' (", "or remove it"],
    )
    for name, right in [
        ("supply_current", "supply_current_a"),
        ("current", "supply_current_a"),
        ("Supply Current (A)", "supply_current_a"),
        ("supply_current_mA", "supply_current_a"),
        ("elapsed", "elapsed_s"),
        ("elapsed_ms", "elapsed_s"),
        ("time_s", "elapsed_s"),
        ("timestamp", "time"),
        ("voltage", "supply_voltage_v"),
        ("battery_current", "battery_current_a"),
        ("temperature", "battery_temp_c"),
        ("load", "load_a"),
        ("events", "event"),
    ]
}


@pytest.mark.parametrize(("text", "parts"), ERRORS.values(), ids=ERRORS)
def test_error_is_one_sentence_that_says_where_and_what_is_right(text, parts):
    with pytest.raises(InputError) as error:
        read(text)
    first, *others = error.value.faults
    assert_one_sentence(first, *parts)
    for sentence in others:
        assert_one_sentence(sentence)


def test_all_that_is_wrong_is_told_at_once_in_order_of_rows():
    text = (
        "elapsed_s,time,supply_current_a,supply_voltage_v,battery_temp_c\n"
        "0,2024-05-01T10:00:00,30,28,300\n"
        "5,10:00:05,x,28,20\n"
        '10:00,2024-05-01T10:00:10,"25,5",280,20\n'
        "15,2024-05-01T10:00:15,inf,-2,20\n"
        "20,2024-05-01T10:00:20,24,28,20\n"
    )
    with pytest.raises(InputFaultsError) as error:
        read(text)
    for sentence in error.value.faults:
        assert_one_sentence(sentence)
    said = [sentence.removeprefix("log.csv: ")[:43] for sentence in error.value.faults]
    assert said == [
        "row 2, column 'battery_temp_c': 300 looks l",
        "row 3, column 'time': '10:00:05' is not a t",
        "row 3, column 'supply_current_a': 'x' is no",
        "row 4, column 'elapsed_s': '10:00' is a clo",
        "row 4, column 'supply_current_a': '25,5' ha",
        "row 4, column 'supply_voltage_v': 280 is ov",
        "row 5, column 'supply_current_a': inf is no",
        "row 5, column 'supply_voltage_v': -2 is neg",
    ]


@pytest.mark.parametrize("rows", [20, 21, 30])
def test_no_more_than_twenty_faults_are_told_and_the_others_counted(rows):
    with pytest.raises(InputFaultsError) as error:
        read(HEADER + rows * "0,x\n")
    told = error.value.faults
    assert len(told) == min(rows, 20) + (rows > 20)
    assert (told[-1] == f"log.csv: and {rows - 20} more") == (rows > 20)


def test_every_row_that_is_too_wide_is_told():
    with pytest.raises(InputFaultsError) as error:
        read(HEADER + "0,30\n5,29,1\n10,28\n15,27,2\n")
    assert [fault[:16] for fault in error.value.faults] == ["log.csv: row 3: ", "log.csv: row 5: "]


# Two runs in one file


def runs(*times):
    rows = "".join(f"{s},{30 - k}\n" for run in times for k, s in enumerate(run))
    return HEADER + rows


@pytest.mark.parametrize(
    ("second", "row", "rows"),
    [
        ((0, 5), 6, "rows 2 to 5, or from row 6 on"),
        ((5, 10, 15), 6, "rows 2 to 5, or from row 6 on"),
        ((0, 5, 10, 15, 20, 25), 6, "rows 2 to 5, or from row 6 on"),
    ],
)
def test_two_runs_in_one_file_are_refused(second, row, rows):
    with pytest.raises(InputError) as error:
        read(runs((0, 5, 10, 15), second))
    said = f"row {row}, column 'elapsed_s': the time falls back to {second[0]} s"
    assert_one_sentence(str(error.value), said, rows)


@pytest.mark.parametrize(
    "times",
    [
        ((0, 5, 10, 15), (0,)),
        ((0, 5, 10, 15), (5,)),
        ((0, 5, 10, 15), (6, 11)),
        ((0, 5), (0, 10)),
        ((20, 25, 30), (0, 5, 10)),
        ((15, 10, 5, 0),),
        ((0, 5, 10), (8, 15), (12, 20)),
    ],
)
def test_rows_out_of_order_are_no_second_run(times):
    given = {s for run in times for s in run}
    assert read(runs(*times)).elapsed_s.tolist() == sorted(given)


def test_events_listed_below_the_readings_are_no_second_run():
    text = HEADER.strip() + ",event\n0,30,\n5,29,\n10,28,\n0,,connected\n5,,pump on\n"
    assert [event.text for event in read(text).events] == ["connected", "pump on"]


@pytest.mark.parametrize(
    ("data", "part"),
    [
        (PLAIN.encode("utf-16"), "is UTF-16 (Unicode) text; save it again as CSV in UTF-8"),
        (PLAIN.encode("utf-16-be"), "is not a text file"),
        (b"PK\x03\x04\x14\x00\x06\x00\x08\x00", "is not a text file; save the readings as CSV"),
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "is not a text file"),
        (b"", "is empty"),
        (PLAIN.replace("25", "25 \xb0").encode("latin-1"), "row 3, column 'supply_current_a': '25"),
    ],
    ids=["utf-16", "utf-16 without mark", "spreadsheet", "picture", "empty", "latin-1 number"],
)
def test_bytes_that_are_not_readings(data, part):
    with pytest.raises(InputError) as error:
        readings_from_bytes(data, "log.csv")
    assert_one_sentence(str(error.value), part)


def test_source_cannot_break_the_sentence():
    with pytest.raises(InputError) as error:
        readings_from_bytes(b"", "log.csv: a\nb\x07")
    assert_one_sentence(str(error.value), "a b: is empty")


@pytest.mark.parametrize(
    ("name", "part"),
    [
        ("absent.csv", "no such file; give the path of a CSV file"),
        (".", "is a folder; give the path of a CSV file"),
        ("nul\0.csv", "cannot be opened; give the path of a CSV file"),
        ("x" * 5000, "cannot be opened; give the path of a CSV file"),
    ],
)
def test_path_that_cannot_be_read(tmp_path, monkeypatch, name, part):
    monkeypatch.chdir(tmp_path)
    with pytest.raises(InputError) as error:
        read_readings(name)
    assert str(error.value) == f"{name.replace(chr(0), ' ')}: {part}"


# Size


@pytest.mark.slow
def test_300_000_rows_are_read():
    elapsed_s = np.arange(300_000) / 10
    frame = pd.DataFrame({"elapsed_s": elapsed_s, "supply_current_a": 20 + elapsed_s % 7})
    readings = read(frame.to_csv(index=False))
    assert np.array_equal(readings.elapsed_s, elapsed_s)
    assert np.array_equal(readings.supply_current_a, 20 + elapsed_s % 7)


def test_2_000_000_rows_are_refused_before_they_are_parsed(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(HEADER + "1.5,12.3\n" * 2_000_000, encoding="utf-8")
    start = time.perf_counter()
    with pytest.raises(InputError, match="has more than 1,000,000 rows; give the readings of one"):
        read_readings(path)
    assert time.perf_counter() - start < 2.0


@pytest.mark.parametrize("line_end", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("last", ["", "end"])
def test_row_limit_is_exact(monkeypatch, line_end, last):
    assert MAX_ROWS == 1_000_000
    monkeypatch.setattr(module, "MAX_ROWS", 5)
    lines = ["elapsed_s,supply_current_a", *(f"{i},20" for i in range(6))]
    finish = line_end if last else ""
    most = (line_end.join(lines[:6]) + finish).encode()
    assert len(readings_from_bytes(most, "log.csv")) == 5
    for over in (line_end.join(lines) + finish).encode(), line_end.join(lines).encode():
        with pytest.raises(InputError, match="has more than 5 rows"):
            readings_from_bytes(over, "log.csv")


def test_row_limit_holds_for_frames(monkeypatch):
    monkeypatch.setattr(module, "MAX_ROWS", 5)
    frame = pd.DataFrame({"elapsed_s": range(6), "supply_current_a": [20] * 6})
    assert len(readings_from_frame(frame[:5])) == 5
    with pytest.raises(InputError, match="has more than 5 rows"):
        readings_from_frame(frame)


def test_file_without_line_ends_is_refused_by_size(monkeypatch, tmp_path):
    monkeypatch.setattr(module, "MAX_BYTES", 3_000_000)
    path = tmp_path / "log.csv"
    path.write_bytes(b"1" * 10_000_000)
    with pytest.raises(InputError, match="is too large"):
        read_readings(path)
