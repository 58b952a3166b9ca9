"""Prices: how fast they are learned and asked for, how that compares with NUTS, and how many sales it takes.

python -m tests.benchmarks.worth            # learning at 3,000 sales, samples of 10,000 pieces, the learning curve
python -m tests.benchmarks.worth --nuts     # NUTS on the same 3,000 sales as well (many minutes)
"""

from __future__ import annotations

import sys
import time

import numpy as np

from scarfdate import load_prices, load_priors, simulate
from scarfdate.worth.learn_prices import pooling_of, prices_of
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.power import learning_curve
from tests.worth.simulated_sales import effects, population, sales
from tests.worth.test_prices_nuts import apart

SOLD, STOCK, AT_ONCE, SAMPLES, AS_OF = 3000, 10_000, 1000, 1000, 2026


def main(arguments: list[str]) -> None:
    priors = load_priors()
    pooling, rng = pooling_of(priors), np.random.default_rng(1)
    of = population(priors, SOLD + 1000, seed=1)
    book = sales(of, SOLD + 250, effects(of.pieces, rng), rng)
    started = time.perf_counter()
    quick = prices_of(book, pooling)
    took = time.perf_counter() - started
    print(f"learn_prices, quick route, {quick.n_sold} sales: {took:.1f} s")
    if "--nuts" in arguments:
        started = time.perf_counter()
        long = prices_of(book, pooling, route="hierarchical", draws=1000)
        by_nuts = time.perf_counter() - started
        most = max(map(abs, apart(quick, long).values()))
        print(
            f"NUTS: {by_nuts:.0f} s, {by_nuts / took:.0f} times as long; means {most:.2f} sd apart at most"
        )
    shipped = load_prices()
    frame = simulate(priors, STOCK, rng, as_of=AS_OF).frame()
    started = time.perf_counter()
    for start in range(0, STOCK, AT_ONCE):
        pieces = Pieces.of(frame.iloc[start : start + AT_ONCE], None, priors, as_of=AS_OF)
        shipped.samples(pieces, n=SAMPLES)
    took = time.perf_counter() - started
    print(f"{STOCK} pieces dated and sampled, {SAMPLES} samples each: {took:.1f} s")
    print(learning_curve(shipped, priors, as_of=AS_OF, books=3).round(2).to_string(index=False))


if __name__ == "__main__":
    main(sys.argv[1:])
