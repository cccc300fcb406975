"""Readings from the files of other loggers, meters and spreadsheets.

`guess_columns` proposes how the columns are to be taken, a person confirms or changes that, and
`readings_from_foreign` converts. A file in the project's own format goes through untouched.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import partial

import numpy as np
import pandas as pd

from batterymodel.errors import InputError
from batterymodel.inputs.cell_values import OVER_RANGE, decimal_mark, is_missing, number_of
from batterymodel.inputs.column_guess import SAMPLE_ROWS, ColumnGuess, Sureness, column_guesses
from batterymodel.inputs.column_map import (
    QUANTITY_WORDS,
    SCALES,
    UNITS,
    Column,
    ColumnMap,
    Quantity,
    chosen_columns,
    header_fingerprint,
)
from batterymodel.inputs.faults import Faults
from batterymodel.inputs.foreign_table import ForeignTable, foreign_table
from batterymodel.inputs.foreign_times import (
    days_of,
    elapsed_by_clock,
    elapsed_of,
    moments_of,
    parsed,
)
from batterymodel.inputs.guesses import with_doubts
from batterymodel.inputs.header_doubts import told_above
from batterymodel.inputs.no_value_marks import (
    are_nines,
    possible_marks,
    possible_words,
    without_marks,
)
from batterymodel.inputs.own_format import is_own_format
from batterymodel.inputs.readings import FORMAT, readings_from_bytes, readings_from_table
from batterymodel.inputs.records import Readings
from batterymodel.inputs.remarks import Remarks, shown
from batterymodel.inputs.set_back import check_runs_on
from batterymodel.inputs.table_columns import outside_bounds
from batterymodel.inputs.table_times import check_no_pause
from batterymodel.inputs.two_times import clock_run_s, doubts_of_times

PREVIEW_ROWS = 5
"""Rows of a preview."""

Guesses = tuple[ColumnGuess, ...]

_METERED = tuple(q for q in Quantity if q.value in {name for name, *_ in FORMAT.bounds})
_TIMES = (Quantity.ELAPSED, Quantity.TIME, Quantity.DATE)


@dataclass(frozen=True)
class ForeignGuess:
    """How a file's columns are probably to be taken.

    ``decimal_sure`` is False where the mark before the decimals may be either. ``preview`` holds
    the first rows by the map, in the units of the readings, None where a cell says nothing;
    ``told_above`` is what the file says above each column of its unit or place.
    """

    column_map: ColumnMap
    columns: tuple[ColumnGuess, ...]
    decimal_sure: bool = True
    rows: int = 0
    preview: tuple[dict[str, float | str | None], ...] = ()
    told_above: tuple[str, ...] = ()

    @property
    def fingerprint(self) -> str:
        """`header_fingerprint` of the file, under which its confirmed map is remembered."""
        return header_fingerprint((c.header for c in self.column_map.columns), self.told_above)

    @property
    def unsure(self) -> tuple[ColumnGuess, ...]:
        """The guesses that a person must confirm or change."""
        return tuple(g for g in self.columns if g.sureness is Sureness.UNSURE)

    @property
    def is_sure(self) -> bool:
        """Whether the map may be used without asking."""
        found = self.column_map.own or not self.column_map.missing
        return found and self.decimal_sure and not self.unsure

    @property
    def doubts(self) -> tuple[str, ...]:
        """What is to be confirmed or told, in part sentences; empty where all is sure."""
        told = [f"{guess.column.words} is not sure ({guess.why})" for guess in self.unsure]
        if not self.column_map.own:
            lost = self.column_map.missing
            told += [f"no column is known as the {QUANTITY_WORDS[quantity]}" for quantity in lost]
        unclear = [] if self.decimal_sure else ["a comma may stand before decimals or thousands"]
        return (*told, *unclear)


def guess_as_own() -> ForeignGuess:
    """The guess that a file is in the project's own format, whose reader says what is wrong.

    Returns
    -------
    ForeignGuess
    """
    return ForeignGuess(ColumnMap(columns=(), own=True), ())


def guess_columns(
    content: bytes, name: str, choices: Iterable[str] = (), decimal: str | None = None
) -> ForeignGuess:
    """How the columns of a file are probably to be taken.

    Parameters
    ----------
    content : bytes
        Of a CSV text or a workbook (xlsx).
    name : str
        Name of the file, for messages.
    choices : iterable of str
        What a person told already, like ``Amps=supply_current_a:mA``.
    decimal : str, optional
        The mark before the decimals where a person told it.

    Returns
    -------
    ForeignGuess

    Raises
    ------
    InputError
        Not a table that can be read, or choices that do not fit it.
    """
    choices = list(choices)
    if decimal not in (None, ".", ","):
        raise InputError(f"{shown(str(decimal))} is no decimal mark; . or , would be right")
    if not choices and decimal is None and is_own_format(content):
        return guess_as_own()
    table = foreign_table(content, name)
    if table.cells.empty:
        table.faults.raise_any()
    chosen = chosen_columns(choices, table.headers)
    mark, sure = _mark_of(table) if decimal is None else (decimal, True)
    guesses = _guesses(table, mark, chosen)
    if not sure:
        mark, sure, guesses = _likelier(table, guesses, mark, chosen)
    column_map = ColumnMap.model_validate(
        {"columns": [g.column for g in guesses], "decimal_mark": mark}
    )
    preview = _preview(table, column_map)
    above = told_above(table.headers, table.above)
    return ForeignGuess(column_map, guesses, sure, len(table.cells), preview, above)


def readings_from_foreign(content: bytes, name: str, column_map: ColumnMap) -> Readings:
    """Readings from a file, its columns taken as told.

    Parameters
    ----------
    content : bytes
        Of a CSV text or a workbook (xlsx).
    name : str
        Name of the file, for messages.
    column_map : ColumnMap
        Confirmed; columns that it does not name are not used.

    Returns
    -------
    Readings
        The notes say how the columns were taken and what was converted.

    Raises
    ------
    InputFaultsError
        All that is wrong in the table, each with row and column as seen.
    InputError
        No table that can be read, or fewer than three readings.
    """
    if column_map.own:
        return readings_from_bytes(content, name)
    table = foreign_table(content, name)
    _check_fits(table, column_map)
    table.remarks.notes.insert(0, f"columns: {column_map.words}")
    frame = _converted(table, column_map)
    table.faults.raise_any()
    remarks = _seen_remarks(table.remarks, column_map)
    _check_one_connection(table, column_map, frame["supply_current_a"], remarks)
    return readings_from_table(frame, remarks)


def _check_one_connection(
    table: ForeignTable, column_map: ColumnMap, current_a: pd.Series, remarks: Remarks
) -> None:
    """Refuse a log of two connections, or of a clock that was set back; a count is of one."""
    taken = {c.quantity: c for c in column_map.columns if c.header in table.headers}
    if Quantity.ELAPSED not in taken:
        unheard = Faults(Remarks(remarks.source, FORMAT))
        run_s = clock_run_s(table.cells, taken, column_map.decimal_mark, unheard)
        check_runs_on(run_s, current_a, remarks, "time")
        check_no_pause(run_s[current_a.notna()], remarks, "time")


def _mark_of(table: ForeignTable) -> tuple[str, bool]:
    """The mark before the decimals, by all cells that have figures in them and no colon."""
    texts: set[str] = set()
    for header in table.headers:
        texts.update(table.cells[header].iloc[:: len(table.cells) // SAMPLE_ROWS + 1])
    return decimal_mark(text for text in texts if len(text) < 40 and ":" not in text)


def _guesses(table: ForeignTable, mark: str, chosen: dict[str, Column]) -> Guesses:
    guesses = column_guesses(table.cells, mark, chosen, table.units_apart, table.above)
    guesses = with_doubts(guesses, table.doubts)
    guesses = with_doubts(guesses, _doubts_of_marks(table, guesses, mark))
    return with_doubts(guesses, doubts_of_times(table.cells, guesses, mark))


def _likelier(
    table: ForeignTable, guesses: Guesses, mark: str, chosen: dict[str, Column]
) -> tuple[str, bool, Guesses]:
    """Of both marks the one under which fewer columns are in doubt; unsure where both do alike."""
    other = "." if mark == "," else ","
    others = _guesses(table, other, chosen)
    more = _in_doubt(guesses) - _in_doubt(others)
    return (other, True, others) if more > 0 else (mark, more < 0, guesses)


def _in_doubt(guesses: Guesses) -> int:
    return sum(guess.sureness is Sureness.UNSURE for guess in guesses)


def _preview(
    table: ForeignTable, column_map: ColumnMap
) -> tuple[dict[str, float | str | None], ...]:
    """The first rows converted; faults and notes are left for the reading itself."""
    remarks = Remarks(table.remarks.source, FORMAT)
    head = ForeignTable(table.cells.iloc[:PREVIEW_ROWS], table.header_row, Faults(remarks))
    frame = _converted(head, column_map).astype(object)
    frame = frame.where(frame.notna() & (frame != ""), None)
    return tuple({str(k): v for k, v in row.items()} for row in frame.to_dict("records"))


def _check_fits(table: ForeignTable, column_map: ColumnMap) -> None:
    """Refuse a map that was made for another table; faults of rows wait until all are known."""
    known = len(table.faults.told)
    used = [c for c in column_map.columns if c.quantity is not Quantity.IGNORED]
    for column in used:
        if column.header not in table.headers:
            has = ", ".join(shown(header) for header in table.headers[:20])
            table.faults.add(f"no column {shown(column.header)}; it has {has}", table.header_row)
    for quantity in column_map.missing:
        problem = f"no column is taken as the {QUANTITY_WORDS[quantity]}; it is required"
        table.faults.add(problem, table.header_row)
    if len(table.faults.told) > known:
        table.faults.raise_any()


def _converted(table: ForeignTable, column_map: ColumnMap) -> pd.DataFrame:
    """The columns of the readings, in their units; faults go to the table's."""
    taken = {c.quantity: c for c in column_map.columns if c.header in table.headers}
    frame = _times(table, taken, column_map.decimal_mark)
    for quantity in _METERED:
        if quantity in taken and quantity is not Quantity.ELAPSED:
            cells = table.cells[taken[quantity].header]
            frame[quantity.value] = _metered(cells, taken[quantity], column_map, table.faults)
    if (event := taken.get(Quantity.EVENT)) is not None:
        texts = table.cells[event.header]
        frame["event"] = ["" if is_missing(text) else text for text in texts]
    return frame


