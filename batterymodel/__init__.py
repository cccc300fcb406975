"""Battery-service decision tool: is ground power only topping off the ship's battery?

A name is loaded when it is first used, with what it needs.

>>> import batterymodel
>>> callable(batterymodel.assess)
True
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batterymodel.assessment import assess
    from batterymodel.basis.intervals import Interval
    from batterymodel.capacity.check import CapacityResult, TimedDischarge, capacity_check
    from batterymodel.capacity.in_service import InServiceCapacity, in_service_capacity
    from batterymodel.errors import BatteryModelError, FitError, InputError, StoreError
    from batterymodel.fade.forecast import FadeForecast, fade_forecast
    from batterymodel.inputs.check_record import CheckRecord, read_checks
    from batterymodel.inputs.discharge_log import DischargeLog, read_discharge_log
    from batterymodel.inputs.readings import read_readings
    from batterymodel.inputs.records import (
        Battery,
        CapacityCheck,
        Chemistry,
        Event,
        History,
        LastKnown,
        Limits,
        Readings,
        Supply,
        read_battery,
        read_supply,
    )
    from batterymodel.rules.results import Assessment, Finding, Outcome, Severity

__all__ = [
    "Assessment",
    "Battery",
    "BatteryModelError",
    "CapacityCheck",
    "CapacityResult",
    "CheckRecord",
    "Chemistry",
    "DischargeLog",
    "Event",
    "FadeForecast",
    "Finding",
    "FitError",
    "History",
    "InServiceCapacity",
    "InputError",
    "Interval",
    "LastKnown",
    "Limits",
    "Outcome",
    "Readings",
    "Severity",
    "StoreError",
    "Supply",
    "TimedDischarge",
    "assess",
    "capacity_check",
    "fade_forecast",
    "in_service_capacity",
    "read_battery",
    "read_checks",
    "read_discharge_log",
    "read_readings",
    "read_supply",
]

_HOMES = {
    "assessment": ("assess",),
    "basis.intervals": ("Interval",),
    "capacity.check": ("CapacityResult", "TimedDischarge", "capacity_check"),
    "capacity.in_service": ("InServiceCapacity", "in_service_capacity"),
    "errors": ("BatteryModelError", "FitError", "InputError", "StoreError"),
    "fade.forecast": ("FadeForecast", "fade_forecast"),
    "inputs.check_record": ("CheckRecord", "read_checks"),
    "inputs.discharge_log": ("DischargeLog", "read_discharge_log"),
    "inputs.readings": ("read_readings",),
    "inputs.records": (
        "Battery",
        "CapacityCheck",
        "Chemistry",
        "Event",
        "History",
        "LastKnown",
        "Limits",
        "Readings",
        "Supply",
        "read_battery",
        "read_supply",
    ),
    "rules.results": ("Assessment", "Finding", "Outcome", "Severity"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    """The public name, loaded from its module."""
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
