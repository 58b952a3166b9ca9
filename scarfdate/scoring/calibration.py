"""Whether a distribution is right about itself: coverage, PIT, and forecasts against what was observed.

What the arrays are, and how a date that is an interval counts: `scarfdate.scoring.rules`.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from scarfdate.scoring.rules import LEAST, by_class, chance_within, checked
from scarfdate.years import Array, cumulative, shortest_interval

_ROUNDING = 1e-9


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


def coverage(probability: ArrayLike, first: ArrayLike, last: ArrayLike, level: float) -> Coverage:
    """How the shortest interval of each row at ``level`` does."""
    p, begin, end = checked(probability, first, last)
    low, high = shortest_interval(cumulative(p), level)
    low_in, high_in = np.maximum(low, begin), np.minimum(high, end)
    meets = low_in <= high_in
    both = np.where(meets, chance_within(p, low_in, np.maximum(high_in, low_in)), 0.0)
    least = ((low <= begin) & (end <= high)).astype(float)
    whole = chance_within(p, begin, end)
    held = np.where(least > 0, 1.0, both / np.maximum(whole, LEAST))
    return Coverage(
        held=np.clip(held, 0.0, 1.0),
        expected=np.minimum(chance_within(p, low, high), 1.0),
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
    forecast, _ = by_class(p, classes)
    year = np.arange(p.shape[1])
    known = p * ((begin[:, None] <= year) & (year <= end[:, None]))
    whole = known.sum(axis=1, keepdims=True)
    even = 1.0 * ((begin[:, None] <= year) & (year <= end[:, None]))  # where it has nothing there
    known = np.where(whole > 0, known / np.maximum(whole, LEAST), even / even.sum(1, keepdims=True))
    observed, _ = by_class(known, classes)
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
