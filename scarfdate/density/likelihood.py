"""The likelihood of records over year cells, as the three products that an estimate needs of it."""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells
from scarfdate.errors import RangeError


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
