"""An amount of money that is not known: equally likely draws of it, and what is asked of them."""

from __future__ import annotations

import math
from dataclasses import dataclass
from numbers import Real

import numpy as np

from scarfdate.conventions import LEVEL, Array
from scarfdate.errors import RangeError, shown
from scarfdate.years import checked_level


@dataclass(frozen=True, eq=False)
class Spread:
    """Equally likely amounts, ``draws`` (S,), in one currency."""

    draws: Array

    @property
    def expected(self) -> float:
        """The mean."""
        return float(self.draws.mean())

    @property
    def median(self) -> float:
        """As often less as more."""
        return self.quantile(0.5)

    def quantile(self, p: float) -> float:
        """The amount that is not reached with the chance ``p``, 0 to 1."""
        if isinstance(p, bool) or not isinstance(p, Real) or not 0 <= float(p) <= 1:
            raise RangeError(f"p: a number from 0 to 1 is allowed, got {shown(p)}")
        return float(np.quantile(self.draws, float(p)))

    def interval(self, level: float = LEVEL) -> tuple[float, float]:
        """The central interval that holds ``level``: at 0.8 the 10 to 90 % range."""
        tail = (1 - checked_level(level)) / 2
        return self.quantile(tail), self.quantile(1 - tail)

    def chance_below(self, amount: float) -> float:
        """The chance of less than an amount, 0 to 1."""
        return float((self.draws < amount).mean())

    @property
    def loss_probability(self) -> float:
        """The chance of less than nothing, 0 to 1."""
        return self.chance_below(0.0)

    def less(self, amount: float) -> Spread:
        """The same less an amount that is known."""
        return type(self)(self.draws - amount)

    def __repr__(self) -> str:
        low, high = self.interval()
        return f"{self.median:.2f} ({low:.2f} to {high:.2f})"


def highest_price(gain: Array, risk: float) -> Array:
    """The most to pay, (n,), for what is worth ``gain`` (n, S) in equally likely draws: 0 at least.

    It is the highest price at which the chance of a loss is no more than ``risk``, and never more than what
    can be expected, however much may be risked. Of S draws sorted upwards, at most ``risk`` S lie below the one
    with that number.
    """
    draws = gain.shape[1]
    place = math.floor(risk * draws + 1e-9)  # 0.2 * 400 is 80.00000000000001
    expected = gain.mean(axis=1)
    if place >= draws:
        return np.asarray(np.maximum(expected, 0.0))
    quantile = np.partition(gain, place, axis=1)[:, place]
    return np.asarray(np.maximum(np.minimum(quantile, expected), 0.0))
