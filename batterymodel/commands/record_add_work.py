"""What ``record add`` puts into an opened record, by the word that asks for it."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

from batterymodel.commands.told import told_supply
from batterymodel.commands.told_log import told_guess
from batterymodel.errors import InputError
from batterymodel.inputs.foreign import ForeignGuess, guess_as_own
from batterymodel.inputs.foreign_table import foreign_table
from batterymodel.inputs.load_plan import aircraft_loads_from
from batterymodel.inputs.records import (
    Limits,
    read_battery,
    read_toml,
    record_from,
)
from batterymodel.say.connection import columns_taken
from batterymodel.say.record import ALREADY, ONCE_A_DAY, summary, taken_text
from batterymodel.store import Entry, Store
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.intake import add_check as take_check
from batterymodel.store.once import add_once
from batterymodel.store.power import (
    add_load_plan,
    add_supply,
    refuse_day_ahead,
    shop_supply_from,
)
from batterymodel.store.records import (
    MAX_FILE_BYTES,
    Aircraft,
    BenchCheck,
    CardRevision,
    LoadConfiguration,
    Move,
    OwnerSheet,
    ServicingFound,
)
from batterymodel.store.servicing import add_servicing
from batterymodel.store.settings import remember_columns, remembered_columns


def add_thing(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms what was added.

    Parameters
    ----------
    store : Store
    options : Namespace
        Its `thing` is one of `THINGS`; the rest is what that reads.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A file or value that cannot be used, or a battery, aircraft or connection not on record.
    """
    return THINGS[options.thing](store, options)


