"""``follow``: a log that grows, stops, is cut or goes away, and never a traceback."""

import json
import re
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batterymodel.cli import main
from batterymodel.commands.follow_work import Follower
from batterymodel.errors import InputError
from batterymodel.inputs.growing import GrowingLog, whole_lines
from batterymodel.inputs.readings import FORMAT
from batterymodel.inputs.remarks import Remarks
from batterymodel.samples.connections import SAMPLE_FOLDER
from tests.sparing import sparing

KEY = "hot-battery"
BATTERY = SAMPLE_FOLDER / f"{KEY}.toml"
LINES = (SAMPLE_FOLDER / f"{KEY}.csv").read_text().splitlines(keepends=True)
BASE = ["--battery", str(BATTERY), "--load", "8", "--on", "2026-03-02", "--every", "0.05"]
COOL = [re.sub(r",5\d\.\d$", ",20.0", line.rstrip("\n")) + "\n" for line in LINES]


def follow(capsys, log, *options, quiet="0.6"):
    status = main(["follow", str(log), *BASE, "--until-quiet", quiet, *options])
    return status, *capsys.readouterr()


class Looks:
    """Counts the looks at the file, so that a writer can wait until one saw what it wrote."""

    def __init__(self):
        self.begun, self.ended, self.news = 0, 0, threading.Condition()

    def counted(self, look):
        def counting(*args, **options):
            with self.news:
                self.begun += 1
            try:
                return look(*args, **options)
            finally:
                with self.news:
                    self.ended = self.begun
                    self.news.notify_all()

        return counting

    def wait_for_the_next(self):
        with self.news:
            before = self.begun
            self.news.wait_for(lambda: self.ended > before, timeout=60)


@pytest.fixture
def looks(monkeypatch):
    counted = Looks()
    monkeypatch.setattr(Follower, "_look", counted.counted(Follower._look))
    return counted


class Writer(threading.Thread):
    """Does one thing after another to a file while it is followed, each once the last was seen."""

    def __init__(self, looks, *deeds):
        super().__init__(daemon=True)
        self.looks, self.deeds = looks, deeds
        self.start()

    def run(self):
        for deed in self.deeds:
            self.looks.wait_for_the_next()
            deed()


def appending(log, text):
    def append():
        with open(log, "a", encoding="utf-8") as file:
            file.write(text)

    return append


