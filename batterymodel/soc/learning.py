"""What a completed taper teaches about this battery: its history, by a Bayesian update.

A battery has its own slow time constant and fast share; each connection shows them moved a little
(`chemistry.TaperPrior.time_transfer_log_sd`, `share_transfer_sd`) and measured with an error. Known
and measured values are weighed by their variances; between tapers the known ones drift. The belief
in the chemistry counts once: it is taken out of each measured taper, and the first history starts
from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np
from pydantic import ValidationError

from batterymodel.basis.arrays import FloatArray
from batterymodel.inputs.kinds import TaperLesson
from batterymodel.inputs.records import Battery, History
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import TaperPrior, data_for
from batterymodel.taper.charge_bounds import ChargeBounds
from batterymodel.taper.fit import MOST_CONFLICT, TaperFit, fit_taper
from batterymodel.taper.posterior import ChargePosterior, charge_posterior
from batterymodel.taper.prior import (
    MOST_C_RATE_PER_H,
    heat_log_sd,
    history_log_sd,
    prior_for,
)
from batterymodel.taper.shape import charge_time_share
from batterymodel.taper.signals import Signal

COMPLETE_FRACTION = 0.10
"""A taper counts as completed when less than this share of its charge is left to return
[-] (own choice)."""

LEAST_LEARNING_DEPTH = 0.03
"""Least charge to return over capacity from which a history is learned [-] (own choice)."""

MOST_LEARNED_SD = 0.3
"""Relative error of a time constant above which it teaches nothing [-] (own choice)."""

LEAST_KNOWN_SD = 0.02
"""Least relative error a learned charge time is given [-] (own choice)."""

LEAST_KNOWN_SHARE_SD = 0.005
"""Least error a learned fast share is given [-] (own choice)."""

LEARNED_SHARES = (0.01, 0.8)
"""Fast shares a taper can teach; beyond, the nearest is taken [0..1] (own choice)."""


@dataclass(frozen=True)
class MeasuredTaper:
    """Slow time constant [ln s] and fast share [0..1] of one completed taper, at a small current.

    Each with its standard deviation, by the readings alone; infinite where they say nothing. So
    with the float current [A]. ``charge_ah`` is the charge to return at connection and ``left_ah``
    that at the last reading, means [Ah], with the error of the first.
    """

    log_time_s: float
    log_time_sd: float
    fast_share: float
    fast_share_sd: float
    float_current_a: float = 0.0
    float_current_sd_a: float = np.inf
    charge_ah: float = 0.0
    charge_sd_ah: float = np.inf
    left_ah: float = 0.0


def learned_history(
    fit: TaperFit,
    posterior: ChargePosterior | ChargeBounds,
    battery: Battery,
    temp_c: float | None,
    on: date,
) -> History | None:
    """History of the battery after this connection, None where it teaches nothing.

    That is so while the taper is not completed, where its shape is in conflict with belief by more
    than `taper.fit.MOST_CONFLICT`, where the time constant stays unsure or no battery could have
    it, and for a chemistry whose current is no exponential taper. The taper is read anew without
    the battery's history, so that it is not counted twice.

    Parameters
    ----------
    fit : TaperFit
    posterior : ChargePosterior or ChargeBounds
        What the current said of the charge to return.
    battery : Battery
        With the history known so far.
    temp_c : float or None
        Battery temperature [degC].
    on : date
        Day of the connection.

    Returns
    -------
    History or None
    """
    measured = completed_taper(fit, posterior, battery, temp_c)
    return None if measured is None else updated_history(battery, measured, on)


def completed_taper(
    fit: TaperFit,
    posterior: ChargePosterior | ChargeBounds,
    battery: Battery,
    temp_c: float | None,
) -> MeasuredTaper | None:
    """The taper of this connection where it teaches something (`learned_history`), else None.

    Parameters
    ----------
    fit : TaperFit
    posterior : ChargePosterior or ChargeBounds
        What the current said of the charge to return.
    battery : Battery
        Its history and its kind are not looked at.
    temp_c : float or None
        Battery temperature [degC].

    Returns
    -------
    MeasuredTaper or None
    """
    if isinstance(posterior, ChargeBounds) or fit.conflict > MOST_CONFLICT:
        return None
    if not is_complete(fit, posterior):
        return None
    return measured_taper(fit.signal, battery, temp_c)


def taper_lesson(
    measured: MeasuredTaper,
    battery: Battery,
    temp_c: float | None,
    on: date,
    *,
    voltage_read: bool = False,
) -> TaperLesson | None:
    """What a completed taper teaches of other batteries of its kind.

    The error of its time constant also holds what temperature may move it by
    (`taper.prior.heat_log_sd`), that of the charge missing what the capacity may be.

    Parameters
    ----------
    measured : MeasuredTaper
    battery : Battery
    temp_c : float or None
        Battery temperature [degC].
    on : date
        Day of the connection.
    voltage_read : bool
        The supply's voltage was read meanwhile. A set voltage that was told is none: it may be the
        usual one of `Supply` that nobody looked at.

    Returns
    -------
    TaperLesson or None
        None where no battery could have such a taper (`updated_history`).
    """
    taper, plate = data_for(battery.chemistry).taper, battery.rated_capacity_ah
    alone_h = _charge_time_h(measured.log_time_s, measured.fast_share, taper.fast_ratio)
    held = capacity_belief(battery.model_copy(update={"kind": None}), on)
    if not (_is_plausible(alone_h) and np.isfinite(measured.charge_sd_ah)):
        return None
    of_capacity = taper.efficiency / held.median_ah
    error = float(np.hypot(measured.charge_sd_ah, measured.charge_ah * held.rel_sd))
    has_share, has_float = np.isfinite([measured.fast_share_sd, measured.float_current_sd_a])
    return TaperLesson(
        log_time_s=measured.log_time_s,
        log_time_sd=float(np.hypot(measured.log_time_sd, heat_log_sd(battery, temp_c))),
        fast_share=measured.fast_share,
        fast_share_sd=max(measured.fast_share_sd, LEAST_KNOWN_SHARE_SD) if has_share else None,
        float_current_per_ah=measured.float_current_a / plate if has_float else None,
        float_current_per_ah_sd=measured.float_current_sd_a / plate if has_float else None,
        missing=min(measured.charge_ah * of_capacity, 1.5),
        missing_sd=error * of_capacity,
        left=min(measured.left_ah * of_capacity, 1.5),
        temp_c=temp_c,
        voltage_read=voltage_read,
    )


def is_complete(fit: TaperFit, posterior: ChargePosterior) -> bool:
    """Whether nearly all of a charge worth learning from has been seen to return.

    At least `LEAST_LEARNING_DEPTH` of capacity to return, and at most `COMPLETE_FRACTION` of it
    left at the last reading, both by their means.

    Parameters
    ----------
    fit : TaperFit
    posterior : ChargePosterior

    Returns
    -------
    bool
        False while the supply is at its limit to the last reading.
    """
    if fit.signal.limited_throughout:
        return False
    node, at, weight = posterior.pairs()
    charge = float(weight @ posterior.charge_ah[at])
    left = float(weight @ posterior.charge_at_ah(posterior.window_end_s, node, at))
    deep_enough = charge >= LEAST_LEARNING_DEPTH * fit.prior.capacity_ah
    return deep_enough and left <= COMPLETE_FRACTION * charge


def measured_taper(signal: Signal, battery: Battery, temp_c: float | None) -> MeasuredTaper | None:
    """What one connection says of the battery's taper by itself, without belief in the chemistry.

    The slow time constant's log is brought to a small current by ``log_time_per_c_rate`` and the
    fast share by ``share_per_c_rate`` (`chemistry.TaperPrior`). The fit's posterior, mean ``m`` and
    variance ``v``, holds the belief ``m0``, ``v0``; the readings alone say ``1 / vr = 1 / v -
    1 / v0`` and ``mr = vr (m / v - m0 / v0)``, both taken as normal (derived).

    Parameters
    ----------
    signal : Signal
    battery : Battery
        Its history and its kind are not looked at.
    temp_c : float or None
        Battery temperature [degC].

    Returns
    -------
    MeasuredTaper or None
        None where its time constant is less sure than `MOST_LEARNED_SD` by the readings alone.
    """
    bare = battery.model_copy(update={"history": None, "kind": None})
    fit = fit_taper(signal, prior_for(bare, temp_c))
    posterior = charge_posterior(fit)
    node, at, weight = posterior.pairs()
    c_rate = min(float(fit.prior.c_rate_per_h(fit["hold_amplitude_a"])), MOST_C_RATE_PER_H)
    shape = posterior.shape.of_nodes(node)
    log_time = np.log(shape.time_constant_s) + fit.prior.log_time_per_c_rate * c_rate
    share = np.asarray(shape.fast_share) - fit.prior.share_per_c_rate * c_rate
    time_belief, share_belief = _beliefs(fit)
    log_time_s, log_time_sd = without_belief(*_moments(log_time, weight), *time_belief)
    fast_share, fast_share_sd = without_belief(*_moments(share, weight), *share_belief)
    if log_time_sd > MOST_LEARNED_SD:
        return None
    float_a, float_sd_a = _float_current(fit)
    charge_ah, charge_sd_ah = _moments(posterior.charge_ah[at], weight)
    left_ah, _ = _moments(posterior.charge_at_ah(posterior.window_end_s, node, at), weight)
    return MeasuredTaper(
        log_time_s=log_time_s,
        log_time_sd=log_time_sd,
        fast_share=float(np.clip(fast_share, *LEARNED_SHARES)),
        fast_share_sd=fast_share_sd,
        float_current_a=float_a,
        float_current_sd_a=float_sd_a,
        charge_ah=charge_ah,
        charge_sd_ah=charge_sd_ah,
        left_ah=left_ah,
    )


def _float_current(fit: TaperFit) -> tuple[float, float]:
    """Current left after the taper by the readings alone, with its error [A]."""
    found, error = fit["float_current_a"], fit.standard_errors["float_current_a"]
    prior = fit.prior
    return without_belief(found, error, prior.float_current_a, prior.float_current_sd_a)


def _beliefs(fit: TaperFit) -> tuple[tuple[float, float], tuple[float, float]]:
    """Belief in log time constant and fast share that a fit's posterior holds, mean and sd each."""
    prior, c_rate = fit.prior, fit.data.c_rate_guess_per_h
    share = float(prior.share_at(c_rate))
    share_sd = prior.logit_share_sd(c_rate) * share * (1.0 - share)
    time_belief = prior.log_time_s, prior.log_time_sd_at(c_rate)
    return time_belief, (prior.fast_share, share_sd)


