"""``information.csv``: how many bits about the decade made each clue carries, and how sure that is.

    python -m scarfdate.building.information priors/information.csv

writes the table anew, after any change of the other tables.

The bits of a family are the mutual information between the decade made D and what is noted O, for
one piece that was looked at in the usual way:

    I(D; O) = sum over d, o of  P(d, o) log2 [ P(d, o) / (P(d) P(o)) ]

P(d, o) comes from the prior of the channel, the family's shares, and its confusions and slips; for
a style family the shares are mixed over revivals (`scarfdate.model.exact.onto_style_years`). For a measured family it
is the information of the measurement where the value it depends on (the form of a side's length) is
known already: I(D; X | V), summed over the family's step grid.

A table whose rows were only ever counted always seems to move a little. Three numbers keep that apart:

* *drawn tables*: each knot row is drawn from a Dirichlet distribution about its shares with the
  family's ``worth`` as total count (for a measured row: its centre from a normal distribution with
  standard deviation spread / sqrt(worth), the logarithm of its spread with 1 / sqrt(2 worth));
* *the interval*: the quantiles of the bits of drawn tables. Drawing adds movement of its own, so the
  draws are moved back until their mean is the table's own bits;
* *the chance level*: the mean bits of tables drawn in the same way about one and the same row for all
  years, so that nothing in them depends on the year: the bits of counting so few records alone.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from functools import partial
from numbers import Integral
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.measured import Measure
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import CHANNEL, GRADES, LEVEL, MARKETS, METHOD, ZERO_SHARE, Array
from scarfdate.errors import RangeError, shown
from scarfdate.files import write_whole
from scarfdate.model.exact import onto_style_years
from scarfdate.model.model import Model, compiled
from scarfdate.tables.knots import ANY, Key, series_for
from scarfdate.tables.priors import Priors, load_priors
from scarfdate.threads import one_thread

if TYPE_CHECKING:
    import pandas as pd

ALL = "all"  # the grade as uncertain as the prior has it
_SEED = 1880  # any fixed number: the same call gives the same table
_TABLE_AS_OF = 2026  # so that the table does not change with the calendar
_TABLE_DRAWS = 6000  # with fewer, which intervals reach zero would depend on the seed
_DRAWS = (20, 100_000)  # fewer than 20 have no 10 % quantile worth the name
_AT_ONCE = 50  # drawn tables held in memory together
_CHANCE = 4  # drawn tables for each one of the chance level: a mean needs fewer than a quantile
_LEAST_WORTH = 1.0  # a table worth less than one record is drawn as if it were worth one
_BLOCK = 5  # years that a drawn measured table takes together; knots stand further apart
_EACH = range(len(GRADES))
_TARGETS: tuple[tuple[int, ...], ...] = (*((g,) for g in _EACH), tuple(_EACH))
# drawn tables are worked out in single precision, at half the time: they are uncertain in the second
# digit; the table as it is in double
Real = NDArray[np.floating[Any]]
_Grid = tuple[Array, Array]


@one_thread()
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
        whether ``lower`` less that chance level is zero or less: by the counts alone, the family
        may carry no information about the decade.
    ``worth``
        how many records each row of the table counts for.

    ``draws`` tables, from 20 to 100,000, are drawn with ``rng``; without one the seed is fixed, and the
    same call gives the same frame. Raises WordError for a channel that is not known, RangeError for an
    ``as_of`` or a number of ``draws`` that cannot be.
    """
    import pandas as pd

    whole = isinstance(draws, Integral) and not isinstance(draws, bool)
    if not whole or not _DRAWS[0] <= draws <= _DRAWS[1]:
        raise RangeError(
            f"draws: a whole number from {_DRAWS[0]} to {_DRAWS[1]} is allowed, got {shown(draws)}"
        )
    model = compiled(load_priors() if priors is None else priors, channel, as_of)
    rng = np.random.default_rng(_SEED) if rng is None else rng
    rows = []
    for name, clue in _families(model):
        worth = model.priors.families[name].worth
        drawn = _in_portions(partial(clue.drawn, rng), int(draws)).T
        number = max(_DRAWS[0], int(draws) // _CHANCE)
        chance = [
            _in_portions(partial(clue.still, rng, grades), number).mean() for grades in _TARGETS
        ]
        bits = clue.bits()
        ends = np.quantile(drawn, [0.5 - LEVEL / 2, 0.5 + LEVEL / 2], axis=0)
        lower, upper = np.maximum(ends - drawn.mean(axis=0) + bits, 0.0)
        rows += [
            (name, grade, bits[i], lower[i], upper[i], bits[i] - chance[i],
             bool(lower[i] <= chance[i]), worth)
            for i, grade in enumerate((*GRADES, ALL))
        ]  # fmt: skip
    columns = "family grade bits lower upper beyond_chance reaches_zero worth"
    return pd.DataFrame(rows, columns=columns.split())


def information_table(priors: Priors | None = None, channel: str = CHANNEL) -> bytes:
    """`clue_information` as ``information.csv`` of a priors folder; the same priors, the same bytes."""
    source = f"python -m scarfdate.building.information; channel {channel}, as of {_TABLE_AS_OF}"
    note = "the interval is what as many records as the table is worth leave open"
    table = clue_information(priors, channel, as_of=_TABLE_AS_OF, draws=_TABLE_DRAWS)
    zero = table["reaches_zero"].map({True: "yes", False: "no"})
    notes = [note] + [""] * (len(table) - 1)
    table = table.drop(columns="worth").assign(
        reaches_zero=zero, basis="common practice", source=source, note=notes
    )
    return table.to_csv(index=False, float_format="%.3f", lineterminator="\n").encode("utf-8")


def _in_portions(draw: Callable[[int], Array], number: int) -> Array:
    """Drawn tables (..., number), some at a time."""
    portions = [min(_AT_ONCE, number - at) for at in range(0, number, _AT_ONCE)]
    return np.concatenate([draw(portion) for portion in portions], axis=-1)


def _families(model: Model) -> Iterator[tuple[str, _Shares | _Measured]]:
    """Each family of shares or measurements, in the order of ``families.csv``."""
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
    return onto_style_years(model, made) if reads == "style" else np.asarray(made)


def _xlogx(x: Real) -> Real:
    logs = np.maximum(x, np.finfo(x.dtype).tiny)
    np.log2(logs, out=logs)
    logs *= x
    return logs


def _weighed(joint: Real) -> Array:
    """Mutual information in bits times the total mass: joint (..., noted, decades, n) to (..., n)."""
    decades, noted = joint.sum(axis=-3, dtype=float), joint.sum(axis=-2, dtype=float)
    bits = (
        _xlogx(joint).sum(axis=(-3, -2), dtype=float)
        - _xlogx(decades).sum(axis=-2)
        - _xlogx(noted).sum(axis=-2)
        + _xlogx(decades.sum(axis=-2))
    )
    return np.asarray(np.maximum(bits, 0.0))  # never below zero but for rounding


def _targets(each: Real) -> Real:
    """Every grade by itself, and their sum: (grades, ...) to (targets, ...)."""
    return np.concatenate([each, each.sum(axis=0, keepdims=True)])


def _between(series: Mapping[Key, tuple[Array, Array]], model: Model) -> dict[Key, Array]:
    """The weight of each knot in each year, (years, knots): linear between, flat outside."""
    return {
        key: np.stack([np.interp(model.years, knots, unit) for unit in np.eye(len(knots))], axis=1)
        for key, (knots, _) in series.items()
    }


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
        between = _between(self.table.series, model)
        self.between = {key: weights.astype(np.float32) for key, weights in between.items()}

    def bits(self) -> Array:
        """Under the table as it is, (targets,)."""
        joint = np.einsum("gkdy,vkgy->gvd", self.weight, self.shares, optimize=True)
        joint = _targets(self.noted @ joint)[..., None]
        return np.asarray((_weighed(joint) / joint.sum(axis=(1, 2)))[:, 0])

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        """Under drawn tables, (targets, number)."""
        rows = {
            key: self._draw(rng, (shares / shares.sum(axis=1, keepdims=True)).T, number)
            for key, (_, shares) in self.table.series.items()
        }
        joint = _targets(self._joint(rows, _TARGETS[-1]))
        return np.asarray(_weighed(joint) / joint.sum(axis=(1, 2), dtype=float))

    def still(self, rng: np.random.Generator, target: Sequence[int], number: int) -> Array:
        """Under drawn tables that do not depend on the year, for the grades of a target, (number,)."""
        grades = list(target)
        average = np.einsum(
            "gkdy,vkgy->v", self.weight[grades], self.shares[:, :, grades], optimize=True
        )
        average /= average.sum()
        rows = {}
        for key in sorted({self.table.key_of(GRADES[g], k) for g in grades for k in self.markets}):
            same = np.repeat(average[:, None], len(self.table.series[key][0]), axis=1)
            rows[key] = self._draw(rng, same, number)
        joint = self._joint(rows, grades).sum(axis=0)
        return np.asarray(_weighed(joint) / joint.sum(axis=(0, 1), dtype=float))

    def _draw(self, rng: np.random.Generator, shares: Array, number: int) -> Real:
        counts = np.broadcast_to((self.worth * shares)[..., None], (*shares.shape, number))
        rows = rng.standard_gamma(counts.astype(np.float32), dtype=np.float32)
        rows /= rows.sum(axis=0)
        return rows

    def _joint(self, rows: Mapping[Key, Real], grades: Sequence[int]) -> Real:
        """P(grade, noted, decade) for drawn rows, (grades, values, decades, number)."""
        joint: list[Real] = [np.zeros((), np.float32)] * len(grades)
        readers: dict[Key, list[tuple[int, int, int]]] = {}
        for place, g in enumerate(grades):
            for k, market in enumerate(self.markets):
                key = self.table.key_of(GRADES[g], market)
                readers.setdefault(key, []).append((place, g, k))
        for key, places in readers.items():
            every = self.between[key] @ np.log(np.maximum(rows[key], np.float32(ZERO_SHARE)))
            np.exp(every, out=every)  # (values, years, number)
            every /= every.sum(axis=0)
            for place, g, k in places:
                joint[place] = joint[place] + self.light[g, k] @ every
        noted = self.noted.astype(np.float32)
        return np.stack([np.tensordot(noted, each, axes=1) for each in joint])


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
        series: Mapping[Key, tuple[Array, Array]] = self.table.series  # type: ignore[assignment]
        self.between = {key: mean @ weights for key, weights in _between(series, model).items()}
        self.rows = {key: np.log(of.T)[..., None] for key, (_, of) in series.items()}
        self.key = [
            [series_for(series, grade, value) or (ANY, ANY) for grade in GRADES]
            for value in self.values
        ]

    def bits(self) -> Array:
        """Under the table as it is, (targets,)."""
        grid = self._grid(0.0)
        bits: Array = np.zeros(len(_TARGETS))
        for centre, spread, weight in zip(
            self.measure.centre, self.measure.spread, self.weight, strict=True
        ):
            each = [
                self._joint(grid, centre[g, :, None], spread[g, :, None], weight[g]) for g in _EACH
            ]
            bits = bits + _weighed(_targets(np.stack(each)))[:, 0]
        return np.asarray(bits / self.total)

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        """Under drawn tables, (targets, number)."""
        off = self._off(rng, number)
        bits: Array = np.zeros((len(_TARGETS), number))
        for v, keys in enumerate(self.key):
            grid = self._grid(float(self.measure.spread[v].min()))
            each = [self._moved(grid, v, g, self.rows[key], off) for g, key in enumerate(keys)]
            bits = bits + _weighed(_targets(np.stack(each)))
        return np.asarray(bits / self.total[:, None])

    def still(self, rng: np.random.Generator, target: Sequence[int], number: int) -> Array:
        """Under drawn tables that do not depend on the year, for the grades of a target, (number,)."""
        off, grades = self._off(rng, number), list(target)
        bits: Array = np.zeros(number)
        for v in range(len(self.values)):
            weight = self.weight[v, grades].sum(axis=1)
            centre = np.average(self.measure.centre[v, grades], weights=weight)
            spread = np.exp(np.average(np.log(self.measure.spread[v, grades]), weights=weight))
            grid = self._grid(float(spread))
            joint: Real = np.zeros((), np.float32)
            for g in grades:
                joint = joint + self._moved(grid, v, g, (centre, spread), off)
            bits = bits + _weighed(joint)
        return np.asarray(bits / self.total[_TARGETS.index(tuple(target))])

    def _off(self, rng: np.random.Generator, number: int) -> dict[Key, Array]:
        """How far each row is off, in spreads: (median and spread, knots, number)."""
        return {
            key: rng.standard_normal((2, rows.shape[1], number)) / math.sqrt(self.worth)
            for key, rows in self.rows.items()
        }

    def _moved(self, grid: _Grid, v: int, g: int, row: Any, off: Mapping[Key, Array]) -> Real:
        """P(measure, decade) at a value and grade whose centre and spread, ``row``, are off."""
        centre, spread = row
        between, (by, wider) = self.between[self.key[v][g]], off[self.key[v][g]]
        moved = between @ (centre + spread * by)
        widened = between @ (spread * np.exp(wider / math.sqrt(2)))
        weight = self.block_weight[v, g]
        return self._joint(grid, moved.astype(np.float32), widened.astype(np.float32), weight)

    def _grid(self, narrowest: float) -> _Grid:
        """The cells on which the family is read, or as few as a density of that spread needs: the
        logarithms of the measure, and the widths.

        Summed at cells no further apart than its standard deviation, a normal density is right to
        some parts in a hundred million.
        """
        family, measure = self.measure.family, self.measure
        stride = max(1, int(narrowest / math.log(family.step)))
        cells = np.arange(measure.cell(family.low), measure.cell(family.high) + 1, stride)
        width = np.ones(len(cells))
        if measure.folded:
            width[0] = 0.5  # a ratio is never below one: half a cell
        return np.asarray(cells * math.log(family.step), dtype=float), width

    def _joint(self, grid: _Grid, centre: Real, spread: Real, weight: Real) -> Real:
        """P(measure, decade), (cells, decades, number), from centres and spreads (years, number)."""
        family, slip = self.measure.family, self.measure.slip
        at, width = (each.astype(centre.dtype)[:, None, None] for each in grid)
        chance = _bell(at, centre, spread)
        if self.measure.folded:
            chance += _bell(-at, centre, spread)
        chance *= (1 - slip) / math.sqrt(2 * math.pi)
        chance += slip / math.log(family.high / family.low)
        chance *= width
        chance /= chance.sum(axis=0)
        return np.asarray(weight @ chance)


def _bell(at: Real, centre: Real, spread: Real) -> Real:
    """A normal density but for the constant factor, in one array: this is where the time goes."""
    bell = at - centre
    bell /= spread
    bell *= bell
    bell *= -0.5
    np.exp(bell, out=bell)
    bell /= spread
    return bell


if __name__ == "__main__":
    write_whole(Path(sys.argv[1]), information_table())