def add_aircraft(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the aircraft.

    Parameters
    ----------
    store : Store
    options : Namespace
        `tail` and `note` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A tail that is on record already with another note, or a value that does not fit.
    """
    data = {"tail": options.tail, "note": options.note}
    return _added(store, *add_once(store, record_from(data, Aircraft, "aircraft")))


def add_a_battery(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the battery.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial`, `battery` (path of a TOML), `installed`, `aircraft` (tail) and `note` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A serial that is on record already, an aircraft that is not, or a file that cannot be used.
    """
    battery, installed = read_battery(options.battery), options.installed
    with store.writing():
        entry = add_battery(store, options.serial, battery, installed, note=options.note)
        if options.aircraft:
            _move(store, entry.id, options.aircraft, installed or date.today(), "installed")
    return _added(store, entry)


def add_a_connection(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the connection.

    Parameters
    ----------
    store : Store
    options : Namespace
        `log` (path of the readings), `serial`, `aircraft` (tail), `rest_voltage` and `rest_after`
        [V], `column` and `decimal` are read, and what `told_from` reads.

    Returns
    -------
    str
        With the outcome, or the sentence why there is none.

    Raises
    ------
    InputError
        A file that cannot be read, columns that must be told, a battery or aircraft not on
        record, a battery that was on no aircraft then, or a value that does not fit.
    """
    told = replace(
        told_from(options),
        tail=options.aircraft,
        rest_voltage_v=options.rest_voltage,
        rest_after_v=options.rest_after,
    )
    name, content = Path(options.log).name, bytes_of(options.log)
    guess = _guess(store, content, options)
    column_map = guess.column_map
    taken = add_connection(store, options.serial, content, name, told, column_map)
    if options.column or options.decimal:
        remember_columns(store, guess.fingerprint, column_map)
    said = "" if column_map.own else f"{columns_taken(column_map)}\n"
    return said + taken_text(taken, name)


def _guess(store: Store, content: bytes, options: argparse.Namespace) -> ForeignGuess:
    """Columns as told, as confirmed for an earlier file with this header, or as they surely are.

    What is no table goes to the own reader, so that it is kept with the sentence why.
    """
    if not options.column and options.decimal is None and not _is_table(content, options.log):
        return guess_as_own()
    return told_guess(content, options, partial(remembered_columns, store))


def _is_table(content: bytes, name: str) -> bool:
    try:
        foreign_table(content, name)
    except InputError:
        return False
    return True


def told_from(options: argparse.Namespace) -> Told:
    """What the options tell of every connection of an import.

    Parameters
    ----------
    options : Namespace
        What `told_supply` reads, `on`, `load` and `load_error` [A] and `ambient` [degC].

    Returns
    -------
    Told
        Without a rest voltage, which each connection has of its own.

    Raises
    ------
    InputError
        A supply file that cannot be used.
    """
    return Told(
        on=options.on,
        supply=told_supply(options),
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
    )


def add_check(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the capacity check, or says that it is in the record already.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial`, `on`, `capacity` and `capacity_error` [Ah], `at_least`, `current` [A], `minutes`
        [min], `temperature` [degC], `end_voltage` [V], `note`, `log` (path) and `measured_again`
        are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery not on record, a log that cannot be kept, a day still to come or before the
        installation, or a value that does not fit.
    """
    log = bytes_of(options.log) if options.log else None
    data = {
        "battery_id": store.plate(options.serial).id,
        "on": options.on,
        "capacity_ah": options.capacity,
        "capacity_sd_ah": options.capacity_error,
        "is_lower_bound": options.at_least,
        "discharge_current_a": options.current,
        "minutes": options.minutes,
        "temperature_c": options.temperature,
        "end_voltage_v": options.end_voltage,
        "note": options.note,
        "log_name": Path(options.log).name if options.log else None,
    }
    check = record_from(data, BenchCheck, "capacity check")
    taken = take_check(store, check, log, again=options.measured_again)
    if taken.is_completed:
        return f"completed: {summary(store, taken.entry.record)}  [{taken.entry.id}]"
    return _added(store, taken.entry, taken.was_there, options.measured_again)


def add_a_servicing(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms what servicing found, or says that it is in the record already.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial`, one of `capacity` [Ah], `faulty_cell` and `nothing_wrong`, `on` (today where
        None), `note` and `measured_again` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery not on record, a day still to come or before the installation, or a value that
        does not fit.
    """
    found = ServicingFound.FAULTY_CELL if options.faulty_cell else ServicingFound.NOTHING_WRONG
    if options.capacity is not None:
        found = ServicingFound.CAPACITY
    on = options.on or date.today()
    about = (options.serial, found, on, options.capacity, options.note)
    taken = add_servicing(store, *about, again=options.measured_again)
    return _added(store, *taken, options.measured_again)


def add_move(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the move.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial`, `to` (tail; None takes it off aircraft), `on` and `reason` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery or aircraft not on record, or no reason.
    """
    battery_id = store.plate(options.serial).id
    return _added(store, *_move(store, battery_id, options.to, options.on, options.reason))


def _move(
    store: Store, battery_id: str, tail: str | None, on: date, reason: str
) -> tuple[Entry[Move], bool]:
    aircraft_id = store.aircraft(tail).id if tail else None
    data = {"battery_id": battery_id, "aircraft_id": aircraft_id, "on": on, "reason": reason}
    return add_once(store, record_from(data, Move, "move"))


def add_card(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the card.

    Parameters
    ----------
    store : Store
    options : Namespace
        `serial`, `card` (path of a TOML), `on` (today where None) and `reason` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A battery not on record, a card that cannot be used, or no reason.
    """
    data = read_toml(options.card)
    limits = record_from(data.get("limits", data), Limits, options.card)
    about = {"on": options.on or date.today(), "reason": options.reason, "limits": limits}
    about["battery_id"] = store.plate(options.serial).id
    return _added(store, *add_once(store, record_from(about, CardRevision, options.card)))


def add_loads(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms consumers and tasks of an aircraft, or one load configuration.

    A file with a name and no tasks is a configuration: what is on in one situation.

    Parameters
    ----------
    store : Store
    options : Namespace
        `tail`, `loads` (path of a TOML), `on`, `said_by` and `document` are read; the last two
        fill what the file leaves open.

    Returns
    -------
    str

    Raises
    ------
    InputError
        An aircraft not on record or another than the file's, a name it has already, or a file
        that cannot be used.
    """
    data, aircraft = read_toml(options.loads), store.aircraft(options.tail)
    told = {"on": options.on, "said_by": options.said_by, "document": options.document}
    told = {name: value for name, value in told.items() if value is not None}
    if "name" in data and "tasks" not in data:
        record = record_from(
            {**data, **told, "aircraft_id": aircraft.id}, LoadConfiguration, options.loads
        )
        if record.on is not None:
            refuse_day_ahead(store, record.on, f"the loads of '{record.name}'")
        return _added(store, *add_once(store, record))
    loads = aircraft_loads_from({"tail": aircraft.record.tail, **data, **told}, options.loads)
    return _added(store, *add_load_plan(store, options.tail, loads, date.today()))


def add_a_supply(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the supply, or its correction.

    Parameters
    ----------
    store : Store
    options : Namespace
        `supply` (path of a TOML), `name` (that of the file where None) and `reason` are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A file that cannot be used, or a supply of this name with other figures and no reason.
    """
    told = {} if options.name is None else {"name": options.name}
    supply = shop_supply_from({**read_toml(options.supply), **told}, options.supply)
    taken = add_supply(store, supply, options.reason)
    if taken.corrected:
        return f"corrected: {summary(store, taken.entry.record)}  [{taken.entry.id}]"
    return _added(store, taken.entry, taken.was_there)


def add_sheet(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the sheet.

    Parameters
    ----------
    store : Store
    options : Namespace
        `connection` (its id), `file` (path), `kind` and `on` (today where None) are read.

    Returns
    -------
    str

    Raises
    ------
    InputError
        A connection not on record, or a file that cannot be kept.
    """
    content = bytes_of(options.file)
    with store.writing():
        data = {
            "connection_id": options.connection,
            "made_on": options.on or date.today(),
            "kind": options.kind,
            "file_name": Path(options.file).name,
            "content_sha256": store.keep_file(content),
        }
        return _added(store, *add_once(store, record_from(data, OwnerSheet, "sheet")))


def bytes_of(path: str) -> bytes:
    """Content of a file the record is to keep.

    Parameters
    ----------
    path : str

    Returns
    -------
    bytes
        At most one more than `MAX_FILE_BYTES`, which shows that the file is too large.

    Raises
    ------
    InputError
        A path that cannot be read.
    """
    try:
        with open(path, "rb") as file:
            return file.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise InputError(f"{path}: cannot be read ({reason.lower()}); give a file") from None


def _added(store: Store, entry: Entry[Any], was_there: bool = False, is_again: bool = False) -> str:
    said = ALREADY if was_there else "confirmed"
    once = f" ({ONCE_A_DAY})" if was_there and is_again else ""
    return f"{said}: {summary(store, entry.record)}{once}  [{entry.id}]"


THINGS: dict[str, Callable[[Store, argparse.Namespace], str]] = {
    "aircraft": add_aircraft,
    "battery": add_a_battery,
    "connection": add_a_connection,
    "check": add_check,
    "servicing": add_a_servicing,
    "move": add_move,
    "card": add_card,
    "loads": add_loads,
    "supply": add_a_supply,
    "sheet": add_sheet,
}
"""What each word after ``record add`` puts in."""
