"""How sharply the likelihood of the records bends at some deviations: minus its second derivative.

By Louis (1982, "Finding the observed information matrix when using the EM algorithm", Journal of the
Royal Statistical Society B 44, 226-233; from memory): the mean over each record's hidden states of what it
would be with the state known, less the covariance of the scores between the states. For shares it is
worked out so; for the few other entries from differences of the exact gradient.

The style looked back to is one of the hidden states.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from scarfdate.conventions import GRADES
from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.shares_term import Places, added_up
from scarfdate.learning.target import Target

_STEP = 1e-5
_RARE = (
    1e-3  # of the likeliest state of its record: a state less likely is left out of the covariance
)
_CHUNK = 4000  # states whose scores are held at a time


def curvature(target: Target, free: Array) -> Array:
    """Minus the second derivative of the log likelihood, (size, size), at some deviations."""
    if any(term.measured for _, _, term in target.style):
        raise ScarfdateError(
            "learning: a measure on a style clue has no curvature here; leave it out, or use route='counts'"
        )
    layout = target.deviations
    _, here_slope = target.value_and_gradient(free)
    places, size = _places(target)
    bent = np.zeros((size, size))
    for at, term in target.making:
        cells = added_up(target.weight[at], term.cell_of, term.cells)
        bent[np.ix_(places[term.name], places[term.name])] += term.bend(cells)
    for looks, row, term in target.style:
        cells = target.style_cells(term, looks, row)
        bent[np.ix_(places[term.name], places[term.name])] += term.bend(cells)
    bent -= _between_states(target, places, size)
    whole = np.zeros((layout.size, layout.size))
    starts, inner, outer = _offsets(target), [], []
    for part, entries, start in zip(layout.parts, layout.places, layout.starts, strict=True):
        if (part.kind, part.family) in starts:
            inner.append(starts[part.kind, part.family] + entries)
            outer.append(start + np.arange(len(entries)))
    here = np.concatenate(outer)
    from_all = np.concatenate(inner)
    whole[np.ix_(here, here)] = bent[np.ix_(from_all, from_all)]
    for place in np.setdiff1d(np.arange(layout.size), here).tolist():
        step = np.zeros(layout.size)
        step[place] = _STEP
        whole[place] = whole[:, place] = (
            here_slope - target.value_and_gradient(free + step)[1]
        ) / _STEP
    return (whole + whole.T) / 2


def _offsets(target: Target) -> dict[tuple[str, str], int]:
    """Where each part with a value at each knot begins, the shares and measures of style clues last."""
    sizes = {
        (part.kind, part.family): part.shape[0] * part.shape[1] for part in target.deviations.parts
    }
    found, at = {}, 0
    for term in (*(term for _, term in target.making), *(term for _, _, term in target.style)):
        for key in term.moving:
            found[key] = at
            at += sizes[key]
    return found


def _places(target: Target) -> tuple[dict[str, Places], int]:
    """For each clue the places of all that is moving in it, in the order of its scores and knots; and how many."""
    sizes = {
        (part.kind, part.family): part.shape[0] * part.shape[1] for part in target.deviations.parts
    }
    starts = _offsets(target)
    found = {}
    for term in (*(term for _, term in target.making), *(term for _, _, term in target.style)):
        found[term.name] = np.concatenate(
            [starts[key] + np.arange(sizes[key]) for key in term.moving]
        ).astype(np.intp)
    return found, sum(len(one) for one in found.values())


def _between_states(target: Target, places: dict[str, Places], size: int) -> Array:
    """Sum over records of the covariance of the scores between hidden states."""
    most = np.maximum.reduceat(target.chance, target.start)
    likely = np.flatnonzero(target.chance > _RARE * most[target.pattern])
    # records in one piece, some thousand states at a time
    record = target.pattern[likely]
    ends = np.flatnonzero(np.diff(record)) + 1
    cuts = [0]
    for end in [*ends.tolist(), len(likely)]:
        if end - cuts[-1] >= _CHUNK or end == len(likely):
            cuts.append(end)
    found = np.zeros((size, size))
    # the parts of style clues stand last: their clues come last among those of the model's columns
    first = min((int(places[term.name][0]) for _, _, term in target.style), default=size)
    where = {}
    for at, term in target.making:
        cell = np.full(len(target.pattern), -1)
        cell[at] = term.cell_of
        where[term.name] = cell
    add_style, within = _style_scores(target, places, size)
    for begin, end in pairwise(cuts):
        states = likely[begin:end]
        scores = np.zeros((len(states), size))
        for _, term in target.making:
            cell = where[term.name][states]
            seen = np.flatnonzero(cell >= 0)
            site, score = term.scores(cell[seen])
            block = score.T[:, :, None] * term.hat[site][:, None, :]
            here = places[term.name]
            scores[seen[:, None], here] = block.reshape(len(seen), len(here))
        add_style(states, scores)
        weight = target.weight[states]
        _, start = np.unique(target.pattern[states], return_index=True)
        total = np.add.reduceat(weight, start)
        mean = np.add.reduceat(scores * weight[:, None], start, axis=0) / total[:, None]
        found += _squared(scores * np.sqrt(weight)[:, None])
        found -= _squared(mean * np.sqrt(total)[:, None])
        found[first:, first:] -= _squared(scores[:, first:] * np.sqrt(weight)[:, None])
    return found + within


def _squared(rows: Array) -> Array:
    """rows' rows, of which only one half is worked out."""
    from scipy.linalg.blas import dsyrk

    if not rows.size:
        return np.zeros((rows.shape[1], rows.shape[1]))
    half = dsyrk(1.0, rows.T, trans=0, lower=1)
    return np.asarray(half + np.tril(half, -1).T)


