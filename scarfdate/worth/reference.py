"""What a book says of its sales as a whole: what the price of a piece is compared with."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from scarfdate.errors import WordError, is_one_of, shown

SEASONS = ("winter", "spring", "summer", "autumn")  # as people north of the equator have them
_MONTHS = 3


@dataclass(frozen=True, eq=False, kw_only=True)
class Reference:
    """What the book says of the pieces that a price is compared with.

    ``currency``, a label, "" where none is stated; ``n_sold``, ``n_unsold``; ``area`` mean and standard deviation of
    the log areas; ``kept``: log shares kept of the conditions in the book, in rising order, from which that of a
    piece that nobody looked at is drawn; ``loss_spread``: standard deviation of the log of a loss,
    whose mean is that of the table of faults;
    ``channels``, ``seasons``: their shares among sales; ``year``: the last one with sales, whose prices hold where
    nothing else is asked for; ``log_index``: the log of the price index of the last sale, None where the book has
    none; ``largest_residual``: of a log price, in its scale; what lies beyond is taken as that, for with
    Student-t tails in the logarithm a price has no mean. ``uncertainty``: the variance of a log price by effects
    that are not known well yet, by what is not known of a piece, and by what like pieces differ by; means over sales.
    ``paid_of_asked``: of what was asked for all pieces sold, the share that was paid; 1 where the book does not say.
    """

    currency: str = ""
    n_sold: int = 0
    n_unsold: int = 0
    area: tuple[float, float] = (0.0, 0.0)
    kept: tuple[float, ...] = (0.0,)
    loss_spread: float = 0.0
    channels: Mapping[str, float] = field(default_factory=dict)
    seasons: Mapping[str, float] = field(default_factory=dict)
    year: str = ""
    log_index: float | None = None
    largest_residual: float = np.inf
    uncertainty: tuple[float, ...] = ()
    paid_of_asked: float = 1.0


def season_of(season: str | int) -> str:
    """A season: its name, or the number of a month, 1 to 12. WordError for another."""
    if isinstance(season, int) and not isinstance(season, bool) and 1 <= season <= 12:
        return SEASONS[season % 12 // _MONTHS]
    if not is_one_of(season, SEASONS):
        raise WordError(
            f"season: {', '.join(SEASONS)} or a month, 1 to 12, is allowed, got {shown(season)}"
        )
    return str(season)
