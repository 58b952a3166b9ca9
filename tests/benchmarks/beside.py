"""How fast beside an older commit, in one run, taking turns.

    python -m tests.benchmarks.beside [OLD_PYTHON] [--old 5c52719] [--rounds 5] [--only explain ...] [--instructions]

The old code is a commit, unpacked into a temporary folder, or a folder with a checkout; it runs under
OLD_PYTHON (this interpreter unless given), the new code is this checkout. Each round starts a fresh
process for either, with its own checkout on the path and one BLAS thread, and lets them take turns, old,
new, old, new, at every piece of work; where there are several turns, one before them is not counted.
Times are seconds of the processor, for machines are shared. A ratio is that of two neighbouring turns;
quoted are the median of all and the lowest and highest of the rounds' medians. Over 1.05 is marked.

``--instructions`` counts instead of timing, by callgrind (Debian: apt-get install valgrind): of each piece of work the
instructions of one turn after another that is not counted. They are the same on a busy machine, and know nothing of
caches and waiting; a vector instruction counts as one. What is imported is left out, and it takes fifty times as long.

Both sides date the same pieces, labels and sold records, those of this checkout. The engine is reached
by way of each checkout's own ``tests.benchmarks.speed``; all else is the front door.
"""

from __future__ import annotations

import argparse
import io
import os
import re
import shutil
import subprocess
import sys
import tarfile
import tempfile
from collections.abc import Callable
from pathlib import Path

import numpy as np

ROOT = Path(__file__).parents[2]
ALLOWED = 1.05
CLAIM = "1960s rather than 1970s"
SCARVES, EXPLAINED, SOLD = 200, 20, 40
FIRST = (
    "import scarfdate; scarfdate.date_scarf({'hem': 'hand-rolled'}, as_of=2026)"  # the first call
)
IMPORTS = ("import scarfdate", "from scarfdate import date_scarf", FIRST, "import numpy")
TURNS = {
    "engine": 15, "date_scarf": 7, "date_table": 7, "date_table, all distinct": 3, "explain": 9,
    "read_label": 9, "laplace": 1, **dict.fromkeys(IMPORTS, 5),
}  # fmt: skip
SINGLE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")

Work = Callable[[], object]


def works(folder: Path) -> dict[str, Callable[[], tuple[Work, int]]]:
    """For each name a function that makes ready, and returns a call and how many pieces it does."""
    import pandas as pd

    from scarfdate import Scarf, date_scarf, date_table, explain, learn, load_priors
    from scarfdate import read_label, read_sold  # isort: skip
    from tests.benchmarks import speed  # that of the checkout which is measured

    as_of = speed.AS_OF
    pieces, distinct = (pd.read_csv(folder / f"{name}.csv") for name in ("pieces", "distinct"))
    rows = pieces.head(SCARVES).to_dict("records")
    scarves = [Scarf(**{n: c for n, c in row.items() if not pd.isna(c)}) for row in rows]
    few = scarves[:EXPLAINED]
    texts = pd.read_csv(ROOT / "data" / "labels.csv")["text"].tolist()
    sold = ROOT / "data" / "sold.csv", ROOT / "data" / "sold_columns" / "thrackwindle.toml"
    records = read_sold(sold[0], columns=sold[1], as_of=as_of).take(range(SOLD))
    priors = load_priors()
    model = speed.compiled(priors, "thrift", as_of)
    codes = speed.encoded(model, pieces)

    def unseen() -> tuple[Work, int]:
        own = load_priors(Path(speed.__file__).parents[2] / "priors")  # knows no row of the table
        date_table(pieces, priors=own, as_of=as_of)
        return lambda: date_table(distinct, priors=own, as_of=as_of), len(distinct)

    return {
        "engine": lambda: (lambda: speed.posterior(model, codes), len(codes)),
        "date_scarf": lambda: (lambda: [date_scarf(s, as_of=as_of) for s in scarves], SCARVES),
        "date_table": lambda: (lambda: date_table(pieces, as_of=as_of), len(pieces)),
        "date_table, all distinct": unseen,
        "explain": lambda: (lambda: [explain(s, CLAIM, as_of=as_of) for s in few], len(few)),
        "read_label": lambda: (lambda: [read_label(t, priors=priors) for t in texts], len(texts)),
        "laplace": lambda: (lambda: learn(records, as_of=as_of), 1),
    }


def measure(folder: Path, counted: bool) -> None:
    """In a process of its own: answers each name on standard input with seconds a piece; or, where another counts, with
    how many pieces there are, and a second line when it has been told to go on and is done."""
    answers, sys.stdout = sys.stdout, sys.stderr  # what the work prints must not come between

    from tests.growth import processor_time

    known = works(folder)
    for name in map(str.strip, sys.stdin):
        work, n = known[name]()
        if counted:
            work()
            print(n, file=answers, flush=True)
            next(sys.stdin)
            work()
            print(n, file=answers, flush=True)
        else:
            print(processor_time(work) / n, file=answers, flush=True)


class Side:
    """One checkout under one interpreter."""

    def __init__(self, python: str, checkout: Path) -> None:
        self.python, self.checkout = python, checkout
        self.path = {**os.environ, **SINGLE, "PYTHONPATH": str(checkout)}

    def start(self, folder: Path, counter: list[str] | None = None) -> subprocess.Popen[str]:
        """A fresh process that measures, or that a ``counter`` runs and counts."""
        # -P: of two folders named tests, the one on PYTHONPATH
        command = [*(counter or []), self.python, "-P", __file__, "--measure", str(folder)]
        command += ["--instructions"] if counter else []
        return subprocess.Popen(
            command, cwd=self.checkout, env=self.path, text=True,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        )  # fmt: skip

    def importing(self, statement: str) -> float:
        """Processor seconds of an import in a fresh process, the start of the interpreter left out."""
        code = f"import time; t = time.process_time(); {statement}; print(time.process_time() - t)"
        run = subprocess.run(
            [self.python, "-P", "-c", code], cwd=self.checkout, env=self.path, text=True,
            stdout=subprocess.PIPE, check=True,
        )  # fmt: skip
        return float(run.stdout)


