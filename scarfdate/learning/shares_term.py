"""One shares clue in the target: how likely what was noted is, and how that moves with the deviations.

A *site* is a state of market, grade and year; a *cell* is a row of the clue (what was noted) at a site.
Rows that are a word alone are worked out at every site in one product of matrices; rows with a
measurement only at the sites where they occur. States that share a cell share its work.
"""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np

from scarfdate.clues.shares import Key, SharesClue
from scarfdate.conventions import GRADES
from scarfdate.knots import Array
from scarfdate.learning.lateness import Lateness
from scarfdate.learning.prior import CENTRE, LATE, SHARES, SLIP, SPREAD, Places

Named = Mapping[tuple[str, str], Array]  # (kind, family) to a part of full shape


@dataclass
class _Measured:
    """Of the cells with a measurement those that have this one: the log of the size, and its usual law."""

    name: str
    cells: Places  # among the cells with a measurement
    log: Array
    centre: Array  # (values, cells)
    spread: Array
    slip: float
    width: float
    folded: bool


class SharesTerm:
    """``rows`` (s,), the row of the clue in each state, with ``market``, ``grade`` and ``year`` (s,) of it.

    ``cell_of`` (s,): the cell of each state; `evaluate` gives the likelihood of every cell.
    """

    def __init__(
        self,
        clue: SharesClue,
        rows: Places,
        market: Places,
        grade: Places,
        year: Places,
        hat: Array,
        late: Lateness,
    ) -> None:
        years = clue.shares.shape[-1]
        kind = market if clue.by_market else np.zeros_like(market)
        sites, site_of = np.unique((kind * len(GRADES) + grade) * years + year, return_inverse=True)
        names, row_of = np.unique(rows, return_inverse=True)
        place, self.site_year = np.divmod(sites, years)
        at_market, at_grade = np.divmod(place, len(GRADES))
        self.name = clue.name
        self.shares = clue.shares[:, at_market, at_grade, self.site_year]
        self.hat = hat[self.site_year]  # (sites, knots)
        distinct, self.year_of = np.unique(self.site_year, return_inverse=True)
        self.year_hat = hat[distinct]
        self.late = late.only(distinct)
        keys = [clue.rows.keys[row] for row in names.tolist()]
        self.right, self.chance = self._words(clue, keys)
        self.slip = clue.priors.slips[clue.name]
        sized = np.array([any(step is not None for step in cast(Key, key)[1]) for key in keys])
        self.words = np.flatnonzero(~sized)
        # cells: the rows of words at every site, then the cells with a measurement
        within = np.cumsum(~sized) - 1
        n = len(sites)
        row_of, site_of = row_of.reshape(-1), site_of.reshape(-1)
        self.cell_of = within[row_of] * n + site_of
        has = sized[row_of]
        cells, where = np.unique(row_of[has] * n + site_of[has], return_inverse=True)
        self.cell_of[has] = len(self.words) * n + where.reshape(-1)
        self.row, self.site = np.divmod(cells, n)
        self.cells = len(self.words) * n + len(cells)
        self.measured = self._measures(clue, keys, at_grade)

    def _words(self, clue: SharesClue, keys: Sequence[Hashable]) -> tuple[Array, Array]:
        """P(word | value) without a slip, (rows, values), and after one, (rows,); ones where none is noted."""
        slip = clue.priors.slips[clue.name]
        right, chance = np.ones((len(keys), len(clue.values))), np.ones(len(keys))
        for row, key in enumerate(keys):
            seen = cast(Key, key)[0]
            if seen is not None:
                word = next(one for one in clue.slips(key) if one.part == clue.name)
                chance[row] = word.seen
                right[row] = (clue.fits(seen) - slip * word.seen) / (1 - slip)
        return np.maximum(right, 0.0), chance

    def _measures(
        self, clue: SharesClue, keys: Sequence[Hashable], at_grade: Places
    ) -> list[_Measured]:
        found = []
        for place, measure in enumerate(clue.measures):
            steps = [cast(Key, key)[1][place] for key in keys]
            has = np.array([step is not None for step in steps])
            cells = np.flatnonzero(has[self.row])
            if not cells.size:
                continue
            logs = np.array(
                [np.log(measure.value(step)) if step is not None else 0.0 for step in steps]
            )
            grade, year = at_grade[self.site[cells]], self.site_year[self.site[cells]]
            family = measure.family
            found.append(
                _Measured(
                    family.name, cells, logs[self.row[cells]],
                    measure.centre[:, grade, year], measure.spread[:, grade, year],
                    measure.slip, float(np.log(family.high / family.low)), measure.folded,
                )
            )  # fmt: skip
        return found

    def evaluate(self, parts: Named) -> Array:
        """The likelihood of every cell; what `backward` needs is kept."""
        # all sites of a year are moved alike
        moved, self.by_lag = self.late.at(float(parts[LATE, self.name][0, 0]))
        moved += parts[SHARES, self.name] @ self.year_hat.T
        moved = np.exp(moved - moved.max(axis=0))
        self.share = self.shares * moved[:, self.year_of]
        self.share /= self.share.sum(axis=0)
        self.rate = _logistic(
            np.log(self.slip / (1 - self.slip)) + float(parts[SLIP, self.name][0, 0])
        )
        self.fits = (1 - self.rate) * self.right + self.rate * self.chance[:, None]
        self.of_words = self.fits[self.words] @ self.share  # (rows, sites)
        joint = self.share[:, self.site] * self.fits[self.row].T
        self.kept: list[tuple[_Measured, Array, Array, Array, Array, Array]] = []
        for of in self.measured:
            density, *slopes = _density(of, parts, self.hat[self.site[of.cells]])
            joint[:, of.cells] *= density
            self.kept.append((of, density, slopes[0], slopes[1], slopes[2], slopes[3]))
        self.of_sizes = joint.sum(axis=0)
        self.true = joint / self.of_sizes  # P(true value | cell), of cells with a measurement
        return np.concatenate((self.of_words.reshape(-1), self.of_sizes))

    def backward(self, weight: Array, parts: dict[tuple[str, str], Array]) -> None:
        """Add to ``parts`` the derivative of the sum of weight (cells,) times log likelihood."""
        sites = len(self.site_year)
        on_words = weight[: self.of_words.size].reshape(self.of_words.shape)
        on_sizes = weight[self.of_words.size :]
        over = on_words / self.of_words
        load = self.share * (self.fits[self.words].T @ over)
        load += _summed(self.true * on_sizes, self.site, sites)
        load -= self.share * (on_words.sum(axis=0) + np.bincount(self.site, on_sizes, sites))
        parts[SHARES, self.name] += load @ self.hat
        parts[LATE, self.name] += (load * self.by_lag[:, self.year_of]).sum()
        chance, right = self.chance[self.words, None], self.right[self.words] @ self.share
        by_slip = float((over * (chance - right)).sum())
        if len(on_sizes):
            fall = (self.chance[:, None] - self.right)[self.row] / self.fits[self.row]
            by_slip += float(on_sizes @ (self.true.T * fall).sum(axis=1))
        parts[SLIP, self.name] += by_slip * self.rate * (1 - self.rate)
        for of, density, by_centre, by_spread, by_rate, _ in self.kept:
            over = self.true[:, of.cells] * on_sizes[of.cells] / density
            hat = self.hat[self.site[of.cells]]
            parts[CENTRE, of.name] += ((over * by_centre).sum(axis=0) @ hat)[None]
            parts[SPREAD, of.name] += (over * by_spread).sum()
            parts[SLIP, of.name] += (over * by_rate).sum()

    def at(self, cells: Places) -> tuple[Places, Array, Array]:
        """Of some cells the site, and P(true value | cell) and the shares there, each (values, cells)."""
        words, sites = self.of_words.size, len(self.site_year)
        site = np.where(cells < words, cells % sites, 0)
        true = np.empty((len(self.share), len(cells)))
        plain = cells < words
        row = self.words[cells[plain] // sites]
        true[:, plain] = self.fits[row].T * self.share[:, site[plain]]
        true[:, plain] /= self.of_words.reshape(-1)[cells[plain]]
        site[~plain] = self.site[cells[~plain] - words]
        true[:, ~plain] = self.true[:, cells[~plain] - words]
        return site, true, self.share[:, site]

    @property
    def moving(self) -> list[tuple[str, str]]:
        """The parts with a value at each knot: the shares of the clue, and the centre of each measure seen."""
        return [(SHARES, self.name), *((CENTRE, of.name) for of, *_ in self.kept)]

    def scores(self, cells: Places) -> tuple[Places, Array]:
        """Of some cells the site, and the derivative of the log likelihood by e of each value and by d of
        each measure, at its year: (values + measures, cells)."""
        site, true, share = self.at(cells)
        found = [true - share]
        for of, density, by_centre, *_ in self.kept:
            slope = np.zeros((1, len(cells)))
            where, place = self._among(of, cells)
            slope[0, where] = (true[:, where] * (by_centre / density)[:, place]).sum(axis=0)
            found.append(slope)
        return site, np.concatenate(found)

    def _among(self, of: _Measured, cells: Places) -> tuple[Places, Places]:
        """Which of some cells have a measure, and their places among all that have it."""
        at = cells - self.of_words.size
        place = np.searchsorted(of.cells, at)
        place = np.minimum(place, len(of.cells) - 1)
        where = np.flatnonzero(of.cells[place] == at)
        return where, place[where]

    def bend(self, weight: Array) -> Array:
        """Minus the second derivative of the weighted sum with the state known, by all that is `moving`:
        (values + measures, knots) squared.

        For one cell with likelihood L it is g g' less the second derivative of L over L: with R the chances
        of the true value, p the shares, b and c the first two derivatives of a density over it,
        diag(g) - g p' - p g' by two values, R b - p g by a value and a measure, and the mean of c.
        """
        values, knots = len(self.shares), self.hat.shape[1]
        cells = np.flatnonzero(weight)
        site, score = self.scores(cells)
        _, true, share = self.at(cells)
        year, load = self.site_year[site], weight[cells]
        kinds = np.unique(year)
        rows = len(score)
        by_year = np.zeros((len(kinds), rows, rows))
        slopes = [self._slopes(place, cells, true) for place in range(len(self.kept))]
        for place, one in enumerate(kinds.tolist()):
            at = np.flatnonzero(year == one)
            g, p, w = score[:, at], share[:, at], load[at]
            second = np.zeros((rows, rows))
            cross = (g[:values] * w) @ p.T
            second[:values, :values] = np.diag((g[:values] * w).sum(axis=1)) - cross - cross.T
            for row, (bent, mean_bent) in enumerate(slopes, start=values):
                mixed = (bent[:, at] * w).sum(axis=1) - (p * w) @ g[row]
                second[row, :values] = second[:values, row] = mixed
                second[row, row] = mean_bent[at] @ w
            if rows == values + 2:  # two measures of one piece, given its true value
                both = self._both(cells[at], true[:, at])
                second[values, values + 1] = second[values + 1, values] = both @ w
            by_year[place] = (g * w) @ g.T - second
        hat = np.zeros((int(self.site_year.max()) + 1, knots))
        hat[self.site_year] = self.hat
        bent = np.einsum("ya,yb,yvw->vawb", hat[kinds], hat[kinds], by_year, optimize=True)
        return np.asarray(bent.reshape(rows * knots, rows * knots))

    def _slopes(self, number: int, cells: Places, true: Array) -> tuple[Array, Array]:
        """R b of each value, (values, cells), and the mean of c, (cells,), of one measure."""
        of, density, by_centre, _, _, bent = self.kept[number]
        first, second = np.zeros_like(true), np.zeros(len(cells))
        where, place = self._among(of, cells)
        first[:, where] = true[:, where] * (by_centre / density)[:, place]
        second[where] = (true[:, where] * (bent / density)[:, place]).sum(axis=0)
        return first, second

    def _both(self, cells: Places, true: Array) -> Array:
        """The mean of the product of the slopes of two measures, (cells,)."""
        product = true.copy()
        for of, density, by_centre, *_ in self.kept:
            slope = np.zeros_like(true)
            where, place = self._among(of, cells)
            slope[:, where] = (by_centre / density)[:, place]
            product *= slope
        return np.asarray(product.sum(axis=0))


def _density(of: _Measured, parts: Named, hat: Array) -> tuple[Array, Array, Array, Array, Array]:
    """The density of each size, its derivatives by centre, log spread and logit slip, and the second one by
    centre, each (values, cells)."""
    centre = of.centre + hat @ parts[CENTRE, of.name][0]
    spread = of.spread * np.exp(float(parts[SPREAD, of.name][0, 0]))
    rate = _logistic(np.log(of.slip / (1 - of.slip)) + float(parts[SLIP, of.name][0, 0]))
    usual = by_centre = by_spread = bent = np.zeros_like(centre)
    # a ratio of sides is the same measurement upside down
    for side in (of.log, -of.log) if of.folded else (of.log,):
        off = (side - centre) / spread
        bell = np.exp(-0.5 * off**2) / (spread * np.sqrt(2 * np.pi))
        usual = usual + bell
        by_centre = by_centre + bell * off / spread
        by_spread = by_spread + bell * (off**2 - 1)
        bent = bent + bell * (off**2 - 1) / spread**2
    density = (1 - rate) * usual + rate / of.width
    by_slip = (1 / of.width - usual) * rate * (1 - rate)
    return density, (1 - rate) * by_centre, (1 - rate) * by_spread, by_slip, (1 - rate) * bent


def added_up(weight: Array, to: Places, n: int) -> Array:
    """Weights added up by where they belong, (n,)."""
    return np.asarray(np.bincount(to, weight, n), dtype=np.float64)


def _logistic(x: float) -> float:
    return float((1 + np.tanh(x / 2)) / 2)


def _summed(columns: Array, to: Places, n: int) -> Array:
    """Columns (values, cells) added up by where they belong, (values, n)."""
    order = np.argsort(to, kind="stable")
    ends, first = np.unique(to[order], return_index=True)
    found = np.zeros((len(columns), n))
    found[:, ends] = np.add.reduceat(columns[:, order], first, axis=1)
    return found
