"""``capacity``: a capacity check of a bench, or what a connection in service tells."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from batterymodel.commands import capacity_in_service, day
from batterymodel.errors import InputError

if TYPE_CHECKING:
    from batterymodel.capacity.check import TimedDischarge
    from batterymodel.inputs.discharge_log import DischargeLog


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "capacity",
        help="percent of rated capacity from a bench discharge, or from a connection",
        description="Percent of rated capacity from a timed bench discharge to end voltage; or, "
        "much wider, from a completed taper with a rest voltage before and after.",
    )
    command.add_argument(
        "log",
        nargs="?",
        metavar="LOG.csv",
        help="log of the discharge: elapsed_s or time, discharge_current_a (positive), "
        "battery_voltage_v; optional battery_temp_c",
    )
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    command.add_argument("--current", type=float, metavar="A", help="discharge current [A]")
    command.add_argument("--minutes", type=float, metavar="M", help="length of the discharge [min]")
    ended = command.add_mutually_exclusive_group()
    ended.add_argument(
        "--end-voltage-reached", action="store_true", help="the end voltage was reached"
    )
    ended.add_argument(
        "--stopped-early", action="store_true", help="the discharge stopped before end voltage"
    )
    command.add_argument(
        "--temp",
        type=float,
        metavar="C",
        help="battery temperature at the start, where the log gives none [°C]",
    )
    command.add_argument(
        "--meter-error",
        type=float,
        default=1.0,
        metavar="PERCENT",
        help="error of the current meter (1)",
    )
    command.add_argument("--on", type=day, metavar="DATE", help="day of the check, YYYY-MM-DD")
    capacity_in_service.add_to(command)
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=run)


def run(options: argparse.Namespace) -> str:
    """The report, or one JSON object.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares; either a log, or current [A], minutes [min] and how it ended; or
        the readings of a connection with two rest voltages.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        Options that do not go together, or a file or value that cannot be used.
    FitError
        A connection that tells no capacity.
    """
    if capacity_in_service.is_asked(options):
        return capacity_in_service.run(options)
    from batterymodel.capacity.check import capacity_check
    from batterymodel.inputs.records import read_battery
    from batterymodel.say.capacity import capacity_text

    result = capacity_check(
        _discharge(options),
        read_battery(options.battery),
        temp_c=options.temp,
        on=options.on,
        current_rel_sd=options.meter_error / 100.0,
    )
    return result.model_dump_json(indent=2) if options.json else capacity_text(result)


def _discharge(options: argparse.Namespace) -> DischargeLog | TimedDischarge:
    from batterymodel.capacity.check import TimedDischarge
    from batterymodel.inputs.discharge_log import read_discharge_log

    by_hand = (options.current, options.minutes)
    said = options.end_voltage_reached or options.stopped_early
    if options.log is not None:
        if by_hand != (None, None) or said:
            raise InputError(
                "give either LOG.csv, which shows current, time and end voltage itself, or "
                "--current and --minutes"
            )
        return read_discharge_log(options.log)
    if None in by_hand:
        raise InputError("give LOG.csv, or both --current and --minutes of the discharge")
    if not said:
        raise InputError("say --end-voltage-reached or --stopped-early beside --current")
    return TimedDischarge(options.current, options.minutes, options.end_voltage_reached)