def _times(table: ForeignTable, taken: Mapping[Quantity, Column], mark: str) -> pd.DataFrame:
    frame = pd.DataFrame(index=table.cells.index)
    elapsed, time, date = (taken.get(quantity) for quantity in _TIMES)
    if elapsed is not None:
        cells = table.cells[elapsed.header]
        frame["elapsed_s"] = elapsed_of(cells, elapsed, mark, table.faults)
    if time is None:
        return frame
    cells = table.cells[time.header]
    if time.unit == "clock" and date is None:
        if elapsed is None:
            frame["elapsed_s"] = elapsed_by_clock(cells, table.faults)
        return frame
    with_days = date is not None and time.unit == "clock"
    days = days_of(table.cells[date.header], date, table.faults) if date and with_days else None
    frame["time"] = moments_of(cells, time, days, mark, table.faults)
    return frame


@dataclass(frozen=True)
class _Metered:
    """A column's numbers as written and in the unit of the readings, with the unit of each."""

    as_written: pd.Series
    values: pd.Series
    units: pd.Series

    def possible_marks(self, marks: pd.Series, column: Column) -> str:
        """What may be a value or a mark for no value, in words; empty where nothing may.

        A cell that names its unit is a value.
        """
        bare = self.units == ""
        found = possible_marks(self.as_written, marks | ~bare)
        unit, said = UNITS[column.quantity][0], []
        for value in self.as_written[found].drop_duplicates().tolist():
            at = found & (self.as_written == value)
            said.append(possible_words(value, f"{self.values[at].iloc[0]:g} {unit}", at))
        return "; ".join(said)


