"""``python -m tests.stress.threads [FILE]``: threads on one set of priors, in the interpreter that runs it.

Says whether this Python has a global lock that is at work after everything is imported, whether eight threads give the
answer of one to the bit while tables of rows fill and start again, and how long two threads take beside one for the same
work, side by side, three times in turn. With FILE, adds the row to that JSON list.
"""

from __future__ import annotations

import json
import platform
import sys
import sysconfig
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import numpy as np

import scarfdate
from tests.test_side_by_side import THREADS, dated, filling, stock

ROWS, TURNS = 1000, 3
AS_OF = 2026


def measured() -> dict[str, object]:
    """One row: see the head of this module."""
    alone = dated(stock())
    fresh = replace(scarfdate.load_priors(), _compiled={})
    with filling(), ThreadPoolExecutor(THREADS) as pool:
        same = {*pool.map(dated, [stock()] * THREADS, [fresh] * THREADS)} == {alone}
    locked = getattr(sys, "_is_gil_enabled", lambda: True)()
    free = bool(sysconfig.get_config_var("Py_GIL_DISABLED"))
    return {
        "python": platform.python_version() + (" free-threaded" if free else ""),
        "lock": "on" if locked else "off",
        "same": same,
        "ratio": ratio(),
    }


def ratio() -> float:
    """Time of two threads that date half a table each, over that of one that dates both; the median of some turns."""
    priors = scarfdate.load_priors()
    halves = [
        scarfdate.simulate(priors, ROWS, np.random.default_rng(seed), as_of=AS_OF).frame()
        for seed in range(2)
    ]

    def work(frame: object) -> None:
        scarfdate.date_table(frame, as_of=AS_OF)  # type: ignore[call-overload]

    found = []
    for half in halves:
        work(half)
    for _ in range(TURNS):
        times = []
        for workers in (1, 2):
            with ThreadPoolExecutor(workers) as pool:
                begun = time.perf_counter()
                [*pool.map(work, halves)]
                times.append(time.perf_counter() - begun)
        found.append(times[1] / times[0])
    return float(np.median(found))


if __name__ == "__main__":
    row = measured()
    print(json.dumps(row))
    if len(sys.argv) > 1:
        path = Path(sys.argv[1])
        rows = json.loads(path.read_text("utf-8")) if path.exists() else []
        rows = [one for one in rows if one["python"] != row["python"]] + [row]
        path.write_text(json.dumps(rows, indent=1) + "\n", "utf-8")
