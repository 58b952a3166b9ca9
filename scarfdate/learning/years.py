"""How often pieces of each year turn up in a channel, from records that are all that turned up.

    log P(y)  =  log of the parent's P(y) + c(y), normalised over y

with c piecewise linear between knots and normal with mean zero: its standard deviation is the uncertainty that
``year_channel.csv`` states for the channel's factor, its correlation over years that of the clue tables. A
record whose year is known to lie in an interval counts by P(interval). Only the years of the records are used,
none of their clues: the two are learned apart.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.prior import exponential_correlation
from scarfdate.model.model import Model

_STEPS = 100
_KNOT_YEARS = 10  # one curve from all records can be finer than a share of one clue


def fit_year_factor(model: Model, patterns: Patterns) -> tuple[NDArray[np.int64], Array]:
    """The knots, and the posterior mode of c at each of them. ScarfdateError where there is none."""
    from scipy.optimize import minimize
    from scipy.special import softmax

    knots = np.arange(FIRST_YEAR, int(model.years[-1]) + 1, _KNOT_YEARS)
    basis = np.stack([np.interp(model.years, knots, row) for row in np.eye(len(knots))], axis=1)
    sd = np.log(model.priors.century.factors.values_of("uncertainty", knots.astype(float)))
    sd = np.maximum(sd, np.log(1.1))  # a factor stated as certain still is no law
    covariance = exponential_correlation(model, knots) * np.outer(sd, sd)
    precision = np.linalg.inv(covariance)
    cell = np.arange(len(model.years))
    inside = (cell >= patterns.first[:, None]) & (cell <= patterns.last[:, None])
    log_prior = np.log(model.year_prior)

    def loss(c: Array) -> tuple[float, Array]:
        chance = softmax(log_prior + basis @ c)
        within = inside @ chance
        value = patterns.count @ np.log(within) - c @ precision @ c / 2
        by_year = (patterns.count / within) @ inside * chance - patterns.count.sum() * chance
        return -float(value), -(basis.T @ by_year - precision @ c)

    best = minimize(
        loss, np.zeros(len(knots)), jac=True, method="BFGS", options={"maxiter": _STEPS}
    )
    if not np.isfinite(best.fun):
        raise ScarfdateError(
            "learning: the years of these records give no factor; leave all_that_turned_up out"
        )
    return knots, np.asarray(best.x)
