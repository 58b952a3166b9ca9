"""What sells: how many pieces of each kind were sold, how long they hung, and what they brought in."""

from __future__ import annotations

from dataclasses import dataclass
from textwrap import fill
from typing import Any

import pandas as pd

from scarfdate.conventions import CHANNEL, LEVEL
from scarfdate.errors import ScarfdateError, did_you_mean, is_one_of, shown
from scarfdate.show import page
from scarfdate.tables.priors import Priors, checked_priors
from scarfdate.worth import shelf_words
from scarfdate.worth.book import Book
from scarfdate.worth.by_kind import Traded, rows_of
from scarfdate.worth.hung import hung_long
from scarfdate.worth.kinds import by_decade, by_fibre, by_maker, by_price
from scarfdate.years import checked_level

BY = ("decade", "fibre", "maker", "price")
_WIDTH = 78


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
        if not is_one_of(by, BY):
            raise ScarfdateError(
                f"by: {shown(by)} is no way to tell pieces apart; {did_you_mean(by, BY)}"
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
    apart come out more alike than they are. A piece that came back and was offered again is two rows of a book,
    and two pieces here. The order of the rows never matters.

    Raises ScarfdateError for what is no book, and as `date_table` does.
    """
    if not isinstance(book, Book):
        raise ScarfdateError(f"book: one of read_book is allowed, got {shown(type(book).__name__)}; "
                             "read a file or a frame with read_book first")  # fmt: skip
    known, level = checked_priors(priors), checked_level(level)
    pieces = Traded(book)
    kinds = [
        by_decade(book, known, channel, as_of),
        by_fibre(book, known),
        by_maker(book, known),
        by_price(book),
    ]
    rows = [row for one in kinds for row in rows_of(one, pieces, level)]
    hung = hung_long(book, pieces, kinds[1], kinds[3], level)
    return Shelf(table=pd.DataFrame(rows), hung=hung, summary=shelf_words.summary(book),
                 currency=book.currency, level=level, notes=_notes(book))  # fmt: skip


def _notes(book: Book) -> tuple[str, ...]:
    sales = book.sales
    undated = int(sales["days"].isna().sum())
    unpriced = int((sales["sold"] & (sales["price"].isna() | sales["paid"].isna())).sum())
    put_out = (
        ""
        if sales["listed_on"].notna().any()
        else '; wanted is a column listed_on ("Listed", "Put out")'
    )
    said = [
        (undated, f"not counted among the days: when it was put out or sold is not noted{put_out}"),
        (unpriced, "not counted in the margin: what was paid or got is not noted"),
    ]
    return tuple(f"{'1 piece is' if n == 1 else f'{n} pieces are'} {why}." for n, why in said if n)
