"""How fast, beside general-purpose libraries and beside the machine itself.

    python -m tests.benchmarks.speed [--quick]

One core, one run; every comparison is interleaved, round by round, and quoted as the median of the
rounds' ratios, because machines are shared and noisy. ``engine`` is encoded codes to year, grade,
market and revival probabilities; ``date_table`` is a ready frame to the summary frame, ``few columns``
the interval, median and decade alone. Peak memory is measured in a fresh process for each size.
"""

from __future__ import annotations

import argparse
import os
import resource
import subprocess
import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np
import pandas as pd

from scarfdate import Scarf, date_scarf, date_table, load_priors, simulate
from scarfdate.answer.blocks import BLOCK
from scarfdate.answer.frame import Columns
from scarfdate.model.model import Model, compiled
from scarfdate.model.posterior import posterior, year_only

ROOT = Path(__file__).parents[2]
SIMULATED = 10_000
LOOKED_AT = 0.7
MEASURED = ("width_cm", "height_cm", "stitches_per_inch")
FEW = ("year_from", "year_to", "median_year", "decade")
AS_OF = 2026
CLUES = (
    "fibre", "weave", "hem", "hem_thread", "print_technique", "uv_glow", "signature", "form",
    "label", "label_make", "origin", "motif", "palette", "layout",
)  # fmt: skip


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def side_by_side(works: dict[str, Callable[[], object]], rounds: int) -> dict[str, np.ndarray]:
    """Times of several pieces of work, taken in turn, after one round that is not counted."""
    for work in works.values():
        work()
    times: dict[str, list[float]] = {name: [] for name in works}
    for _ in range(rounds):
        for name, work in works.items():
            times[name].append(seconds(work))
    return {name: np.array(found) for name, found in times.items()}


def encoded(model: Model, frame: pd.DataFrame) -> np.ndarray:
    """Row numbers of all rows."""
    columns = Columns(model, frame)
    blocks = range(0, len(frame), BLOCK)
    return np.concatenate([columns.block(i, min(i + BLOCK, len(frame))).codes for i in blocks])


def pieces() -> pd.DataFrame:
    """The benchmark's pieces."""
    rng = np.random.default_rng(1)
    return simulate(None, SIMULATED, rng, as_of=AS_OF, looked_at=LOOKED_AT).frame()


def all_distinct(seed: int) -> pd.DataFrame:
    """As many pieces, of which all were measured, and no two have the same sides and stitches."""
    rng = np.random.default_rng(seed)
    frame = simulate(None, SIMULATED, rng, as_of=AS_OF, looked_at=1.0).frame()
    for name in frame.columns.difference(MEASURED):
        frame[name] = frame[name].where(rng.random(SIMULATED) < LOOKED_AT)
    measured = frame[list(MEASURED)]
    assert not measured.isna().any(axis=None) and not measured.duplicated().any()
    return frame


def bare_take(model: Model, codes: np.ndarray) -> Callable[[], None]:
    """Gathering the very rows that the engine multiplies, and nothing else."""
    gathers = []
    for start in range(0, len(codes), BLOCK):
        block = codes[start : start + BLOCK]
        style, _, making = model.gathered(block)
        gathers += [(rows.table, which) for rows, which in (style, *making)]
    room = np.empty((64, model.cells))

    def work() -> None:
        for table, index in gathers:
            for at in range(0, len(index), 64):
                part = index[at : at + 64]
                np.take(table, part, axis=0, out=room[: len(part)], mode="clip")

    return work


def machine_limits() -> None:
    """Memory bandwidth and matrix-product speed of this machine, one core."""
    big = np.ones(2**25)
    other = np.empty_like(big)
    copy = min(seconds(lambda: np.copyto(other, big)) for _ in range(5))
    a = np.random.default_rng(0).random((1500, 1500))
    product = min(seconds(lambda: a @ a) for _ in range(5))
    print(f"machine: copy {2 * big.nbytes / copy / 1e9:.1f} GB/s, ", end="")
    print(f"matrix product {2 * 1500**3 / product / 1e9:.1f} GFlop/s")


