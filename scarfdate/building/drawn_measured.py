"""Drawn tables of a measured family, and the bits about the decade that each of them carries.

What is drawn, and why: `scarfdate.building.information`.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from scarfdate.building.decade_bits import (
    EACH,
    LEAST_WORTH,
    TARGETS,
    Real,
    knot_weights,
    made_and_read,
    targets,
    weighed,
)
from scarfdate.clues.measured import Measure
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, Array
from scarfdate.model.model import Model
from scarfdate.tables.knots import Key

_BLOCK = 5  # years that a drawn measured table takes together; knots stand further apart
_Grid = tuple[Array, Array]


class Measured:
    """A measured family, given the value of its parent. Drawn rows are (2, knots, number)."""

    def __init__(self, model: Model, clue: SharesClue, measure: Measure) -> None:
        self.table = model.priors.measured[measure.family.name]
        self.worth = max(measure.family.worth, LEAST_WORTH)
        self.measure, self.values = measure, clue.values
        markets = model.market[None, :, None, :] if clue.by_market else np.ones((1, 1, 1, 1))
        parent = (clue.shares * markets).sum(axis=1)
        # P(value, grade, decade made, year whose table is read)
        self.weight = made_and_read(model, clue.reads) * parent[:, :, None, :]
        self.total = targets(self.weight.sum(axis=(0, 2, 3)))
        block = model.years // _BLOCK - model.years[0] // _BLOCK
        member = (np.arange(block[-1] + 1)[:, None] == block).astype(float)
        self.block_weight = (self.weight @ member.T).astype(np.float32)
        mean = member / member.sum(axis=1, keepdims=True)
        series = self.table.series
        self.between = {key: mean @ weights for key, weights in knot_weights(series, model).items()}
        self.rows = {key: np.log(of.T)[..., None] for key, (_, of) in series.items()}
        self.key = [[self.table.key_of(grade, value) for grade in GRADES] for value in self.values]

    def bits(self) -> Array:
        """Under the table as it is, (targets,)."""
        grid = self._grid(0.0)
        bits: Array = np.zeros(len(TARGETS))
        for centre, spread, weight in zip(
            self.measure.centre, self.measure.spread, self.weight, strict=True
        ):
            each = [
                self._joint(grid, centre[g, :, None], spread[g, :, None], weight[g]) for g in EACH
            ]
            bits = bits + weighed(targets(np.stack(each)))[:, 0]
        return np.asarray(bits / self.total)

    def drawn(self, rng: np.random.Generator, number: int) -> Array:
        """Under drawn tables, (targets, number)."""
        off = self._off(rng, number)
        bits: Array = np.zeros((len(TARGETS), number))
        for v, keys in enumerate(self.key):
            grid = self._grid(float(self.measure.spread[v].min()))
            each = [self._moved(grid, v, g, self.rows[key], off) for g, key in enumerate(keys)]
            bits = bits + weighed(targets(np.stack(each)))
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
            bits = bits + weighed(joint)
        return np.asarray(bits / self.total[TARGETS.index(tuple(target))])

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
