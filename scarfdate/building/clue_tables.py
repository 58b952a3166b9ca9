"""Clue tables from dated records: how often each value is stated, by year.

The year of a record is latent within its date. Each round of the estimate shares every record out over
its years and values (E step), counts, and smooths the counts over years (EMS: Silverman, Jones, Wilson
and Nychka 1990, "A smoothed EM approach to indirect estimation problems", Journal of the Royal
Statistical Society B 52, 271-324; cited from memory):

    r(i, y)    in proportion to  P(date i | y) P(y) product over clues of sum over v of F(i, v) p(v | y)
    N(v, y)    = sum over i of  weight(i) r(i, y) P(v | y, what i states)
    p(v | y)   = (kernel * N + pull q(v)) / (kernel * N summed over v + pull)

The first year stands for all before it and lends nothing to the years after. ``pull`` draws thinly
recorded years to the overall shares q. Bandwidth and pull are chosen by held-out likelihood.
"Not stated" is a row of ones: no evidence.

Records that state the same enter together, with the sum of their weights (`RecordLikelihoods.alike`), and are gone
through some thousands at a time: the memory of a round does not grow with them.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import product
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import normal_density
from scarfdate.conventions import Array
from scarfdate.records.arrays import alike

_ROUNDS = 40  # of EMS at most
_SETTLED = 1e-3  # the largest change of a share at which a round is the last
_TINY = 1e-300
_BLOCK = 2048  # records whose years are in memory at a time
_SEEN_ONCE = 0.5  # records added to every value overall: none is impossible for want of a record
BANDWIDTHS = (5.0, 8.0, 12.0)  # years
PULLS = (3.0, 10.0)  # records


@dataclass(frozen=True, kw_only=True)
class FamilyLikelihood:
    """The likelihood of what n records state of one family: record i has row ``which[i]`` of m.

    ``fits`` (m, values): P(statement | value), a row of ones where nothing is stated. A measurement on
    the family: ``log`` (m,), natural, NaN where there is none, with ``slip``, the share of wrong ones, spread
    evenly over ``width``, the possible range of the log; ``least``: the least standard deviation of the log,
    above 0, so that pieces that all measure the same have a density.
    """

    fits: Array
    which: NDArray[Any]
    log: Array | None = None
    slip: float = 0.0
    width: float = 1.0
    least: float = 1.0

    @property
    def stated(self) -> NDArray[np.bool_]:
        """Which rows state a word of the family, (m,); a measurement alone is none."""
        return np.asarray((self.fits != self.fits[:, :1]).any(axis=1))

    def add_up(self, total: Array, rows: slice, years: slice, load: Array) -> None:
        """Add the ``load`` (rows, years) of some records to the ``total`` (m, years) of what each states."""
        from scipy.sparse import csc_array

        which = self.which[rows]
        ends = np.arange(len(which) + 1)
        stated = csc_array((np.ones(len(which)), which, ends), shape=(len(total), len(which)))
        total[:, years] += stated @ load


@dataclass(frozen=True, kw_only=True)
class RecordLikelihoods:
    """The likelihoods of n records.

    ``dated`` (d, years): P(date as stated | year), of any scale; record i has row ``when[i]``, unless given
    row i; ``weight`` (n,), 0 or more; ``families``: of each family of clues, by its name.
    """

    dated: Array
    weight: Array
    families: Mapping[str, FamilyLikelihood]
    when: NDArray[Any] = field(default_factory=lambda: np.empty(0, dtype=np.int32))

    def __post_init__(self) -> None:
        if len(self.when) != len(self.weight):
            object.__setattr__(self, "when", np.arange(len(self.weight)))

    def some(self, which: NDArray[np.bool_] | NDArray[np.intp]) -> RecordLikelihoods:
        """The records ``which``."""
        return RecordLikelihoods(
            dated=self.dated,
            when=self.when[which],
            weight=self.weight[which],
            families={
                family: replace(of, which=of.which[which]) for family, of in self.families.items()
            },
        )

    def alike(
        self, *apart: NDArray[Any]
    ) -> tuple[RecordLikelihoods, NDArray[np.intp], NDArray[np.intp]]:
        """Records that state the same as one, with the sum of their weights: at most as many as things to state.

        ``apart``: whole numbers (n,) by which records stay apart. Also a record of each, and which of
        them each record went into.
        """
        columns = [self.when, *(of.which for of in self.families.values()), *apart]
        first, which = alike(columns)
        merged = self.some(first)
        return (
            replace(merged, weight=np.bincount(which, self.weight, len(first)).astype(float)),
            first,
            which,
        )

    def blocks(self) -> Iterator[tuple[slice, slice]]:
        """The records, some thousands at a time, and the years that the dates of these allow.

        Those that are `alike` lie in the order of their dates, so that these years are few.
        """
        for start in range(0, len(self.weight), _BLOCK):
            rows = slice(start, start + _BLOCK)
            allowed = np.flatnonzero(self.dated[np.unique(self.when[rows])].any(axis=0))
            yield rows, slice(int(allowed[0]), int(allowed[-1]) + 1)

    def only(self, family: str) -> RecordLikelihoods:
        """The records that state a family, and nothing but it; measurements left out."""
        of = self.families[family]
        bare = FamilyLikelihood(fits=of.fits, which=of.which)
        return replace(self, families={family: bare}).some(of.stated[of.which])

    def weighted(self, factor: Array) -> RecordLikelihoods:
        """The same records, each weight multiplied by ``factor`` (n,)."""
        return replace(self, weight=self.weight * factor)


@dataclass(frozen=True, kw_only=True)
class Smoothing:
    """``bandwidth`` of the kernel in years, ``pull`` to the overall shares in records."""

    bandwidth: float
    pull: float


@dataclass(frozen=True, kw_only=True)
class ClueTables:
    """Shares (values, years) by family, expected records behind them, centre and spread of sizes.

    ``counts`` (values, years) are expected records that state the family; ``sizes`` by parent family:
    centre and spread of the log, each (values, years), and the expected records (values, years).
    ``density`` (years,) is what they were made under, ``likely`` (m, years) by family P(statement | year) of the
    last round.
    """

    shares: Mapping[str, Array]
    counts: Mapping[str, Array]
    sizes: Mapping[str, tuple[Array, Array, Array]]
    density: Array
    likely: Mapping[str, Array]

    def year(self, records: RecordLikelihoods, rows: slice, years: slice = slice(None)) -> Array:
        """P(year | all that the record states), (rows, years), of some of the records that made the tables.

        ``years``: those that their dates allow, at least.
        """
        year = _joint(records, rows, years, self.density, self.likely)
        return np.asarray(year / year.sum(axis=1, keepdims=True))


def kernel(years: int, bandwidth: float) -> Array:
    """Weights (years, years) of a Gaussian kernel; the first cell stands alone."""
    at = np.arange(years)
    weights = np.exp(-0.5 * ((at[:, None] - at) / bandwidth) ** 2)
    weights[0, 1:] = weights[1:, 0] = 0.0
    return np.asarray(weights)


def fit(records: RecordLikelihoods, density: Array, smoothing: Smoothing) -> ClueTables:
    """Clue tables from records, under a density over years that is held fixed."""
    years = len(density)
    smooth = kernel(years, smoothing.bandwidth)
    shares = {
        family: np.full((of.fits.shape[1], years), 1 / of.fits.shape[1])
        for family, of in records.families.items()
    }
    sizes = {f: _first_sizes(of, years) for f, of in records.families.items() if of.log is not None}
    counts: dict[str, Array] = {}
    chances: dict[str, Array] = {}
    for _ in range(_ROUNDS):
        likely = {f: _likelihood(of, shares[f], sizes.get(f)) for f, of in records.families.items()}
        chances = {family: chance for family, (chance, _) in likely.items()}
        loads = {family: np.zeros_like(chance) for family, chance in chances.items()}
        for rows, allowed in records.blocks():
            weighted = _joint(records, rows, allowed, density, chances)
            weighted *= records.weight[rows, None] / weighted.sum(axis=1, keepdims=True)
            for family, of in records.families.items():
                of.add_up(loads[family], rows, allowed, weighted)
        change = 0.0
        for family, of in records.families.items():
            chance, cube = likely[family]
            load = loads[family] / np.maximum(chance, _TINY)
            if cube is not None:
                each = cube * load[:, None, :]
                sizes[family] = _sizes(of, each, sizes[family], smooth, smoothing.pull)
                counts[family] = each[of.stated].sum(axis=0)
            else:
                counts[family] = shares[family] * (of.fits[of.stated].T @ load[of.stated])
            fresh = smoothed(counts[family], smooth, smoothing.pull)
            change = max(change, float(np.abs(fresh - shares[family]).max()))
            shares[family] = fresh
        if change < _SETTLED:
            break
    return ClueTables(shares=shares, counts=counts, sizes=sizes, density=density, likely=chances)


def smoothed(counts: Array, smooth: Array, pull: float) -> Array:
    """Shares (values, years) from counts (values, years)."""
    overall = counts.sum(axis=1) + _SEEN_ONCE
    overall = overall / overall.sum()
    near = counts @ smooth
    return np.asarray((near + pull * overall[:, None]) / (near.sum(axis=0) + pull))


def log_likelihood(records: RecordLikelihoods, density: Array, tables: ClueTables) -> Array:
    """Log of P(clues | date) of each record, (n,), for records that the tables were not made of."""
    likely = {
        family: _likelihood(of, tables.shares[family], tables.sizes.get(family))[0]
        for family, of in records.families.items()
    }
    log, before = np.empty(len(records.weight)), np.log(records.dated @ density)
    for rows, allowed in records.blocks():
        year = _joint(records, rows, allowed, density, likely).sum(axis=1)
        log[rows] = np.log(year) - before[records.when[rows]]
    return log


def _joint(
    records: RecordLikelihoods,
    rows: slice,
    years: slice,
    density: Array,
    likely: Mapping[str, Array],
) -> Array:
    """P(year, all that the record states), (rows, years)."""
    year = records.dated[:, years].take(records.when[rows], axis=0)
    year *= density[years]
    for family, of in records.families.items():
        year *= likely[family][:, years].take(of.which[rows], axis=0)
    return year


def chosen_smoothing(
    records: RecordLikelihoods,
    density: Array,
    fold: NDArray[np.intp],
    choices: Sequence[Smoothing] = (),
) -> tuple[Smoothing, list[tuple[Smoothing, float]]]:
    """The smoothing under which held-out records are likeliest, and the score of each choice.

    ``fold`` (n,): the part of each record; a clump must lie within one part.
    """
    tried = choices or [Smoothing(bandwidth=b, pull=p) for b, p in product(BANDWIDTHS, PULLS)]
    scores = []
    for smoothing in tried:
        total = 0.0
        for part in np.unique(fold):
            tables = fit(records.some(fold != part), density, smoothing)
            held = records.some(fold == part)
            total += float(held.weight @ log_likelihood(held, density, tables))
        scores.append((smoothing, total))
    return max(scores, key=lambda score: score[1])[0], scores


def _likelihood(
    of: FamilyLikelihood, shares: Array, sizes: tuple[Array, Array, Array] | None
) -> tuple[Array, Array | None]:
    """P(stated and measured | year), (m, years); with measurements also by value (m, values, years)."""
    if of.log is None or sizes is None:
        return of.fits @ shares, None
    centre, spread, _ = sizes
    missing = np.isnan(of.log)[:, None, None]
    log = np.where(np.isnan(of.log), 0.0, of.log)[:, None, None]
    density = (1 - of.slip) * normal_density(log, centre, spread) + of.slip / of.width
    cube = of.fits[:, :, None] * shares * np.where(missing, 1.0, density)
    return cube.sum(axis=1), cube


def _first_sizes(of: FamilyLikelihood, years: int) -> tuple[Array, Array, Array]:
    assert of.log is not None
    shape = (of.fits.shape[1], years)
    spread = max(float(np.nanstd(of.log)), of.least)
    return np.full(shape, np.nanmean(of.log)), np.full(shape, spread), np.zeros(shape)


def _sizes(
    measures: FamilyLikelihood,
    each: Array,
    before: tuple[Array, Array, Array],
    smooth: Array,
    pull: float,
) -> tuple[Array, Array, Array]:
    """Centre and spread of the log by value and year, drawn to those of the value over all years."""
    assert measures.log is not None
    have = ~np.isnan(measures.log)
    log = measures.log[have][:, None, None]
    centre, spread, _ = before
    right = (1 - measures.slip) * normal_density(log, centre, spread)
    load = each[have] * (right / (right + measures.slip / measures.width))
    moments = [np.einsum("nvy->vy", load * log**power) for power in (0, 1, 2)]
    whole = [moment.sum(axis=1, keepdims=True) for moment in moments]
    everything = [float(moment.sum()) for moment in moments]
    if not everything[0] > 0:  # no record of this part states a size
        return centre, spread, moments[0]
    # each value is drawn to all values as much as each year is to all years
    total = [w + pull * e / everything[0] for w, e in zip(whole, everything, strict=True)]
    near = [moment @ smooth + pull * t / total[0] for moment, t in zip(moments, total, strict=True)]
    mean = near[1] / near[0]
    deviation = np.sqrt(np.maximum(near[2] / near[0] - mean**2, measures.least**2))
    return mean, deviation, moments[0]
