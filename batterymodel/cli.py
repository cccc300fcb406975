"""Command line, thin over the library: ``python -m batterymodel``.

Exit status 0 with an answer, 2 with one line on stderr for input that cannot be used.
"""

from __future__ import annotations

import argparse
import sys
from collections.abc import Sequence
from datetime import date
from typing import NoReturn

from batterymodel.assessment import assess
from batterymodel.errors import BatteryModelError
from batterymodel.readings import read_readings
from batterymodel.records import read_battery, read_supply
from batterymodel.textreport import text_report

BAD_INPUT = 2


class _Parser(argparse.ArgumentParser):
    """Argument parser whose errors are one line like every other error of the tool."""

    def error(self, message: str) -> NoReturn:
        self.exit(BAD_INPUT, f"{self.prog}: {message}; see --help\n")


def parser() -> argparse.ArgumentParser:
    """The argument parser with every command."""
    top = _Parser(
        prog="batterymodel",
        description="Tells whether ground power is only topping off the ship's battery, or the "
        "battery must be serviced. Advice only: the maker's instructions govern.",
    )
    commands = top.add_subparsers(dest="command", required=True, parser_class=_Parser)
    _add_assess(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command; returns the exit status."""
    options = parser().parse_args(arguments)
    try:
        print(options.run(options))
    except BatteryModelError as error:
        print(f"batterymodel: {' '.join(str(error).split())}", file=sys.stderr)
        return BAD_INPUT
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return 0


def _add_assess(commands: argparse._SubParsersAction) -> None:
    command = commands.add_parser(
        "assess",
        help="assess one connection from its readings",
        description="Assess one connection: outcome, state of charge, findings, next steps.",
    )
    command.add_argument("log", metavar="LOG.csv", help="readings of the connection")
    command.add_argument(
        "--battery", required=True, metavar="B.toml", help="battery and its limits"
    )
    command.add_argument("--supply", metavar="S.toml", help="ground supply and wall circuit")
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
        "--on", type=_day, metavar="DATE", help="day of the connection, YYYY-MM-DD (today)"
    )
    command.add_argument("--json", action="store_true", help="print one JSON object")
    command.set_defaults(run=_assess)


def _assess(options: argparse.Namespace) -> str:
    result = assess(
        read_readings(options.log),
        read_battery(options.battery),
        read_supply(options.supply) if options.supply else None,
        rest_voltage_v=options.rest_voltage,
        load_a=options.load,
        load_sd_a=options.load_error,
        ambient_c=options.ambient,
        on=options.on,
    )
    return result.model_dump_json(indent=2) if options.json else text_report(result)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date like 2026-03-02") from None
