"""Which rest voltage is asked about before it is taken: one too low to charge, or a surprise."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from batterymodel.basis.intervals import Interval
from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import limit_for
from batterymodel.soc.evidence import rest_voltage_sd_v
from batterymodel.taper.slips import Expected

SURPRISE_SDS = 2.0
"""Standard deviations of a rest voltage beyond what the readings suggest at which it is asked about
[-] (own choice)."""

SERVICED = "Under {limit:.1f} V it is sent for servicing."
SUGGESTED = "The readings so far suggest {least:.1f} to {most:.1f} V."


@dataclass(frozen=True)
class RestDoubt:
    """Bounds of a rest voltage taken without a question [V], and what is said below and above."""

    least: float
    most: float
    below: tuple[str, ...]
    above: tuple[str, ...]


def rest_doubt(battery: Battery, usual: Expected, at_connection: Interval | None) -> RestDoubt:
    """What a rest voltage may be without a question.

    Parameters
    ----------
    battery : Battery
    usual : Expected
        Voltages at which such a battery can rest.
    at_connection : Interval or None
        State of charge at connection as the readings, and what the record knows, suggest [0..1].

    Returns
    -------
    RestDoubt
        A voltage outside is asked about, not refused.
    """
    limit_v = limit_for(battery, "min_rest_voltage_v").value
    least, most = max(usual.least, limit_v), usual.most
    below, above = [SERVICED.format(limit=limit_v)], []
    if at_connection is not None:
        low_v, high_v = suggested_v(battery, at_connection)
        suggested = SUGGESTED.format(least=low_v, most=high_v)
        least, most = max(least, low_v), min(most, high_v)
        below, above = [suggested, *below], [suggested]
    return RestDoubt(least, most, tuple(below), tuple(above))


def suggested_v(battery: Battery, soc: Interval) -> tuple[float, float]:
    """Rest voltages that agree with a state of charge, with their spread on both sides.

    Parameters
    ----------
    battery : Battery
    soc : Interval
        [0..1].

    Returns
    -------
    (float, float)
        Least and most [V].
    """
    rest = data_for(battery.chemistry).rest
    ends = np.array([soc.low, soc.high])
    volts = battery.cells * np.interp(ends, rest.soc, rest.volts)
    spread = SURPRISE_SDS * np.asarray(rest_voltage_sd_v(battery, ends))
    return float(volts[0] - spread[0]), float(volts[1] + spread[1])
