"""The shape of the taper: two exponentials, and what a supply at its limit does to them.

The battery at constant voltage is taken as two resistor-capacitor branches side by side, a fast
and a slow one. From rest, the current it takes is::

    i(t) = A s(t),    s(t) = w exp(-t / (r tau)) + (1 - w) exp(-t / tau)

with amplitude ``A`` [A], slow time constant ``tau`` [s], fast share ``w`` and fast ratio ``r``.
While the supply is at its limit, the battery takes the constant current ``c`` although it would
take more; the two branches fill unevenly, and the hold at constant voltage begins when what the
battery would take has fallen to ``c``. All functions are pure; times in seconds.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from batterymodel.basis.arrays import FloatArray, FloatOrArray, IntArray


@dataclass(frozen=True)
class Shape:
    """Shape parameters; scalars, or arrays that broadcast against each other.

    ``time_constant_s`` is the slow time constant [s], ``fast_share`` 0..1, ``fast_ratio`` the
    fast time constant over the slow one.
    """

    time_constant_s: FloatOrArray
    fast_share: FloatOrArray
    fast_ratio: float

    @property
    def charge_time_s(self) -> FloatOrArray:
        """Charge to return over the amplitude [s]: ``tau (1 - w + w r)``."""
        return self.time_constant_s * charge_time_share(self.fast_share, self.fast_ratio)

    @property
    def fast_time_constant_s(self) -> FloatOrArray:
        """Fast time constant [s]: ``r tau``."""
        return self.time_constant_s * self.fast_ratio

    def of_nodes(self, node: IntArray) -> Shape:
        """Shapes of nodes, picked from parameters of shape ``(k, 1)``.

        Parameters
        ----------
        node : ndarray of int, shape (p,)
            Indices of the nodes.

        Returns
        -------
        Shape
            Fields of shape ``(p,)``.
        """
        time_constant_s = np.asarray(self.time_constant_s)[node, 0]
        return Shape(time_constant_s, np.asarray(self.fast_share)[node, 0], self.fast_ratio)


def charge_time_share(fast_share: ArrayLike, fast_ratio: float) -> FloatArray:
    """Charge time over the slow time constant: ``1 - w (1 - r)``.

    Parameters
    ----------
    fast_share : array-like, any shape
        Fast part of the current at connection, ``w`` [0..1].
    fast_ratio : float
        Fast time constant over the slow one, ``r`` [-].

    Returns
    -------
    ndarray
        Same shape as ``fast_share`` [-].

    Examples
    --------
    >>> float(charge_time_share(0.2, 0.5))
    0.9
    """
    return 1.0 - np.asarray(fast_share, dtype=float) * (1.0 - fast_ratio)


def hold_current(t_s: ArrayLike, shape: Shape) -> FloatArray:
    """Battery current over its amplitude, supply never at its limit: ``s(t)``.

    Parameters
    ----------
    t_s : array-like
        Times since connection [s]; broadcasts against the shape parameters.
    shape : Shape

    Returns
    -------
    ndarray
        Current over amplitude [-], 1 at connection, in the broadcast shape.

    Examples
    --------
    >>> float(hold_current(0.0, Shape(1000.0, 0.2, 0.13)))
    1.0
    """
    return branches_current(t_s, shape, 1.0, 1.0)


def branches_current(
    t_s: ArrayLike, shape: Shape, fast_level: FloatOrArray, slow_level: FloatOrArray
) -> FloatArray:
    """Current over amplitude in the hold, from given branch levels.

    ``w f exp(-t / (r tau)) + (1 - w) g exp(-t / tau)`` with levels ``f`` (fast) and ``g`` (slow).

    Parameters
    ----------
    t_s : array-like
        Times since the hold began [s]; broadcasts against levels and shape parameters.
    shape : Shape
    fast_level, slow_level : float or ndarray
        Levels of the branches when the hold began, over the amplitude [-]; 1 and 1 from rest.

    Returns
    -------
    ndarray
        Current over amplitude [-], in the broadcast shape.
    """
    t = np.asarray(t_s, dtype=float)
    fast = shape.fast_share * fast_level * np.exp(-t / shape.fast_time_constant_s)
    slow = (1.0 - shape.fast_share) * slow_level * np.exp(-t / shape.time_constant_s)
    return np.asarray(fast + slow)


def branches_charge_s(
    t_s: ArrayLike, shape: Shape, fast_level: FloatOrArray, slow_level: FloatOrArray
) -> FloatArray:
    """Charge still to return over amplitude in the hold, the integral of `branches_current`.

    ``w f r tau exp(-t / (r tau)) + (1 - w) g tau exp(-t / tau)`` with levels ``f`` (fast) and ``g``
    (slow).

    Parameters
    ----------
    t_s : array-like
        Times since the hold began [s]; broadcasts against levels and shape parameters.
    shape : Shape
    fast_level, slow_level : float or ndarray
        Levels of the branches when the hold began, over the amplitude [-]; 1 and 1 from rest.

    Returns
    -------
    ndarray
        Charge over amplitude [s], in the broadcast shape.
    """
    t = np.asarray(t_s, dtype=float)
    tau_fast, tau = shape.fast_time_constant_s, shape.time_constant_s
    fast = shape.fast_share * fast_level * tau_fast * np.exp(-t / tau_fast)
    slow = (1.0 - shape.fast_share) * slow_level * tau * np.exp(-t / tau)
    return np.asarray(fast + slow)


def current_limited(
    limit_time_s: ArrayLike, shape: Shape
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """State after the supply was at its limit from connection for a time.

    With ``g`` the fill of each branch, in units of the limit current ``c``::

        g_fast' = (1 + G - g_fast) / tau_fast,   g_slow' = (1 + G - g_slow) / tau
        G = w g_fast + (1 - w) g_slow

    Parameters
    ----------
    limit_time_s : array-like
        Time the supply was at its limit [s]; broadcasts against the shape parameters.
    shape : Shape

    Returns
    -------
    fast_level, slow_level, amplitude : ndarray
        Branch levels and amplitude at connection, all over ``c``; the weighted levels sum to 1
        and ``amplitude = 1 + G`` if the hold begins at that moment. Charge is conserved:
        ``amplitude * charge_time = limit_time + charge in the branches``.

    Examples
    --------
    A single branch (fast share 0) gives ``A = c (1 + t / tau)``:

    >>> float(current_limited(500.0, Shape(1000.0, 0.0, 0.13))[2])
    1.5
    """
    t = np.asarray(limit_time_s, dtype=float)
    w, tau_fast, tau = shape.fast_share, shape.fast_time_constant_s, shape.time_constant_s
    rate = w / tau + (1.0 - w) / tau_fast
    drive = 1.0 / tau_fast - 1.0 / tau
    final_gap = drive / rate
    gap = final_gap * -np.expm1(-rate * t)
    fill = (w / tau_fast + (1.0 - w) / tau) * t - w * (1.0 - w) * drive * (
        final_gap * t - gap / rate
    )
    return 1.0 - (1.0 - w) * gap, 1.0 + w * gap, 1.0 + fill


def hold_gradient(
    t_s: ArrayLike, limit_time_s: float, shape: Shape
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Hold current over its amplitude, and its derivatives, after a time at the limit.

    Parameters
    ----------
    t_s : array-like
        Times since the hold began [s]; broadcasts against the shape parameters.
    limit_time_s : float
        Time the supply was at its limit before [s]; 0 for never.
    shape : Shape

    Returns
    -------
    current, by_log_time_constant, by_fast_share : ndarray
        ``s``, ``ds / d ln(tau)`` and ``ds / d fast_share`` [-], each in the broadcast shape.
    """
    t = np.asarray(t_s, dtype=float)
    w = shape.fast_share
    tau_fast, tau = shape.fast_time_constant_s, shape.time_constant_s
    fast, slow = np.exp(-t / tau_fast), np.exp(-t / tau)
    gap, gap_by_log_tau, gap_by_share = _gap_gradient(limit_time_s, shape)
    fast_level, slow_level = 1.0 - (1.0 - w) * gap, 1.0 + w * gap
    exchange = w * (1.0 - w) * (slow - fast)
    current = w * fast_level * fast + (1.0 - w) * slow_level * slow
    by_log_tau = (
        w * fast_level * fast * t / tau_fast
        + (1.0 - w) * slow_level * slow * t / tau
        + exchange * gap_by_log_tau
    )
    by_share = (
        fast_level * fast - slow_level * slow + (w * fast + (1.0 - w) * slow) * gap
    ) + exchange * gap_by_share
    return current, by_log_tau, by_share


def _gap_gradient(
    limit_time_s: float, shape: Shape
) -> tuple[FloatOrArray, FloatOrArray, FloatOrArray]:
    """Fill gap fast - slow and its derivatives by ``ln(tau)`` and by the fast share."""
    w, r = shape.fast_share, shape.fast_ratio
    spread = w + (1.0 - w) / r
    final = (1.0 / r - 1.0) / spread
    phase = spread * limit_time_s / shape.time_constant_s
    decay = np.exp(-phase)
    by_share = final**2 * (1.0 - decay) + final * decay * phase * (1.0 - 1.0 / r) / spread
    return final * (1.0 - decay), -final * phase * decay, by_share
