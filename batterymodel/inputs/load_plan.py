"""What an aircraft takes of ground power: its consumers, and the tasks they run for.

The file is TOML with one ``[[consumers]]`` for each consumer and one ``[[tasks]]`` for each task.
"""

from __future__ import annotations

from collections.abc import Iterable
from datetime import date
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Any

from pydantic import BeforeValidator, Field, field_validator, model_validator

from batterymodel.basis.text import alike, one_line
from batterymodel.errors import InputError
from batterymodel.inputs.records import (
    Fraction,
    Record,
    RecordT,
    Volts,
    read_toml,
    record_from,
)

MOST_CONSUMERS = 200
"""Consumers one aircraft may have (own choice: several times the breakers of a light aircraft)."""

MOST_TASKS = 50
"""Tasks one aircraft may have (own choice)."""

LONGEST_NAME = 60
"""Letters of a name (own choice)."""

MOST_MINUTES = 24 * 60
"""Longest task that is planned [min] (own choice: a day)."""


def _line_of(value: Any) -> Any:
    return one_line(value) if isinstance(value, str) else value


Name = Annotated[str, BeforeValidator(_line_of), Field(min_length=1, max_length=LONGEST_NAME)]
Line = Annotated[str, BeforeValidator(_line_of), Field(min_length=1, max_length=300)]
Amperes = Annotated[float, Field(ge=0.0, le=1000.0)]


class Consumer(Record):
    """One consumer on the bus: what it draws while on, and at its start.

    ``continuous_sd_a`` is the spread of ``continuous_a`` and ``readings`` the number of load steps
    it was learned from; those of one connection share an error and count as fewer. ``duty`` is the
    part of the task it is on [0..1]. Where the aircraft's manual forbids to switch it off or to
    pull its breaker, ``may_switch_off`` is false.
    """

    name: Name
    continuous_a: Amperes
    starting_a: Annotated[float, Field(gt=0.0, le=2000.0)] | None = None
    starting_s: Annotated[float, Field(gt=0.0, le=60.0)] | None = None
    duty: Annotated[float, Field(gt=0.0, le=1.0)] = 1.0
    may_switch_off: bool = True
    continuous_sd_a: Annotated[float, Field(ge=0.0, le=500.0)] | None = None
    readings: Annotated[int, Field(ge=0, le=1_000_000)] = 0
    note: Line | None = None

    @model_validator(mode="after")
    def _starts_with_more(self) -> Consumer:
        if self.starting_s is not None and self.starting_a is None:
            raise ValueError(
                "starting_s is given without starting_a; the starting current beside it, or "
                "neither, would be right"
            )
        if self.starting_a is not None and self.starting_a < self.continuous_a:
            raise ValueError(
                f"starting_a ({self.starting_a:g} A) is below continuous_a "
                f"({self.continuous_a:g} A); at least that, or no starting_a, would be right"
            )
        return self


class Task(Record):
    """A task at the aircraft: how long it takes, what must run, and what is useful beside it.

    ``needs`` must run. ``wants`` are useful, the most important first. Every other consumer is
    left off where the manual permits it.
    """

    name: Name
    minutes: float
    needs: tuple[Name, ...]
    wants: tuple[Name, ...] = ()

    @field_validator("minutes")
    @classmethod
    def _is_within_a_day(cls, value: float) -> float:
        if not 0.0 < value <= MOST_MINUTES:
            raise ValueError(
                "a task takes more than 0 minutes and at most a day; "
                f"up to {MOST_MINUTES} would be right"
            )
        return value

    @model_validator(mode="after")
    def _names_each_once(self) -> Task:
        twice = _first_twice((*self.needs, *self.wants))
        if twice is not None:
            raise ValueError(
                f"'{twice}' is named twice; once, among needs or among wants, would be right"
            )
        return self


