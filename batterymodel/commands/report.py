"""``report``: the findings sheet for an owner, as a PDF."""

from __future__ import annotations

import argparse
from datetime import date
from pathlib import Path

from batterymodel.commands.told import assessed, declare_known, told_supply
from batterymodel.commands.told_log import LOG_HELP, declare_columns, told_readings
from batterymodel.errors import InputError

PAPERS = ("a4", "letter")
"""Papers by name; a test keeps them those of the sheet, which is slow to load."""

_OF_FILES = ("log", "battery", "supply", "checks", "rest_voltage", "load", "ambient", "on")
_OF_LOGS = ("column", "decimal")


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "report",
        help="write a findings sheet for the owner, as a PDF",
        description="Write one or two pages for the owner, from readings or from the record.",
    )
    command.add_argument("log", metavar="LOG.csv", nargs="?", help=LOG_HELP)
    command.add_argument("--battery", metavar="B.toml", help="battery and its limits")
    declare_known(command)
    declare_columns(command)
    command.add_argument("--checks", metavar="CHECKS.csv", help="its capacity checks")
    command.add_argument("--serial", metavar="SERIAL", help="take a battery of the record instead")
    command.add_argument(
        "--connection", metavar="ID", help="which of its connections (the latest assessed)"
    )
    command.add_argument(
        "--database", metavar="URL", help="file or URL of the record (BATTERYMODEL_DATABASE_URL)"
    )
    command.add_argument("--keep", action="store_true", help="keep the sheet in the record")
    command.add_argument("--to", required=True, metavar="FILE.pdf", help="where to write it")
    command.add_argument("--paper", choices=PAPERS, default="a4", help="its size (a4)")
    command.add_argument("--owner", metavar="NAME", help="name of the owner")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The line that says what was written.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares; either files, or a serial on record.

    Returns
    -------
    str

    Raises
    ------
    InputError
        Options that do not go together, or a file, name or value that cannot be used.
    FitError
        Readings that determine no taper.
    StoreError
        A record that cannot be opened, read or written.
    """
    _check_choice(options)
    return _from_record(options) if options.serial else _from_files(options)


def _check_choice(options: argparse.Namespace) -> None:
    given = [name for name in (*_OF_FILES, *_OF_LOGS) if getattr(options, name) not in (None, [])]
    if options.serial and given:
        raise InputError(
            f"--serial takes everything from the record: leave out {_flag(given[0])}, or --serial"
        )
    if not options.serial and (options.keep or options.connection):
        raise InputError("--keep and --connection are for sheets from the record: give --serial")
    if not options.serial and not (options.log and options.battery):
        raise InputError("give LOG.csv and --battery, or --serial for a battery of the record")


def _flag(name: str) -> str:
    return "LOG.csv" if name == "log" else f"--{name.replace('_', '-')}"


def _from_files(options: argparse.Namespace) -> str:
    from batterymodel.assessment import connection_day
    from batterymodel.fade.forecast import fade_forecast
    from batterymodel.inputs.records import read_battery
    from batterymodel.samples.connections import is_sample
    from batterymodel.say.connection import columns_taken
    from batterymodel.sheet.case import SheetCase
    from batterymodel.sheet.wording import INVENTED

    (readings, column_map), battery = told_readings(options), read_battery(options.battery)
    assessment = assessed(readings, battery, options)
    day = connection_day(readings, options.on)
    checks = options.checks
    case = SheetCase(
        assessment,
        battery,
        day,
        told_supply(options),
        fade_forecast(checks, battery, today=day) if checks else None,
        remarks=(INVENTED,) if is_sample(battery) else (),
    )
    taken = "" if column_map.own else f"{columns_taken(column_map)}\n"
    return taken + _write(case.pdf(options.owner, options.paper), options)


def _from_record(options: argparse.Namespace) -> str:
    from batterymodel.sheet.case import chosen_id, keep_sheet, recorded_case
    from batterymodel.store import open_store

    store = open_store(options.database)
    connection_id = chosen_id(store, options.serial, options.connection)
    case = recorded_case(store, options.serial, connection_id)
    data = case.pdf(options.owner, options.paper)
    said = _write(data, options)
    if not options.keep:
        return said
    entry = keep_sheet(store, connection_id, data, Path(options.to).name, date.today())
    return f"{said}\nconfirmed: kept in the record  [{entry.id}]"


def _write(data: bytes, options: argparse.Namespace) -> str:
    try:
        Path(options.to).write_bytes(data)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or "not a path").lower()
        raise InputError(f"{options.to}: cannot be written ({reason}); give a file") from None
    return f"wrote {options.to}"