def _style_scores(
    target: Target, places: dict[str, Places], size: int
) -> tuple[Callable[[Places, Array], None], Array]:
    """A function that adds the mean style scores of states to their rows, (states, size), and the sum over
    records of the mean squared style scores."""
    hat = target.deviations.hat
    grades, years = len(GRADES), len(target.model.years)
    rows: dict[str, tuple[Places, Array]] = {}
    for looks, row, term in target.style:
        cells = np.arange(term.cells)
        site, true, share = term.at(cells)
        score = np.zeros((len(term.words), len(term.log_shares), grades * years))
        score[cells // (grades * years), :, site] = (true - share).T
        row_of = np.full(target.looks, len(score))
        row_of[looks] = row
        none = np.zeros((1, *score.shape[1:]))  # not looked at: no score
        rows[term.name] = (
            row_of,
            np.concatenate((score, none)).reshape(-1, score.shape[1], grades, years),
        )
    rho = target.model.revival_share

    def add(states: Places, scores: Array) -> None:
        # the market says nothing of style: states that differ by it alone share their scores
        kinds, which = np.unique(
            target.need[states] * grades + target.grade[states], return_inverse=True
        )
        need, grade = np.divmod(kinds, grades)
        look, year = target.need_look[need], target.need_year[need]
        period = target.period[need, grade] / target.mixed[need, grade]
        # P(a later piece, and the year of its style | state)
        back = target.each[look, grade] * target.back[need]
        back *= (rho[year] / target.mixed[need, grade])[:, None]
        for name, (row_of, score) in rows.items():
            row = row_of[look]
            own = score[row, :, grade]  # (states, values, years)
            now = np.take_along_axis(own, year[:, None, None], axis=2)[:, :, 0]
            block = (period[:, None] * now)[:, :, None] * hat[year][:, None, :]
            block += (own * back[:, None]) @ hat
            scores[:, places[name]] = block.reshape(len(kinds), len(places[name]))[
                which.reshape(-1)
            ]

    squared = np.zeros((size, size))
    if rows:
        names = list(rows)
        for year in range(years):
            # all style scores of a combination at this style year, (looks * grades, values of all clues)
            every = np.concatenate(
                [rows[name][1][rows[name][0], :, :, year].transpose(0, 2, 1).reshape(-1, rows[name][1].shape[1])
                 for name in names], axis=1,
            )  # fmt: skip
            each = (every * target.load[:, :, year].reshape(-1, 1)).T @ every
            at = np.flatnonzero(hat[year])
            first = np.concatenate(
                [
                    places[name][0] + np.arange(rows[name][1].shape[1]) * hat.shape[1]
                    for name in names
                ]
            )
            for one in at.tolist():
                for other in at.tolist():
                    squared[np.ix_(first + one, first + other)] += (
                        hat[year, one] * hat[year, other] * each
                    )
    return add, squared
