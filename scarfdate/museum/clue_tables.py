"""Clue tables from dated records: how often each value was noted, by year.

The year of a record is latent within its date. Each round of the estimate shares every record out over
its years and values (E step), counts, and smooths the counts over years (EMS: Silverman, Jones, Wilson
and Nychka 1990, "A smoothed EM approach to indirect estimation problems", Journal of the Royal
Statistical Society B 52, 271-324; cited from memory):

    r(i, y)    in proportion to  P(date i | y) P(y) product over clues of sum over v of F(i, v) p(v | y)
    N(v, y)    = sum over i of  weight(i) r(i, y) P(v | y, noted i)
    p(v | y)   = (kernel * N + pull q(v)) / (kernel * N summed over v + pull)

The first year stands for all before it and lends nothing to the years after. ``pull`` draws thinly
recorded years to the overall shares q. Bandwidth and pull are chosen by held-out likelihood.
"Not stated" is a row of ones: it says nothing.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import product

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import normal_density
from scarfdate.knots import Array

_ROUNDS = 60  # of EMS at most
_SETTLED = 1e-4  # the largest change of a share at which a round is the last
_TINY = 1e-300
_SEEN_ONCE = 0.5  # records added to every value overall: none is impossible for want of a record
BANDWIDTHS = (5.0, 8.0, 12.0)  # years
PULLS = (3.0, 10.0, 30.0)  # records


@dataclass(frozen=True)
class Measurements:
    """What n records measure on a parent family: ``log`` (n,), NaN where nothing was measured.

    ``slip`` is the share of wrong ones, spread evenly over ``width``, the possible range of the log.
    """

    log: Array
    slip: float
    width: float


@dataclass(frozen=True)
class Noted:
    """What n records say.

    ``dated`` (n, years): P(date as stated | year), any scale; ``weight`` (n,); ``fits`` by family
    (n, values): P(what was noted | value), ones where nothing was stated; ``measured`` by the parent
    family, at most one each.
    """

    dated: Array
    weight: Array
    fits: Mapping[str, Array]
    measured: Mapping[str, Measurements]

    def some(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> Noted:
        """The records ``which``."""
        return Noted(
            self.dated[which],
            self.weight[which],
            {family: fits[which] for family, fits in self.fits.items()},
            {
                family: Measurements(m.log[which], m.slip, m.width)
                for family, m in self.measured.items()
            },
        )

    def weighted(self, factor: Array) -> Noted:
        """The same records, each weight multiplied."""
        return Noted(self.dated, self.weight * factor, self.fits, self.measured)


@dataclass(frozen=True)
class Smoothing:
    """``bandwidth`` of the kernel in years, ``pull`` to the overall shares in records."""

    bandwidth: float
    pull: float


@dataclass(frozen=True)
class ClueTables:
    """Shares (values, years) by family, expected records behind them, centre and spread of sizes.

    ``counts`` (values, years) are expected records that state the family; ``sizes`` by parent family:
    centre and spread of the log, each (values, years), and the expected records (values, years).
    ``year`` (n, years): the year of each record given all that it says.
    """

    shares: Mapping[str, Array]
    counts: Mapping[str, Array]
    sizes: Mapping[str, tuple[Array, Array, Array]]
    year: Array


def kernel(years: int, bandwidth: float) -> Array:
    """Weights (years, years) of a Gaussian kernel; the first cell stands alone."""
    at = np.arange(years)
    found = np.exp(-0.5 * ((at[:, None] - at) / bandwidth) ** 2)
    found[0, 1:] = found[1:, 0] = 0.0
    return np.asarray(found)


def fit(noted: Noted, density: Array, smoothing: Smoothing) -> ClueTables:
    """Clue tables from records, under a density over years that is held fixed."""
    years = len(density)
    smooth = kernel(years, smoothing.bandwidth)
    stated = {family: _stated(fits) for family, fits in noted.fits.items()}
    shares = {
        family: np.full((fits.shape[1], years), 1 / fits.shape[1])
        for family, fits in noted.fits.items()
    }
    sizes = {family: _first_sizes(noted, family, years) for family in noted.measured}
    counts: dict[str, Array] = {}
    year = np.empty(0)
    for _ in range(_ROUNDS):
        likely = {family: _chance(noted, family, shares, sizes) for family in noted.fits}
        year = noted.dated * density
        for chance, _ in likely.values():
            year = year * chance
        year = year / year.sum(axis=1, keepdims=True)
        change = 0.0
        for family, (chance, cube) in likely.items():
            load = (noted.weight * stated[family])[:, None] * year / np.maximum(chance, _TINY)
            if cube is None:
                counts[family] = shares[family] * (noted.fits[family].T @ load)
            else:
                each = cube * load[:, None, :]
                counts[family] = each.sum(axis=0)
                sizes[family] = _sizes(
                    noted.measured[family], each, sizes[family], smooth, smoothing.pull
                )
            fresh = smoothed(counts[family], smooth, smoothing.pull)
            change = max(change, float(np.abs(fresh - shares[family]).max()))
            shares[family] = fresh
        if change < _SETTLED:
            break
    return ClueTables(shares, counts, sizes, year)


def smoothed(counts: Array, smooth: Array, pull: float) -> Array:
    """Shares (values, years) from counts (values, years)."""
    overall = counts.sum(axis=1) + _SEEN_ONCE
    overall = overall / overall.sum()
    near = counts @ smooth
    return np.asarray((near + pull * overall[:, None]) / (near.sum(axis=0) + pull))


def log_chance(noted: Noted, density: Array, tables: ClueTables) -> Array:
    """Log of P(clues | date) of each record, (n,): what the tables say of records they have not seen."""
    year = noted.dated * density
    before = year.sum(axis=1)
    for family in noted.fits:
        year = year * _chance(noted, family, tables.shares, tables.sizes)[0]
    return np.asarray(np.log(year.sum(axis=1)) - np.log(before))


def chosen_smoothing(
    noted: Noted, density: Array, fold: NDArray[np.intp], choices: Sequence[Smoothing] = ()
) -> tuple[Smoothing, list[tuple[Smoothing, float]]]:
    """The smoothing under which held-out records are likeliest, and the score of each choice.

    ``fold`` (n,): the part of each record; a clump must lie within one part.
    """
    tried = choices or [Smoothing(b, p) for b, p in product(BANDWIDTHS, PULLS)]
    scores = []
    for smoothing in tried:
        total = 0.0
        for part in np.unique(fold):
            tables = fit(noted.some(fold != part), density, smoothing)
            held = noted.some(fold == part)
            total += float(held.weight @ log_chance(held, density, tables))
        scores.append((smoothing, total))
    return max(scores, key=lambda score: score[1])[0], scores


def _stated(fits: Array) -> Array:
    """1.0 for records that state the family, (n,)."""
    return np.asarray((fits != fits[:, :1]).any(axis=1), dtype=float)


def _chance(
    noted: Noted,
    family: str,
    shares: Mapping[str, Array],
    sizes: Mapping[str, tuple[Array, Array, Array]],
) -> tuple[Array, Array | None]:
    """P(noted and measured | year), (n, years); with a measurement also by value (n, values, years)."""
    fits, measures = noted.fits[family], noted.measured.get(family)
    if measures is None:
        return fits @ shares[family], None
    centre, spread, _ = sizes[family]
    missing = np.isnan(measures.log)[:, None, None]
    log = np.where(np.isnan(measures.log), 0.0, measures.log)[:, None, None]
    density = (1 - measures.slip) * normal_density(log, centre, spread)
    density = np.where(missing, 1.0, density + measures.slip / measures.width)
    cube = fits[:, :, None] * shares[family] * density
    return cube.sum(axis=1), cube


def _first_sizes(noted: Noted, family: str, years: int) -> tuple[Array, Array, Array]:
    log = noted.measured[family].log
    shape = (noted.fits[family].shape[1], years)
    return (
        np.full(shape, np.nanmean(log)),
        np.full(shape, np.nanstd(log)),
        np.zeros(shape),
    )


def _sizes(
    measures: Measurements,
    each: Array,
    before: tuple[Array, Array, Array],
    smooth: Array,
    pull: float,
) -> tuple[Array, Array, Array]:
    """Centre and spread of the log by value and year, drawn to those of the value over all years."""
    have = ~np.isnan(measures.log)
    log = measures.log[have][:, None, None]
    centre, spread, _ = before
    right = (1 - measures.slip) * normal_density(log, centre, spread)
    load = each[have] * (right / (right + measures.slip / measures.width))
    moments = [np.einsum("nvy->vy", load * log**power) for power in (0, 1, 2)]
    whole = [moment.sum(axis=1, keepdims=True) for moment in moments]
    everything = [float(moment.sum()) for moment in moments]
    # each value is drawn to all values as much as each year is to all years
    total = [w + pull * e / everything[0] for w, e in zip(whole, everything, strict=True)]
    near = [
        moment @ smooth + pull * t / total[0] for moment, t in zip(moments, total, strict=True)
    ]
    mean = near[1] / near[0]
    deviation = np.sqrt(np.maximum(near[2] / near[0] - mean**2, 1e-4))
    return mean, deviation, moments[0]
