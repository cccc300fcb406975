"""``assess``: one connection from its readings."""

from __future__ import annotations

import argparse

from batterymodel.commands.told import assessed, declare_known
from batterymodel.commands.told_log import LOG_HELP, declare_columns, told_readings


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "assess",
        help="assess one connection from its readings",
        description="Assess one connection: outcome, state of charge, findings, next steps.",
    )
    command.add_argument("log", metavar="LOG.csv", help=LOG_HELP)
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    declare_known(command)
    declare_columns(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object; for another logger's file first how its columns were taken.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        A file or value that cannot be used.
    FitError
        Readings that determine no taper.
    """
    from batterymodel.inputs.records import read_battery
    from batterymodel.say.connection import columns_taken, text_report

    readings, column_map = told_readings(options)
    result = assessed(readings, read_battery(options.battery), options)
    if options.json:
        return result.model_dump_json(indent=2)
    taken = "" if column_map.own else f"{columns_taken(column_map)}\n\n"
    return taken + text_report(result)
