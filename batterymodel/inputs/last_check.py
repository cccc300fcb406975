"""Which of several capacity checks says what a battery measured last."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date


def place_of_last(at: Sequence[float] | Sequence[date], capacity_ah: Sequence[float]) -> int | None:
    """Place of the check that says what was measured last: of its day, the least.

    A repeat that passes does not hide one that failed.

    Parameters
    ----------
    at : sequence of float or date
        When each check was made, in any order.
    capacity_ah : sequence of float
        What each measured [Ah], discharged to its end voltage.

    Returns
    -------
    int or None
        None without a check.

    >>> place_of_last([1.0, 2.0, 2.0], [20.0, 30.0, 40.0])
    1
    """
    if not len(at):
        return None
    last = max(at)
    of_last = (k for k, when in enumerate(at) if when == last)
    return min(of_last, key=lambda k: capacity_ah[k])
