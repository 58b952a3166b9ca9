"""The first cell of the year grid, which stands for every year up to it: how old what lies in it is.

Going back, every year holds the same part of what the year after it holds, so that the mean age in years before
the cell's last year is ``first_cell_age`` of ``allowances.csv``:

    P(made k years before | in the first cell) = (1 - q) q^k,    q = age / (1 + age)

What is said of the cell is then the mean over its years.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.tables.priors import Priors


@dataclass(frozen=True)
class FirstCell:
    """``ratio``: q above, 0 to below 1."""

    ratio: float

    @classmethod
    def of(cls, priors: Priors) -> FirstCell:
        """By the allowance of some priors."""
        age = priors.allowances["first_cell_age"]
        return cls(age / (1 + age))

    def weights(self, count: int) -> Array:
        """P(each of the last ``count`` years of the cell | in it), the last one first, (count,)."""
        return np.asarray((1 - self.ratio) * self.ratio ** np.arange(count))

    def since(self, first: int) -> float:
        """The share of the cell that was made in the year ``first`` or later, 0 to 1."""
        return float(1 - self.ratio ** max(FIRST_YEAR + 1 - first, 0))
