"""The taper to expect of a battery from its state of charge."""

from __future__ import annotations

from datetime import date

import numpy as np
from scipy.optimize import brentq

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.taper.prior import Prior, prior_for
from batterymodel.taper.shape import Shape, branches_current, current_limited, hold_current

MOST_LOOKED_AT_PER_H = 10.0
"""C-rate up to which the shape's own C-rate is sought at least [1/h] (own choice, numerical)."""


def expected_taper(
    battery: Battery,
    soc: float,
    time_s: FloatArray,
    room_a: float = np.inf,
    on: date | None = None,
) -> tuple[FloatArray, float]:
    """Battery current above the float current over time, from a state of charge.

    The charge to return is ``(1 - soc) capacity / efficiency``; the shape is the one believed at
    the C-rate it leads to itself.

    Parameters
    ----------
    battery : Battery
        Its history, else its chemistry, gives the shape (`taper.prior.prior_for`).
    soc : float
        State of charge at connection [0..1].
    time_s : ndarray, shape (n,)
        Times since connection [s], none negative.
    room_a : float
        What the supply's limit and the bus load leave for the battery [A].
    on : date or None
        Day of the connection, for the age of battery and check.

    Returns
    -------
    current_a : ndarray, shape (n,)
        Battery current above the float current [A].
    amplitude_a : float
        Battery current at connection were the supply without limit [A].
    """
    prior = prior_for(battery, None, on)
    efficiency = data_for(battery.chemistry).taper.efficiency
    charge_as = 3600.0 * (1.0 - soc) * prior.capacity_ah / efficiency
    shape = _shape_at(charge_as, prior, room_a)
    amplitude = charge_as / float(shape.charge_time_s)
    return _battery_current_a(time_s, amplitude, shape, room_a), amplitude


def _shape_at(charge_as: float, prior: Prior, room_a: float) -> Shape:
    """Shape at the C-rate it leads to itself: the hold amplitude of this charge over capacity."""

    def shape(c_rate: float) -> Shape:
        time_s = float(np.exp(prior.log_time_at(c_rate)))
        return Shape(time_s, float(prior.share_at(c_rate)), prior.fast_ratio)

    def excess(c_rate: float) -> float:
        wanted = charge_as / float(shape(c_rate).charge_time_s)
        return c_rate - float(prior.c_rate_per_h(min(wanted, room_a)))

    highest = float(prior.c_rate_per_h(charge_as / float(shape(np.inf).charge_time_s))) + 1.0
    return shape(brentq(excess, 0.0, max(highest, MOST_LOOKED_AT_PER_H)))


def _battery_current_a(
    time_s: FloatArray, amplitude_a: float, shape: Shape, room_a: float
) -> FloatArray:
    """Battery current above the float current [A]; at the room first where it would take more."""
    if amplitude_a <= room_a:
        return amplitude_a * hold_current(time_s, shape)
    wanted = amplitude_a / room_a
    most_s = wanted * float(shape.charge_time_s)
    limit_s = brentq(lambda t: float(current_limited(t, shape)[2]) - wanted, 0.0, most_s)
    fast, slow, _ = current_limited(limit_s, shape)
    held = branches_current(np.maximum(time_s - limit_s, 0.0), shape, fast, slow)
    return np.where(time_s < limit_s, room_a, room_a * held)
