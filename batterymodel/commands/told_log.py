"""Readings named on a command line: the project's own format, or another with its columns told."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batterymodel.inputs.column_map import ColumnMap
    from batterymodel.inputs.foreign import ForeignGuess
    from batterymodel.inputs.records import Readings

LOG_HELP = (
    "readings of the connection: elapsed_s or time (ISO 8601), supply_current_a; optional "
    "supply_voltage_v, battery_current_a (clamp meter, positive when charging), "
    "battery_temp_c, load_a, event (free text at a switch action); another logger's CSV or .xlsx "
    "is taken by its headers"
)
"""What the log is, for the help of a command."""


def declare_columns(command: argparse.ArgumentParser) -> None:
    """Declare how a foreign log's columns are to be taken.

    Parameters
    ----------
    command : ArgumentParser
        The options are added to it; `told_guess` reads them.
    """
    command.add_argument(
        "--column",
        action="append",
        default=[],
        metavar="HEADER=QUANTITY:UNIT",
        help="how a column of another logger's file is to be taken, like Amps=supply_current_a:mA, "
        "Time=time:clock or Temp=ignored; may be repeated",
    )
    command.add_argument(
        "--decimal", choices=(".", ","), help="mark before the decimals of another logger's file"
    )


def told_guess(
    content: bytes,
    options: argparse.Namespace,
    remembered: Callable[[str], ColumnMap | None] | None = None,
) -> ForeignGuess:
    """How the columns of the log are to be taken; only what leaves no doubt comes back.

    Parameters
    ----------
    content : bytes
        Of the log.
    options : Namespace
        ``log`` (its path), ``column`` and ``decimal`` are read.
    remembered : callable, optional
        From a `ForeignGuess.fingerprint` to the columns that were confirmed for it; asked where
        nothing is told.

    Returns
    -------
    ForeignGuess

    Raises
    ------
    InputError
        Not a table, or columns that a person must tell; says with which option.
    """
    from batterymodel.errors import InputError
    from batterymodel.inputs.column_choice import settled_guess
    from batterymodel.inputs.foreign import guess_columns

    guess = guess_columns(content, options.log, options.column, options.decimal)
    if not options.column:
        asked = remembered if remembered and options.decimal is None else lambda _: None
        guess, _ = settled_guess(content, options.log, guess, asked)
    if guess.is_sure:
        return guess
    example = next((g.column for g in guess.unsure), None)
    told = f"{example.header}={example.quantity}:{example.unit}" if example else ""
    told = told or "HEADER=supply_current_a:A"
    option = f'--column "{told}"' if guess.decimal_sure or guess.unsure else "--decimal , or ."
    has = ", ".join(f"'{c.header[:40]}'" for c in guess.column_map.columns[:20])
    raise InputError(
        f"{options.log}: {'; '.join(guess.doubts)}; tell it with options like {option} "
        f"(columns: {has})"
    )


def told_readings(options: argparse.Namespace) -> tuple[Readings, ColumnMap]:
    """The readings of the log, and how its columns were taken.

    Parameters
    ----------
    options : Namespace
        ``log``, ``column`` and ``decimal`` are read.

    Returns
    -------
    readings : Readings
    column_map : ColumnMap

    Raises
    ------
    InputError
        A file that cannot be used, or columns that a person must tell.
    """
    from batterymodel.inputs.foreign import readings_from_foreign
    from batterymodel.inputs.readings import FORMAT
    from batterymodel.inputs.remarks import Remarks
    from batterymodel.inputs.tables import file_bytes

    content = file_bytes(options.log, Remarks(options.log, FORMAT))
    column_map = told_guess(content, options).column_map
    return readings_from_foreign(content, options.log, column_map), column_map
