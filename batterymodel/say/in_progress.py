"""A connection in progress, made ready to be shown: the answer so far, and what to ask for next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.rules.results import Assessment, Outcome, Severity
from batterymodel.rules.wording import OUTCOME_SIGNS, OUTCOME_WORDS, SEVERITY_SIGNS
from batterymodel.say.attention import SEVERITY_OF_OUTCOME, Remark
from batterymodel.store import Store
from batterymodel.store.acts import InProgress, Mark, Noted, Quantity, Reading, State
from batterymodel.store.finishing import battery_so_far, told_so_far
from batterymodel.store.former_plates import PLATE
from batterymodel.store.in_progress import connections_in_progress
from batterymodel.store.noted_readings import marks_left_out, readings_of, stands_alone
from batterymodel.store.track_record import widening

LEAST_READINGS = 3
"""Currents that an answer takes at least (`taper.fit.fit_taper`)."""

FIRST_WAIT_S = 15.0
"""Time to the next reading while there is no answer yet [s] (own choice)."""

LEFT_SHOWN = timedelta(days=7)
"""How long after its beginning a connection that was left is offered again (own choice)."""

NO_ANSWER = "No answer yet"
NO_NAME = "Battery not chosen"
NO_BATTERY = "Which battery is it? Readings may be noted before it is chosen."
ALL_ZERO = (
    "Every reading of the meter is 0: is ground power on, and does this meter show the current of "
    "the supply?"
)
UNITS = {
    Quantity.SUPPLY_CURRENT: "A",
    Quantity.BATTERY_CURRENT: "A",
    Quantity.SUPPLY_VOLTAGE: "V",
    Quantity.BATTERY_TEMP: "°C",
    Quantity.LOAD: "A",
}


@dataclass(frozen=True)
class Question:
    """One thing to be told, by the field it fills, with its unit."""

    name: str
    text: str
    unit: str


QUESTIONS = {
    question.name: question
    for question in (
        Question("rest_voltage_v", "Battery voltage at rest, before power came on?", "V"),
        Question("load_a", "What does the meter show with the battery isolated?", "A"),
        Question("battery_temp_c", "Battery temperature, measured at the battery?", "°C"),
    )
}
"""By the field they fill, in the order they are asked."""

ASKED = {
    Chemistry.VENTED_LEAD_ACID: ("rest_voltage_v", "load_a", "battery_temp_c"),
    Chemistry.VRLA: ("rest_voltage_v", "load_a", "battery_temp_c"),
    Chemistry.NICD: ("battery_temp_c", "load_a"),
    Chemistry.LFP: ("battery_temp_c", "load_a"),
}
"""What is asked for of each kind, in order: a rest voltage only where it tells the charge; a
nickel-cadmium battery's temperature before all else."""

ASKED_BY_OBSERVATION = {
    "temperature": "battery_temp_c",
    "rest_voltage": "rest_voltage_v",
    "bus_load": "load_a",
}


@dataclass(frozen=True)
class LiveView:
    """One connection in progress as a page shows it.

    ``battery`` is None, and ``problem`` says why, where it is not known well enough. ``assessment``
    is None while there are too few readings or ``problem`` says what stands in the way.
    ``due_s`` is the time since connection at which the next reading is wanted [s]; None where
    power comes off.
    """

    connection: InProgress
    battery: Battery | None
    assessment: Assessment | None
    problem: str | None
    question: Question | None
    due_s: float | None

    @property
    def readings_left(self) -> int:
        """Currents that are still needed before there is an answer."""
        return max(LEAST_READINGS - len(_currents_s(self.connection)), 0)


