"""The log likelihood, log P(clues | known years) summed over records, and its gradient: exact sums throughout.

For a record whose year is known to lie in an interval

    P(clues | interval) = sum over the interval, grade, market of  P(y | interval) P(g | y) P(k | y) M [ ... ]

with M the making clues and [ ... ] the style clues mixed over revivals, as in `scarfdate.model.model`. The year
is weighed within the interval by the channel's prior, which is held fixed: how often a dealer bought pieces of
a year says nothing about how those pieces were made.

Known years are wrong now and then, by how they are known (``known_by.csv``), as dating has it. Then they are another
piece's, and the clues of any year:

    P(clues | record)  =  (1 - w) P(clues | interval)  +  w P(clues | all years)

The last is as likely as the tables at hand have it, whatever is learned: it moves with no parameter. What is read off
one label counts word by word here, each with slips of its own, and not as one as in dating (`scarfdate.clues.label`).
"""

from __future__ import annotations

import operator
from collections.abc import Sequence

import numpy as np

from scarfdate.clues.shares import SharesClue
from scarfdate.conventions import GRADES, MARKETS, Array
from scarfdate.density.mode import log_softmax
from scarfdate.learning.clue_likelihood import ClueLikelihood, sum_by_group
from scarfdate.learning.clue_shares import shares_clue
from scarfdate.learning.deviations import TIER, Deviations, Places
from scarfdate.learning.patterns import Patterns
from scarfdate.learning.prior import deviations_of
from scarfdate.model.exact import revival_parts
from scarfdate.model.model import Model
from scarfdate.model.posterior import log_evidence

_NEEDED = 500  # years of combinations that are mixed at a time


