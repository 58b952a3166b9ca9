"""How often pieces of each year turn up in a channel, from records that are all that turned up.

    log P(y)  =  log of the shipped P(y) + c(y), made to sum to one

with c a straight line between knots, normal around none: its standard deviation is the uncertainty that
``year_channel.csv`` states for the channel's factor, correlated over years as the clue tables are. A record
whose year is known to lie in an interval counts by P(interval). Only the years of the records are used, none
of their clues: the two are learned apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR
from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.prior import LENGTH
from scarfdate.model.model import Model

_STEPS = 100
_KNOT_YEARS = 10  # one curve from all records can be finer than a share of one clue


def fit_year_factor(model: Model, patterns: Patterns) -> tuple[NDArray[np.int64], Array]:
    """The knots, and the most probable c at each of them. ScarfdateError where none is found."""
    from scipy.optimize import minimize

    knots = np.arange(FIRST_YEAR, int(model.years[-1]) + 1, _KNOT_YEARS)
    hat = np.stack([np.interp(model.years, knots, row) for row in np.eye(len(knots))], axis=1)
    spread = np.log(model.priors.century.factors.values_of("uncertainty", knots.astype(float)))
    spread = np.maximum(spread, np.log(1.1))  # a factor stated as certain still is no law
    cover = np.exp(-np.abs(knots[:, None] - knots) / LENGTH) * np.outer(spread, spread)
    precision = np.linalg.inv(cover)
    cell = np.arange(len(model.years))
    inside = (cell >= patterns.first[:, None]) & (cell <= patterns.last[:, None])
    log_prior = np.log(model.year_prior)

    def lost(at: Array) -> tuple[float, Array]:
        log = log_prior + hat @ at
        chance = np.exp(log - log.max())
        chance /= chance.sum()
        held = inside @ chance
        value = patterns.count @ np.log(held) - at @ precision @ at / 2
        over = (patterns.count / held) @ inside * chance - patterns.count.sum() * chance
        return -float(value), -(hat.T @ over - precision @ at)

    found = minimize(
        lost, np.zeros(len(knots)), jac=True, method="BFGS", options={"maxiter": _STEPS}
    )
    if not np.isfinite(found.fun):
        raise ScarfdateError(
            "learning: the years of these records give no factor; leave all_that_turned_up out"
        )
    return knots, np.asarray(found.x)
