"""The named columns of a table: known, converted and within bounds, or all that is wrong."""

from __future__ import annotations

import difflib
import re
from functools import partial

import numpy as np
import pandas as pd

from batterymodel.inputs.faults import Faults
from batterymodel.inputs.no_value_marks import are_nines, without_marks
from batterymodel.inputs.remarks import Remarks, TableFormat, shown
from batterymodel.inputs.table_times import unreadable_times
from batterymodel.inputs.tables import MISSING, check_size, texts_of

CLOCK_TIME = "is a clock time; use a column 'time' in ISO 8601 (2024-05-01T10:05:00)"
"""What a time of day says in a column of seconds."""

NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)(e[+-]?\d+)?|[+-]?inf(inity)?|nan", re.A | re.I)
"""A cell that holds a plain number with a decimal point, or what stands for none."""


def checked_columns(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    """The known columns, converted and within bounds.

    Parameters
    ----------
    frame : DataFrame
        Raw cells, indexed by the row's number.
    remarks : Remarks
        Brings the format; takes a note of columns that are not used.

    Returns
    -------
    DataFrame
        Numbers as floats, NaN where empty; texts stripped.

    Raises
    ------
    InputError
        No rows or too many, or a column missing, twice or misnamed.
    InputFaultsError
        All values that cannot be right, each with its row and column.
    """
    frame = _known_columns(frame, remarks)
    if not len(frame):
        right = f"one row per {remarks.format.row} would be right"
        raise remarks.error(f"holds no {remarks.format.rows} below its column names; {right}")
    check_size(0, len(frame) + 1, remarks)
    faults = Faults(remarks)
    frame = pd.DataFrame({name: _converted(frame[name], faults) for name in frame})
    _check_values(frame, faults)
    faults.raise_any()
    return frame


def _known_columns(frame: pd.DataFrame, remarks: Remarks) -> pd.DataFrame:
    names = [name.strip().lower() for name in frame.columns]
    _check_header(names, remarks)
    for i, name in enumerate(names):
        if name not in remarks.format.units and (name or any(texts_of(frame.iloc[:, i]))):
            remarks.notes.append(f"column {shown(name)} is not used")
    return frame.set_axis(names, axis=1)[[name for name in names if name in remarks.format.units]]


def _check_header(names: list[str], remarks: Remarks) -> None:
    given, timed = set(names), {"elapsed_s", "time"}
    missing = set(remarks.format.units) - given - (timed if timed & given else set())
    if names and all(map(NUMBER.fullmatch, names)):
        raise remarks.error(
            "holds values; a row of column names must come first", remarks.header_row
        )
    for i, name in enumerate(names):
        if name and name in names[:i]:
            raise remarks.error(
                f"column {shown(name)} is there twice; name it once", remarks.header_row
            )
        if name not in remarks.format.units and (meant := _meant(name, remarks.format)) in missing:
            right = f"name it '{meant}' ({remarks.format.units[meant]}) or remove it"
            raise remarks.error(f"column {shown(name)} is not known; {right}", remarks.header_row)
    for needed in remarks.format.required:
        if needed in missing:
            wanted = f"'{needed}' ({remarks.format.units[needed]})"
            wanted += " or 'time'" * (needed == "elapsed_s")
            raise remarks.error(f"no column {wanted}; it is required", remarks.header_row)


def _meant(name: str, table: TableFormat) -> str | None:
    key = re.sub(r"[^a-z0-9]+", "_", name[:60]).strip("_")
    habits = [known for known, others in table.other_names.items() if key in others.split()]
    close = habits or difflib.get_close_matches(key, table.units, 1, cutoff=0.85)
    return next(iter(close), None)


def _plain_numbers(cells: pd.Series) -> pd.Series | None:
    """The fast way: floats, if every cell is a number or an empty text."""
    if cells.dtype.kind in "fiu":
        return cells.astype("float64")
    try:
        return None if "_" in "".join(cells) else cells.where(cells != "", "nan").astype(float)
    except (TypeError, ValueError):
        return None


def _converted(cells: pd.Series, faults: Faults) -> pd.Series:
    """A number column as floats, NaN where empty or wrong; a text column stripped."""
    table, name = faults.remarks.format, str(cells.name)
    if name in table.texts:
        texts = texts_of(cells)
        if name == "time":
            said = "{} is not a time like 2024-05-01T10:05:00 (ISO 8601)"
            wrong = unreadable_times(texts)
            faults.add_rows(wrong, lambda row: said.format(shown(texts.loc[row])), name)
        return texts
    if (numbers := _plain_numbers(cells)) is not None:
        return numbers
    texts = texts_of(cells)
    texts[[text.lower() in MISSING for text in texts]] = "nan"
    wrong = pd.Series([not NUMBER.fullmatch(text) for text in texts], texts.index, dtype=bool)
    faults.add_rows(wrong, lambda row: no_number(texts.loc[row], name, table), name)
    return texts.where(~wrong, "nan").astype(float)


def no_number(text: str, name: str, table: TableFormat) -> str:
    """What is wrong with a cell that should hold a number.

    Parameters
    ----------
    text : str
        Stripped.
    name : str
        Of the column.
    table : TableFormat

    Returns
    -------
    str
        The text, why it is no number, and what would be right.
    """
    problem = f"is not a number; {table.units[name]} as a plain number would be right"
    if name == "elapsed_s" and ":" in text:
        problem = CLOCK_TIME
    elif re.fullmatch(r"[+-]?[1-9]\d{0,2},\d{3}", text):
        whole, decimal = text.replace(",", ""), text.replace(",", ".")
        problem = f"may have a comma of thousands or of decimals; write {whole} or {decimal}"
    elif re.fullmatch(r"[+-]?\d+,\d+", text):
        problem = f"has a decimal comma; write {shown(text.replace(',', '.'))}"
    return f"{shown(text)} {problem}"


def _check_values(frame: pd.DataFrame, faults: Faults) -> None:
    """A fault for each value out of bounds, the first bound that it breaks."""
    told = pd.DataFrame(False, frame.index, frame.columns)
    for name in frame.columns.intersection([*faults.remarks.format.metered]):
        outside = outside_bounds(frame[name], faults.remarks.format, name)
        doubted = outside | are_nines(frame[name])
        told[name] = without_marks(frame[name], doubted, name, faults)
        frame[name] = frame[name].mask(told[name])
    for name, least, most, problem in faults.remarks.format.bounds:
        if name in frame:
            values = frame[name]
            wrong = ((values < least) | (values > most)) & ~told[name]
            told[name] |= wrong
            said = partial(_out_of_bounds, values, problem)
            faults.add_rows(wrong, said, name)


def outside_bounds(values: pd.Series, table: TableFormat, name: str) -> pd.Series:
    """Which values break a bound of their column.

    Parameters
    ----------
    values : Series of float
        In the unit of the column.
    table : TableFormat
    name : str
        Of the column.

    Returns
    -------
    Series of bool
    """
    bounds = [(least, most) for column, least, most, _ in table.bounds if column == name]
    outside = pd.Series(False, values.index)
    for least, most in bounds:
        outside |= (values < least) | (values > most)
    return outside


def _out_of_bounds(values: pd.Series, problem: str, row: int) -> str:
    value = float(values.loc[row])
    said = problem.format(milli=value / 1000.0, celsius=value - 273.15)
    said = "is not a meter value; leave the cell empty" if np.isinf(value) else said
    return f"{value:.10g} {said}"
