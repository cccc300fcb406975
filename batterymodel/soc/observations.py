"""What one more observation would tell: the chance of a wrong decision now, and after it.

Topping off is wrong with the probability ``u`` of a battery that is too low or unsafe at any
charge, servicing with ``1 - u``, so that the better of the two is wrong with ``min(u, 1 - u)``. An
observation sorts the batteries that are still possible into bins of what it may show. With ``p(b)``
and ``q(b)`` the joint probability of bin ``b`` with a fit and an unfit battery, what is left is::

    sum_b min(p(b), q(b))

never more than before. The bins hold what each condition's own account predicts (`soc.account`),
spread by the error of the meter.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import ndtr

from batterymodel.basis.arrays import FloatArray, IntArray
from batterymodel.basis.meters import CLAMP_OFFSET_A, LOAD_SD_A
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.conditions import CONDITIONS, UNSAFE, Condition
from batterymodel.reference.temperature import rest_voltage_v
from batterymodel.soc.account import LEAST_WEIGHT, Account
from batterymodel.soc.conditions import ConditionState
from batterymodel.soc.evidence import MISLEADING, SOC_GRID, rest_voltage_sd_v
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.posterior import ChargePosterior
from batterymodel.taper.trends import battery_current

BINS = 50
"""Bins of what an observation may show (own choice, numerical)."""

REACH_SDS = 4.0
"""How far the bins reach beyond what is predicted [standard errors] (own choice, numerical)."""

SOC_STEP = 8
"""Every so many values of `SOC_GRID` a rest voltage is predicted (own choice, numerical)."""

LEAST_CHANCE = 1e-3
"""Probability below which no observation is thought to tell of a condition [0..1] (own choice,
numerical)."""

LEAST_PAIR = 2e-2
"""Probability over the highest below which a pair of node and charge is left out [-] (own choice,
numerical)."""

CHECK_SD = 0.05
"""Error of a capacity check over the plate [-] (own choice)."""

LAST_READINGS = 3
"""Last readings whose median is the present current (own choice)."""


@dataclass(frozen=True)
class _Seen:
    """Values an observation may show, probability of a fit and of an unfit battery, ``(p,)``."""

    values: FloatArray
    fit: FloatArray
    unfit: FloatArray


@dataclass(frozen=True)
class _Pairs:
    """Pairs of node and charge [Ah], ``(p,)``, each with its charging laws.

    ``laws``, ``fit`` and ``unfit`` are of shape ``(p, t)``: factor of the law, and probability of a
    fit and of an unfit battery.
    """

    posterior: ChargePosterior
    node: IntArray
    charge_ah: FloatArray
    laws: FloatArray
    fit: FloatArray
    unfit: FloatArray

    @property
    def present_a(self) -> FloatArray:
        """Current of the taper at the last reading, shape ``(p,)`` [A]."""
        at_end = np.array([self.posterior.window_end_s])
        return self.posterior.current_per_ah(at_end)[self.node, 0] * self.charge_ah

    def fall_a(self, wait_s: float) -> FloatArray:
        """Fall of the current after the last reading, shape ``(p, t)`` [A].

        A law that leaves ``l`` times the charge runs the same taper ``l`` times as long.
        """
        per_ah = self.posterior.fall_per_ah(self.node, wait_s / self.laws)
        return per_ah * self.charge_ah[:, None]


@dataclass(frozen=True)
class Foresight:
    """What each condition predicts of further observations of one connection.

    ``least_soc`` is the least state of charge at connection for topping off [0..1], ``temp_c`` the
    battery's temperature [degC] or None. The supply must have left its limit.
    """

    conditions: ConditionState
    battery: Battery
    fit: TaperFit
    least_soc: float
    temp_c: float | None = None

    @property
    def wrong_now(self) -> float:
        """Chance that the better of topping off and servicing is wrong [0..1]."""
        unfit = self.conditions.unfit
        return min(unfit, 1.0 - unfit)

    @property
    def after_rest_voltage(self) -> float:
        """Expected chance of a wrong decision after a rest voltage [0..1].

        The battery's curve, less the cells a condition lacks, with the spread of the evidence
        (`soc.evidence.rest_voltage_sd_v`) at the limit; a share `MISLEADING` is spread evenly. The
        charge taken since connection is left out.
        """
        temp = REFERENCE_TEMP_C if self.temp_c is None else self.temp_c
        curve = np.asarray(rest_voltage_v(self.battery, SOC_GRID[::SOC_STEP], temp))
        kept = {c: 1.0 - CONDITIONS[c].cells_lost / self.battery.cells for c in self._likely}
        seen = [_Seen(curve * share, *self._by_soc(c)) for c, share in kept.items()]
        sd = float(rest_voltage_sd_v(self.battery, self.least_soc))
        return self._left(seen, sd, MISLEADING)

    @property
    def after_bus_load(self) -> float:
        """Expected chance of a wrong decision after the bus load was read [0..1].

        The current at the last reading is what a condition's taper still takes, its float current
        and the load; what is left beside the taper is shared between the last two by their
        variances. A battery that takes nothing leaves all of it to the load.
        """
        return self._after_split(LOAD_SD_A)

    @property
    def after_clamp(self) -> float:
        """The same where the battery's current is read itself, with a clamp meter [0..1]."""
        return self._after_split(CLAMP_OFFSET_A)

    @property
    def after_capacity_check(self) -> float:
        """Expected chance of a wrong decision after a capacity check with `CHECK_SD` [0..1]."""
        return self._left([self._by_capacity(c) for c in self._likely], CHECK_SD)

    def after_reading(self, wait_s: float) -> float:
        """Expected chance of a wrong decision after another reading of the meter [0..1].

        What the current falls by after the last reading, by each condition's own taper and charging
        laws, with the error of two readings and of the taper's shape.

        Parameters
        ----------
        wait_s : float
            Time after the last reading [s].

        Returns
        -------
        float
        """
        shape_a = self.fit.belief.shape_rel_sd * abs(self._present_a)
        error_a = float(np.hypot(np.sqrt(2.0) * self.fit.signal.sigma_a, shape_a))
        return self._left([self._falls(c, wait_s) for c in self._likely], error_a)

    @cached_property
    def _likely(self) -> tuple[Condition, ...]:
        found = self.conditions.probability.items()
        return tuple(c for c, p in found if p >= LEAST_CHANCE)

    @cached_property
    def _present_a(self) -> float:
        """Battery current at the last readings, the load taken off as it is believed [A]."""
        _, current = battery_current(self.fit)
        return float(np.median(current[-LAST_READINGS:])) if current.size else 0.0

    @cached_property
    def _splits(self) -> dict[Condition, tuple[FloatArray, FloatArray]]:
        """Probability of fit and unfit batteries by charge, law and factor, ``(q, t, f)``."""
        accounts = self.conditions.accounts
        return {c: self._split(c, accounts[c]) for c in self._likely if c in accounts}

    def _split(self, condition: Condition, account: Account) -> tuple[FloatArray, FloatArray]:
        above, below = account.split_by(self.least_soc)
        chance = self.conditions.probability[condition]
        if condition in UNSAFE:
            return np.zeros_like(above), chance * (above + below)
        return chance * above, chance * below

    def _by_soc(self, condition: Condition) -> tuple[FloatArray, FloatArray]:
        """Probability of a fit and an unfit battery by state of charge on the coarse grid."""
        soc, weight = SOC_GRID, self.conditions.untold
        account = self.conditions.accounts.get(condition)
        if account is not None:
            found = account.at_connection
            soc, weight = np.clip(found.values, 0.0, 1.0), found.weight
        points = SOC_GRID[::SOC_STEP].size
        place = np.rint(soc * (points - 1)).astype(int)
        weight = self.conditions.probability[condition] / weight.sum() * weight
        bad = (soc < self.least_soc) | (condition in UNSAFE)
        fit = np.asarray(np.bincount(place, np.where(bad, 0.0, weight), points), dtype=float)
        return fit, np.asarray(np.bincount(place, weight, points), dtype=float) - fit

    def _by_capacity(self, condition: Condition) -> _Seen:
        """Capacity over the plate; that of a sound battery where nothing is charging."""
        sound = self.conditions.accounts[Condition.SOUND]
        factors = self.conditions.accounts.get(condition, sound).factors
        efficiency = data_for(self.battery.chemistry).taper.efficiency
        share = efficiency / factors / self.battery.rated_capacity_ah
        if condition not in self._splits:
            chance = self.conditions.probability[condition]
            return _Seen(share, np.zeros(share.size), np.full(share.size, chance / share.size))
        fit, unfit = self._splits[condition]
        every = np.ones(fit.shape[0] * fit.shape[1])
        by_factor = (every @ part.reshape(every.size, -1) for part in (fit, unfit))
        return _Seen(share, *by_factor)

    @cached_property
    def _pairs(self) -> dict[Condition, _Pairs]:
        """Pairs that matter, by condition; none of a battery that takes nothing."""
        found = {
            c: self._pairs_of(self.conditions.accounts[c], *s) for c, s in self._splits.items()
        }
        return {c: pairs for c, pairs in found.items() if pairs is not None}

    def _pairs_of(self, account: Account, fit: FloatArray, unfit: FloatArray) -> _Pairs | None:
        posterior = account.posterior
        if not isinstance(posterior, ChargePosterior):
            return None
        factors = np.ones(fit.shape[2])
        by_law = fit @ factors, unfit @ factors
        totals = [float(part.sum()) for part in by_law]
        likelihood = posterior.likelihood
        share = likelihood / np.maximum(likelihood.sum(axis=0), LEAST_WEIGHT)
        weight = share * (by_law[0] + by_law[1]).sum(axis=1)
        kept = np.flatnonzero(weight > LEAST_PAIR * weight.max())
        node, at = np.divmod(kept, weight.shape[1])
        part = share[node, at][:, None]
        good, bad = (
            _summing_to(total, part * every[at])
            for total, every in zip(totals, by_law, strict=True)
        )
        return _Pairs(posterior, node, posterior.charge_ah[at], account.laws[at], good, bad)

    def _falls(self, condition: Condition, wait_s: float) -> _Seen:
        """Fall of the current until then [A]; none where nothing is charging."""
        pairs = self._pairs.get(condition)
        if pairs is None:
            return self._nothing(0.0, condition)
        fall_a = pairs.fall_a(wait_s)
        return _Seen(fall_a.ravel(), pairs.fit.ravel(), pairs.unfit.ravel())

    def _nothing(self, value: float, condition: Condition) -> _Seen:
        """One value that is seen for certain where nothing is charging."""
        chance = self.conditions.probability[condition]
        return _Seen(np.array([value]), np.zeros(1), np.array([chance]))

    def _after_split(self, error_a: float) -> float:
        """Expected chance of a wrong decision after load and battery current are told apart."""
        error_a = float(np.hypot(error_a, self.fit.signal.sigma_a))
        found = [(seen, float(np.hypot(sd, error_a))) for seen, sd in self._load_errors()]
        bins = _Bins(found)
        for seen, sd in found:
            bins.add([seen], sd)
        return bins.left() + self._ignored

    def _load_errors(self) -> Iterator[tuple[_Seen, float]]:
        """Error of the believed load in each condition, and the spread about it [A]."""
        load_sd = self.fit.signal.load.sd_a
        for condition in self._likely:
            pairs = self._pairs.get(condition)
            if pairs is None:
                yield self._nothing(self._present_a, condition), 0.0
                continue
            level, level_sd = self._float_current_a(condition)
            of_load = load_sd**2 / (load_sd**2 + level_sd**2)
            value = (self._present_a - pairs.present_a - level) * of_load
            seen = _Seen(value, pairs.fit.sum(axis=1), pairs.unfit.sum(axis=1))
            yield seen, load_sd * level_sd / float(np.hypot(load_sd, level_sd))

    def _float_current_a(self, condition: Condition) -> tuple[float, float]:
        """Believed float current of a condition and its spread [A]."""
        per_ah = CONDITIONS[condition].float_current_per_ah
        if per_ah is None:
            return self.fit.prior.float_current_a, self.fit.prior.float_current_sd_a
        return (per_ah * self.battery.rated_capacity_ah,) * 2

    def _left(self, seen: list[_Seen], sd: float, misleading: float = 0.0) -> float:
        """Expected chance of a wrong decision after values that all have one spread."""
        bins = _Bins([(one, sd) for one in seen])
        bins.add(seen, sd)
        return bins.left(misleading) + self._ignored

    @cached_property
    def _ignored(self) -> float:
        """Chance of unfit batteries in conditions that are left out, which nothing lowers."""
        state = self.conditions
        return sum(state.unfit_in(c) for c in state.probability if c not in self._likely)


