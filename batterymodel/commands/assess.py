"""``assess``: one connection from its readings."""

from __future__ import annotations

import argparse

from batterymodel.commands.told import assessed, declare_known


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
    command.add_argument(
        "log",
        metavar="LOG.csv",
        help="readings of the connection: elapsed_s or time (ISO 8601), supply_current_a; optional "
        "supply_voltage_v, battery_current_a (clamp meter, positive when charging), "
        "battery_temp_c, load_a, event (free text at a switch action)",
    )
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    declare_known(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object.

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
    from batterymodel.inputs.readings import read_readings
    from batterymodel.inputs.records import read_battery
    from batterymodel.say.connection import text_report

    result = assessed(read_readings(options.log), read_battery(options.battery), options)
    return result.model_dump_json(indent=2) if options.json else text_report(result)
