"""From values at knot years to a value for every year."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import ZERO_SHARE

Array = NDArray[np.float64]


def log_interpolate(knots: Array, values: Array, at: Array) -> Array:
    """Values at ``at``, log-linear between knots and held flat beyond the outer ones.

    Shapes: ``knots`` (n,), ascending; ``values`` (n, m), positive; result (m, len(at)).
    Shares move by factors, not by steps: from 1 % to 4 % the half-way point is 2 %.
    """
    logs = np.log(values)
    return np.asarray(np.exp(np.stack([np.interp(at, knots, column) for column in logs.T])))


def interpolate_shares(knots: Array, shares: Array, at: Array) -> Array:
    """Shares (values, years) that sum to one each year, from shares (knots, values) of any scale."""
    fractions = shares / shares.sum(axis=1, keepdims=True)
    each = log_interpolate(knots, np.maximum(fractions, ZERO_SHARE), at)
    return np.asarray(each / each.sum(axis=0))
