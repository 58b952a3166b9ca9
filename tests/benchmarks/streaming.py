"""``python -m tests.benchmarks.streaming [ROWS ...]``: time and memory of files of many rows.

Beside each other in one run: reading a file and writing it with nothing done to its rows (the limit), `date_file` in
one process and in two, and, on a few rows, a loop over `date_scarf`. Each runs in a process of its own, whose
processor time and most memory (its own and that of the processes it starts) the system counts.
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pandas as pd

from scarfdate import simulate

AS_OF = 2026
_DRAWN = 100_000  # distinct pieces; a longer file repeats them with other ids
_LOOP = 1_000  # rows for the loop over `date_scarf`

LIMIT = """
import csv, sys
with open(sys.argv[1], newline="", encoding="utf-8") as given, open(sys.argv[2], "w", newline="", encoding="utf-8") as out:
    csv.writer(out).writerows(csv.reader(given))
"""
ONE = """
import sys
from scarfdate import date_file
if __name__ == "__main__":
    date_file(sys.argv[1], sys.argv[2], as_of=2026, force=True)
"""
TWO = ONE.replace("force=True", "force=True, processes=2")
LOOP = """
import csv, sys
from scarfdate import date_scarf
with open(sys.argv[1], newline="", encoding="utf-8") as given:
    for row in csv.DictReader(given):
        row.pop("id")
        print(date_scarf({k: v for k, v in row.items() if v}, as_of=2026).sentence)
"""


def write_pieces(path: Path, rows: int) -> None:
    """A CSV of drawn pieces, whatever its length, in little memory."""
    pieces = simulate(None, min(rows, _DRAWN), np.random.default_rng(7), as_of=AS_OF).frame()
    for start in range(0, rows, len(pieces)):
        part = pieces.iloc[: rows - start]
        ids = [f"P{start + at}" for at in range(len(part))]
        part = pd.concat([pd.Series(ids, name="id"), part.reset_index(drop=True)], axis=1)
        part.to_csv(path, mode="a", header=start == 0, index=False)


def measured(program: str, source: Path, out: Path) -> tuple[float, float, float]:
    """Seconds by the clock, seconds of the processor, and most bytes of one process at a time."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    started = time.monotonic()
    with subprocess.Popen(
        [sys.executable, "-c", program, str(source), str(out)], stdout=subprocess.DEVNULL
    ) as run:
        most = 0
        while run.poll() is None:
            most = max(most, _resident(run.pid))
            time.sleep(0.2)
    if run.returncode:
        raise SystemExit(f"exit code {run.returncode}")
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    work = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.monotonic() - started, work, float(most)


def _resident(pid: int) -> int:
    """Bytes of a process and of its children that are in memory, what they share counted once for each."""
    total = 0
    try:
        for line in Path(f"/proc/{pid}/status").read_text().splitlines():
            if line.startswith("VmRSS:"):
                total += int(line.split()[1]) * 1024
        for task in Path(f"/proc/{pid}/task").iterdir():
            for child in (task / "children").read_text().split():
                total += _resident(int(child))
    except (OSError, ValueError):
        pass  # it ended meanwhile
    return total


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", type=int, default=[100_000, 1_000_000])
    asked = parser.parse_args()
    print(f"{'rows':>10} {'what':<24} {'clock':>9} {'processor':>10} {'µs a row':>9} {'MB':>6}")
    for rows in asked.rows:
        with tempfile.TemporaryDirectory() as folder:
            source, out = Path(folder) / "in.csv", Path(folder) / "out.csv"
            write_pieces(source, rows)
            for name, program in (
                ("read and written alone", LIMIT),
                ("date_file, one process", ONE),
                ("date_file, two", TWO),
            ):
                tell(rows, name, *measured(program, source, out))
            short = Path(folder) / "short.csv"
            with source.open(encoding="utf-8") as lines, short.open("w", encoding="utf-8") as some:
                some.writelines(line for _, line in zip(range(_LOOP + 1), lines, strict=False))
            tell(_LOOP, "a loop over date_scarf", *measured(LOOP, short, out))


def tell(rows: int, name: str, clock: float, work: float, most: float) -> None:
    print(
        f"{rows:>10} {name:<24} {clock:>8.1f}s {work:>9.1f}s {clock / rows * 1e6:>9.1f} {most / 1e6:>6.0f}",
        flush=True,
    )


if __name__ == "__main__":
    main()
