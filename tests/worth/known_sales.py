"""Sales of pieces of which everything is known, made without any dating: arrays alone."""

from __future__ import annotations

import numpy as np

from scarfdate import load_priors
from scarfdate.conventions import GRADES
from scarfdate.worth.design import PRICE, Offers, price_design
from scarfdate.worth.learn_prices import Sales, pooling_of, price_fit, reference_of
from scarfdate.worth.pieces import Pieces, Value
from scarfdate.worth.pooled import Design
from scarfdate.worth.pooled_fit import Fit

DECADES = np.array([1950, 1960, 1970])
FIBRES = ("silk", "wool", "polyester")


def known_pieces(n: int, rng: np.random.Generator) -> Pieces:
    """Pieces whose decade, grade and fibre are certain."""
    cells = np.eye(len(DECADES) * len(GRADES))[rng.integers(0, len(DECADES) * len(GRADES), n)]
    fibre = np.eye(len(FIBRES))[rng.integers(0, len(FIBRES), n)]
    chances = np.repeat(fibre[:, None], cells.shape[1], axis=1)
    return Pieces(
        ids=tuple(map(str, range(n))),
        decades=DECADES,
        cells=cells,
        values={"fibre": Value(FIBRES, chances)},
        log_area=rng.normal(8.5, 0.6, n),
        log_kept=np.where(rng.random(n) < 0.5, 0.0, -rng.exponential(0.4, n)),
        log_kept_sd=np.zeros(n),
        maker=tuple(rng.choice(["", "a", "b"], n).tolist()),
    )


def known_sales(n: int, seed: int) -> tuple[Sales, np.ndarray]:
    """Sales at prices with effects of size, condition, fibre, decade and channel; and all their design rows."""
    rng = np.random.default_rng(seed)
    pieces = known_pieces(n, rng)
    channel = rng.choice(["fair", "shop"], n)
    fibre = pieces.values["fibre"].chances[:, 0].argmax(axis=1)
    log_price = 3 + 0.4 * (pieces.log_area - 8.5) + 1.2 * pieces.log_kept
    log_price += np.array([0.3, 0.0, -0.3])[fibre] + 0.2 * (channel == "fair")
    log_price += 0.1 * pieces.cells.argmax(axis=1) // len(GRADES) + rng.normal(0, 0.3, n)
    sales = Sales(
        offers=Offers(
            pieces=pieces,
            channel=channel.tolist(),
            season=rng.choice(["summer", "winter"], n).tolist(),
            year=rng.choice(["2024", "2025"], n).tolist(),
        ),
        price=np.exp(log_price),
        asked=np.full(n, np.nan),
        days=np.full(n, np.nan),
        sold=np.ones(n, bool),
        returned=np.full(n, np.nan),
        price_index=np.full(n, np.nan),
        listed_season=("",) * n,
    )
    reference = reference_of(sales, np.arange(n), pooling_of(load_priors()))
    offers = sales.offers
    return sales, price_design(offers, offers.layout(PRICE), reference).rows


def learned_flat(sales: Sales) -> tuple[Design, Fit]:
    """The same without pooling, normal tails."""
    pooling = pooling_of(load_priors())
    reference = reference_of(sales, np.arange(len(sales)), pooling)
    found = price_fit(sales, pooling, reference, pooled=False, tails=np.inf)
    return found.model.design, found
