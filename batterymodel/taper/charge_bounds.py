"""What the current says of the charge to return where it is no exponential taper.

A lithium iron phosphate battery on a fixed voltage takes nearly the same current until it is nearly
full: its voltage hardly moves with its charge. Level and shape of the current then carry no state
of charge. What remains is a band: at least the charge delivered during the readings, and at most
that plus what the last current could still bring::

    delivered <= charge to return <= delivered + i_end T i_start / (i_start - i_end)

with `TAIL_H` for ``T``: a current that has not fallen bounds nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri

from batterymodel.basis.arrays import FloatArray, IntArray
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.posterior import LEAST_LEFT, ChargeLikelihood, charge_grid_ah

TAIL_H = 1.0
"""Longest time the current of a nearly full battery goes on, at its present level [h] (own
choice)."""

LEAST_FALL = 0.01
"""Relative fall of the current below which it bounds nothing [-] (own choice)."""

EDGE_REL, EDGE_OF_CAPACITY = 0.05, 0.01
"""Softness of the band's edges, of the charge delivered and of capacity [-] (own choice)."""

LOAD_NODES = 9
"""Equally likely bus loads that are looked at (own choice, numerical)."""

END_READINGS = 3
"""Readings whose mean is the current at the start, and at the end (own choice)."""

LAST_SHARE = 0.5
"""Mean current from the last reading until full, over that of the last reading [-] (own choice)."""

LEAST_CURRENT_A = 1e-3
"""Keeps a time to come finite where hardly any current flows [A] (own choice, numerical)."""


@dataclass(frozen=True)
class ChargeBounds(ChargeLikelihood):
    """Likelihood of the charge to return, one node for each bus load that may be.

    ``delivered_ah`` is the charge delivered to the battery [Ah] and ``current_a`` the battery
    current at the last reading [A], both of shape ``(k, 1)``; ``limited_throughout`` says that the
    supply was at its limit to the last reading.
    """

    delivered_ah: FloatArray
    current_a: FloatArray
    limited_throughout: bool

    @property
    def follows_a_law(self) -> bool:
        """Whether the current could fall: what it may still bring was carried on by a law."""
        return not self.limited_throughout

    @property
    def left_share(self) -> FloatArray:
        """Charge still to return after the readings over that at connection [0..1], ``(k, q)``."""
        return np.maximum(1.0 - self.delivered_ah / self.charge_ah, LEAST_LEFT)

    def charge_at_ah(self, time_s: float, node: IntArray, at: IntArray) -> FloatArray:
        """Charge still to return after the last reading, at least `LEAST_LEFT` of all.

        Parameters
        ----------
        time_s : float
            Time of the last reading [s]; no other can be asked for.
        node, at : ndarray, shape (p,)
            Index of the bus load, and of the charge in ``charge_ah``.

        Returns
        -------
        ndarray, shape (p,)
            Charge [Ah].
        """
        charge = self.charge_ah[at]
        return np.maximum(charge - self.delivered_ah[node, 0], LEAST_LEFT * charge)

    def minutes_until_ah(
        self, left_ah: float | FloatArray, node: IntArray, at: IntArray
    ) -> FloatArray:
        """Time after the last reading until so much is left, at `LAST_SHARE` of the last current.

        Parameters
        ----------
        left_ah : float or ndarray, shape (p,) or (t, p)
            Charge left then [Ah].
        node, at : ndarray, shape (p,)
            Index of the bus load, and of the charge in ``charge_ah``.

        Returns
        -------
        ndarray, shape (p,) or (t, p)
            Times [min]; 0 where no more is left already.
        """
        now = self.charge_at_ah(self.window_end_s, node, at)
        mean_a = np.maximum(LAST_SHARE * self.current_a[node, 0], LEAST_CURRENT_A)
        return 60.0 * np.maximum(now - left_ah, 0.0) / mean_a


def charge_bounds(fit: TaperFit) -> ChargeBounds:
    """The band of one connection, from the signal of its fit and what is known of the load.

    Likelihood ``Phi((q - delivered) / edge) Phi((upper - q) / edge)`` of each charge ``q``, with
    ``upper`` the band's upper end (see the module) and the edges softened by `EDGE_REL` and
    `EDGE_OF_CAPACITY`. More delivered than any charge of the grid counts as the most of it.

    Parameters
    ----------
    fit : TaperFit

    Returns
    -------
    ChargeBounds
        `LOAD_NODES` nodes of equal weight.
    """
    time_s, current_a = without_steps(fit)
    load_a = _load_nodes_a(fit, float(current_a.min()))[:, None]
    battery_a = np.maximum(current_a[None, :] - load_a, 0.0)
    delivered = np.trapezoid(battery_a, time_s, axis=1)[:, None] / 3600.0
    start = battery_a[:, :END_READINGS].mean(axis=1)
    end = battery_a[:, -END_READINGS:].mean(axis=1)
    fall = np.maximum(1.0 - end / np.maximum(start, 1e-9), 0.0)
    capacity = fit.prior.capacity_ah
    reach = np.where(fall > LEAST_FALL, end * TAIL_H / np.maximum(fall, LEAST_FALL), capacity)
    charge = charge_grid_ah(capacity)
    least = np.minimum(delivered, charge[-1])
    edge = EDGE_REL * least + EDGE_OF_CAPACITY * capacity
    upper = least + np.minimum(reach, capacity)[:, None]
    inside = ndtr((charge - least) / edge) * ndtr((upper - charge) / edge)
    return ChargeBounds(
        charge_ah=charge,
        likelihood=inside,
        window_end_s=float(fit.signal.time_s[-1]),
        delivered_ah=delivered,
        current_a=end[:, None],
        limited_throughout=fit.signal.limited_throughout,
    )


def without_steps(fit: TaperFit) -> tuple[FloatArray, FloatArray]:
    """Times from connection on and current less load steps, short transients left out.

    Parameters
    ----------
    fit : TaperFit

    Returns
    -------
    time_s, current_a : ndarray, shape (n,)
        Times since connection [s] and currents [A].
    """
    signal = fit.signal
    kept = signal.usable | signal.current_limited
    time_s = signal.time_s[kept]
    steps = fit.base(time_s) - fit["float_current_a"] - fit["load_a"]
    current = signal.current_a[kept] - steps
    return np.append(0.0, time_s), np.append(current[0], current)


def _load_nodes_a(fit: TaperFit, least_a: float) -> FloatArray:
    """Equally likely bus loads [A], none above the least reading."""
    load = fit.signal.load
    z = ndtri((np.arange(LOAD_NODES) + 0.5) / LOAD_NODES)
    return np.clip(load.mean_a + load.sd_a * z, 0.0, max(least_a, 0.0))
