"""What a bet was worth: the log score of the decade and the interval score, against what is known of the year.

Both are proper: nobody can do better, in what is to be expected, than by betting what she believes. T. Gneiting
and A. E. Raftery 2007, "Strictly proper scoring rules, prediction, and estimation", JASA 102, 359-378.

- *Log score*: the natural logarithm of the chance given to the decade in which it was made, 0 at best. Where
  only an interval is known it is that of all decades which this touches.
- *Interval score*: the length of the interval in years (last less first), and ten times as many years as the
  year lies outside; the interval is hers, or the central one of 80 % where she laid chips. Of a known
  interval each year counts alike.

Of a piece whose year nobody knows both are what is expected under the exact posterior of all its clues.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import FIRST_YEAR, LEVEL, Array
from scarfdate.practising.bet import Bet, decade_places
from scarfdate.years import central_interval, cumulative

_PENALTY = 2 / (
    1 - LEVEL
)  # Gneiting and Raftery, equation 43: 2 / alpha for an interval of 1 - alpha


@dataclass(frozen=True, kw_only=True)
class Score:
    """``log_score``: 0 at best. ``interval``: first and last year; ``interval_score``: years, 0 at best."""

    log_score: float
    interval: tuple[int, int]
    interval_score: float

    @property
    def chance(self) -> float:
        """The chance given to the true decade (of an unknown year the geometric mean that is expected)."""
        return math.exp(self.log_score)


@dataclass(frozen=True, eq=False)
class Truth:
    """What is known of a year: ``weight`` of each year from 1880 on, summing to one, and whether it ``is_known``.

    Where it is known all years that it can be weigh alike; else the weights are its posterior.
    """

    weight: Array
    is_known: bool

    @staticmethod
    def of_years(first: int, last: int, as_of: int) -> Truth:
        """Made from ``first`` to ``last``, both within the years that there are."""
        years = np.arange(FIRST_YEAR, as_of + 1)
        inside = (first <= years) & (years <= last)
        return Truth(inside / inside.sum(), True)

    @property
    def as_of(self) -> int:
        """The last year."""
        return FIRST_YEAR + len(self.weight) - 1

    @property
    def decades(self) -> tuple[int, ...]:
        """First years of the decades in which it was made; the likeliest one where nobody knows."""
        of_decade = by_decade(self.weight)
        some = np.flatnonzero(of_decade > 0) if self.is_known else [int(of_decade.argmax())]
        return tuple(FIRST_YEAR + 10 * int(place) for place in some)

    def scored(self, by_year: Array, interval: tuple[int, int] | None = None) -> Score:
        """The score of chances of the years, (years,), none of its decades zero; ``interval``: central where None."""
        if interval is None:
            first, last = central_interval(cumulative(by_year[None, :]), LEVEL)
            interval = int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR
        return Score(
            log_score=self._log_score(by_decade(by_year)),
            interval=interval,
            interval_score=self._interval_score(*interval),
        )

    def of_bet(self, bet: Bet) -> Score:
        """The score of a bet."""
        return self.scored(bet.over_years(), bet.interval)

    def _log_score(self, shares: Array) -> float:
        of_decade = by_decade(self.weight)
        if self.is_known:
            return float(np.log(min(shares[of_decade > 0].sum(), 1.0)))
        return float(of_decade @ np.log(shares))

    def _interval_score(self, first: int, last: int) -> float:
        years = np.arange(FIRST_YEAR, self.as_of + 1)
        off = np.maximum(first - years, 0) + np.maximum(years - last, 0)
        return last - first + _PENALTY * float(self.weight @ off)


def by_decade(by_year: Array) -> Array:
    """Chances of the decades, (decades,), from those of the years from 1880 on."""
    places = decade_places(FIRST_YEAR + len(by_year) - 1)
    return np.asarray(np.bincount(places, by_year))
