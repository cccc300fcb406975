"""What is believed of a connection's taper before its readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logit

from batterymodel.chemistry import data_for
from batterymodel.records import Battery
from batterymodel.temperature import resistance_factor

MOST_FAST_SHARE = 0.7

UNKNOWN_TEMP_C = 10.0
"""Temperature that stands in where none is known, to widen the prior (own choice)."""


@dataclass(frozen=True)
class Prior:
    """What is believed of one connection before its readings; see `chemistry.TaperPrior`."""

    log_charge_time_s: float
    log_charge_time_sd: float
    depth_shift: float
    depth_shift_sd: float
    fast_share: float
    fast_share_shift: float
    fast_share_sd: float
    fast_ratio: float
    floor_a: float
    floor_sd_a: float
    shape_rel_sd: float
    capacity_ah: float
    from_history: bool


def prior_for(battery: Battery, temp_c: float | None) -> Prior:
    """Prior of one connection: the chemistry's, or this battery's history where it has one.

    Temperature away from 25 degC widens the charge time by half the log of the resistance
    factor; an unknown temperature is taken as 15 degC away.
    """
    data = data_for(battery.chemistry)
    taper, history = data.taper, battery.history
    away_c = UNKNOWN_TEMP_C if temp_c is None else temp_c
    heat = 0.5 * abs(float(np.log(resistance_factor(battery.chemistry, away_c))))
    if history is None:
        centre, spread = np.log(3600.0 * taper.charge_time_h), taper.charge_time_log_sd
    else:
        centre = np.log(3600.0 * history.charge_time_h)
        heat = heat if temp_c is not None else 0.0
        spread = np.hypot(history.charge_time_rel_sd, taper.transfer_log_sd)
    capacity = present_capacity_ah(battery)[0]
    return Prior(
        log_charge_time_s=float(centre),
        log_charge_time_sd=float(np.hypot(spread, heat)),
        depth_shift=taper.depth_shift,
        depth_shift_sd=taper.depth_shift_sd,
        fast_share=taper.fast_share,
        fast_share_shift=taper.fast_share_shift,
        fast_share_sd=taper.fast_share_sd,
        fast_ratio=taper.fast_ratio,
        floor_a=taper.floor_per_ah * battery.rated_capacity_ah,
        floor_sd_a=taper.floor_per_ah_sd * battery.rated_capacity_ah,
        shape_rel_sd=taper.shape_rel_sd,
        capacity_ah=capacity,
        from_history=history is not None,
    )


def present_capacity_ah(battery: Battery) -> tuple[float, float]:
    """Capacity to count on and its standard deviation [Ah]: last capacity check, else the plate."""
    check = battery.capacity_check
    if check is not None:
        return check.capacity_ah, check.capacity_sd_ah or 0.03 * check.capacity_ah
    spread = data_for(battery.chemistry).capacity_unchecked_sd
    return battery.rated_capacity_ah, spread * battery.rated_capacity_ah


def depth_of(
    amplitude_a: np.ndarray | float, log_charge_time: np.ndarray | float, prior: Prior
) -> np.ndarray:
    """Charge that the hold phase returns over capacity [-], 0 to 1."""
    depth = amplitude_a * np.exp(np.minimum(log_charge_time, 20.0)) / 3600.0 / prior.capacity_ah
    return np.minimum(np.maximum(depth, 0.0), 1.0)


def likely_depth(amplitude_a: float, prior: Prior) -> float:
    """Depth at which the believed charge time and an amplitude [A] agree [-], 0 to 1."""
    depth = 0.5
    for _ in range(12):
        log_time = prior.log_charge_time_s - prior.depth_shift * depth**2
        depth = 0.5 * (depth + float(depth_of(amplitude_a, log_time, prior)))
    return depth


@dataclass(frozen=True)
class ShapeBelief:
    """Belief about the shape at one depth: log charge time [ln s] and logit of the fast share.

    ``logit_per_share`` is the derivative of the logit's mean by the share's.
    """

    log_time: np.ndarray | float
    log_time_sd: np.ndarray | float
    logit_share: np.ndarray | float
    logit_share_sd: np.ndarray | float
    logit_per_share: np.ndarray | float


def shape_belief(
    amplitude_a: np.ndarray | float,
    log_charge_time: np.ndarray | float,
    guess: float,
    prior: Prior,
) -> ShapeBelief:
    """Belief about the shape at the depth that amplitude and charge time mean.

    Standard deviations use the guessed depth, so that they stay constant while a fit moves.
    Amplitudes and log charge times broadcast.
    """
    depth = depth_of(amplitude_a, log_charge_time, prior)
    share = np.minimum(prior.fast_share + prior.fast_share_shift * depth**2, MOST_FAST_SHARE)
    guess_share = min(prior.fast_share + prior.fast_share_shift * guess**2, MOST_FAST_SHARE)
    return ShapeBelief(
        log_time=prior.log_charge_time_s - prior.depth_shift * depth**2,
        log_time_sd=float(np.hypot(prior.log_charge_time_sd, prior.depth_shift_sd * guess**2)),
        logit_share=logit(share),
        logit_share_sd=prior.fast_share_sd / (guess_share * (1.0 - guess_share)),
        logit_per_share=np.where(share < MOST_FAST_SHARE, 1.0 / (share * (1.0 - share)), 0.0),
    )
