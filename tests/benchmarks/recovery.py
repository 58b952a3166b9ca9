"""How much of what is wrong with the tables is found again from records drawn by other ones.

    python -m tests.benchmarks.recovery [--seeds 10] [--records 300 1000] [--route laplace] [--move drawn]

Records are simulated from tables moved away from the shipped ones; what was learned from them is scored
on fresh pieces of the same moved tables, whose years are known exactly: the mean log probability of the
true year, nats a piece.

    closure = (learned - shipped) / (true - shipped)

Moves. ``later``: several families some years later, and one value of each of them more or less common
than its table says (`MOVES`); ``shifted`` and ``levels`` are the two halves of it. ``believed``: every clue
table moved at random, as the library believes that a table may be wrong; ``drawn``: twice as far. ``none``:
nothing moved, so that the shipped tables are true and a learner can only lose. The moves are scenarios,
and invented; they say nothing of scarves.
"""

from __future__ import annotations

import argparse
import os

if __name__ == "__main__":  # before numpy is loaded; a test that borrows from here is left alone
    for _name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ.setdefault(_name, "1")

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from types import MappingProxyType

import numpy as np

from scarfdate import Priors, date_table, load_priors, simulate
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, FIRST_YEAR, ZERO_SHARE, Array
from scarfdate.learning.learn import learn
from scarfdate.learning.prior import deviations_of
from scarfdate.model.model import compiled
from scarfdate.records.sold import SoldRecords, read_sold
from scarfdate.tables.knots import SharesTable, interpolate_shares

AS_OF = 2020
HELD_OUT = 1500
# family: how many years later, a value, and how many times its odds
MOVES: Mapping[str, tuple[int, str, float]] = MappingProxyType({
    "fibre": (10, "rayon", 2.5), "weave": (12, "chiffon", 2.5), "hem": (15, "hand-rolled", 2.0),
    "hem_thread": (12, "cotton", 2.0), "print_technique": (12, "machine-screen", 0.4), "form": (10, "square", 0.5),
    "label": (10, "intact", 2.0), "motif": (15, "geometric", 0.4), "palette": (15, "pastel", 2.5),
    "layout": (12, "bordered", 0.5),
})  # fmt: skip
DRAWN_SCALE = 2.0
KINDS = ("later", "shifted", "levels", "believed", "drawn", "none")


def moved_later(priors: Priors, moves: Mapping[str, tuple[int, str, float]] = MOVES) -> Priors:
    """Tables of some families later, with one value more or less common; what is impossible stays so."""
    shares = dict(priors.shares)
    for family, (later, value, times) in moves.items():
        table = priors.shares[family]
        place = table.values.index(value)
        series = {}
        for key, (knots, own) in table.series.items():
            other = np.maximum(own / own.sum(axis=1, keepdims=True), ZERO_SHARE)
            other[other[:, place] > 10 * ZERO_SHARE, place] *= times
            series[key] = (knots + later, other)
        shares[family] = replace(table, series=MappingProxyType(series))
    return _with(priors, shares)


def drawn_tables(
    priors: Priors, rng: np.random.Generator, scale: float = DRAWN_SCALE, as_of: int = AS_OF
) -> Priors:
    """Tables whose logarithms are moved at random, by the prior of the deviations at one scale for all."""
    model = compiled(priors, CHANNEL, as_of)
    names = [clue.name for clue in model.clues if isinstance(clue, SharesClue)]
    layout = deviations_of(model, names)
    free = layout.unwhitened(
        rng.standard_normal(layout.size), np.full(len(layout.scales), np.log(scale))
    )
    shares, years = dict(priors.shares), model.years.astype(float)
    for name in names:
        moved = layout.log_share_shift(name, layout.named(free))
        shares[name] = moved_shares_table(shares[name], years, moved)
    return _with(priors, shares)


def moved_shares_table(table: SharesTable, knots: Array, moved: Array) -> SharesTable:
    """A table whose log shares are larger by ``moved`` (values, knots), straight between its knots."""
    series = {}
    for key, (own, shares) in table.series.items():
        at = np.union1d(own, knots)
        by = np.stack([np.interp(at, knots, row) for row in moved])
        series[key] = (at, (interpolate_shares(own, shares, at) * np.exp(by)).T)
    return replace(table, series=MappingProxyType(series))


