"""What the record keeps of a fleet: aircraft, batteries, cards, connections, loads, supplies.

Immutable pydantic records like those of `records`; each is the content of one entry of the
store. A field ending in ``_id`` names another entry, one ending in ``_sha256`` a kept file.
"""

from __future__ import annotations

import json
import re
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Annotated, Any

from pydantic import AfterValidator, BeforeValidator, Field, model_validator

from batterymodel.basis.intervals import Interval
from batterymodel.basis.meters import LOAD_SD_A
from batterymodel.basis.text import alike, one_line
from batterymodel.errors import InputError
from batterymodel.inputs.column_map import ColumnMap
from batterymodel.inputs.load_plan import AircraftLoads
from batterymodel.inputs.records import (
    CapacityCheck,
    Celsius,
    CheckedAh,
    Chemistry,
    Fraction,
    History,
    Limits,
    Record,
    Supply,
    Volts,
)
from batterymodel.rules.results import Outcome
from batterymodel.track.kept import KeptAnswer, SeenLater

MAX_FILE_BYTES = 256 * 1024 * 1024
"""Largest file the record keeps, the same as the largest readings file that is read."""


def _line_of(value: Any) -> Any:
    return one_line(value) if isinstance(value, str) else value


def _some_lines(text: Any) -> Any:
    if not isinstance(text, str):
        return text
    return "\n".join(one_line(line) for line in text.splitlines()).strip()


def _json_object(text: str) -> str:
    """The text in one fixed spelling, so that equal results are equal texts."""

    def refused(constant: str) -> float:
        raise ValueError(f"{constant} is not JSON")

    content = json.loads(text, parse_constant=refused)
    if not isinstance(content, dict):
        raise ValueError("an assessment must be one JSON object")
    _check_read_again(content)
    return json.dumps(content, separators=(",", ":"))


def _check_read_again(content: dict[str, Any]) -> None:
    """What the record itself reads of an assessment is of the kind it should be."""
    if content.get("outcome") not in set(Outcome):
        raise ValueError("an assessment must name its outcome")
    charge = content.get("state_of_charge") or {}
    if not isinstance(charge, dict):
        raise ValueError("the state of charge of an assessment must be one JSON object")
    if charge.get("now"):
        Interval.model_validate(charge["now"])


def _in_utc(moment: datetime) -> datetime:
    return moment if moment.tzinfo is None else moment.astimezone(UTC)


UUID_PATTERN = re.compile(r"[0-9a-f]{8}(-[0-9a-f]{4}){3}-[0-9a-f]{12}")

Id = Annotated[str, Field(pattern=f"^{UUID_PATTERN.pattern}$")]
Sha256 = Annotated[str, Field(pattern="^[0-9a-f]{64}$")]
Label = Annotated[str, BeforeValidator(_line_of), Field(min_length=1, max_length=60)]
Line = Annotated[str, BeforeValidator(_line_of), Field(min_length=1, max_length=300)]
Note = Annotated[str, BeforeValidator(_some_lines), Field(min_length=1, max_length=5000)]
ResultJson = Annotated[str, AfterValidator(_json_object)]
ClockTime = Annotated[datetime, AfterValidator(_in_utc)]
Amperes = Annotated[float, Field(ge=0.0, le=1000.0)]


class Aircraft(Record):
    """One aircraft by its tail; `invented` marks demo data."""

    tail: Label
    note: Note | None = None
    invented: bool = False


class BatteryPlate(Record):
    """One battery by its serial: what its plate says, and when it was first installed."""

    serial: Label
    chemistry: Chemistry
    cells: Annotated[int, Field(ge=1, le=40)]
    rated_capacity_ah: Annotated[float, Field(ge=0.5, le=500.0)]
    installed_on: date | None = None
    note: Note | None = None
    invented: bool = False


class CardRevision(Record):
    """A limits card in force from a day on; every edit of a card is a new revision."""

    battery_id: Id
    on: date
    limits: Limits
    reason: Line

    @property
    def document(self) -> str | None:
        """The maker's document the card was taken from."""
        return self.limits.document


class HistoryRevision(Record):
    """What the battery's tapers had taught by a day; `connection_id` is the one that taught it."""

    battery_id: Id
    on: date
    history: History
    connection_id: Id | None = None


