"""What an assessment hands over: the models behind the JSON contract."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

import numpy as np
from pydantic import BaseModel, ConfigDict, Field

from batterymodel.basis.intervals import Interval
from batterymodel.inputs.kinds import TaperLesson
from batterymodel.inputs.records import History
from batterymodel.reference.conditions import Condition


class Outcome(StrEnum):
    """The four things a technician can be told to do."""

    TOP_OFF = "top_off"
    KEEP_WATCHING = "keep_watching"
    SERVICE = "service"
    DISCONNECT = "disconnect"


class Severity(StrEnum):
    """How a finding bears on the outcome; `NOTE` does not change it."""

    OK = "ok"
    NOTE = "note"
    WATCH = "watch"
    SERVICE = "service"
    DISCONNECT = "disconnect"


OUTCOME_OF_SEVERITY = {
    Severity.OK: Outcome.TOP_OFF,
    Severity.NOTE: Outcome.TOP_OFF,
    Severity.WATCH: Outcome.KEEP_WATCHING,
    Severity.SERVICE: Outcome.SERVICE,
    Severity.DISCONNECT: Outcome.DISCONNECT,
}

SEVERITY_ORDER = tuple(Severity)

NEARLY_DONE_MINUTES = 1.0
"""Minutes left below which topping off counts as done [min] (own choice)."""


NEVER_FILLS = frozenset({"supply_trip", "set_voltage"})
"""Rules whose watch says that the supply, as it is, does not bring the battery to full."""


def is_topped_off(outcome: Outcome, minutes_to_top_off: Interval) -> bool:
    """Whether topping off is right, and done.

    Parameters
    ----------
    outcome : Outcome
    minutes_to_top_off : Interval
        [min].

    Returns
    -------
    bool
    """
    return outcome is Outcome.TOP_OFF and minutes_to_top_off.mean < NEARLY_DONE_MINUTES


class Result(BaseModel):
    """Base of results: immutable."""

    model_config = ConfigDict(frozen=True, arbitrary_types_allowed=True)


class Finding(Result):
    """One rule's result: what was seen, what the limit is, where the limit comes from.

    ``value`` and ``limit`` are in ``unit``; ``generic`` marks a limit that is no maker's.
    """

    rule: str
    severity: Severity
    text: str
    value: float | None = None
    limit: float | None = None
    unit: str | None = None
    source: str | None = None
    generic: bool = False


class ConditionChance(Result):
    """One condition the battery may be in, with its probability [0..1] after the readings."""

    name: Condition
    probability: float


class NextObservation(Result):
    """The one observation that tells most next: what to do, and why; `minutes` to a later reading.

    ``name`` is a key of `wording.OBSERVATIONS`.
    """

    name: str
    minutes: float | None
    text: str
    why: str


class StateOfCharge(Result):
    """State of charge [0..1] at connection and at the last reading."""

    at_connection: Interval
    now: Interval


class TaperSummary(Result):
    """The fit in numbers; `amplitude_a` is at connection, were the supply without limit.

    ``floor_a`` is the float current left after the taper [A]; ``standard_errors`` are by the names
    of the values, in their units.
    """

    amplitude_a: float
    time_constant_s: float
    charge_time_h: float
    floor_a: float
    load_a: float
    standard_errors: dict[str, float]
    window_s: tuple[float, float]
    rmse_a: float


class KindOnRecord(Result):
    """What other batteries of its kind the answer rests on, by their numbers.

    ``connections`` are completed tapers, ``rest_voltages`` those read before or after them.
    ``in_use`` is False where the readings contradict what they lead to expect, or where the outcome
    would be better with them: then no number of the answer rests on them.
    """

    batteries: int
    connections: int
    rest_voltages: int
    capacity_checks: int
    in_use: bool


class SupplySummary(Result):
    """What the supply can give and gave [A]; `continuous_a` over the last three minutes."""

    limit_a: float
    limited_by: str
    peak_a: float
    continuous_a: float
    margin_a: float


READING, AT_LIMIT, TRANSIENT = "reading", "supply at its limit", "short transient"
RISING = "current rising"
"""What a reading is to the fit: values of `Curves.role`."""


class Curves(Result):
    """Arrays for charts: readings, fit, band, evidence; not part of the JSON.

    ``time_s``, ``current_a`` and ``role`` are of shape ``(n,)``, the fit's of shape ``(g,)`` over
    ``fit_time_s``, ``soc`` and each evidence's density of shape ``(s,)``. ``from_clamp``: the
    current is that of a clamp meter on the battery lead, not the supply's. ``on`` is the day of the
    connection.
    """

    time_s: np.ndarray
    current_a: np.ndarray
    role: np.ndarray
    fit_time_s: np.ndarray
    fit_a: np.ndarray
    fit_low_a: np.ndarray
    fit_high_a: np.ndarray
    load_a: np.ndarray
    steps: tuple[tuple[float, str, bool], ...]
    limit_a: float | None
    limit_end_s: float | None
    soc: np.ndarray
    evidence: dict[str, np.ndarray]
    remarks: dict[str, str]
    min_top_off_soc: float
    current_label: str
    from_clamp: bool
    on: date


class ModelRange(Result):
    """A range as the model alone has it, before a record of earlier answers widened it.

    ``middle`` is the median, in the unit of the quantity, as ``low`` and ``high`` are.
    """

    middle: float
    low: float
    high: float


class Assessment(Result):
    """Everything said of one connection. `model_dump(mode="json")` is the JSON contract.

    ``widening`` is the factor that every range holds, 1 where no record taught another;
    ``unwidened`` are the ranges without it.
    """

    outcome: Outcome
    headline: str
    reason: str = Field(exclude=True, repr=False)
    next_steps: tuple[str, ...]
    findings: tuple[Finding, ...]
    conditions: tuple[ConditionChance, ...] = ()
    not_checked: tuple[str, ...] = ()
    state_of_charge: StateOfCharge
    charge_to_return_ah: Interval
    minutes_to_top_off: Interval
    taper: TaperSummary
    capacity_ah: Interval | None
    supply: SupplySummary | None
    next_reading_minutes: float | None
    next_observation: NextObservation | None = None
    learned_history: History | None
    taper_lesson: TaperLesson | None = None
    kind: KindOnRecord | None = None
    notes: tuple[str, ...]
    cautions: tuple[str, ...]
    widening: float = 1.0
    unwidened: dict[str, ModelRange] = Field(default_factory=dict, exclude=True, repr=False)
    curves: Curves = Field(exclude=True, repr=False)

    @property
    def minutes_shown(self) -> Interval | None:
        """Time until topped off [min]; None where topping off is not open or nobody can tell it.

        Nobody can where the supply is off or too low to fill the battery, and where the best value
        lies outside its own range.
        """
        open_ = self.outcome in (Outcome.TOP_OFF, Outcome.KEEP_WATCHING)
        watched = {f.rule for f in self.findings if f.severity is Severity.WATCH}
        told = self.minutes_to_top_off
        if not open_ or watched & NEVER_FILLS or not told.low <= told.mean <= told.high:
            return None
        return told

    @property
    def is_topped_off(self) -> bool:
        """Whether topping off is right, and done."""
        return is_topped_off(self.outcome, self.minutes_to_top_off)
