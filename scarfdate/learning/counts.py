"""The plain routes: conjugate Dirichlet updating, and its repetition to the most probable tables (EM).

A record of a known year counts for the two knots on either side by how near it lies to each, and for its
hidden states (grade, market, later piece, true value) by their probability. With shares q of a prior sample
size W and n(v) expected records the new share is

    (W q(v) + n(v)) / (W + n)

which is exact where nothing is hidden: the value seen for certain, the year known and on a knot, one table
for every grade and market. Elsewhere it is one step of EM from the parent's tables (``counts``), or all
steps (``em``). Each knot is counted by itself: nothing is smoothed over years.
"""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import ZERO_SHARE, Array
from scarfdate.learning.clue_likelihood import ClueLikelihood
from scarfdate.learning.clue_shares import channel_shares, shares_clue
from scarfdate.learning.deviations import SHARES
from scarfdate.learning.likelihood import Likelihood

_ROUNDS = 60
_SETTLED = 1e-4  # the largest change of a log share at which EM has converged


def expected_counts(likelihood: Likelihood, theta: Array) -> dict[str, Array]:
    """Expected records of each value at each knot, (values, knots), by family, under theta: the E step."""
    likelihood.value_and_gradient(theta)
    return {clue.name: _by_value(clue, cells) for clue, cells in likelihood.expected_cells()}


def _by_value(clue: ClueLikelihood, cells: Array) -> Array:
    seen = np.flatnonzero(cells)
    site, true, _ = clue.at(seen)
    return np.asarray((true * cells[seen]) @ clue.basis[site])


def by_counts(likelihood: Likelihood, *, rounds: int = 1) -> Array:
    """theta (size,) that gives the new shares at the knots.

    ``rounds``: 1 for plain counts; more for EM, which ends when it has converged.
    """
    layout, model = likelihood.deviations, likelihood.model
    theta = np.zeros(layout.size)
    at = layout.knots - int(model.years[0])
    parent = {
        family: channel_shares(model, shares_clue(model, family))[:, at]
        for family in likelihood.families
    }
    for _ in range(rounds):
        counts = expected_counts(likelihood, theta)
        parts = []
        for part in layout.parts:
            deviation = np.zeros(part.shape)
            if part.kind == SHARES:
                prior_counts = np.maximum(parent[part.family], ZERO_SHARE)
                prior_counts = prior_counts * model.priors.families[part.family].worth
                # the common factor of a knot changes nothing
                deviation = np.log((prior_counts + counts[part.family]) / prior_counts)
            parts.append(deviation)
        before, theta = theta, layout.joined(parts)
        if np.abs(theta - before).max() < _SETTLED:
            break
    return theta


def em(likelihood: Likelihood) -> Array:
    """The most probable tables at the knots, each knot by itself: `by_counts` until it has converged."""
    return by_counts(likelihood, rounds=_ROUNDS)