def without_belief(
    mean: float, sd: float, believed: float, believed_sd: float
) -> tuple[float, float]:
    """Mean and standard deviation of a measurement, from those after and before it, all normal.

    ``1 / sd**2 - 1 / believed_sd**2`` is its precision; where that is not above zero nothing was
    gained: the mean stands and the standard deviation is infinite.

    Parameters
    ----------
    mean, sd : float
        After the measurement.
    believed, believed_sd : float
        Before it, in the same unit.

    Returns
    -------
    mean, sd : float
    """
    if sd <= 0.0:
        return mean, sd
    gained = sd**-2 - believed_sd**-2
    if gained <= 0.0:
        return mean, float(np.inf)
    return (mean * sd**-2 - believed * believed_sd**-2) / gained, float(gained**-0.5)


def updated_history(battery: Battery, measured: MeasuredTaper, on: date) -> History | None:
    """Known history, or else belief in the chemistry, and one measured taper, by their variances.

    ``mean = (a / va + b / vb) / (1 / va + 1 / vb)`` for the log time constant and for the fast
    share; the variances are those of known and measured value and what moves between connections
    (`chemistry.TaperPrior`) or with age (`taper.prior.history_log_sd`).

    Parameters
    ----------
    battery : Battery
        With the history known so far; what others of its kind teach stays out of it.
    measured : MeasuredTaper
    on : date
        Day of the measured taper.

    Returns
    -------
    History or None
        None where the measured taper, or what it leads to, is no battery's: a charge time outside
        the bounds of `History.charge_time_h`.
    """
    battery = battery.model_copy(update={"kind": None})
    taper = data_for(battery.chemistry).taper
    alone_h = _charge_time_h(measured.log_time_s, measured.fast_share, taper.fast_ratio)
    if not _is_plausible(alone_h):
        return None
    known_time, known_share = _known(battery, taper, on)
    time_var = measured.log_time_sd**2 + taper.time_transfer_log_sd**2
    share_var = measured.fast_share_sd**2 + taper.share_transfer_sd**2
    log_time, time_var = _weighed(measured.log_time_s, time_var, *known_time)
    share, share_var = _weighed(measured.fast_share, share_var, *known_share)
    charge_time_h = _charge_time_h(log_time, share, taper.fast_ratio)
    if not _is_plausible(charge_time_h):
        return None
    return History(
        charge_time_h=charge_time_h,
        charge_time_rel_sd=round(max(float(np.sqrt(time_var)), LEAST_KNOWN_SD), 4),
        fast_share=round(share, 4),
        fast_share_sd=round(max(float(np.sqrt(share_var)), LEAST_KNOWN_SHARE_SD), 4),
        on=on,
    )


