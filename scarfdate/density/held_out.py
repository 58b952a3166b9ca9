"""How smooth a density is to be: held-out scores, by which the most likely smoothing is taken."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.intervals import split_weights
from scarfdate.density.likelihood import MatrixRows
from scarfdate.density.mode import mode
from scarfdate.errors import RangeError

_FINER = (10 ** (-2 / 3), 10 ** (-1 / 3), 10 ** (1 / 3), 10 ** (2 / 3))


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOut:
    """One row of the table of held-out scores.

    ``score``: log-likelihood of the left-out records, a record (nats). ``error``: standard error of
    its difference from the best row, over the parts; 0 for the best.
    """

    smoothing: float
    score: float
    error: float


def held_out_table(
    rows: MatrixRows,
    weight: Array,
    fold_weight: Array | None,
    rough: Array,
    weak: Array,
    start: Array,
    folds: int,
    rng: np.random.Generator | None,
    grid: Sequence[float],
) -> tuple[HeldOut, ...]:
    """Held-out scores over ``grid`` and four finer steps around its best, sorted by smoothing."""
    if fold_weight is None:
        if rng is None:
            raise RangeError(
                "to choose the smoothing, give intervals with folds, or a random generator as rng,"
                " or the smoothing itself"
            )
        if folds < 2:
            raise RangeError(f"folds must be 2 or more; got {folds}")
        fold_weight = split_weights(weight, folds, rng)
    if fold_weight.shape[0] != len(weight) or fold_weight.shape[1] < 2:
        raise RangeError(
            f"fold weights must be ({len(weight)}, 2 or more); got {fold_weight.shape}"
        )
    held = fold_weight[:, fold_weight.sum(axis=0) > 0]
    now = [start] * held.shape[1]
    scores: dict[float, Array] = {}

    def score(smoothing: float) -> None:
        parts = np.empty(held.shape[1])
        for part, left_out in enumerate(held.T):
            penalty = smoothing * rough + weak
            now[part] = mode(rows, np.maximum(weight - left_out, 0), penalty, now[part])
            fitted = np.maximum(rows.fitted(np.exp(now[part])), 1e-300)
            parts[part] = left_out @ np.log(fitted)
        scores[smoothing] = parts

    for smoothing in sorted(grid, reverse=True):  # from the smoothest, each a start for the next
        score(float(smoothing))
    best = max(scores, key=lambda key: scores[key].sum())
    for factor in sorted(_FINER, reverse=True):
        score(best * factor)
    best = max(scores, key=lambda key: scores[key].sum())
    total, size = float(held.sum()), held.sum(axis=0)
    table = []
    for smoothing in sorted(scores):
        difference = scores[smoothing] - scores[best]
        scatter = difference - size * difference.sum() / total
        error = np.sqrt(len(size) / (len(size) - 1) * (scatter**2).sum()) / total
        mean = float(scores[smoothing].sum() / total)
        table.append(HeldOut(smoothing=smoothing, score=mean, error=float(error)))
    return tuple(table)
