"""How long pieces hang before they are sold, unsold ones counted: the estimate of Kaplan and Meier (1958).

A piece that is unsold after d days says that it takes longer than d; to leave it out, or to count its d as a sale,
would make everything look as if it sold fast. Curve and bands are those of `scipy.stats.ecdf` on censored data; the
bands are of Greenwood's variance on the scale log(-log), which keeps them between 0 and 1 (Kalbfleisch and Prentice
1980). The bounds of a day are those of Brookmeyer and Crowley (1982): the days at which a band crosses the share.
"""

from __future__ import annotations

import math
import warnings
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from scarfdate.conventions import LEVEL, Array

HALF = 0.5
_ROUNDING = 1e-12  # of shares that are products


@dataclass(frozen=True, eq=False)
class Waiting:
    """The share of pieces that is still unsold after each number of days.

    ``curve``: as of `scipy.stats.ecdf`: days in their order (``quantiles``) and the share left after each
    (``probabilities``). ``n``: pieces, ``sold``: how many of them were sold.
    """

    curve: Any
    n: int
    sold: int

    def left(self, day: float) -> float:
        """The share that is unsold after ``day`` days, 0 to 1; 1 before the first sale."""
        return float(self.curve.evaluate(day))

    def left_between(self, day: float, level: float = LEVEL) -> tuple[float, float]:
        """The interval of `left` at ``level``; (0, 1) where nothing can be said."""
        low, high = self._bands(level)
        at = int(np.searchsorted(self.curve.quantiles, day, side="right")) - 1
        return (float(low[at]), float(high[at])) if at >= 0 else (1.0, 1.0)

    def day(self, left: float = HALF, sure: float = HALF) -> float:
        """The first day after which no more than the share ``left`` is unsold; infinite where it is not reached.

        ``sure``: chance, above 0 and below 1, that the day is no later than the answer, by the bands: 0.5 is
        the estimate itself, 0.1 and 0.9 are the ends of its 80 % interval.
        """
        if not self.n:
            return math.nan
        if sure == HALF:
            band: NDArray[np.float64] = self.curve.probabilities
        else:
            low, high = self._bands(abs(2 * sure - 1))
            band = low if sure < HALF else high
        crossed = band <= left + _ROUNDING
        return float(self.curve.quantiles[np.argmax(crossed)]) if crossed.any() else math.inf

    def _bands(self, level: float) -> tuple[Array, Array]:
        with warnings.catch_warnings(), np.errstate(all="ignore"):
            # before the first sale, and where all are sold, the variance says nothing
            warnings.simplefilter("ignore", RuntimeWarning)
            band = self.curve.confidence_interval(level, method="log-log")
        low, high = band.low.probabilities, band.high.probabilities
        none_sold = self.curve.probabilities == 1
        low = np.where(np.isnan(low), np.where(none_sold, 1.0, 0.0), low)
        return low, np.where(np.isnan(high), 1.0, high)


def waiting(days: Array, sold: NDArray[np.bool_]) -> Waiting:
    """From the days that each piece hung (n,), NaN where not known, and whether it was sold (n,)."""
    known = ~np.isnan(days)
    days, sold = days[known], sold[known]
    curve = stats.ecdf(stats.CensoredData(uncensored=days[sold], right=days[~sold])).sf
    return Waiting(curve, len(days), int(sold.sum()))
