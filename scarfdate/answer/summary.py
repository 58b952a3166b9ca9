"""From probabilities to what a person reads, for many scarves at once."""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import cached_property, lru_cache, partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.decades import stretches_within
from scarfdate.answer.doubts import Doubt, earliest_of, worst_doubts
from scarfdate.answer.reasons import Notes, Says, no_notes, reasons
from scarfdate.conventions import FIRST_YEAR, MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.amiss import design_years, first_possible, printed_again
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import Posterior
from scarfdate.model.slips import at_fault
from scarfdate.model.weighing import Weighing, weigh
from scarfdate.show import sentence as words
from scarfdate.words import edtf

_TELLS_LITTLE = 0.05  # bits about the year: below this the clues do not date a piece
_DECADE = 10


class Summary:
    """What is said about each of n scarves; every part is worked out when it is first asked for.

    ``year`` (n, years): P(year | clues), enough for intervals, median and decade. The chance of a
    revival wants the posterior; the weights of the clues and the sentence want it with its joint.
    ``notes``: by row what was measured, as it was noted.
    """

    def __init__(
        self,
        model: Model,
        codes: Codes,
        level: float,
        year: Array,
        posterior: Posterior | None,
        notes: Notes = no_notes,
    ) -> None:
        self.model, self.codes, self.level = model, codes, level
        self.year, self.posterior, self.notes = year, posterior, notes

    def columns(self, names: Collection[str]) -> dict[str, Any]:
        """Those columns of a table's answer, (n,) each, that are worked out of the years and the clues."""
        return {name: _COLUMNS[name](self) for name in names if name in _COLUMNS}

    @cached_property
    def total(self) -> Array:
        """P(at or before each year), (n, years + 1)."""
        return years.cumulative(self.year)

    @cached_property
    def interval(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """First and last cells of the shortest interval, ends inclusive."""
        return years.shortest_interval(self.total, self.level, self._densest[1])

    @property
    def before_grid(self) -> Array:
        """P(made before the second year of the grid), (n,): the first cell holds all that is older."""
        return self.year[:, 0]

    @cached_property
    def younger_interval(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """The interval if it is younger than the first cell, where that is told apart; else `interval`."""
        first, last = (end.copy() for end in self.interval)
        rows, young = self._younger
        first[rows], last[rows] = young.interval
        return first, last

    @cached_property
    def _younger(self) -> tuple[NDArray[np.intp], Summary]:
        """The rows in which what lies before the grid matters, and their years if they are younger."""
        rows = np.flatnonzero(self.before_grid >= words.MATTERS)
        year = self.year[rows].copy()
        year[:, 0] = 0.0
        year /= np.maximum(year.sum(axis=1, keepdims=True), np.finfo(float).tiny)
        return rows, Summary(self.model, self.codes[rows], self.level, year, None)

    @cached_property
    def median(self) -> NDArray[np.intp]:
        """The cell of the median."""
        return years.quantile(self.total, 0.5)

    @cached_property
    def decade(self) -> tuple[NDArray[np.intp], Array]:
        """The first year of the most probable decade, and its chance."""
        starts, chances = decade_sums(self.model, self.year)
        best = chances.argmax(axis=1)
        return starts[best], chances[np.arange(len(best)), best]

    @cached_property
    def period(self) -> Array:
        """P(made in the period of its look)."""
        return 1 - self._whole.revival

    @cached_property
    def named_decade(self) -> tuple[NDArray[np.int64], Array]:
        """The decade that the sentence names, as `decade`: where what is older than the grid is told apart, that
        of a younger piece."""
        starts, chances = self.decade[0].copy(), self.decade[1].copy()
        rows, young = self._younger
        starts[rows], chances[rows] = young.decade
        return starts, chances

    @cached_property
    def _decade_cells(self) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        first = np.asarray(self.named_decade[0] - FIRST_YEAR, dtype=np.intp)
        return first, np.minimum(first + _DECADE, self.year.shape[1]) - 1

    @cached_property
    def weighing(self) -> Weighing:
        """The surprise of every clue, and its weight for the decade that the sentence names."""
        return self.weighed(*self._decade_cells)

    def weighed(self, first: NDArray[np.intp], last: NDArray[np.intp]) -> Weighing:
        """The surprise of every clue, and its weight for the years from one cell to another, (n,) each."""
        return weigh(self.model, self.codes, self._joint, self.total, first, last)

    @cached_property
    def edtf(self) -> list[str]:
        """ISO 8601-2 text: the interval, or the stretches of the densest region."""
        first, last = (end + FIRST_YEAR for end in self.interval)
        return [
            _edtf(a, b, tuple(self._runs.get(row, ())))
            for row, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True))
        ]

    @cached_property
    def sentence(self) -> list[str]:
        """One honest sentence a piece."""
        first, last = (end + FIRST_YEAR for end in self.interval)
        decades = [f"{start}s" for start in self.named_decade[0].tolist()]
        chances, later = self.named_decade[1].tolist(), self._later.tolist()
        little = tells_little(self.model, self.year).tolist()
        misfits, runs, told = self._misfits, self._runs, self._told
        apart, young = self._younger
        at_young = {row: place for place, row in enumerate(apart.tolist())}
        ends = list(zip(first.tolist(), last.tolist(), strict=True))
        hills = {row: self._hills(row, *ends[row]) for row in runs}
        parts = {row: self._parts(row, *ends[row]) for row in runs}
        for row, place in at_young.items():
            a, b = (int(end[place]) + FIRST_YEAR for end in young.interval)
            ends[row] = a, b
            hills[row], parts[row] = young._hills(place, a, b), young._parts(place, a, b)
        return [
            words.sentence(
                made=words.years(a, b, FIRST_YEAR),
                level=self.level,
                decade="" if little[row] else decades[row],
                decade_chance=chances[row],
                clues=[clue for clue in clues if clue],
                hills=hills.get(row, ()),
                parts=parts.get(row, ((), False))[0],
                spills=parts.get(row, ((), False))[1],
                later=later[row],
                misfit=misfits.get(row, ""),
                told=told.get(row, ()),
                before=(FIRST_YEAR + 1, float(self.before_grid[row])) if row in at_young else None,
            )
            for row, ((a, b), *clues) in enumerate(zip(ends, *self.reasons, strict=True))
        ]

    @property
    def _later(self) -> Array:
        """P(a later piece in an older style), (n,); nothing where no style was noted, or the piece is hardly old."""
        style = self.codes[:, self.model.style.columns].any(axis=1)
        old = self.vintage > MORE_LIKELY_THAN_NOT
        return np.where(style & old, self._whole.revival, 0.0)

    @cached_property
    def reasons(self) -> list[list[str | None]]:
        """What speaks most for the decade that the sentence names: n texts, then the next n; None for no more."""
        wrong = {
            row: {doubt.clue for doubt in doubts if doubt.likely}
            for row, doubts in self.doubts.items()
        }
        return reasons(
            self.model, self.codes, self.weighing, *self._decade_cells, self.notes, wrong
        )

    def _hills(self, row: int, first: int, last: int) -> list[words.Stretch]:
        """Stretches of the densest region that lie apart from the interval and hold enough."""
        runs = ((a + FIRST_YEAR, b + FIRST_YEAR) for a, b in self._runs.get(row, ()))
        return self._held(row, [(a, b) for a, b in runs if b < first or a > last])

    def _parts(self, row: int, first: int, last: int) -> tuple[list[words.Stretch], bool]:
        """Those of `parts_within` in words with their chances, and whether they reach beyond the interval."""
        parts = self.parts_within(row, first, last)
        return self._held(row, parts), any(a < first or b > last for a, b in parts)

    def parts_within(self, row: int, first: int, last: int) -> list[tuple[int, int]]:
        """The stretches of the densest years that `stretches_within` finds."""
        runs = [(a + FIRST_YEAR, b + FIRST_YEAR) for a, b in self._runs.get(row, ())]
        return stretches_within(runs, partial(self._between, row), first, last)

    def _between(self, row: int, first: int, last: int) -> float:
        """P(made in some years, both inclusive)."""
        return float(self.total[row, last - FIRST_YEAR + 1] - self.total[row, first - FIRST_YEAR])

    def _held(self, row: int, stretches: list[tuple[int, int]]) -> list[words.Stretch]:
        """Those of some stretches of years that hold enough to be named, in words, with their chances."""
        found = []
        for first, last in stretches:
            chance = self._between(row, first, last)
            if chance >= words.MATTERS:
                found.append((words.years(first, last, FIRST_YEAR), chance))
        return found

    @cached_property
    def first_possible(self) -> NDArray[np.int64]:
        """The first possible year by everything seen, taken as certain; 0 where nothing bounds."""
        return first_possible(self.model, self.codes)

    @property
    def vintage(self) -> Array:
        """P(as old as what the trade calls vintage), (n,)."""
        model = self.model
        old = model.as_of - np.asarray(model.years) >= model.priors.allowances["vintage_age"]
        # laid out row by row, or one row is added up in another order than many
        return np.asarray(np.ascontiguousarray(self.year[:, old]).sum(axis=1))

    @cached_property
    def printed_again(self) -> Array:
        """P(an old design, printed again later)."""
        return printed_again(self.model, self.codes)

    @cached_property
    def doubts(self) -> dict[int, list[Doubt]]:
        """What the answer takes for a mistake, by piece: the first of what is more likely wrong than right; and
        where the interval begins before the first possible year, what set that year."""
        early = np.flatnonzero(self.interval[0] + FIRST_YEAR < self.first_possible).tolist()
        bounds = {row: earliest_of(self.model, self.codes, row) for row in early}
        return worst_doubts(
            self.model,
            self.codes,
            self._joint,
            self.weighing,
            {row: bound.clue for row, bound in bounds.items() if bound is not None},
            self.interval[0] + FIRST_YEAR,
            self.notes,
        )

    @property
    def doubted(self) -> list[str | None]:
        """What the answer takes for a mistake, in few words; None where nothing."""
        return [
            words.in_doubt(found[0].seen, found[0].chance, found[0].if_right) if found else None
            for found in (self.doubts.get(row) for row in range(len(self.codes)))
        ]

    @cached_property
    def _told(self) -> dict[int, list[str]]:
        """What else must be known of a piece: what is taken for a mistake, and a design printed again."""
        told = {
            row: [words.doubted(doubt.seen, doubt.chance, doubt.if_right) for doubt in doubts]
            for row, doubts in self.doubts.items()
        }
        again = np.flatnonzero(self.printed_again > MORE_LIKELY_THAN_NOT)
        designs = design_years(self.model, self.codes[again]).tolist()
        for row, year in zip(again.tolist(), designs, strict=True):
            chance = float(self.printed_again[row])
            # the year is not told twice
            said = words.printed_again(chance, None if row in told else year or None)
            told.setdefault(row, []).append(said)
        return told

    @cached_property
    def _misfits(self) -> dict[int, str]:
        """What is most likely at fault, for the pieces with a surprising clue and nothing told of it yet."""
        named_from = self.model.priors.allowances["surprise_named"]
        surprising = self.weighing.surprise.max(axis=1) >= named_from
        surprising[list(self._told)] = False
        rows, says = np.flatnonzero(surprising), Says(self.model)
        parts = at_fault(self.model, self.codes[rows]) if rows.size else ()
        return {
            row: says.part(part.part, self.notes(row, (part.part.part,)))
            for row, part in zip(rows.tolist(), parts, strict=True)
            if part is not None
        }

    @cached_property
    def _densest(self) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        return years.densest(self.year, self.level)

    @cached_property
    def _runs(self) -> dict[int, list[tuple[int, int]]]:
        return years.all_stretches(self._densest[0])

    @property
    def _joint(self) -> NDArray[np.floating[Any]]:
        if self._whole.joint is None:
            raise AssertionError("the joint is needed to weigh the clues")
        return self._whole.joint

    @property
    def _whole(self) -> Posterior:
        if self.posterior is None:
            raise AssertionError("more than the year was asked for")
        return self.posterior


