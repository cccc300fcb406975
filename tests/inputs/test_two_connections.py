"""Two connections in one file: refused where hours part them, noted where the current does."""

from datetime import datetime, timedelta

import numpy as np
import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.runs import last_run
from batterymodel.inputs.second_starts import second_starts, starts_anew
from batterymodel.inputs.table_times import pauses

AMPS = (48.2, 40.1, 33.4, 27.9)


def content_of(header, stamp, *hours, step=10):
    rows = [(h, k * step // 60, k * step % 60, a) for h in hours for k, a in enumerate(AMPS)]
    lines = [f"{stamp.format(h=h, m=m, s=s)};{a}" for h, m, s, a in rows]
    return "\n".join([f"{header};Current (A)", *lines, ""]).encode()


def read(content):
    return readings_from_foreign(content, "log.csv", guess_columns(content, "log.csv").column_map)


@pytest.mark.parametrize(
    ("header", "stamp"),
    [
        ("Time", "2026-03-02 {h:02}:{m:02}:{s:02}"),
        ("Time", "{h:02}:{m:02}:{s:02}"),
        ("Date;Time", "2026-03-02;{h:02}:{m:02}:{s:02}"),
    ],
)
@pytest.mark.parametrize(("hours", "rows"), [((9, 12), "2 to 5 or rows 6 to 9"), ((12, 9), "6 to")])
def test_two_connections_hours_apart_are_refused(header, stamp, hours, rows):
    with pytest.raises(InputError) as caught:
        read(content_of(header, stamp, *hours))
    assert "s without a reading stand before it, as between two connections" in str(caught.value)
    assert f"give the readings of one: rows {rows}" in str(caught.value)
    assert "column 'Time'" in str(caught.value)


def test_a_count_says_itself_that_it_is_one_connection():
    content = content_of("Elapsed", "{h}:{m:02}:{s:02}", 0, 3)
    assert read(content).elapsed_s[-1] == 3 * 3600.0 + 30.0


def test_one_connection_is_read():
    stamp = "2026-03-02 {h:02}:{m:02}:{s:02}"
    assert len(read(content_of("Time", stamp, 9)).elapsed_s) == 4
    assert len(read(content_of("Time", stamp, 9, 10, 11, step=900)).elapsed_s) == 12


def test_a_lone_reading_an_hour_later_is_of_the_same_connection():
    content = content_of("Time", "2026-03-02 {h:02}:{m:02}:{s:02}", 9)
    late = content + b"2026-03-02 11:00:00;9.8\n"
    assert read(late).elapsed_s[-1] == 7200.0


def test_rows_without_a_current_do_not_join_two_connections():
    stamp = "{h:02}:{m:02}:{s:02}"
    first, second = (content_of("Time", stamp, hour).decode() for hour in (9, 12))
    between = "".join(f"{stamp.format(h=h, m=m, s=0)};\n" for h in (9, 10, 11) for m in (30, 59))
    with pytest.raises(InputError, match="as between two connections"):
        read((first + between + second.partition("\n")[2]).encode())


@pytest.mark.parametrize(
    ("elapsed_s", "places"),
    [
        ((0, 10, 3610, 3620), []),
        ((0, 10, 3611, 3621), [2]),
        ((0, 600, 1200, 7200, 7800), []),
        ((0, 600, 1200, 7201, 7801), [3]),
        ((0, 3700, 3710, 3720), []),
        ((0, 10, 4000, 4010, 8000, 8010), [2, 4]),
    ],
)
def test_a_pause_is_over_an_hour_and_ten_usual_steps_between_several_rows(elapsed_s, places):
    assert pauses(np.array(elapsed_s, dtype=float)) == places


# The project's own format


def own_content(header, *hours, counts=(0,)):
    lines = []
    for hour, count_s in zip(hours, counts * len(hours), strict=False):
        for k, amps in enumerate(AMPS):
            stamp = f"2026-03-02T{hour:02}:00:{10 * k:02}"
            lines.append(
                f"{count_s + 10 * k},{stamp},{amps}" if "," in header else f"{stamp},{amps}"
            )
    return "\n".join([f"{header},supply_current_a", *lines, ""]).encode()


@pytest.mark.parametrize("hours", [(9, 12), (12, 9)])
def test_the_own_format_refuses_two_connections_by_its_clock(hours):
    with pytest.raises(InputError) as caught:
        readings_from_bytes(own_content("time", *hours), "log.csv")
    rows = "rows 2 to 5 or rows 6 to 9" if hours == (9, 12) else "rows 6 to 9 or rows 2 to 5"
    assert str(caught.value).endswith(
        "column 'time': 10770 s without a reading stand before it, as between two connections; "
        f"give the readings of one: {rows}"
    )


def test_the_own_format_refuses_a_count_that_went_on_hours_later():
    with pytest.raises(InputError) as caught:
        readings_from_bytes(own_content("elapsed_s,time", 9, 12, counts=(0, 40)), "log.csv")
    assert str(caught.value) == (
        "log.csv: column 'time': runs apart from 'elapsed_s' by 10760 s, as over two connections; "
        "give the readings of one, or leave out the column that is wrong"
    )


@pytest.mark.parametrize(("apart_s", "is_read"), [(3600, True), (3601, False)])
def test_a_clock_an_hour_and_no_more_from_the_count_is_of_one_connection(apart_s, is_read):
    """As where a clock was set from summer to winter time."""
    content = own_content("elapsed_s,time", 9, 12, counts=(0, 3 * 3600 - apart_s))
    if is_read:
        assert "runs apart from it by 3600 s" in readings_from_bytes(content, "log.csv").notes[0]
    else:
        with pytest.raises(InputError, match="runs apart from 'elapsed_s' by 3601 s"):
            readings_from_bytes(content, "log.csv")


def test_a_count_and_a_clock_that_tell_the_same_pause_are_one_connection():
    content = own_content("elapsed_s,time", 9, 12, counts=(0, 3 * 3600))
    assert readings_from_bytes(content, "log.csv").elapsed_s[-1] == 3 * 3600.0 + 30.0


@pytest.mark.parametrize(
    ("content", "row"),
    [
        (own_content("time", 9, 12), 6),
        (own_content("time", 7, 9, 12), 10),
        (own_content("time", 9), None),
        (own_content("elapsed_s,time", 9, 12, counts=(0, 3 * 3600)), None),
    ],
)
def test_of_a_growing_log_of_the_own_format_the_last_connection_is_followed(content, row):
    run = last_run(content, "log.csv", ColumnMap(columns=(), own=True))
    assert (run.row, run.paused) == (row, row is not None)
    readings = readings_from_bytes(run.content, "log.csv")
    assert row is None or readings.started_at.hour == 12


# Less than an hour apart: told by the current


def current_a(time_s, amplitude_a=30.0):
    """A taper of two time constants over a load of 8 A (invented)."""
    fast, slow = np.exp(-time_s / 250.0), np.exp(-time_s / 1500.0)
    return 8.4 + amplitude_a * (0.6 * fast + 0.4 * slow)


RUN_S = np.arange(0.0, 601.0, 15.0)


def log_of(gap_min, second, clock, run_s=RUN_S, event=""):
    elapsed_s = np.concatenate([run_s, run_s[-1] + 60.0 * gap_min + run_s])
    currents = np.concatenate([current_a(run_s), second(run_s, run_s[-1] + 60.0 * gap_min)])
    start = datetime(2026, 3, 2, 9)
    texts = [(start + timedelta(seconds=s)).isoformat() if clock else f"{s:g}" for s in elapsed_s]
    events = [event if k == len(run_s) else "" for k in range(len(elapsed_s))]
    lines = [f"{t},{a:.1f},{e}" for t, a, e in zip(texts, currents, events, strict=True)]
    head = f"{'time' if clock else 'elapsed_s'},supply_current_a,event"
    return "\n".join([head, *lines, ""]).encode()


def anew(time_s, _):
    return current_a(time_s, 26.0)


def anew_lower(time_s, _):
    return current_a(time_s, 18.0)


def anew_higher(time_s, _):
    return current_a(time_s, 60.0)


def going_on(time_s, since_s):
    return current_a(time_s + since_s)


def running_away(time_s, since_s):
    return 34.4 + time_s / 60.0


def with_a_load(time_s, since_s):
    return going_on(time_s, since_s) + 12.0


def with_a_motor(time_s, since_s):
    """A motor draws 40 A more while it starts, and 6 A more from then on."""
    return going_on(time_s, since_s) + 6.0 + 40.0 * np.exp(-time_s / 10.0)


def with_loads_for_a_while(time_s, since_s):
    """Two loads that are switched off one after the other."""
    return going_on(time_s, since_s) + 9.0 * (time_s < 50.0) + 8.0 * (time_s < 400.0)


def anew_notes(content):
    readings = readings_from_bytes(content, "log.csv")
    assert len(readings) == 82
    return [note for note in readings.notes if "falls anew" in note]


@pytest.mark.parametrize("clock", [True, False])
@pytest.mark.parametrize("gap_min", [10, 30, 50])
@pytest.mark.parametrize("second", [anew, anew_lower, anew_higher])
def test_a_current_that_falls_anew_after_a_gap_is_read_and_noted(gap_min, second, clock):
    assert anew_notes(log_of(gap_min, second, clock)) == [
        f"row 43: after {60 * gap_min} s without a reading the current falls anew, as in a second "
        "connection"
    ]


@pytest.mark.parametrize("clock", [True, False])
@pytest.mark.parametrize("gap_min", [10, 30, 50])
@pytest.mark.parametrize(
    "second", [going_on, with_a_load, running_away, with_a_motor, with_loads_for_a_while]
)
def test_one_connection_that_was_not_looked_at_for_a_while_has_no_note(gap_min, second, clock):
    assert anew_notes(log_of(gap_min, second, clock)) == []


def test_a_slow_taper_read_often_did_not_begin_at_a_limit():
    """Flat within a twentieth for 15 s, as any taper is; a load for some minutes brings it back."""
    time_s = np.arange(0.0, 601.0, 5.0)
    slow = 10.0 + 20.0 * np.exp(-np.concatenate([time_s, 1500.0 + time_s]) / 1500.0)
    load = 15.0 * (time_s < 200.0) + 1.0 * (time_s < 300.0)
    current = np.round(slow + np.concatenate([np.zeros(time_s.size), load]), 1)
    elapsed_s = np.concatenate([time_s, 1500.0 + time_s])
    assert current[time_s.size] > 0.95 * current[0]
    assert second_starts(elapsed_s, current) == []
    at_limit = np.minimum(current, 27.0)
    assert second_starts(elapsed_s, at_limit) == [time_s.size]


def test_a_switch_that_was_told_explains_the_rise():
    assert anew_notes(log_of(30, anew, True, event="radios on")) == []


@pytest.mark.parametrize(
    "event",
    [
        "Reconnected",
        "disconnected 20 min",
        "ground power off",
        "power back",
        "supply on",
        "unplugged",
    ],
)
def test_an_event_that_tells_of_the_connection_itself_explains_no_rise(event):
    content = log_of(30, anew, True, event=event)
    assert len(anew_notes(content)) == 1
    assert starts_anew(readings_from_bytes(content, "log.csv")) == [41]


def test_readings_taken_seldom_are_of_one_connection():
    content = log_of(45, going_on, True, run_s=np.arange(0.0, 7201.0, 900.0))
    assert len(readings_from_bytes(content, "log.csv")) == 18


@pytest.mark.parametrize("second", [anew, going_on, running_away])
def test_a_growing_log_is_followed_whole_across_minutes(second):
    content = log_of(10, second, True)
    run = last_run(content, "log.csv", ColumnMap(columns=(), own=True))
    assert (run.content, run.row) == (content, None)


SEVEN_S = (0, 60, 120, 180, 480, 540, 600)
FIRST = [40.0, 31.0, 25.0, 21.0]


@pytest.mark.parametrize(
    ("elapsed_s", "currents", "places"),
    [
        (SEVEN_S, (*FIRST, 36.0, 28.0, 23.0), [4]),
        ((0, 60, 120, 180, 479, 539, 599), (*FIRST, 36.0, 28.0, 23.0), []),
        ((0, 50, 100, 150, 449, 499, 549), (*FIRST, 36.0, 28.0, 23.0), []),
        ((0, 61, 122, 183, 487, 548, 609), (*FIRST, 36.0, 28.0, 23.0), []),
        ((0, 60, 120, 180, 480, 540), (*FIRST, 36.0, 28.0), []),
        ((0, 60, 360, 420, 480), (40.0, 21.0, 36.0, 28.0, 23.0), []),
        # about where it was first, half of the 19 A that it had fallen: one step is enough
        (SEVEN_S, (*FIRST, 30.5, 20.0, 20.0), [4]),
        (SEVEN_S, (*FIRST, 30.4, 20.0, 20.0), []),
        (SEVEN_S, (*FIRST, 49.5, 40.0, 40.0), [4]),
        (SEVEN_S, (*FIRST, 49.6, 40.0, 40.0), []),
        # far from it, a tenth of the 40 A above where it was, and as much beside one step
        (SEVEN_S, (*FIRST, 25.0, 20.9, 16.9), [4]),
        (SEVEN_S, (*FIRST, 24.9, 20.8, 16.8), []),
        (SEVEN_S, (*FIRST, 30.4, 20.0, 16.0), [4]),
        (SEVEN_S, (*FIRST, 30.4, 20.0, 16.1), []),
        (SEVEN_S, (*FIRST, 60.0, 45.0, 41.0), [4]),
        # a tenth of the 40 A before
        (SEVEN_S, (40.0, 39.5, 38.0, 36.0, 40.0, 33.0, 30.0), [4]),
        (SEVEN_S, (40.0, 39.5, 38.0, 36.1, 40.0, 33.0, 30.0), []),
        # and after, to the end
        (SEVEN_S, (40.0, 22.0, 21.0, 21.0, 38.0, 36.0, 34.0), [4]),
        (SEVEN_S, (40.0, 22.0, 21.0, 21.0, 38.0, 36.0, 34.1), []),
        (SEVEN_S, (*FIRST, 36.0, 28.0, 37.0), []),
        (SEVEN_S, (*FIRST, 36.0, 38.0, 41.0), []),
        # from the limit it stood at first: more slowly than before
        (SEVEN_S, (40.0, 40.0, 38.0, 30.0, 38.0, 37.0, 34.0), [4]),
        (SEVEN_S, (40.0, 40.0, 38.0, 30.0, 37.9, 37.0, 33.9), []),
        (SEVEN_S, (40.0, 40.0, 37.9, 30.0, 38.0, 37.0, 34.0), []),
        # faster than before, over 40 s
        (SEVEN_S, (*FIRST, 36.0, 32.0, 31.0), []),
        (SEVEN_S, (*FIRST, 36.0, 31.9, 31.0), [4]),
    ],
)
def test_where_a_second_connection_begins(elapsed_s, currents, places):
    assert second_starts(np.array(elapsed_s, dtype=float), np.array(currents)) == places


@pytest.mark.parametrize(
    ("switched_s", "places"), [(180.0, [4]), (181.0, []), (480.0, []), (481.0, [4])]
)
def test_only_what_was_switched_in_the_gap_explains_the_rise(switched_s, places):
    currents = np.array([*FIRST, 36.0, 28.0, 23.0])
    assert second_starts(np.array(SEVEN_S, dtype=float), currents, [switched_s]) == places
