"""Does the time that a reading takes rise in line with the length of its text?"""

from __future__ import annotations

import time
from collections.abc import Callable

ROUNDS = 8
"""How often a pair of lengths is timed at most before it counts as a fault."""


def processor_time(work: Callable[[], object]) -> float:
    """Seconds of the processor: other work on the machine counts less than on the clock."""
    start = time.process_time()
    work()
    return time.process_time() - start


def rises_in_line(
    make: Callable[[int], object], work: Callable[..., object], size: int, times: int
) -> None:
    """Fail if `times` the length takes as long as halfway (in the logarithm) from a line to a square.

    A line gives `times`, a square `times` squared; the bound is `times` to the power 1.5. A busy machine only
    ever adds time, so the best of several rounds is the measurement, short and long in turn; the rounds end as
    soon as the best pair is within the bound, which no square law ever is.
    """
    short, long = make(size), make(times * size)
    bound = times**1.5
    work(short)
    best_short = best_long = float("inf")
    for _ in range(ROUNDS):
        best_short = min(best_short, processor_time(lambda: work(short)))
        best_long = min(best_long, processor_time(lambda: work(long)))
        # what takes less than a few ticks of the clock cannot be told from nothing
        if best_long < bound * max(best_short, 0.005):
            return
    raise AssertionError(
        f"length {size} took {best_short:.3f} s, {times} times as much {best_long:.3f} s (bound {bound:.0f} times)"
    )
