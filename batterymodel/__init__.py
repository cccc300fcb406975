"""Battery-service decision tool: is ground power only topping off the ship's battery?

>>> import batterymodel
>>> callable(batterymodel.assess)
True
"""

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError, FitError, InputError, StoreError
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
    "Chemistry",
    "Event",
    "Finding",
    "FitError",
    "History",
    "InputError",
    "Interval",
    "LastKnown",
    "Limits",
    "Outcome",
    "Readings",
    "Severity",
    "StoreError",
    "Supply",
    "assess",
    "read_battery",
    "read_readings",
    "read_supply",
]
