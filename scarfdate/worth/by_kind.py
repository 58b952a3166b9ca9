"""What became of the pieces of each kind, with what is not known of it: numbers, days and margin."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.worth.book import Book
from scarfdate.worth.kinds import Kinds
from scarfdate.worth.margin import margin
from scarfdate.worth.waiting import HALF, waiting

_DRAWS = 60  # of what each shared piece is
_COUNTED = 0.5  # a kind to which less than half a piece belongs is left out
_FEWEST_SOLD = 3  # below it neither days nor a margin are told
_NOT_KNOWN = (math.nan, math.nan, math.nan)

Mask = NDArray[np.bool_]


class Traded:
    """Columns of a book as arrays (n,), and an order of its rows that does not hang on how they were written."""

    def __init__(self, book: Book) -> None:
        sales = book.sales
        self.days, self.price, self.paid = (
            sales[name].to_numpy(dtype=np.float64) for name in ("days", "price", "paid")
        )
        self.was_sold = sales["sold"].to_numpy(dtype=bool)
        self.returned = np.array([back is True for back in sales["returned"].tolist()], dtype=bool)
        self.kept = self.was_sold & ~self.returned

    def ranks(self, shares: Array) -> NDArray[np.intp]:
        """The place of each row among all, by what is used of it."""
        order = np.lexsort(
            [*shares.T, self.days, self.price, self.paid, self.was_sold, self.returned]
        )
        ranks = np.empty_like(order)
        ranks[order] = np.arange(len(order))
        return ranks

    def sold_by(self, members: Mask, sure: float) -> float:
        """Days until half of some pieces are sold, as of `Waiting.day`."""
        return waiting(self.days[members], self.was_sold[members]).day(HALF, sure)

    def margin_of(self, members: Mask, sure: float) -> float:
        """What is left of the takings of some pieces, as of `margin`."""
        of = members & self.kept & ~np.isnan(self.price + self.paid)
        return margin(self.price[of], self.paid[of], sure)


def rows_of(kinds: Kinds, pieces: Traded, level: float) -> Iterator[dict[str, object]]:
    """A row of the table for each kind of which there is half a piece at least."""
    drawn = _drawn(kinds, pieces)
    for place, name in enumerate(kinds.names):
        share = kinds.shares[:, place]
        if share.sum() < _COUNTED:
            continue
        members = drawn == place if ((share > 0) & (share < 1)).any() else (share == 1)[None]
        enough = share[pieces.was_sold].sum() >= _FEWEST_SOLD
        days = _three(pieces.sold_by, members, level) if enough else _NOT_KNOWN
        left = _three(pieces.margin_of, members, level) if enough else _NOT_KNOWN
        yield {
            "by": kinds.by, "kind": name, "bought": share.sum(), "sold": share[pieces.kept].sum(),
            "returned": share[pieces.returned].sum(), "unsold": share[~pieces.was_sold].sum(),
            "days": days[1], "days_from": days[0], "days_to": days[2],
            "margin": left[1], "margin_from": left[0], "margin_to": left[2],
        }  # fmt: skip


def _drawn(kinds: Kinds, pieces: Traded) -> NDArray[np.intp]:
    """(draws, n): of which kind each piece is in each draw, as often as its shares say; the same in every run.

    One draw is enough where no piece is shared out.
    """
    if (kinds.shares.max(axis=1) == 1).all():
        return np.array([kinds.shares.argmax(axis=1)])
    ranks = pieces.ranks(kinds.shares)
    chance = np.random.default_rng(0).random((_DRAWS, len(ranks)))[:, ranks]
    upto = np.cumsum(kinds.shares[:, :-1], axis=1)
    passed: NDArray[np.intp] = (chance[:, :, None] >= upto).sum(axis=2)
    return passed


def _three(
    estimate: Callable[[Mask, float], float], members: NDArray[np.bool_], level: float
) -> tuple[float, float, float]:
    """The lower end, the middle and the upper end of what some pieces give.

    ``members`` (draws, n). Of several draws each gives one quantile of its own distribution, all being equally
    often asked for; the ends are quantiles of these.
    """
    wanted = ((1 - level) / 2, HALF, (1 + level) / 2)
    if len(members) == 1:
        low, middle, high = (estimate(members[0], sure) for sure in wanted)
        return low, middle, high
    sure = np.random.default_rng(1).permutation((np.arange(len(members)) + HALF) / len(members))
    found = np.array([estimate(*one) for one in zip(members, sure.tolist(), strict=True)])
    found = found[~np.isnan(found)]
    if not found.size:
        return _NOT_KNOWN
    low, middle, high = np.quantile(found, wanted, method="inverted_cdf").tolist()
    return low, middle, high
