"""What consumers take: the current of a set of them at once, over a task, and its spread."""

from __future__ import annotations

from collections.abc import Iterable
from math import hypot

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.budget.learning import CurrentBelief, declared
from batterymodel.budget.results import Load
from batterymodel.inputs.load_plan import Consumer
from batterymodel.reference.supply import LONG_LOAD_MINUTES

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

    ``hypot(duty sd, min(DUTY_REL_SD duty, (1 - duty) / LEVEL_SD) I)``: it is on for no more than
    all of the time.

    Parameters
    ----------
    consumer : Consumer

    Returns
    -------
    float
        Standard deviation [A].
    """
    duty_sd = min(DUTY_REL_SD * consumer.duty, (1.0 - consumer.duty) / LEVEL_SD)
    return hypot(consumer.duty * current_sd_a(consumer), duty_sd * consumer.continuous_a)


def share_over_hours(consumer: Consumer, minutes: float) -> float:
    """Part of its worst `LONG_LOAD_MINUTES` in a row that a consumer may be on.

    ``min(duty max(T, LONG) / LONG, 1)``: nobody says that it goes on and off, so that all of its
    time may come at once.

    Parameters
    ----------
    consumer : Consumer
    minutes : float
        Length of the task [min].

    Returns
    -------
    float
        [0..1].

    Examples
    --------
    >>> share_over_hours(Consumer(name="Heater", continuous_a=9.0, duty=0.25), 480.0)
    0.6666666666666666
    """
    longest = max(minutes, LONG_LOAD_MINUTES) / LONG_LOAD_MINUTES
    return min(consumer.duty * longest, 1.0)


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


def columns(
    consumers: Iterable[Consumer], minutes: float, over_hours: bool
) -> tuple[FloatArray, FloatArray]:
    """Means and spreads of consumers as a limit counts them.

    Parameters
    ----------
    consumers : iterable of Consumer
    minutes : float
        Length of the task [min].
    over_hours : bool
        The mean over the worst three hours counts (`share_over_hours`), not the current while on.

    Returns
    -------
    means_a, sds_a : ndarray, shape (n,)
        [A].
    """
    several = tuple(consumers)
    if over_hours:
        rows = [_over_hours(one, minutes) for one in several]
    else:
        rows = [(one.continuous_a, current_sd_a(one)) for one in several]
    table = np.array(rows, dtype=float).reshape(-1, 2)
    return table[:, 0], table[:, 1]


def _over_hours(consumer: Consumer, minutes: float) -> tuple[float, float]:
    """Mean and spread over the worst three hours [A]."""
    share = share_over_hours(consumer, minutes)
    all_the_time = consumer.model_copy(update={"duty": share})
    return average_a(all_the_time), average_sd_a(all_the_time)


def _root_of_squares(spreads_a: Iterable[float]) -> float:
    return float(np.sqrt(sum(sd * sd for sd in spreads_a)))
