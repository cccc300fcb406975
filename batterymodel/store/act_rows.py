"""Rows of connections in progress: acts read back in their order, and one more written."""

from __future__ import annotations

import re
from collections.abc import Callable

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from batterymodel.errors import InputError
from batterymodel.inputs.records import Record, record_from
from batterymodel.inputs.remarks import shown
from batterymodel.store.acts import KEY_PATTERN, Act, InProgress, Key, State
from batterymodel.store.store import Store
from batterymodel.store.tables import ActRow, InProgressRow


class _Keyed(Record):
    key: Key


def loaded(session: Session, in_progress_id: str) -> InProgress:
    """One connection, in an open look at the record.

    Parameters
    ----------
    session : Session
    in_progress_id : str

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown connection.
    """
    return connection_of(session, begun_row(session, in_progress_id))


def begun_row(session: Session, in_progress_id: str) -> InProgressRow:
    """The row that a connection was begun with.

    Parameters
    ----------
    session : Session
    in_progress_id : str

    Returns
    -------
    InProgressRow

    Raises
    ------
    InputError
        An unknown connection.
    """
    known = re.fullmatch(KEY_PATTERN, in_progress_id)
    row = session.get(InProgressRow, in_progress_id) if known else None
    if row is None:
        raise InputError(
            f"there is no connection in progress {shown(in_progress_id)} in the record; begin it "
            "first"
        )
    return row


def connection_of(session: Session, row: InProgressRow) -> InProgress:
    """The connection of a row with all its acts.

    Parameters
    ----------
    session : Session
    row : InProgressRow

    Returns
    -------
    InProgress
    """
    wanted = select(ActRow).where(ActRow.in_progress_id == row.id).order_by(ActRow.number)
    begun = InProgress(id=row.id, started_at=row.started_at, day=row.day, told_beside=row.told)
    return begun.after((act.key, act.content) for act in session.scalars(wanted))


def add_act(store: Store, session: Session, connection: InProgress, key: str, act: Act) -> None:
    """Write one act behind those that are there.

    Parameters
    ----------
    store : Store
        Its clock tells when.
    session : Session
        In a write transaction.
    connection : InProgress
    key : str
    act : Act

    Raises
    ------
    InputError
        A key that cannot be one, or that another act has.
    """
    record_from({"key": key}, _Keyed, connection.where)
    if (there := session.get(ActRow, key)) is not None:
        raise _taken(connection, there)
    last = select(func.max(ActRow.number)).where(ActRow.in_progress_id == connection.id)
    session.add(
        ActRow(
            key=key,
            recorded_at=store.now(),
            in_progress_id=connection.id,
            number=(session.scalar(last) or 0) + 1,
            act=act.act,
            content=act,
        )
    )
    session.flush()


def acted(
    store: Store,
    in_progress_id: str,
    key: str,
    act: Act,
    check: Callable[[InProgress], None],
) -> InProgress:
    """The connection with one act more, in one transaction; a repeat changes nothing.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
    act : Act
    check : callable
        Called with the connection where the act is new; raises `InputError` to refuse it.

    Returns
    -------
    InProgress

    Raises
    ------
    InputError
        An unknown connection, a key that cannot be one or that holds something else, or what
        `check` refuses.
    """
    with store.writing() as session:
        connection = loaded(session, in_progress_id)
        record_from({"key": key}, _Keyed, connection.where)
        there = session.get(ActRow, key)
        if there is None:
            check(connection)
            add_act(store, session, connection, key, act)
            return connection.after([(key, act)])
        if (there.in_progress_id, there.content) != (connection.id, act):
            raise _taken(connection, there)
        return connection


def _taken(connection: InProgress, there: ActRow) -> InputError:
    return InputError(
        f"{connection.where}: the key '{there.key}' belongs to another press ({there.act}); a "
        "new key for each press would be right"
    )


def refuse_finished(connection: InProgress, words: str) -> None:
    """Refuse what cannot be done to a finished connection.

    Parameters
    ----------
    connection : InProgress
    words : str
        What cannot be done.

    Raises
    ------
    InputError
        The connection is finished.
    """
    if connection.state is State.FINISHED:
        raise InputError(
            f"{connection.where} is finished: {words}; correct entry {connection.connection_id} "
            "of the record instead"
        )
