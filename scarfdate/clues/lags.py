"""How long after the year that it bears a piece was made: in its first printing, or printed again.

A printed year is that of the design. Most pieces are of the year itself or follow soon (``lags.csv``); some
are the same design printed again, at any time after, each lag with a chance of its own (``reissue.csv``):

    P(lag) = (1 - R) L(lag) + r(lag),    R = the sum of r over all lags

In the first cell of the grid, which stands for every year up to it, it is the mean over these years
(`scarfdate.clues.first_cell`): a piece of that cell was made in one of them, not in all.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.first_cell import FirstCell
from scarfdate.conventions import Array
from scarfdate.tables.knots import ANY
from scarfdate.tables.priors import Priors

_PER_CENT = 100


@dataclass(frozen=True)
class Lags:
    """``every`` (lags,), and P(lag, first printing) and P(lag, printed again), each (lags,), together one."""

    every: NDArray[np.int64]
    first: Array
    again: Array
    cell: FirstCell

    @property
    def earliest(self) -> int:
        """The first lag that can be: below zero where an event is announced."""
        return int(self.every[np.flatnonzero(self.first)[0]])

    def by_year(self, years: NDArray[np.int64], shown: int) -> tuple[Array, Array]:
        """P(the year shown, first printing | year made) and P(it, printed again | year made), each (years,)."""
        lag = years - shown
        before = np.arange(lag[0], self.every[0] - 1, -1)  # lags of the years of the first cell
        rows = []
        for share in (self.first, self.again):
            row = np.where(lag < self.every[0], 0.0, self._at(share, lag))
            row[0] = self._at(share, before) @ self.cell.weights(len(before))
            rows.append(row)
        return rows[0], rows[1]

    def _at(self, share: Array, lag: NDArray[np.int64]) -> Array:
        """Shares of some lags; of older things than the table reaches there are as few as at its last lag."""
        return np.asarray(share[np.clip(lag - self.every[0], 0, len(share) - 1)])


def unsaid_lags(priors: Priors, family: str, announced: str) -> Lags:
    """The lags where nobody says whether the event could be announced: of either kind by how common it is."""
    known, seen = lags_of(priors, family, announced), lags_of(priors, family, family)
    share = priors.allowances[announced]
    return replace(
        known,
        first=share * known.first + (1 - share) * seen.first,
        again=share * known.again + (1 - share) * seen.again,
    )


def lags_of(priors: Priors, family: str, column: str) -> Lags:
    """The lags of a family by a column of ``lags.csv``, and its reissues where it has any."""
    knots, numbers = priors.lags.series[ANY]
    given = numbers[:, priors.lags.columns.index(column)] > 0
    last = float(knots[-1])
    if family in priors.reissues.series:
        last = max(last, float(priors.reissues.series[family][0][-1]))
    every = np.arange(knots[0], last + 1)
    first = np.where(every < knots[given].min(), 0.0, priors.lags.values_of(column, every))
    again = np.zeros(len(every))
    if family in priors.reissues.series:
        chance = priors.reissues.values_of("chance", every, family) / _PER_CENT
        again = np.where(every > 0, chance, 0.0)
    first *= (1 - again.sum()) / first.sum()
    return Lags(every.astype(np.int64), first, again, FirstCell.of(priors))
