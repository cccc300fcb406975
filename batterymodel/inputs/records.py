"""What the tool is told: battery, limits card, supply and readings, checked on entry.

All records are immutable pydantic models. Units stand in the field names: ``_a`` ampere,
``_ah`` ampere-hour, ``_v`` volt, ``_c`` degree Celsius, ``_s`` second, ``_h`` hour. Voltages are
of the whole battery unless the name says per cell.
"""

from __future__ import annotations

import re
import tomllib
from datetime import date, datetime
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any, TypeVar

import numpy as np
import tomli_w
from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    ValidationError,
    field_validator,
    model_validator,
)

from batterymodel.basis.calendar import DAYS_PER_YEAR
from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.base import Record as Record
from batterymodel.inputs.entry_faults import entry_error, unit_of
from batterymodel.inputs.kinds import KindBelief


class Chemistry(StrEnum):
    """Battery chemistries the tool has data for."""

    VENTED_LEAD_ACID = "vented_lead_acid"
    VRLA = "vrla"
    NICD = "nicd"
    LFP = "lfp"


Volts = Annotated[float, Field(gt=0.0, le=100.0)]
CELSIUS_RANGE = (-60.0, 120.0)
"""Temperatures of a battery or a cable that are taken [degC] (own choice)."""

AIR_CELSIUS_RANGE = (-60.0, 80.0)
"""Temperatures of the air at battery or supply that are taken [degC] (own choice)."""

Celsius = Annotated[float, Field(ge=CELSIUS_RANGE[0], le=CELSIUS_RANGE[1])]
Fraction = Annotated[float, Field(ge=0.0, le=1.0)]


_TABLES = (
    ("rest_voltage_soc", "rest_voltage_v", 1),
    ("capacity_temp_c", "capacity_temp_factor", 0),
    ("discharge_minutes", "discharge_current_a", -1),
)
"""Pairs of columns of the limits card's tables; the second rises, is free, or falls."""


class Limits(Record):
    """The limits card: numbers from the maker's instructions; a blank falls back to generic.

    ``rest_voltage_soc`` and ``rest_voltage_v`` are the maker's table of rest voltage [V, whole
    battery, 25 degC] by state of charge [0..1], both rising. ``capacity_temp_c`` and
    ``capacity_temp_factor`` are the maker's capacity at a temperature over that at the reference,
    ``discharge_minutes`` and ``discharge_current_a`` the constant currents that bring a new
    battery to end voltage in so many minutes at the reference temperature.
    """

    document: str | None = None
    max_charge_current_a: Annotated[float, Field(gt=0.0, le=2000.0)] | None = None
    charge_voltage_min_v: Volts | None = None
    charge_voltage_max_v: Volts | None = None
    charge_temp_min_c: Celsius | None = None
    charge_temp_max_c: Celsius | None = None
    min_top_off_soc: Fraction | None = None
    min_capacity_fraction: Fraction | None = None
    end_voltage_v: Volts | None = None
    capacity_check_interval_days: Annotated[int, Field(ge=1, le=3660)] | None = None
    rest_voltage_soc: tuple[Fraction, ...] | None = None
    rest_voltage_v: tuple[Volts, ...] | None = None
    capacity_temp_c: tuple[Celsius, ...] | None = None
    capacity_temp_factor: tuple[Annotated[float, Field(gt=0.0, le=1.5)], ...] | None = None
    discharge_minutes: tuple[Annotated[float, Field(gt=0.0, le=6000.0)], ...] | None = None
    discharge_current_a: tuple[Annotated[float, Field(gt=0.0, le=5000.0)], ...] | None = None

    @model_validator(mode="after")
    def _tables_are_tables(self) -> Limits:
        for first, second, order in _TABLES:
            at, values = getattr(self, first) or (), getattr(self, second) or ()
            if len(at) != len(values) or len(at) == 1:
                raise ValueError(
                    f"{first} has {len(at)} values and {second} {len(values)}: give the same "
                    "number, two or more"
                )
            wrong_way = order != 0 and (order * np.diff(values) <= 0).any()
            if (np.diff(at) <= 0).any() or wrong_way:
                rule = {1: "both rise", 0: "rise (the first)", -1: "rise and fall"}[order]
                raise ValueError(f"{first} and {second} must {rule}")
        return self

    @model_validator(mode="after")
    def _windows_are_ordered(self) -> Limits:
        for low, high in (
            ("charge_voltage_min_v", "charge_voltage_max_v"),
            ("charge_temp_min_c", "charge_temp_max_c"),
        ):
            least, most = getattr(self, low), getattr(self, high)
            if least is not None and most is not None and least >= most:
                unit = unit_of(low)
                raise ValueError(f"{low} ({least:g} {unit}) must be below {high} ({most:g} {unit})")
        return self


