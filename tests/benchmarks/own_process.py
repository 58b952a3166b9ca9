"""Work done in a process of its own: its time, and the most memory that it and the processes it starts have at once."""

from __future__ import annotations

import math
import resource
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

_EVERY = 0.05  # seconds between two looks at the memory


@dataclass(frozen=True)
class Cost:
    """``clock``, ``processor``: seconds of the work alone, without the start of Python; ``most``: bytes of all
    processes together, what several share counted once."""

    clock: float
    processor: float
    most: int


def measured(module: str, arguments: Sequence[object]) -> Cost:
    """The cost of ``python -m MODULE ARGUMENTS``, whose last line is that of `told`."""
    command = [sys.executable, "-m", module, *map(str, arguments)]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as run:
        most = 0
        while run.poll() is None:
            most = max(most, in_memory(run.pid))
            time.sleep(_EVERY)
        assert run.stdout is not None
        said = run.stdout.read().split()
    if run.returncode:
        raise SystemExit(f"{' '.join(command)}: exit code {run.returncode}")
    return Cost(float(said[-2]), float(said[-1]), most)


def told(work: Callable[[], object]) -> None:
    """Do the work and print its seconds, by the clock and of the processor (with its processes')."""
    clock, processor = time.monotonic(), _processor()
    work()
    print(time.monotonic() - clock, _processor() - processor)


def _processor() -> float:
    used = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    return sum(one.ru_utime + one.ru_stime for one in used)


def in_memory(pid: int) -> int:
    """Bytes of a process and its children that are in memory; a page that n processes share is 1/n of each."""
    total = 0
    try:
        for line in Path(f"/proc/{pid}/smaps_rollup").read_text().splitlines():
            if line.startswith("Pss:"):
                total += int(line.split()[1]) * 1024
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text().split():
                total += in_memory(int(child))
    except (OSError, ValueError):
        pass  # it ended meanwhile
    return total


def exponent(sizes: Sequence[float], costs: Sequence[float]) -> float:
    """The power of the size with which a cost grows: the slope of a line through both logarithms."""
    x, y = [math.log(one) for one in sizes], [math.log(max(one, 1e-9)) for one in costs]
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    return sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / sum(
        (a - mean_x) ** 2 for a in x
    )
