"""Linear algebra on one thread: what is multiplied here is small, and threads cost more than it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from typing import ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
T = TypeVar("T")


def on_one_thread(function: Callable[P, T]) -> Callable[P, T]:
    """The function with the threads of linear algebra held to one while it runs.

    Handing products of some ten thousand numbers to threads took 40 % of an assessment's CPU time
    on two cores (measured). Other code of the process has its threads back afterwards.

    Parameters
    ----------
    function : callable

    Returns
    -------
    callable
        Same arguments, same result.
    """

    @wraps(function)
    def held(*args: P.args, **kwargs: P.kwargs) -> T:
        with _controller().limit(limits=1, user_api="blas"):
            return function(*args, **kwargs)

    return held


@cache
def _controller() -> ThreadpoolController:
    """The libraries of this process, looked for once."""
    return ThreadpoolController()
