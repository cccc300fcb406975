"""Load steps of a connection given to the consumers that the readings' events name."""

from __future__ import annotations

import re

from batterymodel.basis.intervals import LEVEL_SD, Interval, interval_around
from batterymodel.budget.demand import belief_of
from batterymodel.budget.learning import MeasuredStep, draws_more, measured_steps, updated_by
from batterymodel.budget.results import Learned
from batterymodel.inputs.load_plan import AircraftLoads, Consumer
from batterymodel.inputs.records import Readings, Supply

MORE = 0.95
"""Probability from which on a consumer counts as drawing more than before (own choice)."""

JOINED = re.compile(r"[,;+&/]|\b(?:and|with|then|plus)\b")
"""What joins two things in the words of an event."""

SWITCHING = frozenset(("on", "off", "switched", "turned", "the"))
"""Words of an event that are no second thing's name."""

TEACHING_SIGMAS = 3.0
"""Errors of a step that it is at least, to teach anything [-] (own choice: an event far from its
step stands beside one of nothing)."""


def learned_from(
    loads: AircraftLoads, readings: Readings, supply: Supply | None = None
) -> tuple[Learned, ...]:
    """What the load steps of a connection teach of the consumers.

    A step belongs to the consumer whose name stands in the words of its event, the longest where
    several do; a step that nobody marked belongs to none, nor one that goes the other way than the
    words say.

    Parameters
    ----------
    loads : AircraftLoads
    readings : Readings
    supply : Supply, optional
        Gives the current at which the supply limits.

    Returns
    -------
    tuple of Learned
        One for each consumer that stepped, in the order of the aircraft's list.
    """
    steps = [step for step in measured_steps(readings, supply) if step.marked and _teaches(step)]
    owners = [_only_owner(step.text, loads) for step in steps]
    found = []
    for consumer in loads.consumers:
        own = [step for step, owner in zip(steps, owners, strict=True) if owner is consumer]
        if own:
            found.append(_learned(consumer, own))
    return tuple(found)


def with_learned(loads: AircraftLoads, learned: tuple[Learned, ...]) -> AircraftLoads:
    """The aircraft's loads with the currents that were learned.

    Parameters
    ----------
    loads : AircraftLoads
    learned : tuple of Learned

    Returns
    -------
    AircraftLoads
        Means, spreads and counts of those consumers; a starting current that is below the new
        mean is raised to it. Tasks stay as they are.
    """
    return _taking({one.name: (one.after_a, one.readings) for one in learned}, loads)


def as_counted(loads: AircraftLoads, learned: tuple[Learned, ...]) -> AircraftLoads:
    """The aircraft's loads as a budget counts them beside the connection that taught them.

    Parameters
    ----------
    loads : AircraftLoads
    learned : tuple of Learned

    Returns
    -------
    AircraftLoads
        As of `with_learned`, but with the currents of ``Learned.counted_a``.
    """
    return _taking({one.name: (one.counted_a, one.readings) for one in learned}, loads)


def owner_of(words: str, loads: AircraftLoads) -> Consumer | None:
    """The consumer that the words of an event name.

    Parameters
    ----------
    words : str
        Such as ``fuel pump on``.
    loads : AircraftLoads

    Returns
    -------
    Consumer or None
        None where none is named, or two of which neither is a part of the other's name, or where
        the words tell of something else that was switched, on the list or not: such a step is no
        one's alone.
    """
    named = [one for one in loads.consumers if _is_named(one.name, words)]
    longest = max(named, key=lambda one: len(one.name), default=None)
    if longest is None or not all(_is_named(one.name, longest.name) for one in named):
        return None
    return None if _tells_of_more(words, longest.name) else longest


def _tells_of_more(words: str, name: str) -> bool:
    """Whether words tell of something beside a consumer: a second switching, or a second name."""
    told = " ".join(re.findall(r"\w+|[,;+&/]", words.casefold()))
    own = r"\W+".join(map(re.escape, _plain(name).split()))
    rest = re.sub(rf"(?<!\w){own}(?!\w)", " ", told)
    if len(re.findall(r"\b(?:on|off)\b", rest)) > 1:
        return True
    first, *others = (_plain(part).split() for part in JOINED.split(rest))
    return bool(others) and any(set(part) - SWITCHING for part in (first, *others))


def _only_owner(text: str, loads: AircraftLoads) -> Consumer | None:
    """The consumer of a step; None where two events of it do not name one and the same."""
    first, *others = (owner_of(words, loads) for words in text.split(";"))
    return first if all(one is first for one in others) else None


def _teaches(step: MeasuredStep) -> bool:
    """Whether a step is one, and goes the way that its event says: up for on, down for off."""
    words = _plain(step.text).split()
    if abs(step.size_a) < TEACHING_SIGMAS * step.sd_a:
        return False
    return not (("on" in words and step.size_a < 0.0) or ("off" in words and step.size_a > 0.0))


def _is_named(name: str, words: str) -> bool:
    """Whether a name stands in the words, whole, whatever the letters' case and the spaces."""
    return f" {_plain(name)} " in f" {_plain(words)} "


def _plain(words: str) -> str:
    return " ".join(re.findall(r"\w+", words.casefold()))


def _learned(consumer: Consumer, steps: list[MeasuredStep]) -> Learned:
    before = belief_of(consumer)
    after = updated_by(before, steps)
    more = draws_more(
        before,
        [abs(step.size_a) for step in steps],
        [step.own_sd_a for step in steps],
        max(step.common_sd_a for step in steps),
    )
    counted_a = max(after.mean_a, more.seen_a) if more.probability >= MORE else after.mean_a
    return Learned(
        name=consumer.name,
        before_a=interval_around(before.mean_a, before.sd_a, least=0.0),
        after_a=interval_around(after.mean_a, after.sd_a, least=0.0),
        counted_a=interval_around(counted_a, after.sd_a, least=0.0),
        readings=after.readings,
        steps=len(steps),
        more_probability=more.probability,
        more_a=more.excess_a,
        seen_a=more.seen_a,
    )


def _taking(currents: dict[str, tuple[Interval, int]], loads: AircraftLoads) -> AircraftLoads:
    consumers = tuple(
        _with(one, *currents[one.name]) if one.name in currents else one for one in loads.consumers
    )
    return loads.model_copy(update={"consumers": consumers})


def _with(consumer: Consumer, current_a: Interval, readings: int) -> Consumer:
    mean_a = max(current_a.mean, 0.0)
    starting = consumer.starting_a
    return consumer.model_copy(
        update={
            "continuous_a": mean_a,
            "continuous_sd_a": (current_a.high - current_a.mean) / LEVEL_SD,
            "readings": readings,
            "starting_a": None if starting is None else max(starting, mean_a),
        }
    )
