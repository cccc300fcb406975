"""Linear algebra on one thread while an assessment runs, and as many as before afterwards."""

from concurrent.futures import ThreadPoolExecutor
from threading import Event, Thread

import numpy as np
import pytest
from threadpoolctl import ThreadpoolController

from batterymodel.basis.threads import on_one_thread

LIBRARIES = ThreadpoolController().select(user_api="blas")
assert np.linalg
assert LIBRARIES.lib_controllers


def threads_in_use():
    return {library.num_threads for library in LIBRARIES.lib_controllers}


def set_threads(number):
    """By a thread that ends, for while it lives only the one that set a limit may change it."""
    setter = Thread(target=LIBRARIES.limit, kwargs={"limits": number})
    setter.start()
    setter.join()


@pytest.fixture(autouse=True)
def two_threads():
    before = max(threads_in_use())
    set_threads(2)
    yield
    set_threads(before)


@on_one_thread
def failing():
    assert threads_in_use() == {1}
    raise ValueError("no battery")


@on_one_thread
def waiting(begun, end):
    begun.set()
    assert end.wait(10.0)


def test_threads_are_back_after_an_error():
    with pytest.raises(ValueError, match="no battery"):
        failing()
    assert threads_in_use() == {2}


def test_threads_are_back_when_the_last_of_several_at_once_has_ended():
    """The first ends while the second runs, as two sessions of the pages may."""
    begun, end = (Event(), Event()), (Event(), Event())
    with ThreadPoolExecutor(2) as pool:
        jobs = []
        for has_begun, may_end in zip(begun, end, strict=True):
            jobs.append(pool.submit(waiting, has_begun, may_end))
            assert has_begun.wait(10.0)
        seen = [threads_in_use()]
        for job, may_end in zip(jobs, end, strict=True):
            may_end.set()
            job.result()
            seen.append(threads_in_use())
    assert seen == [{1}, {1}, {2}]
