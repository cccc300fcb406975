"""The commands of the command line, one module each: ``add_to`` declares it, ``run`` answers."""

from __future__ import annotations

import argparse
from datetime import date

EARLIEST, LATEST = date(1900, 1, 1), date(2199, 12, 31)
"""Days that are taken (own choice: those that the clock of a log may show)."""


def day(text: str) -> date:
    """A day of the command line, ``YYYY-MM-DD``.

    Parameters
    ----------
    text : str
        The argument as it was typed.

    Returns
    -------
    date

    Raises
    ------
    argparse.ArgumentTypeError
        Text that is no such day, or a day that is none of this age; argparse names the option
        beside it.
    """
    try:
        found = date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date like 2026-03-02") from None
    if not EARLIEST <= found <= LATEST:
        raise argparse.ArgumentTypeError(
            f"'{text}' is no day from {EARLIEST.year} to {LATEST.year}; one like 2026-03-02 would "
            "be right"
        )
    return found
