"""How time and memory grow with rows, clues, values, years and markets; and those of learning with records.

    python -m tests.benchmarks growth [--only rows clues ...] [--quick] [--keep]

Every size is measured in a fresh process: seconds of the processor, the least of some turns, and the most memory
that the work had above what was there before it. An exponent is the slope of a straight line through the logarithms
of sizes and of seconds, by least squares, with its standard error: 1 is in proportion, 0 no growth. ``--keep`` writes
``tests/figures/growth/*.json``; ``python -m tests.figures`` writes the section of DEVELOPERS.md from them.

More values and markets are those of a folder of tables to which the process adds columns and rows that say nothing of
scarves: each new value is a twin of one that is there and has half of its share, each new market the twin of the
last. The names of markets and the latest year that may be asked for are constants of the library
(`scarfdate.conventions`), which the process changes before anything else is loaded: the same code runs on a grid to
the year 2379 or 3879.
"""

from __future__ import annotations

import argparse
import contextlib
import csv
import functools
import importlib
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict, dataclass, field
from pathlib import Path

from tests.growth import processor_time

ROOT = Path(__file__).parents[2]
SINGLE = dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"), "1")
YEARS, MARKETS, TURNS = 147, 4, 3
SPLIT = "motif"  # the family whose values are parted in two
# in the order in which clues are added
CLUES = (
    "fibre", "hem", "motif", "label", "width_cm", "height_cm", "palette", "weave", "origin", "stitches_per_inch",
    "layout", "print_technique", "hem_thread", "signature", "uv_glow", "form",
)  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class Point:
    """What is done, and how large everything is: of pieces ``rows``, noted with ``clues`` of `CLUES` in turn (0:
    all, some not looked at); ``values`` times as many values of one family; ``years`` and ``markets`` of the grid."""

    work: str
    rows: int = 10_000
    clues: int = 0
    values: int = 1
    years: int = YEARS
    markets: int = MARKETS


@dataclass(frozen=True, kw_only=True)
class Growth:
    """One line of a table: the work, what grows, its sizes, and what is held fixed."""

    work: str
    grows: str
    sizes: tuple[int, ...]
    fixed: Mapping[str, int] = field(default_factory=dict)
    said: str = ""

    def points(self, quick: bool) -> list[Point]:
        """What is to be measured; two sizes fewer when quick, three at the least."""
        sizes = self.sizes[: max(3, len(self.sizes) - 2)] if quick else self.sizes
        return [Point(work=self.work, **{**self.fixed, self.grows: size}) for size in sizes]


ENGINE, TABLE, LOAD, LEARN = "engine", "date_table", "load", "learn"
_LONG, _MANY, _TIMES, _ALL = (
    (YEARS, 500, 2000),
    (MARKETS, 8, 16, 32),
    (1, 2, 4, 8),
    (1, 2, 4, 8, 16),
)
_PARTED = f"values of {SPLIT}, 20 times"
TABLES: dict[str, tuple[str, tuple[Growth, ...]]] = {
    "dating": ("Cost of growth: dating", (
        Growth(work=TABLE, grows="rows", sizes=(1_000, 3_000, 10_000, 30_000, 100_000)),
        Growth(work=ENGINE, grows="rows", sizes=(1_000, 3_000, 10_000, 30_000, 100_000)),
        Growth(work=TABLE, grows="clues", sizes=_ALL),
        Growth(work=ENGINE, grows="clues", sizes=_ALL),
        *(
            Growth(work=work, grows=grows, sizes=sizes, said=said)
            for grows, sizes, said in (("values", _TIMES, _PARTED), ("years", _LONG, ""), ("markets", _MANY, ""))
            for work in (TABLE, ENGINE, LOAD)
        ),
    )),
    "learning": ("Cost of growth: learning by the quick route", (
        Growth(work=LEARN, grows="rows", sizes=(1_000, 3_000, 10_000, 30_000), said="records"),
        Growth(work=LEARN, grows="clues", sizes=_ALL, fixed={"rows": 1_000}),
        Growth(work=LEARN, grows="values", sizes=_TIMES, fixed={"rows": 1_000, "clues": 3}, said=_PARTED),
        Growth(work=LEARN, grows="years", sizes=_LONG, fixed={"rows": 1_000, "clues": 1}),
        Growth(work=LEARN, grows="markets", sizes=_MANY[:3], fixed={"rows": 1_000, "clues": 4}),
    )),
}  # fmt: skip


# ------------------------------------------------------------------ in a process of its own


