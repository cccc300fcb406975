"""Text that people typed, made fit for a line."""

from __future__ import annotations

import unicodedata


def one_line(text: str) -> str:
    """The text on one line: no character that does not print, single spaces.

    Invisible format characters (word joiners, soft hyphens, marks of direction) go without a
    trace; every other character that does not print counts as a space.

    Parameters
    ----------
    text : str

    Returns
    -------
    str
        Without space at either end.

    >>> one_line("left  on\\tover\\nnight ")
    'left on over night'
    >>> one_line("SF-\u2060102")
    'SF-102'
    """
    seen = (c for c in text if unicodedata.category(c) != "Cf")
    return " ".join("".join(c if c.isprintable() else " " for c in seen).split())


def counted(count: int, one: str, more: str | None = None) -> str:
    """A number with its noun, in the plural unless it is one.

    Parameters
    ----------
    count : int
    one : str
        The noun for one.
    more : str, optional
        The noun for any other number; else `one` with an *s*.

    Returns
    -------
    str

    >>> counted(1, "check"), counted(2, "check"), counted(0, "entry", "entries")
    ('1 check', '2 checks', '0 entries')
    """
    return f"{count} {one if count == 1 else more or f'{one}s'}"


def alike(name: str) -> str:
    """A name without letter case and spaces: what names that a person takes for one share.

    Parameters
    ----------
    name : str

    Returns
    -------
    str

    >>> alike("sf - 9") == alike("SF-9")
    True
    """
    return "".join(one_line(name).casefold().split())


def percent_below(share: float, limit: float) -> str:
    """A share in percent, with the decimals that tell it from a limit it is below.

    Parameters
    ----------
    share, limit : float
        [0..1].

    Returns
    -------
    str
        Whole percent where that tells them apart, or where the share is not below.

    >>> percent_below(0.846, 0.85), percent_below(0.70, 0.85), percent_below(0.8499, 0.85)
    ('84.6', '70', '84.99')
    """
    told = [(f"{100 * share:.{digits}f}", f"{100 * limit:.{digits}f}") for digits in range(4)]
    if share >= limit:
        return told[0][0]
    return next((mine for mine, least in told if mine != least), told[-1][0])
