"""From readings to the signal the taper is fitted to: meter, load, supply at its limit."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from batterymodel.basis.arrays import BoolArray, FloatArray
from batterymodel.basis.meters import CLAMP_OFFSET_A, LOAD_SD_A
from batterymodel.inputs.records import Readings, Supply
from batterymodel.taper.load_steps import (
    LoadStep,
    marked_steps,
    shifted_events,
    unmarked_steps,
)
from batterymodel.taper.settling import settling_mask
from batterymodel.taper.slips import slip_mask, supply_off_mask
from batterymodel.taper.supply_limit import LEAST_HOLD_READINGS, limited_phase

SUPPLY_COLUMNS, CLAMP_COLUMNS = ("supply_current_a", "load_a"), ("battery_current_a",)
"""Columns the current is made of, by the supply's meter and by a clamp."""

LEAST_READINGS_LEFT = 5
"""Readings that must be left for the settling start to be taken off (own choice)."""

LATE_START_S = 900.0
"""A first reading later than this cannot be carried back to connection: time is then counted
from the first reading, and a note says so [s] (own rule)."""

UNKNOWN_SHARE_OF_LEAST = 0.5
"""An unknown load is taken as this share of the least reading, with an error as large (own
choice)."""

METER_STEPS_A = (1.0, 0.5, 0.2, 0.1, 0.05, 0.02, 0.01, 0.005, 0.002, 0.001)
"""Steps a meter may show, coarse to fine [A] (common practice, no source)."""

LEAST_UNKNOWN_LOAD_SD_A = 0.1
"""Least error of an unknown load [A] (own choice)."""

LEAST_CLAMP_READINGS = 3
"""Clamp readings from which on they are used (own choice)."""

CLAMP_SHARE = 0.5
"""Share of the readings from which on a clamp's are taken instead of the supply's; fewer tell the
bus load [-] (own choice)."""

CLAMP_END_SHARE = 0.1
"""Last share of the readings that a clamp must reach to be taken instead, and a load that is read
beside the current to tell it from the battery's [-] (own choice)."""

LEAST_BEFORE_TRIP, LEAST_BEFORE_TRIP_S = 5, 120.0
"""Readings before a trip of the supply, and their span [s], from which on the taper is read there,
else after it (own choice: as many as a taper takes at all)."""

LEAST_SCATTER_READINGS = 8
"""Readings below which scatter is not judged; half the meter's step stands in (own choice)."""

MAD_TO_SD = 1.4826
"""Standard deviation over median absolute deviation of a normal quantity [-] (derived)."""

LEAST_TRANSIENT_READINGS = 7
"""Readings below which no transient is looked for (own choice)."""

TRANSIENT_SPREADS = 8.0
"""A transient stands out by more than so many times the common scatter [-] (own choice)."""

TRANSIENT_METER_STEPS = 4.0
"""A transient stands out by more than so many steps of the meter [-] (own choice)."""

TRANSIENT_OF_RANGE = 0.05
"""A transient stands out by more than this share of the current's range [-] (own choice)."""

LEAST_TRANSIENT_A = 0.5
"""A transient stands out by more than this [A] (own choice)."""


@dataclass(frozen=True)
class KnownLoad:
    """Bus load without the battery [A] with its standard deviation; ``given`` if declared."""

    mean_a: float
    sd_a: float
    given: bool


@dataclass(frozen=True)
class Signal:
    """What is fitted, all arrays of shape ``(n,)`` over the readings.

    ``current_a`` is the supply's current less any load column, or the battery current where a
    clamp meter gives it (``from_clamp``). ``sigma_a`` is the error of one reading. ``usable``
    marks readings of the constant-voltage phase; ``current_limited`` those with the supply at its
    limit, which only say that the battery would take more. ``limit_end_s`` is when the first such
    phase ended (None: the supply was never at its limit at the start, inf: it still is), with the
    error ``limit_end_sd_s``, and ``limit_current_a`` the level then. ``transients`` counts readings
    left out as such; ``set_aside`` marks all that say nothing of the battery, ``off`` those in
    which the supply gave nothing. ``reads_battery``:
    the current is the battery's own, of a clamp or with the load read beside it.
    """

    time_s: FloatArray
    current_a: FloatArray
    sigma_a: float
    resolution_a: float
    usable: BoolArray
    current_limited: BoolArray
    limit_end_s: float | None
    limit_end_sd_s: float
    limit_current_a: float | None
    load: KnownLoad
    steps: tuple[LoadStep, ...]
    transients: int
    from_clamp: bool
    set_aside: BoolArray
    reads_battery: bool
    off: BoolArray
    notes: tuple[str, ...] = field(default=())

    @property
    def limited_throughout(self) -> bool:
        """The supply was at its limit in every usable moment of the readings."""
        return self.limit_end_s is not None and np.isinf(self.limit_end_s)