@pytest.mark.long
def test_each_new_answer_is_a_line_and_a_new_outcome_the_whole_of_it(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("".join(COOL[:30]))
    Writer(
        looks,
        appending(log, COOL[30]),
        appending(log, "".join(LINES[31:])),
    )
    status, out, err = follow(capsys, log, quiet="1.2")
    assert (status, err) == (0, "")
    answers = re.findall(r"^(\d:\d\d:\d\d)  [\d.]+ A  (.+?)  charged \d+ to \d+ %  .*$", out, re.M)
    assert [at for at, _ in answers] == ["0:02:20", "0:02:25", "0:05:00"]
    assert answers[0][1] == answers[1][1]
    assert answers[2][1] == "Disconnect now" != answers[0][1]
    assert out.count("\nFindings\n") == 2
    assert out.splitlines()[-1].startswith(f"ended at 0:05:00: {answers[2][1]}: ")


def test_a_half_written_line_waits(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    half = LINES[30][:9]
    log.write_text("".join(LINES[:30]) + half)
    Writer(looks, appending(log, LINES[30][9:]))
    _, out, _ = follow(capsys, log)
    assert re.findall(r"^(\d:\d\d:\d\d)  ", out, re.M) == ["0:02:20", "0:02:25"]


def test_json_is_one_object_a_line(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("".join(LINES[:2]))
    Writer(
        looks,
        appending(log, "".join(LINES[2:30])),
        appending(log, "".join(LINES[30:31])),
    )
    _, out, _ = follow(capsys, log, "--json")
    waiting, first, second, last = (json.loads(line) for line in out.splitlines())
    assert waiting["message"].endswith(
        "usable readings: 1; at least 3 at different times are needed"
    )
    assert (first["changed"], second["changed"]) == (True, False)
    assert first["assessment"]["outcome"] == first["outcome"] == last["outcome"]
    assert (first["elapsed_s"], second["elapsed_s"]) == (140.0, 145.0)
    assert "assessment" not in second
    assert set(second) == {
        "elapsed_s", "time", "supply_current_a", "outcome", "state_of_charge",
        "next_reading_minutes", "changed",
    }  # fmt: skip
    assert last["ended"] is True


@pytest.mark.long
def test_a_file_that_is_cut_or_goes_away_is_said(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("".join(LINES[:30]))
    Writer(
        looks,
        lambda: log.write_text("".join(LINES[:20])),
        log.unlink,
        lambda: log.write_text("".join(LINES[:25])),
    )
    status, out, err = follow(capsys, log, quiet="1")
    assert (status, err) == (0, "")
    assert out.count(f"{log}: was cut or replaced; it is read anew from its start\n") == 1
    assert out.count(f"{log}: no such file; give the path of a CSV file; waiting for it\n") == 1
    assert re.findall(r"^(\d:\d\d:\d\d)  ", out, re.M) == ["0:02:20", "0:01:30", "0:01:55"]


@pytest.mark.long
def test_a_bad_line_is_said_once_and_following_goes_on(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("".join(LINES[:30]))
    Writer(
        looks,
        appending(log, "abc,1,2,3\n"),
        appending(log, LINES[30]),
        lambda: log.write_text("".join(LINES[:32])),
    )
    status, out, _ = follow(capsys, log, quiet="1")
    assert status == 0
    assert out.count("no answer yet: ") == 1
    assert "'abc' is not a number" in out
    assert out.splitlines()[-1].startswith("ended at 0:02:30: ")


@pytest.mark.long
def test_a_foreign_log_is_followed_and_its_columns_said(capsys, tmp_path, looks):
    log = tmp_path / "log.csv"
    log.write_text("Time;Amps\n")
    rows = [f"23:59:{k:02};{25 - 0.1 * k:.1f}\n".replace(".", ",") for k in range(30, 60)]
    Writer(
        looks,
        appending(log, "".join(rows[:2])),
        appending(log, "".join(rows[2:])),
        appending(log, "00:00:00;22,0\n"),
    )
    status, out, err = follow(capsys, log, quiet="1")
    assert (status, err) == (0, "")
    assert f"no answer yet: {log}: 2 rows so far\ncolumns taken: " in out
    assert out.count("columns taken: 'Time' as time [time of day], 'Amps' as supply current") == 1
    assert re.findall(r"^(\d:\d\d:\d\d)  ", out, re.M) == ["0:00:29", "0:00:30"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("Time;Amps;Temp\n14:02:00;18;20\n14:02:05;18;20\n14:02:10;18;20\n", "is not sure"),
        ("PK\x03\x04", "is a workbook, which cannot be followed; CSV text can"),
        ("", "no whole line came"),
        ("elapsed_s,supply_current_a\n0,18\n", "usable readings: 1; at least 3"),
        ("elapsed_s,supply_current_a\n0,18\n5,18\n10,17", "usable readings: 2; at least 3"),
    ],
)
def test_what_gives_no_answer_ends_with_one_sentence(capsys, tmp_path, text, said):
    log = tmp_path / "log.csv"
    log.write_text(text)
    status, _, err = follow(capsys, log, quiet="0.1")
    assert status == 2
    assert err.count("\n") == 1
    assert said in err


def test_a_file_that_is_not_there_is_one_line(capsys, tmp_path):
    status, out, err = follow(capsys, tmp_path / "none.csv")
    assert (status, out) == (2, "")
    assert "none.csv: no such file" in err


@pytest.mark.parametrize("wrong", ["0", "0.04", "86401", "nan", "soon", "-5"])
def test_a_time_that_is_none_is_one_line(capsys, tmp_path, wrong):
    with pytest.raises(SystemExit) as stopped:
        main(["follow", "log.csv", "--battery", str(BATTERY), f"--every={wrong}"])
    assert stopped.value.code == 2
    assert "is no time from 0.05 to 86400 s" in capsys.readouterr().err


def hear_ctrl_c():
    """A job in the background would not."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


@pytest.mark.long
@pytest.mark.parametrize(("rows", "status"), sparing([(30, 0), (2, 130)]))
def test_ctrl_c_ends_with_the_last_outcome(tmp_path, rows, status):
    log = tmp_path / "log.csv"
    log.write_text("".join(LINES[:rows]))
    command = [sys.executable, "-m", "batterymodel", "follow", str(log), *BASE]
    root = Path(__file__).parents[2]
    with subprocess.Popen(
        command,
        cwd=root,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(
            signal.SIGINT, signal.SIG_DFL
        ),  # not so in a background job
    ) as running:
        try:
            first = running.stdout.readline()
            assert first.startswith("0:02:20  " if rows == 30 else "no answer yet: ")
            time.sleep(0.5)
            running.send_signal(signal.SIGINT)
            out, err = running.communicate(timeout=60)
        finally:
            running.kill()
    assert running.returncode == status
    if rows == 30:
        assert err == ""
        assert out.splitlines()[-1].startswith("ended at 0:02:20: ")
    else:
        assert err == "batterymodel: stopped\n"


# The growing log


def test_growth_is_told_once_and_a_cut_as_anew(tmp_path):
    path = tmp_path / "log.csv"
    log = GrowingLog(str(path), Remarks("log.csv", FORMAT))
    with pytest.raises(InputError, match="no such file"):
        log.growth()
    path.write_text("a\nb")
    growth = log.growth()
    assert (growth.content, growth.anew) == (b"a\n", False)
    assert log.growth() is None
    path.write_text("a\nb\nc")
    assert log.growth().content == b"a\nb\n"
    for text in ("a\n", "x\nb\nc\n", ""):
        path.write_text(text)
        growth = log.growth()
        assert (growth.content, growth.anew) == (text.encode(), True)


@given(
    st.text(st.sampled_from("ab,\n\u0a0a\u010a"), max_size=20),
    st.sampled_from(["utf-8", "utf-16", "utf-16-be", "latin-1"]),
)
def test_whole_lines_end_with_a_line(text, encoding):
    mark = b"\xfe\xff" if encoding == "utf-16-be" else b""
    content = mark + text.encode(encoding, "replace")
    whole = text.encode(encoding, "replace").decode(encoding)
    lines = whole_lines(content).removeprefix(mark)
    assert lines.decode(encoding) == whole[: whole.rfind("\n") + 1]


def test_lines_that_end_with_a_return_alone():
    assert whole_lines(b"a\rb\rc") == b"a\rb\r"
