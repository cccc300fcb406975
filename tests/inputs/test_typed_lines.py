"""Lines of typed readings: what they hold, and the one sentence each that cannot be right gets."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.readings import readings_from_bytes
from batterymodel.inputs.records import Readings
from batterymodel.inputs.typed_lines import SOURCE, TypedLines, typed_lines

SEPARATORS = (" ", "\t", ";", " ; ", ", ", "   ", "\u00a0", ";\t")


def cells(text: str) -> list[tuple[float, float | None, str]]:
    """Time, current and event of each line."""
    rows = typed_lines(text).rows
    return [(float(t), float(i) if i else None, e) for t, i, e in rows.itertuples(index=False)]


def readings(text: str) -> Readings:
    found = typed_lines(text).readings
    assert found is not None
    return found


def faults(text: str) -> tuple[str, ...]:
    with pytest.raises(InputError) as caught:
        typed_lines(text)
    return caught.value.faults


def fault(line: str) -> str:
    """The sentence of a line among right ones, without the place it names."""
    (said,) = faults(f"0 20\n15 19\n{line}\n30 18")
    place = f"{SOURCE}: line 3: "
    assert said.startswith(place)
    return said.removeprefix(place)


@pytest.mark.parametrize("separator", SEPARATORS)
def test_every_separator_parts_time_current_and_event(separator):
    line = separator.join(("60", "17.5", "bus load on, by hand; twice"))
    assert cells(line) == [(60.0, 17.5, "bus load on, by hand; twice")]
    assert cells(separator.join(("60", "17.5"))) == [(60.0, 17.5, "")]


@pytest.mark.parametrize(
    "line",
    [
        *("  60 17.5 ", "60,\t17.5,", "60 17.5 ;;", "60\t17.5\t-", "\ufeff60 17.50\t\t"),
        *("60 17.5 N/A", "60 17.5 \u2013", "60\t17.5\t\u2014"),
    ],
)
def test_what_holds_nothing_is_no_part_of_a_line(line):
    assert cells(line) == [(60.0, 17.5, "")]


@pytest.mark.parametrize(
    ("time", "seconds"),
    [("0:00", 0.0), ("1:05", 65.0), ("1:05.5", 65.5), ("75:30", 4530.0), ("+5", 5.0), ("1e3", 1e3)],
)
def test_time_is_seconds_or_minutes_and_seconds(time, seconds):
    assert cells(f"0 20\n{time} 18.4")[1][0] == seconds


@pytest.mark.parametrize("ends", ["\n", "\r\n", "\r", "\n\n \t\n;;\n"])
def test_blank_lines_are_left_out_and_every_end_of_a_line_is_known(ends):
    found = readings(ends.join(("0 20", "30 19.5", "60 19")))
    assert found.elapsed_s.tolist() == [0.0, 30.0, 60.0]
    assert found.supply_current_a.tolist() == [20.0, 19.5, 19.0]
    assert not found.notes


@pytest.mark.parametrize(
    "line",
    [
        "45\t\tpump on",
        *("45;;pump on", "45 - pump on", "45 \u2013 pump on", "45 \u2014 pump on"),
        *("45 n/a pump on", "45 N/A pump on"),
    ],
)
def test_an_event_without_a_current_is_kept(line):
    found = readings(f"0 20\n30 19.5\n{line}\n60 19")
    assert found.elapsed_s.tolist() == [0.0, 30.0, 60.0]
    assert [(e.elapsed_s, e.text) for e in found.events] == [(45.0, "pump on")]
    assert [note.split(":")[0] for note in found.notes] == ["1 line dropped"]


@pytest.mark.parametrize(
    "event", ["🔋 radio on 🛩️ 𠀋", "A pump on", "second pump on", "on 28 V bus"]
)
def test_an_event_is_kept_as_written(event):
    assert [e.text for e in readings(f"0 20\n30 19\n60 27 {event}").events] == [event]


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("20 1,500", "'1,500' may have a comma of thousands or of decimals; write 1500 or 1.500"),
        ("1,000 19", "'1,000' may have a comma of thousands or of decimals; write 1000 or 1.000"),
        ("20 12,34", "'12,34' has a decimal comma; write '12.34'"),
        ("20 0,125", "'0,125' has a decimal comma; write '0.125'"),
        ("20 19,5", "'19,5' has a decimal comma; write '19.5'"),
        ("20,5 19", "'20,5' has a decimal comma; write '20.5'"),
        ("20,19.5", "'20,19.5' holds a comma but no space"),
        ("20,19", "'20,19' holds a comma but no space"),
        ("20", "'20' stands alone"),
        ("20\t", "'20' stands alone"),
        ("Time (s)\tCurrent (A)", "no line of titles"),
        ("\t19.5\t2 pumps on", "begins without a time"),
        (", 19.5", "begins without a time"),
        ("20s 19", "'20s' is not a number; seconds from the connection"),
        ("20 19.l", "'19.l' is not a number; amperes"),
        ("20 19A", "'19A' is not a number; amperes"),
        ("20 pump on", "'pump' is not a number; amperes"),
        ("20 inf", "'inf' is not a number"),
        ("20 1e999", "'1e999' is not a number"),
        ("20 5000000", "5000000 looks like milliamperes; in amperes it would be 5000"),
        ("20 -999", "-999 looks like a meter's mark for no value; a dash would be right"),
        ("20 9999", "9999 looks like a meter's mark for no value; a dash would be right"),
        ("-999 20", "-999 is negative; seconds from the connection would be right"),
        ("20 -4", "-4 is negative; it must not be below -1: meter leads reversed?"),
        ("-20 19", "-20 is negative; seconds from the connection would be right"),
        ("90000 19", "90000 is over 24 h and looks like milliseconds; give seconds"),
        ("10:05:00 19", "'10:05:00' is no time since connection; seconds"),
        ("1:75 19", "'1:75' is no time since connection"),
        ("0:20,5 19", "'0:20,5' is no time since connection"),
        ("20 19 5", "'5' behind the current may be a value"),
        ("20 19, 5 bus on", "'5 bus on' behind the current may be a value"),
        ("20 1 9.5 bus on", "'9.5 bus on' behind the current may be a value"),
        ("20 19 A", "'A' behind the current may be a value or a unit"),
        ("20 19 A 28.0 V", "'A 28.0 V' behind the current may be a value or a unit"),
        ("20 500 mA bus on", "'mA bus on' behind the current may be a value or a unit"),
        ("20 19 0:40 18", "'0:40 18' behind the current may be a value"),
    ],
)
def test_a_line_that_cannot_be_right_is_one_sentence(line, part):
    assert part in fault(line)


def test_all_lines_that_cannot_be_right_are_told_at_once_by_their_numbers():
    said = faults("0 20\n\n30 19,5\n40\n60 5000\n\nx y")
    assert [line.split(":")[1].strip() for line in said] == ["line 3", "line 4", "line 5", "line 7"]


@pytest.mark.parametrize(
    "text", ["", " \n\n", "0 20", "0 20\n15 19.5", "0 20\n15 19\n20 - pump on"]
)
def test_fewer_than_three_currents_are_awaited_and_no_error(text):
    assert typed_lines(text).readings is None


def test_three_currents_are_read_and_a_fault_is_told_before_there_are_three():
    assert len(readings("0 20\n15 19.5\n30 19")) == 3
    assert faults("0 20\n15") == (
        f"{SOURCE}: line 2: '15' stands alone; a time and behind it the current in A would be "
        "right",
    )


def test_what_only_the_whole_can_tell_names_lines():
    assert faults("0 0\n5 0\n10 0") == (
        f"{SOURCE}: current: every value is 0; was the clamp on the supply lead?",
    )
    assert faults("5 9\n5 8\n5 7")[0].startswith(f"{SOURCE}: usable readings: 1; at least 3")


@pytest.mark.parametrize(
    ("text", "lines"),
    [
        ("0 9\n10 7\n5 8", [3]),
        ("40 0\n31 60\n\n25 120\n21 180", [2, 4, 5]),
        ("0 9\n5 8\n10 7\n\n0 9\n5 8\n10 7", [5]),
        ("0 9\n600 8\n10 7\n20 6", [3]),
        ("0:50 9\n2 8", [2]),
        ("0 9\n5 8\n5 7\n10 6", []),
    ],
)
def test_times_that_run_backwards_are_told_and_never_sorted(text, lines):
    if not lines:
        assert readings(text).elapsed_s.tolist() == [0.0, 5.0, 10.0]
        return
    said = faults(text)
    assert [one.split(":")[1] for one in said] == [f" line {line}, time" for line in lines]
    assert all("put the lines in order of time since connection" in one for one in said)


def test_the_time_above_is_named_as_it_was_typed():
    (said,) = faults("0:50 9\n\n2 8")
    assert said == (
        f"{SOURCE}: line 3, time: '2' is before '0:50' of the line above; put the lines in order "
        "of time since connection, those of one connection alone: time first, then current"
    )


@pytest.mark.parametrize("mark", ["999", "-999"])
def test_marks_for_no_value_are_asked_about_as_a_kept_file_leaves_them_out(mark):
    said = faults(f"0 20\n15 19\n30 18\n45 17\n50 {mark}\n55 {mark}")[0]
    if mark == "999":
        assert said == (
            f"{SOURCE}: line 5, current: 999 looks like a meter's mark for no value, here and in "
            "line 6; a dash would be right"
        )
    else:
        assert said.endswith(
            "line 5: -999 looks like a meter's mark for no value; a dash would be right"
        )


def test_times_of_day_are_not_read_as_minutes_and_seconds():
    for first in ("1:00", "9:15", "23:59"):
        minutes, seconds = map(int, first.split(":"))
        at_s = 60 * minutes + seconds
        (said,) = faults(f"{minutes}:{seconds:02} 18\n{at_s + 60} 17\n{at_s + 90} 16")
        assert f"line 1: '{first}' would put the first reading {at_s} s after connection" in said
        assert len(readings(f"{at_s} 18\n{minutes + 1}:{seconds:02} 17\n{at_s + 90} 16")) == 3
    assert len(readings("0:59 18\n1:59 17\n2:59 16")) == 3
    (said,) = faults("23:50 40\n23:55 39.5\n0:00 39\n0:05 38.6")
    assert "line 1: '23:50' would put the first reading 1430 s after connection" in said


def minutes(*times_s: int) -> str:
    return "\n".join(f"{at // 60}:{at % 60:02} {20 - k}" for k, at in enumerate(times_s))


def test_times_seconds_apart_throughout_are_asked_about_as_times_of_day():
    (said,) = faults(minutes(10, 11, 12))
    assert said == (
        f"{SOURCE}: line 1: times from '0:10' to '0:12', 5 s apart or less, may be hours and "
        "minutes of a day; give times since connection, and write 10 for '0:10' if they are "
        "minutes and seconds"
    )
    assert faults(minutes(55, 60, 65))
    assert not isinstance(lines_or_faults(minutes(10, 11)), tuple)
    assert len(readings(minutes(10, 11, 17))) == 3
    assert len(readings("10 20\n0:11 19\n0:12 18")) == 3
    assert len(readings("0:10.0 20\n0:11.5 19\n0:12.0 18")) == 3


def test_a_lone_mark_is_asked_about_once_there_are_others():
    said = (
        f"{SOURCE}: line 2, current: 999 looks like a meter's mark for no value; a dash would be "
        "right, or 'as read' behind it if the meter says so"
    )
    assert faults("0 40\n60 999\n120 20") == (said,)
    assert faults("0 40\n60 999") == (said,)
    assert typed_lines("0 999").readings is None
    assert len(readings("0 1050\n60 999\n120 950")) == 3


@pytest.mark.parametrize(
    ("behind", "events"),
    [
        ("as read", []),
        (" As Read ", []),
        ("as read, pump on", ["pump on"]),
        ("as read -", []),
        ("'as read'", []),
        ('"As read" pump on', ["pump on"]),
        ("as read.", []),
        ("as read: pump on", ["pump on"]),
    ],
)
def test_a_lone_mark_that_the_meter_says_is_confirmed_in_words_and_kept_so(behind, events):
    found = typed_lines(f"0 40\n60 999 {behind}\n120 20")
    kept = readings_from_bytes(found.csv.encode(), "kept.csv")
    for read in (found.readings, kept):
        assert read.supply_current_a.tolist() == [40.0, 999.0, 20.0]
        assert [event.text for event in read.events] == events


def test_only_the_mark_that_is_confirmed_is_taken():
    assert "999 looks like" in faults("0 40 as read\n60 999\n120 20")[0]
    assert "999 looks like" in faults("0 40\n60 999 as reading lamp on\n120 20")[0]
    assert "here and in line 3" in faults("0 40\n60 999 as read\n120 999 as read\n180 20")[0]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("", ""),
        ("5 20", "1 reading, 5 s, 20 A; the answer needs 3"),
        ("5 - pump on", "0 readings, 1 event; the answer needs 3"),
        ("0 20\n15 19.5", "2 readings, 0 to 15 s, 19.5 to 20 A; the answer needs 3"),
        ("0 18.4\n2:30 8.1 pump on\n210 16.2", "3 readings, 0 to 210 s, 8.1 to 18.4 A, 1 event"),
    ],
)
def test_what_was_read_is_said_for_comparison(text, words):
    assert typed_lines(text).words == words


def test_more_lines_than_a_file_may_have_are_refused():
    assert "has more than 1,000,000 rows" in faults("\n" * 1_000_001)[0]


TIMES_S = st.integers(0, 86_400_000).map(lambda ms: ms / 1000.0)
EVENTS = st.text(st.characters(exclude_characters="\r\n", exclude_categories=["Cs"]), max_size=30)


@st.composite
def given_rows(draw) -> list[tuple[float, float, str]]:
    """Readings as a person may note them, each with or without an event."""
    times_s = sorted(draw(st.lists(TIMES_S, min_size=3, max_size=8, unique=True)))
    currents_a = draw(st.lists(st.floats(0.2, 2000.0), min_size=len(times_s), max_size=8))
    events = [draw(st.just("") | EVENTS.map(lambda e: one_line(f"on {e}"))) for _ in times_s]
    return list(zip(times_s, currents_a, events, strict=False))


@given(given_rows(), st.sampled_from(SEPARATORS))
def test_readings_written_as_lines_are_read_back(rows, separator):
    lines = "\n".join(separator.join(map(str, row)) for row in rows)
    found = typed_lines(lines)
    back = found.readings
    assert back is not None
    assert back.elapsed_s.tolist() == [row[0] for row in rows]
    assert back.supply_current_a.tolist() == [row[1] for row in rows]
    assert [(e.elapsed_s, e.text) for e in back.events] == [(t, e) for t, _, e in rows if e]
    kept = readings_from_bytes(found.csv.encode(), "kept.csv")
    np.testing.assert_array_equal(kept.elapsed_s, back.elapsed_s)
    np.testing.assert_array_equal(kept.supply_current_a, back.supply_current_a)
    assert kept.events == back.events


def lines_or_faults(text: str) -> TypedLines | tuple[str, ...]:
    try:
        return typed_lines(text)
    except InputError as error:
        return error.faults


PIECES = st.sampled_from(
    ["0", "15", "1:30", "18.4", "17,5", "-", ";", ",", " ", "\t", "\n", "A", "on", "inf", "1e999"]
)


@given(st.text() | st.lists(PIECES, max_size=40).map("".join))
def test_any_text_gives_readings_or_sentences_and_no_other_error(text):
    found = lines_or_faults(text)
    if isinstance(found, tuple):
        assert found
        assert all(one.startswith(f"{SOURCE}: ") and "\n" not in one for one in found)
        return
    currents = [current for _, current, _ in found.rows.itertuples(index=False) if current]
    assert (found.readings is None) == (len(currents) < 3)
    if found.readings is not None:
        kept = readings_from_bytes(found.csv.encode(), "kept.csv")
        assert kept.events == found.readings.events
        np.testing.assert_array_equal(kept.supply_current_a, found.readings.supply_current_a)
