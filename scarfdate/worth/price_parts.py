"""What prices are made of: coefficients, and what the book says as a whole."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np

from scarfdate.conventions import Array
from scarfdate.worth.coefficients import Coefficients
from scarfdate.worth.pooled import Pooled
from scarfdate.worth.reference import Reference


@dataclass(frozen=True, eq=False, kw_only=True)
class PriceParts:
    """The parts of `scarfdate.Prices`.

    ``price``: coefficients of the log price; ``days``: of the log of days to sell, None where the book does not say;
    ``returns``: of the log odds of a return, None where it does not say; ``reference``: what they are compared
    with; ``counts``: how many sales each coefficient of ``price`` has, none where they were not learned;
    ``invented``: whether the book was invented, and the prices must be replaced by one's own; ``notes``.
    """

    price: Coefficients = field(repr=False)
    days: Coefficients | None = field(default=None, repr=False)
    returns: Coefficients | None = field(default=None, repr=False)
    reference: Reference = field(repr=False)
    counts: Array = field(default_factory=lambda: np.zeros(0), repr=False)
    invented: bool = False
    notes: tuple[str, ...] = ()
    _container: Any = field(default=None, repr=False)
    _model: Pooled | None = field(default=None, repr=False)

    @property
    def currency(self) -> str:
        """The one currency of the book, a label; "" where none was stated."""
        return self.reference.currency

    @property
    def n_sold(self) -> int:
        """Sales that the prices were learned from."""
        return self.reference.n_sold

    @property
    def n_unsold(self) -> int:
        """Unsold pieces that were counted in the days to sell."""
        return self.reference.n_unsold
