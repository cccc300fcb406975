"""What this battery's taper would look like from the same charge: its normal, from its history."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.rules.results import Assessment, Curves
from batterymodel.taper.expected import expected_taper

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
    assessment, so that the curve can be laid over its readings.

    Parameters
    ----------
    assessment : Assessment
    battery : Battery
        The one assessed, with its history.

    Returns
    -------
    NormalTaper or None
        None without a history, and for a chemistry whose current is no exponential taper.
    """
    if battery.history is None or not data_for(battery.chemistry).taper.exponential:
        return None
    curves, soc = assessment.curves, assessment.state_of_charge.at_connection.mean
    room = _room_a(assessment)
    battery_a, amplitude = expected_taper(battery, soc, curves.fit_time_s, room, curves.on)
    total = curves.load_a + battery_a
    if (most := _most_a(assessment)) is not None:
        total = np.minimum(total, most)
    return NormalTaper(curves.fit_time_s, total, amplitude)


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
    if curves.from_clamp or assessment.supply is None:
        return None
    return assessment.supply.limit_a
