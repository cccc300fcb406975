"""What is done to a connection while it is in progress, act by act, and what that comes to.

Acts are only ever added, each under a key that the device pressing it made up. `InProgress.after`
takes them in their order; so a repeat of an act adds nothing, and an undo is an act of its own.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Annotated, Any, Literal, TypeAlias

from pydantic import AfterValidator, BeforeValidator, Discriminator, Field, Tag

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.records import Celsius, Chemistry, Record, Supply, Volts
from batterymodel.inputs.table_times import LONGEST_LOG_S
from batterymodel.store.records import Amperes, Id, Label, Line

EARLIEST_YEAR, LATEST_YEAR = 2020, 2200
"""Years that the clock of a device may show (own choice)."""


def _with_offset(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError("no UTC offset; a moment like 2026-03-02T07:43:00+01:00 would be right")
    if not EARLIEST_YEAR <= moment.year <= LATEST_YEAR:
        raise ValueError(f"a clock in the year {moment.year} is not set; set the device's clock")
    return moment


MOST_LABEL, MOST_REASON = 60, 300
"""Most characters of the label of a mark, and of a reason (those of `Label` and `Line`)."""


def _in_few_words(text: Any, most: int) -> Any:
    if isinstance(text, str) and not 1 <= (length := len(one_line(text))) <= most:
        raise ValueError(f"has {length} characters; 1 to {most} would be right")
    return text


KEY_PATTERN = "[A-Za-z0-9_-]{8,64}"

Key = Annotated[str, Field(pattern=f"^{KEY_PATTERN}$")]
LocalMoment = Annotated[datetime, AfterValidator(_with_offset)]
Moment = Annotated[LocalMoment, AfterValidator(lambda moment: moment.astimezone(UTC))]
ShortLabel = Annotated[Label, BeforeValidator(lambda text: _in_few_words(text, MOST_LABEL))]
Reason = Annotated[Line, BeforeValidator(lambda text: _in_few_words(text, MOST_REASON))]
ElapsedS = Annotated[float, Field(ge=0.0, le=LONGEST_LOG_S)]


class Quantity(StrEnum):
    """What a meter showed, by its column of the readings' CSV."""

    SUPPLY_CURRENT = "supply_current_a"
    SUPPLY_VOLTAGE = "supply_voltage_v"
    BATTERY_CURRENT = "battery_current_a"
    BATTERY_TEMP = "battery_temp_c"
    LOAD = "load_a"


class State(StrEnum):
    """How a connection stands."""

    IN_PROGRESS = "in progress"
    LEFT = "left"
    FINISHED = "finished"


class Reading(Record):
    """One meter value, in the unit its quantity names, at a moment of the device's clock."""

    act: Literal["reading"] = "reading"
    quantity: Quantity
    value: float
    noted_at: Moment
    elapsed_s: ElapsedS


class Mark(Record):
    """A switch action at a moment, under a short label."""

    act: Literal["mark"] = "mark"
    label: ShortLabel
    noted_at: Moment
    elapsed_s: ElapsedS


class Answer(Record):
    """What a person answered to a question of the pad, at a moment: it counts until struck out.

    The battery's temperature is none of these: an answer to that question is a `Reading`.
    """

    act: Literal["answer"] = "answer"
    quantity: Literal["rest_voltage_v", "load_a"]
    value: float
    noted_at: Moment
    elapsed_s: ElapsedS


class Strike(Record):
    """A reading, mark or answer struck out, or (`struck` false) counted again."""

    act: Literal["strike"] = "strike"
    noted_key: Key
    struck: bool


class ToldSoFar(Record):
    """What is told of a connection beside its meters; blanks may still be told.

    The battery is known by the `serial` it has on record, or by its plate: tail, chemistry,
    cells, rated capacity. `skipped` names the questions nobody wanted to answer.
    """

    serial: ShortLabel | None = None
    tail: ShortLabel | None = None
    chemistry: Chemistry | None = None
    cells: Annotated[int, Field(ge=1, le=40)] | None = None
    rated_capacity_ah: Annotated[float, Field(ge=0.5, le=500.0)] | None = None
    supply: Supply | None = None
    rest_voltage_v: Volts | None = None
    load_a: Amperes | None = None
    load_sd_a: Annotated[float, Field(gt=0.0, le=100.0)] | None = None
    ambient_c: Celsius | None = None
    battery_temp_c: Celsius | None = None
    skipped: tuple[Label, ...] | None = None

    def given(self) -> dict[str, Any]:
        """What is not blank, by field name."""
        return {n: v for n in ToldSoFar.model_fields if (v := getattr(self, n)) is not None}


class Tell(Record):
    """Fields that were told, and fields that became blank again; all others stay."""

    act: Literal["tell"] = "tell"
    told: ToldSoFar = ToldSoFar()
    blanked: tuple[str, ...] = ()


class Leave(Record):
    """The connection is not to be kept; what was noted of it stays."""

    act: Literal["leave"] = "leave"
    reason: Reason


class TakeUp(Record):
    """A connection that was left goes on."""

    act: Literal["take_up"] = "take_up"