class AircraftLoads(Record):
    """The consumers and tasks of one aircraft: its known configuration, and who said so when.

    ``document`` is the aircraft's document that the figures come from, ``said_by`` who told them
    on the day ``on``. ``bus_min_v`` and ``bus_max_v`` bound the bus voltage by that document,
    ``start_reserve_fraction`` is the part of the battery to keep for the start [0..1].
    """

    tail: Name
    consumers: tuple[Consumer, ...]
    tasks: tuple[Task, ...] = ()
    document: Line | None = None
    said_by: Name | None = None
    on: date | None = None
    bus_min_v: Volts | None = None
    bus_max_v: Volts | None = None
    start_reserve_fraction: Fraction | None = None

    @model_validator(mode="before")
    @classmethod
    def _are_not_too_many(cls, data: Any) -> Any:
        for key, most in (("consumers", MOST_CONSUMERS), ("tasks", MOST_TASKS)):
            given = data.get(key) if isinstance(data, dict) else None
            if isinstance(given, list | tuple) and len(given) > most:
                raise ValueError(f"{len(given)} {key} are given; at most {most} would be right")
        return data

    @model_validator(mode="after")
    def _has_names_of_its_own(self) -> AircraftLoads:
        for kind, named in (("consumer", self.consumers), ("task", self.tasks)):
            twice = _first_twice(one.name for one in named)
            if twice is not None:
                raise ValueError(
                    f"two {kind}s are named '{twice}'; a name of its own for each would be right"
                )
        return self

    @model_validator(mode="after")
    def _tasks_name_consumers(self) -> AircraftLoads:
        known = [consumer.name for consumer in self.consumers]
        for task in self.tasks:
            unknown = sorted({*task.needs, *task.wants} - set(known))
            if unknown:
                raise ValueError(
                    f"task '{task.name}' names '{unknown[0]}', which is no consumer of this "
                    f"aircraft; {_near(unknown[0], known)}"
                )
        return self

    @model_validator(mode="after")
    def _bus_window_is_ordered(self) -> AircraftLoads:
        low, high = self.bus_min_v, self.bus_max_v
        if low is not None and high is not None and low >= high:
            raise ValueError(f"bus_min_v ({low:g} V) must be below bus_max_v ({high:g} V)")
        return self

    def consumer(self, name: str) -> Consumer:
        """The consumer of a name.

        Parameters
        ----------
        name : str

        Returns
        -------
        Consumer

        Raises
        ------
        InputError
            No consumer has it; says which name is near.
        """
        return _named(name, self.consumers, "consumer", self.tail)

    def task(self, name: str) -> Task:
        """The task of a name.

        Parameters
        ----------
        name : str

        Returns
        -------
        Task

        Raises
        ------
        InputError
            No task has it; says which name is near.
        """
        return _named(name, self.tasks, "task", self.tail)


def read_aircraft_loads(path: str | Path) -> AircraftLoads:
    """Consumers and tasks of an aircraft from a TOML file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        Names file, consumer or task, key and what would be right.
    """
    return aircraft_loads_from(read_toml(path), str(path))


def aircraft_loads_from(data: dict[str, Any], where: str) -> AircraftLoads:
    """Consumers and tasks of an aircraft from a plain dict.

    Parameters
    ----------
    data : dict
        As `toml_data` gives it.
    where : str
        What messages call the data: a file name or a form.

    Returns
    -------
    AircraftLoads

    Raises
    ------
    InputError
        Names consumer or task, key and what would be right.
    """
    parts: dict[str, Any] = {}
    for key, kind, most in (("consumers", Consumer, MOST_CONSUMERS), ("tasks", Task, MOST_TASKS)):
        rows = data.get(key)
        if isinstance(rows, list) and len(rows) <= most:
            parts[key] = _rows(rows, kind, f"{where}: {key.removesuffix('s')}")
    return record_from({**data, **parts}, AircraftLoads, where)


def _rows(rows: list[Any], kind: type[RecordT], where: str) -> tuple[RecordT, ...]:
    """The records of a list, each fault with the number and the name of its row."""
    return tuple(record_from(row, kind, _row_name(row, k, where)) for k, row in enumerate(rows, 1))


def _row_name(row: Any, number: int, where: str) -> str:
    name = row.get("name") if isinstance(row, dict) else None
    if not isinstance(name, str):
        return f"{where} {number}"
    return f"{where} {number} ('{one_line(name)[:LONGEST_NAME]}')"


def _first_twice(names: Iterable[str]) -> str | None:
    """The first name that a person would take for one before it."""
    seen: set[str] = set()
    for name in names:
        if alike(name) in seen:
            return name
        seen.add(alike(name))
    return None


def _near(name: str, known: list[str]) -> str:
    """What would be right in place of a name that is not known."""
    if not known:
        return "there is none"
    likely = get_close_matches(name, known, n=1, cutoff=0.0)
    return f"'{likely[0]}' is one"


def _named(name: str, among: tuple[Any, ...], kind: str, tail: str) -> Any:
    found = next((one for one in among if alike(one.name) == alike(name)), None)
    if found is None:
        near = _near(name, [one.name for one in among])
        raise InputError(f"{tail}: no {kind} is named '{one_line(name)}'; {near}")
    return found
