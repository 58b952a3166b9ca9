"""Simulated books with known effects: pieces drawn from the tables, dated by them, and sold in an invented market.

The effects on the log price are of what is true of a piece (its decade, grade, fibre, hem, form), which nobody who
learns from the book is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from scarfdate import Priors, simulate
from scarfdate.conventions import GRADES
from scarfdate.worth.coefficients import ALONE
from scarfdate.worth.design import Offers
from scarfdate.worth.learn_prices import Sales
from scarfdate.worth.pieces import VALUED, Pieces
from scarfdate.worth.reference import SEASONS

CHANNELS = ("fair", "post", "shop")
YEARS = ("2023", "2024", "2025")
MAKERS = ("", *(f"maker {letter}" for letter in "abcdef"))
AS_OF = 2026
FAULTY, LOSS, LOSS_SD = 0.4, 0.35, 0.3  # of pieces; mean log loss; log sd of it
Effects = Mapping[tuple[str, str], float]


@dataclass(frozen=True, eq=False)
class Population:
    """Pieces with what is true of them: `Pieces`, and by group the true level of each."""

    pieces: Pieces
    true: Mapping[str, tuple[str, ...]]
    log_kept: np.ndarray

    def __len__(self) -> int:
        return len(self.pieces)


class _Condition:
    def __init__(self, log_kept: float) -> None:
        self.log_kept, self.log_sd = log_kept, -LOSS_SD * log_kept


def population(priors: Priors, n: int, seed: int, *, looked_at: float = 0.6) -> Population:
    """Pieces drawn from the tables; of a tenth nobody looked at the condition."""
    rng = np.random.default_rng(seed)
    drawn = simulate(priors, n, rng, as_of=AS_OF, looked_at=looked_at)
    kept = np.where(rng.random(n) < FAULTY, -rng.exponential(LOSS, n), 0.0)
    looked = rng.random(n) < 0.9
    conditions = [
        _Condition(k) if yes else None
        for k, yes in zip(kept.tolist(), looked.tolist(), strict=True)
    ]
    frame = drawn.frame()
    maker = rng.choice(len(MAKERS), n, p=np.r_[0.7, np.full(6, 0.05)])
    true = {name: tuple(drawn.truth[f"true_{name}"]) for name in VALUED}
    true |= {
        "decade": tuple(str(year // 10 * 10) for year in drawn.truth["year"]),
        "grade": tuple(drawn.truth["grade"]),
        "maker": tuple(MAKERS[m] for m in maker.tolist()),
    }  # fmt: skip
    pieces = Pieces.of(frame, conditions, priors, as_of=AS_OF)
    named = Pieces(**{**vars(pieces), "maker": true["maker"]})
    return Population(named, true, kept * np.exp(LOSS_SD * rng.standard_normal(n)))


SPREADS = {
    "fibre": 0.3, "hem": 0.15, "form": 0.2, "maker": 0.35, "channel": 0.2, "season": 0.08, "decade": 0.25,
    "grade": 0.3, "year": 0.06,
}  # fmt: skip


def effects(pieces: Pieces, rng: np.random.Generator) -> Effects:
    """Effects drawn around nothing, by group with the standard deviations of `SPREADS`."""
    levels = {name: value.words for name, value in pieces.values.items()}
    levels |= {
        "maker": MAKERS,
        "channel": CHANNELS,
        "season": SEASONS,
        "year": YEARS,
        "grade": GRADES,
    }
    levels |= {"decade": tuple(map(str, pieces.decades.tolist()))}
    found = {
        (group, level): SPREADS[group] * rng.standard_normal()
        for group, some in levels.items()
        for level in some
    }
    return {("base", ""): 3.0, ("size", ""): 0.45, ("condition", ""): 1.1, **found}


def log_fair(
    of: Population, places: np.ndarray, known: Effects, sold: Mapping[str, np.ndarray], area: float
) -> np.ndarray:
    """Expected log prices by what is true; a piece that nobody measured is of the middle size."""
    total = np.full(len(places), known["base", ""])
    for group, levels in of.true.items():
        total += [known[group, levels[place]] for place in places.tolist()]
    for group, levels in sold.items():
        total += [known[group, level] for level in levels.tolist()]
    total += known["size", ""] * np.nan_to_num(of.pieces.log_area[places] - area)
    return total + known["condition", ""] * of.log_kept[places]


def sales(
    of: Population,
    n: int,
    known: Effects,
    rng: np.random.Generator,
    *,
    sigma: float = 0.3,
    nu: float = 6.0,
    returned: float = 0.05,
) -> Sales:
    """A book of ``n`` pieces: four in five sold, the others hanging still; days follow a Weibull law."""
    places = rng.choice(len(of), n, replace=False)
    sold = {
        name: rng.choice(np.array(levels), n)
        for name, levels in (("channel", CHANNELS), ("season", SEASONS), ("year", YEARS))
    }
    area = float(np.nanmean(of.pieces.log_area))
    fair = log_fair(of, places, known, sold, area)
    price = np.exp(fair + sigma * rng.standard_t(nu, n))
    asked = np.exp(fair + rng.normal(0.15, 0.25, n))
    days = np.exp(4.5 + 1.5 * (np.log(asked) - fair)) * rng.weibull(1.0, n)
    until = rng.uniform(100, 900, n)
    gone = days < until
    back = (rng.random(n) < returned).astype(float)
    return Sales(
        offers=Offers(
            pieces=of.pieces.take(places),
            channel=tuple(sold["channel"].tolist()),
            season=tuple(sold["season"].tolist()),
            year=tuple(sold["year"].tolist()),
        ),
        price=np.where(gone, price, np.nan),
        asked=asked,
        days=np.floor(np.minimum(days, until)),
        sold=gone,
        returned=np.where(gone, back, np.nan),
        price_index=np.full(n, np.nan),
        listed_season=tuple(sold["season"].tolist()),
        currency="EUR",
    )


def contrasts(known: Effects, group: str, levels: tuple[str, ...], share: np.ndarray) -> np.ndarray:
    """True effects of a group's levels, against their mean over the sales."""
    true = np.array([known[group, level] for level in levels])
    return true - share @ true / share.sum() if group not in ALONE else true
