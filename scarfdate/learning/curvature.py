"""How sharply the likelihood of the records bends at some deviations: minus its second derivative.

By Louis (1982, "Finding the observed information matrix when using the EM algorithm", Journal of the
Royal Statistical Society B 44, 226-233; from memory): the mean over each record's hidden states of what it
would be with the state known, less the covariance of the scores between the states. For shares it is
worked out so; for the few other entries from differences of the exact gradient.

A score is of a value at the year of its state, and is shared out to the knots on either side only when
all states of a year are together. The style looked back to is one of the hidden states.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from scarfdate.conventions import GRADES
from scarfdate.errors import ScarfdateError
from scarfdate.knots import Array
from scarfdate.learning.likelihood import Target
from scarfdate.learning.prior import Places
from scarfdate.learning.shares_term import SharesTerm, added_up

_STEP = 1e-5
_RARE = (
    1e-3  # of the likeliest state of its record: a state less likely is left out of the covariance
)
_CHUNK = 40_000  # states whose scores are held at a time


def curvature(target: Target, free: Array, *, told: bool = False) -> Array:
    """Minus the second derivative of the log likelihood, (size, size), at some deviations.

    ``told``: a rough one for the start of a search, which is a bowl: what it would be if each record told
    its hidden states, and of shares and centres alone.
    """
    if any(term.measured for _, _, term in target.style):
        raise ScarfdateError(
            "learning: a measure on a style clue has no curvature here; leave it out, or use route='counts'"
        )
    layout = target.deviations
    _, here_slope = target.value_and_gradient(free)
    places, size = _places(target)
    starts, inner, outer = _offsets(target), [], []
    for part, entries, start in zip(layout.parts, layout.places, layout.starts, strict=True):
        if (part.kind, part.family) in starts:
            inner.append(starts[part.kind, part.family] + entries)
            outer.append(start + np.arange(len(entries)))
    here, from_all = np.concatenate(outer), np.concatenate(inner)
    bent = np.zeros((size, size))
    for at, term in target.making:
        cells = added_up(target.weight[at], term.cell_of, term.cells)
        bent[np.ix_(places[term.name], places[term.name])] += term.bend(cells)
    for looks, row, term in target.style:
        cells = target.style_cells(term, looks, row)
        bent[np.ix_(places[term.name], places[term.name])] += term.bend(cells)
    whole = np.zeros((layout.size, layout.size))
    if told:
        whole[np.ix_(here, here)] = bent[np.ix_(from_all, from_all)]
        return whole
    bent = bent[np.ix_(from_all, from_all)] - _between_states(target, places, from_all)
    whole[np.ix_(here, here)] = bent
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


def _between_states(target: Target, places: dict[str, Places], wanted: Places) -> Array:
    """Sum over records of the covariance of the scores between hidden states, of some places."""
    hat = target.deviations.hat
    knots = hat.shape[1]
    values = [len(places[term.name]) // knots for _, term in target.making]
    count = sum(
        values
    )  # of the scores of making clues; the places of style clues come after theirs
    style = _StyleScores(target)
    size = count * knots + style.size
    found = np.zeros((size, size))
    own = found[: count * knots].reshape(count, knots, size)
    most = np.maximum.reduceat(target.chance, target.start)
    likely = np.flatnonzero(target.chance > _RARE * most[target.pattern])
    cell_of = _cells_of_states(target)
    means = np.zeros((len(wanted), len(wanted)))
    for states in _chunks(likely, target.pattern):
        states = states[np.argsort(target.year[states], kind="stable")]
        scores = _making_scores(target.making, cell_of, values, states)
        weight, year = target.weight[states], target.year[states]
        record, which = np.unique(target.pattern[states], return_inverse=True)
        total = np.sqrt(added_up(weight, which, len(record)))
        mean = np.zeros((len(record), size))
        kinds, kind_of = np.unique(
            target.need[states] * len(GRADES) + target.grade[states], return_inverse=True
        )
        for begin, end in pairwise([0, *(np.flatnonzero(np.diff(year)) + 1).tolist(), len(year)]):
            at = slice(begin, end)
            one, load = scores[at], scores[at] * weight[at, None]
            product = one.T @ load
            for knot in np.flatnonzero(hat[year[begin]]).tolist():
                by = hat[year[begin], knot] * product
                for other in np.flatnonzero(hat[year[begin]]).tolist():
                    own[:, knot, other : count * knots : knots] += hat[year[begin], other] * by
        by_kind = style.of_kinds(kinds)
        for knot in range(knots):
            part = weight * hat[year, knot]
            some = np.flatnonzero(part)
            if some.size:
                summed = _sums(part[some], which[some], some, (len(record), len(states))) @ scores
                mean[:, knot : count * knots : knots] = summed
                summed = _sums(part[some], kind_of[some], some, (len(kinds), len(states))) @ scores
                own[:, knot, count * knots :] += summed.T @ by_kind
        if style.size:
            mean[:, count * knots :] = (
                _sums(weight, which, kind_of, (len(record), len(kinds))) @ by_kind
            )
        means += _squared(mean[:, wanted] / total[:, None])
    found[count * knots :, count * knots :] = style.squared()
    found[count * knots :, : count * knots] = found[: count * knots, count * knots :].T
    return found[np.ix_(wanted, wanted)] - means


def _chunks(states: Places, record: Places) -> list[Places]:
    """States in chunks that hold whole records."""
    cuts, ends = [0], np.flatnonzero(np.diff(record[states])) + 1
    for end in [*ends.tolist(), len(states)]:
        if end - cuts[-1] >= _CHUNK or end == len(states):
            cuts.append(end)
    return [states[begin:end] for begin, end in pairwise(cuts)]


def _cells_of_states(target: Target) -> list[Places]:
    """Of each making clue the cell of every state, -1 where it was not looked at."""
    found = []
    for at, term in target.making:
        cell = np.full(len(target.pattern), -1, dtype=np.intp)
        cell[at] = term.cell_of
        found.append(cell)
    return found


def _making_scores(
    making: Sequence[tuple[Places, SharesTerm]],
    cell_of: Sequence[Places],
    values: Sequence[int],
    states: Places,
) -> Array:
    """The scores of states by the values and measures of all making clues, (states, scores)."""
    scores = np.zeros((len(states), sum(values)))
    start = 0
    for (_, term), cells, width in zip(making, cell_of, values, strict=True):
        cell = cells[states]
        seen = np.flatnonzero(cell >= 0)
        # states that share a cell share its scores
        some, which = np.unique(cell[seen], return_inverse=True)
        scores[seen, start : start + width] = term.scores(some)[1].T[which]
        start += width
    return scores


def _sums(weight: Array, rows: Places, columns: Places, shape: tuple[int, int]) -> Any:
    """A matrix that adds up weighted rows of another one by where they belong."""
    from scipy.sparse import csr_array

    return csr_array((weight, (rows, columns)), shape=shape)


def _squared(rows: Array) -> Array:
    """rows' rows, of which only one half is worked out."""
    from scipy.linalg.blas import dsyrk

    if not rows.size:
        return np.zeros((rows.shape[1], rows.shape[1]))
    half = dsyrk(1.0, rows.T, trans=0, lower=1)
    return np.asarray(half + np.tril(half, -1).T)


