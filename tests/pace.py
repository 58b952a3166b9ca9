"""How fast this machine is just now: limits in seconds are those of an ordinary one."""

from __future__ import annotations

import time

_COUNTED, _ORDINARY = (
    2_000_000,
    0.12,
)  # additions, and the seconds that they take where limits were set


def slowness() -> float:
    """How many times as long as an ordinary machine this one takes to count, at least 1; the best of five."""
    best = min(_seconds() for _ in range(5))
    return max(1.0, best / _ORDINARY)


def _seconds() -> float:
    started, total = time.process_time(), 0
    for number in range(_COUNTED):
        total += number
    return time.process_time() - started
