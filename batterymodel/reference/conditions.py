"""What may be wrong with a battery, and what is believed of each condition before any reading.

All numbers are own choices: no published frequencies were found. They say how a condition moves
the taper against that of a sound battery, how much of its plate such a battery still holds, and
how often it is met among batteries that ground power is connected to.
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class Condition(StrEnum):
    """Conditions that the readings of one connection are held against."""

    SOUND = "sound"
    ACCEPTS_LITTLE = "accepts_little"
    WORN = "worn"
    SHORTED_CELL = "shorted_cell"
    LEAK_OR_GASSING = "leak_or_gassing"
    NOTHING_CHARGING = "nothing_charging"
    OVERHEATING = "overheating"


class CapacityPart(StrEnum):
    """Part of the belief in capacity: at or above the limit of a worn battery, below it, all."""

    SOUND = "sound"
    WORN = "worn"
    ANY = "any"


@dataclass(frozen=True)
class ConditionPrior:
    """Belief about batteries in one condition; logs are natural logs.

    ``frequency`` is their share of all connections, ``frequency_known`` that where the battery has
    just completed a taper (`HISTORY_FADES_YEARS`); that of *worn* holds for a battery of unknown
    age and without a check, and follows what is known of both. The log of the slow time constant is
    that of a sound battery plus ``time_log``, with ``time_log_sd`` more spread. ``capacity`` is the
    part of `capacity_in_use.capacity_belief` that such batteries are of. ``float_current_per_ah``
    is the current left after the taper, and its standard deviation [A per rated Ah]; None: the
    chemistry's. ``cells_lost`` is how many cells the rest voltage lacks.
    """

    frequency: float
    frequency_known: float
    time_log: float = 0.0
    time_log_sd: float = 0.0
    capacity: CapacityPart = CapacityPart.SOUND
    float_current_per_ah: float | None = None
    cells_lost: int = 0


CONDITIONS: dict[Condition, ConditionPrior] = {
    Condition.SOUND: ConditionPrior(0.91, 0.95),
    Condition.ACCEPTS_LITTLE: ConditionPrior(
        0.03, 0.015, time_log=1.4, time_log_sd=0.8, capacity=CapacityPart.ANY
    ),
    Condition.WORN: ConditionPrior(
        0.04,
        0.02,
        time_log=-0.4,
        time_log_sd=0.5,
        capacity=CapacityPart.WORN,
    ),
    Condition.SHORTED_CELL: ConditionPrior(
        0.004, 0.002, time_log_sd=0.2, float_current_per_ah=0.06, cells_lost=1
    ),
    Condition.LEAK_OR_GASSING: ConditionPrior(
        0.001, 0.0005, time_log_sd=0.2, float_current_per_ah=0.06
    ),
    Condition.NOTHING_CHARGING: ConditionPrior(0.01, 0.01),
    Condition.OVERHEATING: ConditionPrior(0.005, 0.0025),
}
"""Own choice; ``time_log`` 1.4 is four times slower (a quarter of the current at the same charge),
settled on the calibration half of `tests.benchmarks.sick`."""


HISTORY_FADES_YEARS = 1.0
"""Time in which what completed tapers say of a battery's condition falls to 1/e [a] (own choice:
sulfated, shorted and worn come in months)."""


@dataclass(frozen=True)
class FlatCurrentPrior:
    """Belief about a flat current in one condition; logs are natural logs.

    ``level_log`` is the log of what resistance lets through over the rated capacity [ln 1/h], and
    ``tail_log`` that of the time in which the charge left would be returned at the current once
    the battery is nearly full [ln h]; names in ``_sd`` are their standard deviations.
    """

    level_log: float
    level_log_sd: float
    tail_log: float
    tail_log_sd: float


_FLAT_SOUND = FlatCurrentPrior(0.4, 0.8, -2.5, 0.7)

FLAT_CURRENT: dict[Condition, tuple[FlatCurrentPrior, ...]] = {
    Condition.SOUND: (_FLAT_SOUND,),
    Condition.ACCEPTS_LITTLE: (
        FlatCurrentPrior(-2.3, 1.0, -2.0, 1.0),
        FlatCurrentPrior(0.2, 0.7, -0.7, 0.6),
    ),
    Condition.WORN: (FlatCurrentPrior(-0.6, 0.7, -2.5, 0.7),),
    Condition.SHORTED_CELL: (FlatCurrentPrior(1.6, 0.8, -2.5, 0.7),),
    Condition.LEAK_OR_GASSING: (_FLAT_SOUND,),
    Condition.OVERHEATING: (_FLAT_SOUND,),
}
"""Own choice; ways in which a condition shows are equally likely. A sound battery has 0.17 V per
cell of headroom at 3.5 V over some 0.11 V h of cells and leads, 1.5 1/h, times or over 2.2 by cold,
leads and set voltage; it falls from 1 1/h to a twentieth in a quarter of an hour, three times
0.08 h. One that accepts little takes a ninth of the current, through cold cells or a bad joint, or
tails off over eight times the time. A worn one holds about half of its plate, and takes about half
of the current. One cell less leaves 4.7 V of headroom instead of 1.4 V, over three times the
current. Leak and heat leave the law as it is."""

UNSAFE: frozenset[Condition] = frozenset(
    {
        Condition.SHORTED_CELL,
        Condition.LEAK_OR_GASSING,
        Condition.NOTHING_CHARGING,
        Condition.OVERHEATING,
    }
)
"""Conditions in which no state of charge makes topping off right."""

LOOSE_TIME_LOG, LOOSE_TIME_LOG_SD = 0.5, 0.9
"""Shift and spread of the log time constant under which one fit serves all conditions (own
choice: it reaches from a sound battery's to eight times as slow)."""

LAW_TIME_LOG_SD = 0.25
"""How far the log time constant of a few minutes lies from that of the whole taper, in any
condition, because batteries follow other charging laws than two exponentials [ln], standard
deviation (own choice, settled on the calibration half of `tests.benchmarks.sick`)."""

LOAD_SETTLES = 0.1
"""Share of bus loads that settle to their level within the readings, as avionics and motors do when
they warm up [0..1] (own choice)."""

LOAD_SETTLES_SD_A = 1.5
"""How far such a load lies above its level at first, standard deviation of a half-normal amplitude
[A] (own choice)."""

LOAD_TIME_LOG, LOAD_TIME_LOG_SD = 5.3, 1.0
"""Log of the time constant with which it settles, and its spread [ln s]: 200 s, times or over 2.7
(own choice)."""
