"""How often the 80 % intervals of learned shares hold the true ones: where a table had moved, and where not.

    python -m tests.benchmarks.coverage [--only 0 3]        # writes notebooks/coverage.csv; some 6 minutes

Books are drawn from a world whose tables are known, and learned from by the quick route (`ROUTE`); each true share
at each knot is then inside its interval or not, and is sorted by how far it lies from the shipped share. A Bayesian
interval promises 80 % over all that the prior thinks possible; of shares that are known to have moved it promises
less, and of shares that have not moved more.

Worlds. ``believed``: the tables moved at random just as the library believes that they may be wrong. ``hers``: the
invented dealer's (`notebooks.moved_tables`), where single values have moved and all others have not. Scales.
``learned``: how wrong a table is, is found from the records; ``known``: held at what the prior says before records.
The worlds are scenarios and say nothing of scarves.
"""

from __future__ import annotations

import argparse
import os

if __name__ == "__main__":  # before numpy is loaded; a test that borrows from here is left alone
    for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(_name, "1")

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import numpy as np
import pandas as pd

from notebooks.moved_tables import RARER, moved_priors
from scarfdate import Priors, learn, load_priors, simulate
from scarfdate.conventions import CHANNEL, FIRST_YEAR, Array
from scarfdate.learning.clue_shares import channel_shares, shares_clue
from scarfdate.model.model import compiled
from scarfdate.records.sold import SoldRecords, read_sold
from tests.benchmarks.recovery import drawn_tables

FOUND = Path(__file__).parents[2] / "notebooks" / "coverage.csv"
AS_OF, LOOKED_AT = 2026, 0.6  # as in her book
ROUTE = "laplace"
CLUES = ("hem", "motif", "fibre")  # the tables of shares that have moved in her world
MOVED = (0.0, 0.15, 0.3, 0.8, np.inf)  # parts of the shipped share
BANDS = ("under 15 %", "15 to 30 %", "30 to 80 %", "over 80 %")
LEAST = 0.001  # a share below it is not asked for: it is nothing, before and after
CERTAIN = 1e-3  # of a log scale that is known
# world, scales, records, and books drawn; a book moves all shares of a table together, so few books tell little
RUNS = (
    ("hers", "learned", 297, 40),
    ("believed", "learned", 297, 12),
    ("believed", "known", 297, 12),
    ("hers", "known", 297, 12),
    ("hers", "learned", 3000, 3),
)


def world_of(name: str, seed: int) -> Priors:
    """The true tables."""
    if name == "hers":
        return moved_priors(load_priors())
    return drawn_tables(load_priors(), np.random.default_rng([seed, 1]), 1.0, AS_OF)


def told(scales: str) -> Priors:
    """The shipped tables, with the scales to be learned or known beforehand."""
    priors = load_priors()
    if scales == "learned":
        return priors
    sure = {"table_error_scale": CERTAIN, "table_shift_scale": CERTAIN}
    return replace(priors, allowances=MappingProxyType({**priors.allowances, **sure}), _compiled={})


def book_of(world: Priors, n: int, rng: np.random.Generator, clues: Sequence[str]) -> SoldRecords:
    """Pieces of that world with exactly known years."""
    made = simulate(world, n, rng, as_of=AS_OF, looked_at=LOOKED_AT)
    year = made.truth_frame()["year"].to_numpy()
    seen = made.frame().reindex(columns=list(clues))
    return read_sold(
        seen.assign(known_from=year, known_to=year, known_by="receipt"), as_of=AS_OF, copies=True
    )


def shares_of(priors: Priors, family: str, knots: Array) -> Array:
    """Shares at the knots, (values, knots), in the channel's usual mixture."""
    model = compiled(priors, CHANNEL, AS_OF)
    return channel_shares(model, shares_clue(model, family))[:, knots.astype(int) - FIRST_YEAR]


def held(
    world: str, scales: str, records: int, seed: int, clues: Sequence[str] = CLUES
) -> pd.DataFrame:
    """One book: a row a share at a knot, with how far it had moved and whether its 80 % interval holds it."""
    true, start = world_of(world, seed), told(scales)
    book = book_of(true, records, np.random.default_rng([seed, 2]), clues)
    learned = learn(book, start, route=ROUTE, as_of=AS_OF, rng=np.random.default_rng([seed, 3]))
    rows = []
    for family in clues:
        values = load_priors().shares[family].values
        before = learned.shares_before(family)
        truth = shares_of(true, family, learned.layout.knots.astype(float))
        low, high = np.quantile(learned.shares(family), [0.1, 0.9], axis=0)
        value, knot = np.nonzero(before > LEAST)
        at = value, knot
        rows.append(
            pd.DataFrame(
                {
                    "family": family,
                    "value": np.array(values)[value],
                    "moved": np.abs(truth - before)[at] / before[at],
                    "held": ((low <= truth) & (truth <= high))[at],
                }
            )
        )
    return pd.concat(rows, ignore_index=True)


def summary(frames: Sequence[pd.DataFrame]) -> dict[str, float]:
    """Shares held, per cent: of all, by how far they had moved, and of the value that is rarer in her world."""
    every = pd.concat(frames)
    band = pd.cut(every["moved"], MOVED, labels=list(BANDS), right=False)
    by_band = 100 * every.groupby(band, observed=False)["held"].mean()
    far = every["moved"] > MOVED[1]
    return {
        "books": len(frames),
        "shares": len(every),
        "all": 100 * float(every["held"].mean()),
        **by_band.to_dict(),
        "over 15 %": 100 * float(every.loc[far, "held"].mean()),
        RARER: 100 * float(every.loc[every["value"] == RARER, "held"].mean()),
    }


def main() -> None:
    """Measure the runs, each of which replaces its row of the table."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--only", type=int, nargs="+", default=list(range(len(RUNS))))
    key = ["world", "scales", "records"]
    for place in parser.parse_args().only:
        world, scales, records, books = RUNS[place]
        frames = [held(world, scales, records, seed) for seed in range(books)]
        row = {"world": world, "scales": scales, "records": records, **summary(frames)}
        print(row, flush=True)
        found = pd.DataFrame([row]).round(1)
        if FOUND.exists():
            found = pd.concat([pd.read_csv(FOUND), found]).drop_duplicates(key, keep="last")
        found.sort_values(key).to_csv(FOUND, index=False, lineterminator="\n")


if __name__ == "__main__":
    main()
