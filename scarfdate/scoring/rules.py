"""Proper scores of probabilities over whole years, and how sure their means are. Arrays only.

``probability`` is (n, years), rows summing to one; ``first`` and ``last`` are (n,) cell numbers from 0:
the true year lies in ``first..last``, both in, and is exact where they are equal. How a date that is an
interval counts:

- *Log score*: log P(interval), exact. It stays proper for intervals that are laid without a look at the
  clues, and so it decides.
- *CRPS, Brier, interval score*: the mean over the years of the interval, each weighing the same. The
  weights come from no distribution, so that two that are compared meet the same rule. The best that can be
  reached is then above 0, and a distribution that is even within the interval is favoured.
- *Coverage and PIT* check whether a distribution is right about itself; the years of the interval weigh
  there as the distribution has them. With even weights one that is right and narrower than the intervals
  would seem to be wrong. Wide intervals therefore say little. See `scarfdate.scoring.calibration`.

Sources: T. Gneiting and A. E. Raftery 2007, "Strictly proper scoring rules, prediction, and estimation",
JASA 102, 359-378 (log, CRPS, Brier and interval score); C. Czado, T. Gneiting and L. Held 2009,
"Predictive model assessment for count data", Biometrics 65, 1254-1261 (PIT without drawing); A. H. Murphy
1973, "A new vector partition of the probability score", Journal of Applied Meteorology 12, 595-600.
Formulas from memory, held against other libraries in the tests.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from scarfdate.density.intervals import whole_numbers
from scarfdate.errors import RangeError
from scarfdate.years import Array, Cells, central_interval, cumulative

LEAST = 1e-300  # a probability of 0 is scored as this: the mean stays finite, and terrible
_SUM = 1e-6  # how far a row may be from summing to one


def checked(
    probability: ArrayLike, first: ArrayLike, last: ArrayLike
) -> tuple[Array, Cells, Cells]:
    """The three as arrays; RangeError unless they are as the module says."""
    p = np.asarray(probability, dtype=float)
    if p.ndim != 2 or not p.shape[1]:
        raise RangeError(f"probability: an array (n, years) is needed, got shape {p.shape}")
    begin, end = whole_numbers(first, "first"), whole_numbers(last, "last")
    if not len(begin) == len(end) == len(p):
        raise RangeError(
            f"probability, first and last differ in length: {len(p)}, {len(begin)} and {len(end)}"
        )
    bad = ~((p >= 0).all(axis=1) & (np.abs(p.sum(axis=1) - 1) <= _SUM))
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(
            f"probability: rows of 0 or more that sum to one are needed; row {row} sums to "
            f"{p[row].sum():.6g}, its least is {p[row].min():.3g}"
        )
    bad = (begin < 0) | (end < begin) | (end >= p.shape[1])
    if bad.any():
        row = int(bad.argmax())
        raise RangeError(
            f"first and last: 0 <= first <= last < {p.shape[1]} is needed; row {row} has "
            f"{begin[row]}..{end[row]}"
        )
    return p, begin, end


def log_score(probability: ArrayLike, first: ArrayLike, last: ArrayLike) -> Array:
    """Natural log of P(first..last), (n,), 0 at best. A chance of 0 counts as 1e-300."""
    p, begin, end = checked(probability, first, last)
    return np.asarray(np.log(np.clip(chance_within(p, begin, end), LEAST, 1.0)))


def crps(probability: ArrayLike, first: ArrayLike, last: ArrayLike) -> Array:
    """Continuous ranked probability score in years, (n,), 0 at best: Σ over t of (F(t) - 1{t >= y})².

    A distribution that is sure of one year scores the years by which it is off.
    """
    p, begin, end = checked(probability, first, last)
    total = np.minimum(np.cumsum(p, axis=1), 1.0)
    below = cumulative(total**2)[:, :-1]  # of the years before y, F should be 0
    above = (1 - total) ** 2  # from y on, F should be 1
    after = np.cumsum(above[:, ::-1], axis=1)[:, ::-1]
    return _within(below + after, begin, end)


def brier(probability: ArrayLike, first: ArrayLike, last: ArrayLike, classes: ArrayLike) -> Array:
    """Σ over classes of (P(class) - 1{true class})², (n,), 0 at best, 2 at worst.

    ``classes``: (years,) the class of each cell, whole numbers from 0, such as decades.
    """
    p, begin, end = checked(probability, first, last)
    of_class, member = by_class(p, classes)
    squares = (of_class**2).sum(axis=1)
    return np.asarray(squares + 1 - 2 * _within(of_class[:, member], begin, end))


def interval_score(
    probability: ArrayLike, first: ArrayLike, last: ArrayLike, level: float
) -> Array:
    """Score of the central interval at ``level``, in years, (n,), 0 at best.

    Its length (last year less first) and, for a year outside, 2 / (1 - level) times how far.
    """
    p, begin, end = checked(probability, first, last)
    low, high = central_interval(cumulative(p), level)
    year = np.arange(p.shape[1])
    off = np.maximum(low[:, None] - year, 0) + np.maximum(year - high[:, None], 0)
    return (high - low) + 2 / (1 - level) * _within(off.astype(float), begin, end)


def chance_within(p: Array, first: Cells, last: Cells) -> Array:
    """P(first..last). Summed on its own: a difference of sums would lose small chances."""
    year = np.arange(p.shape[1])
    inside = (first[:, None] <= year) & (year <= last[:, None])
    return np.asarray(np.where(inside, p, 0.0).sum(axis=1))


def _within(values: Array, first: Cells, last: Cells) -> Array:
    """The mean of each row of (n, years) over first..last."""
    return chance_within(values, first, last) / (last - first + 1)


def by_class(p: Array, classes: ArrayLike) -> tuple[Array, Cells]:
    """Chances (n, classes), and the class of each cell."""
    member = whole_numbers(classes, "classes")
    if len(member) != p.shape[1] or member.min(initial=0) < 0:
        raise RangeError(f"classes: {p.shape[1]} whole numbers from 0 are needed, one a year")
    one = np.zeros((len(member), int(member.max()) + 1))
    one[np.arange(len(member)), member] = 1.0
    return p @ one, member
