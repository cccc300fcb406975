"""Readings written as other loggers write them: every dialect the properties go through."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime, timedelta

from hypothesis import strategies as st

from batterymodel.inputs.column_map import Quantity
from batterymodel.inputs.records import Readings

TO_UNIT: dict[str, Callable[[float], float]] = {
    "A": lambda a: a,
    "mA": lambda a: 1000.0 * a,
    "uA": lambda a: 1e6 * a,
    "V": lambda v: v,
    "mV": lambda v: 1000.0 * v,
    "degC": lambda c: c,
    "degF": lambda c: 1.8 * c + 32.0,
    "K": lambda c: c + 273.15,
}
HEADERS = {
    Quantity.SUPPLY_CURRENT: [
        ("Amps", "A"),
        ("Supply current [A]", "A"),
        ("I (A)", "A"),
        ("Current / mA", "mA"),
        ("Strom [mA]", "mA"),
        ("Supply current (µA)", "uA"),
        ("supply_ma", "mA"),
        ("supply_current_a", "A"),
    ],
    Quantity.BATTERY_CURRENT: [
        ("Battery current [A]", "A"),
        ("Batt I (mA)", "mA"),
        ("Charging current [mA]", "mA"),
        ("Batteriestrom [A]", "A"),
    ],
    Quantity.SUPPLY_VOLTAGE: [
        ("Volts", "V"),
        ("Voltage [mV]", "mV"),
        ("Bus V", "V"),
        ("Spannung (V)", "V"),
        ("Voltage", "mV"),
    ],
    Quantity.BATTERY_TEMP: [
        ("Battery temp [°C]", "degC"),
        ("Batt. Temperature (°F)", "degF"),
        ("T battery [K]", "K"),
        ("BatteryTemp C", "degC"),
    ],
    Quantity.EVENT: [("Event", "text"), ("Bemerkung", "text"), ("Notes", "text")],
}
START = datetime(2026, 3, 17, 23, 58, 30)
"""Two minutes before midnight, on a day that is no month."""


def _clock(seconds: float) -> str:
    return f"{seconds // 3600:.0f}:{seconds // 60 % 60:02.0f}:{seconds % 60:02.0f}"


def _at(pattern: str) -> Callable[[float], list[str]]:
    return lambda s: [(START + timedelta(seconds=s)).strftime(pattern)]


TIMES: dict[str, tuple[list[str], Callable[[float], list[object]]]] = {
    "s": (["t [s]"], lambda s: [s]),
    "ms": (["Time (ms)"], lambda s: [1000.0 * s]),
    "min": (["Elapsed min"], lambda s: [s / 60.0]),
    "h": (["Zeit / h"], lambda s: [s / 3600.0]),
    "h:min:s": (["Elapsed"], lambda s: [_clock(s)]),
    "clock": (["Time"], _at("%H:%M:%S")),
    "twelve hours": (["Time"], _at("%I:%M:%S %p")),
    "ymd": (["Timestamp"], _at("%Y-%m-%dT%H:%M:%S")),
    "dmy": (["Date/Time"], _at("%d.%m.%Y %H:%M:%S")),
    "mdy": (["Date Time"], _at("%m/%d/%Y %I:%M:%S %p")),
    "month in letters": (["Time"], _at("%d-%b-%Y %H:%M:%S")),
    "date and clock": (
        ["Date", "Time"],
        lambda s: [_at("%d.%m.%y")(s)[0], _at("%H:%M:%S")(s)[0]],
    ),
    "unix_s": (["Timestamp"], lambda s: [1_772_000_000.0 + s]),
}
DATED = ("ymd", "dmy", "mdy", "month in letters", "date and clock")


@dataclass(frozen=True)
class Dialect:
    """One way of writing a table."""

    separator: str
    mark: str
    time: str
    headers: dict[Quantity, tuple[str, str]]
    encoding: str
    line_end: str
    units_row: bool
    preamble: bool
    totals: bool
    blanks: bool


DIALECTS = st.builds(
    Dialect,
    separator=st.sampled_from(",;\t|"),
    mark=st.sampled_from(".,"),
    time=st.sampled_from(sorted(TIMES)),
    headers=st.fixed_dictionaries({q: st.sampled_from(names) for q, names in HEADERS.items()}),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "latin-1"]),
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    units_row=st.booleans(),
    preamble=st.booleans(),
    totals=st.booleans(),
    blanks=st.booleans(),
)


def rows_of(readings: Readings, dialect: Dialect) -> list[list[object]]:
    """Header and one row per reading, numbers not yet written out."""
    time_headers, time_cells = TIMES[dialect.time]
    taken = {q: getattr(readings, q.value, None) for q in dialect.headers}
    taken = {q: column for q, column in taken.items() if column is not None}
    events = {event.elapsed_s: event.text for event in readings.events}
    names = [dialect.headers[q][0] for q in taken]
    rows: list[list[object]] = [[*time_headers, *names, dialect.headers[Quantity.EVENT][0]]]
    for k, elapsed_s in enumerate(readings.elapsed_s.tolist()):
        values = [TO_UNIT[dialect.headers[q][1]](float(taken[q][k])) for q in taken]
        rows.append([*time_cells(elapsed_s), *values, events.get(elapsed_s, "")])
    return rows


def _written(cell: object, mark: str) -> str:
    if not isinstance(cell, float):
        return str(cell)
    return "" if cell != cell else f"{cell:.10f}".rstrip("0").rstrip(".").replace(".", mark)


def written(readings: Readings, dialect: Dialect) -> bytes:
    """The readings as a file of this dialect."""
    rows = rows_of(readings, dialect)
    if dialect.units_row:
        rows[0], units = _with_units_below(rows[0])
        rows.insert(1, units)
    if dialect.totals:
        rows.append(["Mean", *[1.0] * (len(rows[0]) - 2), ""])
    buffer = io.StringIO()
    writer = csv.writer(buffer, delimiter=dialect.separator, lineterminator="\n")
    writer.writerows([_written(cell, dialect.mark) for cell in row] for row in rows)
    text = buffer.getvalue()
    if dialect.blanks:
        text = text.replace("\n", "\n\n# a comment\n", 3)
    if dialect.preamble:
        text = f"Logger 7, invented\nRange{dialect.separator}60 A\n\n{text}"
    text = text.replace("\n", dialect.line_end)
    return text.encode(dialect.encoding)


def _with_units_below(header: list[object]) -> tuple[list[object], list[object]]:
    """The header without its brackets, and what stood in them as a row."""
    names, units = [], []
    for name in map(str, header):
        bare, bracket, unit = name.replace("(", "[").partition(" [")
        names.append(bare)
        units.append("[" + unit.rstrip(")]") + "]" if bracket else "")
    return (names, units) if any(units) else (header, ["-"] * len(header))
