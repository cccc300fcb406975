"""The record of one battery's capacity checks over months or cycles, read from CSV."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path

import numpy as np
import pandas as pd

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.inputs.records import UNSTATED_CHECK_SD
from batterymodel.inputs.remarks import Remarks, TableFormat, first_row, shown
from batterymodel.inputs.table_columns import checked_columns
from batterymodel.inputs.tables import decoded, file_bytes, table_from_frame, table_from_text

UNSTATED_IN_SERVICE_SD = 0.15
"""Relative error of a capacity estimated in service that states none (own choice)."""

FIRST_YEAR, LAST_YEAR = 1980, 2200
"""Years of which a check is taken (own choice: no battery in use is older)."""

YEAR_BEYOND = f"is no year of a check; one from {FIRST_YEAR} to {LAST_YEAR} would be right"

CHECK, IN_SERVICE = "check", "in_service"
_KINDS = (CHECK, IN_SERVICE)
_YES, _NO = ("yes", "true", "1"), ("no", "false", "0", "")
FORMAT = TableFormat(
    what="the record of one battery's checks",
    rows="checks",
    units={
        "on": "date, YYYY-MM-DD",
        "cycle": "number of the discharge",
        "capacity_ah": "ampere-hours",
        "capacity_sd_ah": "ampere-hours",
        "kind": "check or in_service",
        "lower_bound": "yes or no",
    },
    other_names={
        "on": "date day checked_on",
        "cycle": "cycles n cycle_number",
        "capacity_ah": "capacity ah cap capacity_ahr",
        "capacity_sd_ah": "sd sd_ah error error_ah uncertainty",
    },
    required=("capacity_ah",),
    texts=frozenset({"on", "kind", "lower_bound"}),
    bounds=(
        ("cycle", 0.0, 1e6, "is no number of a discharge; 1, 2, 3 ... would be right"),
        (
            "capacity_ah",
            -np.inf,
            1000.0,
            "looks like milliampere-hours; in ampere-hours it is {milli:.7g}",
        ),
        ("capacity_ah", 1e-9, 1000.0, "is no capacity; more than 0 Ah would be right"),
        ("capacity_sd_ah", 1e-9, 500.0, "is no error; more than 0 Ah, or empty, would be right"),
    ),
)
"""The table of a record of checks: its columns and what they may hold."""


@dataclass(frozen=True)
class MeasuredCapacity:
    """One check as the battery's record has it: its day, capacity [Ah] and standard error [Ah].

    Without an error, that of its kind is taken.
    """

    on: date
    capacity_ah: float
    capacity_sd_ah: float | None = None
    in_service: bool = False
    is_lower_bound: bool = False


@dataclass(frozen=True)
class CheckRecord:
    """Checks of one battery in order of time, one value each, shape ``(n,)``.

    ``at`` is in years since the first check where ``first_on`` is given, else the cycle.
    ``lower_bound`` marks discharges that stopped early.
    """

    at: np.ndarray
    capacity_ah: np.ndarray
    sd_ah: np.ndarray
    in_service: np.ndarray
    lower_bound: np.ndarray
    first_on: date | None = None
    source: str = "checks"
    notes: tuple[str, ...] = ()

    @property
    def unit(self) -> str:
        """What time is counted in: ``year`` or ``cycle``."""
        return "cycle" if self.first_on is None else "year"

    def moment(self, at: float) -> date | int:
        """Day or whole cycle of a time.

        Parameters
        ----------
        at : float
            Years since the first check, or cycle, as `unit` says.

        Returns
        -------
        date | int
            The day where the record has days, else the nearest whole cycle.
        """
        if self.first_on is None:
            return round(at)
        return self.first_on + timedelta(days=round(at * DAYS_PER_YEAR))

    def __len__(self) -> int:
        return int(self.at.size)


def read_checks(path: str | Path) -> CheckRecord:
    """Record of checks from a CSV file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    CheckRecord

    Raises
    ------
    InputError
        The file cannot be opened or holds what cannot be right; names file, row and column.
    """
    return checks_from_bytes(file_bytes(path, Remarks(str(path), FORMAT)), str(path))


def checks_from_bytes(data: bytes, source: str) -> CheckRecord:
    """Record of checks from the bytes of a CSV file, as an upload gives them.

    Parameters
    ----------
    data : bytes
    source : str
        Name of the file, for messages.

    Returns
    -------
    CheckRecord

    Raises
    ------
    InputError
        No table of checks, or a value that cannot be right; names row and column.
    """
    remarks = Remarks(source, FORMAT)
    return _record(*table_from_text(decoded(data, remarks), remarks))


def checks_from_frame(frame: pd.DataFrame, source: str = "checks") -> CheckRecord:
    """Record of checks from a table with the CSV's column names.

    Parameters
    ----------
    frame : DataFrame
        Columns of `FORMAT`, as text or numbers; one row per check in any order.
    source : str
        What messages call the table.

    Returns
    -------
    CheckRecord

    Raises
    ------
    InputError
        A column is missing, or a value cannot be right; the table's first line counts as row 2.
    """
    return _record(table_from_frame(frame), Remarks(source, FORMAT))


def checks_from_measured(found: Sequence[MeasuredCapacity], source: str) -> CheckRecord:
    """Record of checks from values that were looked at when they came in.

    Parameters
    ----------
    found : sequence of MeasuredCapacity
        One at least, in any order.
    source : str
        What messages call them.

    Returns
    -------
    CheckRecord
    """
    ordered = sorted(found, key=lambda one: (one.on, one.capacity_ah))
    first = ordered[0].on
    capacity_ah = np.array([one.capacity_ah for one in ordered])
    in_service = np.array([one.in_service for one in ordered])
    sd_ah = _unstated_sd_ah(capacity_ah, in_service)
    for k, one in enumerate(ordered):
        sd_ah[k] = sd_ah[k] if one.capacity_sd_ah is None else one.capacity_sd_ah
    return CheckRecord(
        at=np.array([(one.on - first).days / DAYS_PER_YEAR for one in ordered]),
        capacity_ah=capacity_ah,
        sd_ah=sd_ah,
        in_service=in_service,
        lower_bound=np.array([one.is_lower_bound for one in ordered]),
        first_on=first,
        source=source,
    )


def _record(frame: pd.DataFrame, remarks: Remarks) -> CheckRecord:
    frame = checked_columns(frame, remarks)
    lost = frame["capacity_ah"].isna()
    remarks.note_rows(lost, "dropped: no capacity")
    frame = frame[~lost]
    if not len(frame):
        raise remarks.error("has no check with a capacity; one or more would be right")
    at, first_on = _times(frame, remarks)
    kind = _kinds(frame, remarks)
    bound = _bounds(frame, remarks)
    capacity = frame["capacity_ah"].to_numpy(dtype=float)
    sd = _errors(frame, capacity, kind == IN_SERVICE)
    order = np.lexsort((capacity, at))
    if (np.diff(at) < 0).any():
        remarks.notes.append("the checks were sorted by time")
    return CheckRecord(
        at=at[order],
        capacity_ah=capacity[order],
        sd_ah=sd[order],
        in_service=(kind == IN_SERVICE)[order],
        lower_bound=bound[order],
        first_on=first_on,
        source=remarks.source,
        notes=tuple(remarks.notes),
    )


def _times(frame: pd.DataFrame, remarks: Remarks) -> tuple[np.ndarray, date | None]:
    """Years since the first check and its day, or cycles."""
    if "on" in frame:
        if "cycle" in frame:
            remarks.notes.append("column 'on' is used, 'cycle' is not")
        days = pd.Series([_day(text) for text in frame["on"]], frame.index, dtype=object)
        wrong = pd.Series([day is None for day in days], frame.index)
        remarks.refuse_first(wrong, frame["on"], "is not a date like 2026-03-02")
        beyond = pd.Series([not FIRST_YEAR <= day.year <= LAST_YEAR for day in days], frame.index)
        remarks.refuse_first(beyond, frame["on"], YEAR_BEYOND)
        first = min(days)
        return np.array([(day - first).days / DAYS_PER_YEAR for day in days]), first
    if "cycle" not in frame:
        raise remarks.error(
            "no column 'on' (date) or 'cycle'; one of them is required", remarks.header_row
        )
    missing = frame["cycle"].isna()
    if missing.any():
        problem = "is empty; the number of the discharge would be right"
        raise remarks.error(problem, first_row(missing), "cycle")
    return frame["cycle"].to_numpy(dtype=float), None


def _day(text: str) -> date | None:
    try:
        return date.fromisoformat(text[:10])
    except ValueError:
        return None


def _kinds(frame: pd.DataFrame, remarks: Remarks) -> np.ndarray:
    if "kind" not in frame:
        return np.full(len(frame), CHECK)
    kinds = frame["kind"].str.lower().replace("", CHECK)
    remarks.refuse_first(~kinds.isin(_KINDS), frame["kind"], "is no kind; check or in_service is")
    return kinds.to_numpy(dtype=str)


def _bounds(frame: pd.DataFrame, remarks: Remarks) -> np.ndarray:
    if "lower_bound" not in frame:
        return np.zeros(len(frame), dtype=bool)
    said = frame["lower_bound"].str.lower()
    unclear = ~said.isin([*_YES, *_NO])
    remarks.refuse_first(
        unclear, frame["lower_bound"], f"is unclear; {shown('yes')} or empty is right"
    )
    return said.isin(_YES).to_numpy(dtype=bool)


def _errors(frame: pd.DataFrame, capacity_ah: np.ndarray, in_service: np.ndarray) -> np.ndarray:
    unstated = _unstated_sd_ah(capacity_ah, in_service)
    if "capacity_sd_ah" not in frame:
        return unstated
    given = frame["capacity_sd_ah"].to_numpy(dtype=float)
    return np.where(np.isnan(given), unstated, given)


def _unstated_sd_ah(capacity_ah: np.ndarray, in_service: np.ndarray) -> np.ndarray:
    return np.where(in_service, UNSTATED_IN_SERVICE_SD, UNSTATED_CHECK_SD) * capacity_ah