@contextlib.contextmanager
def enlarged(point: Point) -> Iterator[Path]:
    """A folder of tables as large as is wanted; the library, which must not be loaded yet, takes it, and its years."""
    conventions = importlib.import_module("scarfdate.conventions")
    conventions.LAST_AS_OF = 9999
    more = tuple(f"market_{place}" for place in range(MARKETS, point.markets))
    twin = conventions.MARKETS[-1]
    conventions.MARKETS = (*conventions.MARKETS, *more)
    with tempfile.TemporaryDirectory() as temporary:
        folder = Path(temporary) / "priors"
        shutil.copytree(ROOT / "priors", folder)
        (folder / "datapackage.json").unlink()  # it is of the tables before
        for _ in range(point.values.bit_length() - 1):
            _part_values(folder)
        if more:
            _add_markets(folder, twin, more)
        yield folder


def measure(point: Point) -> tuple[float, float]:
    """Seconds of the processor and MB of one point; the library must not be loaded yet."""
    with enlarged(point) as folder:
        return _measured(*_made_ready(point, folder))


def _measured(work: Callable[[], object], turns: int) -> tuple[float, float]:
    """The least seconds of some turns, and the most memory of the first above what was there before it."""
    before = _reset_peak()
    seconds = [processor_time(work)]
    most = (_peak() - before) / 2**20
    return min([*seconds, *(processor_time(work) for _ in range(turns - 1))]), most


def _reset_peak() -> int:
    """Bytes in memory now, from which on the peak is counted."""
    with contextlib.suppress(OSError):  # then the peak is that of the whole process
        Path("/proc/self/clear_refs").write_text("5")
    return _status("VmRSS")


def _peak() -> int:
    return _status("VmHWM")


def _status(name: str) -> int:
    try:
        lines = Path("/proc/self/status").read_text().splitlines()
    except OSError:  # not Linux
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024
    return next(int(line.split()[1]) * 1024 for line in lines if line.startswith(name))


def _made_ready(point: Point, folder: Path) -> tuple[Callable[[], object], int]:
    """A call, and how often it may be made; all that comes before it is done."""
    import numpy as np

    from scarfdate import date_table, learn, load_priors, read_sold, simulate
    from scarfdate.conventions import FIRST_YEAR
    from scarfdate.model.model import compiled
    from scarfdate.model.posterior import posterior
    from tests.benchmarks.speed import LOOKED_AT, encoded

    as_of = FIRST_YEAR + point.years - 1
    if point.work == LOAD:
        return lambda: compiled(load_priors(folder), "thrift", as_of), 1
    priors = load_priors(folder)
    rng = np.random.default_rng(1)
    looked_at = 1.0 if point.clues else LOOKED_AT
    made = simulate(priors, point.rows, rng, as_of=as_of, looked_at=looked_at)
    frame = made.frame()
    if point.clues:
        frame = frame[list(CLUES[: point.clues])]
    if point.work == LEARN:
        known = made.truth_frame()["year"].to_numpy()
        frame = frame.assign(known_from=known, known_to=known, known_by="receipt")
        records = read_sold(frame, as_of=as_of, copies=True, priors=priors)
        return lambda: learn(records, priors, as_of=as_of), 1
    if point.work == TABLE:
        date_table(frame.head(1_000), priors=priors, as_of=as_of)
        return lambda: date_table(frame, priors=priors, as_of=as_of), TURNS
    model = compiled(priors, "thrift", as_of)
    codes = encoded(model, frame)
    posterior(model, codes[:1_000])
    return lambda: posterior(model, codes), TURNS


# ------------------------------------------------------------------------- larger tables


