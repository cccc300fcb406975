"""Readings that look mistyped, and stretches in which the supply was off: both tell no taper."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.inputs.records import Readings

TEN = 10.0
"""A decimal point in the wrong place makes a reading so many times too large or small (derived)."""

SLIP_BAND = 0.12
"""A reading is a slip when a tenth or ten times of it lies within this of its neighbours, or of the
span between them [-] (own choice: what a taper or rounding makes of it from row to row)."""

MOST_APART = 1.5
"""Neighbours of a slip differ by less than this factor: else nothing is lone [-] (own choice)."""

LEAST_SLIP = {
    "supply_current_a": 2.0,
    "battery_current_a": 2.0,
    "load_a": 2.0,
    "supply_voltage_v": 10.0,
}
"""Least level of each column beside which a slip is looked for [A], [V] (own choice: a small load
switched for a moment makes ten times of a smaller current)."""

LONE_C, SETTLED_C = 10.0, 3.0
"""A temperature stands alone when it is this far from both neighbours [degC], and they are within
so much of each other [degC] (own choice: no battery warms and cools so fast)."""

LEAST_RUNNING_A = 2.0
"""Median of the supply's current under which a trip is not looked for [A] (own choice)."""

OFF_SHARE = 0.05
"""Share of its median current, or less, that a supply gives while it is off [-] (own choice)."""

OFF_VOLTAGE_SHARE = 0.5
"""Share of its median voltage under which a supply is off [-] (own choice)."""

LEAST_OFF_READINGS = 2
"""Readings in a row without current that make a trip; one with its voltage gone is enough (own
choice)."""


@dataclass(frozen=True)
class Slip:
    """A reading that stands alone: column, its row, time [s], value and both neighbours."""

    column: str
    row: int
    elapsed_s: float
    value: float
    before: float
    after: float


def slips_in(readings: Readings) -> tuple[Slip, ...]:
    """Readings ten times off their neighbours, and temperatures far off, in order of time.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    tuple of Slip
    """
    found = [
        slip
        for name, least in LEAST_SLIP.items()
        if (column := getattr(readings, name)) is not None
        for slip in _tenfold(name, readings.elapsed_s, column, least)
    ]
    return tuple(sorted((*found, *_lone_temperatures(readings)), key=lambda s: s.elapsed_s))


def slip_mask(readings: Readings, names: tuple[str, ...]) -> BoolArray:
    """Rows in which one of the columns looks mistyped.

    Parameters
    ----------
    readings : Readings
    names : tuple of str
        Columns that count.

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    mask = np.zeros(len(readings), dtype=bool)
    for slip in slips_in(readings):
        mask[slip.row] |= slip.column in names
    return mask


def _tenfold(name: str, time_s: FloatArray, column: FloatArray, least: float) -> list[Slip]:
    rows = np.flatnonzero(np.isfinite(column))
    if rows.size < 3:
        return []
    values = column[rows]
    before, after = np.roll(values, 1), np.roll(values, -1)
    before[0], after[0] = values[1], values[2]
    before[-1], after[-1] = values[-3], values[-2]
    low, high = np.minimum(before, after), np.maximum(before, after)
    beside = (low >= least) & (high <= MOST_APART * low)
    fits = [_is_within(values * factor, low, high) for factor in (TEN, 1.0 / TEN)]
    return [
        Slip(
            name,
            int(rows[k]),
            float(time_s[rows[k]]),
            *map(float, (values[k], before[k], after[k])),
        )
        for k in np.flatnonzero(beside & (fits[0] | fits[1]))
    ]


def _is_within(values: FloatArray, low: FloatArray, high: FloatArray) -> BoolArray:
    return (values >= (1.0 - SLIP_BAND) * low) & (values <= (1.0 + SLIP_BAND) * high)


def _lone_temperatures(readings: Readings) -> list[Slip]:
    column = readings.battery_temp_c
    if column is None:
        return []
    rows = np.flatnonzero(np.isfinite(column))
    values = column[rows]
    return [
        Slip(
            "battery_temp_c",
            int(rows[k]),
            float(readings.elapsed_s[rows[k]]),
            *map(float, (values[k], values[k - 1], values[k + 1])),
        )
        for k in range(1, rows.size - 1)
        if abs(values[k - 1] - values[k + 1]) <= SETTLED_C
        and min(abs(values[k] - values[k - 1]), abs(values[k] - values[k + 1])) > LONE_C
    ]


def supply_off_mask(readings: Readings) -> BoolArray:
    """Rows in which the supply gave nothing although it ran before or after.

    Parameters
    ----------
    readings : Readings

    Returns
    -------
    ndarray of bool, shape (n,)
        Where the current is `OFF_SHARE` of its median or less in `LEAST_OFF_READINGS` rows in a
        row, or the voltage under `OFF_VOLTAGE_SHARE` of its median as well.
    """
    current, volts = readings.supply_current_a, readings.supply_voltage_v
    middle = float(np.median(current))
    if middle < LEAST_RUNNING_A:
        return np.zeros(len(readings), dtype=bool)
    still = current <= OFF_SHARE * middle
    beside = np.append(still[1:], False) | np.append(False, still[:-1])
    off = still & beside
    if volts is not None and np.isfinite(volts).any():
        off |= still & (volts < OFF_VOLTAGE_SHARE * float(np.nanmedian(volts)))
    return off
