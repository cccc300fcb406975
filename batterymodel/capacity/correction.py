"""Corrections of a capacity check: discharge rate and temperature, each with its uncertainty."""

from __future__ import annotations

import numpy as np

from batterymodel.capacity.peukert import (
    peukert_hours,
    rate_adjusted_percent,
    time_adjusted_percent,
)
from batterymodel.inputs.records import Battery
from batterymodel.reference.capacity import (
    CARD_RATE_OUTSIDE_SD,
    CARD_RATE_REL_SD,
    CARD_TEMP_LOG_SD_PER_C,
    LOG_SLOPE_SPAN_C,
    MEASURED_TEMP_SD_C,
    PEUKERT_DEVIATION_SD,
    RATED_HOURS,
    SHORT_TEST_MINUTES,
    UNKNOWN_TEMP_SD_C,
    capacity_data_for,
)
from batterymodel.reference.chemistry import REFERENCE_TEMP_C
from batterymodel.reference.temperature import DATA_TEMP_C, battery_capacity_factor
from batterymodel.rules.results import Result


class Correction(Result):
    """One factor on the charge delivered, its relative standard deviation and its source."""

    name: str
    factor: float
    rel_sd: float
    source: str


def rate_correction(
    hours: np.ndarray, current_a: np.ndarray, total_h: float, battery: Battery
) -> tuple[Correction, str]:
    """Factor that brings the charge to the rated discharge current, and the method's name.

    ``C sum(h / t(I)) / sum(h I)`` with Peukert's ``t`` of `peukert_hours`, or by the limits card's
    table of discharge currents.

    Parameters
    ----------
    hours, current_a : ndarray, shape (m,)
        Length [h] and current [A] of the steps of the discharge.
    total_h : float
        Length of the discharge without pauses [h].
    battery : Battery

    Returns
    -------
    correction : Correction
        Factor on the delivered charge [-] and its relative error.
    method : str

    References
    ----------
    IEEE 450-2002/2010, 7.3.1 and 7.3.2 (clause names verified, formulas from memory (high)).
    """
    delivered_ah = float(hours @ current_a)
    mean_a = delivered_ah / total_h
    card = battery.limits
    if card.discharge_minutes and card.discharge_current_a:
        return _published_rate(60.0 * total_h, mean_a, battery)
    data = capacity_data_for(battery.chemistry)
    k = data.peukert_exponent.value
    rated = battery.rated_capacity_ah
    used = hours / peukert_hours(current_a, rated, k, RATED_HOURS)
    factor = rated * float(used.sum()) / delivered_ah
    spread = np.hypot(data.peukert_exponent_sd, PEUKERT_DEVIATION_SD)
    correction = Correction(
        name="discharge rate",
        factor=factor,
        rel_sd=float(abs(np.log(mean_a * RATED_HOURS / rated)) * spread),
        source=f"Peukert's exponent {k:g} ({data.peukert_exponent.source})",
    )
    return correction, "time-adjusted"


def _published_rate(minutes: float, current_a: float, battery: Battery) -> tuple[Correction, str]:
    """By the limits card's table: rate-adjusted up to 60 minutes, time-adjusted above."""
    at = np.log(np.array(battery.limits.discharge_minutes))
    rates = np.log(np.array(battery.limits.discharge_current_a))
    short = minutes <= SHORT_TEST_MINUTES
    if short:
        wanted, published = np.log(minutes), np.exp(_straight(np.log(minutes), at, rates))
        percent = rate_adjusted_percent(current_a, published, 1.0)
        outside = max(at[0] - wanted, wanted - at[-1], 0.0)
    else:
        wanted = np.log(current_a)
        rated_minutes = np.exp(_straight(wanted, rates[::-1], at[::-1]))
        percent = time_adjusted_percent(minutes, rated_minutes, 1.0)
        outside = max(rates[-1] - wanted, wanted - rates[0], 0.0)
    delivered = current_a * minutes / 60.0
    correction = Correction(
        name="discharge rate",
        factor=float(percent / 100.0 * battery.rated_capacity_ah / delivered),
        rel_sd=float(CARD_RATE_REL_SD + CARD_RATE_OUTSIDE_SD * outside),
        source=battery.limits.document or "limits card (document not named)",
    )
    return correction, "rate-adjusted" if short else "time-adjusted"


def _straight(x: float, xs: np.ndarray, ys: np.ndarray) -> float:
    """Interpolation, continued on the outer slopes."""
    k = int(np.clip(np.searchsorted(xs, x) - 1, 0, xs.size - 2))
    return float(ys[k] + (x - xs[k]) * (ys[k + 1] - ys[k]) / (xs[k + 1] - xs[k]))


def temperature_correction(temp_c: float | None, battery: Battery) -> Correction:
    """Factor that brings the charge to `REFERENCE_TEMP_C`: one over the capacity factor.

    Parameters
    ----------
    temp_c : float, optional
        Battery temperature at the start [degC]; the reference is assumed where none is given.
    battery : Battery

    Returns
    -------
    Correction
        Factor on the delivered charge [-] and its relative error.

    Raises
    ------
    InputError
        Outside the limits card's table, else outside `DATA_TEMP_C`.

    References
    ----------
    `batterymodel.reference.temperature.battery_capacity_factor`; errors (own choice) in
    `batterymodel.reference.capacity`.
    """
    at = REFERENCE_TEMP_C if temp_c is None else temp_c
    temp_sd = UNKNOWN_TEMP_SD_C if temp_c is None else MEASURED_TEMP_SD_C
    factor, source = battery_capacity_factor(battery, at)
    data = capacity_data_for(battery.chemistry)
    per_c = data.temp_log_sd_per_c.value
    if battery.limits.capacity_temp_factor:
        per_c = CARD_TEMP_LOG_SD_PER_C
    away = per_c * abs(at - REFERENCE_TEMP_C)
    reading = temp_sd * max(_log_slope_per_c(at, battery), per_c)
    unknown = f"; temperature not given, {REFERENCE_TEMP_C:g} °C assumed" if temp_c is None else ""
    return Correction(
        name="temperature",
        factor=1.0 / factor,
        rel_sd=float(np.hypot(away, reading)),
        source=source + unknown,
    )


def _log_slope_per_c(temp_c: float, battery: Battery) -> float:
    """Relative change of capacity per degC around a temperature, over `LOG_SLOPE_SPAN_C`."""
    table = battery.limits.capacity_temp_c or DATA_TEMP_C
    low, high = max(temp_c - LOG_SLOPE_SPAN_C, table[0]), min(temp_c + LOG_SLOPE_SPAN_C, table[-1])
    factors = [battery_capacity_factor(battery, at)[0] for at in (low, high)]
    return abs(float(np.log(factors[1] / factors[0]))) / (high - low)