class History(Record):
    """What this battery's own completed tapers taught, written by the tool.

    ``charge_time_h`` is the charge to return divided by the battery current at the moment of
    connection (extrapolated by the fit, not capped by the supply), brought to a small current.
    ``fast_share`` is the fast part of that current, ``on`` the day of the last taper.
    """

    charge_time_h: Annotated[float, Field(gt=0.005, le=20.0)]
    charge_time_rel_sd: Annotated[float, Field(gt=0.0, le=1.0)] = 0.12
    fast_share: Annotated[float, Field(gt=0.0, lt=0.9)] | None = None
    fast_share_sd: Annotated[float, Field(gt=0.0, le=0.5)] = 0.04
    on: date | None = None

    def years_before(self, on: date | None) -> float:
        """Time from the last taper to a day [a].

        Parameters
        ----------
        on : date or None

        Returns
        -------
        float
            0 where either day is not known, or the last taper is of later.
        """
        if on is None or self.on is None:
            return 0.0
        return max((on - self.on).days, 0) / DAYS_PER_YEAR


UNSTATED_CHECK_SD = 0.03
"""Relative error of a capacity check that states none (common practice, no source)."""

LEAST_CHECK_AH, MOST_CHECK_AH = 0.01, 1000.0
"""Capacities a check may have found [Ah] (own choice: 2 % of the smallest battery that is taken,
and twice the largest)."""

CheckedAh = Annotated[float, Field(ge=LEAST_CHECK_AH, le=MOST_CHECK_AH)]


class CapacityCheck(Record):
    """The result of the last capacity check, corrected to the reference temperature."""

    on: date
    capacity_ah: CheckedAh
    capacity_sd_ah: Annotated[float, Field(gt=0.0)] | None = None

    @property
    def sd_ah(self) -> float:
        """Standard deviation [Ah]: the stated one, else `UNSTATED_CHECK_SD` of the capacity."""
        return self.capacity_sd_ah or UNSTATED_CHECK_SD * self.capacity_ah


class LastKnown(Record):
    """The state of charge the record last knew, with the day it was known."""

    on: date
    state_of_charge: Fraction
    sd: Annotated[float, Field(gt=0.0, le=0.5)] = 0.05


EARLIEST_INSTALLED = date(1950, 1, 1)
"""Earliest day of installation that is taken (own choice: a slip of the century is before)."""


def _a_day(value: Any) -> Any:
    """The value where it is a date or nothing; raises `ValueError` otherwise."""
    if value is None or isinstance(value, date):
        return value
    raise ValueError("not a date")