def _with(priors: Priors, shares: Mapping[str, SharesTable]) -> Priors:
    return replace(priors, shares=MappingProxyType(dict(shares)), _compiled={})


def drawn_records(priors: Priors | None, n: int, rng: np.random.Generator) -> SoldRecords:
    """Simulated pieces of years known exactly, as a dealer's records; ``priors`` None for the shipped ones."""
    made = simulate(priors, n, rng, as_of=AS_OF)
    known = made.truth_frame()["year"].to_numpy()
    frame = made.frame().assign(known_from=known, known_to=known, known_by="receipt")
    return read_sold(frame, as_of=AS_OF, copies=True)


def log_scores(priors: Priors | None, held_out: SoldRecords) -> Array:
    """Log probability of the true year of each piece."""
    _, chances = date_table(held_out.clues, priors=priors, as_of=AS_OF, with_years=True)
    return np.asarray(
        np.log(chances[np.arange(len(held_out)), held_out.known_from - FIRST_YEAR]), np.float64
    )


@dataclass(frozen=True)
class Recovery:
    """Log scores (pieces,) on the same fresh pieces under three sets of tables."""

    shipped: Array
    learned: Array
    true: Array
    seconds: float

    @cached_property
    def gap(self) -> float:
        """From shipped to true, nats a piece."""
        return float((self.true - self.shipped).mean())

    @cached_property
    def gain(self) -> float:
        """From shipped to learned, nats a piece."""
        return float((self.learned - self.shipped).mean())

    @property
    def error(self) -> float:
        """Standard error of the gain, over pieces."""
        return float((self.learned - self.shipped).std(ddof=1) / np.sqrt(len(self.learned)))


def truth_of(move: str, seed: int) -> Priors | None:
    """The tables of a move; None for the shipped ones."""
    if move == "none":
        return None
    if move == "later":
        return moved_later(load_priors())
    if move == "levels":
        return moved_later(load_priors(), {f: (0, v, t) for f, (_, v, t) in MOVES.items()})
    if move == "shifted":
        return moved_later(load_priors(), {f: (n, v, 1.0) for f, (n, v, _) in MOVES.items()})
    scale = 1.0 if move == "believed" else DRAWN_SCALE
    return drawn_tables(load_priors(), np.random.default_rng([seed, 1]), scale)


def recovery(
    move: str, seed: int, records: int, *, route: str = "laplace", held_out: int = HELD_OUT
) -> Recovery:
    """One run: draw, learn, score on fresh pieces."""
    true = truth_of(move, seed)
    fresh = drawn_records(true, held_out, np.random.default_rng([seed, 2]))
    taught = drawn_records(true, records, np.random.default_rng([seed, 3]))
    started = time.process_time()
    learned = learn(taught, route=route, as_of=AS_OF, rng=np.random.default_rng([seed, 4]))
    seconds = time.process_time() - started
    shipped = log_scores(None, fresh)
    return Recovery(
        shipped,
        log_scores(learned.priors, fresh),
        shipped if true is None else log_scores(true, fresh),
        seconds,
    )


def main() -> None:
    """Print one line a run, and a line of means a size."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--records", type=int, nargs="+", default=[300, 1000])
    parser.add_argument("--route", default="laplace")
    parser.add_argument(
        "--move", nargs="+", choices=list(KINDS), default=["later", "believed", "drawn", "none"]
    )
    asked = parser.parse_args()
    for move in asked.move:
        for n in asked.records:
            runs = []
            for seed in range(asked.seeds):
                one = recovery(move, seed, n, route=asked.route)
                runs.append(one)
                print(
                    f"{move} {n} seed {seed}: true - shipped {one.gap:.4f}, learned - shipped"
                    f" {one.gain:+.4f} +- {one.error:.4f}, learned in {one.seconds:.1f} s",
                    flush=True,
                )
            gain, gap = (np.mean([getattr(run, what) for run in runs]) for what in ("gain", "gap"))
            closed = f"{gain / gap:.0%} closed" if gap > 0 else "nothing to close"
            print(
                f"{move} {n}: mean gain {gain:+.4f} of {gap:.4f} nats a piece, {closed}", flush=True
            )


if __name__ == "__main__":
    main()