def signal_from(
    readings: Readings,
    supply: Supply | None = None,
    load_a: float | None = None,
    load_sd_a: float = LOAD_SD_A,
) -> Signal:
    """The signal of one connection.

    1. Take time from connection, and the current with what is known of the load in it.
    2. Read the meter's step and error off the values; leave single transients out.
    3. Find the readings at the supply's limit and when that ended.
    4. Collect marked load steps and find unmarked ones.

    Parameters
    ----------
    readings : Readings
    supply : Supply, optional
        Gives the current at which the supply limits.
    load_a, load_sd_a : float, optional
        Bus load without the battery at the first reading [A], and its standard error.

    Returns
    -------
    Signal
    """
    time_s, late = _since_connection(readings.elapsed_s)
    off = supply_off_mask(readings)
    current, load, from_clamp, held = _current_and_load(readings, load_a, load_sd_a, off)
    time_s, current, off = time_s[held], current[held], off[held]
    slips = slip_mask(readings, CLAMP_COLUMNS if from_clamp else SUPPLY_COLUMNS)[held]
    resolution = meter_resolution_a(current)
    spikes = transient_mask(current, resolution) & ~off & ~slips
    aside, side = spikes | slips | off, _on_one_side(time_s, off)
    if (side & ~aside).sum() < LEAST_HOLD_READINGS:
        aside, side = spikes, np.ones_like(off)
    sigma = reading_sigma_a(current[~aside], resolution)
    supply_current = readings.supply_current_a[held]
    current_limited, end, end_sd = limited_phase(
        time_s, supply_current, readings, held, supply, max(sigma, resolution / 2)
    )
    if from_clamp and end is None:
        current_limited = np.zeros_like(current_limited)
    if not current_limited.any():
        early = aside | settling_mask(time_s, current, sigma)
        aside = early if (~early).sum() >= LEAST_READINGS_LEFT else aside
    shift = readings.elapsed_s[held][0] - time_s[0]
    explained = from_clamp or readings.load_a is not None
    plain = ~(current_limited | aside)
    noise = (sigma, resolution)
    events = {} if explained else shifted_events(readings, shift)
    marked = marked_steps(time_s[plain], current[plain], noise, events)
    unmarked = unmarked_steps(time_s[plain], current[plain], noise, marked)
    if from_clamp:
        unmarked = tuple(step for step in unmarked if step.size_a < 0.0)
    level = float(np.median(current[current_limited])) if current_limited.any() else None
    return Signal(
        time_s=time_s,
        current_a=current,
        sigma_a=sigma,
        resolution_a=resolution,
        usable=~(current_limited | aside) & side,
        current_limited=current_limited,
        limit_end_s=end,
        limit_end_sd_s=end_sd,
        limit_current_a=level,
        load=load,
        steps=tuple(sorted((*marked, *unmarked), key=lambda s: s.elapsed_s)),
        transients=int(spikes.sum()),
        from_clamp=from_clamp,
        set_aside=aside,
        reads_battery=from_clamp or _load_read_to_the_end(readings),
        off=off,
        notes=(late,) if late else (),
    )


def _load_read_to_the_end(readings: Readings) -> bool:
    """Whether the load was read beside the current up to the last part of the readings."""
    if readings.load_a is None:
        return False
    time_s = readings.elapsed_s
    last = time_s >= time_s[-1] - CLAMP_END_SHARE * (time_s[-1] - time_s[0])
    return bool(np.isfinite(readings.load_a[last]).any())


def meter_resolution_a(current_a: FloatArray) -> float:
    """Coarsest of `METER_STEPS_A` that all values are multiples of.

    Parameters
    ----------
    current_a : ndarray, shape (n,)
        Readings [A].

    Returns
    -------
    float
        Step of the meter [A].

    Examples
    --------
    >>> meter_resolution_a(np.array([12.0, 11.5, 9.0]))
    0.5
    """
    for step in METER_STEPS_A:
        multiples = current_a / step
        if np.abs(multiples - np.round(multiples)).max() < 1e-6 * max(1.0, np.abs(multiples).max()):
            return step
    return METER_STEPS_A[-1]


def reading_sigma_a(current_a: FloatArray, resolution_a: float) -> float:
    """Error of one reading: scatter of second differences, and the meter's rounding.

    ``hypot(resolution / sqrt(12), 1.4826 MAD(second differences) / sqrt(6))``: the standard
    deviation of a uniform error of one step, and of white noise by the variance ``6 sigma**2`` of
    its second differences (derived).

    Parameters
    ----------
    current_a : ndarray, shape (n,)
        Readings in even steps of time [A].
    resolution_a : float
        Step of the meter [A].

    Returns
    -------
    float
        Standard error [A]; under `LEAST_SCATTER_READINGS`, half the meter's step.
    """
    rounding = resolution_a / np.sqrt(12.0)
    if current_a.size < LEAST_SCATTER_READINGS:
        return float(max(rounding, resolution_a / 2.0))
    bends = np.diff(current_a, 2)
    scatter = MAD_TO_SD * np.median(np.abs(bends - np.median(bends))) / np.sqrt(6.0)
    return float(np.hypot(rounding, scatter))


