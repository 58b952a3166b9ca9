"""From probabilities to what a person reads, for many scarves at once."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.conventions import FIRST_YEAR, Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import Posterior
from scarfdate.model.slips import words_at_fault
from scarfdate.model.weighing import Weighing, units, weigh
from scarfdate.show import sentence as words
from scarfdate.words import edtf

_TELLS_LITTLE = 0.05  # bits about the year: below this the clues do not date a piece
_CLUES_NAMED = 2
_DECADE = 10


class Summary:
    """What is said about each of n scarves; every part is worked out when it is first asked for.

    ``year`` (n, years): P(year | clues), enough for intervals, median and decade. The chance of a
    revival wants the posterior; the weights of the clues and the sentence want it with its joint.
    """

    def __init__(
        self, model: Model, codes: Codes, level: float, year: Array, posterior: Posterior | None
    ) -> None:
        self.model, self.codes, self.level = model, codes, level
        self.year, self.posterior = year, posterior

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
    def weighing(self) -> Weighing:
        """The weight and the surprise of every clue for the interval."""
        joint = self._whole.joint
        if joint is None:
            raise AssertionError("the joint is needed to weigh the clues")
        return weigh(self.model, self.codes, joint, *self.interval)

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
        decades = [f"{start}s" for start in self.decade[0].tolist()]
        chances, later = self.decade[1].tolist(), self._whole.revival.tolist()
        little = tells_little(self.model, self.year).tolist()
        misfits, heaviest = self._misfits, _heaviest(self.weighing)
        says, codes = Says(self.model), self.codes.tolist()
        prior = _prior_words(self.model, self.level)
        apart, young = self._younger
        at_young = {row: place for place, row in enumerate(apart.tolist())}
        ends = list(zip(first.tolist(), last.tolist(), strict=True))
        hills = {}
        for row, place in at_young.items():
            a, b = (int(end[place]) + FIRST_YEAR for end in young.interval)
            ends[row], hills[row] = (a, b), young._hills(place, a, b)
            decades[row] = f"{young.decade[0][place]}s"
            chances[row] = float(young.decade[1][place])
        return [
            words.useless(prior, self.level)
            if little[row]
            else words.sentence(
                made=words.years(a, b, FIRST_YEAR),
                level=self.level,
                decade=decades[row],
                decade_chance=chances[row],
                clues=[says.unit(codes[row], unit) for unit in heaviest[row]],
                hills=hills[row] if row in hills else self._hills(row, a, b),
                later=later[row],
                misfit=misfits.get(row, ""),
                before=(FIRST_YEAR + 1, float(self.before_grid[row])) if row in at_young else None,
            )
            for row, (a, b) in enumerate(ends)
        ]

    def _hills(self, row: int, first: int, last: int) -> list[words.Stretch]:
        """Stretches of the densest region that lie apart from the interval and hold enough."""
        hills = []
        for start, end in self._runs.get(row, ()):
            held = float(self.total[row, end + 1] - self.total[row, start])
            a, b = start + FIRST_YEAR, end + FIRST_YEAR
            if held >= words.MATTERS and (b < first or a > last):
                hills.append((words.years(a, b, FIRST_YEAR), held))
        return hills

    @cached_property
    def _misfits(self) -> dict[int, str]:
        """What is most likely at fault, for the pieces with a surprising clue."""
        named_from = self.model.priors.allowances["surprise_named"]
        rows = np.flatnonzero(self.weighing.surprise.max(axis=1) >= named_from)
        return dict(zip(rows.tolist(), words_at_fault(self.model, self.codes[rows]), strict=True))

    @cached_property
    def _densest(self) -> tuple[NDArray[np.bool_], NDArray[np.intp]]:
        return years.densest(self.year, self.level)

    @cached_property
    def _runs(self) -> dict[int, list[tuple[int, int]]]:
        return years.all_stretches(self._densest[0])

    @property
    def _whole(self) -> Posterior:
        if self.posterior is None:
            raise AssertionError("more than the year was asked for")
        return self.posterior


def decade_sums(model: Model, year: Array) -> tuple[NDArray[np.intp], Array]:
    """First years of the decades of the grid, and P(decade), (n, decades)."""
    starts = np.arange(0, len(model.years), _DECADE)
    return starts + FIRST_YEAR, np.add.reduceat(year, starts, axis=1)


def tells_little(model: Model, year: Array) -> NDArray[np.bool_]:
    """Whether a posterior is hardly other than the prior: the information gained, in bits."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.where(year > 0, year * np.log2(year / model.year_prior), 0.0).sum(axis=1)
    return np.asarray(gained < _TELLS_LITTLE)


class Says:
    """What each unit of evidence says, in words; every row is put into words once for a model."""

    def __init__(self, model: Model) -> None:
        self.model, self.units = model, units(model)
        self._known: dict[tuple[int, int], str] = model.said

    def unit(self, codes: Sequence[int], unit: int) -> str:
        """What was seen in a unit of one scarf, given by the row numbers of its clues."""
        columns = self.units[unit]
        if len(columns) == 1:
            return self.clue(columns[0], codes[columns[0]])
        text, state = self.model.column.get("label_text"), self.model.column.get("label")
        # the text of a label says more than that there is one
        told = [
            column
            for column in columns
            if codes[column] and not (column == state and text is not None and codes[text])
        ]
        return ", ".join([self.clue(column, codes[column]) for column in told])

    def clue(self, column: int, row: int) -> str:
        """What one row of one clue was."""
        text = self._known.get((column, row))
        if text is None:
            clue = self.model.clues[column]
            text = self._known[column, row] = clue.says(clue.rows.keys[row])
        return text


def _heaviest(weighing: Weighing) -> list[list[int]]:
    """The units that speak most for the interval, heaviest first; none that speak against it."""
    left = weighing.decibans.copy()
    rows = np.arange(len(left))
    named: list[list[int]] = [[] for _ in rows]
    for _ in range(min(_CLUES_NAMED, left.shape[1])):
        best = left.argmax(axis=1)
        for row, unit, speaks in zip(
            named, best.tolist(), (left[rows, best] > 0).tolist(), strict=True
        ):
            if speaks:
                row.append(unit)
        left[rows, best] = 0.0
    return named


def _prior_words(model: Model, level: float) -> str:
    no_clue = np.zeros((1, len(model.clues)), dtype=np.int32)
    prior = Summary(model, no_clue, level, model.year_prior[None, :], None)
    before = float(prior.before_grid[0])
    first, last = (int(end[0]) + FIRST_YEAR for end in prior.younger_interval)
    made = words.years(first, last, FIRST_YEAR)
    return words.younger(made, (FIRST_YEAR + 1, before)) if before >= words.MATTERS else made


@lru_cache(maxsize=20_000)
def _edtf(first: int, last: int, runs: tuple[tuple[int, int], ...]) -> str:
    """The interval, or the stretches of the densest region where there are several."""
    if len(runs) > 1:
        dated = [(start + FIRST_YEAR, end + FIRST_YEAR) for start, end in runs]
        return edtf.set_text(dated, open_start=dated[0][0] == FIRST_YEAR)
    return edtf.interval_text(first, last, open_start=first == FIRST_YEAR)