def _known(
    battery: Battery, taper: TaperPrior, on: date
) -> tuple[tuple[float, float], tuple[float, float]]:
    """The battery's own log time constant and fast share before this taper, with their variances.

    Those of the history, which drifts with age, or else of batteries of the chemistry.
    """
    known, believed = battery.history, prior_for(battery, None)
    if known is None:
        time_var, share_sd = taper.time_constant_log_sd**2, taper.fast_share_sd
    else:
        time_var = history_log_sd(known, on) ** 2
        share_sd = known.fast_share_sd if known.fast_share else taper.fast_share_sd
    return (believed.log_time_s, time_var), (believed.fast_share, share_sd**2)


def _charge_time_h(log_time_s: float, fast_share: float, fast_ratio: float) -> float:
    """Charge to return over the current at connection, rounded as a history keeps it [h]."""
    of_charge = float(charge_time_share(fast_share, fast_ratio))
    return round(float(np.exp(log_time_s)) * of_charge / 3600.0, 4)


def _is_plausible(charge_time_h: float) -> bool:
    """Whether a history may hold this charge time [h]; its model has the bounds."""
    try:
        History(charge_time_h=charge_time_h)
    except ValidationError:
        return False
    return True


def _weighed(one: float, one_var: float, other: float, other_var: float) -> tuple[float, float]:
    variance = 1.0 / (1.0 / one_var + 1.0 / other_var)
    return variance * (one / one_var + other / other_var), variance


def _moments(values: FloatArray, weight: FloatArray) -> tuple[float, float]:
    mean = float(weight @ values)
    return mean, float(np.sqrt(weight @ (values - mean) ** 2))
