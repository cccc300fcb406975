"""``fade``: forecast of capacity from a record of checks."""

from __future__ import annotations

import argparse
from datetime import date

from batterymodel.capacityreport import fade_text
from batterymodel.commands import day
from batterymodel.fade import fade_forecast
from batterymodel.records import read_battery


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command."""
    command = commands.add_parser(
        "fade",
        help="forecast capacity from a record of checks",
        description="How fast capacity falls, when it crosses its limit, when to check next.",
    )
    command.add_argument("checks", metavar="CHECKS.csv", help="record of capacity checks")
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    command.add_argument(
        "--on", type=day, metavar="DATE", help="day from which the next check is advised (today)"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object."""
    battery = read_battery(options.battery)
    forecast = fade_forecast(options.checks, battery, today=options.on or date.today())
    return forecast.model_dump_json(indent=2) if options.json else fade_text(forecast)
