"""The analytic derivative of an answer with respect to every share of the tables.

At a knot t the share f of value v stands, as a logarithm, in the straight line between knots: with the
line's weights w(t, y), the shares of a year are p(v | y) in proportion to exp(sum of w(t, y) log f(v, t)),
so that

    d p(u | y) / d log f(v, t) = w(t, y) p(v | y) (1[u = v] - p(u | y))

A clue's likelihood is a sum over its values, and the posterior is linear in it but for the total: the
derivative of the likelihood goes through the same exact sum as the likelihood itself.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.scarf import Scarf
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, GRADES, MARKETS, Array
from scarfdate.model.exact import joint_of
from scarfdate.model.subsets import seen_columns
from scarfdate.tables.knots import ANY, SharesTable
from scarfdate.tables.priors import Priors
from scarfdate.why.asked import Asked

if TYPE_CHECKING:
    import pandas

_NAMED = 3
_TENTH = 1.1  # what the words speak of: a share larger by a tenth of itself


@dataclass(frozen=True, kw_only=True)
class Slope:
    """One share of one table, and how the answer hangs on it.

    ``family``, ``knot``, ``grade``, ``market``, ``value``: where it stands ("any" as in the file).
    ``share``: as it is there, 0 to 1. ``odds``: the per cent by which the odds of the claim rise for each
    per cent (of itself) that the share rises. ``by_year``: d P(year) / d log share, (years,); it sums to 0.
    """

    family: str
    knot: int
    grade: str
    market: str
    value: str
    share: float
    odds: float
    by_year: Array = field(repr=False)


@dataclass(frozen=True, kw_only=True)
class Slopes:
    """All shares that the answer hangs on, those that the claim hangs on most first."""

    claim: str
    slopes: tuple[Slope, ...]

    def to_frame(self) -> pandas.DataFrame:
        """One row a share."""
        import pandas as pd

        names = ["family", "knot", "grade", "market", "value", "share", "odds"]
        return pd.DataFrame([[getattr(s, n) for n in names] for s in self.slopes], columns=names)

    def _repr_html_(self) -> str:
        from scarfdate.show import page

        return page.view(str(self))

    def __str__(self) -> str:
        if not self.slopes:
            return f"The claim: {self.claim}. No share of a table was asked."
        parts = [
            f"{s.family.replace('_', ' ')} {s.value}{_among(s.grade, s.market)} in {s.knot}, "
            f"{100 * s.share:.3g} % ({100 * (_TENTH**s.odds - 1):+.1f} %)"
            for s in self.slopes[:_NAMED]
        ]
        return (
            f"The claim: {self.claim}. It leans most on these shares: {'; '.join(parts)}. Between brackets: "
            "how far its odds move if the share is a tenth larger."
        )


def table_slopes(
    scarf: Scarf | Mapping[str, object],
    claim: object = None,
    *,
    priors: Priors | None = None,
    channel: str = CHANNEL,
    as_of: int | None = None,
) -> Slopes:
    """How the answer moves with each share at each knot of the clues that were looked at.

    ``claim``: as `explain` takes it; by default the answer's own shortest interval. Raises as `explain`.
    """
    asked = Asked.of(scarf, priors, channel, as_of)
    model, codes, rows, read = asked.model, asked.codes, asked.rows, asked.claim(claim)
    period, later = joint_of(model, rows)
    year, total = (period + later).sum(axis=0), (period + later).sum()
    says, denies = (
        float((period * marks[0] + later * marks[1]).sum()) for marks in (read.says, read.denies)
    )
    found = []
    parts = [
        (column, part)
        for column in seen_columns(model, codes)
        for part in model.clues[column].within(model.clues[column].rows.keys[codes[0, column]])
    ]
    for column, part in parts:
        scale = float(np.exp(model.clues[column].rows.log_scale[codes[0, column]]))
        clue = part.clue
        assert isinstance(clue, SharesClue)
        fits = clue.value_fits(part.key)
        table = model.priors.shares[clue.name]
        for place, grade, market, knot, change in _changes(clue, table, fits, model.years):
            d_period, d_later = joint_of(model, {**rows, column: part.row(change) / scale})
            moved = (d_period + d_later).sum(axis=0)
            slope = float(
                (d_period * read.says[0] + d_later * read.says[1]).sum() / says
                - (d_period * read.denies[0] + d_later * read.denies[1]).sum() / denies
            )
            knots, shares = table.series[grade, market]
            at = int(np.flatnonzero(knots == knot)[0])
            found.append(
                Slope(
                    family=clue.name,
                    knot=int(knot),
                    grade=grade,
                    market=market,
                    value=clue.values[place],
                    share=float(shares[at, place] / shares[at].sum()),
                    odds=slope,
                    by_year=(moved - year * moved.sum() / total) / total,
                )
            )
    found.sort(key=lambda one: -abs(one.odds))
    return Slopes(claim=read.text, slopes=tuple(found))


def _changes(
    clue: SharesClue, table: SharesTable, fits: Array, years: NDArray[np.int64]
) -> Iterator[tuple[int, str, str, float, Array]]:
    """Value, grade, market and knot of each share, and what its logarithm does to the likelihood."""
    likelihood = (fits * clue.shares).sum(axis=0)
    power = clue.trust * likelihood ** (clue.trust - 1)  # one where the clue is trusted
    for (grade, market), (knots, _) in table.series.items():
        where = _states(table, grade, market, clue.shape)
        if not where.any():
            continue
        for at, knot in enumerate(knots.tolist()):
            weight = np.interp(years, knots, np.eye(len(knots))[at])
            for place in range(len(clue.values)):
                change = power * weight * clue.shares[place] * (fits[place] - likelihood)
                yield place, grade, market, knot, np.where(where, change, 0.0)


def _states(
    table: SharesTable, grade: str, market: str, shape: tuple[int, ...]
) -> NDArray[np.bool_]:
    """Which (market, grade) read these rows of the table, (markets or 1, grades, 1)."""
    markets = MARKETS if table.by_market else ("any",)
    reads = [
        [table.key_of(one_grade, one_market) == (grade, market) for one_grade in GRADES]
        for one_market in markets
    ]
    return np.array(reads)[:, :, None] & np.ones(shape[2], dtype=bool)


def _among(grade: str, market: str) -> str:
    """Of which pieces a share holds, where not of all."""
    some = f" among {grade} pieces" if grade != ANY else ""
    return f"{some or ' among pieces'} first sold in {market}" if market != ANY else some
