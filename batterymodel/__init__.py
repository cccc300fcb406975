"""Battery-service decision tool: is ground power only topping off the ship's battery?

>>> import batterymodel
>>> callable(batterymodel.assess)
True
"""

from batterymodel.assessment import assess
from batterymodel.capacity import CapacityResult, TimedDischarge, capacity_check
from batterymodel.checkrecord import CheckRecord, read_checks
from batterymodel.dischargelog import DischargeLog, read_discharge_log
from batterymodel.errors import BatteryModelError, FitError, InputError, StoreError
from batterymodel.fade import FadeForecast, fade_forecast
from batterymodel.inservice import InServiceCapacity, in_service_capacity
from batterymodel.readings import read_readings
from batterymodel.records import (
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
from batterymodel.results import Assessment, Finding, Interval, Outcome, Severity

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
