"""The ground power budget from the record: aircraft and battery as known, made ready to show."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from batterymodel.assessment import assess
from batterymodel.basis.text import alike
from batterymodel.budget.battery import BatteryNow, battery_now
from batterymodel.budget.plan import budget
from batterymodel.budget.results import Budget, Verdict
from batterymodel.budget.wording import VERDICT_SIGNS, VERDICT_WORDS, amperes, listed
from batterymodel.errors import BatteryModelError, InputError
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import Battery, Readings, Supply
from batterymodel.rules.results import SEVERITY_ORDER, Severity
from batterymodel.say.battery_since import overtaken
from batterymodel.say.budget import battery_first, budget_text
from batterymodel.say.connection import wrapped
from batterymodel.say.in_progress import LiveView, live_view
from batterymodel.store import Entry, Store
from batterymodel.store.acts import InProgress
from batterymodel.store.finishing import told_so_far
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.intake import TOLD_FIELDS, readings_of
from batterymodel.store.learned_loads import LearnedLoads, learned_loads
from batterymodel.store.noted_readings import readings_of as noted_readings_of
from batterymodel.store.power import loads_in_force
from batterymodel.store.records import (
    Aircraft,
    BatteryPlate,
    Connection,
    LoadConfiguration,
    day_of,
)

FRESH = timedelta(minutes=10)
"""How old a reading may be for its draw to count as the present one (own choice)."""

NO_PLAN = (
    "No consumers and tasks of {tail} are on record; 'record add loads', or a loads file here, "
    "would be right"
)
NO_CONNECTION = "No connection of a battery in {tail} is on record: what it draws is not counted."
NO_ANSWER_YET = (
    "A connection of {name} is in progress, but gives no answer yet: what the battery draws is not "
    "counted."
)
NOT_READ = (
    "The last connection of {name}, of {day}, tells no draw ({why}): what the battery draws is not "
    "counted."
)
LIVE = "The battery {name} draws {draw}: the connection in progress, read {ago} ago."
OF_TODAY = (
    "The battery {name} draws {draw}: as last read in the connection of today, {day}{elsewhere}."
)
OLD = (
    "The battery {name} is counted with {draw}, and alone with the charge it had, as last read in "
    "the connection of {day}{elsewhere}. That is not now: read the ammeter after connecting."
)
SERVICED_SINCE = " If it was serviced since, connect it and take new readings."
BESIDE = " It is not the only one in this aircraft: nothing is counted of {names}."
ELSEWHERE = ", in another aircraft"
READ_AGAIN = " That is not now: read the ammeter again."
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


@dataclass(frozen=True)
class BatterySeen:
    """An aircraft's battery as a connection showed it last: its draw, and when that was read.

    ``read_at`` is the moment of the last reading of a connection in progress, ``entry_id`` the
    connection on record; one of both is None. ``supply`` is the one it was read on, where that is
    on record. ``temp_c`` is the battery's temperature [degC],
    where it was read with the draw. ``readings`` are None, and ``elsewhere`` says so, where
    that was in another aircraft: the consumers it switched are not those of this one.
    ``newer`` says what came after it and what is not known since.
    """

    name: str
    battery: Battery
    now: BatteryNow
    readings: Readings | None
    temp_c: float | None
    read_at: datetime | None = None
    entry_id: str | None = None
    day: str = ""
    supply: Supply | None = None
    elsewhere: str = ""
    newer: str = ""


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


def power_view(
    store: Store,
    tail: str,
    task: str,
    supply: Supply,
    now: datetime,
    supply_temp_c: float | None = None,
) -> PowerView:
    """The budget of a task by what the record knows of aircraft and battery.

    Consumers count with what connections taught of them; what the one teaches that the battery's
    draw is from is compared with those before it.

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
    with store.reading():
        loads = loads_in_force(store, tail, now.date())
        if loads is None:
            raise InputError(NO_PLAN.format(tail=tail))
        aircraft = store.aircraft(tail)
        seen, why_not = battery_seen(store, aircraft, now)
        beside = _beside(store, aircraft, seen) if seen else ()
        learned = learned_loads(store, loads, but=seen.entry_id if seen else None)
    told = {"supply_temp_c": supply_temp_c, "on": now.date(), **_told_of(seen)}
    return PowerView(budget(learned.loads, task, supply, **told), seen, why_not, learned, beside)


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


