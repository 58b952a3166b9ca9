"""How many sales it takes: the width of a price's interval after so many, by simulation."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.model.drawing import simulate
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth.coefficients import YEAR
from scarfdate.worth.design import Offers
from scarfdate.worth.learn_prices import Sales, pooling_of, prices_of
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.prices import Prices

if TYPE_CHECKING:
    import pandas

SALES = (25, 50, 100, 200, 400, 800)
_NEW, _SAMPLES = 200, 400  # pieces that are priced after learning, and samples of each
_LOW, _HIGH = 0.1, 0.9
_SEED = 9


def simulated_sales(truth: Prices, pieces: Pieces, rng: np.random.Generator) -> Sales:
    """The pieces sold at prices, after days, in channels, seasons and years that ``truth`` draws; all of them sold.

    They are asked for at the price expected of each.
    """
    n, reference = len(pieces), truth.reference

    def drawn(levels: Sequence[str], chances: Sequence[float] | None = None) -> NDArray[np.str_]:
        return rng.choice(np.array(levels or [""]), n, p=chances if levels else None)

    channel = drawn([*reference.channels], [*reference.channels.values()])
    season = drawn([*reference.seasons], [*reference.seasons.values()])
    year = drawn(truth.price.layout.levels(YEAR))
    log_price, fair, days = np.empty(n), np.empty(n), np.full(n, np.nan)
    for kind in sorted(set(zip(channel.tolist(), season.tolist(), year.tolist(), strict=True))):
        at = np.flatnonzero((channel == kind[0]) & (season == kind[1]) & (year == kind[2]))
        samples = truth.samples(
            pieces.take(at), channel=kind[0] or None, season=kind[1] or None,
            when=int(kind[2]) if kind[2] else None, n=1, seed=int(rng.integers(2**31)),
        )  # fmt: skip
        log_price[at], fair[at] = samples.log_price[:, 0], samples.log_fair[:, 0]
        if samples.has_days:
            days[at] = np.round(samples.days(fair[at])[:, 0])
    return Sales(
        offers=Offers(
            pieces=pieces, channel=channel.tolist(), season=season.tolist(), year=year.tolist()
        ),
        price=np.exp(log_price),
        asked=np.exp(fair),
        days=days,
        sold=np.ones(n, bool),
        returned=np.full(n, np.nan),
        price_index=np.full(n, np.nan),
        listed_season=tuple(season.tolist()),
        currency=reference.currency,
    )


def learning_curve(
    truth: Prices,
    priors: Priors | None = None,
    *,
    sales: Sequence[int] = SALES,
    books: int = 5,
    as_of: int | None = None,
    rng: np.random.Generator | None = None,
) -> pandas.DataFrame:
    """How well prices are known after so many sales in a market like that of ``truth``.

    ``books``: books that are simulated for each number of sales; each has effects of one draw of ``truth``. Columns:
    ``sales``; ``times``, the upper end of the 80 % interval of a new piece's price divided by the lower, mean in
    logs; ``held``, the share of new prices within it, 0 to 1; ``known_times``, the width if all effects were
    known. Raises RangeError for fewer sales than prices are learned from.
    """
    import pandas as pd

    known = checked_priors(priors)
    pooling = pooling_of(known)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = []
    for many in sales:
        found = []
        for _ in range(books):
            place = int(rng.integers(len(truth.price.draws), size=1)[0])
            one = truth.one_draw(place)
            drawn = simulate(known, many + _NEW, rng, as_of=as_of)
            pieces = Pieces.of(drawn.frame(), None, known, as_of=as_of)
            sold = simulated_sales(one, pieces, rng)
            learned = prices_of(sold.take(np.arange(many)), pooling, rng=rng)
            new = sold.take(np.arange(many, many + _NEW))
            found.append([*_held(learned, new), _held(one, new)[0]])
        width, held, least = np.mean(found, axis=0)
        rows.append((many, float(np.exp(width)), float(held), float(np.exp(least))))
    return pd.DataFrame(rows, columns=["sales", "times", "held", "known_times"])


def _held(prices: Prices, new: Sales) -> tuple[float, float]:
    """The mean log width of 80 % intervals of new prices, and the share of prices within them."""
    width, held = [], []
    channels = np.array(new.offers.channel)
    for channel in sorted(set(new.offers.channel)):
        at = np.flatnonzero(channels == channel)
        known = channel in prices.reference.channels
        samples = prices.samples(
            new.offers.pieces.take(at), channel=channel if known else None, n=_SAMPLES
        )
        low, high = np.quantile(samples.log_price, (_LOW, _HIGH), axis=1)
        price = np.log(new.price[at])
        width += (high - low).tolist()
        held += ((low <= price) & (price <= high)).tolist()
    return float(np.mean(width)), float(np.mean(held))
