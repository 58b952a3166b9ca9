"""A smooth density over year cells from interval-censored dates: the default estimate.

The density is f = softmax(eta), one eta a cell. A roughness penalty, smoothing / 2 times the sum of
squared second differences of eta, is all that is added to the likelihood: where there are no records
log f runs on in a straight line, and no shape is assumed (the penalised likelihood of I. J. Good and
R. A. Gaskins 1971, on the log density as B. W. Silverman 1982). In Bayesian words, eta is an
intrinsic random walk of second order with precision ``smoothing``, and the estimate is the mode.

How smooth is decided by held-out records: whole groups of near-identical records are left out
together, and the smoothing under which the left-out records are most likely is taken. The
uncertainty of the density itself is the Laplace approximation at the mode, given that smoothing.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from scarfdate.conventions import LEVEL
from scarfdate.density.intervals import FOLDS, Array, Cells, Intervals, split_weights, weights
from scarfdate.errors import RangeError
from scarfdate.years import checked_level

GRID = tuple(10.0**power for power in range(-1, 9))  # first look; then finer around the best
_FINER = (10 ** (-2 / 3), 10 ** (-1 / 3), 10 ** (1 / 3), 10 ** (2 / 3))
_WEAK = 1e-4  # precision of first differences: keeps an end without records from running away
_DECREMENT = 1e-9  # Newton stops when it expects to gain less than this in log-likelihood
_STEPS = 200


class MatrixRows:
    """The likelihood A, (records, cells), with A[i, y] = P(record i | y): no empty row, none negative.

    The estimate needs only three products with it. Of a plain interval a row is one inside and zero
    outside (`IntervalRows`).
    """

    def __init__(self, matrix: Array) -> None:
        table = np.ascontiguousarray(matrix, dtype=float)
        if table.ndim != 2 or not table.size:
            raise RangeError(f"the rows must be a matrix (records, cells); got {table.shape}")
        if not (np.isfinite(table).all() and (table >= 0).all()):
            raise RangeError("the rows must be finite and not negative: they are probabilities")
        empty = ~table.any(axis=1)
        if empty.any():
            raise RangeError(
                f"row {int(empty.argmax())} allows no cell at all ({int(empty.sum())} such rows);"
                " leave such records out"
            )
        self.matrix = table

    @property
    def shape(self) -> tuple[int, int]:
        """Records and cells."""
        return len(self.matrix), self.matrix.shape[1]

    def fitted(self, mass: Array) -> Array:
        """A @ mass, (m,)."""
        return np.asarray(self.matrix @ mass)

    def pull(self, load: Array) -> Array:
        """A.T @ load, (cells,)."""
        return np.asarray(load @ self.matrix)

    def cross(self, load: Array) -> Array:
        """A.T @ diag(load) @ A, (cells, cells)."""
        half = self.matrix * np.sqrt(load)[:, None]
        return np.asarray(half.T @ half)


class IntervalRows(MatrixRows):
    """Intervals on a grid: `cross` costs cells squared, however many records there are."""

    def __init__(self, first: Cells, last: Cells, cells: int) -> None:
        if len(last) and int(last.max()) >= cells:
            raise RangeError(f"cell {int(last.max())} lies outside a grid of {cells} cells")
        cell = np.arange(cells)
        super().__init__(((first[:, None] <= cell) & (cell <= last[:, None])).astype(float))
        self._place = first * cells + last
        low, high = np.minimum.outer(cell, cell), np.maximum.outer(cell, cell)
        self._pair = low * cells + high

    def cross(self, load: Array) -> Array:
        """Entry (y, z) sums the loads of the intervals from at or before min to at or after max."""
        cells = self.matrix.shape[1]
        table = np.bincount(self._place, load, cells * cells).reshape(cells, cells)
        # sums of positive numbers only: nothing is lost by subtraction
        summed = table.cumsum(axis=0)[:, ::-1].cumsum(axis=1)[:, ::-1]
        return np.asarray(summed.ravel()[self._pair])


@dataclass(frozen=True, slots=True, kw_only=True)
class HeldOut:
    """One row of the table of held-out scores.

    ``score``: log-likelihood of the left-out records, a record (nats). ``error``: standard error of
    its difference from the best row, over the parts; 0 for the best.
    """

    smoothing: float
    score: float
    error: float


@dataclass(frozen=True, slots=True, kw_only=True)
class SmoothDensity:
    """A smooth density with its uncertainty.

    ``density`` (cells,) sums to one; ``eta`` (cells,) is its logarithm. ``covariance`` (cells,
    cells) is the Laplace covariance of log density, given ``smoothing``. ``log_likelihood`` is
    without the penalty. ``parameters``: effective number of parameters. ``held_out`` is empty where
    the smoothing was given.
    """

    density: Array
    eta: Array
    covariance: Array
    smoothing: float
    held_out: tuple[HeldOut, ...]
    log_likelihood: float
    parameters: float

    def band(self, level: float = LEVEL) -> tuple[Array, Array]:
        """Lower and upper ends, (cells,), that hold the true density of *each* cell at ``level``.

        Pointwise: at 80 % some stretch of years lies outside almost always. Normal on the log
        scale, so that the band is positive. It knows of too few records, not of the smoothing being
        wrong, nor of records that were not dated at random.
        """
        z = NormalDist().inv_cdf(0.5 + checked_level(level) / 2)
        half = z * np.sqrt(np.diag(self.covariance))
        return np.exp(self.eta - half), np.exp(np.minimum(self.eta + half, 0.0))

    def draws(self, count: int, rng: np.random.Generator) -> Array:
        """``count`` whole densities, (count, cells), from the Laplace approximation."""
        size, vectors = np.linalg.eigh(self.covariance)
        root = vectors * np.sqrt(np.maximum(size, 0))
        return np.exp(_log_softmax(self.eta + rng.standard_normal((count, len(root))) @ root.T))


def smooth_density(
    intervals: Intervals,
    cells: int,
    *,
    free_first: bool = False,
    smoothing: float | None = None,
    folds: int = FOLDS,
    rng: np.random.Generator | None = None,
    grid: Sequence[float] = GRID,
) -> SmoothDensity:
    """The smooth density of ``intervals`` on a grid of ``cells``.

    ``free_first``: cell 0 stands for "all before" and is not part of the penalty. ``smoothing``: the
    precision of second differences; None chooses it from ``grid`` (refined near the best) by
    held-out records. The parts are those of ``intervals.fold_weight`` where there are any (see
    `fold_numbers`: groups stay together); otherwise ``rng`` is needed and deals the records to
    ``folds`` parts one by one. Raises RangeError for a cell outside the grid.
    """
    return smooth_rows(
        IntervalRows(intervals.first, intervals.last, cells),
        intervals.weight,
        fold_weight=intervals.fold_weight,
        free_first=free_first,
        smoothing=smoothing,
        folds=folds,
        rng=rng,
        grid=grid,
    )


def smooth_rows(
    rows: MatrixRows,
    weight: Array,
    *,
    fold_weight: Array | None = None,
    free_first: bool = False,
    smoothing: float | None = None,
    folds: int = FOLDS,
    rng: np.random.Generator | None = None,
    grid: Sequence[float] = GRID,
    start: Array | None = None,
) -> SmoothDensity:
    """`smooth_density` for general rows A, (m, cells): record i has likelihood A[i] @ f.

    ``weight`` (m,); ``fold_weight`` (m, folds) splits it over the held-out parts. ``start``: a log
    density to start from.
    """
    load = weights(weight, rows.shape[0])
    cells = rows.shape[1]
    if cells < 4:
        raise RangeError(f"a smooth density needs at least 4 cells; got {cells}")
    rough, weak = roughness(cells, free_first)
    begin = _start(rows, load) if start is None else start
    table: tuple[HeldOut, ...] = ()
    if smoothing is None:
        table = held_out_table(rows, load, fold_weight, rough, weak, begin, folds, rng, grid)
        smoothing = max(table, key=lambda row: row.score).smoothing
    if not (np.isfinite(smoothing) and smoothing > 0):
        raise RangeError(f"smoothing must be positive and finite; got {smoothing!r}")
    penalty = smoothing * rough + weak
    eta = mode(rows, load, penalty, begin)
    density = np.exp(eta)
    information = _information(rows, load, density)
    shift = np.full((cells, cells), load.sum() / cells**2)  # eta is free up to a constant
    inverse = np.linalg.inv(information + penalty + shift)
    centred = np.eye(cells) - density  # d log f = (I - 1 f') d eta
    covariance = centred @ inverse @ centred.T
    fitted = rows.fitted(density)
    used = load > 0
    return SmoothDensity(
        density=density,
        eta=eta,
        covariance=(covariance + covariance.T) / 2,
        smoothing=float(smoothing),
        held_out=table,
        log_likelihood=float(load[used] @ np.log(fitted[used])),
        parameters=float(np.sum(inverse * information)),
    )


def roughness(cells: int, free_first: bool) -> tuple[Array, Array]:
    """Penalty matrices (cells, cells): second differences, and the weak one of first differences."""
    second = np.diff(np.eye(cells), n=2, axis=0)
    if free_first:
        second = second[1:]
    first = np.diff(np.eye(cells), axis=0)
    return second.T @ second, _WEAK * first.T @ first


def mode(rows: MatrixRows, weight: Array, penalty: Array, start: Array) -> Array:
    """The log density (cells,) at the mode of likelihood and penalty, by damped Newton steps.

    The likelihood of intervals is not concave in eta. Where the exact Hessian is not definite, the
    missing information is taken back by halves: without it the matrix is that of complete data,
    which is always definite.
    """
    from scipy.linalg import (
        LinAlgError,
        cho_factor,
        cho_solve,
    )

    total = float(weight.sum())
    shift = total / len(start) ** 2
    used = weight > 0

    def value_at(eta: Array) -> tuple[float, Array]:
        fitted = np.maximum(rows.fitted(np.exp(eta)), 1e-300)
        return float(weight @ np.log(fitted) - eta @ penalty @ eta / 2), fitted

    eta = _log_softmax(start)
    value, fitted = value_at(eta)
    for _ in range(_STEPS):
        density = np.exp(eta)
        load = np.where(used, weight / fitted, 0)
        expected = density * rows.pull(load)  # records expected in each cell
        gradient = expected - total * density - penalty @ eta
        complete = np.diag(total * density) - total * np.outer(density, density) + penalty + shift
        missing = np.diag(expected) - np.outer(density, density) * rows.cross(load / fitted)
        share = 1.0
        while True:
            try:
                factor = cho_factor(complete - share * missing, check_finite=False)
                break
            except LinAlgError:
                if share == 0.0:  # nothing is left to take off: numbers too far apart for a step
                    raise RangeError(
                        "the records do not determine a density on these years; give more records, "
                        "or more smoothing"
                    ) from None
                share = share / 2 if share > 0.05 else 0.0
        step = cho_solve(factor, gradient, check_finite=False)
        gain = float(gradient @ step)
        if gain < _DECREMENT:
            break
        length = min(1.0, 8 / float(np.abs(step - step.mean()).max()))
        while length > 1e-10:
            trial = _log_softmax(eta + length * step)
            after, fitted_there = value_at(trial)
            if after >= value + 1e-4 * length * gain:
                break
            length /= 2
        else:
            break  # rounding: nothing more to gain
        eta, value, fitted = trial, after, fitted_there
    return eta


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


def _start(rows: MatrixRows, weight: Array) -> Array:
    """Each record spread over its row, and a little over all cells, as a log density."""
    each = weight / rows.fitted(np.ones(rows.shape[1]))
    spread = rows.pull(each) / weight.sum()
    return np.asarray(np.log(0.9 * spread + 0.1 / len(spread)))


def _information(rows: MatrixRows, weight: Array, density: Array) -> Array:
    """Observed information of eta in the likelihood alone, (cells, cells)."""
    total = weight.sum()
    fitted = np.maximum(rows.fitted(density), 1e-300)
    load = np.where(weight > 0, weight / fitted, 0)
    outer = np.outer(density, density)
    return np.asarray(
        np.diag(total * density - density * rows.pull(load))
        - outer * (total - rows.cross(load / fitted))
    )


def _log_softmax(eta: Array) -> Array:
    top = eta.max(axis=-1, keepdims=True)
    return np.asarray(eta - top - np.log(np.exp(eta - top).sum(axis=-1, keepdims=True)))
