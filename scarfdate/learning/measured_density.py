"""The density of a measured size under moved tables, and its derivatives."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from scarfdate.conventions import Array
from scarfdate.learning.deviations import CENTRE, SLIP, SPREAD, Places
from scarfdate.learning.prior import moved_rate

Named = Mapping[tuple[str, str], Array]  # (kind, family) to a part in its full shape


@dataclass(frozen=True, eq=False, kw_only=True)
class Measured:
    """Of the cells with a measurement those that have this one, and of each its row among the distinct sizes at
    a grade and year: the log of the size, its log-normal, and the weight of each knot."""

    name: str
    cells: Places  # among the cells with a measurement
    row: Places  # (cells,)
    log: Array  # (rows,)
    centre: Array  # (values, rows)
    spread: Array
    basis: Array  # (rows, knots)
    slip: float
    width: float
    folded: bool


class MeasuredDensity:
    """The density of every distinct size, and what it changes with, each (values, rows).

    Worked out at once is ``value`` alone: a search asks for many values, and for few slopes.
    """

    def __init__(self, of: Measured, parts: Named) -> None:
        self.of = of
        centre = of.centre + of.basis @ parts[CENTRE, of.name].ravel()
        self.spread = of.spread * np.exp(parts[SPREAD, of.name].item())
        self.rate = moved_rate(of.slip, parts[SLIP, of.name]).item()
        # a ratio of sides is the same measurement upside down
        self.sides = []
        for side in (of.log, -of.log) if of.folded else (of.log,):
            off = (side - centre) / self.spread
            self.sides.append((off, np.exp(-0.5 * off**2) / (self.spread * np.sqrt(2 * np.pi))))
        self.normal: Array = sum(bell for _, bell in self.sides)
        self.value = (1 - self.rate) * self.normal + self.rate / of.width

    @cached_property
    def by_centre(self) -> Array:
        """The slope by the log centre."""
        slope: Array = sum(bell * off for off, bell in self.sides) / self.spread
        return slope * (1 - self.rate)

    @cached_property
    def by_centre_twice(self) -> Array:
        """The second derivative by the log centre."""
        return np.asarray(self.by_log_spread / self.spread**2)

    @cached_property
    def by_log_spread(self) -> Array:
        """The slope by the log spread."""
        slope: Array = sum(bell * (off**2 - 1) for off, bell in self.sides)
        return slope * (1 - self.rate)

    @cached_property
    def by_logit_slip(self) -> Array:
        """The slope by the logit of the slip rate."""
        return (1 / self.of.width - self.normal) * self.rate * (1 - self.rate)
