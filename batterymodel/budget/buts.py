"""What a load that fits is no use without: battery, bus voltage, and starts that nothing covers."""

from __future__ import annotations

from batterymodel.budget.case import BudgetCase
from batterymodel.budget.findings import bus_voltage_high, bus_voltage_low
from batterymodel.budget.results import But
from batterymodel.budget.start_findings import (
    beyond_the_supply,
    deepest,
    is_held,
    lasting_surges,
)
from batterymodel.budget.wording import BUTS, amperes, bears_words, listed, need_words, volts
from batterymodel.reference.bus_power import bus_max, bus_min
from batterymodel.rules.results import Severity
from batterymodel.rules.wording import OUTCOME_WORDS


def buts_of(case: BudgetCase) -> tuple[But, ...]:
    """Everything that stands against a load whose current fits.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    tuple of But
        The battery first; empty where nothing does.
    """
    found = {
        "battery_outcome": _battery_off(case),
        "bus_voltage_low": _low(case),
        "bus_voltage_high": _high(case),
        "start_dip": _dip(case),
        "start_alone": _alone(case),
        "start_circuit": _circuit(case),
    }
    return tuple(
        But(rule=rule, said=BUTS[rule].format(**values)) for rule, values in found.items() if values
    )


def _battery_off(case: BudgetCase) -> dict[str, str]:
    battery = case.told.battery
    if battery is None or battery.outcome is None or not battery.must_come_off:
        return {}
    return {"outcome": OUTCOME_WORDS[battery.outcome].lower()}


def _low(case: BudgetCase) -> dict[str, str]:
    found, limit = bus_voltage_low(case), bus_min(case.told.loads)
    if found is None or found.severity is not Severity.WATCH:
        return {}
    low = volts(case.voltage.at_aircraft_v.low)
    return {"low": low, "limit": volts(limit.value), "need": need_words(limit)}


def _high(case: BudgetCase) -> dict[str, str]:
    limit = bus_max(case.told.loads)
    if bus_voltage_high(case) is None:
        return {}
    high = volts(case.voltage.at_supply_v.high)
    return {"high": high, "limit": volts(limit.value), "bears": bears_words(limit)}


def _dip(case: BudgetCase) -> dict[str, str]:
    found, limit = deepest(case), bus_min(case.told.loads)
    if found is None or is_held(found[1]):
        return {}
    low = volts(found[1].least_bus_v.low)
    return {"name": found[0].name, "low": low, "limit": volts(limit.value)}


def _alone(case: BudgetCase) -> dict[str, str]:
    beyond = () if deepest(case) is not None else beyond_the_supply(case)
    return {"names": listed(one.name for one in beyond)} if beyond else {}


def _circuit(case: BudgetCase) -> dict[str, str]:
    found = lasting_surges(case)
    if not found:
        return {}
    limit = found[0].limit
    names = listed(dict.fromkeys(one.start.name for one in found if one.limit is limit))
    return {"names": names, "limit": amperes(limit.limit_a), "which": limit.name}
