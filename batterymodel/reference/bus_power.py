"""The voltage window of a 28 V aircraft bus: the aircraft's document, else the power standard.

Nothing here was seen in a copy of the standard, so that no value of it decides alone: a limit of
it is marked generic, and a finding asks to confirm it.
"""

from __future__ import annotations

from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.reference.limits import Limit

STEADY_MIN_V, STEADY_MAX_V = 22.0, 29.0
"""Steady voltage of a 28 V bus in normal operation [V] (MIL-STD-704F, Table IV, from memory
(high))."""

ABNORMAL_MIN_V, ABNORMAL_MAX_V = 20.0, 31.5
"""Steady voltage of a 28 V bus in abnormal operation [V] (MIL-STD-704F, Table IV, from memory
(medium))."""

STANDARD = "MIL-STD-704F, Table IV, 28 V bus, steady, normal operation (from memory, not seen)"


def bus_min(loads: AircraftLoads) -> Limit:
    """Lowest steady voltage of the aircraft's bus, and who says so.

    Parameters
    ----------
    loads : AircraftLoads

    Returns
    -------
    Limit
        In V; generic where the aircraft's document gives none.
    """
    return _bus_limit(loads, loads.bus_min_v, STEADY_MIN_V)


def bus_max(loads: AircraftLoads) -> Limit:
    """Highest steady voltage of the aircraft's bus, and who says so.

    Parameters
    ----------
    loads : AircraftLoads

    Returns
    -------
    Limit
        In V; generic where the aircraft's document gives none.
    """
    return _bus_limit(loads, loads.bus_max_v, STEADY_MAX_V)


def _bus_limit(loads: AircraftLoads, told_v: float | None, standard_v: float) -> Limit:
    if told_v is None:
        return Limit(standard_v, "V", STANDARD, generic=True)
    document = loads.document or "aircraft's load plan (document not named)"
    return Limit(told_v, "V", document, generic=False)