class Likelihood:
    """The log likelihood of some patterns as a function of theta, the `Deviations`.

    Only clues that some record has are in it; the records cannot inform others. Every clue has its full weight
    here, whatever trust the tables give it: a likelihood to a power is no likelihood.

    Data augmentation: the hidden state of a record is its year, grade, market and, for style clues, the year
    looked back to. After `value`: ``log_likelihood`` (patterns,), and ``responsibility`` (states,), which is
    P(state | record); of a record they sum to the chance that its years are its own.
    """

    def __init__(self, model: Model, patterns: Patterns, *, tiers: bool = True) -> None:
        self.model, self.patterns = model, patterns
        noted = patterns.noted
        self.columns = [
            column
            for column, clue in enumerate(model.clues)
            if isinstance(clue, SharesClue) and noted[column]
        ]
        self.families = [model.clues[column].name for column in self.columns]
        self.deviations: Deviations = deviations_of(model, self.families, tiers=tiers)
        self.tiers = tiers
        self._states()
        making = [self._making(c) for c in self.columns if c not in model.style.columns]
        self.making = [clue for _, clue in making]
        self._without_parameters()
        self._style([c for c in self.columns if c in model.style.columns])
        self._gathering([at for at, _ in making])

    def _states(self) -> None:
        """One state for each year of the interval, grade, and market where a clue depends on it."""
        model, patterns = self.model, self.patterns
        market = np.any(patterns.codes[:, list(model.by_market.columns)] != 0, axis=1)
        lengths = patterns.last - patterns.first + 1
        markets = np.where(market, len(MARKETS), 1)
        number = lengths * markets * len(GRADES)
        self.start = np.concatenate(([0], np.cumsum(number)[:-1])).astype(np.intp)
        self.pattern = np.repeat(np.arange(len(patterns)), number)
        within = np.arange(number.sum()) - np.repeat(self.start, number)
        rest, year = np.divmod(within, lengths[self.pattern])
        kind, self.grade = np.divmod(rest, len(GRADES))
        self.year = (year + patterns.first[self.pattern]).astype(np.intp)
        self.by_market = market[self.pattern]
        self.market = np.where(self.by_market, kind, 0).astype(np.intp)
        total = np.concatenate(([0.0], np.cumsum(model.year_prior)))
        within_interval = np.log(total[patterns.last + 1] - total[patterns.first])
        self.log_year = np.log(model.year_prior)[self.year] - within_interval[self.pattern]
        self._wrong_years()
        self.log_grade = np.log(model.prior / model.year_prior)
        self.log_market = np.log(model.market)

    def _wrong_years(self) -> None:
        """log w P(clues | all years) of each pattern, (patterns,); minus infinity where years are certain."""
        wrong = np.broadcast_to(self.patterns.wrong, len(self.patterns))
        self.log_year = self.log_year + np.log1p(-wrong)[self.pattern]
        self.log_wrong = np.full(len(wrong), -np.inf)
        some = np.flatnonzero(wrong)
        if some.size:
            columns = range(len(self.model.clues))
            rows = [self.patterns.rows_of(self.model, column)[some] for column in columns]
            codes = np.column_stack(rows).astype(np.int32)
            self.log_wrong[some] = np.log(wrong[some]) + log_evidence(self.model, codes)

    def _making(self, column: int) -> tuple[Places, ClueLikelihood]:
        """The states in which a clue was looked at, and its likelihood."""
        codes = self.patterns.codes[self.pattern, column].astype(np.intp)
        at = np.flatnonzero(codes)
        state = (self.market[at], self.grade[at], self.year[at])
        return at, self._clue(column, codes[at], *state)

    def _clue(
        self, column: int, codes: Places, market: Places, grade: Places, year: Places
    ) -> ClueLikelihood:
        clue = shares_clue(self.model, self.model.clues[column].name)
        keys = self.patterns.keys[column]
        return ClueLikelihood(clue, keys, codes, market, grade, year, self.deviations)

    def _without_parameters(self) -> None:
        """Clues that have no shares (a label's text, a maker, a dated thing): as the tables have them."""
        self.log_fixed = self.log_year.copy()
        for column, clue in enumerate(self.model.clues):
            if isinstance(clue, SharesClue) or not self.patterns.codes[:, column].any():
                continue
            rows = self.patterns.rows_of(self.model, column)[self.pattern]
            table = clue.rows.table.reshape(-1, *clue.shape)
            kind = self.market if clue.by_market else np.zeros_like(self.market)
            self.log_fixed += (
                np.log(table[rows, kind, self.grade, self.year]) + clue.rows.log_scale[rows]
            )

    def _style(self, columns: Sequence[int]) -> None:
        """Distinct combinations of style clues, and each clue's likelihood over all grades and years."""
        codes = self.patterns.codes[:, list(columns)]
        distinct, which = np.unique(codes, axis=0, return_inverse=True)
        combination = which.reshape(-1)[self.pattern]
        self.combinations = len(distinct)
        # the years made at which each combination is needed: few of all, where years are known
        years = len(self.model.years)
        need, self.need = np.unique(combination * years + self.year, return_inverse=True)
        self.need = self.need.reshape(-1)
        self.need_combination, self.need_year = np.divmod(need, years)
        self._needed_years()
        self.mixed: list[Array] | None = None
        self.style: list[tuple[Places, Places, ClueLikelihood]] = []
        grades = len(GRADES)
        grade, year = np.divmod(np.arange(grades * years), years)
        for place, column in enumerate(columns):
            used, row_of = np.unique(distinct[:, place], return_inverse=True)
            rows = used[used != 0].astype(np.intp)
            n = len(rows)
            clue = self._clue(
                column,
                np.repeat(rows, grades * years),
                np.zeros(n * grades * years, dtype=np.intp),
                np.tile(grade, n),
                np.tile(year, n),
            )
            # of each combination its row among ``rows``; those that did not look at the clue have none
            at = np.flatnonzero(distinct[:, place])
            self.style.append((at, row_of.reshape(-1)[at] - int(used[0] == 0), clue))

    def _needed_years(self) -> None:
        """Combinations and grades by needed years, a sparse matrix whose data are still to come."""
        from scipy.sparse import csr_array

        group = (self.need_combination[:, None] * len(GRADES) + np.arange(len(GRADES))).reshape(-1)
        self.summed = np.argsort(group, kind="stable")
        ends = np.arange(self.combinations * len(GRADES) + 1)
        self.needed = csr_array(
            (
                np.empty(len(group)),
                self.need_year[self.summed // len(GRADES)],
                np.searchsorted(group[self.summed], ends),
            ),
            shape=(self.combinations * len(GRADES), len(self.model.years)),
        )

    def _gathering(self, seen: Sequence[Places]) -> None:
        """A sparse matrix of ones that adds up the logs behind each state: a cell of every making clue, ``seen`` in
        which states, the grade and the market in its year, and the mixture of its style clues."""
        from scipy.sparse import csr_array

        years, grades = len(self.model.years), len(GRADES)
        every = np.arange(len(self.pattern))
        at_market = np.flatnonzero(self.by_market)
        entries = [
            *((at, clue.cell_of, clue.cells) for at, clue in zip(seen, self.making, strict=True)),
            (every, self.grade * years + self.year, grades * years),
            (at_market, (self.market * years + self.year)[at_market], len(MARKETS) * years),
            (every, self.need * grades + self.grade, len(self.need_year) * grades),
        ]
        self.ends = np.cumsum([columns for *_, columns in entries])
        end = np.cumsum(sum(np.bincount(at, minlength=len(every)) for at, *_ in entries))
        column = np.empty(end[-1], dtype=np.int32)
        place = np.concatenate(([0], end[:-1]))
        for (at, of, _), begin in zip(entries, [0, *self.ends.tolist()], strict=False):
            column[place[at]] = of + begin
            place[at] += 1
        for clue in self.making:
            del clue.cell_of  # it stands in the matrix
        rows = np.concatenate(([0], end)).astype(np.int32)
        shape = (len(every), int(self.ends[-1]))
        self.gathering = csr_array((np.ones(len(column)), column, rows), shape=shape)

    def value(self, theta: Array) -> float:
        """The log likelihood at theta (size,)."""
        return self._forward(theta)

    def value_and_gradient(self, theta: Array) -> tuple[float, Array]:
        """The log likelihood and its gradient, (size,)."""
        value = self._forward(theta)
        return value, self._backward()

    def _forward(self, theta: Array) -> float:
        parts = self.deviations.named(theta)
        log_grade, log_market = self.log_grade, self.log_market
        if self.tiers:
            log_grade = log_softmax(log_grade + parts[TIER, "grade"], axis=0)
            log_market = log_softmax(log_market + parts[TIER, "market"], axis=0)
        self.grades, self.markets = np.exp(log_grade), np.exp(log_market)
        logs = [np.log(clue.forward(parts)) for clue in self.making]
        self._mix([clue.forward(parts) for *_, clue in self.style])
        logs += [log_grade.reshape(-1), log_market.reshape(-1), np.log(self.mixture).reshape(-1)]
        log = self.log_fixed + self.gathering @ np.concatenate(logs)
        most = np.maximum.reduceat(log, self.start)
        joint = np.exp(log - most[self.pattern])
        total = np.add.reduceat(joint, self.start) + np.exp(self.log_wrong - most)
        self.responsibility = joint / total[self.pattern]
        self.log_likelihood = np.log(total) + most
        return float(self.patterns.count @ self.log_likelihood)

    def _mix(self, styles: list[Array]) -> None:
        """The mixture over revivals of the style clues, whose cells have these likelihoods."""
        if self.mixed is not None and all(map(operator.is_, self.mixed, styles)):
            return  # none has moved
        self.mixed = styles
        shape = (self.combinations, len(GRADES), len(self.model.years))
        self.style_product = np.ones(shape)
        for (at, row, clue), style in zip(self.style, styles, strict=True):
            self.style_product[at] *= style[clue.cell_of].reshape(-1, *shape[1:])[row]
        self.period, self.mixture = np.empty((2, len(self.need_year), len(GRADES)))
        for begin in range(0, len(self.need_year), _NEEDED):  # few at a time stay in the cache
            here = slice(begin, begin + _NEEDED)
            needed = self.style_product[self.need_combination[here]]  # (needed, grades, years)
            self.period[here], later = revival_parts(self.model, needed, self.need_year[here])
            self.mixture[here] = self.period[here] + later

    def _backward(self) -> Array:
        layout = self.deviations
        gradient = {(part.kind, part.family): np.zeros(part.shape) for part in layout.parts}
        self.weight = self.responsibility * self.patterns.count[self.pattern]
        # expected records of every cell, grade, market and mixture
        *cells, by_grade, by_market, of_need = np.split(
            self.gathering.T @ self.weight, self.ends[:-1]
        )
        self.making_weight = cells
        for clue, weight in zip(self.making, cells, strict=True):
            clue.backward(weight, gradient)
        self.style_weight = self._onto_style(of_need.reshape(self.mixture.shape))
        for at, row, clue in self.style:
            clue.backward(self.style_cells(clue, at, row), gradient)
        if self.tiers:
            for family, weight, chances in (
                ("grade", by_grade, self.grades),
                ("market", by_market, self.markets),
            ):
                expected = weight.reshape(chances.shape)
                off = expected - expected.sum(axis=0) * chances
                gradient[TIER, family][:, 0] = off.sum(axis=1)
        return layout.joined([gradient[part.kind, part.family] for part in layout.parts])

    def _onto_style(self, of_need: Array) -> Array:
        """The weight of needed years (needed, grades) as weight of combinations at each grade and style year: what
        `scarfdate.model.exact.onto_style_years` does, for the needed years alone."""
        of_need = of_need / self.mixture
        later = of_need * self.model.revival_share[self.need_year, None]
        self.needed.data[:] = later.reshape(-1)[self.summed]
        load: Array = self.needed @ self.model.looked_back_to
        load = load.reshape(self.style_product.shape)
        load *= self.style_product
        # no two needed years of one combination are the same year
        load[self.need_combination, :, self.need_year] += of_need * self.period
        return np.asarray(load)

    def style_cells(self, clue: ClueLikelihood, at: Places, row: Places) -> Array:
        """The weight of each cell of a style clue, (cells,), after `value_and_gradient`."""
        from scipy.sparse import csc_array

        kinds = int(row.max()) + 1 if len(row) else 0
        one = csc_array((np.ones(len(at)), row, np.arange(len(at) + 1)), shape=(kinds, len(at)))
        rows = one @ self.style_weight[at].reshape(len(at), -1)
        return sum_by_group(rows.reshape(-1), clue.cell_of, clue.cells)

    def clues(self) -> list[ClueLikelihood]:
        """The likelihoods of all making clues, then of all style clues."""
        return [*self.making, *(clue for *_, clue in self.style)]

    def expected_cells(self) -> list[tuple[ClueLikelihood, Array]]:
        """Every clue with the expected records in each of its cells, after `value_and_gradient`: the E step."""
        making = list(zip(self.making, self.making_weight, strict=True))
        return making + [(clue, self.style_cells(clue, at, row)) for at, row, clue in self.style]
