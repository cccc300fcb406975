"""Days and years."""

from __future__ import annotations

DAYS_PER_YEAR = 365.25
"""Days of a Julian year (definition)."""


def days_words(days: float) -> str:
    """A number of whole days in words.

    Parameters
    ----------
    days : float
        [d].

    Returns
    -------
    str

    >>> days_words(1.0), days_words(40.0)
    ('1 day', '40 days')
    """
    shown = f"{days:.0f}"
    return f"{shown} day" if shown == "1" else f"{shown} days"
