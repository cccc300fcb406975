"""How the columns of a foreign table are taken: a value that a person confirms or changes.

A `ColumnMap` is immutable and goes to JSON and back. It is kept under a fingerprint of the table's
header, so that what was confirmed once can be found again for the next file of the same logger.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable
from enum import StrEnum
from typing import Literal

from pydantic import BaseModel, ConfigDict, ValidationError, model_validator

from batterymodel.basis.text import one_line
from batterymodel.errors import InputError


class Quantity(StrEnum):
    """What a column of a foreign table may hold; most are columns of the readings."""

    ELAPSED = "elapsed_s"
    TIME = "time"
    DATE = "date"
    SUPPLY_CURRENT = "supply_current_a"
    BATTERY_CURRENT = "battery_current_a"
    SUPPLY_VOLTAGE = "supply_voltage_v"
    BATTERY_TEMP = "battery_temp_c"
    LOAD = "load_a"
    EVENT = "event"
    IGNORED = "ignored"


CURRENTS = (Quantity.SUPPLY_CURRENT, Quantity.BATTERY_CURRENT, Quantity.LOAD)
"""The quantities that are read in amperes."""

DATE_ORDERS = ("ymd", "dmy", "mdy")
"""Orders in which people write year, month and day."""

UNITS: dict[Quantity, tuple[str, ...]] = {
    Quantity.ELAPSED: ("s", "ms", "min", "h", "h:min:s", "min:s"),
    Quantity.TIME: ("clock", *DATE_ORDERS, "unix_s", "unix_ms"),
    Quantity.DATE: DATE_ORDERS,
    **dict.fromkeys(CURRENTS, ("A", "mA", "uA")),
    Quantity.SUPPLY_VOLTAGE: ("V", "mV"),
    Quantity.BATTERY_TEMP: ("degC", "degF", "K"),
    Quantity.EVENT: ("text",),
    Quantity.IGNORED: ("",),
}
"""Units and ways of writing that a quantity may be in; the first is the one of the readings.

``clock`` is a time of day without a date, ``unix_s`` counts from 1970-01-01 UTC.
"""

SCALES: dict[str, tuple[float, float]] = {
    **dict.fromkeys(("s", "A", "V", "degC", "unix_s"), (1.0, 0.0)),
    **dict.fromkeys(("ms", "mA", "mV", "unix_ms"), (1e-3, 0.0)),
    "uA": (1e-6, 0.0),
    "min": (60.0, 0.0),
    "h": (3600.0, 0.0),
    "degF": (5.0 / 9.0, -160.0 / 9.0),
    "K": (1.0, -273.15),
}
"""Factor and offset that bring a number of a unit to the first unit of its quantity (SI, exact)."""

QUANTITY_WORDS: dict[Quantity, str] = {
    Quantity.ELAPSED: "time since the connection",
    Quantity.TIME: "time",
    Quantity.DATE: "date",
    Quantity.SUPPLY_CURRENT: "supply current",
    Quantity.BATTERY_CURRENT: "battery current",
    Quantity.SUPPLY_VOLTAGE: "supply voltage",
    Quantity.BATTERY_TEMP: "battery temperature",
    Quantity.LOAD: "bus load",
    Quantity.EVENT: "events",
    Quantity.IGNORED: "not used",
}
"""What a quantity is called in sentences."""

_LONGEST_MAP = 100_000
DATE_ORDER_WORDS: dict[str, str] = {
    "ymd": "year, month, day",
    "dmy": "day, month, year",
    "mdy": "month, day, year",
}
"""Orders of dates as a person says them."""

_PLACES: dict[str, str] = {
    "clock": "time of day",
    "unix_s": "Unix s",
    "unix_ms": "Unix ms",
    **DATE_ORDER_WORDS,
}


class Column(BaseModel):
    """One column: its header as seen, what it holds and in which unit."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    header: str
    quantity: Quantity = Quantity.IGNORED
    unit: str = ""

    @model_validator(mode="after")
    def _has_a_unit_of_its_quantity(self) -> Column:
        if self.unit not in UNITS[self.quantity]:
            right = " or ".join(UNITS[self.quantity])
            raise ValueError(f"{self.quantity} in {self.unit!r}; {right} would be right")
        return self

    @property
    def words(self) -> str:
        """How the column is taken, in words: ``'Amps' as supply current [mA]``."""
        unit = _PLACES.get(self.unit, self.unit)
        said = QUANTITY_WORDS[self.quantity] + f" [{unit}]" * (unit not in ("", "text"))
        return f"'{one_line(self.header)[:40]}' as {said}"


