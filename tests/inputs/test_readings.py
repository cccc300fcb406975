"""What is read from a CSV or a table, how times are taken, and what cleaning reports."""

from datetime import UTC, datetime, timedelta

import numpy as np
import pandas as pd
import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.readings import (
    read_readings,
    readings_from_bytes,
    readings_from_frame,
)
from batterymodel.inputs.records import Event
from tests.inputs.csv_text import FULL, HEADER, PLAIN, assert_one_sentence, read

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
    assert readings.notes == (
        "2 rows dropped: no supply current; any event or battery temperature there is kept",
    )


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
            "2 rows out of order of time, row 3 first: all rows were sorted",
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
            "3 rows dropped: no supply current; any event or battery temperature there is kept",
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


def test_a_temperature_beside_no_current_keeps_its_time():
    text = "elapsed_s,supply_current_a,battery_temp_c\n0,30,20\n30,28,\n60,27,21\n400,,46\n"
    readings = readings_from_bytes(text.encode(), "log.csv")
    at_s, temps = readings.battery_temps()
    assert at_s.tolist() == [0.0, 60.0, 400.0]
    assert temps.tolist() == [20.0, 21.0, 46.0]
    assert readings.elapsed_s.tolist() == [0.0, 30.0, 60.0]
    left_out = readings.battery_temps(but=np.array([True, False, False]))
    assert left_out[1].tolist() == [21.0, 46.0]
