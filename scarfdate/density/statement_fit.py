"""The density, the kinds of statement and the heaping, estimated together.

Where in its century a piece "of the 20th century" lies, no record of that kind can tell: only that
its share varies slowly does. So the logits of a wide kind are held smooth on the scale of its own
intervals. Without that the most likely answer heaps such pieces where the others leave a valley.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.ascent import Problem, climb, first_state, held_out_score
from scarfdate.density.held_out import HeldOut
from scarfdate.density.intervals import FOLDS, split_weights
from scarfdate.density.kind_shares import hats
from scarfdate.density.kinds import KINDS
from scarfdate.density.likelihood import MatrixRows
from scarfdate.density.mode import roughness
from scarfdate.density.smooth import GRID, SmoothDensity, smooth_rows
from scarfdate.density.stated import Stated
from scarfdate.density.statements import Statements, parts_of
from scarfdate.errors import RangeError

KIND_GRID = (1.0, 10.0, 100.0, 1000.0)
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
    basis = hats(cells, free_first)
    problem = Problem(
        records=records,
        parts=parts,
        start=start,
        basis=basis,
        penalty=roughness(len(basis), free_first)[0],
        rough=rough,
        weak=weak,
        kinds=kinds,
    )
    state = first_state(problem)
    weight = records.weight
    fixed = smoothing if smoothing is not None else _FIRST_SMOOTHING
    kind_fixed = kind_smoothing if kind_smoothing is not None else 10.0
    state, trace = climb(problem, weight, fixed, kind_fixed, state)
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
            scores = [(k, held_out_score(problem, fixed, k, state)) for k in KIND_GRID]
            kind_fixed = max(scores, key=lambda pair: pair[1])[0]
        state, trace = climb(problem, weight, fixed, kind_fixed, state)
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
