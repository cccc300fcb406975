import re
import time
from datetime import UTC, datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batterymodel import readings as module
from batterymodel.errors import InputError
from batterymodel.readings import (
    MAX_ROWS,
    read_readings,
    readings_csv,
    readings_from_bytes,
    readings_from_frame,
    readings_from_text,
)
from batterymodel.records import Event, Readings

HEADER = "elapsed_s,supply_current_a\n"
PLAIN = HEADER + "0,30\n10,25\n20,22.5\n"
FULL = (
    "elapsed_s,supply_current_a,supply_voltage_v,battery_current_a,battery_temp_c,load_a,event\n"
    "0,30.5,28.1,20.5,21,10,\n"
    "10,25.5,28.2,,21.5,10,pump on\n"
    "20,22.5,28.3,12.5,22,10,\n"
)


def read(text):
    return readings_from_text(text, "log.csv")


def assert_one_sentence(message, *parts):
    assert message.startswith("log.csv: ")
    assert message.isprintable()
    assert not message.endswith(".")
    assert not re.search(r"[.!?] ", message)
    for part in parts:
        assert part in message


# What is read


def test_every_column_is_read():
    readings = read(FULL)
    assert readings.elapsed_s.tolist() == [0, 10, 20]
    assert readings.supply_current_a.tolist() == [30.5, 25.5, 22.5]
    assert readings.supply_voltage_v.tolist() == [28.1, 28.2, 28.3]
    assert np.array_equal(readings.battery_current_a, [20.5, np.nan, 12.5], equal_nan=True)
    assert readings.battery_temp_c.tolist() == [21, 21.5, 22]
    assert readings.load_a.tolist() == [10, 10, 10]
    assert readings.events == (Event(elapsed_s=10, text="pump on"),)
    assert readings.started_at is None
    assert readings.source == "log.csv"
    assert readings.notes == ()


def test_optional_columns_are_none_when_absent_or_without_any_value():
    readings = read(HEADER.replace("\n", ",load_a,event\n") + "0,30,,\n10,25,,\n20,22,,\n")
    assert readings.supply_voltage_v is None
    assert readings.load_a is None
    assert readings.events == ()
    assert readings.notes == ()


def test_columns_may_stand_in_any_order():
    rows = [line.split(",") for line in FULL.splitlines()]
    assert read("\n".join(",".join(reversed(row)) for row in rows)) == read(FULL)


@pytest.mark.parametrize("separator", [";", "\t"])
def test_separator_is_detected(separator):
    assert read(FULL.replace(",", separator)) == read(FULL)


@pytest.mark.parametrize("line_end", ["\r\n", "\r"])
def test_line_ends_of_other_systems(line_end):
    assert readings_from_bytes(FULL.replace("\n", line_end).encode(), "log.csv") == read(FULL)


def test_header_names_ignore_case_blanks_and_quotes():
    assert read(PLAIN.replace(HEADER, ' Elapsed_S ,"SUPPLY_CURRENT_A "\n')) == read(PLAIN)


def test_blank_lines_and_comments_are_ignored_but_counted_as_rows():
    noisy = "# meter 3\n\n" + HEADER + "  \n0,30\n# fuse, 'checked', \"twice\n,\n10,25\n20,x\n"
    with pytest.raises(InputError, match=r"row 9, column 'supply_current_a': 'x'"):
        read(noisy)
    assert read(noisy.replace("20,x", "20,22.5")) == read(PLAIN)
    assert read(noisy.replace("20,x", "20,22.5")).notes == ()


def test_quoted_cells_may_hold_separators_and_quote_marks():
    quoted = PLAIN.replace("_a\n", "_a,event\n").replace("25\n", '25,"inverter, 24"" panel"\n')
    assert read(quoted).events == (Event(elapsed_s=10, text='inverter, 24" panel'),)
    assert read(quoted) == read(quoted.replace("0,30", '"0","30",""'))


def test_quote_mark_inside_a_plain_cell_is_text():
    text = PLAIN.replace("_a\n", "_a,event\n").replace("25\n", '25,open 24" panel\n')
    assert read(text).events == (Event(elapsed_s=10, text='open 24" panel'),)


def test_quoted_separator_in_the_header_does_not_shift_columns():
    text = '"note, free",elapsed_s,supply_current_a\nx,0,30\ny,10,25\nz,20,22.5\n'
    assert read(text) == read(PLAIN)


def test_more_than_one_byte_order_mark_is_harmless():
    assert readings_from_bytes(b"\xef\xbb\xbf" * 2 + PLAIN.encode(), "log.csv") == read(PLAIN)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "latin-1"])
