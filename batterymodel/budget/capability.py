"""What a supply can give at the aircraft: every limit with its source, and the one that binds."""

from __future__ import annotations

from collections.abc import Sequence
from math import hypot
from typing import Any

from batterymodel.basis.intervals import LEVEL_SD, Interval
from batterymodel.basis.meters import PANEL_AMMETER_SD_A
from batterymodel.budget.results import BusVoltage, Capability, OutputLimit, Room
from batterymodel.budget.selection import HELD_SD
from batterymodel.inputs.records import Supply
from batterymodel.reference.limits import Limit
from batterymodel.reference.supply import (
    CONTINUOUS_CIRCUIT_FRACTION,
    INPUT_FACTOR_REL_SD,
    LONG_LOAD_MINUTES,
    circuit_output_a,
    input_factor,
    warm_output_a,
)
from batterymodel.reference.wiring import CABLE_REL_SD, cable_drop_v, cable_ohm

PLATE = "the supply's plate"
MARKING = "the cable's marking or its maker's papers"
BREAKER = "breaker of the wall circuit over the supply's input current at full load"
ESTIMATED = ", which is estimated (common practice, no source)"
OVER_HOURS = (
    "80 % of the breaker for loads of three hours or more (NFPA 70, Article 100 and 210.20(A), "
    "from memory); the code of the place governs"
)


def capability(
    supply: Supply, minutes: float, bus_min: Limit, supply_temp_c: float | None = None
) -> Capability:
    """What a supply can give for a task, and which limit binds.

    Parameters
    ----------
    supply : Supply
    minutes : float
        Length of the task [min].
    bus_min : Limit
        Lowest bus voltage [V] (`reference.bus_power`).
    supply_temp_c : float, optional
        Air at the supply [degC].

    Returns
    -------
    Capability
        Limits in order, those that apply first; bound by the one that leaves the least without any
        load (`bound_by` for a load).
    """
    limits = sorted(
        output_limits(supply, minutes, bus_min, supply_temp_c),
        key=lambda limit: (not limit.applies, limit.limit_a),
    )
    return Capability(
        limits=tuple(limits),
        own_a=_rating(supply, supply_temp_c).limit_a,
        **_binding({limit: _left_a(limit) for limit in limits if limit.applies}),
        input_factor=input_factor(supply),
        cable_ohm=None if supply.cable is None else cable_ohm(supply.cable),
    )


def bound_by(able: Capability, room: Sequence[Room]) -> Capability:
    """The same capability, bound by the limit that leaves the least beside a load.

    Parameters
    ----------
    able : Capability
    room : sequence of Room
        Every limit that applies, against that load.

    Returns
    -------
    Capability
    """
    spare_a = {one.name: one.spare_a for one in room}
    applying = {limit: spare_a[limit.name] for limit in able.limits if limit.name in spare_a}
    return able.model_copy(update=_binding(applying))


def _left_a(limit: OutputLimit) -> float:
    """What a limit leaves with its margin where nothing runs [A]."""
    return limit.limit_a - HELD_SD * hypot(limit.sd_a, PANEL_AMMETER_SD_A)


def _binding(left_a: dict[OutputLimit, float]) -> dict[str, Any]:
    """What `Capability` says of the limit that leaves the least, by what each leaves [A]."""
    least, *others = sorted(left_a, key=left_a.__getitem__)
    more_a = left_a[others[0]] - left_a[least] if others else None
    return {"binding": least.name, "limit_a": least.limit_a, "below_next_a": more_a}


def output_limits(
    supply: Supply, minutes: float, bus_min: Limit, supply_temp_c: float | None = None
) -> tuple[OutputLimit, ...]:
    """Every limit of a supply's output that can be told.

    Parameters
    ----------
    supply : Supply
    minutes : float
        Length of the task [min].
    bus_min : Limit
        Lowest bus voltage [V].
    supply_temp_c : float, optional
        Air at the supply [degC].

    Returns
    -------
    tuple of OutputLimit
        Rating and, where known, wall circuit, wall circuit over hours, cable, cable rating.
    """
    found = (
        _rating(supply, supply_temp_c),
        *_circuit(supply, minutes),
        _cable(supply, bus_min),
        _cable_rating(supply),
    )
    return tuple(limit for limit in found if limit is not None)


