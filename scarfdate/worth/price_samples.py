"""Samples of what pieces may fetch, how long they hang, and whether they come back: `Prices.samples`.

Sample ``s`` of every piece has the same draw of the tables, the same channel and the same season: that is what
pieces of a lot share. What is a piece's own (its true decade and grade, a fibre that nobody noted, the residual,
how long it hangs) is drawn from random numbers that belong to the piece by what was noted of it, so that
neither the order of rows nor the condition nor the asking price changes them: a worse condition lowers
each single sample, and a piece in another row has the same samples.
"""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import Array
from scarfdate.worth.pieces import Pieces

_DIGITS = 6  # of a probability, below which two pieces are the same


@dataclass(frozen=True, eq=False, kw_only=True)
class PriceSamples:
    """Samples of n pieces, S each; natural logarithms of money in ``currency``, days.

    ``log_price`` (n, S): of the price got; ``log_fair`` (n, S): expected log price given the same draw of tables,
    decade, grade and values, without the residual; ``cell`` (n, S): decade and grade, as in `Pieces.cells`;
    ``value``: by family (n, S) the place of the true value.

    Days to sell at the asking price A are ``exp(days_location + days_slope * (log A - log_fair)) * (-log
    days_uniform) ** (1 / days_shape)``: ``days_location`` (n, S), ``days_slope`` (S,) at least 0,
    ``days_shape`` (S,) above 0, ``days_uniform`` (n, S) between 0 and 1; all None where no days were learned.
    ``returned`` (n, S): the chance that a piece sold comes back; None where the book does not say. ``paid_of_asked``:
    the share of what is asked that is paid.
    """

    log_price: Array = field(repr=False)
    log_fair: Array = field(repr=False)
    cell: NDArray[np.intp] = field(repr=False)
    value: Mapping[str, NDArray[np.intp]] = field(repr=False)
    days_location: Array | None = field(repr=False)
    days_slope: Array | None = field(repr=False)
    days_shape: Array | None = field(repr=False)
    days_uniform: Array | None = field(repr=False)
    returned: Array | None = field(repr=False)
    currency: str
    invented: bool
    paid_of_asked: float = 1.0

    @property
    def has_days(self) -> bool:
        """Whether days to sell were learned."""
        return self.days_location is not None

    def days(self, log_asked: Array) -> Array:
        """Days to sell, (n, S), at the logarithm of asking prices, (n,) or (n, S) or one number.

        Raises ValueError where no days were learned.
        """
        if (
            self.days_location is None
            or self.days_slope is None
            or self.days_shape is None
            or self.days_uniform is None
        ):
            raise ValueError("no days to sell were learned")
        asked = np.asarray(log_asked, np.float64)
        asked = asked[:, None] if asked.ndim == 1 else asked
        location = self.days_location + self.days_slope * (asked - self.log_fair)
        wait = (-np.log(self.days_uniform)) ** (1 / self.days_shape)
        return np.asarray(np.exp(location) * wait)


def own_generators(pieces: Pieces, seed: int, *, alone: bool = False) -> list[np.random.Generator]:
    """A generator of random numbers for each piece, by what was noted of it and not by its row.

    Pieces of which the same was noted have different ones: the first, the second, ... by their condition. ``alone``:
    they have the same, each as if it were the only one.
    """
    known = [
        (pieces.cells[:, :, None] * value.chances).sum(axis=1) for value in pieces.values.values()
    ]
    numbers = np.column_stack([pieces.cells, *known, pieces.log_area]).round(_DIGITS)
    contents = [
        row.tobytes() + maker.encode()
        for row, maker in zip(numbers + 0.0, pieces.maker, strict=True)
    ]
    order = np.lexsort([np.array(pieces.ids), -np.nan_to_num(pieces.log_kept, nan=1.0)])
    many: dict[bytes, int] = {}
    found: list[np.random.Generator] = [np.random.default_rng(0)] * len(contents)
    for place in order.tolist():
        content = contents[place]
        many[content] = 1 if alone else many.get(content, 0) + 1
        digest = hashlib.blake2b(content, digest_size=8).digest()
        found[place] = np.random.default_rng([seed, many[content], *digest])
    return found


def strata(rng: np.random.Generator, rows: int, n: int) -> Array:
    """Uniform numbers (rows, n): each row has one number in each n-th of the unit interval, in any order."""
    places = rng.permuted(np.broadcast_to(np.arange(n), (rows, n)), axis=1)
    return np.asarray((places + rng.random((rows, n))) / n)
