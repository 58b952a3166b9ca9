"""The likelihood of one shares clue and its derivatives with respect to the parameters.

A *site* is a state of market, grade and year; a *cell* is an observation of the clue (what was noted) at a
site. What a slip notes is as likely as the tables at hand have it common, whatever is learned of their shares:
it is a habit of those who note, and moves with no parameter. Observations that are a word alone are worked out at every site in one matrix product; those with a
measurement only at the sites where they occur. States that share a cell share its work.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import cast

import numpy as np

from scarfdate.clues.shares import Key, SharesClue
from scarfdate.conventions import GRADES, Array
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD, Deviations, Places
from scarfdate.learning.measured_density import Measured, MeasuredDensity, Named, measured_density
from scarfdate.learning.prior import moved_rate


class ClueLikelihood:
    """``codes`` (s,), what was noted in each state as a place in ``keys``, with the state's ``market``,
    ``grade`` and ``year`` (s,).

    ``cell_of`` (s,): the cell of each state; `forward` gives the likelihood of every cell.
    """

    def __init__(
        self,
        clue: SharesClue,
        keys: Sequence[Hashable],
        codes: Places,
        market: Places,
        grade: Places,
        year: Places,
        layout: Deviations,
    ) -> None:
        years = clue.shares.shape[-1]
        kind = market if clue.by_market else np.zeros_like(market)
        sites, site_of = np.unique((kind * len(GRADES) + grade) * years + year, return_inverse=True)
        used, row_of = np.unique(codes, return_inverse=True)
        place, self.site_year = np.divmod(sites, years)
        at_market, at_grade = np.divmod(place, len(GRADES))
        self.name = clue.name
        self.shares = clue.shares[:, at_market, at_grade, self.site_year]
        self.basis = layout.basis[self.site_year]  # (sites, knots)
        distinct, self.year_of = np.unique(self.site_year, return_inverse=True)
        self.year_basis = layout.basis[distinct]
        self.lag = layout.lags[clue.name].only(distinct)
        noted = [keys[code] for code in used.tolist()]
        self.word_given_value, self.word_by_slip = self._words(clue, noted)
        self.slip = clue.priors.slips[clue.name]
        sized = np.array([any(step is not None for step in cast(Key, key)[1]) for key in noted])
        self.words = np.flatnonzero(~sized)
        # cells: the words alone at every site, then the cells with a measurement
        within = np.cumsum(~sized) - 1
        n = len(sites)
        row_of, site_of = row_of.reshape(-1), site_of.reshape(-1)
        self.cell_of = within[row_of] * n + site_of
        has = sized[row_of]
        cells, where = np.unique(row_of[has] * n + site_of[has], return_inverse=True)
        self.cell_of[has] = len(self.words) * n + where.reshape(-1)
        self.row, self.site = np.divmod(cells, n)
        self.cells = len(self.words) * n + len(cells)
        self.measured = self._measures(clue, noted, at_grade)

    def _words(self, clue: SharesClue, noted: Sequence[Hashable]) -> tuple[Array, Array]:
        """P(word | value) without a slip, (rows, values), and after one, (rows,); ones where no word is noted."""
        slip = clue.priors.slips[clue.name]
        given, by_slip = np.ones((len(noted), len(clue.values))), np.ones(len(noted))
        for row, key in enumerate(noted):
            seen = cast(Key, key)[0]
            if seen is not None:
                word = next(one for one in clue.slips(key) if one.part == clue.name)
                by_slip[row] = word.seen
                given[row] = (clue.fits(seen) - slip * word.seen) / (1 - slip)
        return np.maximum(given, 0.0), by_slip

    def _measures(
        self, clue: SharesClue, noted: Sequence[Hashable], at_grade: Places
    ) -> list[Measured]:
        measured = []
        for place, measure in enumerate(clue.measures):
            steps = [cast(Key, key)[1][place] for key in noted]
            has = np.array([step is not None for step in steps])
            cells = np.flatnonzero(has[self.row])
            if not cells.size:
                continue
            logs = np.array(
                [np.log(measure.value(step)) if step is not None else 0.0 for step in steps]
            )
            grade, year = at_grade[self.site[cells]], self.site_year[self.site[cells]]
            family = measure.family
            measured.append(
                Measured(
                    name=family.name,
                    cells=cells,
                    log=logs[self.row[cells]],
                    centre=measure.centre[:, grade, year],
                    spread=measure.spread[:, grade, year],
                    slip=measure.slip,
                    width=float(np.log(family.high / family.low)),
                    folded=measure.folded,
                )
            )
        return measured

    def forward(self, parts: Named) -> Array:
        """The likelihood of every cell; what `backward` needs is kept."""
        # all sites of a year are moved alike
        shift, self.by_lag = self.lag.at(float(parts[LAG, self.name][0, 0]))
        shift += parts[SHARES, self.name] @ self.year_basis.T
        factor = np.exp(shift - shift.max(axis=0))
        self.share = self.shares * factor[:, self.year_of]
        self.share /= self.share.sum(axis=0)
        self.rate = float(moved_rate(self.slip, parts[SLIP, self.name][0, 0]))
        self.noted = (1 - self.rate) * self.word_given_value
        self.noted += self.rate * self.word_by_slip[:, None]  # P(word | value), (rows, values)
        self.of_words = self.noted[self.words] @ self.share  # (rows, sites)
        joint = self.share[:, self.site] * self.noted[self.row].T
        self.densities = [
            measured_density(of, parts, self.basis[self.site[of.cells]]) for of in self.measured
        ]
        for density in self.densities:
            joint[:, density.of.cells] *= density.value
        self.of_sizes = joint.sum(axis=0)
        self.true = joint / self.of_sizes  # P(true value | cell), of cells with a measurement
        return np.concatenate((self.of_words.reshape(-1), self.of_sizes))

    def backward(self, weight: Array, gradient: dict[tuple[str, str], Array]) -> None:
        """Add to ``gradient`` that of the sum of weight (cells,) times log likelihood."""
        sites = len(self.site_year)
        on_words = weight[: self.of_words.size].reshape(self.of_words.shape)
        on_sizes = weight[self.of_words.size :]
        over = on_words / self.of_words
        load = self.share * (self.noted[self.words].T @ over)
        load -= self.share * on_words.sum(axis=0)
        if len(on_sizes):
            load += _columns_by_group(self.true * on_sizes, self.site, sites)
            load -= self.share * np.bincount(self.site, on_sizes, sites)
        gradient[SHARES, self.name] += load @ self.basis
        gradient[LAG, self.name] += (load * self.by_lag[:, self.year_of]).sum()
        by_slip, given = self.word_by_slip[self.words, None], self.word_given_value[self.words]
        by_rate = float((over * (by_slip - given @ self.share)).sum())
        if len(on_sizes):
            rise = (self.word_by_slip[:, None] - self.word_given_value)[self.row]
            rise /= self.noted[self.row]
            by_rate += float(on_sizes @ (self.true.T * rise).sum(axis=1))
        gradient[SLIP, self.name] += by_rate * self.rate * (1 - self.rate)
        for density in self.densities:
            of = density.of
            over = self.true[:, of.cells] * on_sizes[of.cells] / density.value
            basis = self.basis[self.site[of.cells]]
            gradient[CENTRE, of.name] += ((over * density.by_centre).sum(axis=0) @ basis)[None]
            gradient[SPREAD, of.name] += (over * density.by_log_spread).sum()
            gradient[SLIP, of.name] += (over * density.by_logit_slip).sum()

    def at(self, cells: Places) -> tuple[Places, Array, Array]:
        """Of some cells the site, and P(true value | cell) and the shares there, each (values, cells)."""
        words, sites = self.of_words.size, len(self.site_year)
        site = np.where(cells < words, cells % sites, 0)
        true = np.empty((len(self.share), len(cells)))
        plain = cells < words
        row = self.words[cells[plain] // sites]
        true[:, plain] = self.noted[row].T * self.share[:, site[plain]]
        true[:, plain] /= self.of_words.reshape(-1)[cells[plain]]
        site[~plain] = self.site[cells[~plain] - words]
        true[:, ~plain] = self.true[:, cells[~plain] - words]
        return site, true, self.share[:, site]

    @property
    def by_knot(self) -> list[tuple[str, str]]:
        """The parts with a value at each knot: the shares, and the centre of each measure that some piece has."""
        return [(SHARES, self.name), *((CENTRE, of.name) for of in self.measured)]

    def scores(self, cells: Places) -> tuple[Places, Array]:
        """Of some cells the site, and the score: the derivative of the log likelihood with respect to e of each
        value and d of each measure at its year, (values + measures, cells)."""
        site, true, share = self.at(cells)
        score = [true - share]
        for density in self.densities:
            slope = np.zeros((1, len(cells)))
            where, place = self._among(density.of, cells)
            relative = (density.by_centre / density.value)[:, place]
            slope[0, where] = (true[:, where] * relative).sum(axis=0)
            score.append(slope)
        return site, np.concatenate(score)

    def _among(self, of: Measured, cells: Places) -> tuple[Places, Places]:
        """Which of some cells have a measure, and their places among all that have it."""
        at = cells - self.of_words.size
        place = np.searchsorted(of.cells, at)
        place = np.minimum(place, len(of.cells) - 1)
        where = np.flatnonzero(of.cells[place] == at)
        return where, place[where]

    def information(self, weight: Array) -> Array:
        """Minus the Hessian of the sum of weight (cells,) times log likelihood with respect to all that is
        `by_knot`, (values + measures, knots) squared.

        For one cell with likelihood L it is g g' less the Hessian of L over L: with R = P(true value | cell),
        p the shares, b and c the first two derivatives of a density over it, that Hessian is
        diag(g) - g p' - p g' for two values, R b - p g for a value and a measure, and the mean of c.
        """
        values, knots = len(self.shares), self.basis.shape[1]
        cells = np.flatnonzero(weight)
        site, score = self.scores(cells)
        _, true, share = self.at(cells)
        year, load = self.site_year[site], weight[cells]
        distinct = np.unique(year)
        rows = len(score)
        by_year = np.zeros((len(distinct), rows, rows))
        slopes = [self._slopes(density, cells, true) for density in self.densities]
        for place, one in enumerate(distinct.tolist()):
            at = np.flatnonzero(year == one)
            g, p, w = score[:, at], share[:, at], load[at]
            hessian = np.zeros((rows, rows))
            cross = (g[:values] * w) @ p.T
            hessian[:values, :values] = np.diag((g[:values] * w).sum(axis=1)) - cross - cross.T
            for row, (first, second) in enumerate(slopes, start=values):
                mixed = (first[:, at] * w).sum(axis=1) - (p * w) @ g[row]
                hessian[row, :values] = hessian[:values, row] = mixed
                hessian[row, row] = second[at] @ w
            if rows == values + 2:  # two measures of one piece, given its true value
                both = self._both(cells[at], true[:, at])
                hessian[values, values + 1] = hessian[values + 1, values] = both @ w
            by_year[place] = (g * w) @ g.T - hessian
        basis = np.zeros((int(self.site_year.max()) + 1, knots))
        basis[self.site_year] = self.basis
        some = basis[distinct]
        information = np.einsum("ya,yb,yvw->vawb", some, some, by_year, optimize=True)
        return np.asarray(information.reshape(rows * knots, rows * knots))

    def _slopes(self, density: MeasuredDensity, cells: Places, true: Array) -> tuple[Array, Array]:
        """R b of each value, (values, cells), and the mean of c, (cells,), of one measure."""
        first, second = np.zeros_like(true), np.zeros(len(cells))
        where, place = self._among(density.of, cells)
        first[:, where] = true[:, where] * (density.by_centre / density.value)[:, place]
        relative = (density.by_centre_twice / density.value)[:, place]
        second[where] = (true[:, where] * relative).sum(axis=0)
        return first, second

    def _both(self, cells: Places, true: Array) -> Array:
        """The mean of the product of the relative slopes of two measures, (cells,)."""
        product = true.copy()
        for density in self.densities:
            slope = np.zeros_like(true)
            where, place = self._among(density.of, cells)
            slope[:, where] = (density.by_centre / density.value)[:, place]
            product *= slope
        return np.asarray(product.sum(axis=0))


def sum_by_group(weight: Array, group: Places, n: int) -> Array:
    """Weights added up by their group, (n,)."""
    return np.asarray(np.bincount(group, weight, n), dtype=np.float64)


def _columns_by_group(columns: Array, group: Places, n: int) -> Array:
    """Columns (values, cells) added up by their group, (values, n)."""
    order = np.argsort(group, kind="stable")
    ends, first = np.unique(group[order], return_index=True)
    summed = np.zeros((len(columns), n))
    summed[:, ends] = np.add.reduceat(columns[:, order], first, axis=1)
    return summed
