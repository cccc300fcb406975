"""How likely a flat current is, by its level and its fall, with each charge to return.

A lithium iron phosphate battery on a fixed voltage takes what its resistance lets through until it
is nearly full, and then what is left of its charge over a short time, rounded where they meet::

    i(left) = ((level C)^-n + (left / tail)^-n)^(-1/n)

with ``level`` [1/h], ``tail`` [h] and rated capacity ``C``. On a grid of level, tail and charge
left at the first reading, the law is run on to the last one; the two currents, less the bus load,
and the charge delivered between them are held against the readings. How a condition moves level and
tail is told by `reference.conditions.FLAT_CURRENT`.
"""

from __future__ import annotations

import numpy as np
from scipy.special import log_ndtr, ndtr, ndtri_exp

from batterymodel.basis.arrays import FloatArray
from batterymodel.reference.conditions import LOAD_SETTLES, LOAD_SETTLES_SD_A, FlatCurrentPrior
from batterymodel.taper.charge_bounds import (
    EDGE_OF_CAPACITY,
    EDGE_REL,
    END_READINGS,
    LOAD_NODES,
    ChargeBounds,
    without_steps,
)
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.posterior import MOST_CHARGE_FRACTION, charge_grid_ah

ROUNDING = 3.0
"""Exponent ``n`` with which level and tail meet [-] (own choice)."""

LAW_REL = 0.15
"""What the law leaves undescribed of the last current, relative [-] (own choice)."""

FALL_REL = 0.05
"""What it leaves undescribed of the fall, over the current it falls from [-] (own choice: rest
voltage and wires still move by that much)."""

SETTLED_S = 45.0
"""Time after connection from which the current is held against the law, where enough readings are
left [s] (own choice: supply and first diffusion settle before)."""

LOAD_DRIFT_A = 0.15
"""How far a bus load drifts between first and last readings, standard deviation [A] (own
choice)."""

LEVEL_LOG = np.arange(np.log(0.005), np.log(20.0), 0.2)
TAIL_LOG = np.arange(np.log(0.01), np.log(10.0), 0.35)
"""Logs of level [ln 1/h] and tail [ln h] that are looked at (own choice, numerical)."""

LEFT_POINTS = 60
LEAST_LEFT_OF_CAPACITY = 1e-4
"""Charges left that are looked at, even in their log, and the least over capacity [-] (own choice,
numerical)."""

RUN_ON_STEP = 0.05
RUN_ON = np.exp(np.arange(-40.0, 12.0, RUN_ON_STEP))
"""Charges left over level, capacity and tail at which `_TIME_TO` is tabulated [-] (own choice,
numerical)."""

EVEN_ERROR = 12.0**-0.5
"""Standard deviation of an error spread evenly over one step [-]."""

BETWEEN_NODES = 0.5
"""Spread of a load node over the distance to the next [-] (own choice, numerical)."""

NO_WEIGHT = 1e-300
"""Stands for no likelihood, so that its log is a number (own choice, numerical)."""


