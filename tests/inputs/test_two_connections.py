"""Two connections in one file, hours apart: refused, since only a person knows which is meant."""

import pytest

from batterymodel.errors import InputError
from batterymodel.inputs.foreign import guess_columns, readings_from_foreign

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
