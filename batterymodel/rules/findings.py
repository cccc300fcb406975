"""The rules: each looks at one connection and returns a finding, or None where it cannot speak.

A rule is a function of a `Case` in `RULES`. Where uncertainty straddles a limit the finding says
so and asks to keep watching; it never takes the better side.
"""

from __future__ import annotations

from collections.abc import Callable

from batterymodel.rules.battery_rules import (
    battery_temperature,
    capacity,
    capacity_check_overdue,
    deep_discharge,
    other_conditions,
    rest_voltage,
    set_voltage,
    temperature_rise,
)
from batterymodel.rules.case import Case
from batterymodel.rules.current_rules import (
    charge_current,
    contradiction,
    current_rising,
    floor_current,
    load_unknown,
    supply_at_limit,
    taper_missing,
    taper_shape,
    undeclared_load_step,
    wall_circuit,
)
from batterymodel.rules.proof_rules import (
    charge_confirmed,
    current_seen,
    rated_capacity,
    unlike_any_taper,
)
from batterymodel.rules.readings_rules import (
    clamp,
    clock_back,
    current_out,
    short_window,
    supply_trip,
    two_connections,
    typing_slip,
)
from batterymodel.rules.results import (
    OUTCOME_OF_SEVERITY,
    SEVERITY_ORDER,
    Finding,
    Outcome,
)


def findings_for(case: Case) -> tuple[Finding, ...]:
    """All findings of a connection, gravest first, in the order of `RULES` within a severity.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of Finding
    """
    found = [finding for rule in RULES if (finding := rule(case)) is not None]
    return tuple(sorted(found, key=lambda f: -SEVERITY_ORDER.index(f.severity)))


def outcome_of(findings: tuple[Finding, ...]) -> Outcome:
    """The outcome of the gravest finding.

    Parameters
    ----------
    findings : tuple of Finding
        At least one.

    Returns
    -------
    Outcome
    """
    gravest = max(findings, key=lambda f: SEVERITY_ORDER.index(f.severity))
    return OUTCOME_OF_SEVERITY[gravest.severity]


RULES: tuple[Callable[[Case], Finding | None], ...] = (
    current_rising,
    deep_discharge,
    battery_temperature,
    temperature_rise,
    supply_at_limit,
    rest_voltage,
    charge_current,
    taper_missing,
    typing_slip,
    clock_back,
    two_connections,
    supply_trip,
    current_out,
    contradiction,
    clamp,
    undeclared_load_step,
    set_voltage,
    floor_current,
    capacity,
    short_window,
    taper_shape,
    current_seen,
    other_conditions,
    charge_confirmed,
    unlike_any_taper,
    rated_capacity,
    capacity_check_overdue,
    load_unknown,
    wall_circuit,
)
