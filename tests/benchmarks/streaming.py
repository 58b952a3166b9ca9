"""``python -m tests.benchmarks.streaming [ROWS ...] [--keep]``: time and memory of files of many rows.

Beside each other in one run: reading a file and writing it with nothing done to its rows (the limit), `date_file` in
one process and in two, and, on the first thousand rows, a loop over `date_scarf`. Each runs in a process of its own;
times are of the work alone, memory is of all its processes together. What has to hold: a row takes the same time in
the longest file as in the shortest, within 1.2, and the memory is within what `date_file` is told.
"""

from __future__ import annotations

import argparse
import csv
import itertools
import json
import tempfile
from collections.abc import Callable
from functools import partial
from pathlib import Path

from tests.benchmarks.own_process import Cost, measured, told
from tests.figures import GROWTH, keep

AS_OF = 2026
ROWS = (100_000, 1_000_000, 10_000_000)
FLAT = 1.2  # the most that a row of the longest file may take beside one of the shortest
_DRAWN = 100_000  # pieces drawn at a time: no piece comes twice
_LOOP = 1_000  # rows for the loop over `date_scarf`
_TWO = "date_file, two processes"
_KINDS = (".jsonl", ".parquet")  # beside CSV, of the shortest file only


def alone(source: Path, out: Path) -> None:
    """Every row read and written, and nothing done to it."""
    with (
        source.open(newline="", encoding="utf-8") as given,
        out.open("w", newline="", encoding="utf-8") as taken,
    ):
        csv.writer(taken).writerows(csv.reader(given))


def dated(source: Path, out: Path, processes: int) -> None:
    from scarfdate import date_file

    date_file(source, out, as_of=AS_OF, processes=processes)


def looped(source: Path, out: Path) -> None:
    from scarfdate import date_scarf

    with source.open(newline="", encoding="utf-8") as given, out.open("w") as taken:
        for row in itertools.islice(csv.DictReader(given), _LOOP):
            row.pop("id")
            seen = {name: cell for name, cell in row.items() if cell}
            taken.write(date_scarf(seen, as_of=AS_OF).sentence + "\n")


def in_one(source: Path, out: Path) -> None:
    """One process, the whole file as one chunk."""
    from scarfdate.streaming import date_file as module

    module._LEAST = module._MOST = _CHUNK
    module.date_file(source, out, as_of=AS_OF)


WORKS: dict[str, Callable[[Path, Path], None]] = {
    "read and written alone": alone,
    "date_file, one process": partial(dated, processes=1),
    _TWO: partial(dated, processes=2),
    "a loop over date_scarf": looped,
}
_IN_ONE = "as one chunk"
_CHUNK = 8_192


def constants(folder: Path) -> None:
    """What `date_file` reckons with, printed: bytes of processes before their first row, and of a row of a chunk."""

    def most(rows: int, work: str) -> float:
        source = folder / f"{rows}.csv"
        write_pieces(source, rows)
        asked = ["--one", work, source, folder / "out.csv"]
        found = measured("tests.benchmarks.streaming", asked).most
        for path in (source, folder / "out.csv"):
            path.unlink()
        return found

    few, two, many = most(3, _IN_ONE), most(3, _TWO), most(_CHUNK, _IN_ONE)
    print(f"a process before its first row: {few / 1e6:.0f} MB, one more {(two - few) / 1e6:.0f}")
    print(f"a row of a chunk: {(many - few) / _CHUNK:.0f} bytes")


