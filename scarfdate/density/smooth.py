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

from scarfdate.conventions import LEVEL, Array
from scarfdate.density.held_out import HeldOut, held_out_table
from scarfdate.density.intervals import FOLDS, Intervals, weights
from scarfdate.density.likelihood import IntervalRows, MatrixRows
from scarfdate.density.mode import log_softmax, mode, observed_information, roughness, spread_out
from scarfdate.errors import RangeError, shown
from scarfdate.years import checked_level

GRID = tuple(10.0**power for power in range(-1, 9))  # first look; then finer around the best


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
        return np.exp(log_softmax(self.eta + rng.standard_normal((count, len(root))) @ root.T))


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
    begin = spread_out(rows, load) if start is None else start
    table: tuple[HeldOut, ...] = ()
    if smoothing is None:
        table = held_out_table(rows, load, fold_weight, rough, weak, begin, folds, rng, grid)
        smoothing = max(table, key=lambda row: row.score).smoothing
    if not (np.isfinite(smoothing) and smoothing > 0):
        raise RangeError(f"smoothing must be positive and finite; got {shown(smoothing)}")
    penalty = smoothing * rough + weak
    eta = mode(rows, load, penalty, begin)
    density = np.exp(eta)
    information = observed_information(rows, load, density)
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