def live_view(store: Store, connection: InProgress) -> LiveView:
    """The connection with its answer so far.

    Parameters
    ----------
    store : Store
    connection : InProgress

    Returns
    -------
    LiveView

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    battery, problem = _battery(store, connection)
    assessment = None
    if battery is not None and len(_currents_s(connection)) >= LEAST_READINGS:
        assessment, problem = _answer(store, connection, battery)
    return LiveView(
        connection=connection,
        battery=battery,
        assessment=assessment,
        problem=problem,
        question=None if battery is None else question_for(connection, battery, assessment),
        due_s=_due_s(connection, assessment),
    )


def is_battery_told(connection: InProgress) -> bool:
    """Whether a connection names its battery, by serial or by a whole plate.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    bool
    """
    told = connection.told
    return told.serial is not None or None not in {getattr(told, name) for name in PLATE}


def _battery(store: Store, connection: InProgress) -> tuple[Battery | None, str | None]:
    """The battery, or None and what stands in the way."""
    told = connection.told
    if told.serial is None and not any(getattr(told, name) for name in PLATE):
        return None, NO_BATTERY
    try:
        return battery_so_far(store, connection), None
    except BatteryModelError as error:
        return None, str(error)


def _answer(
    store: Store, connection: InProgress, battery: Battery
) -> tuple[Assessment | None, str | None]:
    """The answer so far, or None and what stands in the way."""
    currents = (r for _, r in connection.readings if r.quantity is Quantity.SUPPLY_CURRENT)
    if not any(reading.value for reading in currents):
        return None, ALL_ZERO
    try:
        told = {"supply": connection.told.supply, **told_so_far(connection)}
        told["widening"] = widening(store, battery.chemistry, connection.day)
        return assess(readings_of(connection), battery, **told), None
    except BatteryModelError as error:
        return None, str(error)


def question_for(
    connection: InProgress, battery: Battery, assessment: Assessment | None
) -> Question | None:
    """The one thing that is asked for now.

    What the assessment would observe next comes first; else, in their order, what was neither
    told, read nor skipped; nothing where power comes off anyway.

    Parameters
    ----------
    connection : InProgress
    battery : Battery
    assessment : Assessment or None

    Returns
    -------
    Question or None
    """
    if assessment is not None and assessment.outcome in (Outcome.SERVICE, Outcome.DISCONNECT):
        return None
    open_ones = [name for name in ASKED[battery.chemistry] if not _known(connection, name)]
    observation = None if assessment is None else assessment.next_observation
    wanted = ASKED_BY_OBSERVATION.get(observation.name) if observation else None
    if wanted in open_ones:
        return QUESTIONS[str(wanted)]
    return QUESTIONS[open_ones[0]] if open_ones else None


def begun_words(connection: InProgress, now: datetime) -> str:
    """A connection in progress in one line: battery, how long ago it began, what was read last.

    Parameters
    ----------
    connection : InProgress
    now : datetime
        With its UTC offset.

    Returns
    -------
    str
    """
    told, count = connection.told, len(connection.readings)
    name = told.serial or told.tail or NO_NAME
    read = f"{count} reading{'s' * (count != 1)}" if count else "nothing read yet"
    return f"{name}, begun {_ago(now - connection.started_at)} ago, {read}"


def _ago(since: timedelta) -> str:
    minutes = max(since.total_seconds() / 60.0, 0.0)
    if minutes < 120.0:
        return f"{minutes:.0f} min"
    hours = minutes / 60.0
    return f"{hours:.0f} h" if hours < 48.0 else f"{hours / 24.0:.0f} days"


def answer_remark(view: LiveView) -> Remark:
    """The answer so far with its reason, or what is still missing, as one remark.

    Parameters
    ----------
    view : LiveView

    Returns
    -------
    Remark
    """
    assessment = view.assessment
    if assessment is None:
        more = f"{view.readings_left} more reading{'s' * (view.readings_left != 1)} of the meter"
        return Remark(Severity.NOTE, SEVERITY_SIGNS[Severity.NOTE], NO_ANSWER, view.problem or more)
    outcome, reason = assessment.outcome, assessment.reason
    severity, sign = SEVERITY_OF_OUTCOME[outcome], OUTCOME_SIGNS[outcome]
    return Remark(severity, sign, OUTCOME_WORDS[outcome], reason[0].upper() + reason[1:])


def recently_left(store: Store, now: datetime) -> list[InProgress]:
    """Connections that were left, begun at most `LEFT_SHOWN` ago.

    Parameters
    ----------
    store : Store
    now : datetime
        With its UTC offset.

    Returns
    -------
    list of InProgress
        Begun last first.

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    left = connections_in_progress(store, State.LEFT)
    return [connection for connection in left if now - connection.started_at <= LEFT_SHOWN]


