"""A connection in progress as the assessment sees it, and at its end as the record keeps it."""

from __future__ import annotations

from typing import Any

from batterymodel.basis.meters import LOAD_SD_A
from batterymodel.basis.text import one_line
from batterymodel.errors import InputError
from batterymodel.inputs.records import Battery, record_from
from batterymodel.store.act_rows import add_act, loaded
from batterymodel.store.acts import Finish, InProgress, State
from batterymodel.store.former_plates import PLATE
from batterymodel.store.in_progress import tell
from batterymodel.store.intake import Taken, Told, add_connection, add_fitted_battery
from batterymodel.store.kinds import known_battery
from batterymodel.store.noted_readings import file_name_of, readings_bytes, refuse_doubted_marks
from batterymodel.store.store import Store

NO_TAIL = "no tail told"


def battery_so_far(store: Store, connection: InProgress) -> Battery:
    """The battery as it is known by now: by its serial on record, else by its plate.

    Parameters
    ----------
    store : Store
    connection : InProgress

    Returns
    -------
    Battery
        One on record as it was before this connection.

    Raises
    ------
    InputError
        A serial that is not on record or whose battery has another plate, or what the plate lacks.
    """
    told = connection.told
    if told.serial is not None:
        check_plate(store, connection)
        return known_battery(store, told.serial, connection.day, before=connection.started_at)
    lacking = [name for name in PLATE if getattr(told, name) is None]
    if lacking:
        raise InputError(
            f"{connection.where}: still needed of the battery: {', '.join(lacking)}, or the serial "
            "of one on record"
        )
    plate = {name: getattr(told, name) for name in PLATE}
    return record_from({"tail": told.tail or NO_TAIL, **plate}, Battery, connection.where)


def told_so_far(connection: InProgress) -> dict[str, Any]:
    """What `assess` takes beside readings, battery and supply, by its names.

    A temperature of the battery goes before one of the air.

    Parameters
    ----------
    connection : InProgress

    Returns
    -------
    dict
        ``rest_voltage_v`` [V], ``load_a`` and ``load_sd_a`` [A], ``ambient_c`` [degC], ``on``.
    """
    told = connection.told
    battery_c, ambient_c = told.battery_temp_c, told.ambient_c
    return {
        "rest_voltage_v": told.rest_voltage_v,
        "load_a": told.load_a,
        "load_sd_a": LOAD_SD_A if told.load_sd_a is None else told.load_sd_a,
        "ambient_c": ambient_c if battery_c is None else battery_c,
        "on": connection.day,
    }


def check_plate(store: Store, connection: InProgress) -> None:
    """Check that a plate that was typed in is that of the battery on record.

    Parameters
    ----------
    store : Store
    connection : InProgress
        With the serial of its battery.

    Raises
    ------
    InputError
        A serial that is not on record, or a plate that says something else.
    """
    told, plate = connection.told, store.plate(str(connection.told.serial)).record
    for name in PLATE:
        typed, on_record = getattr(told, name), getattr(plate, name)
        if typed is not None and typed != on_record:
            raise InputError(
                f"{connection.where}: {name} was told as {typed}, but battery '{told.serial}' has "
                f"{on_record} on record; tell the right serial, or correct one of the two"
            )


def finish(store: Store, in_progress_id: str, key: str) -> Taken:
    """Put a connection into the record, as an uploaded file of its readings would be; once.

    It is assessed with what the record says of the battery, in the same transaction.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
        Of this press.

    Returns
    -------
    Taken
        `was_there` where it had been finished before, or the very file is on record.

    Raises
    ------
    InputError
        An unknown connection, one that was left, one without a reading or without the serial of a
        battery on record, and what `add_connection` refuses; it stays in progress.
    """
    with store.writing() as session:
        connection = loaded(session, in_progress_id)
        if connection.connection_id is not None:
            return Taken(store.entry(connection.connection_id), was_there=True)
        _check_ready(connection)
        check_plate(store, connection)
        taken = add_connection(
            store,
            str(connection.told.serial),
            readings_bytes(connection),
            file_name_of(connection),
            Told(
                tail=connection.told.tail, supply=connection.told.supply, **told_so_far(connection)
            ),
        )
        add_act(store, session, connection, key, Finish(connection_id=taken.entry.id))
        return taken


def keep_with_battery(store: Store, in_progress_id: str, key: str, serial: str, tail: str) -> Taken:
    """Put a battery that is known by its plate alone on record, and its connection with it.

    Parameters
    ----------
    store : Store
    in_progress_id : str
    key : str
        Of this press.
    serial : str
        By which the battery is known from now on; one that no battery on record has.
    tail : str
        Aircraft it is fitted into; added where it is new.

    Returns
    -------
    Taken
        As `finish`; a repeat adds nothing.

    Raises
    ------
    InputError
        A serial that is there already or cannot be one, a plate that is not whole, and as
        `finish`; nothing is added.
    """
    with store.writing() as session:
        connection = loaded(session, in_progress_id)
        serial, tail = one_line(serial), one_line(tail)
        if connection.connection_id is None and connection.told.serial != serial:
            battery = battery_so_far(store, connection)
            add_fitted_battery(store, serial, battery, tail, connection.day)
            tell(store, in_progress_id, f"{key}-told", serial=serial, tail=tail)
        return finish(store, in_progress_id, key)


def _check_ready(connection: InProgress) -> None:
    if connection.state is State.LEFT:
        raise InputError(
            f"{connection.where} was left ({connection.left_because}); take it up again to "
            "finish it"
        )
    if not connection.readings:
        raise InputError(f"{connection.where} has no readings to keep; note one, or leave it")
    refuse_doubted_marks(connection)
    if connection.told.serial is None:
        raise InputError(
            f"{connection.where} names no battery on record; add its battery to the record and "
            "tell its serial"
        )