def _doubts_of_marks(table: ForeignTable, guesses: Guesses, mark: str) -> dict[str, str]:
    """By header, which cells may be values or marks for no value: only a person knows."""
    found = {}
    for column in (guess.column for guess in guesses):
        if column.quantity in _METERED and column.quantity is not Quantity.ELAPSED:
            unheard = Faults(Remarks("", FORMAT))
            metered = _numbers_of(table.cells[column.header], column, mark, unheard)
            marks = _marks_of(metered, column, unheard)
            found[column.header] = metered.possible_marks(marks, column)
    return {header: why for header, why in found.items() if why}


def _numbers_of(cells: pd.Series, column: Column, mark: str, faults: Faults) -> _Metered:
    units = UNITS[column.quantity]
    right = f"a number in {column.unit}; only digits and a decimal '{mark}' would be right"
    numbers = parsed(cells, lambda text: _number_in(text, mark, units), right, faults)
    scaled = [_scaled(value, unit or column.unit) for value, unit in numbers]
    return _Metered(
        pd.Series([value for value, _ in numbers], numbers.index, dtype=float, name=cells.name),
        pd.Series(scaled, numbers.index, dtype=float),
        pd.Series([unit for _, unit in numbers], numbers.index, dtype=object),
    )


def _marks_of(metered: _Metered, column: Column, faults: Faults) -> pd.Series:
    values = metered.values
    doubted = outside_bounds(values, FORMAT, column.quantity.value) | are_nines(values)
    return without_marks(metered.as_written, doubted, str(metered.as_written.name), faults)


