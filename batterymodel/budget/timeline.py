"""The load of a task from its first minute to its last, as arrays."""

from __future__ import annotations

import numpy as np

from batterymodel.budget.case import BudgetCase
from batterymodel.budget.fit import ceiling_of
from batterymodel.budget.results import OutputLimit, Timeline

POINTS = 121
"""Points in time (own choice: one every half minute of an hour)."""

_ZERO = OutputLimit(name="none", limit_a=0.0, source="")


def timeline_of(case: BudgetCase) -> Timeline:
    """Load at once and with its margin over a task, the battery's draw falling.

    The consumers that run are taken as all on, whatever their duty: what the limits of a moment
    are held against. The margin is that of `fit.ceiling_of`, the spread of a limit left out.

    Parameters
    ----------
    case : BudgetCase

    Returns
    -------
    Timeline
        `POINTS` of them; without a known battery its draw is zero.
    """
    told, runs = case.told, np.array(case.runs, dtype=bool)
    now = ceiling_of(told, _ZERO, None)
    consumers_a = float(runs @ now.means_a)
    minutes = np.linspace(0.0, told.task.minutes, POINTS)
    draw_a, margin_a = np.zeros(POINTS), np.zeros(POINTS)
    for k, minute in enumerate(minutes):
        battery = None if told.battery is None else told.battery.later(float(minute))
        draw_a[k] = 0.0 if battery is None else battery.current_a.mean
        margin_a[k] = ceiling_of(told, _ZERO, battery).excess_a(runs)
    return Timeline(
        time_min=minutes,
        consumers_a=np.full(POINTS, consumers_a),
        battery_a=draw_a,
        with_margin_a=margin_a,
    )