def write_pieces(path: Path, rows: int) -> None:
    """A file of invented pieces, whatever its length, in little memory; of CSV a slice at a time."""
    import numpy as np

    from scarfdate import simulate

    for start in range(0, rows, _DRAWN):
        n = min(_DRAWN, rows - start)
        part = simulate(None, n, np.random.default_rng([7, start]), as_of=AS_OF).frame()
        part.insert(0, "id", [f"P{start + at}" for at in range(n)])
        if path.suffix == ".jsonl":
            part.to_json(path, orient="records", lines=True, force_ascii=False, mode="a")
        elif path.suffix == ".parquet":
            part.to_parquet(path, index=False)
        else:
            part.to_csv(path, mode="a", header=start == 0, index=False)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rows", nargs="*", type=int, default=ROWS)
    parser.add_argument("--keep", action="store_true", help="write tests/figures/growth")
    parser.add_argument("--sources", type=Path, help="a folder of files as this wrote them before")
    parser.add_argument(
        "--only", nargs="+", choices=list(WORKS), metavar="WORK", default=list(WORKS)
    )
    parser.add_argument("--and-kept", action="store_true", help="keep the rows kept before, too")
    parser.add_argument("--constants", action="store_true", help="what date_file reckons with")
    parser.add_argument("--one", nargs=3, metavar=("WORK", "SOURCE", "OUT"), help="that work alone")
    asked = parser.parse_args()
    if asked.one:
        name, source, out = asked.one
        work = {**WORKS, _IN_ONE: in_one}[name]
        told(lambda: work(Path(source), Path(out)))
        return
    if asked.constants:
        with tempfile.TemporaryDirectory() as folder:
            constants(Path(folder))
        return
    costs: dict[tuple[str, int], Cost] = {}
    table = []
    print(
        f"{'rows':>10} {'what':<34} {'clock':>9} {'processor':>10} {'a row':>9} {'a row':>9} {'MB':>6}"
    )
    for rows in sorted(asked.rows):
        with tempfile.TemporaryDirectory() as folder:
            works = [one for one in WORKS if one in asked.only]
            others = rows == min(asked.rows) and rows <= _DRAWN and _TWO in works
            kinds = (".csv", *_KINDS) if others else (".csv",)
            for kind in kinds:
                source, out = Path(folder) / f"in{kind}", Path(folder) / f"out{kind}"
                had = (asked.sources or Path(folder)) / f"{rows}{kind}"
                if had.is_file():
                    source = had
                else:
                    write_pieces(source, rows)
                for name in works if kind == ".csv" else [_TWO]:
                    one = measured("tests.benchmarks.streaming", ["--one", name, source, out])
                    many = min(rows, _LOOP) if WORKS[name] is looped else rows
                    label = name if kind == ".csv" else f"{name}, {kind}"
                    costs[label, rows] = one
                    table.append(told_row(many, label, one))
                    out.unlink()
    if asked.and_kept:  # of another run: what this one measured goes before
        for old in json.loads((GROWTH / "streaming.json").read_text(encoding="utf-8"))["rows"]:
            if (old[1], int(old[0])) not in {(one[1], int(one[0])) for one in table}:
                table.append(old)
                costs[old[1], int(old[0])] = Cost(float(old[2]), float(old[3]), int(old[6]) * 10**6)
        table.sort(key=lambda one: (int(one[0]), [*WORKS].index(one[1].partition(", .")[0])))
    notes = verdicts(costs)
    print(*notes, sep="\n")
    if asked.keep:
        keep(
            "streaming",
            title="A file of many rows, dated in bounded memory",
            command="python -m tests.benchmarks.streaming --keep",
            columns=["rows", "what", "clock, s", "processor, s", "µs a row by the clock",
                     "µs of the processor a row", "most memory, MB"],
            rows=table,
            notes=notes,
            folder=GROWTH,
        )  # fmt: skip


def told_row(rows: int, name: str, cost: Cost) -> list[str]:
    cells = [
        f"{rows}", name, f"{cost.clock:.1f}", f"{cost.processor:.1f}", f"{cost.clock / rows * 1e6:.1f}",
        f"{cost.processor / rows * 1e6:.1f}", f"{cost.most / 1e6:.0f}",
    ]  # fmt: skip
    print("{:>10} {:<34} {:>8}s {:>9}s {:>6} µs {:>6} µs {:>6}".format(*cells), flush=True)
    return cells


def verdicts(costs: dict[tuple[str, int], Cost]) -> list[str]:
    """What has to hold, and whether it does, a sentence each."""
    from scarfdate.streaming.date_file import MEMORY

    said = []
    for name in WORKS:
        of = {rows: cost for (label, rows), cost in costs.items() if label == name}
        if not name.startswith("date_file") or not of:
            continue
        most = max(cost.most for cost in of.values())
        within = "within" if most <= MEMORY else "NOT WITHIN"
        said.append(f"{name}: {most / 1e6:.0f} MB, {within} the {MEMORY / 1e6:.0f} MB told.")
        if len(of) > 1:
            each = [cost.processor / rows for rows, cost in sorted(of.items())]
            clock = [cost.clock / rows for rows, cost in sorted(of.items())]
            least = min(cost.most for cost in of.values())
            flat = "flat" if each[-1] <= FLAT * each[0] else "NOT FLAT"
            said.append(
                f"{name}: a row of the longest file takes {each[-1] / each[0]:.2f} times one of the shortest by the "
                f"processor, {clock[-1] / clock[0]:.2f} by the clock ({flat} within {FLAT}); memory {most / least:.2f} times."
            )
    return said


if __name__ == "__main__":
    main()
