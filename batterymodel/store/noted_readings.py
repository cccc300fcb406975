"""Readings of a connection in progress, as its kept file will hold them; pure functions.

Each supply current is a row. What another meter showed shortly before or after stands in the row
nearest in time, for a row without a supply current is of no use to the taper. Nothing is left out:
what has no such neighbour, and every mark, keeps a row of its own; of such rows the battery's
temperature still counts (`Readings.temps_between`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta

import pandas as pd

from batterymodel.errors import InputError
from batterymodel.inputs.no_value_marks import are_nines, marks_in
from batterymodel.inputs.readings import readings_from_frame
from batterymodel.inputs.records import Readings
from batterymodel.store.acts import InProgress, Quantity, Reading

TOGETHER_S = 10.0
"""Readings of two meters so close in time count as one [s] (own choice: the time to look from one
to the next)."""

TEMP_TOGETHER_S = 30.0
"""The same for a battery's temperature, which changes slowly [s] (own choice)."""

VOLTS_TOGETHER_S = 60.0
"""The same for the supply's voltage, which is held [s] (own choice)."""

COLUMNS = ("elapsed_s", "time", *Quantity, "event")


@dataclass
class _Row:
    elapsed_s: float
    cells: dict[str, str] = field(default_factory=dict)


def readings_of(connection: InProgress) -> Readings:
    """The readings noted so far, in the form that an assessment takes.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    Readings
        One supply current is enough; whether there are enough to assess, the assessment says. From
        three on they equal what the kept file reads back to.

    Raises
    ------
    InputError
        No supply current yet, marks for no value in more than half of the readings of a meter, or
        currents that cannot all be right.
    """
    if not any(r.quantity is Quantity.SUPPLY_CURRENT for _, r in connection.readings):
        raise InputError(
            f"{connection.where}: no supply current is noted yet; read the ammeter first"
        )
    refuse_doubted_marks(connection)
    return readings_from_frame(noted_table(connection), file_name_of(connection), least=1)


def readings_bytes(connection: InProgress) -> bytes:
    """The readings noted so far as a CSV file, which is what the record keeps.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    bytes
        UTF-8; the same acts always give the same bytes.
    """
    return noted_table(connection).to_csv(index=False, lineterminator="\n").encode()


def file_name_of(connection: InProgress) -> str:
    """Name of that file, by the moment of connection in UTC.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    str
    """
    return f"connection-{connection.started_at:%Y%m%dT%H%M%SZ}.csv"


def marks_left_out(connection: InProgress) -> frozenset[str]:
    """Keys of readings that are a meter's mark for no value, which no file of readings counts.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    frozenset of str
    """
    found = (marks_in(values, are_nines(values)) for values in _values_of(connection))
    return frozenset(str(key) for marks in found for key in marks.sure.index[marks.sure])


def refuse_doubted_marks(connection: InProgress) -> None:
    """Ask about marks for no value that are too many to be left out, as a file of them is refused.

    Parameters
    ----------
    connection : InProgress

    Raises
    ------
    InputError
        Names the value and when it was noted first.
    """
    by_key = dict(connection.readings)
    for values in _values_of(connection):
        doubted = marks_in(values, are_nines(values)).doubted
        for key in values.index[doubted][:1]:
            at_s, value = by_key[key].elapsed_s, by_key[key].value
            raise InputError(
                f"{value:g} at {at_s // 60:.0f}:{at_s % 60:02.0f} and {doubted.sum() - 1} times "
                "more looks like a meter's mark for no value; undo such readings, and note what "
                "the meter reads"
            )


def _values_of(connection: InProgress) -> list[pd.Series]:
    """What counts of each meter, by key."""
    of_kind = {
        quantity: {key: r.value for key, r in connection.readings if r.quantity is quantity}
        for quantity in Quantity
    }
    return [pd.Series(values, dtype=float) for values in of_kind.values() if values]


def stands_alone(connection: InProgress, reading: Reading) -> bool:
    """Whether a reading tells nothing yet because no supply current was read beside it.

    Parameters
    ----------
    connection : InProgress
    reading : Reading

    Returns
    -------
    bool
        False for a supply current, and for a battery's temperature, which counts by itself.
    """
    if reading.quantity in (Quantity.SUPPLY_CURRENT, Quantity.BATTERY_TEMP):
        return False
    switched_s = [mark.elapsed_s for _, mark in connection.marks]
    return not any(
        _belong_together(reading, other.elapsed_s, switched_s)
        for _, other in connection.readings
        if other.quantity is Quantity.SUPPLY_CURRENT
    )


def noted_table(connection: InProgress) -> pd.DataFrame:
    """The rows of that file as text, in order of time.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    DataFrame
        The columns of `COLUMNS` that hold something; struck and late readings are not in it.
    """
    rows = [*_reading_rows(connection), *_mark_rows(connection)]
    rows.sort(key=lambda row: row.elapsed_s)
    for row in rows:
        moment = connection.started_at + timedelta(seconds=row.elapsed_s)
        row.cells |= {"elapsed_s": repr(row.elapsed_s), "time": moment.isoformat()}
    used = {"elapsed_s", "time", "supply_current_a"}.union(*(row.cells for row in rows))
    names = [str(name) for name in COLUMNS if name in used]
    cells = [[row.cells.get(name, "") for name in names] for row in rows]
    return pd.DataFrame(cells, columns=names, dtype=object)


def _reading_rows(connection: InProgress) -> list[_Row]:
    readings = [reading for _, reading in connection.readings]
    rows = [_row(r) for r in readings if r.quantity is Quantity.SUPPLY_CURRENT]
    others = [r for r in readings if r.quantity is not Quantity.SUPPLY_CURRENT]
    switched_s = [mark.elapsed_s for _, mark in connection.marks]
    near = sorted(
        (abs(other.elapsed_s - row.elapsed_s), i, k)
        for i, other in enumerate(others)
        for k, row in enumerate(rows)
        if _belong_together(other, row.elapsed_s, switched_s)
    )
    placed: set[int] = set()
    for _, i, k in near:
        name = str(others[i].quantity)
        if i not in placed and name not in rows[k].cells:
            rows[k].cells[name] = repr(others[i].value)
            placed.add(i)
    return rows + [_row(other) for i, other in enumerate(others) if i not in placed]


def _row(reading: Reading) -> _Row:
    return _Row(reading.elapsed_s, {str(reading.quantity): repr(reading.value)})


def _belong_together(other: Reading, at_s: float, switched_s: list[float]) -> bool:
    """Whether a reading tells of the same state as a supply current: no switch between them."""
    first_s, last_s = sorted((other.elapsed_s, at_s))
    if other.quantity is Quantity.BATTERY_TEMP:
        return last_s - first_s <= TEMP_TOGETHER_S
    switched = any(first_s < mark_s <= last_s for mark_s in switched_s)
    voltage = other.quantity is Quantity.SUPPLY_VOLTAGE
    most_s = VOLTS_TOGETHER_S if voltage else TOGETHER_S
    return last_s - first_s <= most_s and not switched


def _mark_rows(connection: InProgress) -> list[_Row]:
    return [_Row(mark.elapsed_s, {"event": mark.label}) for _, mark in connection.marks]
