"""What else would look like this: how likely each condition is, from the same readings.

Every condition has its own belief about taper, float current and capacity
(`reference.conditions`). The likelihood of the readings is taken once over time constant, fast
share and charge to return, under a belief loose enough for all of them; each condition then weighs
it by its own. The integral of that is the condition's marginal likelihood::

    Z(h) = f(h) sum_tau,w sum_q L(tau, w, q) p(tau, w | h) p(q | h) E(1 - q k)

with ``f`` its frequency, ``k`` the state of charge per ampere-hour and ``E`` the other evidence.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from typing import Protocol

import numpy as np
from scipy.special import logsumexp

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.records import Battery, History
from batterymodel.reference.capacity_in_use import CapacityBelief, capacity_belief
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.conditions import (
    CONDITIONS,
    FLAT_CURRENT,
    HISTORY_FADES_YEARS,
    LAW_TIME_LOG_SD,
    LOAD_SETTLES,
    LOAD_SETTLES_SD_A,
    LOAD_TIME_LOG,
    LOAD_TIME_LOG_SD,
    LOOSE_TIME_LOG,
    LOOSE_TIME_LOG_SD,
    UNSAFE,
    CapacityPart,
    Condition,
    ConditionPrior,
)
from batterymodel.soc.account import LEAST_WEIGHT, Account
from batterymodel.soc.evidence import (
    REST_VOLTAGE,
    SOC_GRID,
    Evidence,
    rest_voltage_evidence,
    surface_plausibility,
)
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.flat_current import FlatCurrent
from batterymodel.taper.posterior import (
    ChargePosterior,
    NodeLikelihood,
    charge_grid_ah,
    node_likelihood,
)
from batterymodel.taper.prior import Prior
from batterymodel.taper.signals import Signal

CHARGE_POINTS = 150
"""Charges to return that are looked at, 6 % from one to the next (own choice, numerical)."""

CAPACITY_NODES = 11
"""Equally likely capacities of a condition (own choice, numerical)."""


@dataclass(frozen=True)
class ConditionState:
    """How likely each condition is, and how likely a low charge is in it.

    ``probability`` sums to 1. ``low_charge`` is the probability, in each condition, that the state
    of charge at connection lay below the limit for topping off; ``accounts`` says how each splits
    the readings, but for the battery that takes nothing, of which ``untold`` is the evidence other
    than the current, over `SOC_GRID`.
    """

    probability: dict[Condition, float]
    low_charge: dict[Condition, float]
    accounts: dict[Condition, Account] = field(default_factory=dict)
    untold: FloatArray = field(default_factory=lambda: np.ones(SOC_GRID.size))

    @property
    def unfit(self) -> float:
        """Probability that topping off is wrong: too low, or unsafe at any charge [0..1]."""
        return sum(self.unfit_in(c) for c in self.probability)

    @property
    def gravest(self) -> Condition:
        """The condition that adds most to `unfit`."""
        return max(self.probability, key=self.unfit_in)

    def unfit_in(self, condition: Condition) -> float:
        """Probability of this condition with a battery that must not be topped off.

        Parameters
        ----------
        condition : Condition

        Returns
        -------
        float
            [0..1].
        """
        wrong = 1.0 if condition in UNSAFE else self.low_charge[condition]
        return self.probability[condition] * wrong

    @property
    def ranked(self) -> tuple[tuple[Condition, float], ...]:
        """Conditions with their probability, the likeliest first."""
        return tuple(sorted(self.probability.items(), key=lambda item: -item[1]))


def condition_state(
    signal: Signal,
    prior: Prior,
    battery: Battery,
    others: tuple[Evidence, ...],
    rest_voltage_v: float | None,
    temp_c: float | None,
    heat_log_ratio: float,
    least_soc: float,
    on: date | None = None,
) -> ConditionState:
    """Probabilities of the conditions after the readings of one connection.

    Parameters
    ----------
    signal : Signal
    prior : Prior
        Belief about a sound battery's taper (`taper.prior.prior_for`).
    battery : Battery
    others : tuple of Evidence
        Everything but the taper, over the state of charge of a battery with all its cells.
    rest_voltage_v : float or None
        Rest voltage of the whole battery [V], for a cell that is missing in it.
    temp_c : float or None
        Battery temperature [degC].
    heat_log_ratio : float
        What speaks for overheating (`soc.overheating`) [ln].
    least_soc : float
        Least state of charge at connection for topping off [0..1].
    on : date or None
        Day of the connection, for the age of battery and check.

    Returns
    -------
    ConditionState
    """
    weighing = _weighing(signal, prior, battery)
    log_z: dict[Condition, float] = {}
    low: dict[Condition, float] = {}
    accounts: dict[Condition, Account] = {}
    untold = np.ones(SOC_GRID.size)
    held = capacity_belief(battery, on)
    for condition, belief in _possible(signal, battery, held):
        evidence, peak = _evidence(others, battery, belief, rest_voltage_v, temp_c)
        log_z[condition] = _log_frequency(belief, battery, held, on) + float(np.log(peak))
        if condition is Condition.OVERHEATING:
            log_z[condition] += heat_log_ratio
        if condition is Condition.NOTHING_CHARGING:
            log_z[condition] += float(np.log(np.trapezoid(evidence, SOC_GRID) + LEAST_WEIGHT))
            log_z[condition] += weighing.log_of_a_load()
            untold, low[condition] = evidence, 1.0
            continue
        posterior, scale = weighing.under(condition)
        account = Account(posterior, _soc_per_ah(battery, belief, held), evidence)
        log_z[condition] += scale + account.log_total
        low[condition] = account.share_below(least_soc)
        accounts[condition] = account
    together = logsumexp(list(log_z.values()))
    probability = {c: float(np.exp(z - together)) for c, z in log_z.items()}
    return ConditionState(probability, low, accounts, untold)


def _loose(prior: Prior) -> Prior:
    """Belief in shapes under which one fit serves all conditions."""
    return replace(
        prior,
        log_time_s=prior.log_time_s + LOOSE_TIME_LOG,
        log_time_sd=float(np.hypot(prior.log_time_sd, LOOSE_TIME_LOG_SD)),
    )


def _possible(
    signal: Signal, battery: Battery, held: CapacityBelief
) -> list[tuple[Condition, ConditionPrior]]:
    """Conditions left open: a supply at its limit charges something, one cell has none to spare,
    and a condition is out where its part of the capacity is.
    """
    charging = signal.limited_throughout
    return [
        (condition, belief)
        for condition, belief in CONDITIONS.items()
        if not (charging and condition is Condition.NOTHING_CHARGING)
        and not (condition is Condition.WORN and held.worn_part() is None)
        and belief.cells_lost < battery.cells
    ]


def _log_frequency(
    belief: ConditionPrior, battery: Battery, held: CapacityBelief, on: date | None
) -> float:
    """Log of a condition's frequency; that of *worn* follows what the battery may hold.

    ``f worn / worn0`` with ``worn`` the chance of a worn battery by its age and last check, and
    ``worn0`` that of one of which nothing is known.
    """
    known = _known_share(battery.history, on)
    frequency = known * belief.frequency_known + (1.0 - known) * belief.frequency
    if belief.capacity is CapacityPart.WORN:
        unknown = {"capacity_check": None, "installed_on": None}
        frequency *= held.worn / capacity_belief(battery.model_copy(update=unknown)).worn
    return float(np.log(frequency))


def _known_share(history: History | None, on: date | None) -> float:
    """How far own tapers still speak for the battery: ``exp(-years / HISTORY_FADES_YEARS)``."""
    if history is None:
        return 0.0
    return float(np.exp(-history.years_before(on) / HISTORY_FADES_YEARS))


def _with_float_current(prior: Prior, per_ah: float | None, battery: Battery) -> Prior:
    if per_ah is None:
        return prior
    level = per_ah * battery.rated_capacity_ah
    return replace(prior, float_current_a=level, float_current_sd_a=level)


def _evidence(
    others: tuple[Evidence, ...],
    battery: Battery,
    belief: ConditionPrior,
    rest_voltage_v: float | None,
    temp_c: float | None,
) -> tuple[np.ndarray, float]:
    """All evidence but the taper over `SOC_GRID`, and its highest likelihood on the common scale.

    The rest voltage counts with the cells it lacks.
    """
    found = list(others)
    if belief.cells_lost and rest_voltage_v is not None:
        whole = rest_voltage_v * battery.cells / (battery.cells - belief.cells_lost)
        lacking = rest_voltage_evidence(battery, whole, temp_c)
        plausible = surface_plausibility(battery, whole, temp_c)
        kept = [e for e in others if e.name != REST_VOLTAGE]
        found = [*kept, replace(lacking, peak=lacking.peak * plausible)]
    likelihood = np.prod([e.likelihood for e in found], axis=0) if found else np.ones(SOC_GRID.size)
    return likelihood, float(np.prod([e.peak for e in found]))


class _Weighing(Protocol):
    """What the current says of the charge to return in each condition."""

    def under(self, condition: Condition) -> tuple[ChargePosterior | ChargeBounds, float]: ...

    def log_of_a_load(self) -> float: ...


def _weighing(signal: Signal, prior: Prior, battery: Battery) -> _Weighing:
    if data_for(battery.chemistry).taper.exponential:
        return _ByTaper(signal, prior, battery)
    return _ByFlatCurrent(signal, prior, battery)


class _ByFlatCurrent:
    """A current that is flat until the battery is nearly full, weighed by its level and fall."""

    def __init__(self, signal: Signal, prior: Prior, battery: Battery) -> None:
        self._flat = FlatCurrent(fit_taper(signal, prior), battery.rated_capacity_ah)

    def under(self, condition: Condition) -> tuple[ChargeBounds, float]:
        """Likelihood of the charge in one condition, and the log of its scale."""
        steady = CONDITIONS[condition].float_current_per_ah or 0.0
        return self._flat.under(FLAT_CURRENT[condition], steady)

    def log_of_a_load(self) -> float:
        """Log likelihood of the readings without a battery."""
        return self._flat.log_of_a_load()


class _ByTaper:
    """An exponential taper, weighed by its shape; conditions of one float current share nodes."""

    def __init__(self, signal: Signal, prior: Prior, battery: Battery) -> None:
        fit = fit_taper(signal, _loose(prior))
        times = {"log_time_s": prior.log_time_s, "log_time_sd": prior.log_time_sd}
        self._fit, self._prior, self._battery = fit, replace(fit.prior, **times), battery
        self._weights: dict[float | None, _ShapeWeights] = {}

    def under(self, condition: Condition) -> tuple[ChargePosterior, float]:
        """Posterior of the charge in one condition, and the log of its likelihood's scale."""
        return self._of(condition).under(CONDITIONS[condition])

    def log_of_a_load(self) -> float:
        """Log likelihood of the readings without a battery."""
        weights = self._of(Condition.NOTHING_CHARGING)
        return weights.log_of_a_load(self._prior.capacity_ah, self._fit.signal.from_clamp)

    def _of(self, condition: Condition) -> _ShapeWeights:
        current = CONDITIONS[condition].float_current_per_ah
        if current not in self._weights:
            own = _with_float_current(self._prior, current, self._battery)
            charge = charge_grid_ah(self._prior.capacity_ah, CHARGE_POINTS)
            nodes = node_likelihood(self._fit, own, charge)
            self._weights[current] = _ShapeWeights(nodes, self._prior)
        return self._weights[current]


