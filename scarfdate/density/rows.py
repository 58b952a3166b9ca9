"""What each record says about each cell: the matrix A, (m, cells), with A[i, y] = P(record | y).

For a plain interval the row is one inside and zero outside. The estimators need only four products
with A; on a grid of years they are dense, which is both quick and exact, and for long lists of real
numbers they go by running sums.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np

from scarfdate.density.intervals import Array, Cells
from scarfdate.errors import RangeError

_DENSE = 4_000_000  # entries: 32 MB


class Rows(Protocol):
    """The products with A that an estimator needs."""

    @property
    def shape(self) -> tuple[int, int]:
        """Records and cells."""
        ...

    def fitted(self, mass: Array) -> Array:
        """A @ mass, (m,)."""
        ...

    def pull(self, load: Array) -> Array:
        """A.T @ load, (cells,)."""
        ...

    def columns(self, which: Cells) -> Array:
        """A[:, which]."""
        ...


class MatrixRows:
    """Any matrix that is not negative and has no empty row."""

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

    def columns(self, which: Cells) -> Array:
        """A[:, which]."""
        return self.matrix[:, which]


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


class RunningRows:
    """Intervals too many for a dense matrix; products by running sums, in time m + cells."""

    def __init__(self, first: Cells, last: Cells, cells: int) -> None:
        self._first, self._after, self._cells = first, last + 1, cells

    @property
    def shape(self) -> tuple[int, int]:
        """Records and cells."""
        return len(self._first), self._cells

    def fitted(self, mass: Array) -> Array:
        """A @ mass, (m,)."""
        total = np.concatenate(([0.0], np.cumsum(mass)))
        return np.asarray(total[self._after] - total[self._first])

    def pull(self, load: Array) -> Array:
        """A.T @ load, (cells,)."""
        size = self._cells + 1
        edges = np.bincount(self._first, load, size) - np.bincount(self._after, load, size)
        return np.cumsum(edges)[:-1]

    def columns(self, which: Cells) -> Array:
        """A[:, which]."""
        inside = (self._first[:, None] <= which) & (which < self._after[:, None])
        return inside.astype(float)


def interval_rows(first: Cells, last: Cells, cells: int) -> Rows:
    """The rows of intervals for Turnbull's estimate: dense where that is small."""
    if len(first) * cells <= _DENSE:
        cell = np.arange(cells)
        return MatrixRows(((first[:, None] <= cell) & (cell <= last[:, None])).astype(float))
    return RunningRows(first, last, cells)
