"""``assess``: one connection from its readings."""

from __future__ import annotations

import argparse

from batterymodel.assessment import assess
from batterymodel.commands import day
from batterymodel.readings import read_readings
from batterymodel.records import read_battery, read_supply
from batterymodel.textreport import text_report


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command."""
    command = commands.add_parser(
        "assess",
        help="assess one connection from its readings",
        description="Assess one connection: outcome, state of charge, findings, next steps.",
    )
    command.add_argument("log", metavar="LOG.csv", help="readings of the connection")
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    command.add_argument("--supply", metavar="S.toml", help="ground supply and wall circuit")
    command.add_argument(
        "--rest-voltage", type=float, metavar="V", help="rest voltage before connection [V]"
    )
    command.add_argument("--load", type=float, metavar="A", help="bus load without the battery [A]")
    command.add_argument(
        "--load-error", type=float, default=0.5, metavar="A", help="its standard error [A] (0.5)"
    )
    command.add_argument(
        "--ambient",
        type=float,
        metavar="C",
        help="temperature, where no battery temperature is read",
    )
    command.add_argument(
        "--on", type=day, metavar="DATE", help="day of the connection, YYYY-MM-DD (today)"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object."""
    result = assess(
        read_readings(options.log),
        read_battery(options.battery),
        read_supply(options.supply) if options.supply else None,
        rest_voltage_v=options.rest_voltage,
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
        on=options.on,
    )
    return result.model_dump_json(indent=2) if options.json else text_report(result)
