"""The likelihood of one shares clue and its derivatives with respect to the parameters.

A *site* is a state of market, grade and year; a *cell* is an observation of the clue (what was noted) at a
site. What a slip notes is as likely as the tables at hand have it common, whatever is learned of their shares:
it is a habit of those who note, and moves with no parameter. Observations that are a word alone are worked out at every site in one matrix product; those with a
measurement only at the sites where they occur. States that share a cell share its work, and cells that share a
size, a grade and a year that of its density.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterator, Sequence
from typing import cast

import numpy as np

from scarfdate.clues.measured_keys import Key
from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, Array
from scarfdate.learning.deviations import CENTRE, LAG, SHARES, SLIP, SPREAD, Deviations, Places
from scarfdate.learning.measured_density import Measured, MeasuredDensity, Named
from scarfdate.learning.prior import moved_rate


class ClueLikelihood:
    """``codes`` (s,), what was noted in each state as a place in ``keys``, with the state's ``market``,
    ``grade`` and ``year`` (s,).

    ``cell_of`` (s,): the cell of each state; `forward` gives the likelihood of every cell, worked out anew only
    where its own parts have moved since it was last asked.
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
        self.measured = self._measures(clue, noted, at_grade, layout.basis)
        self.moves_with = [(SHARES, self.name), (LAG, self.name), (SLIP, self.name)]
        self.moves_with += [
            (kind, of.name) for of in self.measured for kind in (CENTRE, SPREAD, SLIP)
        ]
        self.likelihood_at = b""

    def _words(self, clue: SharesClue, noted: Sequence[Hashable]) -> tuple[Array, Array]:
        """P(word | value) without a slip, (rows, values), and after one, (rows,); ones where no word is noted. A narrower
        word counts as the value that it is of: its own years say nothing of shares."""
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
        self, clue: SharesClue, noted: Sequence[Hashable], at_grade: Places, basis: Array
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
            sizes, size_of = np.unique(logs, return_inverse=True)
            years = clue.shares.shape[-1]
            state = at_grade[self.site[cells]] * years + self.site_year[self.site[cells]]
            states = len(GRADES) * years
            distinct, row = np.unique(
                size_of[self.row[cells]] * states + state, return_inverse=True
            )
            size, (grade, year) = distinct // states, np.divmod(distinct % states, years)
            family = measure.family
            measured.append(
                Measured(
                    name=family.name,
                    cells=cells,
                    row=row.reshape(-1),
                    log=sizes[size],
                    centre=measure.centre[:, grade, year],
                    spread=measure.spread[:, grade, year],
                    basis=basis[year],
                    slip=measure.slip,
                    width=float(np.log(family.high / family.low)),
                    folded=measure.folded,
                )
            )
        return measured

    def forward(self, parts: Named) -> Array:
        """The likelihood of every cell; what `backward` needs is kept."""
        at = b"".join(parts[one].tobytes() for one in self.moves_with)
        if at != self.likelihood_at:
            self.likelihood_at, self.likelihood = at, self._forward(parts)
        return self.likelihood

    def _forward(self, parts: Named) -> Array:
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
        # P(observation, true value) of cells with a measurement, (values, cells)
        self.joint = np.take(self.share, self.site, axis=1)
        self.joint *= np.take(self.noted.T, self.row, axis=1)
        self.densities = [MeasuredDensity(of, parts) for of in self.measured]
        for density in self.densities:
            of = density.of
            here = slice(None) if len(of.cells) == len(self.site) else of.cells
            self.joint[:, here] *= np.take(density.value, of.row, axis=1)
        self.of_sizes = self.joint.sum(axis=0)
        return np.concatenate((self.of_words.reshape(-1), self.of_sizes))

    def backward(self, weight: Array, gradient: dict[tuple[str, str], Array]) -> None:
        """Add to ``gradient`` that of the sum of weight (cells,) times log likelihood."""
        sites = len(self.site_year)
        on_words = weight[: self.of_words.size].reshape(self.of_words.shape)
        on_sizes = weight[self.of_words.size :]
        over = on_words / self.of_words
        load = self.share * (self.noted[self.words].T @ over)
        load -= self.share * on_words.sum(axis=0)
        by_slip, given = self.word_by_slip[:, None], self.word_given_value
        by_rate = float((over * (by_slip[self.words] - given[self.words] @ self.share)).sum())
        if len(on_sizes):
            true = self.joint * (on_sizes / self.of_sizes)  # expected records of each true value
            load += _columns_by_group(true, self.site, sites)
            load -= self.share * sum_by_group(on_sizes, self.site, sites)
            by_row = _columns_by_group(true, self.row, len(given)).T
            rise = np.divide(
                by_slip - given, self.noted, out=np.zeros_like(given), where=by_row > 0
            )
            by_rate += float((by_row * rise).sum())
            for density in self.densities:
                of = density.of
                here = true if len(of.cells) == len(self.site) else true[:, of.cells]
                over = _columns_by_group(here, of.row, len(of.log)) / density.value
                gradient[CENTRE, of.name] += ((over * density.by_centre).sum(axis=0) @ of.basis)[
                    None
                ]
                gradient[SPREAD, of.name] += (over * density.by_log_spread).sum()
                gradient[SLIP, of.name] += (over * density.by_logit_slip).sum()
        gradient[SHARES, self.name] += load @ self.basis
        gradient[LAG, self.name] += (load * self.by_lag[:, self.year_of]).sum()
        gradient[SLIP, self.name] += by_rate * self.rate * (1 - self.rate)

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
        of_sizes = cells[~plain] - words
        true[:, ~plain] = self.joint[:, of_sizes] / self.of_sizes[of_sizes]
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
        """Which of some cells have a measure, and the rows of their density."""
        at = cells - self.of_words.size
        place = np.searchsorted(of.cells, at)
        place = np.minimum(place, len(of.cells) - 1)
        where = np.flatnonzero(of.cells[place] == at)
        return where, of.row[place[where]]

    def information(self, weight: Array) -> Array:
        """Minus the Hessian of the sum of weight (cells,) times log likelihood with respect to all that is
        `by_knot`, (values + measures, knots) squared.

        For one cell with likelihood L it is g g' less the Hessian of L over L: with R = P(true value | cell),
        p the shares, b and c the first two derivatives of a density over it, that Hessian is
        diag(g) - g p' - p g' for two values, R b - p g for a value and a measure, and the mean of c.
        """
        values, knots = len(self.shares), self.basis.shape[1]
        rows = values + len(self.densities)
        distinct, by_year = [], []
        for year, cells in self._by_year(np.flatnonzero(weight)):
            _, true, p = self.at(cells)
            g, w = self.scores(cells)[1], weight[cells]
            hessian = np.zeros((rows, rows))
            cross = (g[:values] * w) @ p.T
            hessian[:values, :values] = np.diag((g[:values] * w).sum(axis=1)) - cross - cross.T
            for row, density in enumerate(self.densities, start=values):
                first, second = self._slopes(density, cells, true)
                mixed = (first * w).sum(axis=1) - (p * w) @ g[row]
                hessian[row, :values] = hessian[:values, row] = mixed
                hessian[row, row] = second @ w
            if rows == values + 2:  # two measures of one piece, given its true value
                both = self._both(cells, true) @ w
                hessian[values, values + 1] = hessian[values + 1, values] = both
            distinct.append(year)
            by_year.append((g * w) @ g.T - hessian)
        basis = np.zeros((int(self.site_year.max()) + 1, knots))
        basis[self.site_year] = self.basis
        some = basis[distinct]
        information = np.einsum("ya,yb,yvw->vawb", some, some, np.array(by_year), optimize=True)
        return np.asarray(information.reshape(rows * knots, rows * knots))

    def _by_year(self, cells: Places) -> Iterator[tuple[int, Places]]:
        """Cells by their year: those of one year at a time, whose scores take little room."""
        words, sites = self.of_words.size, len(self.site_year)
        plain = cells < words
        site = np.concatenate((cells[plain] % sites, self.site[cells[~plain] - words]))
        year = self.site_year[site]
        order = np.argsort(year, kind="stable")
        begin = np.flatnonzero(np.diff(year[order], prepend=-1))
        for some in np.split(order, begin[1:]):
            yield int(year[some[0]]), cells[some]

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
    return np.stack([sum_by_group(row, group, n) for row in columns])
