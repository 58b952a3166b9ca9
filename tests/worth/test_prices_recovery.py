"""Effects that are known are found again, as often as the intervals say.

Books of pieces drawn from the tables, dated by them, and sold at prices by what is true of each. Nobody tells the
learner the true decade, grade or fibre.
"""

from __future__ import annotations

from collections import defaultdict

import numpy as np
import pytest

from scarfdate import load_priors
from scarfdate.worth.learn_prices import pooling_of, prices_of
from scarfdate.worth.price_words import centred
from tests.worth.simulated_sales import contrasts, effects, population, sales

PIECES, SOLD_FROM = 4000, 300
LEVEL = 0.8


def coverage(books: int, seed: int) -> tuple[dict[str, float], float]:
    """By group, and of all, the share of true effects within their 80 % intervals."""
    priors = load_priors()
    of, rng = population(priors, PIECES, seed), np.random.default_rng(seed)
    held: dict[str, list[bool]] = defaultdict(list)
    for _ in range(books):
        known = effects(of.pieces, rng)
        prices = prices_of(sales(of, SOLD_FROM, known, rng), pooling_of(priors))
        for group in prices.price.layout.groups[1:]:
            places = prices.price.layout.places(group)
            levels, weight = prices.price.layout.levels(group), prices.counts[places]
            true = contrasts(known, group, levels, weight)
            low, high = np.quantile(centred(prices.price, prices.counts, group), (0.1, 0.9), axis=0)
            held[group] += ((low <= true) & (true <= high)).tolist()
    shares = {group: float(np.mean(each)) for group, each in held.items()}
    return shares, float(np.mean([one for each in held.values() for one in each]))


@pytest.mark.slow
@pytest.mark.statistical
def test_true_effects_lie_in_their_intervals() -> None:
    """The intervals of 20 books: the standard error is some 2 %, for effects of a book go together."""
    shares, whole = coverage(20, seed=3)
    assert 0.72 <= whole <= 0.87, shares


@pytest.mark.long
def test_true_effects_lie_in_their_intervals_over_200_books() -> None:
    shares, whole = coverage(200, seed=5)
    print(
        f"{100 * whole:.1f} % within 80 % intervals;", {g: round(s, 3) for g, s in shares.items()}
    )
    assert 0.75 <= whole <= 0.85, shares
    assert all(0.65 <= share <= 0.92 for share in shares.values()), shares
