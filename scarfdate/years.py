"""Questions to probabilities over years.

Everything here takes ``probability`` of shape (n, years), rows summing to one, and answers for all
rows at once with cell numbers (0 is the first year of the grid). One scarf is a batch of one.
"""

from __future__ import annotations

from datetime import date
from numbers import Integral

import numpy as np
from numpy.typing import NDArray

from scarfdate.conventions import FIRST_YEAR, LAST_AS_OF
from scarfdate.errors import RangeError, shown

Array = NDArray[np.float64]
Cells = NDArray[np.intp]

_WRITTEN = date(2026, 1, 1)  # no clock that is right says less than when this was written
_SLACK = 1e-12  # sums of floats: 0.8 may come out as 0.7999999999999999


def checked_level(level: float) -> float:
    """``level`` as a float, refused outside (0, 1)."""
    try:
        number = float(level)
    except (TypeError, ValueError, OverflowError):
        number = float("nan")
    if not 0 < number < 1:
        got = shown(level) if number != number else f"{number:g}"
        percent = number if 1 < number < 100 else 80
        raise RangeError(
            f"level must lie between 0 and 1, both left out; got {got}; "
            f"write {percent / 100:g} for {percent:g} %"
        )
    return number


def this_day() -> date:
    """The day by the clock; of one that was set back before this version was written, the first day of its year."""
    return max(date.today(), _WRITTEN)


def checked_as_of(as_of: object) -> int:
    """The last year of the grid: the current year where nothing is said."""
    if as_of is None:
        return this_day().year
    if (
        isinstance(as_of, bool)
        or not isinstance(as_of, Integral)
        or not FIRST_YEAR < int(as_of) <= LAST_AS_OF
    ):
        raise RangeError(
            f"as_of: a whole year from {FIRST_YEAR + 1} to {LAST_AS_OF} is allowed, got {shown(as_of)}"
        )
    return int(as_of)


def cumulative(probability: Array) -> Array:
    """P(at or before) with a leading zero: shape (n, years + 1)."""
    total = np.empty((len(probability), probability.shape[1] + 1))
    total[:, 0] = 0.0
    np.cumsum(probability, axis=1, out=total[:, 1:])
    return total


def quantile(total: Array, level: float) -> Cells:
    """The first cell at or before which at least ``level`` lies; ``total`` as from `cumulative`.

    There are several definitions of a quantile of a discrete distribution; this is the smallest.
    """
    return np.asarray((total[:, 1:] < level - _SLACK).sum(axis=1), dtype=np.intp)


def central_interval(total: Array, level: float) -> tuple[Cells, Cells]:
    """First and last cell of the interval that leaves at most (1 - level) / 2 on either side."""
    tail = (1 - level) / 2
    last = (total[:, 1:] < 1 - tail - _SLACK).sum(axis=1)
    first = (total[:, 1:] <= tail + _SLACK).sum(axis=1)
    return np.asarray(np.minimum(first, last), dtype=np.intp), np.asarray(last, dtype=np.intp)


def shortest_interval(
    total: Array, level: float, at_least: Cells | None = None
) -> tuple[Cells, Cells]:
    """First and last cell of the shortest run of years that holds ``level``.

    Of equally short runs, the one that holds most; of equals in that, the earliest. The length is
    found by halving, for all rows at once: a longer run never holds less. ``at_least``: a length
    (n,) that none can beat, such as that of `densest`: tried first, and then lengths a little above it.
    """
    n, width = total.shape
    years = width - 1
    want = level - _SLACK
    short = np.ones(n, dtype=np.intp)  # every length below is too short, `long` is long enough
    long = np.full(n, years, dtype=np.intp)
    first = np.zeros(n, dtype=np.intp)
    todo = np.arange(n)
    reach = years  # how far beyond what is too short the next length may be
    if at_least is not None:
        short, reach = np.minimum(at_least, years), 0
    while todo.size:
        middle = np.minimum((short[todo] + long[todo]) // 2, short[todo] + reach)
        # rows are sorted by the length they try, so that each length is one plain subtraction
        order = np.argsort(middle, kind="stable")
        lengths, starts = np.unique(middle[order], return_index=True)
        for length, rows in zip(lengths, np.split(todo[order], starts[1:]), strict=True):
            some = total[rows]
            held = some[:, length:] - some[:, : width - length]
            best = held.argmax(axis=1)
            enough = held[np.arange(len(rows)), best] >= want
            found = rows[enough]
            long[found] = length
            first[found] = best[enough]
            short[rows[~enough]] = length + 1
        # a row that never passed still needs its first cell: the longest run always holds enough
        todo = todo[short[todo] < long[todo]]
        reach = 2 * reach + 1
    return first, first + long - 1


def densest(probability: Array, level: float) -> tuple[NDArray[np.bool_], Cells]:
    """`densest_cells`, and the least number of cells, (n,), that can hold ``level``."""
    ordered = np.sort(probability, axis=1)[:, ::-1]
    held = np.cumsum(ordered, axis=1)
    last = np.minimum((held < level - 2 * _SLACK).sum(axis=1), probability.shape[1] - 1)
    threshold = ordered[np.arange(len(ordered)), last]
    # cells equal up to rounding belong together: a flat top is not cut in two
    return probability >= threshold[:, None] * (1 - 1e-9), np.asarray(last + 1, dtype=np.intp)


def densest_cells(probability: Array, level: float) -> NDArray[np.bool_]:
    """The highest-density region: the fewest cells, most probable first, that hold ``level``."""
    return densest(probability, level)[0]


def stretches(inside: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """The runs of true cells of one row, as (first, last)."""
    edges = np.flatnonzero(np.diff(np.concatenate(([False], inside, [False])).astype(np.int8)))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def several_stretches(inside: NDArray[np.bool_]) -> tuple[Cells, Cells, Cells]:
    """`stretches` of every row that has more than one: row, first and last cell of each, row by row."""
    n, width = inside.shape
    padded = np.zeros((n, width + 2), dtype=bool)
    padded[:, 1:-1] = inside
    # all rows end to end: before each stretch there is an edge, and another at its end
    end_to_end = padded.ravel()
    edges = np.flatnonzero(end_to_end[1:] != end_to_end[:-1])
    rows, starts = np.divmod(edges[::2], width + 2)
    ends = starts + edges[1::2] - edges[::2] - 1
    several = np.bincount(rows, minlength=n)[rows] > 1
    return rows[several], starts[several], ends[several]


def chance_before(a: Array, b: Array) -> float:
    """P(A was made in an earlier year than B) for two independent rows of equal length."""
    return float(np.sum(b[1:] * np.cumsum(a)[:-1]))


def difference(a: Array, b: Array) -> tuple[NDArray[np.intp], Array]:
    """The distribution of (year of B - year of A), for two independent rows of equal length."""
    return np.arange(-len(a) + 1, len(b)), np.convolve(b, a[::-1])
