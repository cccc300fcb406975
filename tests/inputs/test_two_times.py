"""A clock beside a count: sure only where both tell the same."""

import pytest

from batterymodel.inputs.column_guess import Sureness
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign

SECONDS = [0, 10, 20, 30, 40, 50, 60]
STAMPS = [f"2026-03-02 14:0{s // 60}:{s % 60:02}" for s in SECONDS]
MINUTES = [f"14:0{k}" for k in range(7)]


def content_of(header, *columns):
    rows = [";".join(map(str, row)) for row in zip(*columns, strict=True)]
    return "\n".join([header, *(f"{row};{30 - k}" for k, row in enumerate(rows)), ""]).encode()


@pytest.mark.parametrize(
    ("header", "clock", "count"),
    [
        ("Date Time;ms;Current (A)", STAMPS, [12, 137, 250, 377, 500, 620, 741]),
        ("Time;Sec;Current (A)", MINUTES, range(0, 35, 5)),
        ("Time of day;Sec;Current (A)", MINUTES, range(0, 35, 5)),
        ("Date Time;Sec;Current (A)", [f"2026-03-02 {m}" for m in MINUTES], range(0, 35, 5)),
        ("Date Time;Elapsed (min);Current (A)", STAMPS, SECONDS),
        ("Date Time;Elapsed (s);Current (A)", STAMPS, [2 * s for s in SECONDS]),
        ("Date Time;Elapsed (s);Current (A)", STAMPS, [0, 10, 20, 30, 40, 50, 68]),
        ("Time;Elapsed (s);Current (A)", [s.split()[1] for s in STAMPS], [s / 60 for s in SECONDS]),
    ],
)
def test_times_that_run_apart_are_asked_for(header, clock, count):
    guess = guess_columns(content_of(header, clock, count), "log.csv")
    first, second = guess.columns[:2]
    assert first.sureness is second.sureness is Sureness.UNSURE
    assert "runs over" in second.why or "unit" in second.why


def test_a_date_and_a_clock_are_one_time():
    days, clocks = zip(*(stamp.split() for stamp in STAMPS), strict=True)
    content = content_of("Date;Time;ms;Current (A)", days, clocks, range(100, 800, 100))
    guess = guess_columns(content, "log.csv")
    assert [g.column.header for g in guess.unsure] == ["Time", "ms"]
    assert guess.unsure[1].why == "'Time' runs over 60 s, 'ms' over 0.6 s"


@pytest.mark.parametrize(
    ("header", "clock", "count"),
    [
        ("Date Time;Elapsed (s);Current (A)", STAMPS, SECONDS),
        ("Date Time;Elapsed (s);Current (A)", STAMPS, [7 + s for s in SECONDS]),
        ("Date Time;Elapsed (s);Current (A)", STAMPS, [0, 10, 20, 30, 40, 50, 63]),
        (
            "Time of day;Elapsed (s);Current (A)",
            [f"9:0{k}" for k in range(7)],
            [25, 59, *range(119, 419, 60)],
        ),
        ("Time of day;Elapsed (s);Current (A)", MINUTES, [25 + 58 * k for k in range(7)]),
        ("Date Time;Elapsed (min);Current (A)", STAMPS, [s / 60 for s in SECONDS]),
    ],
)
def test_times_that_tell_the_same_leave_no_doubt(header, clock, count):
    content = content_of(header, clock, count)
    guess = guess_columns(content, "log.csv")
    assert guess.is_sure
    assert len(readings_from_foreign(content, "log.csv", guess.column_map).elapsed_s) == 7


def test_what_a_person_told_is_no_question():
    content = content_of("Date Time;ms;Current (A)", STAMPS, range(100, 800, 100))
    told = ["ms=ignored", "Date Time=time:ymd"]
    assert guess_columns(content, "log.csv", told).is_sure
