"""``follow``: a column that is filled later, and a logger that begins anew in the same file."""

import re

import pytest

from batterymodel.cli import main
from batterymodel.errors import InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.foreign import guess_columns
from batterymodel.inputs.runs import last_run
from tests.commands.test_follow import BASE, BATTERY, LINES, Writer, appending, follow
from tests.commands.test_follow import looks as looks

HEAD = "Time (s),Amps,Battery temp (C)\n"


def rows(*places, temp="", first_a=48.0):
    return "".join(f"{60 * k},{first_a - 4 * k:.1f},{temp}\n" for k in places)


def answers(out):
    return re.findall(r"^(\d:\d\d:\d\d)  [\d.]+ A  (.+?)  charged", out, re.M)


@pytest.mark.long
def test_a_column_that_is_filled_later_is_taken_from_then_on(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text(HEAD + rows(0, 1, 2))
    Writer(looks, appending(log, rows(3, 4)), appending(log, rows(5, 6, temp=56)))
    status, out, err = follow(capsys, log, quiet="1.2")
    assert (status, err) == (0, "")
    assert [at for at, _ in answers(out)] == ["0:02:00", "0:04:00", "0:06:00"]
    assert answers(out)[-1][1] == "Disconnect now" != answers(out)[1][1]
    assert out.count("columns taken: ") == 2
    assert (
        "first values in 'Battery temp (C)'; columns taken: 'Time (s)' as time since the "
        "connection [s], 'Amps' as supply current [A], 'Battery temp (C)' as battery temperature"
    ) in out


def test_a_column_that_is_filled_later_is_asked_for_where_it_is_in_doubt(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text(HEAD.replace("(C)", "") + rows(0, 1, 2))
    Writer(looks, appending(log, rows(3, 4, temp=133)))
    status, out, err = follow(capsys, log, quiet="1.2")
    assert status == 2
    assert [at for at, _ in answers(out)] == ["0:02:00"]
    assert err.startswith("batterymodel: first values in 'Battery temp'; ")
    assert "(no unit: degC or degF)" in err
    assert err.count("\n") == 1


@pytest.mark.long
def test_a_column_that_no_word_names_is_left_alone_when_it_is_filled(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text(HEAD.replace("Battery temp (C)", "Spare") + rows(0, 1, 2))
    Writer(looks, appending(log, rows(3, 4, temp=7)))
    status, out, _ = follow(capsys, log, quiet="1.2")
    assert status == 0
    assert out.count("columns taken: ") == 1


@pytest.mark.long
def test_a_column_that_was_told_is_left_as_told(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text(HEAD + rows(0, 1, 2))
    Writer(looks, appending(log, rows(3, 4, temp=56)))
    told = ["--column", "Battery temp=ignored"]
    status, out, _ = follow(capsys, log, *told, quiet="1.2")
    assert status == 0
    assert out.count("columns taken: ") == 1
    assert "first values" not in out


SAID = ": the time falls back at row {}: the logger began anew, and what comes from there on is "


@pytest.mark.long
@pytest.mark.parametrize("kind", ["foreign", "own"])
def test_a_new_run_is_said_and_followed_as_a_new_connection(capsys, tmp_path, looks, kind):
    log = tmp_path / "log.csv"
    first = HEAD + rows(0, 1, 2, 3, 4, temp=21)
    again = [rows(0, temp=21, first_a=60.0), rows(1, 2, 3, temp=21, first_a=60.0)]
    if kind == "own":
        names = "elapsed_s,supply_current_a,battery_temp_c\n"
        first = first.replace(HEAD, names)
    log.write_text(first)
    Writer(looks, *(appending(log, text) for text in again))
    status, out, _ = follow(capsys, log, quiet="1.2")
    assert status == 0
    assert out.count(SAID.format(7)) == 1
    assert "usable readings: 1; at least 3" in out or "1 rows so far" in out
    assert [at for at, _ in answers(out)] == ["0:04:00", "0:03:00"]
    assert out.count("\nFindings\n") == 2
    assert "0:03:00  48.0 A" in out


def test_a_log_that_holds_two_runs_is_followed_from_its_last(capsys, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text(HEAD + rows(0, 1, 2, 3) + rows(0, 1, 2, first_a=60.0))
    status, out, _ = follow(capsys, log, quiet="0.1")
    assert status == 0
    assert SAID.format(6) in out
    assert answers(out)[-1][0] == "0:02:00"
    assert "0:02:00  52.0 A" in out


def test_a_new_run_without_an_answer_ends_with_none(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("".join(LINES[:30]))
    Writer(looks, appending(log, LINES[1]))
    status, out, err = follow(capsys, log, quiet="0.6")
    assert status == 2
    assert len(answers(out)) == 1
    assert "usable readings: 1; at least 3" in err


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (HEAD + rows(0, 1, 2, 3) + rows(0, 1, 2), "goes back in places, as where a logger"),
        (
            "elapsed_s,supply_current_a,x\n" + rows(0, 1, 2, 3) + rows(0, 1, 2),
            "row 6, column 'elapsed_s': the time falls back to 0 s, as where a logger began anew; "
            "give the readings of one connection: rows 2 to 5, or from row 6 on",
        ),
    ],
)
def test_assess_refuses_two_runs_in_one_sentence(capsys, tmp_path, text, said):
    log = tmp_path / "log.csv"
    log.write_text(text)
    status = main(["assess", str(log), "--battery", str(BATTERY), *BASE[2:6]])
    err = capsys.readouterr().err
    assert status == 2
    assert said in err
    assert err.count("\n") == 1


@pytest.mark.parametrize("column", ["Time (s)=elapsed_s:s", "Clock=time:clock"])
def test_assess_refuses_two_runs_where_the_time_is_told(capsys, tmp_path, column):
    header = column.partition("=")[0]
    text = HEAD + rows(0, 1, 2, 3) + rows(0, 1, 2)
    if header == "Clock":
        text = re.sub(r"^(\d+),", lambda found: f"0:{int(found[1]) // 60:02}:00,", text, flags=re.M)
    log = tmp_path / "log.csv"
    log.write_text(text.replace("Time (s)", header))
    arguments = ["--battery", str(BATTERY), *BASE[2:6], "--column", column]
    assert main(["assess", str(log), *arguments]) == 2
    assert f"row 6, column '{header}': the time falls back to 0 s" in capsys.readouterr().err


# The rows of the last run


def run_of(text, *choices):
    return last_run(text.encode(), "log.csv", guess_columns(text.encode(), "l", choices).column_map)


def test_rows_keep_their_numbers():
    text = HEAD + rows(0, 1, 2) + rows(0, 1)
    run = run_of(text)
    assert run.row == 5
    assert run.content.decode() == HEAD + "\n\n\n" + rows(0, 1)


@pytest.mark.parametrize(
    ("times", "row"),
    [
        ("0 5 10 9 15", None),
        ("0 5 10 5", None),
        ("0 5 10 4.9", 5),
        ("30 20 10 0", None),
        ("0 0 0", None),
        ("0 5 0 5 0", 6),
    ],
)
def test_a_run_begins_where_the_time_falls_below_half(times, row):
    text = "Time (s),Amps\n" + "".join(f"{at},9\n" for at in times.split())
    assert run_of(text).row == row


def test_times_with_a_date_do_not_fall_back():
    text = "When,Amps\n2026-03-02 10:00,9\n2026-03-02 10:05,9\n2026-03-02 10:00,9\n"
    assert run_of(text).row is None
    own = "time,supply_current_a\n2026-03-02T10:00:00,9\n"
    assert last_run(own.encode(), "log.csv", ColumnMap(columns=(), own=True)).row is None


def test_what_is_no_table_is_refused():
    with pytest.raises(InputError):
        last_run(b"", "log.csv", ColumnMap(columns=(), own=True))


@pytest.mark.parametrize("stamp", ["2026-03-02 {h:02}:00:{s:02}", "{h:02}:00:{s:02}"])
def test_a_growing_log_of_two_connections_hours_apart_is_of_the_later(stamp):
    rows = [f"{stamp.format(h=h, s=10 * k)},{48.0 - 4 * k}" for h in (9, 12) for k in range(4)]
    content = "\n".join(["Time,Amps", *rows, ""]).encode()
    column_map = guess_columns(content, "log.csv").column_map
    run = last_run(content, "log.csv", column_map)
    assert (run.row, run.paused) == (6, True)
    kept = last_run(run.content, "log.csv", column_map)
    assert (kept.row, kept.content) == (None, run.content)
