"""A dated thing in the print: it bounds from below, and then a lag.

What is shown, or a year printed in the design, cannot be later than the piece (an announced event a
little). After that most pieces follow within a year or two, and a long tail at any time.
"""

from __future__ import annotations

from collections.abc import Hashable
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Clue, Slip
from scarfdate.conventions import GRADES
from scarfdate.knots import Array
from scarfdate.tables.priors import Priors

Key = tuple[int, str]  # the year, and the column of lags.csv that holds for it


class DatedClue(Clue):
    """P(the year shown | year made): the lag between them, and a slip for a misread year."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        super().__init__(name, family.title, family.reads, (name,), (1, len(GRADES), len(years)))
        self.lags, self.slip, self.years = priors.lags, priors.slips[name], years

    def likelihood(self, key: Hashable) -> Array:
        """The share of each lag, the same for every grade."""
        year, column = cast(Key, key)
        known = self.lags.series["any"][0]
        every = np.arange(known[0], known[-1] + 1)
        share = self.lags.values_of(column, every)
        share = share / share.sum()
        lag = self.years - year
        row = np.zeros(len(lag))
        inside = (lag >= every[0]) & (lag <= every[-1])
        row[inside] = share[(lag[inside] - every[0]).astype(int)]
        # pieces of older things than the table reaches: as rare as its last lag
        row[lag > every[-1]] = share[-1]
        # the first cell stands for every year up to it
        row[0] = share[every <= lag[0]].sum() if lag[0] >= every[0] else 0.0
        return np.broadcast_to((1 - self.slip) * row + self.slip / len(self.years), self.shape)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A misread year: any year of the grid."""
        return (Slip(self.name, self.says(key), self.slip, 1 / len(self.years), 1.0, None),)

    def says(self, key: Hashable) -> str:
        """The title and the year."""
        return f"{self.title} {cast(Key, key)[0]}"
