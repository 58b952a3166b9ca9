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
  would seem to be wrong. Wide intervals therefore say little: see `Coverage.least` and `Coverage.most`.

Sources: T. Gneiting and A. E. Raftery 2007, "Strictly proper scoring rules, prediction, and estimation",
JASA 102, 359-378 (log, CRPS, Brier and interval score); C. Czado, T. Gneiting and L. Held 2009,
"Predictive model assessment for count data", Biometrics 65, 1254-1261 (PIT without drawing); A. H. Murphy
1973, "A new vector partition of the probability score", Journal of Applied Meteorology 12, 595-600.
Formulas from memory, held against other libraries in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scarfdate.density.intervals import whole_numbers
from scarfdate.errors import RangeError
from scarfdate.years import Array, Cells, central_interval, cumulative, shortest_interval

LEAST = 1e-300  # a probability of 0 is scored as this: the mean stays finite, and terrible
SURE = 0.95  # of the intervals about means
_ROUNDING = 1e-9
_SUM = 1e-6  # how far a row may be from summing to one


@dataclass(frozen=True, eq=False, kw_only=True)
class Coverage:
    """How the shortest intervals of one level do, (n,) each, all 0 to 1.

    ``held``: the chance, under the distribution, that the interval has the true year, given that this
    lies in the known one; 0 or 1 for exact years. ``expected``: what the interval holds by itself: of whole
    years a little more than the level. ``least``: 1 where the known interval lies wholly inside;
    ``most``: 1 where they have a year in common. Whatever the true years, the part that is covered lies
    between the means of these two.
    """

    held: Array
    expected: Array
    least: Array
    most: Array


@dataclass(frozen=True, eq=False, kw_only=True)
class Reliability:
    """Forecast probabilities in equal bins of 0 to 1, and what was observed; empty bins left out.

    ``forecast``, ``observed``: mean forecast, and share that came true, by bin; ``count``: forecasts in each.
    """

    forecast: Array
    observed: Array
    count: NDArray[np.int64]


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """A mean over records, its bootstrap standard error, and its 95 % interval.

    With a single unit the error is NaN and the interval endless.
    """

    mean: float
    error: float
    lower: float
    upper: float


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
    return np.asarray(np.log(np.clip(_chance(p, begin, end), LEAST, 1.0)))


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
    of_class, member = _by_class(p, classes)
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


def coverage(probability: ArrayLike, first: ArrayLike, last: ArrayLike, level: float) -> Coverage:
    """How the shortest interval of each row at ``level`` does."""
    p, begin, end = checked(probability, first, last)
    low, high = shortest_interval(cumulative(p), level)
    low_in, high_in = np.maximum(low, begin), np.minimum(high, end)
    meets = low_in <= high_in
    both = np.where(meets, _chance(p, low_in, np.maximum(high_in, low_in)), 0.0)
    least = ((low <= begin) & (end <= high)).astype(float)
    whole = _chance(p, begin, end)
    held = np.where(least > 0, 1.0, both / np.maximum(whole, LEAST))
    return Coverage(
        held=np.clip(held, 0.0, 1.0),
        expected=np.minimum(_chance(p, low, high), 1.0),
        least=least,
        most=meets.astype(float),
    )


def pit(probability: ArrayLike, first: ArrayLike, last: ArrayLike, bins: int) -> Array:
    """Probability integral transform: what each record adds to each bin of 0..1, (n, bins).

    Rows sum to one: the transform is even between P(before first) and P(up to last). Under the right
    distribution every bin has the mean 1 / bins, exactly.
    """
    p, begin, end = checked(probability, first, last)
    total = np.minimum(cumulative(p), 1.0)
    each = np.arange(len(p))
    low, high = total[each, begin], total[each, end + 1]
    edges = np.linspace(0, 1, bins + 1)
    length = high - low
    share = np.clip((edges - low[:, None]) / np.where(length > 0, length, 1.0)[:, None], 0, 1)
    step = (edges > np.minimum(low, 1 - 1e-12)[:, None]).astype(float)  # no length: one point
    share = np.where((length > 0)[:, None], share, step)
    share[:, -1] = 1.0  # up to rounding it is
    return np.asarray(np.diff(share, axis=1))


def reliability(
    probability: ArrayLike, first: ArrayLike, last: ArrayLike, classes: ArrayLike, bins: int
) -> Reliability:
    """The forecasts of all classes in ``bins`` equal bins, and how often such classes were true.

    Of a known interval, each class has come true as far as the distribution itself has it there.
    """
    p, begin, end = checked(probability, first, last)
    forecast, _ = _by_class(p, classes)
    year = np.arange(p.shape[1])
    known = p * ((begin[:, None] <= year) & (year <= end[:, None]))
    whole = known.sum(axis=1, keepdims=True)
    even = 1.0 * ((begin[:, None] <= year) & (year <= end[:, None]))  # where it has nothing there
    known = np.where(whole > 0, known / np.maximum(whole, LEAST), even / even.sum(1, keepdims=True))
    observed, _ = _by_class(known, classes)
    # forecasts that are equal up to rounding belong in one bin
    place = np.minimum((forecast * bins + _ROUNDING).astype(np.intp), bins - 1).ravel()
    count = np.bincount(place, minlength=bins)
    used = count > 0
    means = [
        np.bincount(place, values.ravel(), bins)[used] / count[used]
        for values in (forecast, observed)
    ]
    return Reliability(forecast=means[0], observed=means[1], count=count[used])


