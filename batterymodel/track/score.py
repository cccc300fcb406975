"""The score: answers held against truths that came later, counted in words and numbers."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from functools import cached_property

import numpy as np
from scipy.stats import beta

from batterymodel.assessment import ESTIMATE_VERSION
from batterymodel.basis.intervals import LEVEL
from batterymodel.rules.results import Outcome
from batterymodel.track.conformal import Widening, needed_factor, widening_of
from batterymodel.track.kept import KeptAnswer, Spread

LATEST = 20
"""Cases of which coverage over time is taken [-] (own choice: one miss moves it by 5 %)."""

LEAST_SHOWN = 9
"""Cases from which on a share is told in a sentence (own choice: those from which on it acts)."""

SHARE_LEVEL = 0.90
"""Probability inside the range of a share (own choice)."""

FAULT_RULES = frozenset(
    {"capacity", "taper_missing", "current_rising", "temperature_rise", "floor_current"}
)
"""Rules that send a battery away for what servicing would find in it. What others saw, a low
charge, a temperature or a voltage, is gone by then."""


class TruthFrom(StrEnum):
    """What told the truth of a range."""

    TAPER = "taper"
    REST = "rest_after"


class Found(StrEnum):
    """What servicing or a bench check found of a battery."""

    ENOUGH = "capacity_enough"
    LOW = "capacity_low"
    FAULTY_CELL = "faulty_cell"
    NOTHING_WRONG = "nothing_wrong"


SOUND = frozenset({Found.ENOUGH, Found.NOTHING_WRONG})
"""Finds of a sound battery."""


class Verdict(StrEnum):
    """What such a find says of an outcome; `OPEN`: the answer had not decided."""

    RIGHT = "right"
    WRONG = "wrong"
    OPEN = "open"
    NOT_TOLD = "not_told"


@dataclass(frozen=True)
class Answered:
    """Which answer it is: of which connection and battery, and of what day.

    ``kind`` is the kind of battery in words and ``rated_ah`` its rated capacity [Ah].
    """

    connection_id: str
    battery_id: str
    chemistry: str
    kind: str
    rated_ah: float
    on: date
    answer: KeptAnswer

    @property
    def is_present(self) -> bool:
        """Whether the present version of the estimate made it."""
        return self.answer.made_by == ESTIMATE_VERSION


@dataclass(frozen=True)
class RangeCase:
    """A range held against a truth with its error, both in the range's unit; known from a day on.

    ``per_point`` is one point of state of charge in that unit.
    """

    answered: Answered
    told: Spread
    truth: float
    truth_sd: float
    truth_from: TruthFrom
    known_on: date
    per_point: float

    @cached_property
    def needed(self) -> float | None:
        """Least factor at which the range holds the truth; None where that cannot tell."""
        return needed_factor(self.told, self.truth, self.truth_sd)

    @property
    def is_covered(self) -> bool:
        """Whether the range as it was shown held the truth."""
        return self.needed is not None and self.needed <= self.answered.answer.widening

    @property
    def error_points(self) -> float:
        """Median of the answer less truth [points of state of charge]."""
        return (self.told.middle - self.truth) / self.per_point


@dataclass(frozen=True)
class Find:
    """What was found on a day; None: a capacity of which none can tell if it is enough.

    ``is_measured`` tells a capacity from what was seen; ``counts`` is False for one of which the
    record holds a lower one of its day.
    """

    found: Found | None
    on: date
    is_measured: bool = False
    counts: bool = True

    @property
    def is_sound(self) -> bool:
        """Whether it speaks of a sound battery."""
        return self.found in SOUND


@dataclass(frozen=True)
class OutcomeCase:
    """An outcome held against what was found later; ``opposite`` are finds that contradict that."""

    answered: Answered
    found: Found
    found_on: date
    opposite: tuple[Find, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """What the find says of the outcome."""
        return verdict_of(self.answered.answer, self.found)


def verdict_of(answer: KeptAnswer, found: Found) -> Verdict:
    """What a find says of an outcome.

    Parameters
    ----------
    answer : KeptAnswer
    found : Found

    Returns
    -------
    Verdict
        A battery sent away for its charge, a temperature or a voltage is not told wrong by a sound
        find: none of these is there any more.
    """
    is_sound = found in SOUND
    if answer.outcome is Outcome.KEEP_WATCHING:
        return Verdict.OPEN
    if answer.outcome is Outcome.TOP_OFF:
        return Verdict.RIGHT if is_sound else Verdict.WRONG
    if not is_sound:
        return Verdict.RIGHT
    return Verdict.WRONG if answer.decided_by in FAULT_RULES else Verdict.NOT_TOLD


@dataclass(frozen=True)
class Tally:
    """Cases counted together: how many ranges held the truth, and how far off they were.

    ``low`` and ``high`` bound the share that holds in the long run, with `SHARE_LEVEL`;
    ``error_points`` is the median distance from the truth and ``bias_points`` the median of answer
    less truth [points of state of charge].
    """

    name: str
    cases: int
    covered: int
    low: float
    high: float
    error_points: float
    bias_points: float

    @property
    def share(self) -> float:
        """Part of the ranges that held the truth [0..1]."""
        return self.covered / self.cases


@dataclass(frozen=True)
class Moment:
    """How many of the latest `LATEST` ranges up to a day held the truth."""

    on: date
    cases: int
    share: float
    mean_widening: float


@dataclass(frozen=True)
class TrackRecord:
    """Everything that was scored, in order of the day the truth was known.

    ``untold`` are ranges whose truth was less sure than they are: they are in no count.
    """

    ranges: tuple[RangeCase, ...] = ()
    outcomes: tuple[OutcomeCase, ...] = ()
    untold: tuple[RangeCase, ...] = ()

    @property
    def unsure(self) -> int:
        """How many truths were less sure than the range they were held against."""
        return len(self.untold)

    @property
    def unsure_by(self) -> dict[TruthFrom, int]:
        """The same by what told them, those that told none left out."""
        told = [case.truth_from for case in self.untold]
        return {one: told.count(one) for one in TruthFrom if one in told}

    @property
    def present(self) -> tuple[RangeCase, ...]:
        """Ranges by the present version of the estimate."""
        return tuple(case for case in self.ranges if case.answered.is_present)

    @property
    def former(self) -> tuple[RangeCase, ...]:
        """Ranges by another version, or by one that nobody noted."""
        return tuple(case for case in self.ranges if not case.answered.is_present)

    def widening(self, chemistry: str) -> Widening:
        """Factor of the next ranges of a chemistry: a belief belongs to one chemistry.

        Parameters
        ----------
        chemistry : str

        Returns
        -------
        Widening
            By the answers of the present version alone.
        """
        own = [case for case in self.present if case.answered.chemistry == chemistry]
        return widening_of([case.needed for case in own if case.needed is not None])

    def verdicts(self) -> dict[Verdict, int]:
        """How often a find said what of an outcome.

        Returns
        -------
        dict of Verdict to int
        """
        found = [case.verdict for case in self.outcomes]
        return {verdict: found.count(verdict) for verdict in Verdict}


def record_of(ranges: Iterable[RangeCase], outcomes: Iterable[OutcomeCase]) -> TrackRecord:
    """The track record of some cases, those left out whose truth cannot tell.

    Parameters
    ----------
    ranges : iterable of RangeCase
    outcomes : iterable of OutcomeCase

    Returns
    -------
    TrackRecord
    """
    every = sorted(ranges, key=lambda case: (case.known_on, case.answered.connection_id))
    telling = tuple(case for case in every if case.needed is not None)
    found = sorted(outcomes, key=lambda case: (case.found_on, case.answered.connection_id))
    untold = tuple(case for case in every if case.needed is None)
    return TrackRecord(telling, tuple(found), untold)


def tally_of(name: str, cases: Sequence[RangeCase]) -> Tally:
    """The cases counted together.

    The bounds of the share are Jeffreys' interval: quantiles of a beta distribution with a half
    more hit and a half more miss than were counted.

    Parameters
    ----------
    name : str
    cases : sequence of RangeCase
        At least one.

    Returns
    -------
    Tally
    """
    covered, n = sum(case.is_covered for case in cases), len(cases)
    tail = (1.0 - SHARE_LEVEL) / 2.0
    counted = beta(covered + 0.5, n - covered + 0.5)
    low, high = float(counted.ppf(tail)), float(counted.ppf(1.0 - tail))
    errors = np.array([case.error_points for case in cases])
    return Tally(
        name=name,
        cases=n,
        covered=covered,
        low=0.0 if covered == 0 else low,
        high=1.0 if covered == n else high,
        error_points=float(np.median(np.abs(errors))),
        bias_points=float(np.median(errors)),
    )


def tallies(cases: Sequence[RangeCase], name_of: Callable[[RangeCase], str]) -> tuple[Tally, ...]:
    """The cases counted by a name each, most cases first.

    Parameters
    ----------
    cases : sequence of RangeCase
    name_of : callable

    Returns
    -------
    tuple of Tally
    """
    groups: dict[str, list[RangeCase]] = {}
    for case in cases:
        groups.setdefault(name_of(case), []).append(case)
    found = [tally_of(name, group) for name, group in groups.items()]
    return tuple(sorted(found, key=lambda tally: (-tally.cases, tally.name)))


def over_time(cases: Sequence[RangeCase]) -> tuple[Moment, ...]:
    """Coverage of the latest cases at each day on which a truth was known.

    Parameters
    ----------
    cases : sequence of RangeCase
        In order of that day.

    Returns
    -------
    tuple of Moment
        From the first day on by which there are `LEAST_SHOWN` cases.
    """
    last_of_day = {case.known_on: place + 1 for place, case in enumerate(cases)}
    return tuple(
        _moment(on, cases[max(end - LATEST, 0) : end])
        for on, end in last_of_day.items()
        if end >= LEAST_SHOWN
    )


def _moment(on: date, latest: Sequence[RangeCase]) -> Moment:
    share = sum(case.is_covered for case in latest) / len(latest)
    mean = float(np.mean([case.answered.answer.widening for case in latest]))
    return Moment(on, len(latest), share, mean)


PROMISED = LEVEL
"""Share of ranges that should hold the truth [0..1]."""
