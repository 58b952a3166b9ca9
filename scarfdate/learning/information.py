"""The information that the records carry about theta: minus the Hessian of the log likelihood.

By Louis (1982, "Finding the observed information matrix when using the EM algorithm", Journal of the
Royal Statistical Society B 44, 226-233; from memory)

    observed information  =  complete-data information  -  missing information

each summed over records: the complete-data information is the mean over a record's hidden states of what
it would be with the state known, the missing information the covariance of the score between the states.
It is worked out so for parameters with a value at each knot (shares and centres); the few others get
differences of the exact gradient.

A score belongs to a value at the year of its state. It is shared out to the knots on either side only when
all states of a year are together. The style year looked back to is part of the hidden state.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from scarfdate.conventions import GRADES, Array
from scarfdate.errors import ScarfdateError
from scarfdate.learning.clue_likelihood import ClueLikelihood, sum_by_group
from scarfdate.learning.deviations import Places
from scarfdate.learning.likelihood import Likelihood

_STEP = 1e-5
_RARE = 1e-3  # of a record's likeliest state: a state less likely is left out of the covariance
_CHUNK = 10_000  # states whose scores are held at a time


def observed_information(likelihood: Likelihood, theta: Array) -> Array:
    """Minus the Hessian of the log likelihood at theta, (size, size)."""
    layout = likelihood.deviations
    _, gradient = likelihood.value_and_gradient(theta)
    index = _Index(likelihood)
    at = np.ix_(index.in_theta, index.in_theta)
    information = np.zeros((layout.size, layout.size))
    information[at] = _complete_data(likelihood, index) - _missing(likelihood, index)
    for place in np.setdiff1d(np.arange(layout.size), index.in_theta).tolist():
        step = np.zeros(layout.size)
        step[place] = _STEP
        ahead = likelihood.value_and_gradient(theta + step)[1]
        information[place] = information[:, place] = (gradient - ahead) / _STEP
    return (information + information.T) / 2


def complete_data_information(likelihood: Likelihood, theta: Array) -> Array:
    """The information that shares and centres would have if the hidden states were known, (size, size), zeros
    elsewhere: cheap, to start a search, and positive semi-definite but for sizes far from every centre."""
    size = likelihood.deviations.size
    likelihood.value_and_gradient(theta)
    index = _Index(likelihood)
    information = np.zeros((size, size))
    information[np.ix_(index.in_theta, index.in_theta)] = _complete_data(likelihood, index)
    return information


class _Index:
    """Where the parameters with a value at each knot stand, fixed entries among them, and where in theta.

    ``of_clue``: for each clue the places of its parts, in the order of its scores and knots; ``size`` of
    all; ``free``: the free ones; ``in_theta``: the places of these in theta.
    """

    def __init__(self, likelihood: Likelihood) -> None:
        if any(clue.measured for *_, clue in likelihood.style):
            raise ScarfdateError(
                "learning: this route cannot learn from a measure on a style clue; leave that column out, or "
                "use route='counts'"
            )
        layout = likelihood.deviations
        shapes = {(part.kind, part.family): part.shape for part in layout.parts}
        begin: dict[tuple[str, str], int] = {}
        self.of_clue: dict[str, Places] = {}
        self.size = 0
        for clue in likelihood.clues():
            first = self.size
            for key in clue.by_knot:
                begin[key] = self.size
                self.size += int(np.prod(shapes[key]))
            self.of_clue[clue.name] = np.arange(first, self.size, dtype=np.intp)
        free, in_theta = [], []
        for part, entries, start in zip(layout.parts, layout.free, layout.starts, strict=True):
            if (part.kind, part.family) in begin:
                free.append(begin[part.kind, part.family] + entries)
                in_theta.append(start + np.arange(len(entries)))
        self.free, self.in_theta = np.concatenate(free), np.concatenate(in_theta)


def _complete_data(likelihood: Likelihood, index: _Index) -> Array:
    """The complete-data information of the free parameters of an index."""
    information = np.zeros((index.size, index.size))
    for clue, cells in likelihood.expected_cells():
        places = index.of_clue[clue.name]
        information[np.ix_(places, places)] += clue.information(cells)
    return information[np.ix_(index.free, index.free)]


def _missing(likelihood: Likelihood, index: _Index) -> Array:
    """The missing information: sum over records of the covariance of the score between hidden states."""
    basis = likelihood.deviations.basis
    knots = basis.shape[1]
    values = [len(index.of_clue[clue.name]) // knots for clue in likelihood.making]
    count = sum(values)  # of the scores of making clues, before those of style clues
    style = _StyleScores(likelihood)
    size = count * knots + style.size
    squares = np.zeros((size, size))  # mean products of two scores
    making = squares[: count * knots].reshape(count, knots, size)
    chance = likelihood.responsibility
    own = np.add.reduceat(chance, likelihood.start)
    most = np.maximum.reduceat(chance, likelihood.start)
    likely = np.flatnonzero(chance > _RARE * most[likelihood.pattern])
    # records of like years together: of a chunk of them few knots have a score
    first = likelihood.patterns.first[likelihood.pattern[likely]]
    likely = likely[np.argsort(first, kind="stable")]
    of_means = np.zeros((len(index.free), len(index.free)))
    for states in _chunks(likely, likelihood.pattern):
        states = states[np.argsort(likelihood.year[states], kind="stable")]
        scores = _making_scores(likelihood, values, states)
        weight, year = likelihood.weight[states], likelihood.year[states]
        record, which = np.unique(likelihood.pattern[states], return_inverse=True)
        # where the years are another piece's, the score is nothing
        total = np.sqrt(sum_by_group(weight, which, len(record)) / own[record])
        mean = np.zeros((len(record), size))
        kinds, kind_of = np.unique(
            likelihood.need[states] * len(GRADES) + likelihood.grade[states], return_inverse=True
        )
        for begin, end in pairwise([0, *(np.flatnonzero(np.diff(year)) + 1).tolist(), len(year)]):
            at = slice(begin, end)
            product = scores[at].T @ (scores[at] * weight[at, None])
            by_knot = basis[year[begin]]
            for knot in np.flatnonzero(by_knot).tolist():
                by = by_knot[knot] * product
                for other in np.flatnonzero(by_knot).tolist():
                    making[:, knot, other : count * knots : knots] += by_knot[other] * by
        by_kind = style.of_kinds(kinds)
        for knot in range(knots):
            part = weight * basis[year, knot]
            some = np.flatnonzero(part)
            if some.size:
                summed = _adding(part[some], which[some], some, (len(record), len(states))) @ scores
                mean[:, knot : count * knots : knots] = summed
                summed = (
                    _adding(part[some], kind_of[some], some, (len(kinds), len(states))) @ scores
                )
                making[:, knot, count * knots :] += summed.T @ by_kind
        if style.size:
            mean[:, count * knots :] = (
                _adding(weight, which, kind_of, (len(record), len(kinds))) @ by_kind
            )
        of_free = mean[:, index.free]
        some = np.flatnonzero(of_free.any(axis=0))
        of_means[np.ix_(some, some)] += _squared(of_free[:, some] / total[:, None])
    squares[count * knots :, count * knots :] = style.squared()
    squares[count * knots :, : count * knots] = squares[: count * knots, count * knots :].T
    return squares[np.ix_(index.free, index.free)] - of_means


def _chunks(states: Places, record: Places) -> list[Places]:
    """States in chunks that hold whole records."""
    cuts, ends = [0], np.flatnonzero(np.diff(record[states])) + 1
    for end in [*ends.tolist(), len(states)]:
        if end - cuts[-1] >= _CHUNK or end == len(states):
            cuts.append(end)
    return [states[begin:end] for begin, end in pairwise(cuts)]


def _making_scores(likelihood: Likelihood, values: Sequence[int], states: Places) -> Array:
    """The scores of states by the values and measures of all making clues, (states, scores)."""
    scores = np.zeros((len(states), sum(values)))
    gathered = likelihood.gathering[states]
    state = np.repeat(np.arange(len(states)), np.diff(gathered.indptr))
    start = begin = 0
    for clue, width in zip(likelihood.making, values, strict=True):
        here = (gathered.indices >= begin) & (gathered.indices < begin + clue.cells)
        # states that share a cell share its scores
        some, which = np.unique(gathered.indices[here] - begin, return_inverse=True)
        scores[state[here], start : start + width] = clue.scores(some)[1].T[which]
        start, begin = start + width, begin + clue.cells
    return scores


def _adding(weight: Array, rows: Places, columns: Places, shape: tuple[int, int]) -> Any:
    """A sparse matrix that adds up weighted rows of another one by their group."""
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

    def __init__(self, likelihood: Likelihood) -> None:
        self.likelihood = likelihood
        self.basis = likelihood.deviations.basis
        self.clues: list[tuple[Places, Array]] = []  # of each combination its row; scores of rows
        for at, row, clue in likelihood.style:
            score = _scores_of_rows(likelihood, clue)
            row_of = np.full(likelihood.combinations, len(score) - 1)
            row_of[at] = row
            self.clues.append((row_of, score))
        self.size = sum(score.shape[2] for _, score in self.clues) * self.basis.shape[1]

    def of_kinds(self, kinds: Places) -> Array:
        """Of needed years and grades, numbered together, the mean scores, (kinds, size)."""
        given, knots = self.likelihood, self.basis.shape[1]
        need, grade = np.divmod(kinds, len(GRADES))
        combination, year = given.need_combination[need], given.need_year[need]
        mixture = given.mixture[need, grade]
        # P(style year | state): of later pieces, and of period pieces, whose style is of the year made
        back = given.style_product[combination, grade] * given.model.looked_back_to[year]
        back *= (given.model.revival_share[year] / mixture)[:, None]
        back[np.arange(len(kinds)), year] += given.period[need, grade] / mixture
        scores = np.zeros((len(kinds), self.size))
        start = 0
        for row_of, score in self.clues:
            rows, grades, values, years = score.shape
            stop = start + values * knots
            alike = row_of[combination] * grades + grade
            order = np.argsort(alike, kind="stable")
            ends = [0, *(np.flatnonzero(np.diff(alike[order])) + 1).tolist(), len(order)]
            for begin, end in pairwise(ends):
                at = order[begin:end]
                row, of_grade = np.divmod(alike[at[0]], grades)
                if row < rows - 1:  # the last row is of those that did not look
                    # (values, knots, years)
                    by_knot = score[row, of_grade][:, None] * self.basis.T
                    scores[at, start:stop] = back[at] @ by_knot.reshape(-1, years).T
            start = stop
        return scores

    def squared(self) -> Array:
        """Sum over records of the mean products of two scores, (size, size)."""
        basis, weight = self.basis, self.likelihood.style_weight
        squares = np.zeros((self.size // basis.shape[1], basis.shape[1]) * 2)
        for year in range(len(basis) if self.clues else 0):
            # all scores of a combination at this style year, (combinations * grades, values of all clues)
            every = np.concatenate(
                [
                    score[row_of, :, :, year].reshape(-1, score.shape[2])
                    for row_of, score in self.clues
                ],
                axis=1,
            )
            each = (every * weight[:, :, year].reshape(-1, 1)).T @ every
            for one in np.flatnonzero(basis[year]).tolist():
                for other in np.flatnonzero(basis[year]).tolist():
                    squares[:, one, :, other] += basis[year, one] * basis[year, other] * each
        return squares.reshape(self.size, self.size)


def _scores_of_rows(likelihood: Likelihood, clue: ClueLikelihood) -> Array:
    """The scores of each row of a style clue at every grade and year, (rows + 1, grades, values, years), the
    last row of those that did not look: zeros."""
    grades, years = len(GRADES), len(likelihood.model.years)
    cells = np.arange(clue.cells)
    site, true, share = clue.at(cells)
    score = np.zeros((len(clue.words) + 1, len(clue.shares), grades * years))
    score[cells // (grades * years), :, site] = (true - share).T
    return score.reshape(len(score), -1, grades, years).transpose(0, 2, 1, 3)
