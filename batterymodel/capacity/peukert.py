"""Published arithmetic of capacity tests: the IEEE 450 forms, and Peukert's law.

Functions take scalars or arrays of any shape.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike


def time_adjusted_percent(
    minutes: ArrayLike, rated_minutes: ArrayLike, temp_factor: ArrayLike
) -> np.ndarray:
    """Percent of rated capacity by the time-adjusted method, ``100 Ta / (Ts K_T)``.

    Parameters
    ----------
    minutes, rated_minutes : array-like
        Time to end voltage in the test, and of a new battery at the same current [min].
    temp_factor : array-like
        Capacity at the test's temperature over that at 25 degC [-].

    Returns
    -------
    ndarray
        Percent [%], shape of the arguments together.

    References
    ----------
    IEEE 450-2002/2010, 7.3.1 (clause name verified, formula from memory (high)).

    Examples
    --------
    >>> round(float(time_adjusted_percent(54.0, 60.0, 0.882)), 2)
    102.04
    """
    return 100.0 * np.asarray(minutes) / (np.asarray(rated_minutes) * np.asarray(temp_factor))


def rate_adjusted_percent(
    current_a: ArrayLike, published_current_a: ArrayLike, cell_size_factor: ArrayLike
) -> np.ndarray:
    """Percent of rated capacity by the rate-adjusted method, ``100 Xa Kc / Xt``.

    Parameters
    ----------
    current_a : array-like
        Current of the test [A].
    published_current_a : array-like
        Current that brings a new battery to end voltage in the time the test took [A].
    cell_size_factor : array-like
        Reciprocal of the capacity factor of temperature [-], as in IEEE 485.

    Returns
    -------
    ndarray
        Percent [%], shape of the arguments together.

    References
    ----------
    IEEE 450-2010, 7.3.2 (from memory: high on the form, low on the symbols).
    """
    ratio = np.asarray(current_a) / np.asarray(published_current_a)
    return 100.0 * ratio * np.asarray(cell_size_factor)


def peukert_hours(
    current_a: ArrayLike, rated_capacity_ah: ArrayLike, exponent: float, rated_hours: float
) -> np.ndarray:
    """Time to end voltage [h] by the rated-hour form, ``t = H (C / (I H))**k``.

    Parameters
    ----------
    current_a : array-like
        Discharge current [A]; without current the time is infinite.
    rated_capacity_ah : array-like
        Capacity at the rated-hour rate [Ah].
    exponent : float
        Peukert's exponent [-].
    rated_hours : float
        Hours of the rating [h]; 1 for an aircraft battery.

    Returns
    -------
    ndarray
        Hours [h], shape of the arguments together.

    Notes
    -----
    The one-ampere form ``t = Cp / I**k`` is this one with ``Cp`` for both capacity and hours, for a
    battery that gives ``Cp`` ampere-hours at 1 A. Its ``Cp`` is not the plate's capacity: 100 Ah
    rated at 20 h, exponent 1.2, last 20 h at 5 A; taken for a one-ampere capacity they would seem
    to last 14.5 h.

    References
    ----------
    Textbook form (from memory (high)).

    Examples
    --------
    >>> round(float(peukert_hours(10.0, 100.0, 1.2, 20.0)), 4)
    8.7055
    """
    rated_current = np.asarray(rated_capacity_ah) / rated_hours
    with np.errstate(divide="ignore"):
        return rated_hours * (rated_current / np.asarray(current_a, dtype=float)) ** exponent
