"""Cases for the rules with one value set by hand: a real connection, then that value replaced."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from unittest.mock import patch

import numpy as np

from batterymodel import Battery, Limits, Readings, Supply, assess, assessment
from batterymodel.basis.intervals import Interval
from batterymodel.rules.case import Case
from batterymodel.soc.evidence import SOC_GRID, Evidence
from tests.conftest import simulated_connection

ON = date(2026, 3, 2)
SUPPLY = Supply(rated_current_a=60.0)


def case_of(readings: Readings, battery: Battery, supply: Supply = SUPPLY, **told) -> Case:
    """What the rules see of a connection."""
    values = {"load_a": 8.0, "load_sd_a": 0.2, "ambient_c": 25.0, "on": ON, **told}
    with patch.object(assessment, "findings_for", wraps=assessment.findings_for) as seen:
        assess(readings, battery, supply, **values)
    return seen.call_args.args[0]


def quiet_case(battery: Battery, depth: float = 0.1, **limits) -> Case:
    """A healthy connection of the battery with these limits on its card."""
    card = Limits(document="card", **limits)
    return case_of(simulated_connection(depth), battery.model_copy(update={"limits": card}))


def with_fitted(case: Case, covariance: np.ndarray | None = None, **values: float) -> Case:
    """The case with fitted parameters replaced, and their whole covariance."""
    fit = case.fit
    parameters = fit.parameters.copy()
    for name, value in values.items():
        parameters[fit.names.index(name)] = value
    spread = np.zeros_like(fit.covariance) if covariance is None else covariance
    return replace(case, fit=replace(fit, parameters=parameters, covariance=spread))


def with_limit_until(case: Case, limit_end_s: float) -> Case:
    """The case with the supply at its limit from the first reading to a time."""
    signal = replace(case.fit.signal, limit_end_s=limit_end_s)
    return replace(case, fit=replace(case.fit, signal=signal))


def with_probability_below(case: Case, soc: float, probability: float, low: float) -> Case:
    """The case with so much probability a point below a state of charge, the rest above.

    The range reaches above it where more than a twentieth lies there.
    """
    high = soc - 0.01 if probability > 0.95 else soc + 0.02
    state = replace(
        case.state,
        soc_at_connection_values=np.array([[soc - 0.01, soc + 0.01]]),
        weight=np.array([[probability, 1.0 - probability]]),
        soc_at_connection=Interval(mean=soc, low=low, high=high, level=0.9),
    )
    return replace(case, state=state)


def with_evidence(case: Case, sd: float, *means: float) -> Case:
    """The case with pieces of evidence that are normal around these means."""
    pieces = tuple(
        Evidence(f"piece {k}", np.exp(-0.5 * ((SOC_GRID - mean) / sd) ** 2))
        for k, mean in enumerate(means)
    )
    return replace(case, state=replace(case.state, evidence=pieces))
