"""Parameters and examples of which the default run tries some, so that it stays short.

The run of slow tests tries all parameters; ``--hypothesis-profile=thorough`` tries all examples.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import pytest
from hypothesis import settings

DEFAULT, THOROUGH = "project", "thorough"
"""Profiles of hypothesis: a third of the examples, and all of them."""

EXAMPLES = 60
"""Of a property under the profile `THOROUGH`, where it asks for no other number."""


def examples(count: int) -> settings:
    """A setting for a property that needs another number of examples than most.

    Parameters
    ----------
    count : int
        Examples under the profile `THOROUGH`; the default run tries a third.

    Returns
    -------
    hypothesis.settings
    """
    is_thorough = settings().max_examples >= EXAMPLES
    return settings(max_examples=count if is_thorough else a_third_of(count))


def a_third_of(count: int) -> int:
    """A third of so many examples, at least three of them.

    Parameters
    ----------
    count : int

    Returns
    -------
    int
    """
    return max(count // 3, 3)


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
