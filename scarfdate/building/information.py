"""How many bits about the decade made one clue carries, and how sure the counts behind it are.

The bits of a family are the mutual information between the decade made D and what is noted O, for
one piece that was looked at in the usual way:

    I(D; O) = sum over d, o of  P(d, o) log2 [ P(d, o) / (P(d) P(o)) ]

P(d, o) comes from the prior of the channel, the family's shares, and its confusions and slips; for
a style family the shares are mixed over revivals as in `scarfdate.model.model`. For a measured family it
is the information of the measurement where the value it depends on (the form of a side's length) is
known already: I(D; X | V), summed over the family's step grid.

A table whose rows were only ever counted always seems to move a little. Three numbers keep that apart:

* *drawn tables*: each knot row is drawn from a Dirichlet distribution about its shares with the
  family's ``worth`` as total count (for a measured row: its centre from a normal distribution with
  standard deviation spread / sqrt(worth), the logarithm of its spread with 1 / sqrt(2 worth));
* *the interval*: the quantiles of the bits of drawn tables. Drawing adds movement of its own, so the
  draws are moved back until their mean is the table's own bits;
* *the chance level*: the mean bits of tables drawn in the same way about one and the same row for all
  years, so that nothing in them depends on the year: what counting so few records shows by itself.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from numbers import Integral
from types import MappingProxyType
from typing import TYPE_CHECKING, Any, Protocol, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.measured import Measure
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, GRADES, LEVEL, MARKETS, METHOD, ZERO_SHARE
from scarfdate.errors import RangeError, shown
from scarfdate.knots import Array
from scarfdate.model.model import Model, compiled
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.tables.shares import ANY
from scarfdate.years import checked_as_of

if TYPE_CHECKING:
    import pandas as pd

ALL = "all"  # the grade as uncertain as the prior has it
_SEED = 1880  # any fixed number: the same call gives the same table
_DRAWS = (20, 100_000)  # fewer than 20 have no 10 % quantile worth the name
_AT_ONCE = 50  # drawn tables held in memory together
_CHANCE = 4  # drawn tables for each one of the chance level: a mean needs fewer than a quantile
_LEAST_WORTH = 1.0  # a table that counts for less than one record is drawn as if it were one
_BLOCK = 5  # years that a drawn measured table takes together; knots stand further apart
_TARGETS: tuple[tuple[int, ...], ...] = (
    *((g,) for g in range(len(GRADES))),
    tuple(range(len(GRADES))),
)
_NAMES = (*GRADES, ALL)

T = TypeVar("T")
# drawn tables are worked out in single precision, at half the time: they are uncertain in the second
# digit; the table as it is in double
Real = NDArray[np.floating[Any]]


def clue_information(
    priors: Priors | None = None,
    channel: str = CHANNEL,
    *,
    as_of: int | None = None,
    draws: int = 400,
    rng: np.random.Generator | None = None,
) -> pd.DataFrame:
    """Bits about the decade made that one observation of each family carries on average.

    A frame with a row for each family of shares or measurements and each grade, and for the grade
    ``all`` (as uncertain as the prior has it):

    ``family``, ``grade``
        names as in ``families.csv``.
    ``bits``
        mutual information of the decade and what is noted, 0 or more, under the tables as they are;
        for a measured family, where the value it depends on is known.
    ``lower``, ``upper``
        80 % interval of ``bits`` from the counts behind the table: see the head of this module.
    ``beyond_chance``
        ``bits`` less the mean bits of tables of the same worth that do not move over the years; below
        zero where counting alone would usually show more movement than the table has.
    ``reaches_zero``
        whether ``lower`` less that chance level is zero or less: the counts do not tell the family
        from one that says nothing about the decade.
    ``worth``
        how many records each row of the table counts for.

    ``draws`` tables, from 20 to 100,000, are drawn with ``rng``; without one the seed is fixed, and the
    same call gives the same frame. Raises WordError for a channel that is not known, RangeError for an
    ``as_of`` or a number of ``draws`` that cannot be.
    """
    import pandas as pd

    if (
        isinstance(draws, bool)
        or not isinstance(draws, Integral)
        or not _DRAWS[0] <= draws <= _DRAWS[1]
    ):
        raise RangeError(
            f"draws: a whole number from {_DRAWS[0]} to {_DRAWS[1]} is allowed, got {shown(draws)}"
        )
    model = compiled(load_priors() if priors is None else priors, channel, as_of)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = []
    for name, carried in _families(model):
        worth = model.priors.families[name].worth
        drawn = _drawn(carried, rng, int(draws))
        chance = _by_chance(carried, rng, int(draws))
        bits = carried.bits()
        ends = np.quantile(drawn, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2], axis=0)
        lower, upper = np.maximum(ends - drawn.mean(axis=0) + bits, 0.0)
        rows += [
            (name, grade, bits[i], lower[i], upper[i], bits[i] - chance[i],
             bool(lower[i] <= chance[i]), worth)
            for i, grade in enumerate(_NAMES)
        ]  # fmt: skip
    columns = "family grade bits lower upper beyond_chance reaches_zero worth"
    return pd.DataFrame(rows, columns=columns.split())


def speaks_little(
    priors: Priors | None = None, channel: str = CHANNEL, *, as_of: int | None = None
) -> Mapping[str, str]:
    """A sentence for each family whose interval reaches zero where the grade is not known.

    From the family's name to the sentence, in the order of ``families.csv``; empty where every family
    is sure to say something. Worked out once for each channel and ``as_of`` and kept with the priors.
    Raises as `clue_information` does.
    """
    priors = load_priors() if priors is None else priors
    year = checked_as_of(as_of)
    model = compiled(priors, channel, year)
    key = ("information", model.channel.name, year)
    if key not in priors._compiled:
        table = clue_information(priors, channel, as_of=year)
        silent = table.loc[(table["grade"] == ALL) & table["reaches_zero"], "family"]
        priors._compiled[key] = MappingProxyType(
            {name: _sentence(priors.families[name].title) for name in silent}
        )
    return cast(Mapping[str, str], priors._compiled[key])


def _sentence(title: str) -> str:
    return f"{title}: on the counts behind its table it may say nothing about the decade"


class _Carried(Protocol):
    """What a family carries: under its own table, drawn tables, and drawn tables that do not move."""

    def bits(self) -> Array:
        """Under the table as it is, (targets,)."""

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        """Under drawn tables, (targets, number)."""

    def still(self, rng: np.random.Generator, number: int, target: int) -> Array:
        """Under drawn tables that say nothing about the year, for one target, (number,)."""


def _drawn(carried: _Carried, rng: np.random.Generator, draws: int) -> Array:
    return np.concatenate([carried.drawn(rng, n) for n in _portions(draws)], axis=1).T


def _by_chance(carried: _Carried, rng: np.random.Generator, draws: int) -> Array:
    number = max(_DRAWS[0], draws // _CHANCE)
    return np.array(
        [
            np.concatenate([carried.still(rng, n, target) for n in _portions(number)]).mean()
            for target in range(len(_TARGETS))
        ]
    )


def _portions(number: int) -> Iterator[int]:
    for at in range(0, number, _AT_ONCE):
        yield min(_AT_ONCE, number - at)


def _families(model: Model) -> Iterator[tuple[str, _Carried]]:
    clues = {clue.name: clue for clue in model.clues if isinstance(clue, SharesClue)}
    for name, family in model.priors.families.items():
        if name in clues:
            yield name, _Shares(model, clues[name])
        elif family.parent in clues:
            clue = clues[family.parent]
            measure = next(m for m in clue.measures if m.family.name == name)
            yield name, _Measured(model, clue, measure)


def _made_and_read(model: Model, reads: str) -> Array:
    """P(grade, decade made, year whose shares are read), (grades, decades, years).

    For a making clue the shares are those of the year made; for a style clue those of the year made
    or, of a revival, of the year looked back to.
    """
    decade = model.years // 10 - model.years[0] // 10
    inside = (np.arange(decade[-1] + 1)[:, None] == decade).astype(float)
    made = inside * model.prior[:, None, :]
    if reads == "style":
        return np.asarray(
            made * (1 - model.revival_share) + (made * model.revival_share) @ model.looked_back_to
        )
    return np.asarray(made)


def _xlogx(x: Real) -> Real:
    logs = np.maximum(x, np.finfo(x.dtype).tiny)
    np.log2(logs, out=logs)
    logs *= x
    return logs


def _weighed(joint: Real) -> Array:
    """Mutual information in bits times the total mass: joint (..., noted, decades, n) to (..., n)."""
    decades, noted = joint.sum(axis=-3, dtype=float), joint.sum(axis=-2, dtype=float)
    found = (
        _xlogx(joint).sum(axis=(-3, -2), dtype=float)
        - _xlogx(decades).sum(axis=-2)
        - _xlogx(noted).sum(axis=-2)
        + _xlogx(decades.sum(axis=-2))
    )
    return np.asarray(np.maximum(found, 0.0))  # never below zero but for rounding


def _targets(each: Real) -> Real:
    """Every grade by itself, and their sum: (grades, ...) to (targets, ...)."""
    return np.concatenate([each, each.sum(axis=0, keepdims=True)])


def _row_of(series: Mapping[Any, T], grade: str, other: str) -> Any:
    """The rows that hold for a grade and a market (or a value of the parent), as the tables choose."""
    keys = ((grade, other), (ANY, other), (grade, ANY), (ANY, ANY))
    return next(key for key in keys if key in series)


def _between(knots: Array, years: Array) -> Array:
    """What each knot counts for in each year, (years, knots): linear between, flat outside."""
    return np.stack([np.interp(years, knots, unit) for unit in np.eye(len(knots))], axis=1)


class _Shares:
    """A family of shares. Drawn rows are (values, knots, number)."""

    def __init__(self, model: Model, clue: SharesClue) -> None:
        self.table = model.priors.shares[clue.name]
        self.worth = max(model.priors.families[clue.name].worth, _LEAST_WORTH)
        self.noted = clue.noted(METHOD).T
        self.shares = clue.shares
        self.markets: Sequence[str] = MARKETS if self.table.by_market else (ANY,)
        weight = _made_and_read(model, clue.reads)[:, None]
        if self.table.by_market:
            weight = weight * model.market[:, None]
        self.weight = weight  # (grades, markets or 1, decades, years)
        self.light = weight.astype(np.float32)
        years = model.years.astype(float)
        self.between = {
            key: _between(knots, years).astype(np.float32)
            for key, (knots, _) in self.table.series.items()
        }

    def bits(self) -> Array:
        joint = np.einsum("gkdy,vkgy->gvd", self.weight, self.shares, optimize=True)
        joint = _targets(self.noted @ joint)[..., None]
        return np.asarray((_weighed(joint) / joint.sum(axis=(1, 2)))[:, 0])

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        rows = {
            key: self._draw(rng, (shares / shares.sum(axis=1, keepdims=True)).T, number)
            for key, (_, shares) in self.table.series.items()
        }
        joint = _targets(self._joint(rows, _TARGETS[-1]))
        return np.asarray(_weighed(joint) / joint.sum(axis=(1, 2), dtype=float))

    def still(self, rng: np.random.Generator, number: int, target: int) -> Array:
        grades = list(_TARGETS[target])
        average = np.einsum(
            "gkdy,vkgy->v", self.weight[grades], self.shares[:, :, grades], optimize=True
        )
        average /= average.sum()
        keys = {
            _row_of(self.table.series, GRADES[g], market) for g in grades for market in self.markets
        }
        rows = {}
        for key in sorted(keys):
            same = np.repeat(average[:, None], len(self.table.series[key][0]), axis=1)
            rows[key] = self._draw(rng, same, number)
        joint = self._joint(rows, grades).sum(axis=0)
        return np.asarray(_weighed(joint) / joint.sum(axis=(0, 1), dtype=float))

    def _draw(self, rng: np.random.Generator, shares: Array, number: int) -> Real:
        counts = np.broadcast_to((self.worth * shares)[..., None], (*shares.shape, number))
        rows = rng.standard_gamma(counts.astype(np.float32), dtype=np.float32)
        rows /= rows.sum(axis=0)
        return rows

    def _joint(self, rows: Mapping[tuple[str, ...], Real], grades: Sequence[int]) -> Real:
        """P(grade, noted, decade) for drawn rows, (grades, values, decades, number)."""
        found: list[Real] = [np.zeros((), np.float32)] * len(grades)
        wanted: dict[tuple[str, ...], list[tuple[int, int, int]]] = {}
        for place, g in enumerate(grades):
            for k, market in enumerate(self.markets):
                key = _row_of(self.table.series, GRADES[g], market)
                wanted.setdefault(key, []).append((place, g, k))
        for key, places in wanted.items():
            every = self.between[key] @ np.log(np.maximum(rows[key], np.float32(ZERO_SHARE)))
            np.exp(every, out=every)  # (values, years, number)
            every /= every.sum(axis=0)
            for place, g, k in places:
                found[place] = found[place] + self.light[g, k] @ every
        noted = self.noted.astype(np.float32)
        return np.stack([np.tensordot(noted, joint, axes=1) for joint in found])


@dataclass(frozen=True)
class _Grid:
    """Where a density is summed: logarithms of the measure, and what each counts for."""

    at: Array
    width: Array


class _Measured:
    """A measured family, given the value of its parent. Drawn rows are (2, knots, number)."""

    def __init__(self, model: Model, clue: SharesClue, measure: Measure) -> None:
        self.table = model.priors.measured[measure.family.name]
        self.worth = max(measure.family.worth, _LEAST_WORTH)
        self.measure, self.values = measure, clue.values
        markets = model.market[None, :, None, :] if clue.by_market else np.ones((1, 1, 1, 1))
        parent = (clue.shares * markets).sum(axis=1)
        # P(value, grade, decade made, year whose table is read)
        self.weight = _made_and_read(model, clue.reads) * parent[:, :, None, :]
        self.total = _targets(self.weight.sum(axis=(0, 2, 3)))
        block = model.years // _BLOCK - model.years[0] // _BLOCK
        member = (np.arange(block[-1] + 1)[:, None] == block).astype(float)
        self.block_weight = (self.weight @ member.T).astype(np.float32)
        mean = member / member.sum(axis=1, keepdims=True)
        years = model.years.astype(float)
        self.between = {
            key: mean @ _between(knots, years) for key, (knots, _) in self.table.series.items()
        }
        self.rows = {
            key: np.log(numbers.T)[..., None]  # median and spread
            for key, (_, numbers) in self.table.series.items()
        }

    def bits(self) -> Array:
        grid = self._grid(0.0)
        found: Array = np.zeros(len(_TARGETS))
        for centre, spread, weight in zip(
            self.measure.centre, self.measure.spread, self.weight, strict=True
        ):
            each = [
                self._joint(grid, centre[g, :, None], spread[g, :, None], weight[g])
                for g in range(len(GRADES))
            ]
            found = found + _weighed(_targets(np.stack(each)))[:, 0]
        return np.asarray(found / self.total)

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        off = self._off(rng, number)
        found: Array = np.zeros((len(_TARGETS), number))
        for v, value in enumerate(self.values):
            grid = self._grid(float(self.measure.spread[v].min()))
            each = []
            for g, grade in enumerate(GRADES):
                key = _row_of(self.table.series, grade, value)
                each.append(
                    self._moved(
                        grid,
                        key,
                        self.rows[key][0],
                        self.rows[key][1],
                        off[key],
                        self.block_weight[v, g],
                    )
                )
            found = found + _weighed(_targets(np.stack(each)))
        return np.asarray(found / self.total[:, None])

    def still(self, rng: np.random.Generator, number: int, target: int) -> Array:
        off = self._off(rng, number)
        grades = list(_TARGETS[target])
        found: Array = np.zeros(number)
        for v, value in enumerate(self.values):
            weight = self.weight[v, grades].sum(axis=1)
            centre = np.average(self.measure.centre[v, grades], weights=weight)
            spread = np.exp(np.average(np.log(self.measure.spread[v, grades]), weights=weight))
            grid = self._grid(float(spread))
            joint: Real = np.zeros((), np.float32)
            for g in grades:
                key = _row_of(self.table.series, GRADES[g], value)
                joint = joint + self._moved(
                    grid, key, centre, spread, off[key], self.block_weight[v, g]
                )
            found = found + _weighed(joint)
        return np.asarray(found / self.total[target])

    def _off(self, rng: np.random.Generator, number: int) -> dict[tuple[str, ...], Array]:
        """How far each row is off, in spreads: (median and spread, knots, number)."""
        return {
            key: rng.standard_normal((2, rows.shape[1], number)) / math.sqrt(self.worth)
            for key, rows in self.rows.items()
        }

    def _moved(
        self, grid: _Grid, key: Any, centre: Any, spread: Any, off: Array, weight: Real
    ) -> Real:
        """P(measure, decade) where rows of ``centre`` and ``spread`` are off by ``off``."""
        between = self.between[key]
        moved = between @ (centre + spread * off[0])
        widened = between @ (spread * np.exp(off[1] / math.sqrt(2)))
        return self._joint(grid, moved.astype(np.float32), widened.astype(np.float32), weight)

    def _grid(self, narrowest: float) -> _Grid:
        """The cells on which the family is read, or as few as a density of that spread needs.

        Summed at cells no further apart than its standard deviation, a normal density is right to
        some parts in a hundred million.
        """
        family, measure = self.measure.family, self.measure
        stride = max(1, int(narrowest / math.log(family.step)))
        cells = np.arange(measure.cell(family.low), measure.cell(family.high) + 1, stride)
        width = np.ones(len(cells))
        if measure.folded:
            width[0] = 0.5  # a ratio is never below one: half a cell
        return _Grid(np.asarray(cells * math.log(family.step), dtype=float), width)

    def _joint(self, grid: _Grid, centre: Real, spread: Real, weight: Real) -> Real:
        """P(measure, decade), (cells, decades, number), from centres and spreads (years, number)."""
        family, slip = self.measure.family, self.measure.slip
        at = grid.at.astype(centre.dtype)[:, None, None]
        chance = _bell(at, centre, spread)
        if self.measure.folded:
            chance += _bell(-at, centre, spread)
        chance *= (1 - slip) / math.sqrt(2 * math.pi)
        chance += slip / math.log(family.high / family.low)
        chance *= grid.width.astype(centre.dtype)[:, None, None]
        chance /= chance.sum(axis=0)
        return np.asarray(weight @ chance)


def _bell(at: Real, centre: Real, spread: Real) -> Real:
    """A normal density but for the constant factor, in one array: this is where the time goes."""
    found = at - centre
    found /= spread
    found *= found
    found *= -0.5
    np.exp(found, out=found)
    found /= spread
    return found
