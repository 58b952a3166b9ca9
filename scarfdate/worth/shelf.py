"""What sells: how many pieces of each kind were sold, how long they hung, and what they brought in."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from textwrap import fill
from typing import Any

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from scarfdate.conventions import CHANNEL, LEVEL, Array
from scarfdate.errors import ScarfdateError, did_you_mean, shown
from scarfdate.show import page
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth import shelf_words
from scarfdate.worth.book import Book
from scarfdate.worth.kinds import NOT_NOTED, Kinds, by_decade, by_fibre, by_maker, by_price
from scarfdate.worth.margin import margin
from scarfdate.worth.waiting import HALF, Waiting, waiting
from scarfdate.years import checked_level

BY = ("decade", "fibre", "maker", "price")
_WIDTH = 78
_DRAWS = 60  # of what each shared piece is
_COUNTED = 0.5  # a kind to which less than half a piece belongs is left out
_STILL_LEFT = 0.1  # nine in ten of a kind are sold sooner
_FEWEST = 20  # pieces in a kind from which on one can be said to hang longer than nine in ten

_FEWEST_SOLD = 3  # below it neither days nor a margin are told
_HUNG = [
    "row",
    "id",
    "listed_on",
    "days",
    "asked",
    "kind",
    "pieces",
    "longer_than",
    "longer_from",
    "longer_to",
]

_NOT_KNOWN = (math.nan, math.nan, math.nan)

Mask = NDArray[np.bool_]


@dataclass(frozen=True, eq=False, kw_only=True)
class Shelf:
    """What became of the pieces of a book, told apart in four ways.

    ``table``: one row a kind: ``by`` (decade, fibre, maker, price), ``kind``; ``bought``, ``sold`` (and kept by the
    buyer), ``returned``, ``unsold``: numbers of pieces, no whole ones where pieces are shared out over several
    kinds; ``days`` until half are sold, unsold pieces counted, with the ends of their interval ``days_from`` and
    ``days_to``, infinite where half are not sold; ``margin``: what is left of each unit of money taken after what was
    paid for the pieces (1 is all of it, below 0 a loss), with ``margin_from`` and ``margin_to``; NaN where fewer than
    three were sold, or where it is not known.
    ``hung``: unsold pieces that have hung longer than nine in ten of their kind, longest first: ``row`` of the
    table that was read, ``id``, ``listed_on``, ``days``, ``asked``, ``kind``, ``pieces`` (how many the kind has),
    ``longer_than`` (the share of them) with ``longer_from`` and ``longer_to``. ``level``: what intervals hold.
    ``notes``: remarks.
    """

    table: pd.DataFrame
    hung: pd.DataFrame
    summary: str
    currency: str
    level: float
    notes: tuple[str, ...]

    def by(self, by: str) -> pd.DataFrame:
        """The rows of ``table`` of one way to tell pieces apart, of `BY`. Raises ScarfdateError for another."""
        if by not in BY:
            raise ScarfdateError(
                f"by: {shown(by)} is no way to tell pieces apart; {did_you_mean(str(by), BY)}"
            )
        return self.table[self.table["by"] == by].reset_index(drop=True)

    def plot(self, by: str = "decade", ax: Any = None) -> Any:
        """Days until half are sold, a line a kind with its interval, and beside it numbers and margin; returns
        the matplotlib axis."""
        from scarfdate.worth.shelf_plot import days_by_kind

        return days_by_kind(self.by(by), by, self.level, ax)

    def _repr_html_(self) -> str:
        parts = [
            page.table(shelf_words.rows(self.by(by), shelf_words.HEADS[by]), numbers=(1, 2, 3))
            for by in BY
        ]
        hung = "\n".join(shelf_words.hung(self.hung, self.currency))
        meant = shelf_words.meant(self.level)
        return page.view(self.summary, meant, *parts, hung, page.lines(self.notes))

    def __str__(self) -> str:
        tables = [
            shelf_words.columns(shelf_words.rows(self.by(by), shelf_words.HEADS[by])) for by in BY
        ]
        hung = "\n".join(shelf_words.hung(self.hung, self.currency))
        notes = "\n".join(f"- {note}" for note in self.notes)
        meant = fill(shelf_words.meant(self.level), _WIDTH)
        return "\n\n".join(filter(None, [self.summary, meant, *tables, hung, notes]))


def shelf(
    book: Book,
    priors: Priors | None = None,
    *,
    channel: str = CHANNEL,
    as_of: int | None = None,
    level: float = LEVEL,
) -> Shelf:
    """What was sold, how fast and at what margin, by decade, fibre, maker and price band.

    ``book``: as of `read_book`. ``priors``, ``channel`` (where the pieces turned up) and ``as_of`` are those of
    `date_table`, which shares each piece out over the decades in which it can have been made. ``level``: of the
    intervals, above 0 and below 1.

    Days are those of Kaplan and Meier, unsold pieces counted, with the bounds of Brookmeyer and Crowley
    (`scarfdate.worth.waiting`). The margin is a ratio of sums over pieces that were sold and kept and whose price
    and cost are stated, with the interval of Student's t for a ratio (Cochran 1977, 6.4). Where pieces are shared
    out, each is drawn sixty times to be of one kind, by its shares, and the intervals hold both: what the
    kind of each may be, and chance. What is drawn does not look at days or prices, so kinds that are hard to tell
    apart come out more alike than they are. A piece that came back and was offered again is two rows of a book, and two pieces here.
    The order of the rows never matters.

    Raises ScarfdateError for what is no book, and as `date_table` does.
    """
    if not isinstance(book, Book):
        raise ScarfdateError(f"book: one of read_book is allowed, got {shown(type(book).__name__)}; "
                             "read a file or a frame with read_book first")  # fmt: skip
    known, level = checked_priors(priors), checked_level(level)
    pieces = _Pieces(book)
    kinds = [
        by_decade(book, known, channel, as_of),
        by_fibre(book, known),
        by_maker(book, known),
        by_price(book),
    ]
    rows = [row for one in kinds for row in _rows(one, pieces, level)]
    hung = _hung(book, pieces, kinds[1], kinds[3], level)
    return Shelf(table=pd.DataFrame(rows), hung=hung, summary=shelf_words.summary(book),
                 currency=book.currency, level=level, notes=_notes(book))  # fmt: skip


class _Pieces:
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


def _rows(kinds: Kinds, pieces: _Pieces, level: float) -> Iterator[dict[str, object]]:
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


def _drawn(kinds: Kinds, pieces: _Pieces) -> NDArray[np.intp]:
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


def _hung(book: Book, pieces: _Pieces, fibres: Kinds, prices: Kinds, level: float) -> pd.DataFrame:
    """Unsold pieces that have hung longer than nine in ten of their kind.

    The kind is that of the same fibre and price band; where it has too few pieces the same fibre, the same band, or
    all pieces, whichever comes first.
    """
    timed = ~np.isnan(pieces.days)
    both = [
        f"{fibre}, asked {band}" for fibre, band in zip(fibres.largest, prices.largest, strict=True)
    ]
    banded = [f"asked {band}" for band in prices.largest]
    ways = [
        np.array(names, dtype=object)
        for names in (both, fibres.largest, banded, ["all pieces"] * len(book))
    ]
    counted = [Counter(names[timed].tolist()) for names in ways]
    curves: dict[str, Waiting] = {}
    found = []
    for place in np.flatnonzero(timed & ~pieces.was_sold).tolist():
        for names, count in zip(ways, counted, strict=True):
            kind = names[place]
            if count[kind] < _FEWEST or NOT_NOTED in kind:
                continue
            if kind not in curves:
                like = names == kind
                curves[kind] = waiting(pieces.days[like], pieces.was_sold[like])
            day, sale = pieces.days[place], book.sales.iloc[place]
            if (left := curves[kind].left(day)) <= _STILL_LEFT:
                low, high = curves[kind].left_between(day, level)
                found.append((int(book.source_row[place]), sale["id"], sale["listed_on"], day, sale["asked"],
                              kind, curves[kind].n, 1 - left, 1 - high, 1 - low))  # fmt: skip
            break
    frame = pd.DataFrame(found, columns=_HUNG)
    return frame.sort_values(
        ["days", "id", "row"], ascending=[False, True, True], ignore_index=True
    )


def _notes(book: Book) -> tuple[str, ...]:
    sales = book.sales
    undated = int(sales["days"].isna().sum())
    unpriced = int((sales["sold"] & (sales["price"].isna() | sales["paid"].isna())).sum())
    said = [
        (undated, "not counted among the days: when it was put out or sold is not noted"),
        (unpriced, "not counted in the margin: what was paid or got is not noted"),
    ]
    return tuple(f"{'1 piece is' if n == 1 else f'{n} pieces are'} {why}." for n, why in said if n)
