"""Motors that start while a task runs: what each does to the bus, with and without battery."""

from __future__ import annotations

from math import sqrt

import numpy as np

from batterymodel.basis.intervals import LEVEL_SD
from batterymodel.budget.case import Told
from batterymodel.budget.demand import load_of
from batterymodel.budget.peaks import (
    GENERIC_STARTING_S,
    BusBattery,
    MotorStart,
    SupplyLine,
    dip_with_battery,
    dip_without_battery,
)
from batterymodel.budget.resistance import (
    Resistance,
    battery_resistance,
    generic_resistance,
    line_resistance,
)
from batterymodel.budget.results import Capability, Start
from batterymodel.inputs.load_plan import Consumer
from batterymodel.inputs.records import Battery
from batterymodel.reference.bus_power import bus_min
from batterymodel.reference.capacity_in_use import capacity_belief
from batterymodel.reference.chemistry import REFERENCE_TEMP_C, data_for
from batterymodel.reference.resistance_growth import resistance_growth
from batterymodel.reference.temperature import rest_voltage_v, within_data_c

UNSTORED_EMPTY, UNSTORED_EMPTY_SD = 0.5, 0.4
"""Part of the overvoltage of charging that an empty battery does not hold when it has to give
current, and its spread [0..1] (own choice: near the end of charge the overvoltage is that of
gassing, which the plates hold for a moment; a discharged battery that takes little has it across
its resistance)."""


def starts_of(
    told: Told, running: tuple[Consumer, ...], able: Capability, ohm: Resistance | None
) -> tuple[Start, ...]:
    """Every start of the consumers that run, the others being on.

    Parameters
    ----------
    told : Told
    running : tuple of Consumer
    able : Capability
    ohm : Resistance, optional
        The battery's; without, the starts are on the supply alone.

    Returns
    -------
    tuple of Start
        In the order of the aircraft's list; those whose start takes no more than their running
        are left out.
    """
    line, battery = supply_line(told, able), None if ohm is None else bus_battery(told, ohm)
    return tuple(
        _start(told, motor, running, line, battery)
        for motor in running
        if motor.starting_a is not None and motor.starting_a > motor.continuous_a
    )


def resistance_of(told: Told) -> Resistance | None:
    """Resistance of the battery on the bus: by load steps of the readings, else generic.

    Parameters
    ----------
    told : Told

    Returns
    -------
    Resistance or None
        None where no battery is told, its charge is not known or it must come off. Low charge and
        wear are in what is believed before any step.
    """
    plate, now = told.plate, told.battery
    if plate is None or now is None or now.state_of_charge is None or now.must_come_off:
        return None
    belief = capacity_belief(plate, told.day)
    growth = resistance_growth(plate.chemistry, now.state_of_charge, belief)
    if told.readings is None:
        return generic_resistance(plate, told.battery_temp_c, growth)
    return battery_resistance(told.readings, plate, told.supply_read, told.battery_temp_c, growth)


def bus_battery(told: Told, ohm: Resistance) -> BusBattery:
    """The battery as a motor's start meets it.

    Parameters
    ----------
    told : Told
        With battery, its charge and its plate.
    ohm : Resistance
        The battery's, with its leads.

    Returns
    -------
    BusBattery
    """
    plate, now = told.plate, told.battery
    assert plate is not None  # `resistance_of` gave a resistance
    assert now is not None
    assert now.state_of_charge is not None
    charge = now.state_of_charge
    temp_c = within_data_c(REFERENCE_TEMP_C if told.battery_temp_c is None else told.battery_temp_c)
    low, mean, high = rest_voltage_v(plate, [charge.low, charge.mean, charge.high], temp_c)
    return BusBattery(
        rest_voltage_v=float(mean),
        rest_voltage_sd_v=float(
            np.hypot((high - low) / (2.0 * LEVEL_SD), _curve_sd_v(plate, charge.mean))
        ),
        resistance_ohm=ohm.median_ohm,
        resistance_log_sd=ohm.log_sd,
        draw_a=now.current_a.mean,
        draw_sd_a=now.sd_a,
        **stored_share(charge.mean),
    )


def stored_share(soc: float) -> dict[str, float]:
    """Part of the overvoltage of charging that a battery holds at first, and its spread [0..1].

    ``1 - UNSTORED_EMPTY (1 - s)``; the spread falls with ``sqrt(1 - s)``: half charged it is still
    most of that when empty.

    Parameters
    ----------
    soc : float
        State of charge [0..1].

    Returns
    -------
    dict
        By the names of `BusBattery`.
    """
    missing = 1.0 - soc
    return {
        "stored_share": 1.0 - UNSTORED_EMPTY * missing,
        "stored_share_sd": UNSTORED_EMPTY_SD * sqrt(missing),
    }


def _curve_sd_v(battery: Battery, soc: float) -> float:
    """How far a healthy battery may lie off the rest-voltage curve [V]."""
    rest = data_for(battery.chemistry).rest
    return battery.cells * (soc * rest.sd_v + (1.0 - soc) * rest.sd_empty_v)


def supply_line(told: Told, able: Capability) -> SupplyLine:
    """The supply up to the bus; its electronics limit at its rating, whatever its breaker does.

    Parameters
    ----------
    told : Told
    able : Capability
        With the rating, less where it is warm.

    Returns
    -------
    SupplyLine
    """
    supply = told.supply
    ohm = line_resistance(supply, told.readings if told.supply_read == supply else None)
    return SupplyLine(
        set_voltage_v=supply.set_voltage_v,
        limit_a=able.own_a,
        line_ohm=ohm.median_ohm,
        set_voltage_sd_v=supply.voltage_tolerance_v / LEVEL_SD,
        line_log_sd=ohm.log_sd,
    )


def _start(
    told: Told,
    motor: Consumer,
    running: tuple[Consumer, ...],
    line: SupplyLine,
    battery: BusBattery | None,
) -> Start:
    assert motor.starting_a is not None  # `starts_of` leaves the others out
    seconds = GENERIC_STARTING_S if motor.starting_s is None else motor.starting_s
    surge = MotorStart(motor.continuous_a, motor.starting_a, seconds, named_v=line.set_voltage_v)
    others = load_of((one for one in running if one is not motor), told.task.minutes)
    load_a, sd_a = others.at_once_a, others.at_once_sd_a
    least_v = bus_min(told.loads).value
    with_battery = None
    if battery is not None:
        with_battery = dip_with_battery(surge, load_a, line, battery, least_v, sd_a)
    return Start(
        name=motor.name,
        starting_a=motor.starting_a,
        starting_s=seconds,
        timed=motor.starting_s is not None,
        with_battery=with_battery,
        supply_alone=dip_without_battery(surge, load_a, line, least_v, sd_a),
    )