class Battery(Record):
    """One battery: what its plate says, its limits card and what its record knows.

    ``installed_on`` is the day it was first installed, new. ``kind`` is what other batteries of
    its kind teach; the record hands it over, and it never stands on the plate.
    """

    tail: Annotated[str, Field(min_length=1, max_length=60)]
    chemistry: Chemistry
    cells: Annotated[int, Field(ge=1, le=40)]
    rated_capacity_ah: Annotated[float, Field(ge=0.5, le=500.0)]
    limits: Limits = Limits()
    history: History | None = None
    capacity_check: CapacityCheck | None = None
    last_known: LastKnown | None = None
    installed_on: date | None = None
    kind: KindBelief | None = None

    @field_validator("installed_on", mode="before")
    @classmethod
    def _is_a_day(cls, value: Any) -> Any:
        try:
            return date.fromisoformat(value) if isinstance(value, str) else _a_day(value)
        except ValueError:
            raise ValueError("no day of the calendar; one like 2024-05-31 would be right") from None

    @field_validator("installed_on")
    @classmethod
    def _is_of_this_age(cls, value: date | None) -> date | None:
        if value is not None and value < EARLIEST_INSTALLED:
            raise ValueError(
                f"no battery of {value.year} is in service; a day since "
                f"{EARLIEST_INSTALLED.year}, like 2024-05-31, would be right"
            )
        return value


class Cable(Record):
    """The cable from supply to aircraft: ``length_m`` one way; the current goes out and returns.

    The conductor's cross-section is told by its gauge (American wire gauge, 0000 is -3) or as
    ``area_mm2`` [mm^2]. ``contacts_ohm`` is what plugs and clamps add, both ways together.
    ``rated_current_a`` is what it may carry by its marking or its maker's papers.
    """

    length_m: Annotated[float, Field(gt=0.0, le=200.0)]
    gauge_awg: Annotated[int, Field(ge=-3, le=24)] | None = None
    area_mm2: Annotated[float, Field(ge=0.2, le=500.0)] | None = None
    contacts_ohm: Annotated[float, Field(ge=0.0, le=1.0)] | None = None
    conductor_temp_c: Celsius = 20.0
    rated_current_a: Annotated[float, Field(gt=0.0, le=2000.0)] | None = None

    @model_validator(mode="after")
    def _has_one_size(self) -> Cable:
        if (self.gauge_awg is None) == (self.area_mm2 is None):
            given = "neither" if self.gauge_awg is None else "both"
            raise ValueError(f"{given} of gauge_awg and area_mm2 given; one would be right")
        return self


class Supply(Record):
    """One ground supply, the wall circuit it hangs on and its cable to the aircraft.

    The rating holds up to ``rated_at_c``; above, the supply gives ``derating_a_per_c`` less for
    each degree [A/K].
    """

    rated_current_a: Annotated[float, Field(gt=0.0, le=1000.0)]
    set_voltage_v: Annotated[float, Field(ge=5.0, le=60.0)] = 28.0
    voltage_tolerance_v: Annotated[float, Field(ge=0.0, le=5.0)] = 0.5
    input_voltage_v: Annotated[float, Field(ge=80.0, le=500.0)] | None = None
    input_current_full_load_a: Annotated[float, Field(gt=0.0, le=500.0)] | None = None
    circuit_breaker_a: Annotated[float, Field(gt=0.0, le=500.0)] | None = None
    name: Annotated[str, AfterValidator(one_line), Field(min_length=1, max_length=60)] | None = None
    cable: Cable | None = None
    rated_at_c: Celsius | None = None
    derating_a_per_c: Annotated[float, Field(ge=0.0, le=100.0)] | None = None

    @model_validator(mode="after")
    def _derates_from_somewhere(self) -> Supply:
        if self.derating_a_per_c is not None and self.rated_at_c is None:
            raise ValueError(
                "derating_a_per_c is given without rated_at_c; the temperature up to which the "
                "rating holds would be right beside it"
            )
        return self


class Event(Record):
    """A switch action during the connection: the bus load steps there."""

    elapsed_s: float
    text: str


class TempReading(Record):
    """A temperature read at the battery while no ammeter was read [degC]."""

    elapsed_s: float
    temp_c: float


