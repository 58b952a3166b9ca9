"""Linear algebra held to one thread, for many products of small matrices.

A product of small matrices takes less time than waking a second thread and waiting for it: the same
work on two threads then takes longer than on one, and much longer on a busy machine.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from threading import Lock

from threadpoolctl import threadpool_limits

_held = Lock()


@contextmanager
def one_thread() -> Iterator[None]:
    """Within it the BLAS libraries of this process use one thread; afterwards as many as before.

    Also a decorator. The limit belongs to the process, and the first to enter sets and lifts it:
    nested, or in another thread at the same time, it does nothing. A library that is loaded later is
    not held: where scipy is used, import it first.
    """
    if not _held.acquire(blocking=False):
        # two that overlap must not both restore: the second would "restore" the first one's limit
        yield
        return
    try:
        with threadpool_limits(limits=1, user_api="blas"):
            yield
    finally:
        _held.release()