def battery_seen(
    store: Store, aircraft: Entry[Aircraft], now: datetime
) -> tuple[BatterySeen | None, str]:
    """The battery of an aircraft as it was seen last, or why nothing of it is counted.

    Parameters
    ----------
    store : Store
    aircraft : Entry of Aircraft
    now : datetime
        With its UTC offset.

    Returns
    -------
    seen : BatterySeen or None
    why_not : str
        Empty where it was seen.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    last = _last_connection(store, aircraft, now)
    for connection in _in_progress_on(store, aircraft):
        if last is not None and last.record.day > connection.day:
            break
        view = live_view(store, connection)
        seen = _seen_live(store, view, now)
        name = connection.told.serial or connection.told.tail or ""
        return (seen, "") if seen else (None, NO_ANSWER_YET.format(name=name))
    if last is None:
        return None, NO_CONNECTION.format(tail=aircraft.record.tail)
    return _seen_on_record(store, aircraft, last, now)


def _in_progress_on(store: Store, aircraft: Entry[Aircraft]) -> Iterator[InProgress]:
    """Connections in progress of this aircraft, begun last first."""
    for connection in connections_in_progress(store):
        told = connection.told
        if told.serial is not None and _is_on_record(store, told.serial):
            where = store.aircraft_of(told.serial, connection.day)
            if where is not None and where.id == aircraft.id:
                yield connection
        elif told.tail and alike(told.tail) == alike(aircraft.record.tail):
            yield connection


def _is_on_record(store: Store, serial: str) -> bool:
    """Whether the battery is on record; one that was deleted since it was connected is not."""
    try:
        store.plate(serial)
    except InputError:
        return False
    return True


def _seen_live(store: Store, view: LiveView, now: datetime) -> BatterySeen | None:
    if view.assessment is None or view.battery is None:
        return None
    connection, serial = view.connection, view.connection.told.serial
    drawing, newer = battery_now(view.assessment, view.battery.chemistry), ""
    if serial is not None:
        since = (store, store.plate(serial), drawing)
        drawing, newer = overtaken(*since, _is_after(connection.day), now.date())
    readings = noted_readings_of(connection)
    last_s = max(reading.elapsed_s for _, reading in connection.readings)
    return BatterySeen(
        name=connection.told.serial or view.battery.tail,
        battery=view.battery,
        now=drawing,
        readings=readings,
        temp_c=_temp_c(readings, told_so_far(connection)["ambient_c"]),
        read_at=connection.started_at + timedelta(seconds=last_s),
        newer=newer,
    )


def _is_after(day: date) -> Callable[[Entry[Any]], bool]:
    """Whether an entry speaks of a later day."""
    return lambda entry: (day_of(entry.record) or day) > day


def _last_connection(
    store: Store, aircraft: Entry[Aircraft], now: datetime
) -> Entry[Connection] | None:
    """The last connection up to a moment of a battery that is in the aircraft."""
    found = [
        connection
        for plate in _batteries_in(store, aircraft)
        for connection in store.entries(Connection, battery_id=plate.id)
        if connection.record.day <= now.date()
    ]
    return max(found, key=lambda entry: entry.order, default=None)


def _batteries_in(store: Store, aircraft: Entry[Aircraft]) -> list[Entry[BatteryPlate]]:
    return [
        plate
        for plate in store.entries(BatteryPlate)
        if (where := store.aircraft_of(plate.record.serial)) and where.id == aircraft.id
    ]


def _beside(store: Store, aircraft: Entry[Aircraft], seen: BatterySeen) -> tuple[str, ...]:
    """Serials of the aircraft's batteries but the one that was seen."""
    serials = (plate.record.serial for plate in _batteries_in(store, aircraft))
    return tuple(serial for serial in serials if alike(serial) != alike(seen.name))


