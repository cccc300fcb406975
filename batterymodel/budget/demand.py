"""What consumers take: the current of a set of them at once, over a task, and its spread."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.budget.learning import CurrentBelief, declared
from batterymodel.budget.results import Load
from batterymodel.inputs.load_plan import Consumer

DUTY_REL_SD = 0.20
"""Spread of the part of a task that a consumer is on, where that is not all of it [-] (own choice:
nobody clocks it)."""


def current_sd_a(consumer: Consumer) -> float:
    """Spread of a consumer's current while it is on, as its next reading may show it.

    ``hypot(sd, error of the mean)`` where it rests on readings; where it rests on none, the stated
    spread, else the declared one.

    Parameters
    ----------
    consumer : Consumer

    Returns
    -------
    float
        Standard deviation [A].

    References
    ----------
    Declared currents: `learning.declared`.

    Examples
    --------
    >>> round(current_sd_a(Consumer(name="Radio", continuous_a=4.0)), 3)
    0.6
    """
    belief = belief_of(consumer)
    return hypot(belief.sd_a, belief.mean_sd_a) if consumer.readings else belief.sd_a


def belief_of(consumer: Consumer) -> CurrentBelief:
    """What is known of a consumer's current while it is on.

    Parameters
    ----------
    consumer : Consumer

    Returns
    -------
    CurrentBelief
    """
    return declared(consumer.continuous_a, consumer.continuous_sd_a, consumer.readings)


def average_a(consumer: Consumer) -> float:
    """Mean current of a consumer over a task, ``duty I``.

    Parameters
    ----------
    consumer : Consumer

    Returns
    -------
    float
        [A].
    """
    return consumer.duty * consumer.continuous_a


def average_sd_a(consumer: Consumer) -> float:
    """Spread of a consumer's mean current over a task.

    ``duty hypot(sd, DUTY_REL_SD I)``; the second only where it is not on all the time.

    Parameters
    ----------
    consumer : Consumer

    Returns
    -------
    float
        Standard deviation [A].
    """
    clocked = DUTY_REL_SD * consumer.continuous_a if consumer.duty < 1.0 else 0.0
    return consumer.duty * hypot(current_sd_a(consumer), clocked)


def load_of(consumers: Iterable[Consumer], minutes: float) -> Load:
    """Load of a set of consumers over a task; their spreads are independent of each other.

    Parameters
    ----------
    consumers : iterable of Consumer
    minutes : float
        Length of the task [min].

    Returns
    -------
    Load
    """
    several = tuple(consumers)
    mean_a = sum(average_a(one) for one in several)
    return Load(
        at_once_a=sum(one.continuous_a for one in several),
        at_once_sd_a=_root_of_squares(current_sd_a(one) for one in several),
        average_a=mean_a,
        average_sd_a=_root_of_squares(average_sd_a(one) for one in several),
        charge_ah=mean_a * minutes / 60.0,
    )


def columns(consumers: Iterable[Consumer], over_hours: bool) -> tuple[FloatArray, FloatArray]:
    """Means and spreads of consumers as a limit counts them.

    Parameters
    ----------
    consumers : iterable of Consumer
    over_hours : bool
        The mean over the task counts, not the current while on.

    Returns
    -------
    means_a, sds_a : ndarray, shape (n,)
        [A].
    """
    several = tuple(consumers)
    if over_hours:
        rows = [(average_a(one), average_sd_a(one)) for one in several]
    else:
        rows = [(one.continuous_a, current_sd_a(one)) for one in several]
    table = np.array(rows, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _root_of_squares(spreads_a: Iterable[float]) -> float:
    return float(np.sqrt(sum(sd * sd for sd in spreads_a)))
