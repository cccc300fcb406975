"""A connection in progress, made ready to be shown: the answer so far, and what to ask for next."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError
from batterymodel.inputs.records import Battery, Chemistry
from batterymodel.rules.results import Assessment, Outcome
from batterymodel.store import Store
from batterymodel.store.acts import InProgress, Quantity, State
from batterymodel.store.finishing import battery_so_far, told_so_far
from batterymodel.store.noted_readings import readings_of

LEAST_READINGS = 3
"""Currents that an answer takes at least (`taper.fit.fit_taper`)."""

FIRST_WAIT_S = 15.0
"""Time to the next reading while there is no answer yet [s] (own choice)."""


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
    ``due_s`` is the time since connection at which the next reading is wanted [s].
    """

    connection: InProgress
    battery: Battery | None
    assessment: Assessment | None
    problem: str | None
    question: Question | None
    due_s: float

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
    battery, assessment, problem = None, None, None
    try:
        battery = battery_so_far(store, connection)
        if len(_currents_s(connection)) >= LEAST_READINGS:
            supply = connection.told.supply
            assessment = assess(readings_of(connection), battery, supply, **told_so_far(connection))
    except BatteryModelError as error:
        problem = str(error)
    return LiveView(
        connection=connection,
        battery=battery,
        assessment=assessment,
        problem=problem,
        question=None if battery is None else question_for(connection, battery, assessment),
        due_s=_due_s(connection, assessment),
    )


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
    told, last = connection.told, connection.last_reading
    name = told.serial or told.tail or "battery"
    minutes = max((now - connection.started_at).total_seconds() / 60.0, 0.0)
    ago = f"{minutes:.0f} min ago" if minutes < 120.0 else f"{minutes / 60.0:.0f} h ago"
    count = len(connection.readings)
    read = "nothing read yet" if last is None else f"{count} reading{'s' * (count != 1)}"
    return f"{name}, begun {ago}, {read}"


def ended_words(connection: InProgress) -> tuple[str, ...]:
    """What became of a connection that is no longer in progress.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    tuple of str
        Sentences.
    """
    if connection.state is State.LEFT:
        return (f"This connection was left unfinished ({connection.left_because}).",)
    said = [f"This connection is in the record of {connection.told.serial}."]
    if late := len(connection.late):
        said.append(
            f"{late} reading{'s' * (late != 1)} or marks came after it was kept and are not in it: "
            f"correct the entry {connection.connection_id} where they matter."
        )
    return tuple(said)


def _known(connection: InProgress, name: str) -> bool:
    told = connection.told
    if name in (told.skipped or ()) or getattr(told, name) is not None:
        return True
    read = {reading.quantity for _, reading in connection.readings}
    if name == "load_a":
        return bool(read & {Quantity.LOAD, Quantity.BATTERY_CURRENT})
    return name == "battery_temp_c" and Quantity.BATTERY_TEMP in read


def _currents_s(connection: InProgress) -> list[float]:
    """Times of the supply's currents noted so far [s]."""
    readings = (reading for _, reading in connection.readings)
    return [r.elapsed_s for r in readings if r.quantity is Quantity.SUPPLY_CURRENT]


def _due_s(connection: InProgress, assessment: Assessment | None) -> float:
    """Time since connection at which the next reading is wanted [s]."""
    wait_s = FIRST_WAIT_S
    if assessment is not None and assessment.next_reading_minutes is not None:
        wait_s = 60.0 * assessment.next_reading_minutes
    return max(_currents_s(connection), default=0.0) + wait_s