class _ShapeWeights:
    """Posteriors of the charge under conditions' beliefs in the time constant; equal beliefs are
    weighed once.
    """

    def __init__(self, nodes: NodeLikelihood, prior: Prior) -> None:
        c_rate = nodes.c_rate_guess_per_h
        share_sd = prior.logit_share_sd(c_rate)
        away = (nodes.share_logit[:, None] - prior.logit_share_at(nodes.c_rate_per_h)) / share_sd
        self._nodes = nodes
        self._log = nodes.log_likelihood - 0.5 * away**2 + nodes.log_cell
        self._log -= np.log(2.0 * np.pi * share_sd)
        self._log += np.log(np.log(nodes.charge_ah[1] / nodes.charge_ah[0]))
        self._time_away = nodes.log_time[:, None] - prior.log_time_at(nodes.c_rate_per_h)
        self._time_sd = prior.log_time_sd_at(c_rate)
        self._known: dict[tuple[float, float], tuple[ChargePosterior, float]] = {}

    def under(self, belief: ConditionPrior) -> tuple[ChargePosterior, float]:
        """Posterior of the charge under one condition, and the log of its likelihood's scale."""
        key = (belief.time_log, belief.time_log_sd)
        if key not in self._known:
            self._known[key] = self._weighed(*key)
        return self._known[key]

    def log_of_a_load(self, capacity_ah: float, clamped: bool) -> float:
        """Log likelihood of the readings without a battery: a steady load, or one that settles.

        ``1 - s + s integral of L`` over the amplitude, half-normal, and the time constant of a
        load that settles (`LOAD_SETTLES`, `LOAD_SETTLES_SD_A`, `LOAD_TIME_LOG`); relative to no
        current of a battery. A clamp on the battery's lead reads no load.
        """
        if clamped:
            return 0.0
        hold_a = self._nodes.c_rate_per_h * capacity_ah
        away = (self._nodes.log_time[:, None] - LOAD_TIME_LOG) / LOAD_TIME_LOG_SD
        log = self._log - 0.5 * away**2 - np.log(LOAD_TIME_LOG_SD)
        log += np.log(hold_a) - 0.5 * (hold_a / LOAD_SETTLES_SD_A) ** 2
        log += 0.5 * np.log(2.0 / np.pi) - np.log(LOAD_SETTLES_SD_A)
        settles = float(np.log(LOAD_SETTLES) + logsumexp(log))
        return float(np.logaddexp(np.log1p(-LOAD_SETTLES), settles))

    def _weighed(self, time_log: float, more_sd: float) -> tuple[ChargePosterior, float]:
        time_sd = float(np.linalg.norm((self._time_sd, more_sd, LAW_TIME_LOG_SD)))
        log = self._log - 0.5 * ((self._time_away - time_log) / time_sd) ** 2
        return self._nodes.posterior(log), float(log.max()) - float(np.log(time_sd))


def _soc_per_ah(battery: Battery, belief: ConditionPrior, held: CapacityBelief) -> np.ndarray:
    """State of charge per ampere-hour returned [1/Ah]: equally likely values, shape ``(f,)``."""
    capacity = _part_of(held, belief.capacity).nodes_ah(CAPACITY_NODES)
    return data_for(battery.chemistry).taper.efficiency / capacity


def _part_of(held: CapacityBelief, kept: CapacityPart) -> CapacityBelief:
    """What a battery in one condition may hold; where its part is empty, the whole belief."""
    if kept is CapacityPart.ANY:
        return held
    part = held.sound_part() if kept is CapacityPart.SOUND else held.worn_part()
    return part or held
