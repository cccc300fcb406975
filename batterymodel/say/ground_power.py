"""The ground power budget from the record: aircraft and battery as known, made ready to show."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from batterymodel.basis.text import alike
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Budget, Verdict
from batterymodel.budget.wording import VERDICT_SIGNS, VERDICT_WORDS, amperes, listed
from batterymodel.errors import InputError
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import Supply
from batterymodel.rules.results import SEVERITY_ORDER, Severity
from batterymodel.say.battery_seen import BatterySeen, batteries_beside, battery_seen
from batterymodel.say.budget import battery_first, budget_text
from batterymodel.say.connection import wrapped
from batterymodel.store import Store
from batterymodel.store.learned_loads import LearnedLoads, learned_loads, told_after
from batterymodel.store.power import first_loads_on, loads_in_force
from batterymodel.store.records import (
    LoadConfiguration,
)

FRESH = timedelta(minutes=10)
"""How old a reading may be for its draw to count as the present one (own choice)."""

NO_PLAN = (
    "No consumers and tasks of {tail} are on record; 'record add loads', or a loads file here, "
    "would be right"
)
NOT_YET = (
    "No consumers and tasks of {tail} are on record for {day}: the first are of {first}; that day "
    "or a later one would be right"
)
LIVE = "The battery {name} draws {draw}: the connection in progress, read {ago} ago."
OF_TODAY = (
    "The battery {name} draws {draw}: as last read in the connection of today, {day}{elsewhere}."
)
OLD = (
    "The battery {name} is counted with {draw}{alone}, as last read in the connection of "
    "{day}{elsewhere}. That is not now: read the ammeter after connecting."
)
ALONE_WITH = ", and alone with the charge it had"
SERVICED_SINCE = " If it was serviced since, connect it and take new readings."
BESIDE = " It is not the only one in this aircraft: nothing is counted of {names}."
READ_AGAIN = " That is not now: read the ammeter again."
OTHER_LOADS = (
    "the loads are those of '{loads}', not of '{tail}'; those of one aircraft would be right"
)
LEARNED_FROM = "Currents of {names} are as {connections} on record taught them."
TAUGHT = (
    "{name} took {seen} in the connection looked at, where {before} was known: it counts with "
    "{after} now."
)
TEXT_TITLE = "Ground power of {tail}, worked out on {day}."
BATTERY_FIRST_WORD, BATTERY_FIRST_SIGN = "Battery first", "✕"
BOX_OF_VERDICT = {
    Verdict.FITS: "top_off",
    Verdict.FITS_WITH_LESS: "keep_watching",
    Verdict.TOO_MUCH: "service",
}
"""Outcome whose rule the box of a verdict has."""
BOX_WITH_BUT = ("keep_watching", "!", "Fits, but read on")
"""The box of a load that fits where the bus or a start does not (`Budget.buts`)."""


@dataclass(frozen=True)
class PowerView:
    """A budget with what it rests on: the battery as it was seen, or why it is not counted.

    ``beside`` are the serials of the aircraft's other batteries, of which nothing is counted.
    """

    budget: Budget
    seen: BatterySeen | None
    why_not: str
    learned: LearnedLoads
    beside: tuple[str, ...] = ()


@dataclass(frozen=True)
class Box:
    """What stands in the ruled box: class of its rule, sign and word."""

    kind: str
    sign: str
    word: str


@dataclass(frozen=True)
class PowerBasis:
    """What the budgets of an aircraft rest on, whatever their task and supply.

    ``told`` is what `budget.plan.budget` takes of the battery; ``seen``, ``why_not`` and ``beside``
    are as in `PowerView`, where the record tells of the battery.
    """

    learned: LearnedLoads
    told: dict[str, Any]
    seen: BatterySeen | None = None
    why_not: str = ""
    beside: tuple[str, ...] = ()


def power_basis(
    store: Store,
    tail: str,
    now: datetime,
    loads: AircraftLoads | None = None,
    battery: dict[str, Any] | None = None,
) -> PowerBasis:
    """What the record knows of an aircraft's loads and of its battery.

    Consumers count with what connections taught of them; what the one teaches that the battery's
    draw is from is compared with those before it.

    Parameters
    ----------
    store : Store
    tail : str
    now : datetime
        The moment, with its UTC offset.
    loads : AircraftLoads, optional
        In place of those on record; they stand as they are.
    battery : dict, optional
        What is told of the battery in place of what the record knows of it.

    Returns
    -------
    PowerBasis

    Raises
    ------
    InputError
        An aircraft that is not on record, has no load plan, or has another tail than the loads.
    """
    with store.reading():
        aircraft = store.aircraft(tail)
        seen, why_not = (None, "") if battery is not None else battery_seen(store, aircraft, now)
        beside = batteries_beside(store, aircraft, seen, now.date()) if seen else ()
        but = seen.entry_id if seen else None
        after: frozenset[str] = frozenset()
        if loads is None:
            in_force = _loads(store, aircraft.record.tail, now)
            learned = learned_loads(store, in_force, but=but)
            if seen is not None:
                after = told_after(store, in_force, seen.entry_id, seen.read_at)
        else:
            learned = LearnedLoads(loads)
    if loads is not None and alike(loads.tail) != alike(tail):
        raise InputError(OTHER_LOADS.format(loads=loads.tail, tail=tail))
    told = _told_of(seen) if battery is None else battery
    if seen is not None and after:
        told = {**told, "told_after": after}
    return PowerBasis(learned, told, seen, why_not, beside)


def _loads(store: Store, tail: str, now: datetime) -> AircraftLoads:
    loads = loads_in_force(store, tail, now.date())
    if loads is None:
        raise InputError(_no_plan(store, tail, now.date()))
    return loads


def _no_plan(store: Store, tail: str, day: date) -> str:
    """That no loads are on record, or none as early as the day."""
    first = first_loads_on(store, tail)
    if first is None or first <= day:
        return NO_PLAN.format(tail=tail)
    return NOT_YET.format(tail=tail, day=day, first=first)


def view_on(
    basis: PowerBasis,
    task: str,
    supply: Supply,
    now: datetime,
    supply_temp_c: float | None = None,
) -> PowerView:
    """The budget of a task on a supply by what is known of aircraft and battery.

    Parameters
    ----------
    basis : PowerBasis
    task : str
    supply : Supply
    now : datetime
        Its day is that of the configuration.
    supply_temp_c : float, optional
        Air at the supply [degC].

    Returns
    -------
    PowerView

    Raises
    ------
    InputError
        No such task, or a value that cannot be right.
    """
    told = {"supply_temp_c": supply_temp_c, "on": now.date(), **basis.told}
    found = budget(basis.learned.loads, task, supply, **told)
    return PowerView(found, basis.seen, basis.why_not, basis.learned, basis.beside)


def power_view(
    store: Store,
    tail: str,
    task: str,
    supply: Supply,
    now: datetime,
    supply_temp_c: float | None = None,
) -> PowerView:
    """The budget of a task by what the record knows of aircraft and battery.

    Parameters
    ----------
    store : Store
    tail : str
    task : str
    supply : Supply
    now : datetime
        The moment, with its UTC offset; its day is that of the configuration.
    supply_temp_c : float, optional
        Air at the supply [degC].

    Returns
    -------
    PowerView

    Raises
    ------
    InputError
        An aircraft that is not on record or has no load plan, no such task, or a value that
        cannot be right.
    """
    return view_on(power_basis(store, tail, now), task, supply, now, supply_temp_c)


def _told_of(seen: BatterySeen | None) -> dict[str, Any]:
    if seen is None:
        return {}
    return {
        "battery_now": seen.now,
        "battery": seen.battery,
        "readings": seen.readings,
        "battery_temp_c": seen.temp_c,
        "readings_supply": seen.supply,
    }


def battery_words(view: PowerView | PowerBasis, now: datetime) -> str:
    """What the battery is counted with and from when, or that it is not counted.

    Parameters
    ----------
    view : PowerView or PowerBasis
    now : datetime
        With its UTC offset.

    Returns
    -------
    str
        Sentences.
    """
    seen = view.seen
    if seen is None:
        return view.why_not
    others = BESIDE.format(names=listed(view.beside)) if view.beside else ""
    return " ".join(filter(None, (_seen_words(seen, now), seen.newer))) + others


def _seen_words(seen: BatterySeen, now: datetime) -> str:
    draw = amperes(seen.now.current_a.mean)
    if seen.read_at is not None:
        age = max(now - seen.read_at, timedelta())
        said = LIVE.format(name=seen.name, draw=draw, ago=_age_words(age))
        return said + READ_AGAIN * (age > FRESH)
    is_today = seen.day == str(now.date())
    template = OF_TODAY if is_today else OLD
    alone = "" if seen.now.state_of_charge is None else ALONE_WITH
    about = {"name": seen.name, "day": seen.day, "elsewhere": seen.elsewhere}
    said = template.format(draw=draw, alone=alone, **about)
    unknown_since = seen.now.must_come_off and not is_today and not seen.newer
    return said + SERVICED_SINCE * unknown_since


def _age_words(age: timedelta) -> str:
    """Minutes; from two hours on hours, and from two days on days."""
    minutes = age.total_seconds() / 60.0
    if minutes < 120.0:
        return f"{minutes:.0f} min"
    hours = minutes / 60.0
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"


def learned_from_words(learned: LearnedLoads) -> str:
    """Whose currents are learned, and from how many connections; empty where none is.

    Parameters
    ----------
    learned : LearnedLoads

    Returns
    -------
    str
    """
    if not learned.names:
        return ""
    count = learned.connections
    connections = f"{count} connection{'s' * (count != 1)}"
    return LEARNED_FROM.format(names=", ".join(learned.names), connections=connections)


def taught_words(result: Budget) -> tuple[str, ...]:
    """What the connection looked at taught of consumers, a sentence for each.

    Parameters
    ----------
    result : Budget

    Returns
    -------
    tuple of str
    """
    return tuple(
        TAUGHT.format(
            name=one.name,
            seen=amperes(one.seen_a),
            before=amperes(one.before_a.mean),
            after=amperes(one.counted_a.mean),
        )
        for one in result.learned
    )


def view_text(view: PowerView, now: datetime) -> str:
    """The whole budget as text, with its day and what it rests on.

    Parameters
    ----------
    view : PowerView
    now : datetime
        With its UTC offset.

    Returns
    -------
    str
        Several lines. What the connection taught is told as counted already, not as a figure to
        put into a file.
    """
    learned = (learned_from_words(view.learned), *taught_words(view.budget))
    rests_on = (*filter(None, learned), battery_words(view, now))
    return "\n".join(
        [
            wrapped(TEXT_TITLE.format(tail=view.budget.tail, day=now.date())),
            *(wrapped(words) for words in rests_on),
            "",
            budget_text(view.budget.model_copy(update={"learned": ()})),
        ]
    )


def box_of(result: Budget) -> Box:
    """How the box of a budget looks: by its verdict, and by a battery that must come off first.

    Parameters
    ----------
    result : Budget

    Returns
    -------
    Box
    """
    if battery_first(result):
        worst = max((f.severity for f in result.findings), key=SEVERITY_ORDER.index)
        return Box(str(worst), BATTERY_FIRST_SIGN, BATTERY_FIRST_WORD)
    verdict = result.verdict
    if result.buts and verdict is not Verdict.TOO_MUCH:
        return Box(*BOX_WITH_BUT)
    return Box(BOX_OF_VERDICT[verdict], VERDICT_SIGNS[verdict], VERDICT_WORDS[verdict])


OPEN = (Severity.WATCH, Severity.SERVICE, Severity.DISCONNECT)
"""Severities of findings that ask for something."""

KNOWN = "Known configuration of {on}, on {supply}: on are {runs}; off are {off}. {source}"
NOT_KNOWN = "No configuration for {task} is on record yet."
SOURCE = "Currents from {document}, said by {by} on {on}."
ALTERED_SOURCE = (
    "Currents from {document}, said by {by} on {first}; altered since, last on {on}, which need "
    "not be of that document or person."
)
SOURCE_OF_LOADS = "Consumers and tasks of {tail}: from {document}, said by {by} on {on}."
ALTERED_LOADS = (
    "Consumers and tasks of {tail}: from {document}, said by {by} on {first}; altered since, last "
    "on {on}, which need not be of that document or person."
)
NOBODY, NO_DOCUMENT, NO_DAY = "somebody not named", "no document named", "a day not told"


def known_words(task: str, known: LoadConfiguration | None, said_first: date | None = None) -> str:
    """The configuration that was chosen last for a task, with its day and who said so.

    Parameters
    ----------
    task : str
    known : LoadConfiguration or None
    said_first : date, optional
        Since when its document and person are named; what came after it was an alteration.

    Returns
    -------
    str
    """
    if known is None:
        return NOT_KNOWN.format(task=task)
    source = (ALTERED_SOURCE if _is_altered(said_first, known.said_on) else SOURCE).format(
        document=known.document or NO_DOCUMENT,
        by=known.said_by or NOBODY,
        on=known.said_on or NO_DAY,
        first=said_first,
    )
    return KNOWN.format(
        on=known.on,
        supply=known.supply or "a supply not told",
        runs=", ".join(one.name for one in known.consumers) or "none",
        off=", ".join(known.left_off or ()) or "none",
        source=source,
    )


def _is_altered(said_first: date | None, on: date | None) -> bool:
    """Whether loads of a day are others than were said first, by the same document and person."""
    return said_first is not None and on is not None and said_first < on


def loads_words(loads: AircraftLoads, said_first: date | None = None) -> str:
    """Where an aircraft's loads are from: document, who said so, and when.

    Parameters
    ----------
    loads : AircraftLoads
    said_first : date, optional
        Since when the same document and person are named; what came after it was an alteration.

    Returns
    -------
    str
    """
    return (ALTERED_LOADS if _is_altered(said_first, loads.on) else SOURCE_OF_LOADS).format(
        tail=loads.tail,
        document=loads.document or NO_DOCUMENT,
        by=loads.said_by or NOBODY,
        on=loads.on or NO_DAY,
        first=said_first,
    )