class FlatCurrent:
    """Likelihoods of one connection's current under beliefs in level and tail.

    Parameters
    ----------
    fit : TaperFit
        Gives signal, load steps and capacity.
    rated_ah : float
        Rated capacity [Ah].
    """

    def __init__(self, fit: TaperFit, rated_ah: float) -> None:  # noqa: D107
        self._signal, self._rated_ah = fit.signal, rated_ah
        self._capacity_ah = fit.prior.capacity_ah
        self._time_s, self._current_a = without_steps(fit)
        end_s = self._signal.limit_end_s
        settled_s = max(SETTLED_S, 0.0 if end_s is None or np.isinf(end_s) else end_s)
        first = int(np.searchsorted(self._time_s, settled_s))
        self._first = first if self._time_s.size - first >= 2 * END_READINGS else 0
        few = max(min(END_READINGS, self._current_a.size // 2), 1)
        self._first_a = float(self._current_a[:few].mean())
        self._start_a = float(self._current_a[self._first : self._first + few].mean())
        self._end_a = float(self._current_a[-few:].mean())
        rounding = EVEN_ERROR * self._signal.resolution_a
        self._noise_a = float(np.hypot(self._signal.sigma_a / np.sqrt(few), rounding))
        drift = 0.0 if self._signal.from_clamp else LOAD_DRIFT_A
        self._fall_sd_a = float(np.hypot(np.sqrt(2.0) * self._noise_a, drift))
        self._tables: dict[float, _Table] = {}

    def under(
        self, beliefs: tuple[FlatCurrentPrior, ...], steady_per_ah: float
    ) -> tuple[ChargeBounds, float]:
        """Likelihood of the charge to return under some beliefs, and the log of its scale.

        Parameters
        ----------
        beliefs : tuple of FlatCurrentPrior
            Equally likely.
        steady_per_ah : float
            Current that charges nothing, and its standard deviation [A per rated Ah].

        Returns
        -------
        bounds : ChargeBounds
            `LOAD_NODES` nodes of equal weight, its highest likelihood 1.
        log_scale : float
            Log of the highest likelihood, times the step of the charge's log.
        """
        if steady_per_ah not in self._tables:
            self._tables[steady_per_ah] = self._table(steady_per_ah * self._rated_ah)
        table = self._tables[steady_per_ah]
        charge = charge_grid_ah(self._capacity_ah)
        likelihood = table.of_charge(
            np.mean([_weights(b) for b in beliefs], axis=0), charge, self._capacity_ah
        )
        most = max(float(likelihood.max()), NO_WEIGHT)
        bounds = ChargeBounds(
            charge_ah=charge,
            likelihood=likelihood / most,
            window_end_s=float(self._signal.time_s[-1]),
            delivered_ah=table.delivered_ah[:, None],
            current_a=table.end_a[:, None],
            limited_throughout=self._signal.limited_throughout,
        )
        step = float(np.log(charge[1] / charge[0]))
        return bounds, table.log_scale + float(np.log(most) + np.log(step))

    def log_of_a_load(self) -> float:
        """Log likelihood of the readings without a battery: a steady load, or one that settles.

        A load that settles does so from the very first readings on (`LOAD_SETTLES_SD_A`); a clamp
        on the battery's lead reads no load.

        Returns
        -------
        float
            In the units of `under`.
        """
        load, fall = self._signal.load, self._start_a - self._end_a
        level = _log_normal(self._end_a - load.mean_a, float(np.hypot(load.sd_a, self._noise_a)))
        steady = float(_log_normal(fall, self._fall_sd_a))
        if self._signal.from_clamp:
            return float(level) + steady
        sd = float(np.hypot(self._fall_sd_a, LOAD_SETTLES_SD_A))
        whole = max(fall, self._first_a - self._end_a)
        settling = float(np.log(2.0) + _log_normal(whole, sd) + log_ndtr(fall / self._fall_sd_a))
        mixed = np.logaddexp(
            np.log1p(-LOAD_SETTLES) + steady, float(np.log(LOAD_SETTLES)) + settling
        )
        return float(level + mixed)

    def _table(self, steady_a: float) -> _Table:
        """The table beside a current that charges nothing, of this mean and spread [A]."""
        load = self._signal.load
        mean, sd = load.mean_a + steady_a, float(np.hypot(load.sd_a, steady_a))
        beside, log_share = _nodes_below(mean, sd, min(self._start_a, self._end_a))
        battery = np.maximum(self._current_a[None, :] - beside[:, None], 0.0)
        ah = np.trapezoid(battery, self._time_s, axis=1) / 3600.0
        since = battery[:, self._first :], self._time_s[self._first :]
        since_ah = np.trapezoid(*since, axis=1) / 3600.0
        left = self._capacity_ah * np.geomspace(
            LEAST_LEFT_OF_CAPACITY, MOST_CHARGE_FRACTION, LEFT_POINTS
        )
        log = self._log_likelihood(left, since_ah, beside) + log_share
        most = float(log.max())
        end = np.maximum(self._end_a - beside, 0.0)
        return _Table(np.exp(log - most), most, left, ah - since_ah, ah, end)

    def _log_likelihood(
        self, left: FloatArray, since_ah: FloatArray, beside: FloatArray
    ) -> FloatArray:
        """Log likelihood by level, tail, charge left and load node, ``(r, t, l, k)``."""
        level = (np.exp(LEVEL_LOG) * self._rated_ah)[:, None, None]
        tail = np.exp(TAIL_LOG)[None, :, None]
        at_start = _law(left / (level * tail)) * level
        between = BETWEEN_NODES * np.gradient(beside)
        if self._signal.limited_throughout:
            sd = np.hypot(self._noise_a, between)
            return np.asarray(log_ndtr((at_start[..., None] - (self._end_a - beside)) / sd))
        hours = float(self._time_s[-1] - self._time_s[self._first]) / 3600.0
        end_left = _left_after(left / (level * tail), hours / tail)
        at_end = _law(end_left) * level
        end_sd = np.sqrt(self._noise_a**2 + (LAW_REL * at_end[..., None]) ** 2 + between**2)
        start_sd = np.hypot(self._fall_sd_a, FALL_REL * at_start)
        fall = at_start - at_end - (self._start_a - self._end_a)
        log = _log_normal(at_end[..., None] - (self._end_a - beside), end_sd)
        log += _log_normal(fall, start_sd)[..., None]
        edge = EDGE_REL * since_ah + EDGE_OF_CAPACITY * self._capacity_ah
        away = ((left - end_left * level * tail)[..., None] - since_ah) / edge
        return np.asarray(log - 0.5 * away**2)


class _Table:
    """Likelihood by level, tail, charge left at first [Ah] and load node, its highest value 1."""

    def __init__(
        self,
        likelihood: FloatArray,
        log_scale: float,
        left_ah: FloatArray,
        before_ah: FloatArray,
        delivered_ah: FloatArray,
        end_a: FloatArray,
    ) -> None:
        self._likelihood, self._left_ah, self._before_ah = likelihood, left_ah, before_ah
        self.log_scale, self.delivered_ah, self.end_a = log_scale, delivered_ah, end_a

    def of_charge(self, weight: FloatArray, charge: FloatArray, capacity_ah: float) -> FloatArray:
        """Likelihood by load node and charge to return, every charge equally likely, ``(k, q)``."""
        by_left = (
            np.tensordot(weight, self._likelihood, axes=2) * np.gradient(self._left_ah)[:, None]
        )
        before = np.minimum(self._before_ah, charge[-1])
        edge = (EDGE_REL * self.delivered_ah + EDGE_OF_CAPACITY * capacity_ah)[:, None, None]
        middle = np.minimum(before[:, None] + self._left_ah, charge[-1])[:, None, :]
        away = (charge[None, :, None] - middle) / edge
        spread = np.exp(-0.5 * away**2) / (np.sqrt(2.0 * np.pi) * edge * ndtr(middle / edge))
        return np.asarray(np.einsum("kql,lk->kq", spread, by_left) / LOAD_NODES)


def _law(left: FloatArray) -> FloatArray:
    """Current over that of the level, by what is left over level, capacity and tail [-]."""
    return np.asarray((1.0 + left**-ROUNDING) ** (-1.0 / ROUNDING))


_MIDDLE = np.sqrt(RUN_ON[1:] * RUN_ON[:-1])
_TIME_TO = np.append(0.0, np.cumsum(_MIDDLE / _law(_MIDDLE)) * RUN_ON_STEP)
"""Time over the tail to come down to the least of `RUN_ON` [-]."""


def _left_after(left: FloatArray, times: FloatArray) -> FloatArray:
    """What is left after a time over the tail, both over level, capacity and tail [-]."""
    to_go = np.interp(np.log(left), np.log(RUN_ON), _TIME_TO) - times
    return np.asarray(np.exp(np.interp(to_go, _TIME_TO, np.log(RUN_ON))))


def _weights(belief: FlatCurrentPrior) -> FloatArray:
    """Probability of each level and tail, ``(r, t)``."""
    level = np.exp(-0.5 * ((LEVEL_LOG - belief.level_log) / belief.level_log_sd) ** 2)
    tail = np.exp(-0.5 * ((TAIL_LOG - belief.tail_log) / belief.tail_log_sd) ** 2)
    weight = level[:, None] * tail
    return np.asarray(weight / weight.sum())


def _nodes_below(mean_a: float, sd_a: float, most_a: float) -> tuple[FloatArray, float]:
    """Equally likely values of a normal that are no more than a most, and the log of its share."""
    log_share = float(log_ndtr((most_a - mean_a) / sd_a))
    part = np.log((np.arange(LOAD_NODES) + 0.5) / LOAD_NODES)
    return np.asarray(mean_a + sd_a * ndtri_exp(part + log_share)), log_share


def _log_normal(away: FloatArray | float, sd: FloatArray | float) -> FloatArray:
    return np.asarray(-0.5 * (away / sd) ** 2 - np.log(sd) - 0.5 * np.log(2.0 * np.pi))
