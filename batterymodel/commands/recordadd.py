"""``record add``: put something into the record."""

from __future__ import annotations

import argparse
from dataclasses import replace
from datetime import date
from pathlib import Path

from batterymodel.commands import day
from batterymodel.errors import InputError
from batterymodel.inputs.records import (
    Limits,
    Record,
    read_battery,
    read_supply,
    read_toml,
    record_from,
)
from batterymodel.say.record import summary, taken_text
from batterymodel.store import Entry, Store
from batterymodel.store.intake import Told, add_battery, add_connection
from batterymodel.store.records import (
    MAX_FILE_BYTES,
    Aircraft,
    BenchCheck,
    CardRevision,
    LoadConfiguration,
    Move,
    OwnerSheet,
)


def add_to(command: argparse.ArgumentParser, database: argparse.ArgumentParser) -> None:
    """Declare what can be added."""
    things = command.add_subparsers(dest="thing", required=True, parser_class=type(command))

    def thing(name: str, words: str, run: object) -> argparse.ArgumentParser:
        parser = things.add_parser(name, help=words, description=words, parents=[database])
        parser.set_defaults(work=run)
        return parser

    aircraft = thing("aircraft", "an aircraft by its tail", add_aircraft)
    aircraft.add_argument("tail", metavar="TAIL", help="its registration or any label")
    aircraft.add_argument("--note", metavar="TEXT", help="anything worth knowing")
    _declare_battery(thing("battery", "a battery by its serial", add_a_battery))
    connection = thing("connection", "a connection; it is assessed at once", add_a_connection)
    connection.add_argument("log", metavar="LOG.csv", help="readings of the connection")
    connection.add_argument("--serial", required=True, metavar="SERIAL", help="its battery")
    connection.add_argument("--aircraft", metavar="TAIL", help="where the battery was (its own)")
    connection.add_argument("--rest-voltage", type=float, metavar="V", help="before connection [V]")
    connection.add_argument(
        "--rest-after",
        type=float,
        metavar="V",
        help="rested again after the taper [V]; gives a capacity in service",
    )
    declare_told(connection)
    _declare_check(thing("check", "a capacity check", add_check))
    _declare_move(thing("move", "a battery put into an aircraft, or taken off", add_move))
    card = thing("card", "a new revision of a limits card", add_card)
    card.add_argument("serial", metavar="SERIAL", help="battery the card is for")
    card.add_argument("card", metavar="CARD.toml", help="the limits, or a battery with [limits]")
    card.add_argument("--on", type=day, metavar="DATE", help="in force from (today)")
    card.add_argument("--reason", required=True, metavar="TEXT", help="why it changes")
    loads = thing("loads", "a load configuration of an aircraft", add_loads)
    loads.add_argument("tail", metavar="TAIL", help="aircraft on record")
    loads.add_argument(
        "loads",
        metavar="LOADS.toml",
        help="name, and [[consumers]] with name, continuous_a, peak_a",
    )
    sheet = thing("sheet", "a sheet that was handed to an owner", add_sheet)
    sheet.add_argument("connection", metavar="ID", help="entry of the connection")
    sheet.add_argument("file", metavar="FILE", help="the sheet as it was handed over")
    sheet.add_argument("--kind", required=True, metavar="TEXT", help="what kind of sheet")
    sheet.add_argument("--on", type=day, metavar="DATE", help="made on (today)")


def declare_told(command: argparse.ArgumentParser) -> None:
    """What is told of a connection beside its readings."""
    command.add_argument("--supply", metavar="S.toml", help="ground supply and wall circuit")
    command.add_argument("--load", type=float, metavar="A", help="bus load without battery [A]")
    command.add_argument(
        "--load-error", type=float, default=0.5, metavar="A", help="its standard error [A] (0.5)"
    )
    command.add_argument("--ambient", type=float, metavar="C", help="temperature [degC]")
    command.add_argument("--on", type=day, metavar="DATE", help="day (the readings', else today)")


def _declare_battery(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="its serial, as on the plate")
    command.add_argument("battery", metavar="B.toml", help="plate, limits card and history")
    command.add_argument("--installed", type=day, metavar="DATE", help="first installed on")
    command.add_argument("--aircraft", metavar="TAIL", help="put it into this aircraft")
    command.add_argument("--note", metavar="TEXT", help="anything worth knowing")


