"""Reads the meter values of one connection from CSV or a table, checks and cleans them.

``Readings.notes`` says what cleaning did; what cannot be right raises `InputError`.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta, timezone
from pathlib import Path
from typing import Any

import numpy as np
import pandas as pd

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.entry_faults import EntryError, Shown, fixed
from batterymodel.inputs.no_value_marks import MARKS
from batterymodel.inputs.records import (
    CELSIUS_RANGE,
    OPTIONAL_COLUMNS,
    Event,
    Readings,
    TempReading,
)
from batterymodel.inputs.remarks import Remarks, TableFormat
from batterymodel.inputs.second_starts import note_second_start, switched
from batterymodel.inputs.set_back import check_runs_on
from batterymodel.inputs.table_columns import checked_columns
from batterymodel.inputs.table_times import (
    LONGEST_LOG_S,
    check_no_pause,
    in_order,
    note_gaps,
    run_starts,
    timed,
)
from batterymodel.inputs.tables import decoded, file_bytes, table_from_frame, table_from_text

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
_OUTSIDE_C = "is outside {:g} to {:g}; degrees Celsius would be right".format(*CELSIUS_RANGE)
_OUTSIDE_C_SINGLY = "°C is outside {:g} to {:g} °C".format(*CELSIUS_RANGE)
_BOUNDS = (
    ("elapsed_s", 0.0, np.inf, "is negative; seconds from the connection would be right"),
    ("elapsed_s", 0.0, LONGEST_LOG_S, "is over 24 h and looks like milliseconds; give seconds"),
    ("supply_current_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("supply_current_a", -1.0, 2000.0, _REVERSED),
    ("supply_voltage_v", -np.inf, 1000.0, "looks like millivolts; in volts it is {milli:.7g}"),
    ("supply_voltage_v", -np.inf, 100.0, "is over 100 V: is a decimal point missing?"),
    ("supply_voltage_v", -1.0, 100.0, _REVERSED),
    ("battery_current_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("battery_temp_c", -np.inf, 150.0, "looks like kelvin; in degrees Celsius it is {celsius:.7g}"),
    ("battery_temp_c", *CELSIUS_RANGE, _OUTSIDE_C),
    ("load_a", -2000.0, 2000.0, _MILLIAMPERES),
    ("load_a", -1.0, 2000.0, _REVERSED),
)
_LEAST_PEAKS = (
    ("supply_current_a", 1e-300, "every value is 0; was the clamp on the supply lead?"),
    ("supply_current_a", 0.2, "no value reaches 0.2: kiloamperes, or clamp not on the lead?"),
    ("supply_voltage_v", 5.0, "no value reaches 5: kilovolts, or meter not on the bus?"),
)
FORMAT = TableFormat(
    what="the readings of one connection",
    rows="readings",
    units=_UNITS,
    other_names=_OTHER_NAMES,
    required=("elapsed_s", "supply_current_a"),
    texts=frozenset({"time", "event"}),
    bounds=_BOUNDS,
)
"""The table of readings: its columns and what they may hold."""

MARK_TYPED = "is a meter's mark for no value; a value that it reads would be right"
"""What a single mark says that its column cannot hold."""

LEAST_TIMES = 3
"""Different times with a supply current that a whole table must hold (own choice)."""


def read_readings(path: str | Path) -> Readings:
    """Readings from a CSV file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        The file cannot be opened, is not CSV text, has more than `MAX_ROWS` rows, or holds values
        that cannot be right; names file, row and column.
    """
    return readings_from_bytes(file_bytes(path, Remarks(str(path), FORMAT)), str(path))


def readings_from_bytes(data: bytes, source: str) -> Readings:
    """Readings from the bytes of a CSV file, as an upload gives them.

    UTF-8 with or without byte order mark; other 8-bit text is read as Western European, which
    only events can need, and noted.

    Parameters
    ----------
    data : bytes
    source : str
        Name of the file, for messages.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        As `read_readings`.
    """
    remarks = Remarks(source, FORMAT)
    return readings_from_table(*table_from_text(decoded(data, remarks), remarks))


def readings_from_frame(
    frame: pd.DataFrame, source: str = "readings", least: int = LEAST_TIMES
) -> Readings:
    """Readings from a table with the CSV's column names, by the same rules.

    Parameters
    ----------
    frame : DataFrame
        Columns of `FORMAT`, as text or numbers; one row per reading.
    source : str
        What messages call the table.
    least : int
        Different times at which there must be a supply current; one is enough for readings that
        still go on.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        A value that cannot be right; the table's first line counts as row 2, as below a header.
    """
    return readings_from_table(table_from_frame(frame), Remarks(source, FORMAT), least)


def checked_value(column: str, value: float, where: str) -> float:
    """A single meter value, by the bounds of its column.

    Parameters
    ----------
    column : str
        One of the number columns of `FORMAT`.
    value : float
        In the column's unit.
    where : str
        What messages call the reading.

    Returns
    -------
    float
        The value itself.

    Raises
    ------
    InputError
        A value that cannot be right; says what would be.
    """
    words = out_of_bounds(column, value)
    if words is not None:
        is_temp = column == "battery_temp_c" and not _is_mark(column, value)
        problem_of = _outside_c(value, words) if is_temp else fixed(words)
        raise EntryError("", column, problem_of, name=where)
    return value


def out_of_bounds(column: str, value: float) -> str | None:
    """What is wrong with a single meter value or time, by the bounds of its column.

    Parameters
    ----------
    column : str
        One of the number columns of `FORMAT`.
    value : float
        In the column's unit.

    Returns
    -------
    str or None
        The value and what would be right; None where it can be right.
    """
    for name, least, most, problem in FORMAT.bounds:
        if name == column and not least <= value <= most:
            said = problem.format(milli=value / 1000.0, celsius=value - 273.15)
            return f"{value:.10g} {MARK_TYPED if _is_mark(column, value) else said}"
    return None


def _is_mark(column: str, value: float) -> bool:
    return column != "elapsed_s" and value in MARKS


def _outside_c(value: float, in_file: str) -> Callable[[Shown], str]:
    """What is said of a temperature: on a page that names it, in words of either unit."""

    def said(shown: Shown) -> str:
        if shown.label == "battery_temp_c":
            return in_file
        return f"{round(value, 1):g} {_OUTSIDE_C_SINGLY}"

    return said


def check_bounds(readings: Readings) -> None:
    """Refuse a voltage or a temperature that no file of readings might hold.

    Parameters
    ----------
    readings : Readings
        Made in Python, where nothing was looked at so far.

    Raises
    ------
    InputError
        Names the first value that cannot be right, and says what would be.
    """
    for column in ("supply_voltage_v", "battery_temp_c"):
        values = getattr(readings, column)
        bounds = [(least, most) for name, least, most, _ in FORMAT.bounds if name == column]
        if values is None:
            continue
        wrong = np.any([(values < least) | (values > most) for least, most in bounds], axis=0)
        for place in np.flatnonzero(wrong)[:1].tolist():
            at_s, value = float(readings.elapsed_s[place]), float(values[place])
            where = f"{one_line(readings.source)}: reading at {at_s:.10g} s, column '{column}'"
            if np.isinf(value):
                raise InputError(f"{where}: {value} is not a meter value; NaN would be right")
            checked_value(column, value, where)


def readings_csv(readings: Readings) -> str:
    """The readings as CSV text that reads back to equal readings.

    ``time`` stands beside ``elapsed_s`` when the start is known. The first event at a reading
    stands in its row; every other event has a row of its own without a current, and so has every
    temperature read at another time. Event texts are
    written on one line, and read back in order of time, then text.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    str
        Header row and one row per reading or further event; columns without values are left out.
    """
    names = ("elapsed_s", "supply_current_a", *OPTIONAL_COLUMNS)
    given = {name: getattr(readings, name) for name in names}
    frame = pd.DataFrame({name: column for name, column in given.items() if column is not None})
    if readings.events:
        pairs = [(event.elapsed_s, one_line(event.text)) for event in readings.events]
        events = pd.DataFrame(pairs, columns=["elapsed_s", "event"])
        later = events["elapsed_s"].duplicated()
        frame = frame.merge(events[~later], on="elapsed_s", how="outer")
        frame = pd.concat([frame, events[later]]).sort_values("elapsed_s", kind="stable")
    if readings.temps_between:
        alone = [(t.elapsed_s, t.temp_c) for t in readings.temps_between]
        between = pd.DataFrame(alone, columns=["elapsed_s", "battery_temp_c"])
        frame = pd.concat([frame, between]).sort_values("elapsed_s", kind="stable")
    if (start := readings.started_at) is not None:
        if (offset := start.utcoffset()) is not None:
            start = start.astimezone(timezone(offset))
        times = [(start + timedelta(seconds=s)).isoformat() for s in frame["elapsed_s"].tolist()]
        frame.insert(1, "time", times)
    return frame.to_csv(index=False, lineterminator="\n")


def readings_from_table(
    frame: pd.DataFrame, remarks: Remarks, least: int = LEAST_TIMES
) -> Readings:
    """Readings from raw cells: name, convert, check, time, put in order.

    Parameters
    ----------
    frame : DataFrame
        Columns of `FORMAT`, indexed by the row's number in the file.
    remarks : Remarks
        Names file and columns in messages, and brings the notes so far.
    least : int
        Readings that are needed.

    Returns
    -------
    Readings

    Raises
    ------
    InputError
        A value that cannot be right, fewer readings than `least`, those of two connections
        that hours or a time that falls back part, or times that go back while the current goes on.
    """
    frame = checked_columns(frame, remarks)
    time = "elapsed_s" if "elapsed_s" in frame else "time"
    frame, started_at = timed(frame, remarks)
    events, temps = _events(frame, remarks), _temps_between(frame)
    frame = _with_current(frame.drop(columns="event", errors="ignore"), remarks, least)
    check_runs_on(frame["elapsed_s"], frame["supply_current_a"], remarks, time)
    _check_one_run(frame["elapsed_s"], time, remarks)
    if time == "time":
        check_no_pause(frame["elapsed_s"], remarks, time)
    _check_peaks(frame, remarks)
    note_second_start(frame, switched(events), remarks)
    frame = in_order(frame, remarks)
    note_gaps(frame["elapsed_s"].to_numpy(), remarks)
    columns: dict[str, Any] = {
        str(name): frame[name].to_numpy() for name in frame if frame[name].notna().any()
    }
    return Readings(
        **columns,
        events=events,
        temps_between=temps,
        started_at=started_at,
        source=remarks.source,
        notes=tuple(remarks.notes),
    )


def _events(frame: pd.DataFrame, remarks: Remarks) -> tuple[Event, ...]:
    if "event" not in frame:
        return ()
    given = frame[frame["event"] != ""]
    texts = [one_line(text) for text in given["event"]]
    if len(texts) == len(frame) and all(map(str.isdecimal, texts)):
        raise remarks.error("is a number in every row: decimal comma, or no event?", column="event")
    pairs = sorted(zip(given["elapsed_s"].tolist(), texts, strict=True))
    return tuple(Event(elapsed_s=elapsed_s, text=text) for elapsed_s, text in pairs if text)


def _temps_between(frame: pd.DataFrame) -> tuple[TempReading, ...]:
    """Battery temperatures of the rows without a supply current, in order of time."""
    if "battery_temp_c" not in frame:
        return ()
    alone = frame[frame["supply_current_a"].isna() & frame["battery_temp_c"].notna()]
    pairs = sorted(zip(alone["elapsed_s"].tolist(), alone["battery_temp_c"].tolist(), strict=True))
    return tuple(TempReading(elapsed_s=at_s, temp_c=temp_c) for at_s, temp_c in pairs)


def _with_current(frame: pd.DataFrame, remarks: Remarks, least: int) -> pd.DataFrame:
    lost = frame["supply_current_a"].isna()
    remarks.note_rows(
        lost, "dropped: no supply current; any event or battery temperature there is kept"
    )
    usable = frame["elapsed_s"][~lost].nunique()
    if usable < least:
        raise remarks.error(
            f"usable readings: {usable}; at least {least} at different times are needed"
        )
    return frame[~lost]


def _check_one_run(elapsed_s: pd.Series, time: str, remarks: Remarks) -> None:
    """Refuse rows of two runs: merged by their times they would be a connection that never was."""
    place = next(iter(run_starts(elapsed_s.to_numpy())), None)
    if place is not None:
        first, before, row = elapsed_s.index[[0, place - 1, place]]
        raise remarks.error(
            f"the time falls back to {elapsed_s.loc[row]:g} s, as where a logger began anew; give "
            f"the readings of one connection: {remarks.row}s {first} to {before}, or from "
            f"{remarks.row} {row} on",
            int(row),
            time,
        )


def _check_peaks(frame: pd.DataFrame, remarks: Remarks) -> None:
    for name, least, problem in _LEAST_PEAKS:
        if name in frame and frame[name].abs().max() < least:
            raise remarks.error(problem, column=name)