def bus_voltage(supply: Supply, load_a: Interval) -> BusVoltage:
    """Voltage at the aircraft while the supply holds its set voltage.

    ``V = V_set - I R``; the low end takes the lower voltage, the larger current and the higher
    resistance together.

    Parameters
    ----------
    supply : Supply
    load_a : Interval
        Current in the cable [A].

    Returns
    -------
    BusVoltage
    """
    at_supply = _about(supply.set_voltage_v, supply.voltage_tolerance_v, load_a.level)
    low, mean, high = (
        cable_drop_v(supply.cable, amperes) for amperes in (load_a.low, load_a.mean, load_a.high)
    )
    unsure = LEVEL_SD * CABLE_REL_SD
    return BusVoltage(
        at_supply_v=at_supply,
        at_aircraft_v=Interval(
            mean=at_supply.mean - mean,
            low=at_supply.low - (1.0 + unsure) * high,
            high=at_supply.high - (1.0 - unsure) * max(low, 0.0),
            level=load_a.level,
        ),
        drop_v=None if supply.cable is None else mean,
    )


def _about(volts: float, within_v: float, level: float) -> Interval:
    return Interval(mean=volts, low=volts - within_v, high=volts + within_v, level=level)


def _rating(supply: Supply, temp_c: float | None) -> OutputLimit:
    """The plate's current, less where it is warm; unknown derating leaves the plate's."""
    warm_a = None if temp_c is None else warm_output_a(supply, temp_c)
    if warm_a is None or warm_a == supply.rated_current_a:
        return OutputLimit(name="supply rating", limit_a=supply.rated_current_a, source=PLATE)
    source = (
        f"{PLATE}, less {supply.derating_a_per_c:g} A for each °C above {supply.rated_at_c:g} °C"
    )
    return OutputLimit(name="supply rating when warm", limit_a=warm_a, source=source)


def _circuit(supply: Supply, minutes: float) -> tuple[OutputLimit, ...]:
    output_a = circuit_output_a(supply)
    if output_a is None:
        return ()
    estimated = supply.input_current_full_load_a is None
    sd = INPUT_FACTOR_REL_SD if estimated else 0.0
    over_hours_a = CONTINUOUS_CIRCUIT_FRACTION * output_a
    return (
        OutputLimit(
            name="wall circuit",
            limit_a=output_a,
            sd_a=sd * output_a,
            source=BREAKER + (ESTIMATED if estimated else ""),
            generic=estimated,
        ),
        OutputLimit(
            name="wall circuit over hours",
            limit_a=over_hours_a,
            sd_a=sd * over_hours_a,
            source=OVER_HOURS,
            over_hours=True,
            applies=minutes >= LONG_LOAD_MINUTES,
            generic=True,
        ),
    )


def _cable(supply: Supply, bus_min: Limit) -> OutputLimit | None:
    """The current at which the cable brings the bus down to its lowest voltage.

    None without a cable, and where the supply's own voltage may be too low already.
    """
    lowest_v = supply.set_voltage_v - supply.voltage_tolerance_v
    if supply.cable is None or lowest_v <= bus_min.value:
        return None
    limit_a = (lowest_v - bus_min.value) / cable_ohm(supply.cable)
    return OutputLimit(
        name="cable",
        limit_a=limit_a,
        sd_a=CABLE_REL_SD * limit_a,
        source=f"voltage lost in the cable, down to {bus_min.value:g} V: {bus_min.source}",
        generic=bus_min.generic,
    )


def _cable_rating(supply: Supply) -> OutputLimit | None:
    """What the cable may carry, where its marking or its maker's papers told."""
    cable = supply.cable
    if cable is None or cable.rated_current_a is None:
        return None
    return OutputLimit(name="cable rating", limit_a=cable.rated_current_a, source=MARKING)