class Finish(Record):
    """The connection is on record, as the entry `connection_id`."""

    act: Literal["finish"] = "finish"
    connection_id: Id


def _word_of(act: Any) -> str | None:
    """The word by which an act of any kind, or its JSON, is told from the others."""
    return act.get("act") if isinstance(act, dict) else getattr(act, "act", None)


Act: TypeAlias = Annotated[
    Annotated[Reading, Tag("reading")]
    | Annotated[Mark, Tag("mark")]
    | Annotated[Answer, Tag("answer")]
    | Annotated[Strike, Tag("strike")]
    | Annotated[Tell, Tag("tell")]
    | Annotated[Leave, Tag("leave")]
    | Annotated[TakeUp, Tag("take_up")]
    | Annotated[Finish, Tag("finish")],
    Discriminator(_word_of),
]


@dataclass(frozen=True)
class Noted:
    """What was noted under a key; `late` where it came when the connection was finished."""

    key: str
    what: Reading | Mark | Answer
    struck: bool = False
    late: bool = False


@dataclass(frozen=True)
class InProgress:
    """A connection as its acts have made it.

    `started_at` is in UTC, `day` the day at the place. `told_beside` is what was told otherwise
    than by answers. `left_because` and `connection_id` (the entry on record) say more of a
    connection that was left or finished.
    """

    id: str
    started_at: datetime
    day: date
    told_beside: ToldSoFar
    noted: tuple[Noted, ...] = ()
    state: State = State.IN_PROGRESS
    left_because: str | None = None
    connection_id: str | None = None

    @property
    def told(self) -> ToldSoFar:
        """What is told, with the last answer to each question that counts."""
        return self.told_beside.model_copy(update={a.quantity: a.value for _, a in self.answers})

    @property
    def answers(self) -> tuple[tuple[str, Answer], ...]:
        """Key and answer of all that count, in the order they came in."""
        counting = (n for n in self.noted if not (n.struck or n.late))
        return tuple((n.key, n.what) for n in counting if isinstance(n.what, Answer))

    @property
    def readings(self) -> tuple[tuple[str, Reading], ...]:
        """Key and reading of all that count, in order of time."""
        return tuple((n.key, n.what) for n in self._counting() if isinstance(n.what, Reading))

    @property
    def marks(self) -> tuple[tuple[str, Mark], ...]:
        """Key and mark of all that count, in order of time."""
        return tuple((n.key, n.what) for n in self._counting() if isinstance(n.what, Mark))

    @property
    def late(self) -> tuple[Noted, ...]:
        """What came after the connection was finished: kept here, not in the record."""
        return tuple(n for n in self.noted if n.late)

    @property
    def last_reading(self) -> Reading | None:
        """The reading that counts and was taken last."""
        return self.readings[-1][1] if self.readings else None

    @property
    def where(self) -> str:
        """The connection as messages name it."""
        return f"the connection begun {self.started_at:%Y-%m-%d %H:%M} UTC"

    def _counting(self) -> list[Noted]:
        counting = [n for n in self.noted if not (n.struck or n.late)]
        return sorted(counting, key=lambda n: n.what.elapsed_s)

    def after(self, acts: Iterable[tuple[str, Act]]) -> InProgress:
        """The connection after some acts.

        Parameters
        ----------
        acts : iterable of (str, Act)
            Key and act, in the order they came in.

        Returns
        -------
        InProgress
        """
        connection = self
        for key, act in acts:
            connection = connection._after_one(key, act)
        return connection

    def _after_one(self, key: str, act: Act) -> InProgress:
        match act:
            case Reading() | Mark() | Answer():
                late = self.state is State.FINISHED
                return replace(self, noted=(*self.noted, Noted(key, act, late=late)))
            case Strike():
                return replace(self, noted=tuple(_struck(n, act) for n in self.noted))
            case Tell():
                blank = dict.fromkeys(act.blanked)
                changed = {**blank, **act.told.given()}
                told = self.told_beside.model_copy(update=changed)
                noted = tuple(_without_answer(n, changed) for n in self.noted)
                return replace(self, told_beside=told, noted=noted)
            case Leave():
                return replace(self, state=State.LEFT, left_because=act.reason)
            case TakeUp():
                return replace(self, state=State.IN_PROGRESS, left_because=None)
            case Finish():
                return replace(self, state=State.FINISHED, connection_id=act.connection_id)

    def noted_under(self, key: str) -> Noted:
        """The reading, mark or answer under a key.

        Parameters
        ----------
        key : str

        Returns
        -------
        Noted

        Raises
        ------
        InputError
            None has that key.
        """
        for noted in self.noted:
            if noted.key == key:
                return noted
        raise InputError(
            f"{self.where}: no reading, mark or answer has the key '{key}'; note it first, then "
            "strike it"
        )


def _struck(noted: Noted, act: Strike) -> Noted:
    return replace(noted, struck=act.struck) if noted.key == act.noted_key else noted


def _without_answer(noted: Noted, changed: Iterable[str]) -> Noted:
    """What was noted; an answer no longer counts where its field is told anew."""
    superseded = isinstance(noted.what, Answer) and noted.what.quantity in changed
    return replace(noted, struck=True) if superseded else noted
