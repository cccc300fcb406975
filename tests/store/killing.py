"""A process that writes and confirms, killed at some moment between two of its confirmations."""

from __future__ import annotations

import multiprocessing
import os
import signal
import time
from collections.abc import Callable
from typing import Any

FORK = multiprocessing.get_context("fork")


def confirmed_before_kill(
    target: Callable[..., None], *given: Any, after: int, wait_s: float
) -> list[str]:
    """Lines that a process wrote before it was killed, some time after its n-th.

    Parameters
    ----------
    target : callable
        Run with `given` and the file descriptor that it writes its lines to.
    *given
    after : int
        Lines after which it is to be killed.
    wait_s : float
        Time from there to the kill [s].

    Returns
    -------
    list of str
    """
    here, there = os.pipe()
    child = FORK.Process(target=target, args=(*given, there))
    child.start()
    os.close(there)
    said = b""
    while said.count(b"\n") < after and (piece := os.read(here, 4096)):
        said += piece
    time.sleep(wait_s)
    os.kill(child.pid, signal.SIGKILL)
    child.join()
    while piece := os.read(here, 4096):
        said += piece
    os.close(here)
    assert child.exitcode == -signal.SIGKILL
    return said.decode().split()
