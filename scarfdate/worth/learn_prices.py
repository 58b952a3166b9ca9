"""`learn_prices`: from a dealer's own book to prices, days to sell and returns, or a refusal."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, replace
from numbers import Real
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import CHANNEL as FOUND_IN
from scarfdate.conventions import Array
from scarfdate.errors import (
    RangeError,
    ScarfdateError,
    WordError,
    did_you_mean,
    is_one_of,
    needed,
    shown,
)
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.tables.worth_pooling import Pool, Pooling
from scarfdate.threads import one_thread
from scarfdate.worth.book import Book
from scarfdate.worth.coefficients import ASKED, BASE, Coefficients
from scarfdate.worth.design import (
    DAYS,
    PRICE,
    RETURNS,
    Offers,
    days_design,
    price_design,
    returns_design,
    unknown_variance,
    without_reference,
)
from scarfdate.worth.laws import Bernoulli, StudentT, Weibull
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.pooled import FLAT, Design, Pooled, Prior
from scarfdate.worth.pooled_fit import Fit, fit
from scarfdate.worth.prices import Prices
from scarfdate.worth.reference import Reference, season_of

ROUTES = ("laplace", "hierarchical")
_SEED, _DRAWS = 7, 400
_SHORTEST = 0.5  # days that a piece sold on the day of its listing hung
_FITS = 3  # each with the variance of what is not known by the effects of the last
_LEAST_SHARE, _MOMENTS = 0.1, 20  # of the variance of what is asked above, and rounds
_QUANTILES = 101  # of the conditions in the book that are kept


@dataclass(frozen=True, eq=False, kw_only=True)
class Sales:
    """n pieces with what became of them, as arrays: what a book is read into, and a simulation makes.

    ``offers``: pieces with channel, season and year of the sale (of the listing where unsold); ``price``,
    ``asked`` (n,), NaN where not stated or not sold; ``days`` (n,), NaN where not known, until the sale or so far;
    ``sold`` (n,); ``returned`` (n,), 1, 0 or NaN; ``price_index`` (n,), NaN; ``listed_season`` (n,).
    """

    offers: Offers
    price: Array
    asked: Array
    days: Array
    sold: NDArray[np.bool_]
    returned: Array
    price_index: Array
    listed_season: tuple[str, ...]
    currency: str = ""

    def __len__(self) -> int:
        return len(self.price)

    def take(self, places: NDArray[np.intp]) -> Sales:
        """Those at some places, (k,)."""
        arrays = ("price", "asked", "days", "sold", "returned", "price_index")
        return replace(
            self,
            offers=self.offers.take(places),
            listed_season=tuple(self.listed_season[place] for place in places.tolist()),
            **{name: getattr(self, name)[places] for name in arrays},
        )


def learn_prices(
    records: Book,
    priors: Priors | None = None,
    *,
    route: str = "laplace",
    pooling: bool = True,
    tails: float | None = None,
    channel_of_finding: str = FOUND_IN,
    as_of: int | None = None,
    draws: int = _DRAWS,
    invented: bool = False,
    rng: np.random.Generator | None = None,
) -> Prices:
    """Learn prices, days to sell and returns from one's own book, as from `read_book`.

    The log price of a sale is a sum of effects (size, condition, fibre, hem, form, maker, channel of sale, season,
    decade, grade, year of sale) with Student-t residuals. What the decade and grade are is not known, nor for
    certain what it is made of: the expected effects stand, by the chances of its dating, which the price never
    changes, and what they may differ by adds to the variance (`scarfdate.worth.design` says why). Effects of a
    group are pooled: those of which little was sold are drawn towards their average. How much, the book says
    (``worth/pooling.csv`` in the priors has what is thought before). Where the book states a price index with
    every sale, it stands in the place of the year. Days to sell follow a Weibull law that unsold pieces take part in as censored, with what was asked
    above the expected price; returns are counted by channel.

    Prices are of pieces that sold. Where what hangs is what was asked too much for, the prices learned are
    right for the offers that buyers made; where pieces hang because nobody wants their kind, they are too high
    for that kind, and its days to sell say so.

    ``route``: "laplace" (the mode with its curvature: seconds) or "hierarchical" (NUTS: minutes; days and returns
    stay those of the quick route). ``pooling=False``: no pooling and flat priors, for comparison. ``tails``: None:
    degrees of freedom of the residual are learned; or a number above 2, infinity for normal ones.
    ``channel_of_finding``: where the pieces turned up, for their dating, with ``as_of``. ``draws``: how many are
    kept, 10 to 10,000. ``invented``: whether the book is invented, which every screen then says. ``rng``: a
    fixed seed unless given.

    Raises RangeError where the book has fewer sales with a price than ``least_sales`` of ``worth/pooling.csv``,
    WordError for a route that is not known, ScarfdateError where nothing can be learned, and where the priors
    have no ``worth/pooling.csv``.
    """
    if not is_one_of(route, ROUTES):
        raise WordError(f"route: {shown(route)} is not known; {did_you_mean(route, ROUTES)}")
    if isinstance(draws, bool) or not isinstance(draws, int) or not 10 <= draws <= 10_000:
        raise RangeError(f"draws: a whole number from 10 to 10000 is allowed, got {shown(draws)}")
    if tails is not None and (not isinstance(tails, Real) or not tails > 2):
        raise RangeError(f"tails: degrees of freedom above 2 are allowed, got {shown(tails)}")
    needed("scipy", "learn", "learn_prices")
    known = checked_priors(priors)
    if not isinstance(records, Book):
        raise ScarfdateError(
            f"records: a book as read_book gives it is allowed, got {shown(records)}"
        )
    sales = sales_of(records, known, channel_of_finding, as_of)
    return prices_of(
        sales, pooling_of(known), route=route, pooled=pooling, tails=tails, draws=draws,
        invented=invented, rng=rng,
    )  # fmt: skip


def pooling_of(priors: Priors) -> Pooling:
    """``worth/pooling.csv`` of some priors; RangeError where they have none."""
    if priors.pooling is None:
        raise RangeError("priors: worth/pooling.csv is missing, by which prices are learned")
    return priors.pooling


def sales_of(book: Book, priors: Priors, channel: str, as_of: int | None) -> Sales:
    """A book as arrays, its pieces dated."""
    frame = book.sales
    pieces = Pieces.of(book.clues, book.conditions, priors, channel=channel, as_of=as_of)
    sold = frame["sold"].to_numpy(bool)
    on = frame["sold_on"].where(frame["sold"], frame["listed_on"])
    on = on.fillna(frame["listed_on"])
    year = tuple("" if day != day else str(day.year) for day in on)
    return Sales(
        offers=Offers(
            pieces=pieces,
            channel=tuple(frame["channel"].astype(str)),
            season=_seasons(on),
            year=year,
        ),
        price=np.where(sold, frame["price"].to_numpy(float), np.nan),
        asked=frame["asked"].to_numpy(float),
        days=frame["days"].to_numpy(float),
        sold=sold,
        returned=np.asarray(frame["returned"], np.float64),
        price_index=frame["price_index"].to_numpy(float),
        listed_season=_seasons(frame["listed_on"].fillna(on)),
        currency=book.currency,
    )


def _seasons(days: Any) -> tuple[str, ...]:
    return tuple("" if day != day else season_of(int(day.month)) for day in days)


@one_thread()
def prices_of(
    sales: Sales,
    pooling: Pooling,
    *,
    route: str = "laplace",
    pooled: bool = True,
    tails: float | None = None,
    draws: int = _DRAWS,
    invented: bool = False,
    rng: np.random.Generator | None = None,
) -> Prices:
    """`learn_prices` of arrays."""
    rng = np.random.default_rng(_SEED) if rng is None else rng
    priced = np.flatnonzero(sales.sold & (sales.price > 0))
    least = int(pooling["book"]["least_sales"].centre)
    if len(priced) < least:
        raise RangeError(
            f"no prices are learned from {len(priced)} sales with a price: at least {least} are needed"
        )
    reference = reference_of(sales, priced, pooling)
    found = price_fit(sales.take(priced), pooling, reference, pooled=pooled, tails=tails)
    model = found.model
    notes = []
    if route == "laplace":
        price, container = found.draws(draws, rng), None
    else:
        from scarfdate.worth.price_nuts import nuts

        price, container = nuts(found, draws, rng)
    days = _days(sales, pooling, reference, found, draws, rng)
    returns = _returns(sales, pooling, draws, rng)
    if days is None:
        notes.append("days to sell are not learned: too few pieces whose days are known")
    if returns is None:
        notes.append("returns are not learned: too few sales of which they are known")
    law = model.law
    assert isinstance(law, StudentT)
    like = price.shape["sigma"] ** 2 / (1 - 2 / price.shape["nu"])  # of normal tails, too
    each = ((price.draws @ model.design.rows.T).var(axis=0), law.variance, like)
    parts = tuple(float(np.mean(part[np.isfinite(part)])) for part in each)
    reference = replace(reference, uncertainty=parts)
    return Prices(
        price=price.rounded(),
        days=None if days is None else days.rounded(),
        returns=None if returns is None else returns.rounded(),
        reference=reference,
        counts=np.asarray(np.float32(model.design.counts), np.float64),
        invented=invented,
        notes=tuple(notes),
        _container=container,
        _model=model,
    )


def reference_of(sales: Sales, priced: NDArray[np.intp], pooling: Pooling) -> Reference:
    """What the sales say as a whole."""
    pieces, offers = sales.offers.pieces, sales.offers
    kept = pieces.log_kept[np.isfinite(pieces.log_kept)]
    area = pieces.log_area[np.isfinite(pieces.log_area)]
    worn = (pieces.log_kept < 0) & (pieces.log_kept_sd >= 0)
    squares = [float((of[worn] ** 2).sum()) for of in (pieces.log_kept_sd, pieces.log_kept)]
    index = sales.price_index[priced]
    years = [offers.year[place] for place in priced.tolist() if offers.year[place]]
    last = max(years, default="")
    has_index = bool(np.isfinite(index).all())
    at = [i for i, place in enumerate(priced.tolist()) if offers.year[place] == last]
    return Reference(
        currency=sales.currency,
        n_sold=len(priced),
        n_unsold=int((~sales.sold).sum()),
        area=(float(area.mean()), float(area.std())) if len(area) else (0.0, 0.0),
        kept=tuple(np.quantile(kept, np.linspace(0, 1, _QUANTILES)).tolist())
        if len(kept)
        else (0.0,),
        loss_spread=float(np.sqrt(np.log1p(squares[0] / squares[1]))) if worn.any() else 0.0,
        channels=_shares(offers.channel, priced),
        seasons=_shares(offers.season, priced),
        year="" if has_index else last,
        log_index=float(np.log(index[at]).mean()) if has_index else None,
        largest_residual=pooling["book"]["largest_residual"].centre,
        paid_of_asked=_paid_of_asked(sales.take(priced)),
    )


def _paid_of_asked(sales: Sales) -> float:
    """A quotient of sums, which a slip of the pen in one small price does not move."""
    both = sales.asked > 0
    return float(sales.price[both].sum() / sales.asked[both].sum()) if both.any() else 1.0


def _shares(levels: tuple[str, ...] | Any, places: NDArray[np.intp]) -> Mapping[str, float]:
    counts = Counter(levels[place] for place in places.tolist() if levels[place])
    total = sum(counts.values())
    return {level: counts[level] / total for level in sorted(counts)}


def price_fit(
    sales: Sales, pooling: Pooling, reference: Reference, *, pooled: bool, tails: float | None
) -> Fit:
    """The log prices of sales, all sold, fitted.

    What is not known of a piece adds a variance of its own that depends on the effects, and is worked out at those
    of the fit before.
    """
    offers, y = sales.offers, np.log(sales.price)
    if reference.log_index is not None:
        offers, y = replace(offers, year=("",) * len(offers)), y - np.log(sales.price_index)
    design = price_design(offers, offers.layout(PRICE), reference)
    if not pooled:
        design = without_reference(design)
    law = StudentT(y, np.zeros(len(y)), tails)
    model, (z, parameters) = _model(design, law, pooling["price"], float(y.mean()), pooled=pooled)
    scales = None
    for _ in range(_FITS):
        effects = model.coefficients(z)
        variance = unknown_variance(design.layout, offers, reference, effects)
        model = Pooled(design, replace(law, variance=variance), model.prior)
        found = fit(model, z, parameters, scales)
        z, parameters, scales = found.z, found.parameters, found.log_scale
    return found


def _model(
    design: Design, law: Any, pools: Mapping[str, Pool], base: float, *, pooled: bool = True
) -> tuple[Pooled, tuple[Array, Array]]:
    """A model with its start: all effects at the centre of their prior, and ``base`` for the base."""
    stated = {BASE: FLAT, **pools}
    if not pooled:
        stated = dict.fromkeys((*design.layout.groups, *law.names), FLAT)
    prior = Prior.of(design.layout, stated, law)
    z = np.zeros(len(design.layout))
    place = design.layout.place[BASE, ""]
    z[place] = (base - prior.mean[place]) / prior.sd[place]
    start = [pools[name].centre for name in law.names]
    return Pooled(design, law, prior), (z, np.array(start, np.float64))


def _days(
    sales: Sales,
    pooling: Pooling,
    reference: Reference,
    price: Fit,
    draws: int,
    rng: np.random.Generator,
) -> Coefficients | None:
    """Days to sell, unsold pieces as censored; None where too few are known."""
    at = np.flatnonzero(sales.days >= 0)
    some = sales.take(at)
    if some.sold.sum() < pooling["book"]["least_days"].centre:
        return None
    design = price_design(some.offers, price.model.design.layout, reference)
    fair = design.rows @ price.mode
    asked = np.log(np.where(some.asked > 0, some.asked, np.nan))
    if reference.log_index is not None:
        index = np.where(
            np.isfinite(some.price_index), np.log(some.price_index), reference.log_index
        )
        asked = asked - index
    unknown = unknown_variance(design.layout, some.offers, reference, price.mode)
    offers = replace(some.offers, season=some.listed_season)
    above, doubt = asked_above(asked - fair, unknown)
    design = days_design(offers, offers.layout(DAYS), above)
    log_days = np.log(np.maximum(some.days, _SHORTEST))
    law = Weibull(log_days, some.sold)
    model, start = _model(design, law, pooling["days"], float(log_days.mean()) + 1)
    found = fit(model, *start).draws(draws, rng)
    slope = found.layout.places(ASKED)
    doubt = min(doubt, pooling["days"][ASKED].spread)
    found.draws[:, slope] *= np.exp(doubt * rng.standard_normal((draws, 1)))
    return found


def asked_above(above: Array, unknown: Array) -> tuple[Array, float]:
    """Log price asked less the log price that the piece is truly worth, expected, (n,); and how uncertain a slope on
    it is for it, as a standard deviation of its logarithm.

    ``above`` (n,): log price asked less the log price that is expected by what was noted, NaN where nothing was
    asked; ``unknown`` (n,): the variance of the latter. A dealer asks by what the piece is, noted or not. Where
    that is unknown, part of the difference is not an asking above its worth, and days would seem to depend on it
    too little (Carroll, Ruppert, Stefanski and Crainiceanu 2006, "Measurement error in nonlinear models", chapter
    4, regression calibration; from memory). The mean and the variance of what is asked above are those of the book.
    """
    there = np.isfinite(above)
    if not there.any():
        return np.zeros(len(above)), 0.0
    seen, noise = above[there], unknown[there]
    variance = max(float(seen.var() - noise.mean()), _LEAST_SHARE * float(seen.var()))
    for _ in range(_MOMENTS):
        weight = 1 / (variance + noise)
        mean = float(weight @ seen / weight.sum())
        excess = float(weight**2 @ ((seen - mean) ** 2 - noise) / (weight**2).sum())
        variance = max(excess, _LEAST_SHARE * float(seen.var()))
    found = np.full(len(above), mean)
    share = variance / (variance + noise)
    found[there] = mean + (seen - mean) * share
    # the variance is that of a sample: so much is its logarithm uncertain, and the shares with it
    doubt = np.sqrt(2 / len(seen)) * float(((1 - share) / share).mean())
    return found, doubt


def _returns(
    sales: Sales, pooling: Pooling, draws: int, rng: np.random.Generator
) -> Coefficients | None:
    """Returns by channel; None where too few are known."""
    some = sales.take(np.flatnonzero(sales.sold & np.isfinite(sales.returned)))
    if len(some) < pooling["book"]["least_returns"].centre:
        return None
    design = returns_design(some.offers, some.offers.layout(RETURNS))
    base = pooling["returns"][BASE].centre
    model, start = _model(design, Bernoulli(some.returned), pooling["returns"], base)
    return fit(model, *start).draws(draws, rng)