def test_encodings(encoding):
    text = FULL.replace("pump on", "éclairage allumé")
    readings = readings_from_bytes(text.encode(encoding), "log.csv")
    assert readings.events == (Event(elapsed_s=10, text="éclairage allumé"),)
    assert any("not UTF-8" in note for note in readings.notes) == (encoding == "latin-1")


def test_elapsed_times_are_kept_as_given():
    assert read(HEADER + "5.5,30\n10,25\n20,22\n").elapsed_s.tolist() == [5.5, 10, 20]


def test_path_bytes_text_and_frame_agree(tmp_path):
    path = tmp_path / "log.csv"
    path.write_text(FULL, encoding="utf-8")
    frame = pd.read_csv(path)
    for other in (read_readings(path), read_readings(str(path)), readings_from_frame(frame)):
        assert other == read(FULL)
    assert readings_from_bytes(FULL.encode(), "log.csv") == read(FULL)
    assert read_readings(path).source == str(path)
    assert readings_from_frame(frame).source == "readings"


def test_frame_of_every_kind_of_column():
    frame = pd.DataFrame(
        {
            "Time": pd.date_range("2024-05-01T10:00", periods=3, freq="10s", tz="UTC"),
            "supply_current_a": pd.array([30, 25, None], dtype="Int64"),
            "supply_voltage_v": pd.Series([28.5, None, "28"], dtype=object),
            "load_a": pd.Categorical(["10", "10", "9"]),
            "event": [None, "pump on", float("nan")],
        }
    )
    frame = pd.concat([frame, frame.assign(Time=frame["Time"] + timedelta(minutes=1))])
    readings = readings_from_frame(frame, "log.csv")
    assert readings.elapsed_s.tolist() == [0, 10, 60, 70]
    assert np.array_equal(readings.supply_voltage_v, [28.5, np.nan] * 2, equal_nan=True)
    assert readings.load_a.tolist() == [10] * 4
    assert [event.elapsed_s for event in readings.events] == [10, 70]
    assert readings.started_at == datetime(2024, 5, 1, 10, tzinfo=UTC)
    assert readings.notes == ("2 rows dropped: no supply current; any event there is kept",)


@pytest.mark.parametrize(
    ("cell", "shown"), [(True, "'True'"), ([1], "'[1]'"), ("x", "'x'"), ("\ud800 x", "'x'")]
)
def test_frame_error_names_the_row_below_a_header(cell, shown):
    frame = pd.DataFrame({"elapsed_s": [0, 1, 2, 3], "supply_current_a": [1.0, 2.0, cell, 3.0]})
    with pytest.raises(InputError) as error:
        readings_from_frame(frame, "log.csv")
    assert_one_sentence(str(error.value), "row 4, column 'supply_current_a'", shown)


# Times


def test_iso_times_count_from_the_earliest_row():
    text = "time,supply_current_a\n2024-05-01T10:05:00,30\n2024-05-01T10:05:10.5,25\n"
    readings = read(text + "2024-05-01 10:06,22.5\n")
    assert readings.elapsed_s.tolist() == [0, 10.5, 60]
    assert readings.started_at == datetime(2024, 5, 1, 10, 5)


def test_iso_times_with_mixed_offsets_are_one_time_line():
    readings = read(
        "time,supply_current_a\n2024-05-01T10:05:00+02:00,30\n2024-05-01T08:05:10Z,25\n"
        "20240501T110520+0300,22.5\n2024-05-01T10:05:30.5 +02:00,22\n2024-05-01t08:05:40z,21\n"
    )
    assert readings.elapsed_s.tolist() == [0, 10, 20, 30.5, 40]
    assert readings.started_at == datetime(2024, 5, 1, 8, 5, tzinfo=UTC)
    assert readings.started_at.utcoffset() == timedelta(hours=2)


def test_event_row_may_be_the_earliest_time():
    readings = read(
        "time,supply_current_a,event\n2024-05-01T10:00:00,,power on\n2024-05-01T10:00:05,30,\n"
        "2024-05-01T10:00:10,25,\n2024-05-01T10:00:15,22,\n"
    )
    assert readings.elapsed_s.tolist() == [5, 10, 15]
    assert readings.started_at == datetime(2024, 5, 1, 10)
    assert readings.events == (Event(elapsed_s=0, text="power on"),)


def test_elapsed_wins_over_time_which_gives_the_start():
    header = "elapsed_s,time,supply_current_a\n"
    rows = ["5,2024-05-01T10:00:05,30\n", "10,,25\n", "20,2024-05-01T10:00:50,22\n"]
    readings = read(header + "".join(rows))
    assert readings.elapsed_s.tolist() == [5, 10, 20]
    assert readings.started_at == datetime(2024, 5, 1, 10)
    assert readings.notes == ("elapsed_s is used; time runs apart from it by 30 s",)
    assert read(header + "".join(reversed(rows))) == readings


