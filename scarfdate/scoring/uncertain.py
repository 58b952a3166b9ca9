"""How sure the mean of scores is: errors by the bootstrap, and what chance allows a count."""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

import numpy as np

from scarfdate.years import Array, Cells

SURE = 0.95  # of the intervals about means


@dataclass(frozen=True, kw_only=True)
class Uncertain:
    """A mean over records, its bootstrap standard error, and its 95 % interval.

    With a single unit the error is NaN and the interval endless.
    """

    mean: float
    error: float
    lower: float
    upper: float


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