class _StyleScores:
    """The scores of style clues, mean over the style years that a state may have looked back to.

    ``size``: values times knots of all style clues.
    """

    def __init__(self, target: Target) -> None:
        self.target = target
        hat = target.deviations.hat
        self.hat = hat
        self.clues: list[tuple[Places, Array]] = []  # of each combination its row; scores of rows
        for looks, row, term in target.style:
            score = _scores_of_rows(target, term)
            row_of = np.full(target.looks, len(score) - 1)
            row_of[looks] = row
            self.clues.append((row_of, score))
        self.size = sum(score.shape[2] for _, score in self.clues) * hat.shape[1]

    def of_kinds(self, kinds: Places) -> Array:
        """Of needed years and grades, numbered together, the mean scores, (kinds, size)."""
        target, hat = self.target, self.hat
        need, grade = np.divmod(kinds, len(GRADES))
        look, year = target.need_look[need], target.need_year[need]
        period = target.period[need, grade] / target.mixed[need, grade]
        # P(a later piece, and the year of its style | state)
        back = target.each[look, grade] * target.back[need]
        back *= (target.model.revival_share[year] / target.mixed[need, grade])[:, None]
        back[np.arange(len(kinds)), year] += period
        found = np.zeros((len(kinds), self.size))
        start = 0
        for row_of, score in self.clues:
            rows, grades, values, years = score.shape
            stop = start + values * hat.shape[1]
            alike = row_of[look] * grades + grade
            order = np.argsort(alike, kind="stable")
            ends = [0, *(np.flatnonzero(np.diff(alike[order])) + 1).tolist(), len(order)]
            for begin, end in pairwise(ends):
                at = order[begin:end]
                row, of_grade = np.divmod(alike[at[0]], grades)
                if row < rows - 1:  # the last row is of those that did not look
                    spread = score[row, of_grade][:, None] * hat.T  # (values, knots, years)
                    found[at, start:stop] = back[at] @ spread.reshape(-1, years).T
            start = stop
        return found

    def squared(self) -> Array:
        """Sum over records of the mean products of two scores, (size, size)."""
        target, hat = self.target, self.hat
        found = np.zeros((self.size // hat.shape[1], hat.shape[1]) * 2)
        for year in range(len(hat) if self.clues else 0):
            # all scores of a combination at this style year, (looks * grades, values of all clues)
            every = np.concatenate(
                [
                    score[row_of, :, :, year].reshape(-1, score.shape[2])
                    for row_of, score in self.clues
                ],
                axis=1,
            )
            each = (every * target.load[:, :, year].reshape(-1, 1)).T @ every
            for one in np.flatnonzero(hat[year]).tolist():
                for other in np.flatnonzero(hat[year]).tolist():
                    found[:, one, :, other] += hat[year, one] * hat[year, other] * each
        return found.reshape(self.size, self.size)


def _scores_of_rows(target: Target, term: SharesTerm) -> Array:
    """The scores of each row of a style clue at every grade and year, (rows + 1, grades, values, years), the
    last one of no row: none."""
    grades, years = len(GRADES), len(target.model.years)
    cells = np.arange(term.cells)
    site, true, share = term.at(cells)
    score = np.zeros((len(term.words) + 1, len(term.shares), grades * years))
    score[cells // (grades * years), :, site] = (true - share).T
    return score.reshape(len(score), -1, grades, years).transpose(0, 2, 1, 3)