def test_empty_time_column_beside_elapsed_is_no_matter():
    readings = read("elapsed_s,time,supply_current_a\n0,,30\n10,,25\n20,,22.5\n")
    assert readings == read(PLAIN)
    assert readings.notes == ()


# Cleaning


@pytest.mark.parametrize(
    ("text", "elapsed_s", "current_a", "note"),
    [
        (
            HEADER + "10,25\n0,30\n20,22\n5,28\n",
            [0, 5, 10, 20],
            [30, 28, 25, 22],
            "2 rows out of order of time: all rows were sorted",
        ),
        (
            HEADER + "0,30\n10,25\n10,26\n10,30\n20,22\n",
            [0, 10, 20],
            [30, 27, 22],
            "3 rows at the same time as another: their mean is used",
        ),
        (
            HEADER + "0,30\n5,\n7,NaN\n8,N/A\n10,25\n20,22\n",
            [0, 10, 20],
            [30, 25, 22],
            "3 rows dropped: no supply current; any event there is kept",
        ),
        (
            HEADER + "0,30\n,28\n10,25\n20,22\n",
            [0, 10, 20],
            [30, 25, 22],
            "1 row dropped: no time, and any event there is lost with it",
        ),
        (
            HEADER + "0,30\n1,29\n2,28\n63,25\n64,24\n140,20\n141,20\n",
            [0, 1, 2, 63, 64, 140, 141],
            [30, 29, 28, 25, 24, 20, 20],
            "2 long gaps in the readings, longest 76 s after 64 s",
        ),
        (
            HEADER.replace("\n", ",Ambient\n") + "0,30,8\n10,25,8\n20,22,8\n",
            [0, 10, 20],
            [30, 25, 22],
            "column 'ambient' is not used",
        ),
        (
            HEADER.replace("\n", ",\n") + "0,30,8\n10,25,8\n20,22,8\n",
            [0, 10, 20],
            [30, 25, 22],
            "column '' is not used",
        ),
    ],
    ids=["unsorted", "same time", "no current", "no time", "gap", "unknown column", "no name"],
)
def test_cleaning_is_reported(text, elapsed_s, current_a, note):
    readings = read(text)
    assert readings.elapsed_s.tolist() == elapsed_s
    assert readings.supply_current_a.tolist() == current_a
    assert readings.notes == (note,)


@pytest.mark.parametrize("rows", ["0,30\n60,25\n120,22\n", "0,30\n1,29\n2,28\n62,25\n63,24\n"])
def test_no_gap_up_to_60_s_or_10_median_intervals(rows):
    assert read(HEADER + rows).notes == ()


def test_no_gap_where_every_interval_is_long():
    assert read(HEADER + "0,30\n30,27\n60,25\n360,22\n390,21\n").notes == ()


def test_mean_of_rows_at_one_time_skips_missing_cells_and_keeps_all_events():
    readings = read(
        "elapsed_s,supply_current_a,supply_voltage_v,battery_temp_c,event\n0,30,28,,\n"
        "10,20,,,pump on\n10,24,28.5,,fan on\n20,22,28,20,\n"
    )
    assert readings.supply_current_a.tolist() == [30, 22, 22]
    assert readings.supply_voltage_v.tolist() == [28, 28.5, 28]
    assert np.array_equal(readings.battery_temp_c, [np.nan, np.nan, 20], equal_nan=True)
    assert [event.text for event in readings.events] == ["fan on", "pump on"]


def test_event_without_a_current_is_kept():
    readings = read(HEADER.replace("\n", ",event\n") + "0,30,\n10,25,\n15,,pump on\n20,27,\n")
    assert readings.elapsed_s.tolist() == [0, 10, 20]
    assert readings.events == (Event(elapsed_s=15, text="pump on"),)


def test_event_text_is_one_clean_line():
    frame = pd.DataFrame({"elapsed_s": [0, 1, 2], "supply_current_a": [3, 2, 1]})
    readings = readings_from_frame(frame.assign(event=[" pump\x07\n on ", "\x07", None]))
    assert readings.events == (Event(elapsed_s=0, text="pump on"),)


def test_unknown_column_close_to_a_given_one_is_only_noted():
    text = HEADER.replace("\n", ",supply_current,timestamp\n") + "0,30,1,\n10,25,1,\n20,22,1,\n"
    notes = ("column 'supply_current' is not used", "column 'timestamp' is not used")
    assert read(text).notes == notes


