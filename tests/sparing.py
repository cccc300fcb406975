"""Parameters of which the default run tries some, so that it stays short, and the slow run all."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest


def sparing(values: Iterable[Any], every: int = 3) -> list[Any]:
    """The values, all but each so-manyth of them marked as slow.

    Parameters
    ----------
    values : iterable
        What ``pytest.mark.parametrize`` takes; a tuple is several arguments.
    every : int
        The first, and so many further on the next, stay in the default run.

    Returns
    -------
    list
    """
    return [value if k % every == 0 else _slow(value) for k, value in enumerate(values)]


def _slow(value: Any) -> Any:
    several = value if isinstance(value, tuple) else (value,)
    return pytest.param(*several, marks=pytest.mark.slow)
