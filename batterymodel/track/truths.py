"""Truths that come after an answer: charge that a completed taper returned, charge at rest later.

Each with its own error, because nothing that a technician reads is without one.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from batterymodel.basis.arrays import FloatArray
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.inputs.second_starts import starts_anew
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.temperature import rest_voltage_v, within_data_c
from batterymodel.soc.account import OTHER_LAW_LOG_SD
from batterymodel.soc.evidence import SOC_GRID, rest_voltage_sd_v
from batterymodel.soc.learning import is_complete
from batterymodel.taper.fit import fit_taper
from batterymodel.taper.posterior import ChargePosterior, charge_posterior
from batterymodel.taper.prior import Prior, prior_for
from batterymodel.taper.signals import signal_from
from batterymodel.track.kept import RestedCharge, ReturnedCharge

LOOSENED, LOOSE_LOG_SD = 3.0, 1.0
"""How many times as wide the belief in tapers is made before a completed one is read as a truth,
and the least spread of its log time constant then [-] (own choice: a firm belief must not judge
itself. With the chemistry's charge time twice what it is, and believed ten times as firmly, the
charge read off so lies 2 % low to 5 % high in nine of ten tapers, and 111 of 112 count as
completed; widened three times alone, 2 % low to 16 % high, and 74: `tests.benchmarks.track`)."""

METER_REL_SD = 0.03
"""Error of a returned charge that no fit tells, over the charge [-] (own choice after a look at the
same tapers)."""


def returned_charge(
    readings: Readings,
    battery: Battery,
    supply: Supply | None,
    load_a: float | None,
    load_sd_a: float,
    temp_c: float | None,
    after_s: float,
) -> ReturnedCharge | None:
    """Charge that a completed taper returned after a time, by the readings of all of it.

    The mean over the taper's posterior under a belief `LOOSENED`, without history and kind.
    Its variance is that of the posterior, of the charge not seen by other laws
    (`soc.account.OTHER_LAW_LOG_SD`), and of `METER_REL_SD`.

    Parameters
    ----------
    readings : Readings
        Of the whole connection.
    battery : Battery
    supply : Supply or None
    load_a : float or None
        Bus load without the battery [A].
    load_sd_a : float
        Its standard error [A].
    temp_c : float or None
        Taken where the readings give no battery temperature [degC].
    after_s : float
        Since connection [s].

    Returns
    -------
    ReturnedCharge or None
        None for a taper that was not seen to its end, readings that may be of two connections, or
        a chemistry whose current is none.
    """
    if starts_anew(readings):
        return None
    if not data_for(battery.chemistry).taper.exponential or readings.elapsed_s[-1] <= after_s:
        return None
    _, read_c = readings.battery_temps()
    temp_c = float(np.median(read_c)) if read_c.size else temp_c
    bare = battery.model_copy(update={"history": None, "kind": None})
    try:
        prior = prior_for(bare, None if temp_c is None else within_data_c(temp_c))
        fit = fit_taper(signal_from(readings, supply, load_a, load_sd_a), _loosened(prior))
        posterior = charge_posterior(fit)
    except BatteryModelError:
        return None
    return _returned(posterior, after_s) if is_complete(fit, posterior) else None


def _loosened(prior: Prior) -> Prior:
    wide = prior.widened(LOOSENED)
    return replace(wide, log_time_sd=max(wide.log_time_sd, LOOSE_LOG_SD))


def _returned(posterior: ChargePosterior, after_s: float) -> ReturnedCharge:
    node, at, weight = posterior.pairs()
    mean, sd = _moments(posterior.charge_at_ah(after_s, node, at), weight)
    unseen, _ = _moments(posterior.charge_at_ah(posterior.window_end_s, node, at), weight)
    errors = (sd, OTHER_LAW_LOG_SD * unseen, METER_REL_SD * mean)
    return ReturnedCharge(after_s=after_s, charge_ah=mean, sd_ah=float(np.linalg.norm(errors)))


def charge_at_rest(battery: Battery, rest_after_v: float, temp_c: float | None) -> RestedCharge:
    """State of charge that a rest voltage shows after a connection, with its error.

    Without what the battery's kind teaches: the answer was made from that. Normal around the curve
    of chemistry or card with the spread between batteries and the meter's error, all
    states equally likely before it. A voltage above that of a full battery counts as full.

    Parameters
    ----------
    battery : Battery
    rest_after_v : float
        Of the whole battery [V].
    temp_c : float or None
        Battery temperature then [degC]; 25 degC if unknown.

    Returns
    -------
    RestedCharge
    """
    temp = REFERENCE_TEMP_C if temp_c is None else within_data_c(temp_c)
    bare = battery.model_copy(update={"kind": None})
    expected = np.asarray(rest_voltage_v(bare, SOC_GRID, temp))
    sd_v = np.asarray(rest_voltage_sd_v(bare, SOC_GRID))
    read_v = min(rest_after_v, float(expected[-1]))
    density = np.exp(-0.5 * ((expected - read_v) / sd_v) ** 2) / sd_v
    if density.sum() <= 0.0:
        return RestedCharge(soc=0.0, sd=1.0)
    soc, sd = _moments(SOC_GRID, density / density.sum())
    return RestedCharge(soc=soc, sd=sd)


def _moments(values: FloatArray, weight: FloatArray) -> tuple[float, float]:
    mean = float(weight @ values)
    return mean, float(np.sqrt(weight @ (values - mean) ** 2))
