"""Battery-service decision tool: is ground power only topping off the ship's battery?

>>> import batterymodel
>>> callable(batterymodel.assess)
True
"""

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