def asked(process: subprocess.Popen[str], name: str) -> float:
    """Seconds a piece, from a process that measures."""
    assert process.stdin is not None and process.stdout is not None
    print(name, file=process.stdin, flush=True)
    answer = process.stdout.readline()
    if not answer:
        raise SystemExit(f"{name}: the process that measures it ended; see above")
    return float(answer)


def one_round(sides: list[Side], folder: Path, names: list[str]) -> dict[str, np.ndarray]:
    """Seconds by name, (turns, 2), old and new."""
    found: dict[str, np.ndarray] = {}
    processes = [side.start(folder) for side in sides]
    try:
        for name in names:
            warm = TURNS[name] > 1
            turns = [
                [s.importing(name) for s in sides]
                if name in IMPORTS
                else [asked(p, name) for p in processes]
                for _ in range(TURNS[name] + warm)
            ]
            found[name] = np.array(turns[warm:])
    finally:
        for process in processes:
            process.kill()
            process.wait()
    return found


def instructions(sides: list[Side], folder: Path, names: list[str]) -> None:
    """The table of `callgrind`'s counts."""
    print(f"{'what, thousand instructions a piece':36}{'old':>12}{'new':>12}   new / old")
    found: dict[str, list[float]] = {name: [] for name in names}
    for place, side in enumerate(sides):
        out = folder / f"callgrind{place}"
        counter = ["valgrind", "-q", "--tool=callgrind", "--instr-atstart=no"]
        process = side.start(folder, [*counter, f"--callgrind-out-file={out}"])
        try:
            for name in names:
                pieces = asked(process, name)
                _control(process, "-i", "on")
                asked(process, "")
                _control(process, "-d")  # writes what was counted, and begins again
                _control(process, "-i", "off")
                newest = max(folder.glob(f"{out.name}.*"), key=lambda one: int(one.suffix[1:]))
                total = re.search(r"^totals: (\d+)", newest.read_text(), re.M)
                assert total, newest
                found[name].append(int(total[1]) / pieces / 1e3)
        finally:
            process.kill()
            process.wait()
    for name, (old, new) in found.items():
        mark = "  more" if new > ALLOWED * old else ""
        print(f"{name:36}{old:12.1f}{new:12.1f}   {new / old:.3f}{mark}")


def _control(process: subprocess.Popen[str], *order: str) -> None:
    command = ["callgrind_control", *order, str(process.pid)]
    subprocess.run(command, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, check=True)


def report(rounds: list[dict[str, np.ndarray]]) -> None:
    """The table."""
    print(f"{'what, microseconds a piece':36}{'old':>12}{'new':>12}   new / old (rounds)")
    middle = {}
    for name in rounds[0]:
        turns = np.concatenate([found[name] for found in rounds])
        old, new = middle[name] = 1e6 * np.median(turns, axis=0)
        ratio = np.median(turns[:, 1] / turns[:, 0])
        by_round = [np.median(found[name][:, 1] / found[name][:, 0]) for found in rounds]
        mark = "  slower" if ratio > ALLOWED else ""
        span = f"({min(by_round):.3f} to {max(by_round):.3f})"
        print(f"{name:36}{old:12.2f}{new:12.2f}   {ratio:.3f} {span}{mark}")
    for name in IMPORTS[:-1]:
        if name in middle and IMPORTS[-1] in middle:
            old, new = middle[name] / middle[IMPORTS[-1]]
            print(f"{name}: {old:.2f} and {new:.2f} times {IMPORTS[-1]}")


def main() -> None:
    """Measure, or be measured."""
    parser = argparse.ArgumentParser(description="Speed beside an older commit, taking turns.")
    parser.add_argument("old_python", nargs="?", default=sys.executable)
    parser.add_argument("--old", default="5c52719", help="a commit, or a folder with a checkout")
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--only", nargs="+", choices=list(TURNS), metavar="NAME")
    parser.add_argument("--measure", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--instructions", action="store_true", help="counted by callgrind")
    given = parser.parse_args()
    if given.measure:
        measure(given.measure, given.instructions)
        return
    if given.instructions and not shutil.which("callgrind_control"):
        raise SystemExit("--instructions needs valgrind (Debian: apt-get install valgrind)")
    from tests.benchmarks.speed import all_distinct, pieces

    with tempfile.TemporaryDirectory() as temporary:
        folder, old = Path(temporary), Path(given.old)
        if not old.is_dir():
            pack = subprocess.check_output(["git", "archive", given.old], cwd=ROOT)
            old = folder / "old"
            with tarfile.open(fileobj=io.BytesIO(pack)) as archive:
                archive.extractall(old, filter="data")
        pieces().to_csv(folder / "pieces.csv", index=False)
        all_distinct(0).to_csv(folder / "distinct.csv", index=False)
        sides = [Side(given.old_python, old.resolve()), Side(sys.executable, ROOT)]
        names = given.only or list(TURNS)
        if given.instructions:
            instructions(sides, folder, [name for name in names if name not in IMPORTS])
            return
        report([one_round(sides, folder, names) for _ in range(given.rounds)])


if __name__ == "__main__":
    main()
