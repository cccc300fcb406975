"""One place that answers "what is the limit, and who says so": the card, else the generic value."""

from __future__ import annotations

from dataclasses import dataclass

from batterymodel.inputs.records import Battery
from batterymodel.reference.chemistry import Sourced, data_for


@dataclass(frozen=True)
class Limit:
    """A limit in force for one battery: value, unit, where it comes from, whether generic."""

    value: float
    unit: str
    source: str
    generic: bool


@dataclass(frozen=True)
class _Entry:
    generic_field: str
    unit: str
    scale: str = "one"


_ENTRIES = {
    "max_charge_current_a": _Entry("max_charge_current_per_ah", "A", "rated_ah"),
    "charge_voltage_min_v": _Entry("charge_voltage_min_v_per_cell", "V", "cells"),
    "charge_voltage_max_v": _Entry("charge_voltage_max_v_per_cell", "V", "cells"),
    "charge_temp_min_c": _Entry("charge_temp_min_c", "°C"),
    "charge_temp_max_c": _Entry("charge_temp_max_c", "°C"),
    "min_top_off_soc": _Entry("min_top_off_soc", "fraction"),
    "min_capacity_fraction": _Entry("min_capacity_fraction", "fraction"),
    "end_voltage_v": _Entry("end_voltage_v_per_cell", "V", "cells"),
    "capacity_check_interval_days": _Entry("capacity_check_interval_days", "days"),
    "min_rest_voltage_v": _Entry("min_rest_voltage_v_per_cell", "V", "cells"),
    "max_float_current_a": _Entry("max_float_current_per_ah", "A", "rated_ah"),
    "max_temp_rise_c_per_min": _Entry("max_temp_rise_c_per_min", "°C/min"),
}

LIMIT_NAMES = tuple(_ENTRIES)
"""Names of the limits, as on the limits card."""


def limit_for(battery: Battery, name: str) -> Limit:
    """The limit in force under a name: the card's entry, else the generic value by chemistry.

    Parameters
    ----------
    battery : Battery
    name : str
        One of `LIMIT_NAMES`; the unit stands in the result.

    Returns
    -------
    Limit

    Raises
    ------
    KeyError
        Any other name.

    References
    ----------
    The result's ``source``: the card's document, else the source in `CHEMISTRIES`.

    Examples
    --------
    >>> from batterymodel.inputs.records import Battery
    >>> b = Battery(tail="DEMO-1", chemistry="vrla", cells=12, rated_capacity_ah=40)
    >>> limit_for(b, "charge_voltage_max_v").value, limit_for(b, "charge_voltage_max_v").generic
    (28.8, True)
    """
    entry = _ENTRIES[name]
    given = getattr(battery.limits, name, None)
    if given is not None:
        document = battery.limits.document or "limits card (document not named)"
        return Limit(float(given), entry.unit, document, generic=False)
    return _generic_limit(battery, entry)


def _generic_limit(battery: Battery, entry: _Entry) -> Limit:
    data = data_for(battery.chemistry)
    sourced: Sourced = getattr(data.limits, entry.generic_field)
    scale = {"one": 1.0, "cells": battery.cells, "rated_ah": battery.rated_capacity_ah}[entry.scale]
    source = f"value for {data.label}: {sourced.source}"
    return Limit(round(sourced.value * scale, 6), entry.unit, source, generic=True)