def _changed(path: Path, change: Callable[[list[dict[str, str]]], list[dict[str, str]]]) -> None:
    with path.open(encoding="utf-8-sig", newline="") as file:
        rows = change(list(csv.DictReader(file)))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def _part_values(folder: Path) -> None:
    """Every value of one family becomes two, each with half of its share."""
    values = []

    def words(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        values.extend(
            row["word"] for row in rows if row["family"] == SPLIT and row["reading"] == "value"
        )
        twins = [
            row | {"word": f"{row['word']}-twin{len(values)}"}
            for row in rows
            if row["family"] == SPLIT and row["reading"] == "value"
        ]
        return rows + twins

    _changed(folder / "vocabulary.csv", words)

    def parted(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        for row in rows:
            for value in values:
                half = repr(float(row[value]) / 2)
                row |= {value: half, f"{value}-twin{len(values)}": half}
        return rows

    for path in folder.rglob(f"{SPLIT}.csv"):
        _changed(path, parted)


def _add_markets(folder: Path, twin: str, more: tuple[str, ...]) -> None:
    """Markets that are twins of one; they part its share evenly."""

    def shared(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        for row in rows:
            row |= dict.fromkeys((twin, *more), repr(float(row[twin]) / (1 + len(more))))
        return rows

    def repeated(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        of_twin = [row for row in rows if row["market"] == twin]
        return rows + [row | {"market": name} for name in more for row in of_twin]

    _changed(folder / "markets.csv", shared)
    for path in sorted(folder.rglob("*.csv")):
        with path.open(encoding="utf-8-sig", newline="") as file:
            header = next(csv.reader(file), [])
        if "market" in header:
            _changed(path, repeated)


# ----------------------------------------------------------------------------- the report


def exponent(sizes: list[float], costs: list[float]) -> tuple[float, float]:
    """The slope of the line through the logarithms, by least squares, and its standard error."""
    import numpy as np
    from scipy.stats import linregress

    line = linregress(np.log(sizes), np.log(costs))
    return float(line.slope), float(line.stderr)


@functools.cache  # several lines begin at the same point
def asked(point: Point) -> tuple[float, float]:
    """`measure` in a fresh process."""
    run = subprocess.run(
        [sys.executable, "-m", "tests.benchmarks.growth", "--point", json.dumps(asdict(point))],
        env=os.environ | SINGLE | {"PYTHONPATH": str(ROOT)}, cwd=ROOT, text=True, stdout=subprocess.PIPE, check=True,
    )  # fmt: skip
    seconds, most = map(float, run.stdout.split()[-2:])
    return seconds, most


def line(growth: Growth, quick: bool) -> list[str]:
    """One row of a table."""
    points = growth.points(quick)
    sizes = [getattr(point, growth.grows) for point in points]
    found = [asked(point) for point in points]
    seconds, most = (list(some) for some in zip(*found, strict=True))
    slope, error = exponent(sizes, seconds)
    row = [
        growth.work,
        growth.said or growth.grows,
        "; ".join(f"{size:,}" for size in sizes),
        "; ".join(f"{second:.3g}" for second in seconds),
        f"{slope:.2f} ± {error:.2f}",
        "; ".join(f"{one:.0f}" for one in most),
    ]
    # what is hardly to be seen has no exponent
    row.append("{:.2f} ± {:.2f}".format(*exponent(sizes, most)) if min(most) >= 1 else "")
    return row


COLUMNS = ("work", "what grows", "sizes", "seconds of the processor", "exponent", "MB", "exponent of memory")  # fmt: skip
NOTES = {
    "dating": (
        f"Rows: simulated pieces, {10_000:,} where nothing else is said. `engine` is `posterior` from codes, with "
        "grade, market and revival; `load` reads a folder of tables and makes the model ready. With clues every piece "
        "has them all; else seven in ten are seen. More years are a later `as_of`; "
        "more values and markets are twins in a copy of the tables, with the library's constants changed before it is "
        "loaded.",
    ),
    "learning": (
        "Records whose year is known, 1,000 where nothing else is said; values with three clues, markets with four, "
        "years with one. A table has as many parameters as values times knots, one every twenty years, and cubes of "
        "their number: that is what values and years cost.",
    ),
}


def main(given: list[str] | None = None) -> None:
    """Measure, or be measured."""
    parser = argparse.ArgumentParser(prog="python -m tests.benchmarks growth", description=__doc__)
    parser.formatter_class = argparse.RawDescriptionHelpFormatter
    parser.add_argument("tables", nargs="*", help=" or ".join(TABLES))
    parser.add_argument("--only", nargs="+", metavar="WHAT", help="rows, clues, values, ...")
    parser.add_argument("--quick", action="store_true", help="fewer sizes")
    parser.add_argument("--keep", action="store_true", help="write the figures")
    parser.add_argument("--point", help=argparse.SUPPRESS)
    read = parser.parse_args(given)
    if read.point:
        print(*measure(Point(**json.loads(read.point))))
        return
    unknown = set(read.tables) - set(TABLES)
    if unknown or (read.keep and read.only):
        parser.error(f"tables are {', '.join(TABLES)}; --keep keeps whole ones, without --only")
    for name in read.tables or TABLES:
        title, growths = TABLES[name]
        rows = []
        print(" | ".join(COLUMNS))
        for growth in growths:
            if not read.only or growth.grows in read.only:
                rows.append(line(growth, read.quick))
                print(" | ".join(rows[-1]), flush=True)
        if read.keep:
            from tests.figures import GROWTH, keep

            quick = " --quick" if read.quick else ""
            command = f"python -m tests.benchmarks growth {name}{quick} --keep"
            keep(
                name, title=title, command=command,
                columns=COLUMNS, rows=rows, notes=NOTES[name], folder=GROWTH,
            )  # fmt: skip


if __name__ == "__main__":
    main()
