"""What this battery's taper would look like from the same charge: its normal, from its history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq

from batterymodel.chemistry import data_for
from batterymodel.records import Battery
from batterymodel.results import Assessment, Curves
from batterymodel.taperprior import Prior, prior_for
from batterymodel.tapershape import Shape, at_limit, branches_current

LEAST_ROOM_A = 0.5
"""Least current the bus load is taken to leave for the battery [A] (own choice)."""


@dataclass(frozen=True)
class NormalTaper:
    """Meter readings a battery's history makes likely; ``current_a`` over ``time_s``, ``(n,)``.

    ``amplitude_a`` is the battery current at connection [A], were the supply without limit.
    """

    time_s: np.ndarray
    current_a: np.ndarray
    amplitude_a: float


def normal_taper(assessment: Assessment, battery: Battery) -> NormalTaper | None:
    """The taper of this battery's history from the state of charge at connection.

    The charge to return is that of the assessment's best value; amplitude and shape are those the
    history gives at that charge. Bus load, load steps and the supply's limit are those of the
    assessment, so that the curve can be laid over its readings. None without a history, and for a
    chemistry whose current is no exponential taper.
    """
    if battery.history is None or not data_for(battery.chemistry).taper.exponential:
        return None
    curves, soc = assessment.curves, assessment.state_of_charge.at_connection.mean
    room = _room_a(assessment)
    battery_a, amplitude = expected_taper(battery, soc, curves.fit_time_s, room)
    total = curves.load_a + battery_a
    if (most := _most_a(assessment)) is not None:
        total = np.minimum(total, most)
    return NormalTaper(curves.fit_time_s, total, amplitude)


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
        return rate - float(prior.rate_per_h(min(wanted, room_a)))

    highest = float(prior.rate_per_h(charge_as / float(shape(np.inf).charge_time_s))) + 1.0
    return shape(brentq(excess, 0.0, max(highest, 10.0)))


def _battery_current_a(
    time_s: np.ndarray, amplitude_a: float, shape: Shape, room_a: float
) -> np.ndarray:
    """Battery current [A] above the floor; at the room first where it would take more."""
    limit_s, level, hold_a = 0.0, (1.0, 1.0), amplitude_a
    if amplitude_a > room_a:
        wanted = amplitude_a / room_a
        most_s = wanted * float(shape.charge_time_s)
        limit_s = brentq(lambda t: float(at_limit(t, shape)[2]) - wanted, 0.0, most_s)
        fast, slow, _ = at_limit(limit_s, shape)
        level, hold_a = (float(fast), float(slow)), room_a
    held = hold_a * branches_current(np.maximum(time_s - limit_s, 0.0), shape, *level)
    return np.where(time_s < limit_s, room_a, held)


def _room_a(assessment: Assessment) -> float:
    """What supply limit and bus load leave the battery at connection [A]; infinite if unknown."""
    most = _most_a(assessment)
    if most is None:
        return np.inf
    return max(most - float(assessment.curves.load_a[0]), LEAST_ROOM_A)


def _most_a(assessment: Assessment) -> float | None:
    """The most the drawn meter can show [A]: the supply's limit, as seen or as its plate says."""
    curves: Curves = assessment.curves
    if curves.limit_a is not None:
        return curves.limit_a
    by_supply = assessment.supply is not None and curves.current_label.startswith("Supply")
    return assessment.supply.limit_a if by_supply and assessment.supply else None