def transient_mask(current_a: FloatArray, resolution_a: float) -> BoolArray:
    """Readings that stand out from both neighbours' level for at most two readings.

    Motor transients look like this; they say nothing of the battery. The level is the running
    median of five; the first and the last reading are never masked.

    Parameters
    ----------
    current_a : ndarray, shape (n,)
        Readings [A].
    resolution_a : float
        Step of the meter [A].

    Returns
    -------
    ndarray of bool, shape (n,)
    """
    n = current_a.size
    if n < LEAST_TRANSIENT_READINGS:
        return np.zeros(n, dtype=bool)
    padded = np.pad(current_a, 2, mode="reflect", reflect_type="odd")
    middle = np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)
    away = np.abs(current_a - middle)
    least_a = max(
        TRANSIENT_SPREADS * MAD_TO_SD * float(np.median(away)),
        TRANSIENT_METER_STEPS * resolution_a,
        TRANSIENT_OF_RANGE * float(np.ptp(middle)),
        LEAST_TRANSIENT_A,
    )
    out = away > least_a
    out[[0, -1]] = False
    return out


def _since_connection(elapsed_s: FloatArray) -> tuple[FloatArray, str | None]:
    if elapsed_s[0] <= LATE_START_S:
        return elapsed_s, None
    return elapsed_s - elapsed_s[0], (
        f"the first reading is at {elapsed_s[0]:.0f} s: time is counted from it, "
        "as if the supply had been connected then"
    )


def _on_one_side(time_s: FloatArray, off: BoolArray) -> BoolArray:
    """Rows before the supply's first trip where they make a taper, else those after its last."""
    if not off.any():
        return np.ones(off.size, dtype=bool)
    first, last = np.flatnonzero(off)[[0, -1]]
    row = np.arange(off.size)
    enough = first >= LEAST_BEFORE_TRIP and time_s[first - 1] - time_s[0] >= LEAST_BEFORE_TRIP_S
    return row < first if enough or last >= off.size - LEAST_HOLD_READINGS else row > last


def _current_and_load(
    readings: Readings, load_a: float | None, load_sd_a: float, off: BoolArray
) -> tuple[FloatArray, KnownLoad, bool, BoolArray]:
    """Current to fit, what is known of the load in it, whether a clamp gave it, rows kept."""
    clamp, everything = readings.battery_current_a, np.ones(len(readings), dtype=bool)
    supply = readings.supply_current_a
    rows = np.zeros_like(everything) if clamp is None else np.isfinite(clamp)
    if clamp is not None and rows.sum() >= LEAST_CLAMP_READINGS:
        offset = max(CLAMP_OFFSET_A, meter_resolution_a(clamp[rows]) / 2.0)
        if _reaches_the_end(readings.elapsed_s, rows):
            return clamp, KnownLoad(0.0, offset, True), True, rows
        if load_a is None and readings.load_a is None and (rows & ~off).any():
            return supply, _load_by(clamp, supply, rows & ~off, offset), False, everything
    column = readings.load_a
    if column is not None and np.isfinite(column).any():
        rows = np.isfinite(column)
        load = np.interp(readings.elapsed_s, readings.elapsed_s[rows], column[rows])
        return supply - load, KnownLoad(0.0, load_sd_a, True), False, everything
    if load_a is not None:
        return supply, KnownLoad(load_a, load_sd_a, True), False, everything
    least = max(float(supply[~off].min()), 0.0)
    share = UNKNOWN_SHARE_OF_LEAST
    unknown = KnownLoad(share * least, max(share * least, LEAST_UNKNOWN_LOAD_SD_A), False)
    return supply, unknown, False, everything


def _reaches_the_end(elapsed_s: FloatArray, rows: BoolArray) -> bool:
    """Whether a clamp read often enough, and to the end, stands for the whole connection."""
    late_s = elapsed_s[-1] - CLAMP_END_SHARE * (elapsed_s[-1] - elapsed_s[0])
    return bool(rows.mean() >= CLAMP_SHARE and elapsed_s[rows][-1] >= late_s)


def _load_by(
    clamp_a: FloatArray, supply_a: FloatArray, rows: BoolArray, offset_a: float
) -> KnownLoad:
    """The bus load by the rows in which a clamp was read: what the supply gives beyond it."""
    bus = supply_a[rows] - clamp_a[rows]
    middle = float(np.median(bus))
    scatter = MAD_TO_SD * float(np.median(np.abs(bus - middle)))
    return KnownLoad(max(middle, 0.0), float(np.hypot(max(scatter, LOAD_SD_A), offset_a)), True)


def held_voltage_v(readings: Readings, supply: Supply | None, since_s: float) -> float | None:
    """Voltage of the supply once it left its limit: as read, else as it is set.

    Parameters
    ----------
    readings : Readings
    supply : Supply or None
    since_s : float
        End of the supply's limit [s].

    Returns
    -------
    float or None
        Median of the readings [V]; None where neither readings nor supply give a voltage.
    """
    volts = readings.supply_voltage_v
    if volts is not None:
        seen = volts[(readings.elapsed_s >= since_s) & np.isfinite(volts)]
        if seen.size:
            return float(np.median(seen))
    return None if supply is None else supply.set_voltage_v
