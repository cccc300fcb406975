"""One connection under judgement, and how a rule writes what it found."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from batterymodel.basis.meters import LOAD_SD_A
from batterymodel.inputs.kinds import KindBelief
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.reference.chemistry import data_for
from batterymodel.reference.limits import Limit, limit_for
from batterymodel.rules.results import (
    Finding,
    Severity,
)
from batterymodel.soc.combination import ChargeState
from batterymodel.soc.conditions import ConditionState
from batterymodel.taper.fit import MOST_CONFLICT as MOST_CONFLICT
from batterymodel.taper.fit import TaperFit
from batterymodel.taper.trends import (
    Rise,
)

OWN_RULE = "rule of this tool"

LEAST_READINGS = 5
"""Constant-voltage readings fewer than this tell no taper (own choice)."""

NEGLIGIBLE_V = 0.05
"""Distance from the window that a panel meter cannot show (own choice)."""

LEAST_SCATTER_A = 0.5
"""Scatter that small bus loads make on any aircraft (common practice, no source)."""


@dataclass(frozen=True)
class Case:
    """One connection under judgement: everything a rule may look at.

    ``temp_c`` is the battery's temperature [degC] and ``rest_voltage_v`` its voltage before
    connection [V], None where not known. ``unlike_history`` says that the battery's own history
    was left out, because the readings contradict it, and ``doubted`` that the numbers in ``state``
    count the current for less (`rules.doubts`). ``kind`` is what others of its kind taught, also
    where ``battery`` goes without because the readings contradict it, or because the outcome would
    be better with it (``kind_would_lift``); ``held_v`` is the voltage the supply held [V].
    """

    battery: Battery
    supply: Supply | None
    readings: Readings
    fit: TaperFit
    rise: Rise | None
    state: ChargeState
    temp_c: float | None
    rest_voltage_v: float | None
    on: date
    conditions: ConditionState | None = None
    load_a: float | None = None
    load_sd_a: float = LOAD_SD_A
    unlike_history: bool = False
    doubted: bool = False
    kind: KindBelief | None = None
    kind_would_lift: bool = False
    held_v: float | None = None

    def limit(self, name: str) -> Limit:
        """The limit in force under a name.

        Parameters
        ----------
        name : str
            A name of `reference.limits`, such as ``min_top_off_soc``.

        Returns
        -------
        Limit
        """
        return limit_for(self.battery, name)

    @property
    def tapers(self) -> bool:
        """The current of this chemistry is an exponential taper."""
        return data_for(self.battery.chemistry).taper.exponential


def any_seen(column: np.ndarray | None) -> bool:
    """Whether a column of readings holds any value.

    Parameters
    ----------
    column : ndarray, shape (n,), or None
        Readings in any unit, NaN where none was taken.

    Returns
    -------
    bool
    """
    return column is not None and bool(np.isfinite(column).any())


def against(rule: str, severity: Severity, text: str, value: float, limit: Limit) -> Finding:
    """Finding of a value against a limit, with the limit's unit and source.

    Parameters
    ----------
    rule : str
        Name of the rule.
    severity : Severity
    text : str
        The sentence that is shown.
    value : float
        In the unit of the limit.
    limit : Limit

    Returns
    -------
    Finding
    """
    return Finding(
        rule=rule,
        severity=severity,
        text=text,
        value=value,
        limit=limit.value,
        unit=limit.unit,
        source=limit.source,
        generic=limit.generic,
    )
