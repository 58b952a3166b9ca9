"""Shares of a clue: those of the channel's usual mixture of grades and markets, and under moved tables."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import FIRST_YEAR, GRADES, Array
from scarfdate.learning.deviations import (
    LAG,
    SHARES,
    Deviations,
)
from scarfdate.model.model import Model


def shares_clue(model: Model, name: str) -> SharesClue:
    """The clue of a family of shares."""
    clue = model.clues[model.column[name]]
    assert isinstance(clue, SharesClue)
    return clue


def shares_at_knots(
    model: Model,
    layout: Deviations,
    family: str,
    draws: Sequence[Mapping[tuple[str, str], Array]],
) -> Array:
    """Shares at the knots under the parts of some draws, (draws, values, knots).

    Of the channel's mixture of grades and markets: each is moved by itself, and then they are mixed.
    """
    from scipy.special import softmax

    clue = shares_clue(model, family)
    at = layout.knots - FIRST_YEAR
    lag, basis = layout.lags[family].only(at), layout.basis[at]
    shifts = np.stack(
        [
            draw[SHARES, family] @ basis.T + lag.at(float(draw[LAG, family][0, 0]))[0]
            for draw in draws
        ]
    )
    mixture = np.zeros_like(shifts)
    grades = (model.prior / model.year_prior)[:, at]
    with np.errstate(divide="ignore"):  # what was not made yet has a share of nothing, and keeps it
        logs = np.log(clue.shares[..., at])
    for grade in range(len(GRADES)):
        for market in range(clue.shares.shape[1]):
            moved = softmax(logs[:, market, grade] + shifts, axis=1)
            mixture += grades[grade] * (model.market[market, at] if clue.by_market else 1.0) * moved
    return mixture


def channel_shares(model: Model, clue: SharesClue) -> Array:
    """Shares by year of the channel's mixture of grades and markets, (values, years)."""
    by_grade = (clue.shares * model.market[:, None] if clue.by_market else clue.shares).sum(axis=1)
    return np.asarray((by_grade * (model.prior / model.year_prior)).sum(axis=1))
