"""Written readings read back, order and separators do not matter, and nothing else is raised."""

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
from hypothesis import assume, given
from hypothesis import strategies as st

from batterymodel.errors import InputError
from batterymodel.inputs.readings import (
    readings_csv,
    readings_from_bytes,
    readings_from_frame,
)
from batterymodel.inputs.records import Event, Readings
from batterymodel.inputs.set_back import set_back_at
from batterymodel.inputs.table_times import pauses, run_starts
from tests.inputs.csv_text import HEADER, PLAIN, read
from tests.sparing import examples

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
    """Raw rows as a spreadsheet holds them, in any order but of two runs or a clock set back."""
    times = draw(st.lists(MICROSECONDS, min_size=3, max_size=12, unique=unique))
    times[:3] = [0, 1_000_000, 2_500_000] if not unique else times[:3]
    n = len(times)
    columns = {
        "elapsed_s": [microseconds / 1e6 for microseconds in times],
        "supply_current_a": [draw(AMPERES) for _ in range(3)],
    }
    more = AMPERES if unique else st.none() | AMPERES
    columns["supply_current_a"] += draw(st.lists(more, min_size=n - 3, max_size=n - 3))
    for name in draw(st.sets(st.sampled_from(sorted(OPTIONAL)))):
        cells = draw(st.lists(st.none() | OPTIONAL[name], min_size=n - 1, max_size=n - 1))
        columns[name] = [draw(OPTIONAL[name]), *cells]
    if draw(st.booleans()):
        columns["event"] = draw(st.lists(st.none() | EVENT_TEXTS, min_size=n - 1, max_size=n - 1))
        columns["event"].append(draw(st.sampled_from(["pump on", ""])))
    frame = pd.DataFrame(columns)
    assume(is_one_run(frame))
    return frame


def is_one_run(frame):
    """Whether its rows are those of one connection whose clock nobody set back."""
    read = frame[["elapsed_s", "supply_current_a"]].dropna().to_numpy(float).T
    return not run_starts(read[0]) and set_back_at(*read) is None


@examples(25)
@given(tables(), st.integers(0, 2**32 - 1))
def test_order_of_rows_does_not_matter(frame, seed):
    order = np.random.default_rng(seed).permutation(len(frame))
    assume(is_one_run(frame.iloc[order]))
    assert readings_from_frame(frame.iloc[order]) == readings_from_frame(frame)


@examples(40)
@given(tables(), STARTS)
def test_written_readings_read_back_equal(frame, started_at):
    readings = readings_from_frame(frame).model_copy(update={"started_at": started_at})
    assert read(readings_csv(readings)) == readings


@examples(25)
@given(tables(), st.sampled_from([";", "\t"]), st.booleans())
def test_separator_and_quoting_do_not_matter(frame, separator, quote_all):
    frame = frame.assign(event=frame.get("event", pd.Series([""] * len(frame))))
    frame["event"] = [" ".join(str(e or "").split()) for e in frame["event"]]
    frame["event"] = [e if e.isprintable() else "x" for e in frame["event"]]
    commas = frame.to_csv(index=False)
    other = frame.to_csv(index=False, sep=separator, quoting=1 if quote_all else 0)
    assert read(other) == read(commas)
    assert read(commas) == readings_from_frame(frame)


@examples(25)
@given(tables(unique=True), STARTS.filter(bool))
def test_iso_times_equal_elapsed_times(frame, start):
    frame["elapsed_s"] -= frame["elapsed_s"].min()
    # A clock that hours part is of two connections, a count is not.
    assume(not pauses(np.sort(frame["elapsed_s"].round(6))))
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
        readings, texts = None, list(error.faults)
    assert all(text.startswith("log.csv: ") for text in texts)
    assert readings is None or len(readings) >= 3
    assert all(text.isprintable() for text in [*texts, *(readings.notes if readings else ())])


@examples(200)
@given(st.text() | near_files() | near_files().map(lambda text: PLAIN + text))
def test_any_text_is_read_or_refused_in_one_sentence(text):
    assert_read_or_refused(lambda: read(text))


@examples(200)
@given(
    st.binary()
    | st.binary().map(lambda tail: PLAIN.encode() + tail)
    | st.tuples(near_files(), st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"])).map(
        lambda pair: pair[0].encode(pair[1], errors="replace")
    )
)
def test_any_bytes_are_read_or_refused_in_one_sentence(data):
    assert_read_or_refused(lambda: readings_from_bytes(data, "log.csv"))
