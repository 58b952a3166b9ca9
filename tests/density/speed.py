"""How fast the density estimates are, beside a general-purpose survival library and by size.

    python -m tests.density.speed [--rounds 5] [--records RECORDS.csv]

One core. The comparison is interleaved, round by round, and quoted as the median of the rounds'
ratios. Records are invented: exact years, decades and centuries from a density of two humps; with
``--records``, also 1,000 drawn from a file of museum records. The peer is stopped after 2,000 steps
everywhere, which favours it: on some draws it runs for minutes to its own limit.
"""

from __future__ import annotations

import argparse
import csv
import os
import time
import warnings
from collections.abc import Callable
from functools import partial
from pathlib import Path

for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
    os.environ.setdefault(_name, "1")

import numpy as np

from notebooks.turnbull import bounded, npmle_of_cells
from scarfdate.density.intervals import compressed
from scarfdate.density.smooth import smooth_density
from tests.density.simulated import CELLS, START, mixed_intervals, two_humps


def seconds(work: Callable[[], object]) -> float:
    """Time of one call."""
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def random_intervals(n: int, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """The hard case: nearly every record an interval of its own."""
    middle = rng.choice(CELLS, n, p=two_humps())
    first = np.maximum(middle - rng.integers(0, 25, n), 0)
    return first, np.minimum(middle + rng.integers(0, 25, n), CELLS - 1)


def whole_route(first: np.ndarray, last: np.ndarray) -> object:
    """Records to estimate."""
    return npmle_of_cells(compressed(first, last))


def museum_intervals(path: Path, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray]:
    """A thousand records of a file, without replacement."""
    with path.open(encoding="utf-8") as stream:
        rows = list(csv.DictReader(stream))
    names = ("year_begin", "year_end", "year_acquired")
    years = [[float(row[name] or "nan") for row in rows] for name in names]
    first, last, kept = bounded(*years, start=START, stop=START + CELLS - 1)
    drawn = rng.choice(np.flatnonzero(kept), 1000, replace=False)
    return first[drawn], last[drawn]


def beside_lifelines(rounds: int, records: Path | None) -> None:
    """Ours against theirs at 1,000 records, compressing included, and both log-likelihoods."""
    from lifelines.fitters.npmle import npmle as theirs

    warnings.simplefilter("ignore")
    rng = np.random.default_rng(1)
    cases = {
        "years, decades, centuries": mixed_intervals(two_humps(), 1000, rng),
        "nearly all different": random_intervals(1000, rng),
    }
    if records is not None:
        cases["museum records"] = museum_intervals(records, rng)
    for name, (first, last) in cases.items():
        found = compressed(first, last)
        npmle_of_cells(found)  # the first call imports scipy
        for tol in (1e-7, 1e-9):  # its default, and what agreement to 1e-4 needs
            pairs = []
            for _ in range(rounds):
                ours = seconds(partial(whole_route, first, last))
                pairs.append((ours, seconds(partial(theirs, first, last, tol=tol, max_iter=2000))))
            mass, support = theirs(first, last, tol=tol, max_iter=2000)
            at = np.array([[s.left, s.right] for s in support])
            inside = (first[:, None] <= at[:, 0]) & (at[:, 1] <= last[:, None])
            gap = npmle_of_cells(found).log_likelihood - np.log(inside @ mass / mass.sum()).sum()
            ratios = [b / a for a, b in pairs]
            ours, other = np.median(pairs, axis=0)
            print(
                f"{name} ({len(found)} distinct), lifelines tol {tol:g}: ours {1e3 * ours:.1f} ms,"
                f" lifelines {1e3 * other:.0f} ms, ratio {np.median(ratios):.0f}"
                f" (least {min(ratios):.0f}); log-likelihood ahead by {gap:.1e}"
            )


def by_size(rounds: int) -> None:
    """Cost of compressing and after it, from 1,000 records to a million."""
    rng = np.random.default_rng(2)
    for n in (1_000, 1_000_000):
        first, last = random_intervals(n, rng)
        found = compressed(first, last)
        works: list[tuple[str, Callable[[], object]]] = [
            ("compress", partial(compressed, first, last)),
            ("npmle", partial(npmle_of_cells, found)),
            ("smooth", partial(smooth_density, found, CELLS, smoothing=1000.0)),
        ]
        times = {name: np.median([seconds(work) for _ in range(rounds)]) for name, work in works}
        told = ", ".join(f"{name} {1e3 * value:.1f} ms" for name, value in times.items())
        print(f"{n:>9,} records, {len(found)} distinct: {told}")


if __name__ == "__main__":
    parser = argparse.ArgumentParser(prog="python -m tests.density.speed", description=__doc__)
    parser.add_argument("--rounds", type=int, default=5)
    parser.add_argument("--records", type=Path)
    given = parser.parse_args()
    beside_lifelines(given.rounds, given.records)
    by_size(given.rounds)
