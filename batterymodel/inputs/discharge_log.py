"""A bench discharge: read from CSV, checked, and searched for the moment of the end voltage."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd

from batterymodel.basis.meters import VOLTMETER_SD_V
from batterymodel.errors import InputError
from batterymodel.inputs.records import CELSIUS_RANGE
from batterymodel.inputs.remarks import Remarks, TableFormat
from batterymodel.inputs.table_columns import checked_columns
from batterymodel.inputs.table_times import in_order, note_gaps, timed
from batterymodel.inputs.tables import decoded, file_bytes, table_from_text

LOADED_SHARE = 0.5
"""Share of the median current from which a row counts as under load (own choice)."""

FLOWING_SHARE = 0.1
"""Share of the largest current below which none is taken to flow (own choice)."""

LEAST_PEAK_A = 0.2
"""Least current that some row of a discharge must reach [A] (own choice)."""

SUSTAINED_S = 10.0
"""Time the voltage must stay at or below the end voltage to count as reached (own choice)."""

SLOPE_WINDOW_S = 120.0
"""Time before the end voltage over which the fall of the voltage is measured [s] (own choice)."""

RISE_V = 0.2
"""Rise of the voltage over a log that cannot be a discharge [V, whole battery] (own choice)."""

_OUTSIDE_C = "is outside {:g} to {:g}; degrees Celsius would be right".format(*CELSIUS_RANGE)
_NOT_REVERSED = "is negative; a discharge current is positive here: meter leads reversed?"
FORMAT = TableFormat(
    what="the log of one discharge",
    rows="readings",
    units={
        "elapsed_s": "seconds from the start",
        "time": "ISO 8601 date and time",
        "discharge_current_a": "amperes, positive",
        "battery_voltage_v": "volts",
        "battery_temp_c": "degrees Celsius",
    },
    other_names={
        "elapsed_s": "s sec seconds t t_s time_s elapsed elapsed_time elapsed_seconds",
        "time": "timestamp datetime date_time",
        "discharge_current_a": "a i amp amps ampere amperes current current_a battery_current_a",
        "battery_voltage_v": "v volt volts voltage voltage_v",
        "battery_temp_c": "temp temp_c temperature temperature_c battery_temperature",
    },
    required=("elapsed_s", "discharge_current_a", "battery_voltage_v"),
    texts=frozenset({"time"}),
    bounds=(
        ("elapsed_s", 0.0, np.inf, "is negative; seconds from the start would be right"),
        ("elapsed_s", 0.0, 360_000.0, "is over 100 h and looks like milliseconds; give seconds"),
        (
            "discharge_current_a",
            -2000.0,
            2000.0,
            "looks like milliamperes; in amperes it would be {milli:.7g}",
        ),
        ("discharge_current_a", -1.0, 2000.0, _NOT_REVERSED),
        ("battery_voltage_v", -np.inf, 100.0, "looks like millivolts; in volts it is {milli:.7g}"),
        ("battery_voltage_v", -1.0, 100.0, "is negative; meter leads reversed?"),
        ("battery_temp_c", -np.inf, 150.0, "looks like kelvin; in degrees C it is {celsius:.7g}"),
        ("battery_temp_c", *CELSIUS_RANGE, _OUTSIDE_C),
    ),
)
"""The table of a discharge log: its columns and what they may hold."""


@dataclass(frozen=True)
class DischargeLog:
    """Timed readings of a bench discharge, in order of time; arrays of shape ``(n,)``.

    ``current_a`` is positive while the battery gives current; ``temp_c`` is None without a
    temperature column and NaN where it gave none.
    """

    elapsed_s: np.ndarray
    current_a: np.ndarray
    voltage_v: np.ndarray
    temp_c: np.ndarray | None = None
    started_at: datetime | None = None
    source: str = "discharge log"
    notes: tuple[str, ...] = ()

    @property
    def loaded(self) -> np.ndarray:
        """Which rows stand under load, shape ``(n,)``."""
        flowing = self.current_a > FLOWING_SHARE * self.current_a.max()
        return self.current_a > LOADED_SHARE * np.median(self.current_a[flowing])

    @property
    def start_s(self) -> float:
        """When the load was first seen on [s]."""
        return float(self.elapsed_s[np.argmax(self.loaded)])

    @property
    def stop_s(self) -> float:
        """When the load was last seen on [s]."""
        return float(self.elapsed_s[np.flatnonzero(self.loaded)[-1]])

    @property
    def start_temp_c(self) -> float | None:
        """Battery temperature at the start [degC], the median of its first three values."""
        if self.temp_c is None or not np.isfinite(self.temp_c).any():
            return None
        return float(np.median(self.temp_c[np.isfinite(self.temp_c)][:3]))

    def until(self, end_s: float) -> tuple[np.ndarray, np.ndarray]:
        """Length [h] and mean current [A] of every step from the start to a time, shape ``(m,)``.

        The current is taken as straight between rows and never below zero.

        Parameters
        ----------
        end_s : float
            Time on the log's clock, after `start_s` [s].

        Returns
        -------
        hours, current_a : ndarray, shape (m,)
            Length [h] and mean current [A] of each step.
        """
        inside = (self.elapsed_s > self.start_s) & (self.elapsed_s < end_s)
        at = np.concatenate([[self.start_s], self.elapsed_s[inside], [end_s]])
        current = np.maximum(np.interp(at, self.elapsed_s, self.current_a), 0.0)
        return np.diff(at) / 3600.0, 0.5 * (current[1:] + current[:-1])

    def paused_s(self, end_s: float) -> float:
        """Time without load between start and a moment [s].

        Parameters
        ----------
        end_s : float
            Time on the log's clock [s].

        Returns
        -------
        float
            Steps with no load at either of their ends, added up [s].
        """
        middle = 0.5 * (self.elapsed_s[1:] + self.elapsed_s[:-1])
        idle = ~(self.loaded[1:] | self.loaded[:-1])
        inside = (middle > self.start_s) & (middle < end_s)
        return float(np.diff(self.elapsed_s)[idle & inside].sum())


@dataclass(frozen=True)
class EndReached:
    """The moment the voltage reached the end voltage for good [s], and its standard error [s]."""

    at_s: float
    sd_s: float


def read_discharge_log(path: str | Path) -> DischargeLog:
    """Discharge log from a CSV file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    DischargeLog

    Raises
    ------
    InputError
        The file cannot be opened or is no log of a discharge; names file, row and column.
    """
    return discharge_log_from_bytes(file_bytes(path, Remarks(str(path), FORMAT)), str(path))


def discharge_log_from_bytes(data: bytes, source: str) -> DischargeLog:
    """Discharge log from the bytes of a CSV file, as an upload gives them.

    Parameters
    ----------
    data : bytes
    source : str
        Name of the file, for messages.

    Returns
    -------
    DischargeLog

    Raises
    ------
    InputError
        No log of a discharge, or a value that cannot be right; names row and column.
    """
    remarks = Remarks(source, FORMAT)
    return _checked(*table_from_text(decoded(data, remarks), remarks))


def end_of_discharge(log: DischargeLog, end_voltage_v: float) -> EndReached | None:
    """When the loaded voltage reached the end voltage for good; None where it never did.

    1. Of the rows under load, find the first that is at or below the end voltage and is followed
       by nothing above it for `SUSTAINED_S`, or to the end of the load.
    2. Interpolate between the row before and that row.
    3. Standard error: the interval between the two rows as a uniform spread, and the voltmeter's
       error over the fall of the voltage there, in quadrature.

    Parameters
    ----------
    log : DischargeLog
    end_voltage_v : float
        End voltage of the whole battery [V].

    Returns
    -------
    EndReached or None

    Raises
    ------
    InputError
        The first voltage under load is already at or below the end voltage.
    """
    at, volts = log.elapsed_s[log.loaded], log.voltage_v[log.loaded]
    first = _first_sustained(at, volts <= end_voltage_v)
    if first is None:
        return None
    if first == 0:
        raise InputError(
            f"{log.source}: the first voltage under load, {volts[0]:g} V, is already at or below "
            f"the end voltage of {end_voltage_v:g} V: unless the battery was flat or has failed, "
            "voltages of the whole battery from the start of the discharge would be right"
        )
    before, after = volts[first - 1], volts[first]
    interval = at[first] - at[first - 1]
    share = float(np.clip((before - end_voltage_v) / max(before - after, 1e-9), 0.0, 1.0))
    moment = float(at[first - 1] + share * interval)
    fall = _fall_v_per_s(at, volts, first)
    sd = float(np.hypot(interval / np.sqrt(12.0), VOLTMETER_SD_V / fall))
    return EndReached(moment, min(sd, 0.5 * (moment - log.start_s)))


def _first_sustained(at: np.ndarray, below: np.ndarray) -> int | None:
    for k in np.flatnonzero(below):
        later = (at >= at[k]) & (at <= at[k] + SUSTAINED_S)
        if below[later].all():
            return int(k)
    return None


def _fall_v_per_s(at: np.ndarray, volts: np.ndarray, first: int) -> float:
    """Fall of the voltage just before a row [V/s], from a straight line, never zero."""
    seen = (at <= at[first]) & (at >= min(at[first] - SLOPE_WINDOW_S, at[max(first - 2, 0)]))
    slope = np.polyfit(at[seen] - at[first], volts[seen], 1)[0]
    return max(float(-slope), 1e-5)


def _checked(frame: pd.DataFrame, remarks: Remarks) -> DischargeLog:
    frame, started_at = timed(checked_columns(frame, remarks), remarks)
    lost = frame["discharge_current_a"].isna() | frame["battery_voltage_v"].isna()
    remarks.note_rows(lost, "dropped: no current or no voltage")
    frame = in_order(frame[~lost], remarks)
    _check_is_a_discharge(frame, remarks)
    note_gaps(frame["elapsed_s"].to_numpy(), remarks)
    return DischargeLog(
        elapsed_s=frame["elapsed_s"].to_numpy(),
        current_a=frame["discharge_current_a"].to_numpy(),
        voltage_v=frame["battery_voltage_v"].to_numpy(),
        temp_c=frame["battery_temp_c"].to_numpy() if "battery_temp_c" in frame else None,
        started_at=started_at,
        source=remarks.source,
        notes=tuple(remarks.notes),
    )


def _check_is_a_discharge(frame: pd.DataFrame, remarks: Remarks) -> None:
    if len(frame) < 3:
        raise remarks.error(
            f"usable readings: {len(frame)}; at least 3 at different times are needed"
        )
    current = frame["discharge_current_a"]
    if current.max() < LEAST_PEAK_A:
        right = "amperes with the clamp on the battery lead would be right"
        raise remarks.error(
            f"no value reaches {LEAST_PEAK_A:g}; {right}", column="discharge_current_a"
        )
    volts = frame["battery_voltage_v"][current > LOADED_SHARE * current.max()].to_numpy()
    part = max(volts.size // 10, 1)
    start, end = float(volts[:part].mean()), float(volts[-part:].mean())
    if end > start + RISE_V:
        raise remarks.error(
            f"rises from {start:.2f} to {end:.2f} V while current flows; the log of a discharge, "
            "not of a charge, would be right",
            column="battery_voltage_v",
        )
