"""Linear algebra on one thread: what is multiplied here is small, and threads cost more than it."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache, wraps
from threading import Lock
from typing import Any, ParamSpec, TypeVar

from threadpoolctl import ThreadpoolController

P = ParamSpec("P")
T = TypeVar("T")


def on_one_thread(function: Callable[P, T]) -> Callable[P, T]:
    """The function with the threads of linear algebra held to one while it runs.

    Handing products of some ten thousand numbers to threads took 40 % of an assessment's CPU time
    on two cores (measured). Other code of the process has its threads back when the last such
    function has ended.

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
        with _HELD:
            return function(*args, **kwargs)

    return held


class _Held:
    """Counts who needs one thread: the limit is the process's, and several may run at once."""

    def __init__(self) -> None:
        self._lock, self._holders = Lock(), 0
        self._limit: Any = None

    def __enter__(self) -> None:
        with self._lock:
            if not self._holders:
                self._limit = _controller().limit(limits=1, user_api="blas")
            self._holders += 1

    def __exit__(self, *_: object) -> None:
        with self._lock:
            self._holders -= 1
            if not self._holders:
                _let_any_thread_set(_controller())
                self._limit.restore_original_limits()
                _let_any_thread_set(_controller())


_HELD = _Held()


def _let_any_thread_set(controller: ThreadpoolController) -> None:
    """Where only the thread that set the limit may change it, as in threadpoolctl 3.8: any may."""
    for library in controller.lib_controllers:
        if hasattr(library, "clear_controlling_thread"):
            library.clear_controlling_thread(force=True)


@cache
def _controller() -> ThreadpoolController:
    """The libraries of this process, looked for once."""
    return ThreadpoolController()
