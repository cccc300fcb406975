"""What the record keeps of an answer, and what was seen later of the same connection."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field, model_validator

from batterymodel.inputs.records import Fraction, Record
from batterymodel.rules.results import Outcome


class Spread(Record):
    """A range as the model alone had it; ``middle`` is its median, all in one unit."""

    middle: float
    low: float
    high: float

    @model_validator(mode="after")
    def _in_order(self) -> Spread:
        if not self.low <= self.middle <= self.high:
            raise ValueError(
                f"low {self.low:g}, middle {self.middle:g} and high {self.high:g} must rise"
            )
        return self


class KeptAnswer(Record):
    """One answer as it was given, from the readings up to ``until_s`` since connection [s].

    ``decided_by`` is the rule of the gravest finding. Ranges are those of the model alone; those
    shown were ``widening`` times as wide. ``made_by`` is the version of the estimate; None where
    nobody noted it.
    """

    outcome: Outcome
    decided_by: str
    until_s: Annotated[float, Field(ge=0.0)]
    soc_now: Spread
    charge_to_return_ah: Spread
    widening: Annotated[float, Field(gt=0.0)] = 1.0
    made_by: str | None = None


class ReturnedCharge(Record):
    """Charge that a battery still took ``after_s`` since connection [s], seen to the end [Ah]."""

    after_s: Annotated[float, Field(ge=0.0)]
    charge_ah: Annotated[float, Field(ge=0.0)]
    sd_ah: Annotated[float, Field(gt=0.0)]


class RestedCharge(Record):
    """State of charge that a rest voltage showed after a connection, and its error [0..1]."""

    soc: Fraction
    sd: Annotated[float, Field(gt=0.0, le=1.0)]


class SeenLater(Record):
    """What was seen of a connection after an answer was given: None where nothing was."""

    returned: ReturnedCharge | None = None
    rested: RestedCharge | None = None
