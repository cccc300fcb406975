"""Command line, thin over the library: ``python -m batterymodel``.

Exit status 0 with an answer, 2 with a line on stderr for each fault of input that cannot be used.
"""

from __future__ import annotations

import argparse
import re
import sys
from collections.abc import Sequence
from typing import NoReturn

from batterymodel.commands import assess, budget, capacity, fade, follow, record, report
from batterymodel.errors import BatteryModelError

BAD_INPUT = 2
STOPPED = 130
COMMANDS = (assess, follow, budget, capacity, fade, record, report)


class _Parser(argparse.ArgumentParser):
    """Argument parser whose errors are one line like every other error of the tool."""

    def error(self, message: str) -> NoReturn:
        told = re.sub(r"invalid (?:float|int) value: (.*)", r"\1 is not a number", message)
        self.exit(BAD_INPUT, f"{self.prog}: {told}; see --help\n")


def parser() -> argparse.ArgumentParser:
    """The argument parser with every command."""
    top = _Parser(
        prog="batterymodel",
        description="Tells whether ground power is only topping off the ship's battery, or the "
        "battery must be serviced. Advice only: the maker's instructions govern.",
    )
    commands = top.add_subparsers(dest="command", required=True, parser_class=_Parser)
    for module in COMMANDS:
        module.add_to(commands)
    return top


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command.

    Parameters
    ----------
    arguments : sequence of str, optional
        Words of the command line after the program's name; None: those of this process.

    Returns
    -------
    int
        Exit status: 0 with an answer, `BAD_INPUT` or `STOPPED`.
    """
    options = parser().parse_args(arguments)
    try:
        print(options.run(options))
    except BatteryModelError as error:
        for fault in error.faults:
            print(f"batterymodel: {' '.join(fault.split())}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("batterymodel: stopped", file=sys.stderr)
        return STOPPED
    except BrokenPipeError:
        sys.stderr.close()
        return 0
    return 0
