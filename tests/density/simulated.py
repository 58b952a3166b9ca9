"""Invented densities and museums that state dates by known rules, for the tests beside this."""

from __future__ import annotations

import numpy as np

from scarfdate.conventions import Array
from scarfdate.density.intervals import Cells
from scarfdate.density.kinds import CENTURY, CIRCA, DECADE, EXACT, KINDS, QUARTER, Widths

START, CELLS = 1880, 146
WIDTHS = Widths(narrow=5, circa=11, quarter=30, half=60)
YEARS = np.arange(START, START + CELLS)


def two_humps() -> Array:
    """A narrow early hump, a broad late one and a thin even layer, (146,)."""
    at = np.arange(CELLS)
    humps = 0.55 / 9 * np.exp(-(((at - 42) / 9) ** 2) / 2)
    humps += 0.4 / 14 * np.exp(-(((at - 95) / 14) ** 2) / 2)
    density = humps + 0.05 * 2.5 / CELLS
    return np.asarray(density / density.sum())


def mixed_intervals(density: Array, n: int, rng: np.random.Generator) -> tuple[Cells, Cells]:
    """Exact years, decades and centuries, chosen without regard to the year."""
    year = START + rng.choice(CELLS, n, p=density)
    wide = rng.choice([1, 10, 100], n, p=[0.35, 0.4, 0.25])
    first = year // wide * wide
    last = first + wide - 1
    return np.maximum(first, START) - START, np.minimum(last, YEARS[-1]) - START


def true_shares() -> Array:
    """q, (kinds, cells): centuries give way to years as time goes on."""
    logits = np.full((KINDS, CELLS), -np.inf)
    late = (np.arange(CELLS) - 70) / 35
    logits[EXACT], logits[CIRCA] = 0.2 + late, 0.1 + 0.3 * late
    logits[DECADE], logits[QUARTER], logits[CENTURY] = 0.2, -0.6 - 0.2 * late, -0.2 - late
    share = np.exp(logits)
    return np.asarray(share / share.sum(axis=0))


def museum(
    density: Array, n: int, ten: float, five: float, rng: np.random.Generator
) -> tuple[Cells, Cells, Cells]:
    """Kind, first and last year of ``n`` statements; years and circas are rounded as told."""
    cell = rng.choice(CELLS, n, p=density)
    year = START + cell
    year = np.where(cell == 0, rng.integers(1800, START + 1, n), year)  # cell 0: all before
    total = true_shares().cumsum(axis=0)
    kind = (rng.random(n) > total[:, cell]).sum(axis=0)
    way = rng.choice(3, n, p=[1 - ten - five, ten, five])
    tie = rng.integers(0, 2, n)  # a year that ends in five goes up or down
    to_ten = (year + 4 + tie) // 10 * 10
    to_five = (year + 2) // 5 * 5
    near = year + np.where(kind == CIRCA, rng.integers(-5, 6, n), 0)
    named = np.choose(way, [near, to_ten, to_five])
    reach = np.where(kind == CIRCA, 5, 0)
    wide = np.choose(kind, [1, 1, 1, 10, 25, 50, 100])
    first = np.where(kind <= CIRCA, named - reach, year // wide * wide)
    last = np.where(kind <= CIRCA, named + reach, year // wide * wide + wide - 1)
    return kind, first, last
