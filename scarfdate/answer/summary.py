"""From probabilities to what a person reads, for many scarves at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.conventions import FIRST_YEAR
from scarfdate.knots import Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import Posterior
from scarfdate.model.slips import words_at_fault
from scarfdate.model.weighing import Weighing, units, weigh
from scarfdate.show import sentence as words
from scarfdate.words import edtf

_TELLS_LITTLE = 0.05  # bits about the year: below this the clues do not date a piece
_CLUES_NAMED = 2
_DECADE = 10


@dataclass(frozen=True)
class Summary:
    """What is said about each of n scarves."""

    first: NDArray[np.intp]  # cells of the shortest interval, ends inclusive
    last: NDArray[np.intp]
    median: NDArray[np.intp]
    decade: NDArray[np.intp]  # the first year of the most probable decade
    decade_chance: Array
    period: Array
    weighing: Weighing
    edtf: list[str]
    sentence: list[str]


def decade_sums(model: Model, year: Array) -> tuple[NDArray[np.intp], Array]:
    """First years of the decades of the grid, and P(decade), (n, decades)."""
    starts = np.arange(0, len(model.years), _DECADE)
    return starts + FIRST_YEAR, np.add.reduceat(year, starts, axis=1)


def tells_little(model: Model, year: Array) -> NDArray[np.bool_]:
    """Whether a posterior is hardly other than the prior: the information gained, in bits."""
    with np.errstate(divide="ignore", invalid="ignore"):
        gained = np.where(year > 0, year * np.log2(year / model.year_prior), 0.0).sum(axis=1)
    return np.asarray(gained < _TELLS_LITTLE)


def summarise(model: Model, codes: Codes, found: Posterior, level: float) -> Summary:
    """Everything that is said about each scarf; ``found`` must hold the joint."""
    if found.joint is None:
        raise AssertionError("the joint is needed to weigh the clues")
    total = years.cumulative(found.year)
    later = found.revival.tolist()
    inside, fewest = years.densest(found.year, level)
    first, last = years.shortest_interval(total, level, fewest)
    starts, chances = decade_sums(model, found.year)
    best = chances.argmax(axis=1)
    decade_chance = chances[np.arange(len(best)), best]
    decades = [
        (f"{start}s", chance)
        for start, chance in zip(starts[best].tolist(), decade_chance.tolist(), strict=True)
    ]
    weighing = weigh(model, codes, found.joint, first, last)
    runs_of = years.all_stretches(inside)
    little = tells_little(model, found.year).tolist()
    named_from = model.priors.allowances["surprise_named"]
    disagree = np.flatnonzero(weighing.surprise.max(axis=1) >= named_from)
    misfits = dict(zip(disagree.tolist(), words_at_fault(model, codes[disagree]), strict=True))
    prior = _prior_words(model, level)
    heaviest = _heaviest(weighing)
    said, seen = Says(model), codes.tolist()
    texts, dates = [], []
    for row, (a, b) in enumerate(
        zip((first + FIRST_YEAR).tolist(), (last + FIRST_YEAR).tolist(), strict=True)
    ):
        runs = runs_of.get(row, [])
        held = [float(total[row, end + 1] - total[row, start]) for start, end in runs]
        dates.append(_edtf(a, b, tuple(runs)))
        if little[row]:
            texts.append(words.useless(prior, level))
            continue
        hills = [
            (words.years(start + FIRST_YEAR, end + FIRST_YEAR, FIRST_YEAR), chance)
            for (start, end), chance in zip(runs, held, strict=True)
            if chance >= words.MATTERS and (end + FIRST_YEAR < a or start + FIRST_YEAR > b)
        ]
        texts.append(
            words.sentence(
                made=words.years(a, b, FIRST_YEAR),
                level=level,
                decade=decades[row][0],
                decade_chance=decades[row][1],
                clues=[said.unit(seen[row], unit) for unit in heaviest[row]],
                hills=hills,
                later=later[row],
                misfit=misfits.get(row, ""),
            )
        )
    return Summary(
        first, last, years.quantile(total, 0.5), starts[best], decade_chance,
        1 - found.revival, weighing, dates, texts,
    )  # fmt: skip


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
    first, last = years.shortest_interval(years.cumulative(model.year_prior[None, :]), level)
    return words.years(int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR, FIRST_YEAR)


@lru_cache(maxsize=20_000)
def _edtf(first: int, last: int, runs: tuple[tuple[int, int], ...]) -> str:
    """The interval, or the stretches of the densest region where there are several."""
    if len(runs) > 1:
        dated = [(start + FIRST_YEAR, end + FIRST_YEAR) for start, end in runs]
        return edtf.set_text(dated, open_start=dated[0][0] == FIRST_YEAR)
    return edtf.interval_text(first, last, open_start=first == FIRST_YEAR)