def test_short_rows_leave_optional_cells_empty():
    readings = read(FULL.replace("20,22.5,28.3,12.5,22,10,", "20,22.5"))
    assert np.isnan(readings.supply_voltage_v[2])
    assert readings.supply_current_a[2] == 22.5


@pytest.mark.parametrize(
    ("column", "values"),
    [
        ("supply_current_a", ["-1", "0.2", "0"]),
        ("supply_current_a", ["2000", "1", "1"]),
        ("battery_current_a", ["-2000", "2000", "0"]),
        ("supply_voltage_v", ["0", "5", "100"]),
        ("battery_temp_c", ["-60", "0", "120"]),
        ("elapsed_s", ["0", "1", "86400"]),
        ("load_a", ["-1", "0", "2000"]),
    ],
)
def test_values_on_a_bound_are_read(column, values):
    columns = {"elapsed_s": ["0", "1", "2"], "supply_current_a": ["9", "8", "7"]}
    columns[column] = values
    expected = [float(value) for value in columns[column]]
    frame = pd.DataFrame(columns)
    assert getattr(readings_from_frame(frame), column).tolist() == expected


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
    "header only": (HEADER, ["header but no readings", "one row per reading"]),
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
    assert_one_sentence(str(error.value), *parts)


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


def test_text_that_cannot_be_encoded_is_refused():
    with pytest.raises(InputError, match="is not a text file"):
        read(PLAIN + "\ud800")


def test_source_cannot_break_the_sentence():
    with pytest.raises(InputError) as error:
        readings_from_text("", "log.csv: a\nb\x07")
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
    monkeypatch.setattr(module, "_MAX_BYTES", 3_000_000)
    path = tmp_path / "log.csv"
    path.write_bytes(b"1" * 10_000_000)
    with pytest.raises(InputError, match="is too large"):
        read_readings(path)


# Writing


def test_written_file_is_the_contract_csv():
    events = ((10, '24" panel, on'), (10, "pump\n on"), (15, "fan"))
    readings = Readings(
        elapsed_s=[0, 10, 20],
        supply_current_a=[30, 25, 0.1 + 0.2],
        events=tuple(Event(elapsed_s=elapsed_s, text=text) for elapsed_s, text in events),
    )
    assert readings_csv(readings) == (
        'elapsed_s,supply_current_a,event\n0.0,30.0,\n10.0,25.0,"24"" panel, on"\n'
        "10.0,,pump on\n15.0,,fan\n20.0,0.30000000000000004,\n"
    )


def test_written_start_stands_as_time_in_every_row():
    zone = timezone(timedelta(hours=2))
    readings = read(PLAIN).model_copy(update={"started_at": datetime(2024, 5, 1, 10, tzinfo=zone)})
    lines = readings_csv(readings).splitlines()
    assert lines[0] == "elapsed_s,time,supply_current_a"
    assert lines[2] == "10.0,2024-05-01T10:00:10+02:00,25.0"


def test_written_times_run_on_when_the_clocks_change():
    start = datetime(2024, 10, 27, 1, 30, tzinfo=ZoneInfo("Europe/Paris"))
    readings = read(HEADER + "0,30\n3600,25\n7200,22\n").model_copy(update={"started_at": start})
    again = read(readings_csv(readings))
    assert again == readings
    assert again.notes == ()


# Properties

MICROSECONDS = st.sampled_from([0, 500_000, 1_000_000]) | st.integers(0, 86_400_000_000)
AMPERES = st.floats(0.2, 2000)
EVENT_TEXTS = st.text(st.characters(codec="utf-8"), max_size=12)
STARTS = st.none() | st.datetimes(
    datetime(1990, 1, 1),
    datetime(2100, 1, 1),
    timezones=st.none() | st.integers(-840, 840).map(lambda m: timezone(timedelta(minutes=m))),
)
OPTIONAL = {
    "supply_voltage_v": st.floats(5, 100),
    "battery_current_a": st.floats(-2000, 2000),
    "battery_temp_c": st.floats(-60, 120),
    "load_a": st.floats(-1, 2000),
}


@st.composite
def tables(draw, unique=False):
    """Raw rows as a spreadsheet holds them: any order, times that repeat, empty cells."""
    times = draw(st.lists(MICROSECONDS, min_size=3, max_size=12, unique=unique))
    times[:3] = [0, 1_000_000, 2_500_000] if not unique else times[:3]
    n = len(times)
    columns = {
        "elapsed_s": [microseconds / 1e6 for microseconds in times],
        "supply_current_a": draw(st.lists(AMPERES, min_size=n, max_size=n)),
    }
    for name in draw(st.sets(st.sampled_from(sorted(OPTIONAL)))):
        cells = draw(st.lists(st.none() | OPTIONAL[name], min_size=n - 1, max_size=n - 1))
        columns[name] = [draw(OPTIONAL[name]), *cells]
    if draw(st.booleans()):
        columns["event"] = draw(st.lists(st.none() | EVENT_TEXTS, min_size=n - 1, max_size=n - 1))
        columns["event"].append(draw(st.sampled_from(["pump on", ""])))
    return pd.DataFrame(columns)


