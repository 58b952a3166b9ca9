"""The density, the kinds of statement and the heaping, estimated together.

Coordinate ascent on one penalised likelihood: given how dates are stated, the density by Newton
steps (`smooth.mode`); given the density, one EM step for the shares of kinds and for the heaping.
Every step raises the same objective. The shares are a logistic model on knots ten years apart,
smooth by second differences of the logits; cell 0, if it is "all before", has shares of its own.

Where in its century a piece "of the 20th century" lies, no record of that kind can tell: only that
its share varies slowly does. So the logits of a wide kind are held smooth on the scale of its own
intervals. Without that the most likely answer heaps such pieces where the others leave a valley.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scarfdate.density.intervals import FOLDS, Array, split_weights
from scarfdate.density.smooth import (
    GRID,
    HeldOut,
    MatrixRows,
    SmoothDensity,
    mode,
    roughness,
    smooth_rows,
)
from scarfdate.density.statements import (
    CENTURY,
    HALF,
    KINDS,
    QUARTER,
    Parts,
    Stated,
    Statements,
    heaped_kinds,
    parts_of,
)
from scarfdate.errors import RangeError

KIND_GRID = (1.0, 10.0, 100.0, 1000.0)
_KNOT = 10  # years between knots of the shares
_RIDGE = 0.01  # precision of the logits themselves: shares without records go to equal ones
_TOL = 1e-3  # nats of the objective gained by a step, below which EM stops
_ROUGH_TOL = 0.03  # the same for held-out scores, which differ by far more
_STEPS = 1000
# usual width of a kind in knots; a second difference over w knots is about w**2 of those over one,
# and there are 1 / w as many: the penalty of the kind is w**3 times as strong
_WIDTH = {QUARTER: 2.5, HALF: 5.0, CENTURY: 10.0}
_FIRST_SMOOTHING = 300.0  # only where the search for a better one begins


@dataclass(frozen=True, slots=True, kw_only=True)
class StatedDensity:
    """The joint estimate.

    ``density``: the smooth density, its band given the statements. ``objective``: the penalised
    log-likelihood after each step (it never falls). ``kind_scores``: held-out score a record for
    each ``kind_smoothing`` tried; empty where it was given.
    """

    density: SmoothDensity
    statements: Statements
    kind_smoothing: float
    kind_scores: tuple[tuple[float, float], ...]
    objective: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _State:
    eta: Array
    logits: Array  # (kinds, knots)
    h10: Array
    h5: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class _Problem:
    """What does not change while the estimate does."""

    records: Stated
    parts: Parts
    start: int
    basis: Array  # (knots, cells)
    penalty: Array  # (knots, knots), of second differences
    rough: Array
    weak: Array
    kinds: int

    def statements(self, state: _State) -> Statements:
        return Statements(
            start=self.start,
            q=_shares(state.logits @ self.basis),
            h10=state.h10,
            h5=state.h5,
        )


def density_with_statements(
    records: Stated,
    cells: int,
    *,
    start: int,
    free_first: bool = True,
    smoothing: float | None = None,
    kind_smoothing: float | None = None,
    folds: int = FOLDS,
    rng: np.random.Generator | None = None,
    grid: Sequence[float] = GRID,
    kinds: int = KINDS,
) -> StatedDensity:
    """The smooth density of ``records`` (from `stated`) with what their statements mean.

    ``smoothing``: of the density, None for held-out choice, in turn with the statements until it
    stays. ``kind_smoothing``: precision of second differences of the logits of kinds over knots of
    ten years, None for held-out choice among `KIND_GRID`. Held-out scores use
    ``records.fold_weight``; without it ``rng`` deals the records to ``folds`` parts.
    """
    if (smoothing is None or kind_smoothing is None) and records.fold_weight is None:
        if rng is None:
            raise RangeError(
                "to choose a smoothing, give records with folds, or a random generator as rng, or"
                " both smoothings"
            )
        records = replace(records, fold_weight=split_weights(records.weight, folds, rng))
    parts = parts_of(records, start, cells)
    reachable = (parts.own + parts.ten + parts.five).any(axis=1)
    if not reachable.all():
        raise RangeError(
            f"statement {int((~reachable).argmax())} allows no year of the grid"
            f" ({int((~reachable).sum())} such rows); leave such records out"
        )
    rough, weak = roughness(cells, free_first)
    basis = _basis(cells, free_first)
    problem = _Problem(
        records=records,
        parts=parts,
        start=start,
        basis=basis,
        penalty=_knot_penalty(len(basis), free_first),
        rough=rough,
        weak=weak,
        kinds=kinds,
    )
    state = _first_state(problem)
    weight = records.weight
    fixed = smoothing if smoothing is not None else _FIRST_SMOOTHING
    kind_fixed = kind_smoothing if kind_smoothing is not None else 10.0
    state, trace = _climb(problem, weight, fixed, kind_fixed, state)
    table: tuple[HeldOut, ...] = ()
    scores: list[tuple[float, float]] = []
    rounds = 3 if smoothing is None else int(kind_smoothing is None)
    for _ in range(rounds):
        before = fixed
        if smoothing is None:
            chosen = smooth_rows(
                MatrixRows(problem.statements(state).rows(records, parts)),
                weight,
                fold_weight=records.fold_weight,
                free_first=free_first,
                grid=grid,
                start=state.eta,
            )
            fixed, table = chosen.smoothing, chosen.held_out
        if kind_smoothing is None and not scores:
            scores = [(k, _held_out(problem, fixed, k, state)) for k in KIND_GRID]
            kind_fixed = max(scores, key=lambda pair: pair[1])[0]
        state, trace = _climb(problem, weight, fixed, kind_fixed, state)
        if fixed == before:
            break
    statements = problem.statements(state)
    density = smooth_rows(
        MatrixRows(statements.rows(records, parts)),
        weight,
        free_first=free_first,
        smoothing=fixed,
        start=state.eta,
    )
    return StatedDensity(
        density=replace(density, held_out=table),
        statements=statements,
        kind_smoothing=kind_fixed,
        kind_scores=tuple(scores),
        objective=trace,
    )


def _first_state(problem: _Problem) -> _State:
    cells, heaped = len(problem.rough), heaped_kinds(problem.kinds)
    guess = np.zeros(problem.kinds)
    guess[heaped] = 0.1
    logits = np.zeros((problem.kinds, len(problem.basis)))
    return _State(eta=np.full(cells, -np.log(cells)), logits=logits, h10=guess, h5=guess.copy())


def _climb(
    problem: _Problem,
    weight: Array,
    smoothing: float,
    kind_smoothing: float,
    state: _State,
    tol: float = _TOL,
) -> tuple[_State, Array]:
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
    problem: _Problem,
    weight: Array,
    kind_penalty: Array,
    statements: Statements,
    state: _State,
    fitted: Array,
) -> _State:
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
    logits = _fit_shares(counts, problem.basis, kind_penalty, state.logits)
    return _State(eta=state.eta, logits=logits, h10=h10, h5=h5)


def _fit_shares(counts: Array, basis: Array, penalty: Array, logits: Array) -> Array:
    """Logits (kinds, knots) of a penalised multinomial logistic model, by Newton steps.

    Only up to three steps: EM needs a gain, not the maximum. The objective is concave.
    """
    kinds, knots = logits.shape
    total = counts.sum(axis=0)

    def value_at(trial: Array) -> float:
        log_share = _log_shares(trial @ basis)
        return float(
            (counts * log_share).sum() - np.einsum("kj,kjl,kl->", trial, penalty, trial) / 2
        )

    value = value_at(logits)
    for _ in range(3):
        share = _shares(logits @ basis)
        gradient = (counts - total * share) @ basis.T - np.einsum("kj,kjl->kl", logits, penalty)
        hessian = np.zeros((kinds, knots, kinds, knots))
        for a in range(kinds):
            for b in range(a, kinds):
                curve = total * share[a] * ((a == b) - share[b])
                block = (basis * curve) @ basis.T
                hessian[a, :, b] = block + (penalty[a] if a == b else 0)
                hessian[b, :, a] = hessian[a, :, b].T
        flat = hessian.reshape(kinds * knots, -1)
        step = np.linalg.solve(flat, gradient.ravel()).reshape(kinds, knots)
        gain = float((gradient * step).sum())
        length = 1.0
        while length > 1e-6:
            trial = logits + length * step
            after = value_at(trial)
            if after >= value + 1e-4 * length * gain:
                logits, value = trial, after
                break
            length /= 2
        if gain < 1e-6:
            break
    return logits


def _held_out(problem: _Problem, smoothing: float, kind_smoothing: float, state: _State) -> float:
    """Held-out log-likelihood a record of kind and date together."""
    folds = problem.records.fold_weight
    if folds is None:
        raise RangeError("held-out scores need records with folds")
    score = 0.0
    for left_out in folds.T:
        weight = np.maximum(problem.records.weight - left_out, 0)
        there, _ = _climb(problem, weight, smoothing, kind_smoothing, state, _ROUGH_TOL)
        matrix = problem.statements(there).rows(problem.records, problem.parts)
        score += float(left_out @ np.log(np.maximum(matrix @ np.exp(there.eta), 1e-300)))
    return score / float(folds.sum())


def _basis(cells: int, free_first: bool) -> Array:
    """Hat functions on knots ten years apart, (knots, cells); cell 0 by itself if it is free."""
    begin = 1 if free_first else 0
    knot = np.linspace(begin, cells - 1, max(4, round((cells - 1 - begin) / _KNOT) + 1))
    hats = np.stack([np.interp(np.arange(cells), knot, row) for row in np.eye(len(knot))])
    if not free_first:
        return hats
    hats[:, 0] = 0
    alone = np.zeros((1, cells))
    alone[0, 0] = 1
    return np.concatenate([alone, hats])


def _knot_penalty(knots: int, free_first: bool) -> Array:
    second = np.diff(np.eye(knots), n=2, axis=0)
    if free_first:
        second = second[1:]
    return np.asarray(second.T @ second)


def _log_shares(logits: Array) -> Array:
    top = logits.max(axis=0)
    return np.asarray(logits - top - np.log(np.exp(logits - top).sum(axis=0)))


def _shares(logits: Array) -> Array:
    return np.exp(_log_shares(logits))
