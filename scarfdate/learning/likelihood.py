"""The logarithm of P(clues | known years), summed over records, and its gradient: all of it exact sums.

For a record whose year is known to lie in an interval

    P(clues | interval) = sum over the interval, grade, market of  P(y | interval) P(g | y) P(k | y) M [ ... ]

with M the making clues and [ ... ] the style clues mixed over revivals, as in `scarfdate.model.model`. The year
is weighed within the interval by the channel's prior, which is held: how often a dealer bought pieces of
a year says nothing about how those pieces were made.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.sparse import csr_array

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS
from scarfdate.knots import Array
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.prior import TIER, Deviations, Places, deviations_of, moved_shares
from scarfdate.learning.shares_term import SharesTerm, added_up
from scarfdate.model.model import Model


class Target:
    """The likelihood of some patterns as a function of the deviations.

    Only clues that some record has are in it; others have nothing to learn. Every clue has its full weight
    here, whatever trust the tables give it: a likelihood to a power is none.
    """

    def __init__(self, model: Model, patterns: Patterns, *, tiers: bool = True) -> None:
        self.model, self.patterns = model, patterns
        seen = (patterns.codes != 0).any(axis=0)
        self.columns = [
            column
            for column, clue in enumerate(model.clues)
            if isinstance(clue, SharesClue) and seen[column]
        ]
        names = [model.clues[column].name for column in self.columns]
        self.deviations: Deviations = deviations_of(model, names, tiers=tiers)
        self.tiers = tiers
        self._states()
        making = [c for c in self.columns if c not in model.style.columns]
        self.making = [self._term(column) for column in making]
        self._fixed()
        self._style([c for c in self.columns if c in model.style.columns])

    def _states(self) -> None:
        """One state for each year of the interval, grade, and market where a clue depends on it."""
        model, patterns = self.model, self.patterns
        market = np.any(patterns.codes[:, list(model.by_market.columns)] != 0, axis=1)
        lengths = patterns.last - patterns.first + 1
        kinds = np.where(market, len(MARKETS), 1)
        number = lengths * kinds * len(GRADES)
        self.start = np.concatenate(([0], np.cumsum(number)[:-1])).astype(np.intp)
        self.pattern = np.repeat(np.arange(len(patterns)), number)
        within = np.arange(number.sum()) - np.repeat(self.start, number)
        rest, year = np.divmod(within, lengths[self.pattern])
        kind, self.grade = np.divmod(rest, len(GRADES))
        self.year = (year + patterns.first[self.pattern]).astype(np.intp)
        self.by_market = market[self.pattern]
        self.market = np.where(self.by_market, kind, 0).astype(np.intp)
        total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
        held = np.log(total[patterns.last + 1] - total[patterns.first])
        self.log_year = np.log(model.year_prior)[self.year] - held[self.pattern]
        self.log_grade = np.log(model.prior / model.year_prior)
        self.log_market = np.log(model.market)

    def _term(self, column: int) -> tuple[Places, SharesTerm]:
        """The states in which a clue was looked at, and its term."""
        clue = self.model.clues[column]
        assert isinstance(clue, SharesClue)
        rows = self.patterns.codes[self.pattern, column]
        at = np.flatnonzero(rows)
        term = SharesTerm(
            clue, rows[at].astype(np.intp), self.market[at], self.grade[at], self.year[at],
            self.deviations.hat, self.deviations.late[clue.name],
        )  # fmt: skip
        return at, term

    def _fixed(self) -> None:
        """Clues that have no shares (a label's text, a maker, a dated thing): as the tables have them."""
        self.fixed = np.zeros(len(self.pattern))
        for column, clue in enumerate(self.model.clues):
            if isinstance(clue, SharesClue) or not self.patterns.codes[:, column].any():
                continue
            rows = self.patterns.codes[self.pattern, column]
            table = clue.rows.table.reshape(-1, *clue.shape)
            kind = self.market if clue.by_market else np.zeros_like(self.market)
            self.fixed += (
                np.log(table[rows, kind, self.grade, self.year]) + clue.rows.log_scale[rows]
            )

    def _style(self, columns: Sequence[int]) -> None:
        """Distinct combinations of style clues, and a term for each clue over all grades and years."""
        codes = self.patterns.codes[:, list(columns)]
        kinds, which = np.unique(codes, axis=0, return_inverse=True)
        look = which.reshape(-1)[self.pattern]
        self.looks = len(kinds)
        # the years at which each combination is needed: few of all, where years are known
        need, self.need = np.unique(look * len(self.model.years) + self.year, return_inverse=True)
        self.need = self.need.reshape(-1)
        self.need_look, self.need_year = np.divmod(need, len(self.model.years))
        self.back = self.model.looked_back_to[self.need_year]
        # adds up the needed years of each combination and grade, once its data are filled in
        group = (self.need_look[:, None] * len(GRADES) + np.arange(len(GRADES))).reshape(-1)
        self.added = np.argsort(group, kind="stable")
        of, ends = self.added // len(GRADES), np.arange(self.looks * len(GRADES) + 1)
        self.adding = csr_array(
            (np.empty(len(group)), of, np.searchsorted(group[self.added], ends)),
            shape=(self.looks * len(GRADES), len(need)),
        )
        self.style: list[tuple[Places, Places, SharesTerm]] = []
        grades, years = len(GRADES), len(self.model.years)
        grade, year = np.divmod(np.arange(grades * years), years)
        for place, column in enumerate(columns):
            clue = self.model.clues[column]
            assert isinstance(clue, SharesClue)
            used, row_of = np.unique(kinds[:, place], return_inverse=True)
            rows = used[used != 0].astype(np.intp)
            n = len(rows)
            term = SharesTerm(
                clue, np.repeat(rows, grades * years), np.zeros(n * grades * years, dtype=np.intp),
                np.tile(grade, n), np.tile(year, n), self.deviations.hat,
                self.deviations.late[clue.name],
            )  # fmt: skip
            # of each combination its row among ``rows``; those that did not look at the clue have none
            at = np.flatnonzero(kinds[:, place])
            self.style.append((at, row_of.reshape(-1)[at] - int(used[0] == 0), term))

    def value(self, free: Array) -> float:
        """The log likelihood at some deviations."""
        return self._forward(free)

    def value_and_gradient(self, free: Array) -> tuple[float, Array]:
        """The log likelihood and its gradient, (size,)."""
        value = self._forward(free)
        return value, self._backward()

    def _forward(self, free: Array) -> float:
        layout, model = self.deviations, self.model
        parts = layout.named(free)
        log_grade, log_market = self.log_grade, self.log_market
        if self.tiers:
            log_grade = moved_shares(log_grade + parts[TIER, "grade"])
            log_market = moved_shares(log_market + parts[TIER, "market"])
        self.grades, self.markets = np.exp(log_grade), np.exp(log_market)
        log = self.log_year + self.fixed + log_grade[self.grade, self.year]
        log += np.where(self.by_market, log_market[self.market, self.year], 0.0)
        for at, term in self.making:
            log[at] += np.log(term.evaluate(parts))[term.cell_of]
        shape = (self.looks, len(GRADES), len(model.years))
        self.each = np.ones(shape)
        for at, row, term in self.style:
            cells = term.evaluate(parts)[term.cell_of].reshape(-1, *shape[1:])
            self.each[at] *= cells[row]
        # of each needed year: period pieces, and later ones in the look of every year before
        here = self.each[self.need_look]  # (needed, grades, years)
        rho = model.revival_share[self.need_year, None]
        self.period = (1 - rho) * np.take_along_axis(here, self.need_year[:, None, None], axis=2)[
            :, :, 0
        ]
        self.mixed = self.period + rho * np.einsum("ngs,ns->ng", here, self.back)
        log += np.log(self.mixed)[self.need, self.grade]
        most = np.maximum.reduceat(log, self.start)
        chance = np.exp(log - most[self.pattern])
        total = np.add.reduceat(chance, self.start)
        self.chance = chance / total[self.pattern]  # P(state | record)
        self.log_each = np.log(total) + most
        return float(self.patterns.count @ self.log_each)

    def _backward(self) -> Array:
        layout = self.deviations
        found = {(part.kind, part.family): np.zeros(part.shape) for part in layout.parts}
        weight = self.chance * self.patterns.count[self.pattern]
        self.weight = weight
        for at, term in self.making:
            cells = added_up(weight[at], term.cell_of, term.cells)
            term.backward(cells, found)
        self.load = self.style_load(weight)
        for at, row, term in self.style:
            term.backward(self.style_cells(term, at, row), found)
        if self.tiers:
            by_grade = np.zeros_like(self.grades)
            np.add.at(by_grade, (self.grade, self.year), weight)
            by_year = by_grade.sum(axis=0)
            found[TIER, "grade"][:, 0] = (by_grade - by_year * self.grades).sum(axis=1)
            by_market = np.zeros_like(self.markets)
            at = self.by_market
            np.add.at(by_market, (self.market[at], self.year[at]), weight[at])
            by_year = by_market.sum(axis=0)
            found[TIER, "market"][:, 0] = (by_market - by_year * self.markets).sum(axis=1)
        return layout.joined([found[part.kind, part.family] for part in layout.parts])

    def style_load(self, weight: Array) -> Array:
        """How much of the weight each combination of style clues has at each grade and style year."""
        grades = len(GRADES)
        held = np.bincount(self.need * grades + self.grade, weight, self.mixed.size)
        held = held.reshape(self.mixed.shape) / self.mixed
        later = held * self.model.revival_share[self.need_year, None]
        self.adding.data[:] = later.reshape(-1)[self.added]
        load = (self.adding @ self.back).reshape(self.each.shape)
        load *= self.each
        # several needed years of one combination never are the same year
        load[self.need_look, :, self.need_year] += held * self.period
        return np.asarray(load)

    def style_cells(self, term: SharesTerm, at: Places, row: Places) -> Array:
        """The weight of each cell of a style clue, (cells,), after `value_and_gradient`."""
        one = np.zeros((int(row.max()) + 1 if len(row) else 0, len(at)))
        one[row, np.arange(len(at))] = 1.0
        rows = one @ self.load[at].reshape(len(at), -1)
        return added_up(rows.reshape(-1), term.cell_of, term.cells)