class Readings(BaseModel):
    """The timed meter values of one connection, cleaned, in order of time.

    Every array has one value per reading, shape ``(n,)``; an optional meter that was not there
    is ``None``, a value it did not give is NaN. ``temps_between`` are the battery's temperatures
    at other times. ``supply_voltage_v`` is the supply's own meter's, at its terminals, before the
    cable. ``notes`` says what cleaning did.
    """

    model_config = ConfigDict(frozen=True, extra="forbid", arbitrary_types_allowed=True)

    elapsed_s: np.ndarray
    supply_current_a: np.ndarray
    supply_voltage_v: np.ndarray | None = None
    battery_current_a: np.ndarray | None = None
    battery_temp_c: np.ndarray | None = None
    load_a: np.ndarray | None = None
    events: tuple[Event, ...] = ()
    temps_between: tuple[TempReading, ...] = ()
    started_at: datetime | None = None
    source: str = "readings"
    notes: tuple[str, ...] = ()

    @field_validator(
        "elapsed_s",
        "supply_current_a",
        "supply_voltage_v",
        "battery_current_a",
        "battery_temp_c",
        "load_a",
        mode="before",
    )
    @classmethod
    def _as_vector(cls, value: Any) -> Any:
        if value is None:
            return None
        vector = np.array(value, dtype=float)
        if vector.ndim != 1:
            raise ValueError(f"must be one value per reading, not an array of shape {vector.shape}")
        vector.setflags(write=False)
        return vector

    @model_validator(mode="after")
    def _is_one_timed_series(self) -> Readings:
        n = self.elapsed_s.size
        if n == 0:
            raise ValueError("needs at least one reading")
        for name in ("supply_current_a", *OPTIONAL_COLUMNS):
            column = getattr(self, name)
            if column is not None and column.size != n:
                raise ValueError(f"{name} has {column.size} values for {n} times")
        if not (np.isfinite(self.elapsed_s).all() and np.isfinite(self.supply_current_a).all()):
            raise ValueError("elapsed_s and supply_current_a must be finite numbers")
        if (np.diff(self.elapsed_s) <= 0).any():
            raise ValueError("elapsed_s must rise from each reading to the next")
        if self.elapsed_s[0] < 0.0:
            raise ValueError("elapsed_s counts from connection and is never below 0")
        return self

    def __len__(self) -> int:
        return int(self.elapsed_s.size)

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Readings):
            return NotImplemented
        columns = ("elapsed_s", "supply_current_a", *OPTIONAL_COLUMNS)
        return all(_same(getattr(self, c), getattr(other, c)) for c in columns) and (
            self.events == other.events
            and self.temps_between == other.temps_between
            and self.started_at == other.started_at
        )

    def battery_temps(self, but: np.ndarray | None = None) -> tuple[np.ndarray, np.ndarray]:
        """Every temperature read at the battery, in order of time.

        Parameters
        ----------
        but : ndarray of bool, shape (n,), optional
            Readings whose temperature is left out.

        Returns
        -------
        elapsed_s, temp_c : ndarray, shape (m,)
            Times [s] and temperatures [degC]; empty where none was read.
        """
        column = np.full(len(self), np.nan) if self.battery_temp_c is None else self.battery_temp_c
        seen = np.isfinite(column) if but is None else np.isfinite(column) & ~but
        own_s = [between.elapsed_s for between in self.temps_between]
        own_c = [between.temp_c for between in self.temps_between]
        elapsed_s = np.concatenate([self.elapsed_s[seen], own_s])
        order = np.argsort(elapsed_s, kind="stable")
        return elapsed_s[order], np.concatenate([column[seen], own_c])[order]

    __hash__ = None  # type: ignore[assignment]  # arrays can be changed: no hash


OPTIONAL_COLUMNS = ("supply_voltage_v", "battery_current_a", "battery_temp_c", "load_a")


def _same(a: np.ndarray | None, b: np.ndarray | None) -> bool:
    if a is None or b is None:
        return a is b
    return np.array_equal(a, b, equal_nan=True)


