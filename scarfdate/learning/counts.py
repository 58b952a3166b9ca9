"""The plain routes: Dirichlet arithmetic, and its repetition to a most probable table (EM).

A record of a known year counts, at the two knots about it, by how near it lies to each, and within the
hidden states (grade, market, later piece, true value) by how probable each is. With shares q worth W records
and n(v) counted ones the new share is

    (W q(v) + n(v)) / (W + n)

which is exact where nothing is hidden: the value seen for certain, the year known and on a knot, one table
for every grade and market. Elsewhere it is one step of EM under the parent's tables (``counts``), or all of
them (``em``). Knots are counted one by one: nothing is smoothed over years.
"""

from __future__ import annotations

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import ZERO_SHARE
from scarfdate.knots import Array
from scarfdate.learning.likelihood import Target
from scarfdate.learning.prior import SHARES, usual_shares
from scarfdate.learning.shares_term import SharesTerm, added_up

_ROUNDS = 60
_SETTLED = 1e-4  # the largest change of a log share at which a round is the last


def counted(target: Target, free: Array) -> dict[str, Array]:
    """Expected numbers of each value at each knot, (values, knots), by family, under some deviations."""
    target.value_and_gradient(free)
    found = {}
    for at, term in target.making:
        cells = added_up(target.weight[at], term.cell_of, term.cells)
        found[term.name] = _of_term(term, cells)
    for looks, row, term in target.style:
        found[term.name] = _of_term(term, target.style_cells(term, looks, row))
    return found


def _of_term(term: SharesTerm, cells: Array) -> Array:
    seen = np.flatnonzero(cells)
    site, true, _ = term.at(seen)
    return np.asarray((true * cells[seen]) @ term.hat[site])


def by_counts(target: Target, *, rounds: int = 1) -> tuple[Array, dict[str, Array]]:
    """Deviations (size,) that give the new shares at the knots, and the numbers counted.

    ``rounds``: 1 for plain counts; more for EM, which ends when nothing moves.
    """
    layout, model = target.deviations, target.model
    free = np.zeros(layout.size)
    at = layout.knots - int(model.years[0])
    shipped = {}
    for column in target.columns:
        clue = model.clues[column]
        assert isinstance(clue, SharesClue)
        shipped[clue.name] = usual_shares(model, clue)[:, at]
    numbers: dict[str, Array] = {}
    for _ in range(rounds):
        numbers = counted(target, free)
        parts = []
        for part in layout.parts:
            found = np.zeros(part.shape)
            if part.kind == SHARES:
                q = np.maximum(shipped[part.family], ZERO_SHARE)
                worth = model.priors.families[part.family].worth
                # the common factor of a knot changes nothing
                found = np.log((worth * q + numbers[part.family]) / (worth * q))
            parts.append(found)
        new = layout.joined(parts)
        still = np.abs(new - free).max() < _SETTLED
        free = new
        if still:
            break
    return free, numbers


def em(target: Target) -> tuple[Array, dict[str, Array]]:
    """The most probable tables at the knots, knot by knot: `by_counts` until nothing moves."""
    return by_counts(target, rounds=_ROUNDS)
