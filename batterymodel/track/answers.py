"""Answers as they were given: what the record keeps of an assessment to hold the truth against."""

from __future__ import annotations

from typing import Any

from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.inputs.records import OPTIONAL_COLUMNS, Readings
from batterymodel.rules.results import Assessment, ModelRange
from batterymodel.track.kept import KeptAnswer, Spread

EARLY_S = 300.0
"""How much of the readings an early answer is made from [s] (own choice: the minutes within which a
technician decides)."""

SAME_TIME_S = 1.0
"""Times that lie closer are one time [s] (own choice)."""

SOC_NOW, CHARGE = "soc_now", "charge_to_return_ah"
"""Ranges that are kept: state of charge at the last reading [0..1], charge still to return [Ah]."""


def answer_of(assessment: Assessment) -> KeptAnswer:
    """What is kept of an assessment that was just made.

    Parameters
    ----------
    assessment : Assessment
        With its `unwidened` ranges, as `assess` gives it.

    Returns
    -------
    KeptAnswer
        By the present version of the estimate.
    """
    return KeptAnswer(
        outcome=assessment.outcome,
        decided_by=assessment.findings[0].rule,
        until_s=float(assessment.curves.time_s[-1]),
        soc_now=_spread(assessment.unwidened[SOC_NOW]),
        charge_to_return_ah=_spread(assessment.unwidened[CHARGE]),
        widening=assessment.widening,
        made_by=ESTIMATE_VERSION,
    )


def _spread(found: ModelRange) -> Spread:
    return Spread(middle=found.middle, low=found.low, high=found.high)


def answer_from_json(result: dict[str, Any]) -> KeptAnswer | None:
    """The answer of an assessment that is there as its JSON alone, of before answers were kept.

    Parameters
    ----------
    result : dict
        The JSON contract of an assessment.

    Returns
    -------
    KeptAnswer or None
        Its means stand for the medians and no version is known; None where the JSON is another's.
    """
    try:
        return KeptAnswer(
            outcome=result["outcome"],
            decided_by=result["findings"][0]["rule"],
            until_s=result["taper"]["window_s"][1],
            soc_now=_spread_from_json(result["state_of_charge"]["now"]),
            charge_to_return_ah=_spread_from_json(result[CHARGE]),
        )
    except (KeyError, IndexError, TypeError, ValueError):
        return None


def _spread_from_json(interval: dict[str, float]) -> Spread:
    low, high = interval["low"], interval["high"]
    return Spread(middle=min(max(interval["mean"], low), high), low=low, high=high)


def first_part(readings: Readings, until_s: float) -> Readings | None:
    """The readings up to a time, as they stood then.

    Parameters
    ----------
    readings : Readings
    until_s : float
        Since connection [s].

    Returns
    -------
    Readings or None
        None where there is none so early.
    """
    kept = readings.elapsed_s <= until_s
    if not kept.any():
        return None
    optional: dict[str, Any] = {
        name: None if (column := getattr(readings, name)) is None else column[kept]
        for name in OPTIONAL_COLUMNS
    }
    return Readings(
        elapsed_s=readings.elapsed_s[kept],
        supply_current_a=readings.supply_current_a[kept],
        **optional,
        events=tuple(e for e in readings.events if e.elapsed_s <= until_s),
        temps_between=tuple(t for t in readings.temps_between if t.elapsed_s <= until_s),
        started_at=readings.started_at,
        source=readings.source,
    )
