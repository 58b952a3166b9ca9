"""A maker in the dealer's own file: the years in which that form of signature was made."""

from __future__ import annotations

from collections.abc import Hashable
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import Clue, Slip
from scarfdate.conventions import GRADES
from scarfdate.knots import Array
from scarfdate.tables.priors import Priors

Key = tuple[str, str]  # the maker's name as compared, the form of signature or ""


class MakerClue(Clue):
    """P(this maker | year): the maker's output year by year, and a slip for a wrong name."""

    def __init__(self, priors: Priors, name: str, years: NDArray[np.int64]) -> None:
        family = priors.families[name]
        super().__init__(name, family.title, family.reads, (name,), (1, len(GRADES), len(years)))
        self.makers, self.slip, self.years = priors.makers, priors.slips[name], years

    def likelihood(self, key: Hashable) -> Array:
        """Output in each year as a share of all output, the same for every grade."""
        maker, form = cast(Key, key)
        output = np.sum(
            [window.output(self.years) for window in self.makers.of(maker, form)], axis=0
        )
        spread = (1 - self.slip) * output / output.sum() + self.slip / len(self.years)
        return np.broadcast_to(spread, self.shape)

    def slips(self, key: Hashable) -> tuple[Slip, ...]:
        """A wrong name: any year of the grid."""
        return (Slip(self.name, self.says(key), self.slip, 1 / len(self.years), 1.0, None),)

    def says(self, key: Hashable) -> str:
        """The maker as written in the file, with the form of signature where it mattered."""
        maker, form = cast(Key, key)
        return f"the maker's file on {self.makers.names[maker]}" + (
            f" ({form} signature)" if form else ""
        )