class KnownState(Record):
    """A state of charge told to the record, not read from a connection."""

    battery_id: Id
    on: date
    state_of_charge: Fraction
    sd: Annotated[float, Field(gt=0.0, le=0.5)] = 0.05


class Move(Record):
    """A battery put into an aircraft on a day, or taken off (`aircraft_id` is None)."""

    battery_id: Id
    aircraft_id: Id | None = None
    on: date
    reason: Line


class Connection(Record):
    """One connection: its readings file, what was told of it, and its assessment as JSON.

    `started_at` is in UTC where the readings state their offset; else it is the clock of the
    place. `rest_voltage_v` was read before connection, `rest_after_v` after the battery had rested
    again. `not_assessed` says why there is no assessment, or beside one why it is as given before a
    correction, by what was told then: such a one counts for nothing else. `column_map` says how
    the columns of another logger's file are taken; it is None for a file in the project's own
    format. `answers` are those given, an early one before the one of all readings, and `seen_later`
    what they are scored by.
    """

    battery_id: Id
    aircraft_id: Id
    day: date
    started_at: ClockTime | None = None
    file_name: Line
    readings_sha256: Sha256
    supply: Supply | None = None
    rest_voltage_v: Volts | None = None
    rest_after_v: Volts | None = None
    load_a: Amperes | None = None
    load_sd_a: Annotated[float, Field(gt=0.0, le=100.0)] = LOAD_SD_A
    ambient_c: Celsius | None = None
    assessment: ResultJson | None = None
    not_assessed: Note | None = None
    column_map: ColumnMap | None = None
    answers: tuple[KeptAnswer, ...] | None = None
    seen_later: SeenLater | None = None

    @property
    def result(self) -> dict[str, Any] | None:
        """The assessment's JSON contract, read."""
        return None if self.assessment is None else json.loads(self.assessment)


class BenchCheck(Record):
    """A capacity check: the capacity at the reference temperature and how it was measured.

    `is_lower_bound` says that the discharge was stopped before the end voltage.
    """

    battery_id: Id
    on: date
    capacity_ah: CheckedAh
    capacity_sd_ah: Annotated[float, Field(gt=0.0)] | None = None
    is_lower_bound: bool = False
    discharge_current_a: Annotated[float, Field(gt=0.0, le=1000.0)] | None = None
    minutes: Annotated[float, Field(gt=0.0, le=10_000.0)] | None = None
    temperature_c: Celsius | None = None
    end_voltage_v: Volts | None = None
    log_name: Line | None = None
    log_sha256: Sha256 | None = None
    note: Note | None = None

    @property
    def check(self) -> CapacityCheck:
        """The check as a battery carries it."""
        return CapacityCheck(
            on=self.on, capacity_ah=self.capacity_ah, capacity_sd_ah=self.capacity_sd_ah
        )


class ServicingFound(StrEnum):
    """What servicing found of a battery."""

    CAPACITY = "capacity"
    FAULTY_CELL = "faulty_cell"
    NOTHING_WRONG = "nothing_wrong"


class Servicing(Record):
    """A battery back from servicing on a day, and what was found of it.

    A capacity that was measured stands in the capacity check that `check_id` names, and nowhere
    else.
    """

    battery_id: Id
    on: date
    found: ServicingFound
    check_id: Id | None = None
    note: Note | None = None

    @model_validator(mode="after")
    def _capacity_stands_in_a_check(self) -> Servicing:
        if (self.found is ServicingFound.CAPACITY) != (self.check_id is not None):
            raise ValueError(
                "check_id names the capacity check where found is 'capacity', and nothing else"
            )
        return self


class Consumer(Record):
    """One consumer on the bus: what it draws steadily and at most [A]."""

    name: Label
    continuous_a: Amperes
    peak_a: Annotated[float, Field(ge=0.0, le=2000.0)]

    @model_validator(mode="after")
    def _peak_is_the_most(self) -> Consumer:
        if self.peak_a < self.continuous_a:
            raise ValueError(
                f"peak_a ({self.peak_a:g}) must not be below continuous_a ({self.continuous_a:g})"
            )
        return self


