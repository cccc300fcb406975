"""Connections in progress: each press is in the record before the page says so, and once only.

Every act carries a key that the device made up when it was pressed. The same key with the same
content changes nothing, whenever and however often it comes; with another content it is refused.
Each function is one transaction. Connections in progress stay on this record and are in no exported
ZIP until they are finished.
"""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from typing import Any

from sqlalchemy import exists, select

from batterymodel.errors import InputError
from batterymodel.inputs.readings import checked_value
from batterymodel.inputs.records import Record, record_from
from batterymodel.store.act_rows import acted, begun_row, connection_of, loaded, refuse_finished
from batterymodel.store.acts import (
    Answer,
    InProgress,
    Key,
    Leave,
    LocalMoment,
    Mark,
    Quantity,
    Reading,
    State,
    Strike,
    TakeUp,
    Tell,
    ToldSoFar,
)
from batterymodel.store.store import Store
from batterymodel.store.tables import ActRow, InProgressRow

CLOCK_OFF_S = 120.0
"""Most that clocks of a device and of the record may differ [s] (own choice)."""

TOLD = "what is told of the connection"


class _Press(Record):
    """What every press gives, as it is checked; the moment keeps the offset it came with."""

    key: Key
    moment: LocalMoment


def begin(
    store: Store, key: str, started_at: datetime | str, day: date | None = None, **told: object
) -> InProgress:
    """Begin a connection: ground power was applied at this moment.

    Parameters
    ----------
    store : Store
    key : str
        Id of the connection from now on: 8 to 64 letters, digits, ``-`` or ``_``.
    started_at : datetime or str
        With its UTC offset, as the device's clock has it.
    day : date, optional
        Day at the place; else that of `started_at` at its own offset.
    **told : object
        Fields of `ToldSoFar` that are known by now.

    Returns
    -------
    InProgress
        As it is now; a repeat changes nothing.

    Raises
    ------
    InputError
        A moment without offset or far from the record's clock, a key that another connection has,
        or a field that cannot hold its value.
    """
    press = _press(key, started_at, "beginning of the connection")
    begun = {
        "started_at": press.moment.astimezone(UTC),
        "day": day or press.moment.date(),
        "told": record_from(told, ToldSoFar, TOLD),
    }
    with store.writing() as session:
        row = session.get(InProgressRow, key)
        if row is None:
            _check_clock(store, press.moment, "beginning of the connection")
            session.add(InProgressRow(id=key, recorded_at=store.now(), **begun))
            session.flush()
        elif any(getattr(row, name) != value for name, value in begun.items()):
            raise InputError(
                f"the key '{key}' is that of another connection, begun "
                f"{row.started_at:%Y-%m-%d %H:%M} UTC; a new key would be right"
            )
        return loaded(session, key)


def note(
    store: Store,
    in_progress_id: str,
    key: str,
    quantity: Quantity | str,
    value: float,
    noted_at: datetime | str,
    elapsed_s: float | None = None,
) -> InProgress:
    """Note what a meter shows.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
        Of this press; a repeat under it changes nothing.
    quantity : Quantity or str
    value : float
        In the unit that the quantity names.
    noted_at : datetime or str
        Moment of the press by the device's clock, with its UTC offset.
    elapsed_s : float, optional
        Time since connection [s]; else the difference of the two moments.

    Returns
    -------
    InProgress
        A reading that comes after the connection was finished is kept among `late`.

    Raises
    ------
    InputError
        An unknown connection, a value that cannot be right, a moment before the beginning or far
        from the record's clock, or a key that holds something else.
    """
    values = {"quantity": quantity, "value": value}
    return _noted(store, in_progress_id, key, Reading, values, noted_at, elapsed_s)


def mark(
    store: Store,
    in_progress_id: str,
    key: str,
    label: str,
    noted_at: datetime | str,
    elapsed_s: float | None = None,
) -> InProgress:
    """Mark that something was switched on or off.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
    label : str
        What was switched, in at most 60 characters.
    noted_at : datetime or str
    elapsed_s : float, optional
        Time since connection [s]; else the difference of the two moments.

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        As `note`; a label that is empty or too long.
    """
    return _noted(store, in_progress_id, key, Mark, {"label": label}, noted_at, elapsed_s)


def answer(
    store: Store,
    in_progress_id: str,
    key: str,
    quantity: str,
    value: float,
    noted_at: datetime | str,
    elapsed_s: float | None = None,
) -> InProgress:
    """Take an answer to a question; the last one that is not struck out counts.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
    quantity : str
        ``rest_voltage_v``, ``load_a``, or ``battery_temp_c``: that one is a reading of the meter at
        the battery.
    value : float
        In the unit that the quantity names.
    noted_at : datetime or str
    elapsed_s : float, optional
        Time since connection [s]; else the difference of the two moments.

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        As `note` and `tell`.
    """
    if quantity == Quantity.BATTERY_TEMP:
        return note(store, in_progress_id, key, quantity, value, noted_at, elapsed_s)
    record_from({quantity: value}, ToldSoFar, TOLD)
    values = {"quantity": quantity, "value": value}
    return _noted(store, in_progress_id, key, Answer, values, noted_at, elapsed_s)


