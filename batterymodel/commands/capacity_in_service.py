"""``capacity`` from the readings of a connection and the rest voltages around it."""

from __future__ import annotations

import argparse

from batterymodel.commands.told import declare_supply, told_supply
from batterymodel.commands.told_log import declare_columns, told_readings
from batterymodel.errors import InputError

BENCH_ONLY = {
    "current": "--current",
    "minutes": "--minutes",
    "end_voltage_reached": "--end-voltage-reached",
    "stopped_early": "--stopped-early",
}
"""Options of a bench discharge, which no connection has."""

SERVICE_ONLY = {
    "load": "--load",
    "supply": "--supply",
    "circuit": "--circuit",
    "column": "--column",
    "decimal": "--decimal",
}
"""Options of a connection, which no bench discharge has."""


def add_to(command: argparse.ArgumentParser) -> None:
    """Declare what tells the capacity in service.

    Parameters
    ----------
    command : ArgumentParser
        That of ``capacity``.
    """
    command.add_argument(
        "--rest-voltage",
        type=float,
        metavar="V",
        help="capacity in service: rest voltage before connection [V]; LOG.csv then holds the "
        "readings of a completed taper, as 'assess' takes them",
    )
    command.add_argument(
        "--rest-after",
        type=float,
        metavar="V",
        help="capacity in service: rest voltage after the taper and the same rest again [V]",
    )
    command.add_argument(
        "--load", type=float, metavar="A", help="in service: bus load without the battery [A]"
    )
    command.add_argument(
        "--load-error", type=float, default=0.5, metavar="A", help="its standard error [A] (0.5)"
    )
    declare_supply(command)
    declare_columns(command)


def is_asked(options: argparse.Namespace) -> bool:
    """Whether the capacity in service is asked for, and not that of a bench discharge.

    Parameters
    ----------
    options : Namespace
        What `add_to` and ``capacity`` declare.

    Returns
    -------
    bool

    Raises
    ------
    InputError
        Options that do not go together.
    """
    rests = (options.rest_voltage, options.rest_after)
    if rests == (None, None):
        _refuse(options, SERVICE_ONLY, "of a connection; give --rest-voltage and --rest-after too")
        return False
    if None in rests:
        raise InputError(
            "the capacity in service needs both rest voltages: --rest-voltage before connection "
            "and --rest-after"
        )
    _refuse(options, BENCH_ONLY, "of a bench discharge; leave out the rest voltages, or it")
    if options.log is None:
        raise InputError("the capacity in service needs LOG.csv, the readings of the connection")
    return True


def _refuse(options: argparse.Namespace, names: dict[str, str], why: str) -> None:
    for name, option in names.items():
        if getattr(options, name) not in (None, False, []):
            raise InputError(f"{option} is {why}")


def run(options: argparse.Namespace) -> str:
    """The estimate as text, or one JSON object.

    Parameters
    ----------
    options : Namespace
        What `add_to` and ``capacity`` declare.

    Returns
    -------
    str
        To be printed as it stands.

    Raises
    ------
    InputError
        A file or value that cannot be used.
    FitError
        A connection that tells no capacity; says why.
    """
    from batterymodel.capacity.in_service import in_service_capacity
    from batterymodel.inputs.records import read_battery
    from batterymodel.say.connection import columns_taken
    from batterymodel.say.in_service import in_service_text

    battery = read_battery(options.battery)
    readings, column_map = told_readings(options)
    result = in_service_capacity(
        readings,
        battery,
        told_supply(options),
        rest_before_v=options.rest_voltage,
        rest_after_v=options.rest_after,
        temp_c=options.temp,
        load_a=options.load,
        load_sd_a=options.load_error,
        on=options.on,
    )
    if options.json:
        return result.model_dump_json(indent=2)
    taken = "" if column_map.own else f"{columns_taken(column_map)}\n\n"
    return taken + in_service_text(result)