def brier_parts(decades: Reliability) -> tuple[float, float, float]:
    """Murphy's parts of the two-class Brier score: reliability, resolution, uncertainty.

    Reliability less resolution plus uncertainty is the mean of (forecast - observed)², exactly where
    all forecasts of a bin are equal.
    """
    weight = decades.count / decades.count.sum()
    base = float(weight @ decades.observed)
    return (
        float(weight @ (decades.forecast - decades.observed) ** 2),
        float(weight @ (decades.observed - base) ** 2),
        base * (1 - base),
    )


def binomial_band(count: int, chance: float, sure: float = SURE) -> tuple[int, int]:
    """The central band of a binomial count: at most (1 - sure) / 2 of its chance on either side."""
    from scipy.special import bdtr, bdtrik

    if not 0 < chance < 1:
        return (0, 0) if chance <= 0 else (count, count)
    level = np.array([(1 - sure) / 2, (1 + sure) / 2])
    # the inverse is of a continuous count: the quantile is the whole number above, or that below it
    above = np.ceil(bdtrik(level, count, chance))
    below = np.maximum(above - 1, 0)
    low, high = np.where(bdtr(below, count, chance) >= level, below, above)
    return int(low), int(high)


def effective(unit: Cells) -> float:
    """The number of independent records that (n,) records in units are worth at least.

    n² / Σ (size of unit)²: as if all records of a unit were alike (L. Kish 1965, Survey Sampling).
    """
    size = np.bincount(unit)
    return float(len(unit)) ** 2 / float((size.astype(float) ** 2).sum())


def bootstrap(values: Array, unit: Cells, rng: np.random.Generator, draws: int) -> list[Uncertain]:
    """Mean of each column of ``values`` (n, k), with its error from resampled units.

    ``unit``: (n,) whole numbers from 0, none left out; all records of a unit are drawn together.
    With few units plain percentiles are too narrow: the deviations are stretched by
    √(m / (m - 1)), and the interval by the ratio of Student's t to the normal quantile for m units
    (after T. C. Hesterberg 2015, "What teachers should know about the bootstrap", The American
    Statistician 69, 371-386; from memory).
    """
    from scipy.special import stdtrit

    units = int(unit.max()) + 1
    mean = values.mean(axis=0)
    if units < 2:
        return [
            Uncertain(mean=float(each), error=math.nan, lower=-math.inf, upper=math.inf)
            for each in mean
        ]
    size = np.bincount(unit, minlength=units).astype(float)
    off = np.stack([np.bincount(unit, c, units) for c in (values - mean).T], axis=1)
    drawn = np.empty((draws, values.shape[1]))
    for row in drawn:
        often = np.bincount(rng.integers(units, size=units), minlength=units)
        row[:] = (often @ off) / (often @ size)
    drawn *= math.sqrt(units / (units - 1))
    tail = (1 - SURE) / 2
    wider = float(stdtrit(units - 1, 1 - tail)) / NormalDist().inv_cdf(1 - tail)
    # of the draws and the truth, every order is as likely: hence not the default of numpy
    low, high = np.quantile(drawn, [tail, 1 - tail], axis=0, method="weibull") * wider
    error = drawn.std(axis=0, ddof=1)
    return [
        Uncertain(mean=float(m), error=float(e), lower=float(m + a), upper=float(m + b))
        for m, e, a, b in zip(mean, error, low, high, strict=True)
    ]


def _chance(p: Array, first: Cells, last: Cells) -> Array:
    """P(first..last). Summed on its own: a difference of sums would lose small chances."""
    year = np.arange(p.shape[1])
    inside = (first[:, None] <= year) & (year <= last[:, None])
    return np.asarray(np.where(inside, p, 0.0).sum(axis=1))


def _within(values: Array, first: Cells, last: Cells) -> Array:
    """The mean of each row of (n, years) over first..last."""
    return _chance(values, first, last) / (last - first + 1)


def _by_class(p: Array, classes: ArrayLike) -> tuple[Array, Cells]:
    """Chances (n, classes), and the class of each cell."""
    member = whole_numbers(classes, "classes")
    if len(member) != p.shape[1] or member.min(initial=0) < 0:
        raise RangeError(f"classes: {p.shape[1]} whole numbers from 0 are needed, one a year")
    one = np.zeros((len(member), int(member.max()) + 1))
    one[np.arange(len(member)), member] = 1.0
    return p @ one, member
