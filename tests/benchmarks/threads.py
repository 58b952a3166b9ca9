"""Whether the many small matrix products are held to one BLAS thread, as a user without variables has them.

    python -m tests.benchmarks.threads [--rounds 3] [--work learn pocket_card build-priors] [--museum FOLDER]

Every work runs in a fresh process, by turns with no variable set and with one thread set by variables, and
prints its time without loading; compared are the best of the rounds, because machines are shared and noisy. At
most 1.2 times is wanted. FOLDER has ``records.csv`` and ``harvested.csv`` for build-priors, which is left out
where there is none; learn and pocket_card need nothing but the project.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).parents[2]
MUSEUM = Path(os.environ.get("SCARFDATE_SHARED", str(ROOT.parent / "shared"))) / "museum"
VARIABLES = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS", "BLIS_NUM_THREADS")
WANTED = 1.2
AS_OF = 2026


def _learn() -> Callable[[], object]:
    from scarfdate import learn, read_sold

    data = ROOT / "data"
    records = read_sold(
        data / "sold.csv", columns=data / "sold_columns" / "thrackwindle.toml", as_of=AS_OF
    )
    return lambda: learn(records, as_of=AS_OF)


def _card() -> Callable[[], object]:
    from scarfdate import pocket_card

    return lambda: pocket_card(as_of=AS_OF)


def _build(museum: Path) -> Callable[[], object]:
    from scarfdate import build_priors

    paths = [museum / "records.csv", museum / "harvested.csv"]
    out = Path(tempfile.mkdtemp()) / "built"
    return lambda: build_priors(paths, out, force=True)


def once(work: str, museum: Path) -> float:
    """Seconds of one run in this process, imports and input left out."""
    run = {"learn": _learn, "pocket_card": _card, "build-priors": lambda: _build(museum)}[work]()
    start = time.perf_counter()
    run()
    return time.perf_counter() - start


def in_process(work: str, museum: Path, variables: dict[str, str]) -> float:
    """Seconds of one run in a process of its own, with these variables and no others on threads."""
    plain = {name: value for name, value in os.environ.items() if name not in VARIABLES}
    done = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.threads", "--once", work, "--museum", str(museum)],
        env=plain | variables, capture_output=True, text=True, check=True, cwd=ROOT,
    )  # fmt: skip
    return float(done.stdout.split()[-1])


def main() -> None:
    """Print one line a work."""
    works = ["learn", "pocket_card", "build-priors"]
    asked = argparse.ArgumentParser(prog="python -m tests.benchmarks.threads")
    asked.add_argument("--rounds", type=int, default=3)
    asked.add_argument("--work", nargs="+", choices=works, default=works)
    asked.add_argument("--museum", type=Path, default=MUSEUM)
    asked.add_argument("--once", choices=works, help=argparse.SUPPRESS)
    given = asked.parse_args()
    if given.once:
        print(once(given.once, given.museum))
        return
    for work in given.work:
        if work == "build-priors" and not given.museum.is_dir():
            print(f"{work}: left out, there is no folder {given.museum}")
            continue
        times: tuple[list[float], list[float]] = ([], [])
        for _ in range(given.rounds):
            for into, variables in zip(times, ({}, dict.fromkeys(VARIABLES, "1")), strict=True):
                into.append(in_process(work, given.museum, variables))
        plain, one = map(min, times)
        print(
            f"{work}: {plain:.1f} s with no variable set, {one:.1f} s with one thread, best of "
            f"{given.rounds}: {plain / one:.2f} times ({WANTED:g} wanted)",
            flush=True,
        )


if __name__ == "__main__":
    main()
