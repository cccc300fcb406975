"""What the ground power budget hands over: the models behind its JSON contract."""

from __future__ import annotations

from datetime import date
from enum import StrEnum

import numpy as np
from pydantic import Field

from batterymodel.basis.intervals import Interval
from batterymodel.budget.endurance import Endurance
from batterymodel.budget.peaks import Dip, SupplyAlone
from batterymodel.budget.resistance import Resistance
from batterymodel.rules.results import Finding, Result


class Verdict(StrEnum):
    """Whether a task fits on a supply."""

    FITS = "fits"
    FITS_WITH_LESS = "fits_with_less"
    TOO_MUCH = "too_much"


class Part(StrEnum):
    """What a consumer is to a task."""

    NEEDED = "needed"
    WANTED = "wanted"
    STAYS_ON = "stays_on"
    NOT_IN_TASK = "not_in_task"


class OutputLimit(Result):
    """One thing that limits a supply's output: how much, and where the number comes from.

    ``sd_a`` is the spread of the limit itself [A]. ``over_hours``: it holds for the mean over
    three hours, not for each moment. ``applies``: it counts for this task. ``generic`` marks a
    number that is no plate's and no document's.
    """

    name: str
    limit_a: float
    source: str
    sd_a: float = 0.0
    over_hours: bool = False
    applies: bool = True
    generic: bool = False


class Capability(Result):
    """What a supply can give for a task.

    ``limits`` are all that were found, the lowest that applies first. ``binding`` names the one
    that leaves the least, its spread and the load of the task counted in, ``limit_a`` is its
    current, and ``below_next_a`` how much more the next one leaves [A], None where there is none.
    ``own_a`` is what the supply itself gives, less where it is warm, whatever its circuit carries.
    ``input_factor`` is output watts over input volt-amperes [-], ``cable_ohm`` out and return.
    """

    limits: tuple[OutputLimit, ...]
    own_a: float
    binding: str
    limit_a: float
    below_next_a: float | None
    input_factor: float | None
    cable_ohm: float | None


class Load(Result):
    """What a set of consumers takes: all of them on at once, and the mean over a task [A]."""

    at_once_a: float
    at_once_sd_a: float
    average_a: float
    average_sd_a: float
    charge_ah: float


class Room(Result):
    """One limit against the load of what runs, battery included [A].

    ``load_a`` holds the spreads of consumers, battery and meter; ``with_margin_a`` is what it stays
    below with probability `selection.HELD`, the spread of the limit counted in, and ``spare_a``
    what is left to the limit.
    """

    name: str
    limit_a: float
    load_a: Interval
    with_margin_a: float
    spare_a: float


class Settled(Result):
    """What would hold once the battery's draw has fallen to ``battery_a`` [A] after its taper.

    ``room`` is the limit that then leaves the least, ``left_off`` what is wanted and still does not
    fit. When that is, readings of a supply at its limit do not tell.
    """

    verdict: Verdict
    battery_a: Interval
    room: Room
    left_off: tuple[str, ...]


class ConsumerLine(Result):
    """One consumer in a task: what it draws, what it is to the task, whether it runs."""

    name: str
    continuous_a: Interval
    starting_a: float | None
    duty: float
    part: Part
    runs: bool
    may_switch_off: bool
    why: str


class Configuration(Result):
    """What is on and what is off for a task: what the record keeps of the aircraft.

    ``document`` and ``said_by`` are those of the load plan, ``said_on`` the day of
    its last alteration.
    """

    tail: str
    task: str
    on: date | None
    runs: tuple[str, ...]
    left_off: tuple[str, ...]
    document: str | None
    said_by: str | None
    said_on: date | None


class BusVoltage(Result):
    """Voltage at the aircraft, the task's load in the cable [V].

    ``drop_v`` is lost in the cable; None where nobody told the cable.
    """

    at_supply_v: Interval
    at_aircraft_v: Interval
    drop_v: float | None


class Timeline(Result):
    """Arrays over a task for its chart, shape ``(n,)``; not part of the JSON.

    ``consumers_a`` is what runs with all of it on at once and ``battery_a`` the battery's draw [A],
    zero where it is not known; ``with_margin_a`` holds both with their margin.
    """

    time_min: np.ndarray
    consumers_a: np.ndarray
    battery_a: np.ndarray
    with_margin_a: np.ndarray


class Start(Result):
    """A motor's start while the task runs.

    ``timed`` says whether anybody told ``starting_s``. ``with_battery`` is None where no battery is
    known that may be used.
    """

    name: str
    starting_a: float
    starting_s: float
    timed: bool
    with_battery: Dip | None
    supply_alone: SupplyAlone


class But(Result):
    """What a load that fits is no use without: the rule that found it, and its words.

    ``said`` has no capital and no full stop.
    """

    rule: str
    said: str


class Learned(Result):
    """What a connection's load steps taught of one consumer [A].

    ``readings`` is the number of steps its current rests on now, ``steps`` how many of them are of
    this connection. ``counted_a`` is what this budget counts it with: ``after_a``, and no less than
    ``seen_a`` where it draws more than before. ``more_probability`` [0..1] that it does,
    ``more_a`` how much if so, ``seen_a`` the mean of the new steps.
    """

    name: str
    before_a: Interval
    after_a: Interval
    counted_a: Interval
    readings: int
    steps: int
    more_probability: float
    more_a: Interval
    seen_a: float


class Budget(Result):
    """Everything said of one task on one supply. `model_dump(mode="json")` is the JSON contract.

    ``battery_a`` is the battery's present draw, None where it is not known. ``room`` has every
    limit that applies, the tightest first; ``spare_a`` is that of the first, below zero where it
    does not fit. ``wait_minutes`` is the time until all that is wanted fits, as the battery's draw
    falls; None where it fits now or waiting does not help. ``starts`` are those of the consumers
    that run, ``battery_ohm`` the battery's resistance with its leads, ``on_battery`` the same task
    without ground power; these two are None where no battery is known that may be used.
    ``settled`` is what holds after the battery's taper, where the supply is at its limit now and
    not all of the task fits; else None. ``buts`` are what the headline says behind the verdict.
    """

    verdict: Verdict
    headline: str
    buts: tuple[But, ...]
    tail: str
    task: str
    minutes: float
    supply: str
    capability: Capability
    load: Load
    battery_a: Interval | None
    room: tuple[Room, ...]
    spare_a: float
    consumers: tuple[ConsumerLine, ...]
    wait_minutes: Interval | None
    settled: Settled | None
    voltage: BusVoltage
    starts: tuple[Start, ...]
    battery_ohm: Resistance | None
    on_battery: Endurance | None
    learned: tuple[Learned, ...]
    configuration: Configuration
    findings: tuple[Finding, ...]
    next_steps: tuple[str, ...]
    not_checked: tuple[str, ...]
    cautions: tuple[str, ...]
    timeline: Timeline = Field(exclude=True, repr=False)
