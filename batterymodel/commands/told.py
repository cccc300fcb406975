"""What a command is told of one connection beside its readings: options shared by commands."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING

from batterymodel.commands import day

if TYPE_CHECKING:
    from batterymodel.inputs.records import Battery, Readings
    from batterymodel.rules.results import Assessment


def declare_known(command: argparse.ArgumentParser, supply_needed: bool = False) -> None:
    """Declare the known values of a connection.

    Parameters
    ----------
    command : ArgumentParser
        The options are added to it; `assessed` reads them.
    supply_needed : bool
        The command has no answer without a supply.
    """
    command.add_argument(
        "--supply", required=supply_needed, metavar="S.toml", help="ground supply and wall circuit"
    )
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


def assessed(readings: Readings, battery: Battery, options: argparse.Namespace) -> Assessment:
    """The assessment with the known values of the options.

    Parameters
    ----------
    readings : Readings
    battery : Battery
    options : Namespace
        `supply` (path of a TOML), `rest_voltage` [V], `load` and `load_error` [A], `ambient` [degC]
        and `on` are read.

    Returns
    -------
    Assessment

    Raises
    ------
    InputError
        A supply file or a value that cannot be used.
    FitError
        Readings that determine no taper.
    """
    from batterymodel.assessment import assess
    from batterymodel.inputs.records import read_supply

    return assess(
        readings,
        battery,
        read_supply(options.supply) if options.supply else None,
        rest_voltage_v=options.rest_voltage,
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
        on=options.on,
    )