def ended_words(connection: InProgress) -> tuple[str, ...]:
    """What became of a connection that is no longer in progress, and what came after.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    tuple of str
        Sentences.
    """
    if connection.state is State.LEFT:
        return (
            f"This connection was left unfinished ({connection.left_because}). What is noted of it "
            "is kept.",
        )
    said = [f"This connection is in the record of {connection.told.serial}."]
    if connection.late:
        late = ", ".join(map(noted_words, connection.late))
        said.append(
            f"After it was kept came: {late}. That is stored, but no part of the answer; correct "
            f"the entry {connection.connection_id} where it matters. If power is still on, begin "
            "a new connection."
        )
    return tuple(said)


def noted_words(noted: Noted) -> str:
    """A reading or mark with its time since connection.

    Parameters
    ----------
    noted : Noted

    Returns
    -------
    str
        Like ``13.4 A at 2:05``.
    """
    minutes, seconds = divmod(int(noted.what.elapsed_s), 60)
    if isinstance(noted.what, Mark):
        return f"'{noted.what.label}' at {minutes}:{seconds:02}"
    unit = "V" if noted.what.quantity == "rest_voltage_v" else UNITS[Quantity(noted.what.quantity)]
    return f"{noted.what.value:g} {unit} at {minutes}:{seconds:02}"


def too_late_words(connection: InProgress, key: str) -> str | None:
    """What to say of a press that came when its connection was no longer in progress.

    Parameters
    ----------
    connection : InProgress
        As it is after the press.
    key : str
        Of the press.

    Returns
    -------
    str or None
        None where there is nothing to say.
    """
    pressed = next((noted for noted in connection.noted if noted.key == key), None)
    if pressed is None or connection.state is State.IN_PROGRESS:
        return None
    words = noted_words(pressed)
    if connection.state is State.LEFT:
        return f"{words} is noted, but the connection had been left unfinished meanwhile."
    late = f"{words} came too late: the connection had been kept in the record meanwhile."
    return late if pressed.late else None


def _known(connection: InProgress, name: str) -> bool:
    told = connection.told
    if name in (told.skipped or ()) or getattr(told, name) is not None:
        return True
    read = {reading.quantity for _, reading in connection.readings}
    if name == "load_a":
        return bool(read & {Quantity.LOAD, Quantity.BATTERY_CURRENT})
    return name == "battery_temp_c" and Quantity.BATTERY_TEMP in read


def _currents_s(connection: InProgress) -> list[float]:
    """Times of the supply's currents that count so far [s]."""
    return [reading.elapsed_s for reading in currents_that_count(connection)]


def currents_that_count(connection: InProgress) -> list[Reading]:
    """The supply's currents noted so far, in order of time, without a meter's marks for no value.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    list of Reading
    """
    left_out = marks_left_out(connection)
    return [
        reading
        for key, reading in connection.readings
        if reading.quantity is Quantity.SUPPLY_CURRENT and key not in left_out
    ]


def _due_s(connection: InProgress, assessment: Assessment | None) -> float | None:
    """Time since connection at which the next reading is wanted [s]; None where power comes off."""
    wait_s = FIRST_WAIT_S
    if assessment is not None:
        if assessment.next_reading_minutes is None:
            return None
        wait_s = 60.0 * assessment.next_reading_minutes
    last_s = max(_currents_s(connection), default=0.0)
    alone_s = (
        reading.elapsed_s
        for _, reading in connection.readings
        if stands_alone(connection, reading) and is_after_meter(connection, reading)
    )
    return min(alone_s, default=last_s + wait_s)


def is_after_meter(connection: InProgress, reading: Reading) -> bool:
    """Whether no supply current was read since a reading: one beside it may still come.

    Parameters
    ----------
    connection : InProgress
    reading : Reading

    Returns
    -------
    bool
    """
    return reading.elapsed_s > max(_currents_s(connection), default=-1.0)
