"""``record add``: put something into the record; `record_add_work` does it."""

from __future__ import annotations

import argparse
from typing import Any

from batterymodel.commands import day
from batterymodel.commands.told import declare_supply
from batterymodel.commands.told_log import LOG_HELP, declare_columns


def add_to(command: argparse.ArgumentParser, database: argparse.ArgumentParser) -> None:
    """Declare what can be added.

    Parameters
    ----------
    command : ArgumentParser
        That of ``record add``; each thing becomes a command below it.
    database : ArgumentParser
        Parent with the option that says where the record is.
    """
    things = command.add_subparsers(dest="thing", required=True, parser_class=type(command))

    def thing(name: str, words: str) -> argparse.ArgumentParser:
        return things.add_parser(name, help=words, description=words, parents=[database])

    aircraft = thing("aircraft", "an aircraft by its tail")
    aircraft.add_argument("tail", metavar="TAIL", help="its registration or any label")
    aircraft.add_argument("--note", metavar="TEXT", help="anything worth knowing")
    _declare_battery(thing("battery", "a battery by its serial"))
    connection = thing("connection", "a connection; it is assessed at once")
    connection.add_argument("log", metavar="LOG.csv", help=LOG_HELP)
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
    declare_columns(connection)
    _declare_check(thing("check", "a capacity check"))
    _declare_servicing(thing("servicing", "what servicing found of a battery"))
    _declare_move(thing("move", "a battery put into an aircraft, or taken off"))
    card = thing("card", "a new revision of a limits card")
    card.add_argument("serial", metavar="SERIAL", help="battery the card is for")
    card.add_argument("card", metavar="CARD.toml", help="the limits, or a battery with [limits]")
    card.add_argument("--on", type=day, metavar="DATE", help="in force from (today)")
    card.add_argument("--reason", required=True, metavar="TEXT", help="why it changes")
    _declare_loads(thing("loads", "consumers and tasks of an aircraft, or one configuration"))
    supply = thing("supply", "a ground supply of the shop, with the circuits it may hang on")
    supply.add_argument(
        "supply",
        metavar="S.toml",
        help="its plate, with [cable] and [[circuits]] of name and circuit_breaker_a",
    )
    supply.add_argument("--name", metavar="TEXT", help="what it is called (name in the file)")
    supply.add_argument("--reason", metavar="TEXT", help="why its figures on record change")
    sheet = thing("sheet", "a sheet that was handed to an owner")
    sheet.add_argument("connection", metavar="ID", help="entry of the connection")
    sheet.add_argument("file", metavar="FILE", help="the sheet as it was handed over")
    sheet.add_argument("--kind", required=True, metavar="TEXT", help="what kind of sheet")
    sheet.add_argument("--on", type=day, metavar="DATE", help="made on (today)")


def declare_told(command: argparse.ArgumentParser) -> None:
    """What is told of a connection beside its readings.

    Parameters
    ----------
    command : ArgumentParser
        The options are added to it; `record_add_work.told_from` reads them.
    """
    declare_supply(command)
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


def _declare_loads(command: argparse.ArgumentParser) -> None:
    command.add_argument("tail", metavar="TAIL", help="aircraft on record")
    command.add_argument(
        "loads",
        metavar="LOADS.toml",
        help="[[consumers]] and [[tasks]]; or name, and [[consumers]] with continuous_a, peak_a",
    )
    command.add_argument("--on", type=day, metavar="DATE", help="said on (the file's, else today)")
    command.add_argument("--said-by", metavar="TEXT", help="who said so (said_by in the file)")
    command.add_argument("--document", metavar="TEXT", help="where the figures are from")


def _declare_check(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="battery on record")
    command.add_argument("--on", type=day, required=True, metavar="DATE", help="day of the check")
    number: dict[str, Any] = {"type": float, "metavar": "X"}
    command.add_argument("--capacity", required=True, help="at reference [Ah]", **number)
    command.add_argument("--capacity-error", help="its standard error [Ah]", **number)
    command.add_argument("--at-least", action="store_true", help="stopped before end voltage")
    command.add_argument("--current", help="discharge current [A]", **number)
    command.add_argument("--minutes", help="length of the discharge [min]", **number)
    command.add_argument("--temperature", help="of the battery [degC]", **number)
    command.add_argument("--end-voltage", help="of the battery [V]", **number)
    command.add_argument("--log", metavar="FILE", help="raw log of the bench, kept as it is")
    _declare_again(command)
    command.add_argument("--note", metavar="TEXT", help="anything worth knowing")


def _declare_servicing(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="battery on record")
    found = command.add_mutually_exclusive_group(required=True)
    found.add_argument(
        "--capacity", type=float, metavar="AH", help="as measured, at reference [Ah]"
    )
    found.add_argument("--faulty-cell", action="store_true", help="a faulty cell")
    found.add_argument("--nothing-wrong", action="store_true", help="nothing wrong")
    _declare_again(command)
    command.add_argument("--on", type=day, metavar="DATE", help="day it was found (today)")
    command.add_argument("--note", metavar="TEXT", help="anything worth knowing")


def _declare_again(command: argparse.ArgumentParser) -> None:
    command.add_argument(
        "--measured-again",
        action="store_true",
        help="though the record has the same capacity of a few days before or after; the same of "
        "one day is kept once",
    )


def _declare_move(command: argparse.ArgumentParser) -> None:
    command.add_argument("serial", metavar="SERIAL", help="battery on record")
    where = command.add_mutually_exclusive_group(required=True)
    where.add_argument("--to", metavar="TAIL", help="into this aircraft")
    where.add_argument("--off", action="store_true", help="off aircraft")
    command.add_argument("--on", type=day, required=True, metavar="DATE", help="day of the move")
    command.add_argument("--reason", required=True, metavar="TEXT", help="why it was moved")