def _declare_check(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="battery on record")
    command.add_argument("--on", type=day, required=True, metavar="DATE", help="day of the check")
    number = {"type": float, "metavar": "X"}
    command.add_argument("--capacity", required=True, help="at reference [Ah]", **number)
    command.add_argument("--capacity-error", help="its standard error [Ah]", **number)
    command.add_argument("--at-least", action="store_true", help="stopped before end voltage")
    command.add_argument("--current", help="discharge current [A]", **number)
    command.add_argument("--minutes", help="length of the discharge [min]", **number)
    command.add_argument("--temperature", help="of the battery [degC]", **number)
    command.add_argument("--end-voltage", help="of the battery [V]", **number)
    command.add_argument("--log", metavar="FILE", help="raw log of the bench, kept as it is")
    command.add_argument("--note", metavar="TEXT", help="anything worth knowing")


def _declare_move(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="battery on record")
    where = command.add_mutually_exclusive_group(required=True)
    where.add_argument("--to", metavar="TAIL", help="into this aircraft")
    where.add_argument("--off", action="store_true", help="off aircraft")
    command.add_argument("--on", type=day, required=True, metavar="DATE", help="day of the move")
    command.add_argument("--reason", required=True, metavar="TEXT", help="why it was moved")


def add_aircraft(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the aircraft."""
    data = {"tail": options.tail, "note": options.note}
    return _added(store, store.add(record_from(data, Aircraft, "aircraft")))


def add_a_battery(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the battery."""
    battery, installed = read_battery(options.battery), options.installed
    with store.writing():
        entry = add_battery(store, options.serial, battery, installed, note=options.note)
        if options.aircraft:
            _move(store, entry.id, options.aircraft, installed or date.today(), "installed")
    return _added(store, entry)


def add_a_connection(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the connection."""
    told = replace(
        told_from(options),
        tail=options.aircraft,
        rest_voltage_v=options.rest_voltage,
        rest_after_v=options.rest_after,
    )
    name = Path(options.log).name
    return taken_text(
        add_connection(store, options.serial, bytes_of(options.log), name, told), name
    )


def told_from(options: argparse.Namespace) -> Told:
    """What the options tell of every connection of an import."""
    return Told(
        on=options.on,
        supply=read_supply(options.supply) if options.supply else None,
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
    )


def add_check(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the capacity check."""
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
    with store.writing():
        data["log_sha256"] = store.keep_file(log) if log is not None else None
        return _added(store, store.add(record_from(data, BenchCheck, "capacity check")))


def add_move(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the move."""
    battery_id = store.plate(options.serial).id
    return _added(store, _move(store, battery_id, options.to, options.on, options.reason))


def _move(store: Store, battery_id: str, tail: str | None, on: date, reason: str) -> Entry[Move]:
    aircraft_id = store.aircraft(tail).id if tail else None
    data = {"battery_id": battery_id, "aircraft_id": aircraft_id, "on": on, "reason": reason}
    return store.add(record_from(data, Move, "move"))


def add_card(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the card."""
    data = read_toml(options.card)
    limits = record_from(data.get("limits", data), Limits, options.card)
    about = {"on": options.on or date.today(), "reason": options.reason, "limits": limits}
    about["battery_id"] = store.plate(options.serial).id
    return _added(store, store.add(record_from(about, CardRevision, options.card)))


def add_loads(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the load configuration."""
    data = {**read_toml(options.loads), "aircraft_id": store.aircraft(options.tail).id}
    return _added(store, store.add(record_from(data, LoadConfiguration, options.loads)))


def add_sheet(store: Store, options: argparse.Namespace) -> str:
    """The line that confirms the sheet."""
    content = bytes_of(options.file)
    with store.writing():
        data = {
            "connection_id": options.connection,
            "made_on": options.on or date.today(),
            "kind": options.kind,
            "file_name": Path(options.file).name,
            "content_sha256": store.keep_file(content),
        }
        return _added(store, store.add(record_from(data, OwnerSheet, "sheet")))


def bytes_of(path: str) -> bytes:
    """Content of a file the record is to keep; raises `InputError`."""
    try:
        with open(path, "rb") as file:
            return file.read(MAX_FILE_BYTES + 1)
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "not a path"
        raise InputError(f"{path}: cannot be read ({reason.lower()}); give a file") from None


def _added(store: Store, entry: Entry[Record]) -> str:
    return f"confirmed: {summary(store, entry.record)}  [{entry.id}]"
