"""The taper to expect of a battery from its state of charge."""

from __future__ import annotations

import numpy as np
from scipy.optimize import brentq

from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.taper.prior import Prior, prior_for
from batterymodel.taper.shape import Shape, branches_current, current_limited


def expected_taper(
    battery: Battery, soc: float, time_s: np.ndarray, room_a: float = np.inf
) -> tuple[np.ndarray, float]:
    """Battery current above the floor [A] over time, from a state of charge, and its amplitude [A].

    Parameters
    ----------
    battery : Battery
        Its history, else its chemistry, gives the shape (`taperprior.prior_for`).
    soc : float
        State of charge at connection [0..1].
    time_s : ndarray, shape (n,)
        Times since connection [s].
    room_a : float
        What the supply's limit and the bus load leave for the battery [A].

    Returns
    -------
    current_a : ndarray, shape (n,)
    amplitude_a : float
        Battery current at connection were the supply without limit [A].
    """
    prior = prior_for(battery, None)
    efficiency = data_for(battery.chemistry).taper.efficiency
    charge_as = 3600.0 * (1.0 - soc) * prior.capacity_ah / efficiency
    shape = _shape_at(charge_as, prior, room_a)
    amplitude = charge_as / float(shape.charge_time_s)
    return _battery_current_a(time_s, amplitude, shape, room_a), amplitude


def _shape_at(charge_as: float, prior: Prior, room_a: float) -> Shape:
    """Shape at the rate it leads to itself: the hold amplitude of this charge over capacity."""

    def shape(rate: float) -> Shape:
        time_s = float(np.exp(prior.log_time_at(rate)))
        return Shape(time_s, float(prior.share_at(rate)), prior.fast_ratio)

    def excess(rate: float) -> float:
        wanted = charge_as / float(shape(rate).charge_time_s)
        return rate - float(prior.c_rate_per_h(min(wanted, room_a)))

    highest = float(prior.c_rate_per_h(charge_as / float(shape(np.inf).charge_time_s))) + 1.0
    return shape(brentq(excess, 0.0, max(highest, 10.0)))


def _battery_current_a(
    time_s: np.ndarray, amplitude_a: float, shape: Shape, room_a: float
) -> np.ndarray:
    """Battery current [A] above the floor; at the room first where it would take more."""
    limit_s, level, hold_a = 0.0, (1.0, 1.0), amplitude_a
    if amplitude_a > room_a:
        wanted = amplitude_a / room_a
        most_s = wanted * float(shape.charge_time_s)
        limit_s = brentq(lambda t: float(current_limited(t, shape)[2]) - wanted, 0.0, most_s)
        fast, slow, _ = current_limited(limit_s, shape)
        level, hold_a = (float(fast), float(slow)), room_a
    held = hold_a * branches_current(np.maximum(time_s - limit_s, 0.0), shape, *level)
    return np.where(time_s < limit_s, room_a, held)
