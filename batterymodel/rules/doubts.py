"""Findings that say the current may mislead: the numbers then count it for less."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from batterymodel.rules.battery_rules import battery_temperature
from batterymodel.rules.case import Case
from batterymodel.rules.current_rules import contradiction, current_rising, taper_shape
from batterymodel.rules.proof_rules import rated_capacity, unlike_any_taper
from batterymodel.rules.readings_rules import clamp
from batterymodel.rules.results import SEVERITY_ORDER, Finding, Severity

DOUBT = 0.15
"""Probability that the current tells nothing of the charge where a finding says that it may mislead
[0..1] (own choice, settled on the calibration half of `tests.benchmarks.sick`)."""

MISLEADS_FROM: tuple[tuple[Callable[[Case], Finding | None], Severity], ...] = (
    (unlike_any_taper, Severity.NOTE),
    (taper_shape, Severity.WATCH),
    (contradiction, Severity.WATCH),
    (clamp, Severity.WATCH),
    (rated_capacity, Severity.WATCH),
    (current_rising, Severity.DISCONNECT),
    (battery_temperature, Severity.DISCONNECT),
)
"""Rules, and the least severity from which on they cast doubt on the current."""


def with_doubt(case: Case) -> Case:
    """The case with its numbers widened where a finding says that the current may mislead.

    Parameters
    ----------
    case : Case

    Returns
    -------
    Case
        The same one where nothing casts doubt.
    """
    if not casting_doubt(case):
        return case
    return replace(case, state=case.state.doubted(DOUBT), doubted=True)


def casting_doubt(case: Case) -> tuple[str, ...]:
    """Names of the rules whose finding says that the current may mislead.

    Parameters
    ----------
    case : Case

    Returns
    -------
    tuple of str
        Empty where the current may be believed.
    """
    found = [(rule(case), least) for rule, least in MISLEADS_FROM]
    rank = SEVERITY_ORDER.index
    return tuple(f.rule for f, least in found if f and rank(f.severity) >= rank(least))