def _summing_to(total: float, weight: FloatArray) -> FloatArray:
    """Weights scaled to a sum; where they are all zero, evenly."""
    found = float(weight.sum())
    if found <= LEAST_WEIGHT:
        return np.full_like(weight, total / weight.size)
    return weight * (total / found)


class _Bins:
    """What an observation may show, in `BINS` bins, apart for fit and unfit batteries."""

    def __init__(self, found: list[tuple[_Seen, float]]) -> None:
        low = min(float(seen.values.min()) - REACH_SDS * sd for seen, sd in found)
        high = max(float(seen.values.max()) + REACH_SDS * sd for seen, sd in found)
        self._low, self._step = low, max(high - low, 1e-9) / BINS
        self._fit, self._unfit = np.zeros(BINS), np.zeros(BINS)

    def add(self, found: Iterable[_Seen], sd: float) -> None:
        """Add predicted values and the spread about them."""
        fit, unfit = np.zeros(BINS), np.zeros(BINS)
        for seen in found:
            place = np.minimum((seen.values - self._low) / self._step, BINS - 1).astype(int)
            fit += np.bincount(place, seen.fit, BINS)
            unfit += np.bincount(place, seen.unfit, BINS)
        spread = self._spread(sd)
        self._fit += fit @ spread
        self._unfit += unfit @ spread

    def _spread(self, sd: float) -> FloatArray:
        """Probability of each bin where the value is the middle of another, ``(b, b)``."""
        edges = (np.arange(-BINS, BINS + 1) + 0.5) * self._step / max(sd, 1e-9)
        below = ndtr(edges)[np.arange(BINS)[None, :] - np.arange(BINS)[:, None] + BINS]
        below[:, -1] = 1.0
        spread = below.copy()
        spread[:, 1:] -= below[:, :-1]
        return spread

    def left(self, misleading: float = 0.0) -> float:
        """Expected chance of a wrong decision once the bin is known [0..1]."""
        even = misleading / BINS
        fit = (1.0 - misleading) * self._fit + even * self._fit.sum()
        unfit = (1.0 - misleading) * self._unfit + even * self._unfit.sum()
        return float(np.minimum(fit, unfit).sum())
