"""A table all of which comes earlier or later: what that does to its log shares.

Moved by a lag above 0, a table says of a year what it said of an earlier one:

    log share(v, y - lag)  -  log share(v, y)

worked out in every year for lags every few years, with a cubic spline over the lags. What is impossible in a year stays so whatever the lag: a fibre that was not yet made
was not made earlier because a dealer's table of fibres is late.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import CubicSpline

from scarfdate.conventions import ZERO_SHARE
from scarfdate.knots import Array

_STEP = 5  # years between lags at which a moved table is worked out
_MOST = 30.0  # years: a table that is further off says nothing more
NONE = 10 * ZERO_SHARE  # a share as good as none stays none: no record makes nylon before nylon
_LAGS = np.arange(-_MOST, _MOST + 1, _STEP)


@dataclass(frozen=True, eq=False)
class Lateness:
    """``pieces`` (4, lags - 1, values, years): the cubics between lags, the highest power first."""

    pieces: Array

    def at(self, lag: float) -> tuple[Array, Array]:
        """What is added to the log shares by a lag in years, and its slope, each (values, years)."""
        inside = min(max(lag, -_MOST), _MOST)
        piece = min(int((inside + _MOST) // _STEP), len(_LAGS) - 2)
        a, b, c, d = self.pieces[:, piece]
        x = inside - float(_LAGS[piece])
        slope = (3 * a * x + 2 * b) * x + c if inside == lag else np.zeros_like(a)
        return ((a * x + b) * x + c) * x + d, slope

    def only(self, years: NDArray[np.intp]) -> Lateness:
        """The same at some years, by place."""
        return Lateness(self.pieces[..., years])


def lateness_of(shares: Array) -> Lateness:
    """Of shares (values, years), one column a year."""
    years = np.arange(shares.shape[1])
    log = np.log(np.maximum(shares, NONE))
    earlier = np.clip(years - _LAGS[:, None].astype(int), 0, years[-1])  # (lags, years)
    moved = log[:, earlier].transpose(1, 0, 2) - log
    moved[:, shares <= NONE] = 0.0
    return Lateness(np.asarray(CubicSpline(_LAGS, moved, bc_type="natural").c, np.float64))
