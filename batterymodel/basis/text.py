"""Text that people typed, made fit for a line."""

from __future__ import annotations


def one_line(text: str) -> str:
    """The text on one line: no character that does not print, single spaces.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        Without space at either end.

    >>> one_line("left  on\\tover\\nnight ")
    'left on over night'
    """
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())