def peers(model: Model, rounds: int) -> None:
    """The same scarves, all clues seen, in pyAgrum and pgmpy, one call a scarf."""
    import pyagrum as gum
    from pgmpy.inference import VariableElimination

    from tests.peers.networks import agrum, pgm

    every = simulate(None, SIMULATED, np.random.default_rng(7), as_of=AS_OF, looked_at=1.0).frame()
    every = every[list(CLUES)].copy()
    every["label_make"] = every["label_make"].fillna("woven").where(every["label"] != "none-seen")
    codes = encoded(model, every)
    values = load_priors().vocabulary.values
    few = every.head(20)
    rows = [
        {name: values[name].index(cell) for name, cell in row.items() if isinstance(cell, str)}
        for row in few.to_dict("records")
    ]
    net = agrum(model, list(CLUES))

    def with_engine(make: Callable[[], object]) -> Callable[[], None]:
        engine = make()

        def work() -> None:
            for row in rows:
                engine.setEvidence(row)  # type: ignore[attr-defined]
                engine.setTargets({"year"})  # type: ignore[attr-defined]
                engine.makeInference()  # type: ignore[attr-defined]
                engine.posterior("year").toarray()  # type: ignore[attr-defined]

        return work

    engines = {
        "pyAgrum lazy propagation": lambda: gum.LazyPropagation(net),
        "pyAgrum variable elimination": lambda: gum.VariableElimination(net),
        "pyAgrum Shafer-Shenoy": lambda: gum.ShaferShenoyInference(net),
    }
    slow = VariableElimination(pgm(model, list(CLUES)))
    names = {name: list(map(int, range(len(values[name])))) for name in CLUES}
    assert names

    def pgmpy_once() -> None:
        slow.query(["year"], evidence=rows[0], show_progress=False)

    scarf = Scarf(**{n: c for n, c in few.iloc[0].items() if isinstance(c, str)})
    works: dict[str, Callable[[], object]] = {
        "engine": lambda: posterior(model, codes),
        "date_scarf": lambda: [date_scarf(scarf, as_of=AS_OF) for _ in range(20)],
        "pgmpy variable elimination": pgmpy_once,
    }
    for name, make in engines.items():
        try:
            work = with_engine(make)
            if seconds(work) < 60:
                works[name] = work
        except Exception as error:  # a peer may refuse a network of this size
            print(f"{name}: {type(error).__name__}: {str(error)[:80]}")
    times = side_by_side(works, max(3, rounds // 2))
    each = {
        "engine": times["engine"] / SIMULATED,
        "date_scarf": times["date_scarf"] / 20,
        "pgmpy variable elimination": times["pgmpy variable elimination"],
        **{name: times[name] / len(rows) for name in times if name.startswith("pyAgrum")},
    }
    print(f"\nall {len(CLUES)} clues seen, seconds a scarf (medians)")
    for name, found in each.items():
        print(f"  {name:32} {np.median(found):.3e}")
    fastest = min((n for n in each if n.startswith("pyAgrum")), key=lambda n: np.median(each[n]))
    print(
        f"engine: {np.median(each[fastest] / each['engine']):.0f} times as fast as {fastest} (50 wanted)"
    )
    print(f"engine: {np.median(each['pgmpy variable elimination'] / each['engine']):.0f} "
          "times as fast as pgmpy (400 wanted)")  # fmt: skip
    print(
        f"date_scarf: {np.median(each[fastest] / each['date_scarf']):.1f} times as fast as {fastest} (4 wanted)"
    )


def distinct(rounds: int) -> None:
    """A table that nobody has seen, all sides and stitches distinct, beside the benchmark's pieces.

    Each round has priors of its own, which know the benchmark's pieces: what a table leaves behind
    would make the next one cheaper.
    """
    known = pieces()
    times: dict[str, list[float]] = {"benchmark's pieces": [], "all distinct": []}
    for seed in range(rounds):
        priors, new = load_priors(ROOT / "priors"), all_distinct(seed + 100)
        date_table(known, priors=priors, as_of=AS_OF)
        for name, frame in zip(times, (known, new), strict=True):
            times[name].append(seconds(partial(date_table, frame, priors=priors, as_of=AS_OF)))
    print(f"\ndate_table, {SIMULATED} pieces, microseconds a piece (medians)")
    for name, found in times.items():
        print(f"  {name:20} {1e6 * np.median(found) / SIMULATED:.2f}")
    ratio = np.array(times["all distinct"]) / np.array(times["benchmark's pieces"])
    print(f"all distinct: {np.median(ratio):.2f} times the benchmark's pieces (2 allowed)")


def ratios(model: Model, rounds: int) -> None:
    """Engine, its year-only form, a bare gather of its rows, and the table, at 10,000 pieces."""
    frame = pieces()
    codes = encoded(model, frame)
    posterior(model, codes)
    times = side_by_side(
        {
            "engine": lambda: posterior(model, codes),
            "year only": lambda: year_only(model, codes),
            "np.take": bare_take(model, codes),
            "date_table": lambda: date_table(frame, as_of=AS_OF),
            "few columns": lambda: date_table(frame, as_of=AS_OF, columns=FEW),
        },
        rounds,
    )
    print(f"\n{SIMULATED} pieces, seven clues in ten seen, microseconds a piece (medians)")
    for name, found in times.items():
        print(f"  {name:12} {1e6 * np.median(found) / SIMULATED:.2f}")
    print(
        f"year only: {np.median(times['year only'] / times['np.take']):.2f} times a bare np.take (6 allowed)"
    )
    for name, allowed in (("few columns", 3), ("date_table", 6)):
        ratio = np.median(times[name] / times["engine"])
        print(f"{name}: {ratio:.2f} times the engine ({allowed} allowed)")


def one_size(n: int) -> None:
    """In a process of its own: time and peak memory of `date_table` for n rows, above the input."""
    rng = np.random.default_rng(1)
    frame = simulate(None, min(n, SIMULATED), rng, as_of=AS_OF, looked_at=LOOKED_AT).frame()
    date_table(frame, as_of=AS_OF)
    frame = pd.concat([frame] * max(1, n // SIMULATED), ignore_index=True)
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    took = seconds(lambda: date_table(frame, as_of=AS_OF))
    after = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    print(f"{n},{took},{(after - before) / 1024}")


def sizes(quick: bool) -> None:
    """Rows a second and peak memory at 1, 100, 10,000 and 1,000,000 rows."""
    print("\nrows, rows a second, microseconds a row, MB above the input")
    each = {}
    for n in (1, 100, 10_000, *(() if quick else (1_000_000,))):
        run = subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.speed", "--size", str(n)],
            capture_output=True, text=True, check=True,
        )  # fmt: skip
        _, took, memory = map(float, run.stdout.split(","))
        each[n] = took / n
        print(f"  {n:>9} {n / took:>10.0f} {1e6 * took / n:>10.1f} {memory:>8.0f}")
    if not quick:
        print(
            f"a million rows: {each[1_000_000] / each[10_000]:.2f} times the time a row of 10,000 (1.2 allowed)"
        )


def main() -> None:
    """Everything, or one size in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--quick", action="store_true", help="fewer rounds, no million rows")
    parser.add_argument("--size", type=int, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.size:
        one_size(given.size)
        return
    rounds = 5 if given.quick else 11
    model = compiled(load_priors(), "thrift", AS_OF)
    machine_limits()
    ratios(model, rounds)
    distinct(rounds)
    peers(model, rounds)
    sizes(given.quick)


if __name__ == "__main__":
    main()
