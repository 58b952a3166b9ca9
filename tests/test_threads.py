"""Linear algebra is held to one thread where asked, and let go afterwards, whatever happens between."""

from __future__ import annotations

from collections.abc import Callable
from threading import Barrier, Thread

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

from scarfdate.threads import one_thread


def blas_threads() -> set[int]:
    """How many threads the BLAS libraries of this process use now, by threadpoolctl itself."""
    np.ones((2, 2)) @ np.ones((2, 2))  # so that numpy's own is loaded
    return {
        library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"
    }


def run(*jobs: Callable[[], object]) -> None:
    """Each in a thread of its own, all at the same time."""
    workers = [Thread(target=job) for job in jobs]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join()


@pytest.fixture(autouse=True)
def two_threads():
    """Two to begin with, also where the environment allows one. Set by a thread that then ends: the
    one that set a limit last would keep others from setting one."""
    before = blas_threads()
    run(lambda: threadpool_limits(limits=2, user_api="blas"))
    assert blas_threads() == {2}
    yield
    run(lambda: threadpool_limits(limits=max(before), user_api="blas"))


def test_one_within_and_two_after() -> None:
    with one_thread():
        assert blas_threads() == {1}
        with one_thread():
            assert blas_threads() == {1}
        assert blas_threads() == {1}
    assert blas_threads() == {2}


def test_as_a_decorator_and_after_an_error() -> None:
    @one_thread()
    def inside() -> None:
        assert blas_threads() == {1}
        raise KeyError("stop")

    for _ in range(2):
        with pytest.raises(KeyError, match="stop"):
            inside()
        assert blas_threads() == {2}


def test_two_threads_that_overlap_leave_no_limit_behind() -> None:
    """The first one in leaves first: the second must not "restore" the limit that it met."""
    one_in, both_in, one_out = (Barrier(2, timeout=10) for _ in range(3))
    seen = []

    def first() -> None:
        with one_thread():
            seen.append(blas_threads())
            one_in.wait()
            both_in.wait()
        one_out.wait()

    def second() -> None:
        one_in.wait()
        with one_thread():
            seen.append(blas_threads())
            both_in.wait()
            one_out.wait()

    run(first, second)
    assert seen == [{1}, {1}]
    assert blas_threads() == {2}
