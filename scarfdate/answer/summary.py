"""From probabilities to what a person reads, for many scarves at once."""

from __future__ import annotations

from collections.abc import Callable, Collection
from functools import cached_property, lru_cache, partial
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.decades import stretches_within
from scarfdate.answer.doubts import Doubt, worst_doubts
from scarfdate.answer.reasons import Notes, Says, no_notes, reasons
from scarfdate.conventions import FIRST_YEAR, MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.amiss import bound_of, design_years, first_years, printed_again
from scarfdate.model.model import Codes, Model
from scarfdate.model.numbered import distinct
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
        return weigh(self.model, self.codes, self._joint, first, last)

    @cached_property
    def edtf(self) -> list[str]:
        """ISO 8601-2 text: the interval, or the stretches of the densest region."""
        texts = self._of_interval(lambda a, b: _edtf(((a, b),)))
        for row, stretches in self._stretches.items():
            texts[row] = _edtf(tuple(stretches))
        return texts

    @cached_property
    def sentence(self) -> list[str]:
        """One honest sentence a piece, with short ones behind it where something must be added."""
        made = self._of_interval(lambda a, b: f"Made {words.years(a, b, FIRST_YEAR)}")
        hills, parts = {**self._hills}, {**self._parts}
        apart, young = self._younger
        ends = (end + FIRST_YEAR for end in young.interval)
        for place, row, a, b in zip(range(len(apart)), apart.tolist(), *ends, strict=True):
            chance = float(self.before_grid[row])
            made[row] = words.older(FIRST_YEAR + 1, chance, words.years(a, b, FIRST_YEAR))
            hills[row], parts[row] = (
                young._hills.get(place, []),
                young._parts.get(place, ([], False)),
            )
        starts, chances = self.named_decade
        texts = words.sentences(made, self.level, _decades(starts), chances, self.reasons)
        told_apart = {*apart.tolist()}
        for row, (some, spills) in parts.items():
            if some:
                texts[row] += f" {words.parted(some, spills=spills, younger=row in told_apart)}"
        for row, some in hills.items():
            more = [words.instead(hill, younger=row in told_apart) for hill in some]
            texts[row] = " ".join([texts[row], *more])
        for row, chance in self._later.items():
            texts[row] += f" {words.later_piece(chance)}"
        little = np.flatnonzero(tells_little(self.model, self.year)).tolist()
        for row in little:  # nothing else is said of these but what must be known in any case
            texts[row] = words.hardly(made[row], self.level)
        for row, told in self._told.items():
            texts[row] = " ".join([texts[row], *told])
        for row in self._misfits.keys() - {*little}:
            texts[row] += f" {words.misfit(self._misfits[row])}"
        return texts

    @property
    def _later(self) -> dict[int, float]:
        """By row the chance of a later piece in an older style that is named; not where no style was noted, or the
        piece is hardly old."""
        style = self.codes[:, self.model.style.columns].any(axis=1)
        rows = np.flatnonzero(style & (self._whole.revival >= words.MATTERS))
        rows = rows[_vintage(self.model, self.year[rows]) > MORE_LIKELY_THAN_NOT]
        return dict(zip(rows.tolist(), self._whole.revival[rows].tolist(), strict=True))

    def _of_interval(self, say: Callable[[int, int], str]) -> list[str]:
        """What is said of the first and last year of each interval, once for all pieces that share it."""
        each, back = distinct(*self.interval)
        ends = ((end[each] + FIRST_YEAR).tolist() for end in self.interval)
        return _each([say(*both) for both in zip(*ends, strict=True)], back)

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

    @cached_property
    def _hills(self) -> dict[int, list[words.Stretch]]:
        """By row the stretches of the densest region that lie apart from the interval and hold enough."""
        apart = self._apart
        return self._held(*(some[apart] for some in self._runs))

    @cached_property
    def _parts(self) -> dict[int, tuple[list[words.Stretch], bool]]:
        """By row those of `parts_within` in words with their chances, and whether they reach beyond the interval; none where
        there is one stretch alone."""
        first, last = (end.tolist() for end in self.interval)
        found = {}
        for row in self._stretches:
            start, stop = first[row] + FIRST_YEAR, last[row] + FIRST_YEAR
            parts = self.parts_within(row, start, stop)
            if parts:
                spills = any(a < start or b > stop for a, b in parts)
                said = [(words.years(a, b, FIRST_YEAR), self._between(row, a, b)) for a, b in parts]
                found[row] = said, spills
        return found

    def parts_within(self, row: int, first: int, last: int) -> list[tuple[int, int]]:
        """The stretches of the densest years that `stretches_within` finds."""
        return stretches_within(
            self._stretches.get(row, ()), partial(self._between, row), first, last
        )

    @cached_property
    def _stretches(self) -> dict[int, list[tuple[int, int]]]:
        """By row the years of each stretch of the densest regions that have several."""
        runs: dict[int, list[tuple[int, int]]] = {}
        for row, first, last in zip(*(some.tolist() for some in self._runs), strict=True):
            runs.setdefault(row, []).append((first + FIRST_YEAR, last + FIRST_YEAR))
        return runs

    def _between(self, row: int, first: int, last: int) -> float:
        """P(made in some years, both inclusive)."""
        return float(self.total[row, last - FIRST_YEAR + 1] - self.total[row, first - FIRST_YEAR])

    @property
    def _apart(self) -> NDArray[np.bool_]:
        rows, first, last = self._runs
        return np.asarray((last < self.interval[0][rows]) | (first > self.interval[1][rows]))

    def _held(
        self, rows: NDArray[np.intp], first: NDArray[np.intp], last: NDArray[np.intp]
    ) -> dict[int, list[words.Stretch]]:
        """By row those of some stretches of cells that hold enough to be named, in words, with their chances."""
        chance = self.total[rows, last + 1] - self.total[rows, first]
        enough = chance >= words.MATTERS
        numbers = (some[enough].tolist() for some in (rows, first, last, chance))
        found: dict[int, list[words.Stretch]] = {}
        for row, a, b, held in zip(*numbers, strict=True):
            when = words.years(a + FIRST_YEAR, b + FIRST_YEAR, FIRST_YEAR)
            found.setdefault(row, []).append((when, held))
        return found

    @cached_property
    def first_possible(self) -> NDArray[np.int64]:
        """The first possible year by everything seen, taken as certain; 0 where nothing bounds."""
        return np.asarray(self._first_years.max(axis=1))

    @cached_property
    def _first_years(self) -> NDArray[np.int64]:
        return first_years(self.model, self.codes)

    @property
    def vintage(self) -> Array:
        """P(as old as what the trade calls vintage), (n,)."""
        return _vintage(self.model, self.year)

    @cached_property
    def printed_again(self) -> Array:
        """P(an old design, printed again later)."""
        return printed_again(self.model, self.codes)

    @cached_property
    def doubts(self) -> dict[int, list[Doubt]]:
        """What the answer takes for a mistake, by piece: the first of what is more likely wrong than right; and
        where the interval begins before the first possible year, what set that year."""
        early = np.flatnonzero(self.interval[0] + FIRST_YEAR < self.first_possible)
        column = self._first_years[early].argmax(axis=1)  # of the clue that set the year
        places = zip(
            early.tolist(), column.tolist(), self.codes[early, column].tolist(), strict=True
        )
        bounds = {row: bound_of(self.model, *of_clue) for row, *of_clue in places}
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
            row: [
                words.doubted(doubt.seen, doubt.chance, doubt.if_right, doubt.wrong)
                for doubt in doubts
            ]
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
            row: says.part(part.part, next(self.notes([row], (part.part.part,))))
            for row, part in zip(rows.tolist(), parts, strict=True)
            if part is not None
        }

    @cached_property
    def _densest(self) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        return years.densest(self.year, self.level)

    @cached_property
    def _runs(self) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
        """Row, first and last cell of each stretch of the densest regions that have several."""
        return years.several_stretches(self._densest[0])

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
    "decade": lambda answer: _decades(answer.decade[0]),
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


def _vintage(model: Model, year: Array) -> Array:
    """P(as old as what the trade calls vintage), (n,)."""
    old = model.as_of - np.asarray(model.years) >= model.priors.allowances["vintage_age"]
    # laid out row by row, or one row is added up in another order than many
    return np.asarray(np.ascontiguousarray(year[:, old]).sum(axis=1))


def _decades(starts: NDArray[np.intp]) -> list[str]:
    """Decades by their first years, as people name them."""
    each, back = distinct(starts - FIRST_YEAR)
    return _each([f"{start}s" for start in starts[each].tolist()], back)


def _each(texts: list[str], back: NDArray[np.intp]) -> list[str]:
    """Of distinct texts the one of each row."""
    return cast(list[str], np.array(texts, dtype=object)[back].tolist())


@lru_cache(maxsize=20_000)
def _edtf(stretches: tuple[tuple[int, int], ...]) -> str:
    """One or more stretches of years, of which the first year of the grid stands for all before it."""
    return edtf.set_text(stretches, open_start=stretches[0][0] == FIRST_YEAR)
