"""Chunks dated by this process and by others beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from multiprocessing import get_context

from scarfdate.errors import ScarfdateError
from scarfdate.reading.table import Table
from scarfdate.streaming.work import Job, Part, begin, do, of_this_process

AHEAD = 2  # chunks that another process has at once: one at work, and one that it finds when that is done
Given = Future[Part] | Part
Giver = Callable[[int, Table, dict[int, str]], Given]


@contextmanager
def processes_for(job: Job, processes: int) -> Iterator[Giver]:
    """A function that takes a chunk (its number, its rows, its repeated ids) and has it dated: by another process
    while one of them has room for it, else by this one, at once."""
    others = processes - 1
    if not others:
        yield lambda number, table, repeated: do(job, number, table, repeated)
        return
    # a fork beside threads may hang; a process of its own begins clean
    pool = ProcessPoolExecutor(
        others, mp_context=get_context("spawn"), initializer=begin, initargs=(job,)
    )
    given: list[Future[Part]] = []

    def give(number: int, table: Table, repeated: dict[int, str]) -> Given:
        given[:] = [one for one in given if not one.done()]
        if len(given) >= AHEAD * others:
            return do(job, number, table, repeated)
        with _none_killed():
            given.append(pool.submit(of_this_process, number, table, repeated))
        return given[-1]

    try:
        yield give
    finally:
        pool.shutdown(cancel_futures=True)


def is_done(one: Given) -> bool:
    """Whether there is nothing to wait for."""
    return isinstance(one, Part) or one.done()


def finished(one: Given) -> Part:
    """The part, waited for. Raises ScarfdateError where its process was killed."""
    if isinstance(one, Part):
        return one
    with _none_killed():
        return one.result()


@contextmanager
def _none_killed() -> Iterator[None]:
    try:
        yield
    except BrokenProcessPool:
        raise ScarfdateError(
            "a process that dated a part was killed, perhaps for want of memory; ask again, with less memory or "
            "one process: what is finished is not done again"
        ) from None
