"""Turnbull's estimate: the distribution under which the stated intervals are most likely.

The reference beside the smooth density: nothing is assumed but that each record's interval holds the
truth and that its bounds say no more than that. Sources: R. Peto 1973 (Applied Statistics 22),
B. W. Turnbull 1976 (JRSS B 38), R. Gentleman and C. J. Geyer 1994 (Biometrika 81) on the
Kuhn-Tucker check and uniqueness, Y. Wang 2007 (JRSS B 69) for the constrained Newton step.

Two things that the data cannot say, and that no estimate from them can:

* *Within* a support interval the mass has no place: any way of spreading it gives the same
  likelihood (representational non-uniqueness). `Npmle.cdf_bounds` gives both extremes.
* The masses themselves may not be unique (mixture non-uniqueness); ``unique`` tells. For intervals
  of one line it never happens on the innermost intervals: let support j be a link between the nodes
  j and j + 1, and each record a link from its first node to the node after its last. Each node but
  the uppermost begins a record, so that from each node one can climb to the uppermost: the graph
  hangs together, so the clique matrix has full column rank, also after zero masses are struck
  out (which only draws nodes together). So `npmle` need not look; for general rows (`mixture`),
  such as rectangles of two dates, it does happen, and is looked for.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np
from numpy.typing import ArrayLike

from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells, Intervals, Mask, weights
from scarfdate.density.likelihood import MatrixRows as Products
from scarfdate.errors import RangeError

TOL = 1e-9  # the largest mean gradient may lie this far above one
_ON_EDGE = 1e-6  # a support whose gradient is within this of one may carry mass
_FIRST_EM = 25  # EM is quick far from the maximum, Newton steps near it; with many supports later
_NEW = 64  # supports taken up again in one Newton step
_DENSE = 4_000_000  # entries of a matrix, 32 MB; beyond, products go by running sums

Method = Literal["newton", "em"]


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


class MatrixRows(Products):
    """Any matrix that is not negative and has no empty row."""

    def columns(self, which: Cells) -> Array:
        """A[:, which]."""
        return self.matrix[:, which]


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


@dataclass(frozen=True, slots=True)
class Npmle:
    """A nonparametric maximum-likelihood estimate.

    ``left``, ``right`` (s,): support intervals (left, right]; a single point where they are equal.
    ``mass`` (s,) sums to one. ``gradient`` (s,): mean over records of P(record | support) /
    P(record), at most one everywhere at the maximum and equal to one where there is mass. ``gap``:
    its largest value less one; the log-likelihood is within (total weight x gap) of the maximum.
    ``unique``: whether no other masses on these supports are as likely.
    """

    left: Array
    right: Array
    mass: Array
    log_likelihood: float
    gradient: Array
    gap: float
    iterations: int
    unique: bool

    def cdf_bounds(self, points: ArrayLike) -> tuple[Array, Array]:
        """The lowest and highest distribution function at ``points`` that are equally likely.

        Lower: all mass at the right ends of the support intervals; upper: at their left ends.
        """
        at = np.asarray(points, dtype=float)
        total = np.concatenate(([0.0], np.cumsum(self.mass)))
        lower = total[np.searchsorted(self.right, at, side="right")]
        upper = total[np.searchsorted(self.left, at, side="left")]
        # a single point counts from the point on: it has no left end before it
        return lower, np.maximum(lower, upper)

    def spread(self, cells: int) -> Array:
        """For an estimate on cells: each mass spread evenly over the cells of its interval."""
        density = np.zeros(cells)
        first, last = self.left.astype(np.intp) + 1, self.right.astype(np.intp)
        for a, b, mass in zip(first, last, self.mass, strict=True):
            density[a : b + 1] += mass / (b - a + 1)
        return density


def npmle(
    left: ArrayLike,
    right: ArrayLike,
    weight: ArrayLike | None = None,
    *,
    tol: float = TOL,
    max_iterations: int = 100_000,
    method: Method = "newton",
) -> Npmle:
    """The estimate from intervals (left, right] on the real line.

    ``left``, ``right``: (n,); minus or plus infinity for an open side; ``left == right`` for an
    exact observation. ``weight``: counts, default 1. ``method``: ``"newton"`` (EM, then constrained
    Newton steps with line search) or ``"em"`` (plain EM, slow: a second route to the same answer).
    Stops when ``gap <= tol`` or after ``max_iterations``; look at ``gap`` to know which.
    Raises RangeError for NaN or ends in the wrong order.
    """
    low, high = np.asarray(left, dtype=float), np.asarray(right, dtype=float)
    if low.ndim != 1 or low.shape != high.shape or not len(low):
        raise RangeError(
            f"left and right must be flat, equally long and not empty; got {low.shape}, {high.shape}"
        )
    bad = ~(low <= high) | (np.isinf(low) & (low == high))
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(
            f"an interval must have left <= right, not both infinite on one side; row {row} has "
            f"({low[row]}, {high[row]}] ({int(bad.sum())} such rows)"
        )
    load = weights(weight, len(low))
    pair = np.stack([low[load > 0], high[load > 0]], axis=1)
    distinct, index = np.unique(pair, axis=0, return_inverse=True)
    count = np.bincount(index.ravel(), load[load > 0]).astype(float)
    return _of_distinct(distinct[:, 0], distinct[:, 1], count, tol, max_iterations, method)


def npmle_of_cells(
    intervals: Intervals,
    *,
    tol: float = TOL,
    max_iterations: int = 100_000,
    method: Method = "newton",
) -> Npmle:
    """The estimate from closed intervals of year cells: first..last is (first - 1, last].

    An exact year y is (y - 1, y]. Support interval (left, right] holds cells left + 1 .. right.
    """
    left, right = (intervals.first - 1).astype(float), intervals.last.astype(float)
    return _of_distinct(left, right, intervals.weight, tol, max_iterations, method)


def mixture(
    matrix: ArrayLike,
    weight: ArrayLike | None = None,
    *,
    tol: float = TOL,
    max_iterations: int = 100_000,
    method: Method = "newton",
) -> Npmle:
    """The estimate from general rows A, (m, cells): record i has likelihood A[i] @ mass.

    Support j is given as (j - 1, j].
    """
    rows = MatrixRows(np.asarray(matrix, dtype=float))
    right = np.arange(rows.shape[1], dtype=float)
    load = weights(weight, rows.shape[0])
    return _estimate(rows, load, right - 1, right, tol, max_iterations, method)


def _of_distinct(
    left: Array, right: Array, weight: Array, tol: float, most: int, method: Method
) -> Npmle:
    support_left, support_right, first, last = _innermost(left, right)
    rows = interval_rows(first, last, len(support_left))
    return _estimate(rows, weight, support_left, support_right, tol, most, method, on_line=True)


def _innermost(left: Array, right: Array) -> tuple[Array, Array, Cells, Cells]:
    """Support intervals, and the first and last support that lies inside each interval.

    Mass is wanted only where a left end is followed by a right end with no other end between. Where
    ends fall on one number the order is: left end of an exact observation (which is in), right end
    (in), left end of an interval (out).
    """
    value, place = np.unique(np.concatenate([left, right]), return_inverse=True)
    n = len(left)
    exact = left == right
    begin = 3 * place[:n] + np.where(exact, 0, 2)
    end = 3 * place[n:] + 1
    size = 3 * len(value)
    is_left, is_right = np.zeros(size, dtype=bool), np.zeros(size, dtype=bool)
    is_left[begin], is_right[end] = True, True
    ends = np.flatnonzero(is_left | is_right)
    inner = np.flatnonzero(is_left[ends[:-1]] & is_right[ends[1:]])
    low, high = ends[inner], ends[inner + 1]
    first = np.searchsorted(low, begin, side="left")
    last = np.searchsorted(high, end, side="right") - 1
    return value[low // 3], value[high // 3], first, last


def _estimate(
    rows: Rows,
    weight: Array,
    left: Array,
    right: Array,
    tol: float,
    most: int,
    method: Method,
    on_line: bool = False,
) -> Npmle:
    mass, iterations = _maximise(rows, weight / weight.sum(), tol, most, method)
    used = weight > 0
    fitted = rows.fitted(mass)
    gradient = rows.pull(np.where(used, weight, 0) / weight.sum() / fitted)
    return Npmle(
        left=left,
        right=right,
        mass=mass,
        log_likelihood=float(weight[used] @ np.log(fitted[used])),
        gradient=gradient,
        gap=float(gradient.max() - 1),
        iterations=iterations,
        unique=on_line or _is_unique(rows, mass, gradient),
    )


def _maximise(rows: Rows, share: Array, tol: float, most: int, method: Method) -> tuple[Array, int]:
    """Masses, and how many steps they took; ``share`` are weights that sum to one."""
    mass = np.full(rows.shape[1], 1 / rows.shape[1])
    done = 0
    some = max(_FIRST_EM, rows.shape[1] // 4)
    em_left = most if method == "em" else some
    while done < most:
        fitted = rows.fitted(mass)
        gradient = rows.pull(share / fitted)
        if gradient.max() - 1 <= tol:
            break
        done += 1
        if em_left > 0:
            em_left -= 1
            mass = mass * gradient
            mass /= mass.sum()
            if em_left == 0:
                mass = _without_dust(rows, mass)
            continue
        step = _newton_step(rows, share, mass, fitted, gradient)
        if step is None:  # rounding, or the least-squares solver gave up: some more EM steps
            # EM cannot wake a mass of zero: lift those that want to be up
            mass = np.where((mass == 0) & (gradient > 1), 1e-9, mass)
            mass /= mass.sum()
            em_left = some
            continue
        mass = step
    return mass, done


def _without_dust(rows: Rows, mass: Array) -> Array:
    """Masses that EM is about to lose are set to zero, if every record keeps a support."""
    kept = np.where(mass > 1e-3 / len(mass), mass, 0)
    if (rows.fitted(kept) <= 1e-12).any():  # above what running sums leave of nothing
        return mass
    return np.asarray(kept / kept.sum())


def _newton_step(
    rows: Rows, share: Array, mass: Array, fitted: Array, gradient: Array
) -> Array | None:
    """One constrained Newton step (Wang 2007) with line search; None if it gains nothing.

    The quadratic model of the log-likelihood over masses that sum to one is a least-squares problem
    with nothing negative; the sum is dealt with by one more row (A. Dax 1990).
    """
    wanted = np.flatnonzero((mass == 0) & (gradient > 1))
    if len(wanted) > _NEW:
        wanted = wanted[np.argsort(-gradient[wanted])[:_NEW]]
    which = np.union1d(np.flatnonzero(mass > 0), wanted)
    used = share > 0
    scaled = rows.columns(which)[used] / fitted[used, None]
    design = np.concatenate(
        [np.sqrt(share[used])[:, None] * (scaled - 2), np.ones((1, len(which)))]
    )
    solution = _least_squares(design)
    if solution is None or not solution.sum() > 0:
        return None
    target = np.zeros_like(mass)
    target[which] = solution / solution.sum()
    direction = target - mass
    slope = float(gradient @ direction)
    before = float(share[used] @ np.log(fitted[used]))
    length = 1.0
    while length > 1e-8:
        trial = np.maximum(mass + length * direction, 0)
        new = rows.fitted(trial)[used]
        if (new > 0).all():
            after = float(share[used] @ np.log(new))
            # near the maximum gains drown in rounding: then the smaller gap decides
            if after >= before + length * slope / 3:
                return np.asarray(trial / trial.sum())
            if abs(after - before) < 1e-13 * max(1.0, abs(before)):
                trial /= trial.sum()
                gap = rows.pull(np.where(used, share, 0) / rows.fitted(trial)).max()
                return np.asarray(trial) if gap < gradient.max() else None
        length /= 2
    return None


def _least_squares(design: Array) -> Array | None:
    """The solution, nowhere negative, of design @ x = (0, ..., 0, 1); None if none is found."""
    from scipy.optimize import nnls

    try:  # most often no bound is met near the maximum, and one solve will do
        plain = np.linalg.solve(design.T @ design, design[-1])
        if plain.min() >= 0:
            return np.asarray(plain)
    except np.linalg.LinAlgError:
        pass
    goal = np.zeros(len(design))
    goal[-1] = 1
    if len(design) > 2 * design.shape[1]:
        orthogonal, triangle = np.linalg.qr(design)
        design, goal = triangle, orthogonal[-1]
    try:
        solution, _ = nnls(design, goal)
    except RuntimeError:
        return None
    return np.asarray(solution)


def _is_unique(rows: Rows, mass: Array, gradient: Array) -> bool:
    """Whether no other masses give every record the same likelihood (which the maximum fixes).

    Another maximiser differs by a direction d with A d = 0 on the supports whose gradient is one,
    d not negative where there is no mass. Full column rank rules it out (Gentleman and Geyer 1994);
    without it, a linear programme decides about the zero masses.
    """
    edge = np.flatnonzero((mass > 0) | (gradient > 1 - _ON_EDGE))
    held = rows.columns(edge)
    if np.linalg.matrix_rank(held.T @ held) == len(edge):
        return True
    zero = mass[edge] <= 1e-12
    some = held[:, ~zero]
    if np.linalg.matrix_rank(some) < some.shape[1]:
        return False
    if not zero.any():
        return True
    from scipy.optimize import linprog

    found = linprog(
        -zero.astype(float),
        A_eq=held,
        b_eq=np.zeros(len(held)),
        bounds=[(0, 1) if z else (None, None) for z in zero],
    )
    return bool(found.status == 0 and -found.fun < 1e-9)


def bounded(
    first: ArrayLike,
    last: ArrayLike,
    acquired: ArrayLike | None = None,
    *,
    start: int,
    stop: int,
) -> tuple[Cells, Cells, Mask]:
    """Stated years as cells of the grid ``start``..``stop``: first cell, last cell, which are kept.

    ``first``, ``last`` and ``acquired`` are years, (n,), NaN where nothing is stated. "After 1933"
    has no last year: it ends with the year of acquisition, else with the grid. "Before 1933" has no
    first year: it begins with the grid. A piece was made before it was acquired, so a later end is
    cut there. Years before ``start`` fall into cell 0, which stands for all of them.

    Not kept: nothing stated at all, ends in the wrong order, made after it was acquired, or after
    ``stop``. Their cells are 0.
    """
    begin, end = np.asarray(first, dtype=float), np.asarray(last, dtype=float)
    had = np.full(begin.shape, np.nan) if acquired is None else np.asarray(acquired, dtype=float)
    if not begin.shape == end.shape == had.shape or begin.ndim != 1:
        raise RangeError("first, last and acquired must be flat arrays of equal length")
    stated = ~(np.isnan(begin) & np.isnan(end))
    low = np.where(np.isnan(begin), -np.inf, begin)
    ordered = ~(end < low)
    high = np.fmin(np.fmin(end, had), stop)
    kept = stated & ordered & (low <= high)
    low = np.where(kept, np.clip(low, start, stop), start)
    high = np.where(kept, np.clip(high, start, stop), start)
    return (low - start).astype(np.intp), (high - start).astype(np.intp), kept
