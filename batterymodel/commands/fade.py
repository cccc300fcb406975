"""``fade``: forecast of capacity from a record of checks."""

from __future__ import annotations

import argparse
from datetime import date
from typing import TYPE_CHECKING

from batterymodel.commands import day
from batterymodel.errors import InputError

if TYPE_CHECKING:
    from batterymodel.fade.forecast import FadeForecast


MOST_YEARS_AFTER = 20
"""Years after the last check in which a next one may be advised (own choice: no battery that is
taken here is in service for so long)."""


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "fade",
        help="forecast capacity from a record of checks",
        description="How fast capacity falls, when it crosses its limit, when to check next.",
    )
    command.add_argument(
        "checks",
        nargs="?",
        metavar="CHECKS.csv",
        help="record of capacity checks: on (date) or cycle, capacity_ah; optional "
        "capacity_sd_ah, kind (check or in_service), lower_bound (yes: stopped early)",
    )
    command.add_argument("--battery", metavar="B.toml", help="battery and its limits")
    command.add_argument("--serial", metavar="SERIAL", help="a battery on record instead")
    command.add_argument("--database", metavar="URL", help="file or URL of the record")
    command.add_argument(
        "--on", type=day, metavar="DATE", help="day from which the next check is advised (today)"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares; either a file of checks and a battery, or a serial on record.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        Options that do not go together, a day before the last check or far after it, or a file,
        battery or record of checks that cannot be used.
    StoreError
        A record that cannot be opened or read.
    """
    from batterymodel.say.capacity import fade_text

    forecast = _forecast(options, options.on or date.today())
    if options.on is not None:
        _check_day(options.on, forecast.first, forecast.last)
    return forecast.model_dump_json(indent=2) if options.json else fade_text(forecast)


def _check_day(on: date, first: date | int, last: date | int) -> None:
    """Refuse a day that the forecast from these checks has no answer for."""
    if not isinstance(first, date) or not isinstance(last, date):
        return
    latest = date(last.year + MOST_YEARS_AFTER, 12, 31)
    if on < last:
        span = f"the check of {last}" if first == last else f"the last check, of {last}"
        raise InputError(f"--on {on} is before {span}; that day or a later one would be right")
    if on > latest:
        raise InputError(
            f"--on {on} is more than {MOST_YEARS_AFTER} years after the last check, of {last}; a "
            f"day up to {latest} would be right"
        )


def _forecast(options: argparse.Namespace, today: date) -> FadeForecast:
    of_files = options.checks is not None and options.battery is not None
    if of_files == (options.serial is not None):
        raise InputError("give either CHECKS.csv with --battery, or --serial of one on record")
    if of_files:
        from batterymodel.fade.forecast import fade_forecast
        from batterymodel.inputs.records import read_battery

        return fade_forecast(options.checks, read_battery(options.battery), today=today)
    from batterymodel.say.record_view import forecast_of
    from batterymodel.store import open_store

    return forecast_of(open_store(options.database), options.serial, today)
