"""How fast this machine is just now: limits in seconds are those of an ordinary laptop."""

from __future__ import annotations

import time
from threading import Event, Thread

# additions, and the seconds of a laptop of today for them (from memory)
_COUNTED, _ORDINARY = 1_000_000, 0.045
_EVERY = 4.0  # seconds between two looks


def slowness() -> float:
    """How many times as long as an ordinary machine this one takes to count, at least 1; the best of five."""
    return max(1.0, min(_seconds() for _ in range(5)) / _ORDINARY)


class Pace:
    """While something runs, how slow the machine is: ``slowness``, at least 1, a mean over looks every few seconds.

    A machine that others use gives its processes less in one minute than in the next.
    """

    def __init__(self) -> None:
        self._looks = [_seconds()]
        self._done = Event()
        self._watch = Thread(target=self._look, daemon=True)

    @property
    def slowness(self) -> float:
        return max(1.0, sum(self._looks) / len(self._looks) / _ORDINARY)

    def __enter__(self) -> Pace:
        self._watch.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._done.set()
        self._watch.join()

    def _look(self) -> None:
        while not self._done.wait(_EVERY):
            self._looks.append(_seconds())


def _seconds() -> float:
    started, total = time.thread_time(), 0
    for number in range(_COUNTED):
        total += number
    return time.thread_time() - started
