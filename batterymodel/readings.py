"""Reads the meter values of one connection from CSV or a table, checks and cleans them.

``Readings.notes`` says what cleaning did; what cannot be right raises `InputError`.
"""

from __future__ import annotations

import difflib
import io
import re
from dataclasses import dataclass, replace
from datetime import datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pandas as pd

from batterymodel.errors import InputError
from batterymodel.records import OPTIONAL_COLUMNS, Event, Readings

MAX_ROWS = 1_000_000
"""Lines below the header that are read; a longer file is refused before it is parsed."""

_MAX_BYTES = 256 * MAX_ROWS
_MAX_COLUMNS = 200
_UNITS = {
    "elapsed_s": "seconds from the connection",
    "time": "ISO 8601 date and time",
    "supply_current_a": "amperes",
    "supply_voltage_v": "volts",
    "battery_current_a": "amperes",
    "battery_temp_c": "degrees Celsius",
    "load_a": "amperes",
    "event": "free text",
}
_OTHER_NAMES = {
    "elapsed_s": "s sec seconds t t_s time_s elapsed_time elapsed_seconds",
    "time": "timestamp datetime date_time",
    "supply_current_a": "a i amp amps ampere amperes current current_a",
    "supply_voltage_v": "v volt volts voltage voltage_v",
    "battery_temp_c": "temp temp_c temperature temperature_c battery_temperature",
    "load_a": "load bus_load bus_load_a",
}
# The least and the most a column may hold, and what a value outside says.
_MILLIAMPERES = "looks like milliamperes; in amperes it would be {milli:.7g}"
_REVERSED = "is negative; it must not be below -1: meter leads reversed?"
_BOUNDS = (
    ("elapsed_s", 0.0, np.inf, "is negative; seconds from the connection would be right"),
    ("elapsed_s", 0.0, 86_400.0, "is over 24 h and looks like milliseconds; give seconds"),
    ("supply_current_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("supply_current_a", -1.0, 2000.0, _REVERSED),
    ("supply_voltage_v", -np.inf, 100.0, "looks like millivolts; in volts it is {milli:.7g}"),
    ("supply_voltage_v", -1.0, 100.0, _REVERSED),
    ("battery_current_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("battery_temp_c", -np.inf, 150.0, "looks like kelvin; in degrees Celsius it is {celsius:.7g}"),
    ("battery_temp_c", -60.0, 120.0, "is outside -60 to 120; degrees Celsius would be right"),
    ("load_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("load_a", -1.0, 2000.0, _REVERSED),
)
_LEAST_PEAKS = (
    ("supply_current_a", 1e-300, "every value is 0; was the clamp on the supply lead?"),
    ("supply_current_a", 0.2, "no value reaches 0.2: kiloamperes, or clamp not on the lead?"),
    ("supply_voltage_v", 5.0, "no value reaches 5: kilovolts, or meter not on the bus?"),
)
_CAUSES = {FileNotFoundError: "no such file", IsADirectoryError: "is a folder"}
_MISSING = frozenset({"", "nan", "nat", "na", "n/a", "null", "none", "-", "--", "---"})
_WIDE_ROW = "write decimals as 12.5, not 12,5, and put text with the separator in double quotes"
_NOT_TEXT = re.compile("[\x00-\x08\x0e-\x1f\ud800-\udfff]")
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?inf(inity)?|nan", re.A | re.I)


def read_readings(path: str | Path) -> Readings:
    """Readings from a CSV file.

    Raises `InputError`, one sentence with file, row and column, if the file cannot be opened, is
    not CSV text, has more than `MAX_ROWS` rows, or holds values that cannot be right.
    """
    data, lines = bytearray(), 0
    try:
        with open(path, "rb") as file:
            while chunk := file.read(1 << 20):
                data += chunk
                lines += chunk.count(b"\n")
                if lines > MAX_ROWS + 1 or len(data) > _MAX_BYTES:
                    break
    except (OSError, ValueError) as error:
        cause = _CAUSES.get(type(error), "cannot be opened")
        raise _Log(str(path), []).error(f"{cause}; give the path of a CSV file") from None
    return readings_from_bytes(bytes(data), str(path))


def readings_from_bytes(data: bytes, source: str) -> Readings:
    """Readings from the bytes of a CSV file, as an upload gives them; `source` is its name.

    UTF-8 with or without byte order mark; other 8-bit text is read as Western European, which
    only events can need, and noted. Raises `InputError`.
    """
    log = _Log(source, [])
    _check_size(len(data), data.count(b"\n"), log)
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise log.error("is UTF-16 (Unicode) text; save it again as CSV in UTF-8")
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError:
        text = data.decode("cp1252", errors="replace")
        log.notes.append("the file is not UTF-8; its text was read as Western European")
    return _from_text(text, log)


def readings_from_text(text: str, source: str) -> Readings:
    """Readings from CSV text; `source` is its name for messages. Raises `InputError`."""
    return _from_text(text, _Log(source, []))


def readings_from_frame(frame: pd.DataFrame, source: str = "readings") -> Readings:
    """Readings from a table with the CSV's column names, by the same rules.

    Messages count the table's first line as row 2, as below a header. Raises `InputError`.
    """
    frame = frame.set_axis([str(name) for name in frame.columns], axis=1)
    return _readings(frame.set_axis(range(2, len(frame) + 2), axis=0), _Log(source, []))


def readings_csv(readings: Readings) -> str:
    """The readings as CSV text that reads back to equal readings.

    ``time`` stands beside ``elapsed_s`` when the start is known. The first event at a reading
    stands in its row; every other event has a row of its own without a current. Event texts are
    written on one line, and read back in order of time, then text.
    """
    names = ("elapsed_s", "supply_current_a", *OPTIONAL_COLUMNS)
    given = {name: getattr(readings, name) for name in names}
    frame = pd.DataFrame({name: column for name, column in given.items() if column is not None})
    if readings.events:
        pairs = [(event.elapsed_s, _one_line(event.text)) for event in readings.events]
        events = pd.DataFrame(pairs, columns=["elapsed_s", "event"])
        later = events["elapsed_s"].duplicated()
        frame = frame.merge(events[~later], on="elapsed_s", how="outer")
        frame = pd.concat([frame, events[later]]).sort_values("elapsed_s", kind="stable")
    if (start := readings.started_at) is not None:
        if (offset := start.utcoffset()) is not None:
            start = start.astimezone(timezone(offset))
        times = [(start + timedelta(seconds=s)).isoformat() for s in frame["elapsed_s"].tolist()]
        frame.insert(1, "time", times)
    return frame.to_csv(index=False, lineterminator="\n")


@dataclass(frozen=True)
class _Log:
    """The file's name and header row for messages, and the notes so far."""

    source: str
    notes: list[str]
    header_row: int = 1

    def error(self, problem: str, row: int | None = None, column: str | None = None) -> InputError:
        places = [f"row {row}"] * (row is not None) + [f"column '{column}'"] * (column is not None)
        parts = [_one_line(self.source), ", ".join(places), problem]
        return InputError(": ".join(part for part in parts if part))

    def refuse_first(self, wrong: pd.Series, values: pd.Series, problem: str) -> None:
        if wrong.any():
            row = wrong.idxmax()
            value = values[row]
            shown = _shown(value) if isinstance(value, str) else f"{value:.10g}"
            raise self.error(f"{shown} {problem}", row, str(values.name))

    def note_rows(self, chosen: pd.Series, what: str) -> None:
        if count := int(chosen.sum()):
            self.notes.append(f"{count} row{'s' * (count > 1)} {what}")


def _one_line(text: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def _shown(text: str) -> str:
    line = _one_line(text[:200])
    return f"'{line[:40]}…'" if len(line) > 40 else f"'{line}'"


def _check_size(size: int, lines: int, log: _Log) -> None:
    if lines > MAX_ROWS + 1:
        raise log.error(f"has more than {MAX_ROWS:,} rows; give the readings of one connection")
    if size > _MAX_BYTES:
        raise log.error("is too large; give the readings of one connection as CSV text")


def _from_text(text: str, log: _Log) -> Readings:
    if _NOT_TEXT.search(text):
        raise log.error("is not a text file; save the readings as CSV text in UTF-8")
    text = text.replace("\ufeff", "").replace("\r\n", "\n").replace("\r", "\n")
    _check_size(len(text), text.count("\n"), log)
    numbered = enumerate(text.split("\n"), 1)
    lines = {row: t for row, t in numbered if t.strip(" \t;,") and t.lstrip()[:1] != "#"}
    if not lines:
        raise log.error("is empty; a header row and one row per reading would be right")
    log = replace(log, header_row=next(iter(lines)))
    cells = _cells(lines, max(",;\t", key=lines[log.header_row].count), log)
    return _readings(cells.iloc[1:].set_axis(cells.iloc[0], axis=1), log)


def _cells(lines: dict[int, str], separator: str, log: _Log) -> pd.DataFrame:
    """All cells as text, header first; each line must hold whole cells and keeps its number."""
    quoted, width = re.compile(f'(?<![^{separator}])"(?:[^"]|"")*"'), _MAX_COLUMNS
    for row, line in lines.items():
        bare = quoted.sub("", line) if '"' in line else line
        if bare.startswith('"') or f'{separator}"' in bare:
            raise log.error("a quote mark is not closed; close it in the same row", row)
        if (cells := bare.count(separator) + 1) > width:
            raise log.error(f"has {cells} cells where at most {width} may be; {_WIDE_ROW}", row)
        width = cells if row == log.header_row else width
    text = io.StringIO("\n".join(lines.values()))
    exact = {"dtype": object, "na_filter": False, "index_col": False, "skip_blank_lines": False}
    return pd.read_csv(text, sep=separator, names=range(width), **exact).set_axis(list(lines))


def _readings(frame: pd.DataFrame, log: _Log) -> Readings:
    """Readings from raw cells: name, convert, check, time, put in order."""
    frame = _known_columns(frame, log)
    if not len(frame):
        raise log.error("has a header but no readings; one row per reading would be right")
    _check_size(0, len(frame) + 1, log)
    frame = pd.DataFrame({name: _converted(frame[name], log) for name in frame})
    _check_values(frame, log)
    frame, started_at = _timed(frame, log)
    events = _events(frame, log)
    frame = _with_current(frame.drop(columns="event", errors="ignore"), log)
    _check_peaks(frame, log)
    frame = _in_order(frame, log)
    _note_gaps(frame["elapsed_s"].to_numpy(), log)
    columns = {name: frame[name].to_numpy() for name in frame if frame[name].notna().any()}
    about = {"started_at": started_at, "source": log.source, "notes": tuple(log.notes)}
    return Readings(**columns, events=events, **about)


def _known_columns(frame: pd.DataFrame, log: _Log) -> pd.DataFrame:
    names = [name.strip().lower() for name in frame.columns]
    _check_header(names, log)
    for i, name in enumerate(names):
        if name not in _UNITS and (name or any(_texts(frame.iloc[:, i]))):
            log.notes.append(f"column {_shown(name)} is not used")
    return frame.set_axis(names, axis=1)[[name for name in names if name in _UNITS]]


def _check_header(names: list[str], log: _Log) -> None:
    given, timed = set(names), {"elapsed_s", "time"}
    missing = set(_UNITS) - given - (timed if timed & given else set())
    if names and all(map(_NUMBER.fullmatch, names)):
        raise log.error("holds values; a row of column names must come first", log.header_row)
    for i, name in enumerate(names):
        if name and name in names[:i]:
            raise log.error(f"column {_shown(name)} is there twice; name it once", log.header_row)
        if name not in _UNITS and (meant := _meant(name)) in missing:
            right = f"name it '{meant}' ({_UNITS[meant]}) or remove it"
            raise log.error(f"column {_shown(name)} is not known; {right}", log.header_row)
    for needed in ("elapsed_s", "supply_current_a"):
        if needed in missing:
            wanted = f"'{needed}' ({_UNITS[needed]})" + " or 'time'" * (needed == "elapsed_s")
            raise log.error(f"no column {wanted}; it is required", log.header_row)


def _meant(name: str) -> str | None:
    key = re.sub(r"[^a-z0-9]+", "_", name[:60]).strip("_")
    habits = [known for known, others in _OTHER_NAMES.items() if key in others.split()]
    return next(iter(habits or difflib.get_close_matches(key, _UNITS, 1, cutoff=0.85)), None)


def _texts(cells: pd.Series) -> pd.Series:
    filled = cells.astype(object).where(cells.notna(), "")
    stripped = [str(cell).strip() for cell in filled]
    return pd.Series(stripped, cells.index, dtype=object, name=cells.name)


def _plain_numbers(cells: pd.Series) -> pd.Series | None:
    """The fast way: floats, if every cell is a number or an empty text."""
    if cells.dtype.kind in "fiu":
        return cells.astype("float64")
    try:
        return None if "_" in "".join(cells) else cells.where(cells != "", "nan").astype(float)
    except (TypeError, ValueError):
        return None


def _converted(cells: pd.Series, log: _Log) -> pd.Series:
    """A number column as floats, NaN where empty; `time` and `event` as stripped text."""
    if cells.name in ("time", "event"):
        return _texts(cells)
    if (numbers := _plain_numbers(cells)) is not None:
        return numbers
    texts = _texts(cells).where(lambda cells: [t.lower() not in _MISSING for t in cells], "nan")
    for row, text in texts[[not _NUMBER.fullmatch(text) for text in texts]][:1].items():
        problem = f"is not a number; {_UNITS[cells.name]} as a plain number would be right"
        if cells.name == "elapsed_s" and ":" in text:
            problem = "is a clock time; use a column 'time' in ISO 8601 (2024-05-01T10:05:00)"
        elif re.fullmatch(r"[+-]?\d+,\d+", text):
            problem = f"has a decimal comma; write {_shown(text.replace(',', '.'))}"
        raise log.error(f"{_shown(text)} {problem}", row, cells.name)
    return texts.astype(float)


def _check_values(frame: pd.DataFrame, log: _Log) -> None:
    for name, least, most, problem in _BOUNDS:
        if name in frame:
            values = frame[name]
            wrong = (values < least) | (values > most)
            first = values[wrong.idxmax()]
            said = problem.format(milli=first / 1000.0, celsius=first - 273.15)
            said = "is not a meter value; leave the cell empty" if np.isinf(first) else said
            log.refuse_first(wrong, values, said)


def _timed(frame: pd.DataFrame, log: _Log) -> tuple[pd.DataFrame, datetime | None]:
    """The rows that have a time, with `elapsed_s`, and the moment at which that is zero."""
    started_at = None
    if "time" in frame:
        moments = _moments(frame["time"], log)
        first = min(moments, default=None)
        clock_s = pd.Series([(m - first).total_seconds() for m in moments], moments.index, float)
        problem = "is over 24 h after the earliest time; give the readings of one connection"
        log.refuse_first(clock_s > 86_400.0, frame["time"], problem)
        elapsed_s = frame.get("elapsed_s", clock_s)
        both = pd.DataFrame({"elapsed_s": elapsed_s, "clock_s": clock_s}).dropna()
        if "elapsed_s" in frame and len(both):
            apart_s = np.ptp((both["clock_s"] - both["elapsed_s"]).to_numpy())
            if apart_s > 1.0:
                log.notes.append(f"elapsed_s is used; time runs apart from it by {apart_s:.0f} s")
        frame = frame.assign(elapsed_s=elapsed_s)
        for row in both.sort_values(["elapsed_s", "clock_s"]).index[:1]:
            started_at = moments[row] - timedelta(seconds=elapsed_s[row])
    lost = frame["elapsed_s"].isna()
    log.note_rows(lost, "dropped: no time, and any event there is lost with it")
    return frame.drop(columns="time", errors="ignore")[~lost], started_at


def _moments(time: pd.Series, log: _Log) -> pd.Series:
    """The times that are given, as datetimes that can be compared."""
    given = time[[text.lower() not in _MISSING for text in time]]
    moments = pd.Series([_moment(text) for text in given], given.index, dtype=object)
    log.refuse_first(moments.isna(), given, "is not a time like 2024-05-01T10:05:00 (ISO 8601)")
    zoned = pd.Series([moment.tzinfo is not None for moment in moments], given.index, dtype=bool)
    if zoned.any():
        problem = f"has no UTC offset but row {zoned.idxmax()} has one; give all or none"
        log.refuse_first(~zoned, given, problem)
    return moments


def _moment(text: str) -> datetime | None:
    try:
        moment = datetime.fromisoformat(re.sub(r" (?=[+Z-])", "", text.upper()))
    except ValueError:
        return None
    has_date_and_time = len(text) > len("2024-05-01")
    return moment if has_date_and_time and 1900 < moment.year < 2200 else None


def _events(frame: pd.DataFrame, log: _Log) -> tuple[Event, ...]:
    if "event" not in frame:
        return ()
    given = frame[frame["event"] != ""]
    texts = [_one_line(text) for text in given["event"]]
    if len(texts) == len(frame) and all(map(str.isdecimal, texts)):
        raise log.error("is a number in every row: decimal comma, or no event?", column="event")
    pairs = sorted(zip(given["elapsed_s"].tolist(), texts, strict=True))
    return tuple(Event(elapsed_s=elapsed_s, text=text) for elapsed_s, text in pairs if text)


def _with_current(frame: pd.DataFrame, log: _Log) -> pd.DataFrame:
    lost = frame["supply_current_a"].isna()
    log.note_rows(lost, "dropped: no supply current; any event there is kept")
    usable = frame["elapsed_s"][~lost].nunique()
    if usable < 3:
        raise log.error(f"usable readings: {usable}; at least 3 at different times are needed")
    return frame[~lost]


def _check_peaks(frame: pd.DataFrame, log: _Log) -> None:
    for name, least, problem in _LEAST_PEAKS:
        if name in frame and frame[name].abs().max() < least:
            raise log.error(problem, column=name)


def _in_order(frame: pd.DataFrame, log: _Log) -> pd.DataFrame:
    """Rows in order of time, those of one time averaged, the same whatever order they came in."""
    elapsed_s = frame["elapsed_s"]
    shared = elapsed_s.duplicated(keep=False)
    log.note_rows(elapsed_s < elapsed_s.cummax(), "out of order of time: all rows were sorted")
    log.note_rows(shared, "at the same time as another: their mean is used")
    if shared.any():
        return frame.sort_values(list(frame)).groupby("elapsed_s", as_index=False).mean()
    return frame.sort_values("elapsed_s")


def _note_gaps(elapsed_s: np.ndarray, log: _Log) -> None:
    intervals_s = np.diff(elapsed_s)
    gaps = int(((intervals_s > 10.0 * np.median(intervals_s)) & (intervals_s > 60.0)).sum())
    if gaps:
        at = intervals_s.argmax()
        longest = f"{intervals_s[at]:.0f} s after {elapsed_s[at]:.0f} s"
        log.notes.append(f"{gaps} long gap{'s' * (gaps > 1)} in the readings, longest {longest}")
