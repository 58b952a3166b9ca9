"""A lot, such as a box at one price: what the pieces bring together, what to bid, and which of them carry it.

Pieces of a lot are not separate bets: the same prices are held true for all of them, the same channel and the
same season. Draw ``s`` of every piece shares those, so the total of draw ``s`` has them once, and is less sure
than as many separate pieces would be.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, fields
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import CHANNEL, Array
from scarfdate.errors import RangeError
from scarfdate.frozen import frozen
from scarfdate.reading.frames import as_pandas
from scarfdate.show.sentence import percent
from scarfdate.tables.priors import Priors
from scarfdate.worth.amounts import amount, between, read_amount
from scarfdate.worth.appraisal import as_a_gift, may_pay
from scarfdate.worth.offered import all_not_read, offered, pieces_of_rows
from scarfdate.worth.pieces import Pieces
from scarfdate.worth.profit import sales
from scarfdate.worth.spread import Spread, highest_price
from scarfdate.worth.terms import RISK, GivenCosts, GivenPrices, Terms

if TYPE_CHECKING:
    import pandas as pd

_HALF = 0.5  # of what a lot brings
_NAMED = 6  # pieces that are named in a line


@dataclass(frozen=True, eq=False, kw_only=True)
class LotAppraisal:
    """What a lot of n pieces may bring; money in ``currency``, a label.

    ``ids`` (n,): what each piece is called; ``prices`` (n, S): drawn prices at which each sells; ``gains`` (n, S):
    what owning it is worth today, after all costs of selling; ``price``: what is asked for the lot, or None;
    ``risk``: the accepted chance of a loss; ``notes``: what should be known of the answer; ``not_read``: by row,
    from 0, what was not understood.
    """

    ids: tuple[str, ...]
    prices: Array
    gains: Array
    price: float | None
    risk: float
    currency: str
    notes: tuple[str, ...]
    not_read: Mapping[int, list[str]]

    def __getstate__(self) -> dict[str, object]:
        """The fields alone: what was worked out from them is worked out again."""
        return {one.name: getattr(self, one.name) for one in fields(self)}

    @cached_property
    def worth_selling(self) -> NDArray[np.bool_]:
        """Which pieces can be expected to bring more than they cost to sell, (n,); the others are put aside."""
        return np.asarray(self.gains.mean(axis=1) > 0)

    @cached_property
    def gain(self) -> Spread:
        """What all pieces that are worth selling bring together."""
        return Spread(self.gains[self.worth_selling].sum(axis=0))

    @cached_property
    def limit(self) -> float:
        """The most to bid: the highest price at which a loss is no likelier than ``risk``, never more than can be
        expected; 0 where no price is low enough."""
        return highest_price(self.gain.draws[None, :], self.risk).item()

    def profit(self, price: object = None) -> Spread:
        """The profit at a price of the whole lot, that which is asked unless given. Raises RangeError where there is
        no price, or one that is none."""
        paid = read_amount("price", price, self.currency)
        paid = self.price if paid is None else paid
        if paid is None:
            raise RangeError("price: no price was given; say what is asked for the lot")
        return self.gain.less(paid)

    @property
    def carried_by(self) -> tuple[str, ...]:
        """The fewest pieces that are expected to bring half of all, the best first."""
        if not self.worth_selling.any():
            return ()
        expected = np.where(self.worth_selling, self.gains.mean(axis=1), 0.0)
        order = np.argsort(-expected, kind="stable")
        enough = int(np.searchsorted(np.cumsum(expected[order]), _HALF * expected.sum())) + 1
        return tuple(self.ids[place] for place in order[:enough].tolist())

    def to_frame(self) -> pd.DataFrame:
        """One row a piece, what brings most first: ``id``, ``price`` (middle, and the 10 to 90 % range), ``brings``
        (expected, after costs), ``share`` of the lot (0 to 1), ``worth_selling``."""
        import pandas as pd

        brings = self.gains.mean(axis=1)
        kept = np.where(self.worth_selling, brings, 0.0)
        low, middle, high = np.quantile(self.prices, [0.1, 0.5, 0.9], axis=1)
        frame = pd.DataFrame(
            {
                "id": list(self.ids), "price": middle, "price_low": low, "price_high": high,
                "brings": brings, "share": kept / max(kept.sum(), 1e-12),
                "worth_selling": self.worth_selling,
            }
        )  # fmt: skip
        return frame.sort_values("brings", ascending=False, kind="stable", ignore_index=True)

    @property
    def sentence(self) -> str:
        """What to do, and why."""
        n, most = _pieces(len(self.ids)), amount(self.limit, self.currency, down=True)
        if self.limit == 0 and self.price is None:
            return f"Bid nothing for these {n}: {as_a_gift(self.gain, self.risk)}."
        if self.price is None:
            return f"Bid up to {most} for these {n}: you then lose money with a chance of {percent(self.risk)} or less."
        at, profit = amount(self.price, self.currency), self.profit()
        does = "earn" if profit.expected >= 0 else "lose"
        expects = (
            f"you can expect to {does} {amount(abs(profit.expected), self.currency)} with these {n}, and you lose "
            f"money with a chance of {percent(profit.loss_probability)}"
        )
        if may_pay(self.price, self.gain, self.risk):
            return f"Buy the lot at {at}: {expects}. You could go up to {most}."
        offer = f"Bid up to {most}." if self.limit > 0 else ""
        return f"Leave the lot at {at}: {expects}. {offer}".rstrip()

    def _lines(self) -> list[str]:
        low, high = self.gain.interval()
        found = [
            f"After all costs of selling they bring about {amount(self.gain.median, self.currency)} together; 8 times "
            f"in 10 between {between(low, high, self.currency)}."
        ]
        best = self.carried_by
        aside = sorted(i for i, kept in zip(self.ids, self.worth_selling, strict=True) if not kept)
        if best:
            found.append(f"Half of that comes from {_pieces(len(best))}: {_listed(best)}.")
        if aside:
            found.append(f"Not worth the cost of selling one by one: {_listed(aside)}.")
        if self.not_read:
            found.append(
                f"In {_pieces(len(self.not_read))} something could not be read and was left out."
            )
        return [*found, *self.notes]

    def plot(self, ax: Any = None) -> Any:
        """The chance of a loss by the price paid for the lot, a line, with the most to bid; the axis."""
        from scarfdate.show import plot

        marks = [("the most to bid", self.limit)]
        if self.price is not None:
            marks.append(("asked", self.price))
        return plot.chance_of_loss(np.sort(self.gain.draws), marks, self.currency, ax)

    def __str__(self) -> str:
        return "\n".join([self.sentence, *self._lines()])

    __repr__ = __str__

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        frame = self.to_frame()
        longest = max(float(frame["share"].max()), 1e-12)
        rows = [
            (name, amount(price, self.currency), page.bar(share, longest), f"brings {amount(brings, self.currency)}")
            for name, price, share, brings in zip(
                *(frame[column].tolist() for column in ("id", "price", "share", "brings")), strict=True
            )
        ]  # fmt: skip
        table = page.table(
            rows, caption="What each sells for, and what is left after costs", numbers=(1,)
        )
        return page.view(self.sentence, page.lines(self._lines()), table)


def appraise_lot(
    frame: Any,
    price: object = None,
    costs: GivenCosts = None,
    prices: GivenPrices = None,
    *,
    risk: float = RISK,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    sale_channel: str | None = None,
    season: str | int | None = None,
    as_of: int | None = None,
    unit: str | None = None,
) -> LotAppraisal:
    """What a lot may bring, what to bid for it at most, and which pieces carry it.

    ``frame``: its pieces, as `date_table` takes them, with their ``condition`` where it was looked at; ``price``:
    what is asked for all together, None if nothing is; ``unit``: of sizes that state none; a row whose
    ``quantity`` is 10 is ten pieces; all else as in `appraise`.

    Raises RangeError for a lot without pieces, and ScarfdateError as `appraise` does.
    """
    terms = Terms.of(
        costs, prices, priors=priors, channel=channel, as_of=as_of, sale_channel=sale_channel,
        season=season, risk=risk,
    )  # fmt: skip
    table = as_pandas(frame)
    counts, told = pieces_of_rows(table, terms.priors)
    origin = np.repeat(np.arange(len(table)), counts)
    table = table.iloc[origin]
    sheet = offered(table, terms.priors, terms.currency)
    pieces = Pieces.of(
        table, sheet.conditions, terms.priors, channel=terms.channel, as_of=terms.as_of, unit=unit
    )
    sold = sales(terms.samples(pieces, alone=False), terms.costs)
    not_read = all_not_read(sheet, pieces)
    first = np.flatnonzero(np.diff(origin, prepend=-1))  # of the copies of a row
    for row, text in told.items():
        not_read.setdefault(int(first[row]), []).append(text)
    several = int((counts > 1).sum())
    counted = (
        f"{'1 row is' if several == 1 else f'{several} rows are'} more than one piece, by quantity: "
        f"{len(table)} pieces in all."
    )
    return LotAppraisal(
        ids=called(sheet.ids, table),
        prices=sold.price,
        gains=sold.gain,
        price=read_amount("price", price, terms.currency),
        risk=terms.risk,
        currency=terms.currency,
        notes=(*([counted] if several else []), *terms.notes),
        not_read=frozen({row: not_read[row] for row in first.tolist() if row in not_read}),
    )


def called(ids: Sequence[str], frame: pd.DataFrame) -> tuple[str, ...]:
    """What each piece is called: its id, or the label of its row."""
    return tuple(one or str(label) for one, label in zip(ids, frame.index, strict=True))


def _pieces(n: int) -> str:
    return "1 piece" if n == 1 else f"{n} pieces"


def _listed(names: Sequence[str]) -> str:
    if len(names) <= _NAMED + 1:  # one more is named, too: it takes no more room than saying so
        return ", ".join(names)
    return f"{', '.join(names[:_NAMED])} and {len(names) - _NAMED} more"