def _seen_on_record(
    store: Store, aircraft: Entry[Aircraft], entry: Entry[Connection], now: datetime
) -> tuple[BatterySeen | None, str]:
    told, plate = entry.record, store.entry(entry.record.battery_id)
    name, is_here = plate.record.serial, told.aircraft_id == aircraft.id
    try:
        readings = readings_of(store, told)
        then = store.battery(name, told.day, before=told.started_at, again=entry.id)
        known = {key: getattr(told, key) for key in TOLD_FIELDS}
        assessment = assess(readings, then, on=told.day, **known)
    except BatteryModelError as error:
        why = str(error).split("\n", 1)[0]
        return None, NOT_READ.format(name=name, day=told.day, why=why)
    is_today = told.day == now.date()
    drawing, newer = overtaken(
        store,
        plate,
        battery_now(assessment, then.chemistry),
        lambda other: other.order > entry.order,
        now.date(),
    )
    return BatterySeen(
        name=name,
        battery=store.battery(name),
        now=drawing,
        readings=readings if is_here else None,
        temp_c=_temp_c(readings, told.ambient_c) if is_today else None,
        entry_id=entry.id,
        day=str(told.day),
        supply=told.supply,
        elsewhere="" if is_here else ELSEWHERE,
        newer=newer,
    ), ""


def _temp_c(readings: Readings, told_c: float | None) -> float | None:
    _, temps_c = readings.battery_temps()
    return float(temps_c[-1]) if temps_c.size else told_c


def battery_words(view: PowerView, now: datetime) -> str:
    """What the battery is counted with and from when, or that it is not counted.

    Parameters
    ----------
    view : PowerView
    now : datetime
        With its UTC offset.

    Returns
    -------
    str
        One or two sentences.
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
    said = template.format(name=seen.name, draw=draw, day=seen.day, elsewhere=seen.elsewhere)
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
    return Box(BOX_OF_VERDICT[verdict], VERDICT_SIGNS[verdict], VERDICT_WORDS[verdict])


OPEN = (Severity.WATCH, Severity.SERVICE, Severity.DISCONNECT)
"""Severities of findings that ask for something."""

KNOWN = "Known configuration of {on}, on {supply}: on are {runs}; off are {off}. {source}"
NOT_KNOWN = "No configuration for {task} is on record yet."
SOURCE = "Currents from {document}, said by {by} on {on}."
SOURCE_OF_LOADS = "Consumers and tasks of {tail}: from {document}, said by {by} on {on}."
NOBODY, NO_DOCUMENT, NO_DAY = "somebody not named", "no document named", "a day not told"


def known_words(task: str, known: LoadConfiguration | None) -> str:
    """The configuration that was chosen last for a task, with its day and who said so.

    Parameters
    ----------
    task : str
    known : LoadConfiguration or None

    Returns
    -------
    str
    """
    if known is None:
        return NOT_KNOWN.format(task=task)
    source = SOURCE.format(
        document=known.document or NO_DOCUMENT,
        by=known.said_by or NOBODY,
        on=known.said_on or NO_DAY,
    )
    return KNOWN.format(
        on=known.on,
        supply=known.supply or "a supply not told",
        runs=", ".join(one.name for one in known.consumers) or "none",
        off=", ".join(known.left_off or ()) or "none",
        source=source,
    )


def loads_words(loads: AircraftLoads) -> str:
    """Where an aircraft's loads are from: document, who said so, and when.

    Parameters
    ----------
    loads : AircraftLoads

    Returns
    -------
    str
    """
    return SOURCE_OF_LOADS.format(
        tail=loads.tail,
        document=loads.document or NO_DOCUMENT,
        by=loads.said_by or NOBODY,
        on=loads.on or NO_DAY,
    )