def no_deadline(max_examples):
    return settings(max_examples=max_examples, deadline=None, derandomize=True)


@no_deadline(25)
@given(tables(), st.integers(0, 2**32 - 1))
def test_order_of_rows_does_not_matter(frame, seed):
    order = np.random.default_rng(seed).permutation(len(frame))
    assert readings_from_frame(frame.iloc[order]) == readings_from_frame(frame)


@no_deadline(40)
@given(tables(), STARTS)
def test_written_readings_read_back_equal(frame, started_at):
    readings = readings_from_frame(frame).model_copy(update={"started_at": started_at})
    assert read(readings_csv(readings)) == readings


@no_deadline(25)
@given(tables(), st.sampled_from([";", "\t"]), st.booleans())
def test_separator_and_quoting_do_not_matter(frame, separator, quote_all):
    frame = frame.assign(event=frame.get("event", pd.Series([""] * len(frame))))
    frame["event"] = [" ".join(str(e or "").split()) for e in frame["event"]]
    frame["event"] = [e if e.isprintable() else "x" for e in frame["event"]]
    commas = frame.to_csv(index=False)
    other = frame.to_csv(index=False, sep=separator, quoting=1 if quote_all else 0)
    assert read(other) == read(commas)
    assert read(commas) == readings_from_frame(frame)


@no_deadline(25)
@given(tables(unique=True), STARTS.filter(bool))
def test_iso_times_equal_elapsed_times(frame, start):
    frame["elapsed_s"] -= frame["elapsed_s"].min()
    clock = [(start + timedelta(seconds=s)).isoformat() for s in frame["elapsed_s"]]
    timed = readings_from_frame(frame.drop(columns="elapsed_s").assign(time=clock))
    plain = readings_from_frame(frame)
    # Time text carries whole microseconds.
    assert np.abs(timed.elapsed_s - plain.elapsed_s).max() <= 1e-6
    assert timed.started_at == start
    assert np.array_equal(timed.supply_current_a, plain.supply_current_a)
    assert [event.text for event in timed.events] == [event.text for event in plain.events]


NUMBERS = ["0", "1", "2", "30", "12.5", "12,5", "-0.5", "1e9", "1e400", "inf", "nan", "-"]
QUOTES = ['""', '"', '"a""b"', '"a;b"', '24"', "#", "_", "x", "é", "\x0c", "\u2028", "\ufeff"]
TIMES = ["2024-05-01T10:00:00", "2024-05-01T10:00:01Z", "10:05:00"]
CELLS = st.sampled_from(["", *NUMBERS, *QUOTES, *TIMES])
HEADERS = st.lists(
    st.sampled_from(["elapsed_s", "time", "supply_current_a", "event", "load_a", "x", ""]),
    min_size=1,
    max_size=5,
)
ROWS = st.lists(st.lists(CELLS, max_size=5), max_size=6)


@st.composite
def near_files(draw):
    separator, line_end = draw(st.sampled_from(",;\t")), draw(st.sampled_from(["\n", "\r\n", "\r"]))
    return line_end.join(separator.join(row) for row in [draw(HEADERS), *draw(ROWS)])


def assert_read_or_refused(read_it):
    try:
        readings, texts = read_it(), []
    except InputError as error:
        readings, texts = None, [str(error)]
    assert all(text.startswith("log.csv: ") for text in texts)
    assert readings is None or len(readings) >= 3
    assert all(text.isprintable() for text in [*texts, *(readings.notes if readings else ())])


@no_deadline(200)
@given(st.text() | near_files() | near_files().map(lambda text: PLAIN + text))
def test_any_text_is_read_or_refused_in_one_sentence(text):
    assert_read_or_refused(lambda: read(text))


@no_deadline(200)
@given(
    st.binary()
    | st.binary().map(lambda tail: PLAIN.encode() + tail)
    | st.tuples(near_files(), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])).map(
        lambda pair: pair[0].encode(pair[1], errors="replace")
    )
)
def test_any_bytes_are_read_or_refused_in_one_sentence(data):
    assert_read_or_refused(lambda: readings_from_bytes(data, "log.csv"))