RecordT = TypeVar("RecordT", bound=Record)


def read_battery(path: str | Path) -> Battery:
    """Battery from a TOML file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Battery

    Raises
    ------
    InputError
        Names file, key and what would be right.
    """
    return read_record(path, Battery)


def read_supply(path: str | Path) -> Supply:
    """Supply from a TOML file.

    Parameters
    ----------
    path : str or Path

    Returns
    -------
    Supply

    Raises
    ------
    InputError
        Names file, key and what would be right.
    """
    return read_record(path, Supply)


def read_record(path: str | Path, kind: type[RecordT]) -> RecordT:
    """Record of the given kind from a TOML file.

    Parameters
    ----------
    path : str or Path
    kind : type of Record

    Returns
    -------
    Record
        Of that kind.

    Raises
    ------
    InputError
        Names file, key and what would be right.
    """
    return record_from(read_toml(path), kind, str(path))


def read_toml(path: str | Path) -> dict[str, Any]:
    """Content of a TOML file.

    Parameters
    ----------
    path : str or Path
        UTF-8, with or without byte order mark.

    Returns
    -------
    dict
        Tables as dicts in it, nothing checked.

    Raises
    ------
    InputError
        No such file, not text, or not TOML.
    """
    path = Path(path)
    try:
        return toml_data(path.read_text(encoding="utf-8-sig"), str(path))
    except FileNotFoundError:
        raise InputError(f"{path}: no such file; give the path of a TOML file") from None
    except (OSError, UnicodeDecodeError) as error:
        raise InputError(
            f"{path}: cannot be read as a text file ({error.__class__.__name__})"
        ) from None


def toml_data(text: str, where: str) -> dict[str, Any]:
    """Content of TOML text.

    Parameters
    ----------
    text : str
    where : str
        What messages call the text: a file name.

    Returns
    -------
    dict
        Tables as dicts in it, nothing checked.

    Raises
    ------
    InputError
        Not TOML, nested too deep, or a number with too many digits.
    """
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise InputError(f"{where}: not valid TOML{_place_in(error)}; {TOML_RIGHT}") from None
    except RecursionError:
        problem = "lists or tables are nested too deep; none in another would be right"
    except ValueError:
        problem = "a number has too many digits; a plain number like 40.0 would be right"
    raise InputError(f"{where}: {problem}")


TOML_RIGHT = 'one entry a line, like cells = 12 or tail = "DEMO-1", would be right'


def _place_in(error: tomllib.TOMLDecodeError) -> str:
    """Where the text goes wrong, without the words of the library that read it."""
    found = re.search(r"line (\d+), column (\d+)", str(error))
    return f" in line {found[1]}, column {found[2]}" if found else ", it ends too early"


def record_from(data: dict[str, Any], kind: type[RecordT], where: str) -> RecordT:
    """Record of the given kind from a plain dict.

    Parameters
    ----------
    data : dict
        As `toml_data` gives it.
    kind : type of Record
    where : str
        What messages call the data: a file name or a form.

    Returns
    -------
    Record
        Of that kind.

    Raises
    ------
    InputError
        Names the first key that is unknown, missing or wrong, and what would be right; as an
        `EntryError` a page can say it by its own label.
    """
    try:
        return kind.model_validate(data)
    except ValidationError as error:
        raise entry_error(error, kind, where) from None


def record_toml(record: Record) -> str:
    """The record as TOML text that reads back to an equal record.

    Parameters
    ----------
    record : Record

    Returns
    -------
    str
        Values that are not given, and empty tables, are left out.

    >>> print(record_toml(Supply(rated_current_a=60.0)))
    rated_current_a = 60.0
    set_voltage_v = 28.0
    voltage_tolerance_v = 0.5
    <BLANKLINE>
    """
    data = record.model_dump(exclude_none=True)
    return tomli_w.dumps({key: value for key, value in data.items() if value != {}})
