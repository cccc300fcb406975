"""What a command is told of one connection beside its readings: options shared by commands."""

from __future__ import annotations

import argparse
from pathlib import Path
from typing import TYPE_CHECKING

from batterymodel.commands import day
from batterymodel.errors import InputError

if TYPE_CHECKING:
    from batterymodel.inputs.records import Battery, Readings, Supply
    from batterymodel.rules.results import Assessment


SHOP_KEYS = {"circuits", "note", "invented"}
"""Keys of a supply's file that only the record's supplies have (`store.records.ShopSupply`)."""


def declare_known(command: argparse.ArgumentParser) -> None:
    """Declare the known values of a connection.

    Parameters
    ----------
    command : ArgumentParser
        The options are added to it; `assessed` reads them.
    """
    declare_supply(command)
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


def declare_supply(command: argparse.ArgumentParser) -> None:
    """Declare the ground supply and its wall circuit.

    Parameters
    ----------
    command : ArgumentParser
        The options are added to it; `told_supply` reads them.
    """
    command.add_argument("--supply", metavar="S.toml", help="ground supply and wall circuit")
    command.add_argument(
        "--circuit",
        metavar="NAME",
        help="the wall circuit, where S.toml has several ([[circuits]])",
    )


def told_supply(options: argparse.Namespace) -> Supply | None:
    """The supply on its wall circuit, from a file of one supply or one as the record takes it.

    Parameters
    ----------
    options : Namespace
        `supply` (path of a TOML) and `circuit` are read.

    Returns
    -------
    Supply or None
        None without a file.

    Raises
    ------
    InputError
        A file that cannot be used, or a circuit that it does not have or that was not chosen.
    """
    from batterymodel.inputs.records import Supply, read_toml, record_from

    where, circuit = options.supply, options.circuit
    told = read_toml(where) if where else {}
    if not SHOP_KEYS & told.keys():
        if circuit is not None:
            raise InputError("--circuit is of a supply with [[circuits]]; give --supply with them")
        return record_from(told, Supply, where) if where else None
    from batterymodel.store.power import shop_supply_from

    shop = shop_supply_from({"name": Path(where).stem, **told}, where)
    if circuit is None and len(shop.circuits) > 1:
        names = ", ".join(one.name for one in shop.circuits)
        raise InputError(f"{where}: has several circuits; give --circuit with one of: {names}")
    return shop.on_circuit(circuit)


def assessed(
    readings: Readings,
    battery: Battery,
    options: argparse.Namespace,
    supply: Supply | None = None,
) -> Assessment:
    """The assessment with the known values of the options.

    Parameters
    ----------
    readings : Readings
    battery : Battery
    options : Namespace
        What `told_supply` reads, `rest_voltage` [V], `load` and `load_error` [A], `ambient` [degC]
        and `on`.
    supply : Supply, optional
        In place of the one that the options name.

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

    return assess(
        readings,
        battery,
        told_supply(options) if supply is None else supply,
        rest_voltage_v=options.rest_voltage,
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
        on=options.on,
    )
