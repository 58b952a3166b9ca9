"""A dating over draws of the tables, beside that of their mean."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.show import page
from scarfdate.show.sentence import years as in_words


@dataclass(frozen=True, eq=False, kw_only=True)
class DatingOverDraws:
    """A dating over draws of the tables beside that of their mean: ``years``, ``probability`` (years,),
    the interval and the median of both, and by how many years the interval grew."""

    years: NDArray[np.int64]
    probability: Array
    median: int
    first: int
    last: int
    mean_median: int
    mean_first: int
    mean_last: int
    draws: int
    level: float

    @property
    def wider(self) -> int:
        """Years by which the interval is wider than that of the mean tables; below 0 it is narrower."""
        return (self.last - self.first) - (self.mean_last - self.mean_first)

    def _repr_html_(self) -> str:
        return page.view(str(self))

    def __str__(self) -> str:
        over = in_words(self.first, self.last, FIRST_YEAR)
        mean = in_words(self.mean_first, self.mean_last, FIRST_YEAR)
        word = "wider" if self.wider >= 0 else "narrower"
        return (
            f"Over {self.draws} draws of the tables: {over}, median {self.median}; by the mean tables "
            f"{mean}, median {self.mean_median}: {abs(self.wider)} year{'' if abs(self.wider) == 1 else 's'} {word}."
        )
