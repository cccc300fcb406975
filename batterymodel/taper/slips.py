"""Readings that look mistyped, and stretches in which the supply was off: both tell no taper.

`expected_values` says beforehand which values a person may type without being asked again.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf, log

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.reference.supply import output_limit

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
"""Median of the supply's current under which a trip is not looked for, and current up to which a
supply is said to give nothing [A] (own choice)."""

OFF_SHARE = 0.05
"""Share of its median current, or less, that a supply gives while it is off [-] (own choice)."""

OFF_VOLTAGE_SHARE = 0.5
"""Share of its median voltage under which a supply is off [-] (own choice)."""

LEAST_OFF_READINGS = 2
"""Readings in a row without current that make a trip; one with its voltage gone is enough (own
choice)."""

OVER_LIMIT = 1.1
"""Share of the supply's limit, and of what its meter showed, above which a typed current is asked
about [-] (own choice: errors of two meters)."""

METER_A = 2.0
"""Current beside which ratios of currents are taken [A] (own choice: a small load or a step of the
meter is a large ratio of a small current)."""

MOST_RATIO, MOST_SWITCHED_RATIO = 3.0, 8.0
"""Most that a current rises or falls between two looks at the meter, and across a switch that was
marked [-] (own choice; under ten, so that a decimal point in the wrong place is asked about)."""

FASTEST_FALL_S = 600.0
"""Time in which a taper may fall by a factor of e more than `MOST_RATIO` [s] (own choice: half the
slow time constant of a sound lead-acid battery)."""

NEAR_RATIO = 1.6
"""A tenth, ten times or a hundredth of a typed value within this of the last one is offered in its
place [-] (own choice: a load switched meanwhile, or the taper since)."""

MOST_VOLTS_RATIO = 1.15
"""Most that the supply's voltage moves between two looks [-] (own choice)."""

MOST_WARMING_C_PER_S = 1.0 / 60.0
"""Change of a battery's temperature allowed beyond `LONE_C` [degC/s] (own choice)."""

BELOW_EMPTY, ABOVE_FULL = 0.9, 1.05
"""Share of the rest voltage when empty below, and when full above, which a typed voltage is asked
about [-] (own choice: what temperature and a charge just ended may make of it)."""

OVER_CHARGE_VOLTAGE = 1.1
"""Share of the most charging voltage above which a typed one is asked about [-] (own choice)."""

USUAL_C = -40.0, 60.0
"""Temperatures of a battery that are taken without a question [degC] (own choice)."""


@dataclass(frozen=True)
class Beside:
    """How far a value may be from the one before it.

    The distance is ``abs(log((value + floor) / (before + floor)))``, or the difference where
    ``floor`` is None. It may be ``most``, or ``switched`` across a marked switch, and ``per_s``
    more for each second between.
    """

    floor: float | None
    most: float
    switched: float
    per_s: float


@dataclass(frozen=True)
class Expected:
    """Values of one kind that are taken without a question: within bounds and beside others."""

    least: float
    most: float
    beside: Beside | None = None


CURRENT_BESIDE = Beside(METER_A, log(MOST_RATIO), log(MOST_SWITCHED_RATIO), 1.0 / FASTEST_FALL_S)
VOLTS_BESIDE = Beside(0.0, log(MOST_VOLTS_RATIO), log(MOST_VOLTS_RATIO), 0.0)
WARMTH_BESIDE = Beside(None, LONE_C, LONE_C, MOST_WARMING_C_PER_S)


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


def expected_values(
    battery: Battery | None, supply: Supply | None, currents_a: Sequence[float] = ()
) -> dict[str, Expected]:
    """What may be typed without a question, by the name of the column or of what is told.

    Parameters
    ----------
    battery : Battery or None
        None leaves voltages without bounds.
    supply : Supply or None
        None leaves the supply's current without an upper bound.
    currents_a : sequence of float
        Supply currents noted so far [A], in order of time.

    Returns
    -------
    dict of str to Expected
        What lies outside is to be asked about, not to be refused.

    Examples
    --------
    >>> expected_values(None, Supply(rated_current_a=60))["supply_current_a"].most
    66.0
    """
    limit_a = inf if supply is None else round(OVER_LIMIT * output_limit(supply).limit_a, 6)
    last_a = currents_a[-1] if len(currents_a) else inf
    return {
        "supply_current_a": Expected(0.0, limit_a, CURRENT_BESIDE),
        "battery_current_a": Expected(0.0, _below(last_a, limit_a), CURRENT_BESIDE),
        "load_a": Expected(0.0, _below(last_a, limit_a)),
        "supply_voltage_v": Expected(*_charging_v(battery), VOLTS_BESIDE),
        "rest_voltage_v": Expected(*_resting_v(battery)),
        "battery_temp_c": Expected(*USUAL_C, WARMTH_BESIDE),
    }


def _below(metered_a: float, limit_a: float) -> float:
    """Most that a part of the supply's current may be, with the error of two meters [A]."""
    return min(OVER_LIMIT * metered_a + METER_A, limit_a)


def _resting_v(battery: Battery | None) -> tuple[float, float]:
    if battery is None:
        return 0.0, inf
    volts = data_for(battery.chemistry).rest.volts
    return BELOW_EMPTY * min(volts) * battery.cells, ABOVE_FULL * max(volts) * battery.cells


def _charging_v(battery: Battery | None) -> tuple[float, float]:
    if battery is None:
        return 0.0, inf
    most = limit_for(battery, "charge_voltage_max_v").value
    return _resting_v(battery)[0], OVER_CHARGE_VOLTAGE * most


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
