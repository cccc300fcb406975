"""An invented aircraft, supplies and a battery that tests of the budget share."""

from __future__ import annotations

from batterymodel.basis.intervals import interval_around
from batterymodel.budget.battery import BatteryNow
from batterymodel.inputs.load_plan import AircraftLoads, Consumer, Task
from batterymodel.inputs.records import Supply

PLAIN = Supply(rated_current_a=60.0, set_voltage_v=28.0, name="Cart 1")
ON_15_A = Supply(
    rated_current_a=60.0,
    input_voltage_v=120.0,
    input_current_full_load_a=17.5,
    circuit_breaker_a=15.0,
    name="Cart 2",
)
SURE = {"continuous_sd_a": 0.0}


def consumer(name: str, amperes: float, **told) -> Consumer:
    """A consumer whose current is known without spread, where nothing else is told."""
    return Consumer(name=name, continuous_a=amperes, **{**SURE, **told})


AIRCRAFT = AircraftLoads(
    tail="SF-103",
    document="Invented flight manual, section 7",
    said_by="A. Owner",
    consumers=(
        consumer("Avionics master", 9.0),
        consumer("Lights", 4.0),
        consumer("Screen", 6.0),
        consumer("Blower", 18.0, starting_a=32.0, starting_s=0.5),
        consumer("Fuel pump", 5.0, starting_a=20.0, starting_s=0.4),
        consumer("Clock", 1.0, may_switch_off=False),
    ),
    tasks=(
        Task(
            name="Update databases",
            minutes=60.0,
            needs=("Avionics master",),
            wants=("Screen", "Lights", "Blower"),
        ),
        Task(name="Panel training", minutes=240.0, needs=("Avionics master", "Screen", "Blower")),
    ),
)


def drawing(amperes: float, sd: float = 0.0, **told) -> BatteryNow:
    """A battery that draws so much now."""
    return BatteryNow(current_a=interval_around(amperes, sd), **told)