class ColumnMap(BaseModel):
    """All columns of a table in order, and the mark before its decimals.

    ``own``: the table is in the project's own format and is read as it stands.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    columns: tuple[Column, ...]
    decimal_mark: Literal[".", ","] = "."
    own: bool = False

    @model_validator(mode="after")
    def _takes_each_quantity_once(self) -> ColumnMap:
        headers = [column.header for column in self.columns]
        taken = [str(c.quantity) for c in self.columns if c.quantity is not Quantity.IGNORED]
        for names in (headers, taken):
            if twice := next((name for name in names if names.count(name) > 1), None):
                raise ValueError(f"{twice!s} is there twice; once would be right")
        return self

    @property
    def missing(self) -> tuple[Quantity, ...]:
        """What readings cannot do without and no column is taken as: a time, the supply current."""
        taken = {column.quantity for column in self.columns}
        timed = taken & {Quantity.ELAPSED, Quantity.TIME}
        lost = () if timed else (Quantity.TIME,)
        return (*lost, *({Quantity.SUPPLY_CURRENT} - taken))

    @property
    def words(self) -> str:
        """How the columns are taken, in one line."""
        if self.own:
            return "the columns are those of this tool"
        used = [column for column in self.columns if column.quantity is not Quantity.IGNORED]
        unused = [f"'{one_line(c.header)[:40]}'" for c in self.columns if c not in used]
        parts = [column.words for column in used]
        parts += [f"{', '.join(unused)} not used"] if unused else []
        comma = "; decimals behind a comma" * (self.decimal_mark == ",")
        return ", ".join(parts) + comma


def header_fingerprint(headers: Iterable[str], told_above: Iterable[str] = ()) -> str:
    """Key under which a map for tables with this header can be remembered.

    Parameters
    ----------
    headers : iterable of str
        In the order of the columns; capitals and spaces do not matter.
    told_above : iterable of str
        What is said above each of units and places, as `header_doubts.told_above` gives it.

    Returns
    -------
    str
        32 hexadecimal digits.

    >>> header_fingerprint(["Time", "Amps"]) == header_fingerprint(["time ", "AMPS"])
    True
    """
    plain = [one_line(header).casefold() for header in headers]
    said = list(told_above)
    told = json.dumps([plain, said] if any(said) else plain)
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def map_from_json(document: str) -> ColumnMap:
    """A map that was remembered.

    Parameters
    ----------
    document : str
        The map as JSON.

    Returns
    -------
    ColumnMap

    Raises
    ------
    InputError
        Not such a document.
    """
    try:
        if len(document) > _LONGEST_MAP:
            raise ValueError("too long")
        return ColumnMap.model_validate_json(document)
    except (ValidationError, ValueError, RecursionError):
        raise InputError(
            "the remembered columns cannot be read; confirm the columns of the file again"
        ) from None


def chosen_columns(choices: Iterable[str], headers: Iterable[str]) -> dict[str, Column]:
    """Columns as a person told them: ``Amps=supply_current_a:mA``.

    Parameters
    ----------
    choices : iterable of str
        ``HEADER=QUANTITY`` or ``HEADER=QUANTITY:UNIT``; without a unit, that of the readings.
    headers : iterable of str
        Those of the table; capitals and what stands in brackets may be left out.

    Returns
    -------
    dict of str to Column
        By header.

    Raises
    ------
    InputError
        No such column, quantity or unit, or one of them told twice.
    """
    known = list(headers)
    chosen: dict[str, Column] = {}
    for choice in choices:
        column = _chosen(one_line(choice)[:400], known)
        if column.header in chosen:
            raise InputError(f"column '{column.header}' is told twice; once would be right")
        others = {
            str(c.quantity): c.header for c in chosen.values() if c.quantity != Quantity.IGNORED
        }
        if other := others.get(column.quantity):
            raise InputError(
                f"'{other}' and '{column.header}' are both told to be {column.quantity}; "
                "one column would be right"
            )
        chosen[column.header] = column
    return chosen


def _chosen(choice: str, headers: list[str]) -> Column:
    header, equals, taken = choice.rpartition("=")
    name, _, unit = taken.strip().partition(":")
    if not equals or name not in set(Quantity):
        raise InputError(
            f"column '{choice}' is not told like 'Amps=supply_current_a:A'; behind the = stands "
            f"one of {', '.join(Quantity)}"
        )
    quantity = Quantity(name)
    unit = unit or UNITS[quantity][0]
    if quantity is Quantity.TIME and not taken.strip().partition(":")[2]:
        raise InputError(f"column '{choice}' needs a way of writing: {_listed(quantity)}")
    if unit not in UNITS[quantity]:
        raise InputError(f"column '{choice}' is in no unit of {quantity}: {_listed(quantity)}")
    return Column(header=_header_like(header, headers), quantity=quantity, unit=unit)


def _listed(quantity: Quantity) -> str:
    return f"one of {', '.join(UNITS[quantity])} would be right"


def _header_like(told: str, headers: list[str]) -> str:
    """The table's header that was meant."""
    for plain in (str, _folded, _bare):
        found = [header for header in headers if plain(header) == plain(told)]
        if len(found) == 1:
            return found[0]
    shown = ", ".join(f"'{one_line(header)[:40]}'" for header in headers[:20])
    problem = "fits several columns" if found else "is no column of the table"
    raise InputError(f"'{one_line(told)[:40]}' {problem}; it has {shown}")


def _folded(header: str) -> str:
    return one_line(header).casefold()


def _bare(header: str) -> str:
    """Without what stands in brackets behind it."""
    return re.sub(r"\s*[\[(][^])]*[])]\s*$", "", _folded(header))