_COLUMNS: dict[str, Callable[[Summary], Any]] = {
    "year_from": lambda answer: answer.interval[0] + FIRST_YEAR,
    "year_to": lambda answer: answer.interval[1] + FIRST_YEAR,
    "median_year": lambda answer: answer.median + FIRST_YEAR,
    "decade": lambda answer: [f"{start}s" for start in answer.decade[0].tolist()],
    "decade_probability": lambda answer: answer.decade[1],
    "period_probability": lambda answer: answer.period,
    "before_grid": lambda answer: answer.before_grid,
    "younger_from": lambda answer: answer.younger_interval[0] + FIRST_YEAR,
    "younger_to": lambda answer: answer.younger_interval[1] + FIRST_YEAR,
    "edtf": lambda answer: answer.edtf,
    "predictive_p": lambda answer: answer.weighing.predictive_p,
    "sentence": lambda answer: answer.sentence,
    "not_before": lambda answer: answer.first_possible,
    "vintage_probability": lambda answer: answer.vintage,
    "doubt": lambda answer: answer.doubted,
    "year_probabilities": lambda answer: answer.year,
}


def decade_sums(model: Model, year: Array) -> tuple[NDArray[np.intp], Array]:
    """First years of the decades of the grid, and P(decade), (n, decades)."""
    starts = np.arange(0, len(model.years), _DECADE)
    return starts + FIRST_YEAR, np.add.reduceat(year, starts, axis=1)


def tells_little(model: Model, year: Array) -> NDArray[np.bool_]:
    """Whether a posterior is hardly other than the prior: the information gained, in bits."""
    # Pinsker's inequality (Cover and Thomas, Elements of Information Theory, lemma 11.6.1): what is
    # gained is at least distance ** 2 / (2 ln 2) bits, so that few have to be worked out
    distance = np.abs(year - model.year_prior).sum(axis=1)
    little = np.asarray(distance**2 / (2 * np.log(2)) < _TELLS_LITTLE)
    near = year[little]
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.where(near > 0, near * np.log2(near / model.year_prior), 0.0).sum(axis=1)
    little[little] = gained < _TELLS_LITTLE
    return little


@lru_cache(maxsize=20_000)
def _edtf(first: int, last: int, runs: tuple[tuple[int, int], ...]) -> str:
    """The interval, or the stretches of the densest region where there are several."""
    if len(runs) > 1:
        dated = [(start + FIRST_YEAR, end + FIRST_YEAR) for start, end in runs]
        return edtf.set_text(dated, open_start=dated[0][0] == FIRST_YEAR)
    return edtf.interval_text(first, last, open_start=first == FIRST_YEAR)
