"""The commands of the command line, one module each: ``add_to`` declares it, ``run`` answers."""

from __future__ import annotations

import argparse
from datetime import date


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
        Text that is no such day; argparse names the option beside it.
    """
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise argparse.ArgumentTypeError(f"'{text}' is not a date like 2026-03-02") from None