def strike(
    store: Store, in_progress_id: str, key: str, noted_key: str, struck: bool = True
) -> InProgress:
    """Strike a reading, mark or answer out, or count it again; it stays in the record either way.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
        Of this press.
    noted_key : str
        Key of the reading, mark or answer.
    struck : bool
        False counts it again.

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown connection or reading, a finished connection, or a key that holds something else.
    """
    act = record_from({"noted_key": noted_key, "struck": struck}, Strike, "striking out")

    def check(connection: InProgress) -> None:
        refuse_finished(connection, "nothing of it can be struck out")
        connection.noted_under(noted_key)

    return acted(store, in_progress_id, key, act, check)


def tell(store: Store, in_progress_id: str, key: str, **told: object) -> InProgress:
    """Tell more of the connection, or something else than before.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
    **told : object
        Fields of `ToldSoFar`; None makes one blank, and those left out stay as they are.

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown connection or field, a value it cannot hold, a finished connection, or a key
        that holds something else.
    """
    fields = record_from(told, ToldSoFar, TOLD)
    act = Tell(told=fields, blanked=tuple(sorted(n for n, v in told.items() if v is None)))
    words = "nothing more can be told of it"
    return acted(store, in_progress_id, key, act, lambda c: refuse_finished(c, words))


def leave(store: Store, in_progress_id: str, key: str, reason: str) -> InProgress:
    """Leave a connection: it is offered no more, and nothing of it is erased.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
    reason : str
        Why, in a few words.

    Returns
    -------
    InProgress
        `take_up` brings it back.

    Raises
    ------
    InputError
        An unknown or finished connection, no reason, or a key that holds something else.
    """
    act = record_from({"reason": reason}, Leave, "leaving the connection")
    words = "it cannot be left"
    return acted(store, in_progress_id, key, act, lambda c: refuse_finished(c, words))


def take_up(store: Store, in_progress_id: str, key: str) -> InProgress:
    """Take a connection up again that was left.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown or finished connection, or a key that holds something else.
    """
    words = "it cannot be taken up again"
    return acted(store, in_progress_id, key, TakeUp(), lambda c: refuse_finished(c, words))


def load(store: Store, in_progress_id: str) -> InProgress:
    """One connection with all that was noted and told of it, finished or not.

    Parameters
    ----------
    store : Store
    in_progress_id : str

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown connection.
    """
    with store.reading() as session:
        return loaded(session, in_progress_id)


def is_begun(store: Store, in_progress_id: str) -> bool:
    """Whether the record has a connection under this id, finished or not.

    Parameters
    ----------
    store : Store
    in_progress_id : str

    Returns
    -------
    bool

    Raises
    ------
    StoreError
        The record cannot be read.
    """
    with store.reading() as session:
        return session.get(InProgressRow, in_progress_id) is not None


def connections_in_progress(store: Store, state: State = State.IN_PROGRESS) -> list[InProgress]:
    """The connections that are in progress, or that were left or finished.

    Parameters
    ----------
    store : Store
    state : State

    Returns
    -------
    list of InProgress
        Begun last first.
    """
    finished = exists().where(ActRow.in_progress_id == InProgressRow.id, ActRow.act == "finish")
    wanted = finished if state is State.FINISHED else ~finished
    order = (InProgressRow.started_at.desc(), InProgressRow.id)
    with store.reading() as session:
        rows = session.scalars(select(InProgressRow).where(wanted).order_by(*order)).all()
        found = [connection_of(session, row) for row in rows]
    return [connection for connection in found if connection.state is state]


def _press(key: str, moment: datetime | str, where: str) -> _Press:
    return record_from({"key": key, "moment": moment}, _Press, where)


def _noted(
    store: Store,
    in_progress_id: str,
    key: str,
    kind: type[Reading] | type[Mark] | type[Answer],
    values: dict[str, Any],
    noted_at: datetime | str,
    elapsed_s: float | None,
) -> InProgress:
    where = kind.__name__.lower()
    moment = _press(key, noted_at, where).moment
    with store.writing() as session:
        since_s = (moment - begun_row(session, in_progress_id).started_at).total_seconds()
        elapsed_s = round(since_s, 3) if elapsed_s is None else elapsed_s
        if isinstance(elapsed_s, int | float) and elapsed_s < 0.0:
            raise InputError(
                f"{where}: {elapsed_s:g} s is before the connection began; note what is read from "
                "then on, and tell the rest voltage and the bus load that were read before"
            )
        timed = {"noted_at": moment, "elapsed_s": elapsed_s}
        act = record_from({**values, **timed}, kind, where)

        def check(connection: InProgress) -> None:
            _check_clock(store, moment, where)
            _check_apart(act.elapsed_s, since_s, where)
            if isinstance(act, Answer):
                refuse_finished(connection, "nothing more can be told of it")
            elif isinstance(act, Reading):
                checked_value(act.quantity, act.value, f"{act.quantity} at {act.elapsed_s:g} s")

        return acted(store, in_progress_id, key, act, check)


def _check_clock(store: Store, moment: datetime, where: str) -> None:
    ahead_s = (moment - store.now()).total_seconds()
    if ahead_s > CLOCK_OFF_S:
        raise InputError(
            f"{where}: {moment:%Y-%m-%d %H:%M:%S%z} is {timedelta(seconds=round(ahead_s))} ahead "
            "of the record's clock; set the clock of this device, or of the record's computer"
        )


def _check_apart(elapsed_s: float, since_s: float, where: str) -> None:
    if abs(elapsed_s - since_s) > CLOCK_OFF_S:
        raise InputError(
            f"{where}: {elapsed_s:g} s since connection do not fit the clock, by which it is "
            f"{since_s:.0f} s; set the clock of this device, or leave the seconds out"
        )
