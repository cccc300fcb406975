"""``follow``: one connection while its log is still being written."""

from __future__ import annotations

import argparse
import math

from batterymodel.commands.told import declare_known
from batterymodel.commands.told_log import LOG_HELP, declare_columns

EVERY_S = 5.0
"""Time between two looks at the file where none is told [s] (own choice: loggers' usual step)."""

LEAST_EVERY_S, MOST_S = 0.05, 86_400.0
"""Shortest time between two looks, and longest time of any option [s] (own choice)."""


def add_to(commands: argparse._SubParsersAction) -> None:
    """Declare the command.

    Parameters
    ----------
    commands : argparse's subparsers
        Those of the whole program; the command is added to them.
    """
    command = commands.add_parser(
        "follow",
        help="assess one connection again and again while its log grows",
        description="Follow a log that a logger keeps appending to: one line for each new answer, "
        "the whole of it when the outcome changes. Ends on Ctrl-C with the last outcome.",
    )
    command.add_argument("log", metavar="LOG.csv", help=LOG_HELP.replace("CSV or .xlsx", "CSV"))
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    declare_known(command)
    declare_columns(command)
    command.add_argument(
        "--every",
        type=seconds,
        default=EVERY_S,
        metavar="SECONDS",
        help=f"time between two looks at the file [s] ({EVERY_S:g})",
    )
    command.add_argument(
        "--until-quiet",
        type=seconds,
        metavar="SECONDS",
        help="end when no new line has come for so long [s]",
    )
    command.add_argument("--json", action="store_true", help="print one JSON object per line")
    command.set_defaults(run=run)


def seconds(text: str) -> float:
    """A time of the command line.

    Parameters
    ----------
    text : str
        The argument as it was typed.

    Returns
    -------
    float
        [s]

    Raises
    ------
    argparse.ArgumentTypeError
        No number from `LEAST_EVERY_S` to `MOST_S`; argparse names the option beside it.
    """
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not LEAST_EVERY_S <= value <= MOST_S:
        raise argparse.ArgumentTypeError(
            f"'{text}' is no time from {LEAST_EVERY_S:g} to {MOST_S:.0f} s"
        )
    return value


def run(options: argparse.Namespace) -> str:
    """Follow until the log is quiet or Ctrl-C; lines are printed as they come.

    Parameters
    ----------
    options : Namespace
        What `add_to` declares.

    Returns
    -------
    str
        The last outcome, to be printed as it stands.

    Raises
    ------
    InputError
        A file or value that cannot be used, or no answer before the log was quiet.
    KeyboardInterrupt
        Ctrl-C before the first answer.
    """
    from batterymodel.commands.follow_work import Follower

    follower = Follower(options)
    try:
        follower.follow()
    except KeyboardInterrupt:
        if follower.last is None:
            raise
    return follower.last_words()
