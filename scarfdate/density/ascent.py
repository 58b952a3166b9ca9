"""Coordinate ascent on the penalised likelihood of a density and of how its dates are stated.

Given how dates are stated, the density by Newton steps (`mode`); given the density, one EM step for
the shares of kinds and for the heaping. Every step raises the same objective.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.kind_shares import fit_shares, shares
from scarfdate.density.kinds import CENTURY, HALF, QUARTER, heaped_kinds
from scarfdate.density.likelihood import MatrixRows
from scarfdate.density.mode import mode
from scarfdate.density.stated import Stated
from scarfdate.density.statements import Parts, Statements
from scarfdate.errors import RangeError

_RIDGE = 0.01  # precision of the logits themselves: shares without records go to equal ones
_TOL = 1e-3  # nats of the objective gained by a step, below which EM stops
_ROUGH_TOL = 0.03  # the same for held-out scores, which differ by far more
_STEPS = 1000
# usual width of a kind in knots; a second difference over w knots is about w**2 of those over one,
# and there are 1 / w as many: the penalty of the kind is w**3 times as strong
_WIDTH = {QUARTER: 2.5, HALF: 5.0, CENTURY: 10.0}


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """What the ascent moves: log density, logits of the kinds, and shares rounded to ten and to five."""

    eta: Array
    logits: Array  # (kinds, knots)
    h10: Array
    h5: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Problem:
    """What does not change while the estimate does."""

    records: Stated
    parts: Parts
    start: int
    basis: Array  # (knots, cells)
    penalty: Array  # (knots, knots), of second differences
    rough: Array
    weak: Array
    kinds: int

    def statements(self, state: State) -> Statements:
        """How dates are stated in a state of the ascent."""
        return Statements(
            start=self.start,
            q=shares(state.logits @ self.basis),
            h10=state.h10,
            h5=state.h5,
        )


def first_state(problem: Problem) -> State:
    """An even density, even shares of kinds, and a tenth rounded in either way."""
    cells, heaped = len(problem.rough), heaped_kinds(problem.kinds)
    guess = np.zeros(problem.kinds)
    guess[heaped] = 0.1
    logits = np.zeros((problem.kinds, len(problem.basis)))
    return State(eta=np.full(cells, -np.log(cells)), logits=logits, h10=guess, h5=guess.copy())


def climb(
    problem: Problem,
    weight: Array,
    smoothing: float,
    kind_smoothing: float,
    state: State,
    tol: float = _TOL,
) -> tuple[State, Array]:
    """Steps until the objective gains less than ``tol``; the objective at each."""
    penalty = smoothing * problem.rough + problem.weak
    scale = np.array([_WIDTH.get(kind, 1.0) ** 3 for kind in range(problem.kinds)])
    kind_penalty = kind_smoothing * scale[:, None, None] * problem.penalty
    kind_penalty += _RIDGE * np.eye(len(problem.basis))
    trace: list[float] = []
    for _ in range(_STEPS):
        statements = problem.statements(state)
        matrix = statements.rows(problem.records, problem.parts)
        rows = MatrixRows(matrix)
        eta = mode(rows, weight, penalty, state.eta)
        fitted = np.maximum(rows.fitted(np.exp(eta)), 1e-300)
        trace.append(
            float(
                weight @ np.log(fitted)
                - eta @ penalty @ eta / 2
                - np.einsum("kj,kjl,kl->", state.logits, kind_penalty, state.logits) / 2
            )
        )
        state = replace(state, eta=eta)
        if len(trace) > 1 and trace[-1] - trace[-2] < tol:
            break
        state = _em_step(problem, weight, kind_penalty, statements, state, fitted)
    return state, np.array(trace)


def _em_step(
    problem: Problem,
    weight: Array,
    kind_penalty: Array,
    statements: Statements,
    state: State,
    fitted: Array,
) -> State:
    """Expected counts of kinds by year and of roundings; shares and heaping from them."""
    records, parts = problem.records, problem.parts
    load = weight / fitted
    weighted = np.exp(state.eta) * statements.q[records.kind] * load[:, None]
    ten = state.h10[records.kind] * np.einsum("my,my->m", weighted, parts.ten)
    five = state.h5[records.kind] * np.einsum("my,my->m", weighted, parts.five)
    # a year named in cell 0, all before, says nothing of rounding
    named = ~np.isnan(records.centre) & (records.centre > problem.start)
    h10, h5 = state.h10.copy(), state.h5.copy()
    for kind in heaped_kinds(problem.kinds):
        of_kind = named & (records.kind == kind)
        total = weight[of_kind].sum()
        # shares of one whole: rounding must not leave less than nothing for years named as they are
        h10[kind] = min(ten[of_kind].sum() / total, 1.0) if total else 0.0
        h5[kind] = min(five[of_kind].sum() / total, 1.0 - h10[kind]) if total else 0.0
    stating = statements.rows(records, parts)
    expected = stating * np.exp(state.eta) * load[:, None]
    counts = (records.kind == np.arange(problem.kinds)[:, None]).astype(float) @ expected
    logits = fit_shares(counts, problem.basis, kind_penalty, state.logits)
    return State(eta=state.eta, logits=logits, h10=h10, h5=h5)


def held_out_score(
    problem: Problem, smoothing: float, kind_smoothing: float, state: State
) -> float:
    """Held-out log-likelihood a record of kind and date together."""
    folds = problem.records.fold_weight
    if folds is None:
        raise RangeError("held-out scores need records with folds")
    score = 0.0
    for left_out in folds.T:
        weight = np.maximum(problem.records.weight - left_out, 0)
        there, _ = climb(problem, weight, smoothing, kind_smoothing, state, _ROUGH_TOL)
        matrix = problem.statements(there).rows(problem.records, problem.parts)
        score += float(left_out @ np.log(np.maximum(matrix @ np.exp(there.eta), 1e-300)))
    return score / float(folds.sum())