class LoadConfiguration(Record):
    """What is switched on in an aircraft in one situation, under a name of its own.

    With `on` it is the known configuration that was chosen that day for the task of its name:
    `left_off` are the consumers that are off, `supply` and `answer` what it was chosen for in
    words, `document`, `said_by` and `said_on` those of the load plan it was chosen from.
    """

    aircraft_id: Id
    name: Label
    consumers: tuple[Consumer, ...]
    note: Note | None = None
    on: date | None = None
    left_off: tuple[Label, ...] | None = None
    supply: Line | None = None
    answer: Line | None = None
    document: Line | None = None
    said_by: Label | None = None
    said_on: date | None = None


class LoadPlan(Record):
    """Consumers and tasks of an aircraft from a day on; every change of them is a new plan.

    Document and who said so stand in `loads`.
    """

    aircraft_id: Id
    on: date
    loads: AircraftLoads
    note: Note | None = None


class WallCircuit(Record):
    """A wall circuit that a supply may hang on; voltage and current where they are not the plate's.

    `input_current_full_load_a` is what the supply draws at full load at this voltage.
    """

    name: Label
    circuit_breaker_a: Annotated[float, Field(gt=0.0, le=500.0)]
    input_voltage_v: Annotated[float, Field(ge=80.0, le=500.0)] | None = None
    input_current_full_load_a: Annotated[float, Field(gt=0.0, le=500.0)] | None = None

    @model_validator(mode="after")
    def _draws_at_its_own_voltage(self) -> WallCircuit:
        if (self.input_voltage_v is None) != (self.input_current_full_load_a is None):
            raise ValueError(
                "input_voltage_v and input_current_full_load_a belong together; both, or neither "
                "where the circuit has the voltage on the plate, would be right"
            )
        return self


class ShopSupply(Supply):
    """A ground supply of the shop under a name of its own, with the circuits it may hang on.

    Without circuits, `circuit_breaker_a` is that of the only one. `invented` marks demo data.
    """

    name: Label
    circuits: tuple[WallCircuit, ...] = ()
    note: Note | None = None
    invented: bool = False

    @model_validator(mode="after")
    def _circuits_are_told_apart(self) -> ShopSupply:
        names = [alike(circuit.name) for circuit in self.circuits]
        for circuit in self.circuits:
            if names.count(alike(circuit.name)) > 1:
                raise ValueError(
                    f"two circuits are named '{circuit.name}'; a name of its own for each would "
                    "be right"
                )
        if self.circuits and self.circuit_breaker_a is not None:
            raise ValueError(
                "circuit_breaker_a is given beside circuits; the breaker with its circuit would "
                "be right"
            )
        return self

    def on_circuit(self, name: str | None = None) -> Supply:
        """The supply as it hangs on one of its circuits.

        Parameters
        ----------
        name : str, optional
            Of the circuit; None takes the first, or the supply as it stands where it has none.

        Returns
        -------
        Supply

        Raises
        ------
        InputError
            No circuit has this name; says which it has.
        """
        wall = self._circuit(name)
        own = {key: getattr(self, key) for key in Supply.model_fields}
        told = {} if wall is None else wall.model_dump(exclude={"name"}, exclude_none=True)
        return Supply(**{**own, **told})

    def _circuit(self, name: str | None) -> WallCircuit | None:
        if name is None:
            return self.circuits[0] if self.circuits else None
        for circuit in self.circuits:
            if alike(circuit.name) == alike(name):
                return circuit
        known = ", ".join(f"'{circuit.name}'" for circuit in self.circuits) or "none"
        raise InputError(f"{self.name}: no circuit is named '{one_line(name)}'; it has {known}")


class OwnerSheet(Record):
    """A sheet handed to an owner: which connection, when, what kind, and the file."""

    connection_id: Id
    made_on: date
    kind: Label
    file_name: Line
    content_sha256: Sha256


def day_of(record: Record) -> date | None:
    """The day a record speaks of; None for aircraft, batteries, supplies and what has no day.

    Parameters
    ----------
    record : Record

    Returns
    -------
    date or None
        Its `on`, `day` or `made_on`.
    """
    for name in ("on", "day", "made_on"):
        if name in type(record).model_fields:
            return getattr(record, name)
    return None