def _metered(cells: pd.Series, column: Column, column_map: ColumnMap, faults: Faults) -> pd.Series:
    """Numbers in the unit of the readings; a unit in the cell goes before the column's."""
    metered = _numbers_of(cells, column, column_map.decimal_mark, faults)
    marks = _marks_of(metered, column, faults)
    values = metered.values.mask(marks)
    _check_bounds(values, cells, column, faults)
    if possible := metered.possible_marks(marks, column):
        faults.remarks.notes.append(f"column {shown(column.header)}, read as values: {possible}")
    units = {unit or column.unit for unit in metered.units}
    _note_conversion(cells, column, units, faults.remarks)
    return values.reindex(cells.index)


def _number_in(text: str, mark: str, units: tuple[str, ...]) -> tuple[float, str] | None:
    found = number_of(text, mark)
    return found if found is not None and found[1] in ("", *units) else None


def _scaled(value: float, unit: str) -> float:
    """In the unit of the readings; twelve digits, so that 18300 mA is 18.3 A."""
    factor, offset = SCALES[unit]
    return value if unit in ("A", "V", "degC") else float(f"{value * factor + offset:.12g}")


def _check_bounds(values: pd.Series, cells: pd.Series, column: Column, faults: Faults) -> None:
    """A fault for each value that no such meter shows, the first bound that it breaks."""
    unit, told = UNITS[column.quantity][0], pd.Series(False, values.index)
    for name, least, most, problem in FORMAT.bounds:
        if name == column.quantity.value:
            wrong = ((values < least) | (values > most)) & ~told
            told |= wrong
            said = partial(_out_of_bounds, cells, values, unit, problem)
            faults.add_rows(wrong, said, str(cells.name))


def _out_of_bounds(cells: pd.Series, values: pd.Series, unit: str, problem: str, row: int) -> str:
    text, value = str(cells.loc[row]), float(values.loc[row])
    if np.isinf(value):
        return f"{shown(text)} is not a meter value; leave the cell empty"
    said = problem.format(milli=value / 1000.0, celsius=value - 273.15)
    same = re.fullmatch(r"[^\d]*" + re.escape(f"{value:.10g}") + r"\D*", text)
    return f"{shown(text)} {said}" if same else f"{shown(text)} ({value:.6g} {unit}) {said}"


def _note_conversion(cells: pd.Series, column: Column, units: set[str], remarks: Remarks) -> None:
    plain, header = UNITS[column.quantity][0], shown(column.header)
    if other := sorted(units - {plain}):
        remarks.notes.append(f"column {header}: {', '.join(other)} converted to {plain}")
    over = sum(text.lower() in OVER_RANGE for text in cells)
    if over:
        cells_said = f"{over} cell{'s' * (over > 1)}"
        remarks.notes.append(f"column {header}: {cells_said} over the meter's range, no value")


@dataclass(frozen=True)
class _SeenRemarks(Remarks):
    """Remarks that name columns as they stand in the file."""

    headers: dict[str, str] = field(default_factory=dict)

    def error(self, problem: str, row: int | None = None, column: str | None = None) -> InputError:
        """As of `Remarks`, with the header as seen."""
        return super().error(problem, row, self.headers.get(column or "", column))


def _seen_remarks(remarks: Remarks, column_map: ColumnMap) -> Remarks:
    headers = {c.quantity.value: c.header for c in column_map.columns}
    headers.setdefault("elapsed_s", headers.get("time", "elapsed_s"))
    return _SeenRemarks(remarks.source, FORMAT, remarks.notes, remarks.header_row, headers=headers)
