"""What is known of a scarf, what each check may add to it, and what that promises."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from scarfdate.answer.summary import decade_sums
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.sides import measurements
from scarfdate.conventions import LEVEL, Array
from scarfdate.model.exact import joint_of
from scarfdate.model.model import Model
from scarfdate.tables.lists import Check
from scarfdate.why.asked import Asked
from scarfdate.years import cumulative, shortest_interval


@dataclass(frozen=True, kw_only=True)
class State:
    """What is known of a scarf: the rows of its clues, how well each value fits, what was measured."""

    model: Model
    rows: Mapping[int, Array]
    fits: Mapping[str, Array]
    methods: Mapping[str, tuple[str, ...]]
    cells: Mapping[str, int]

    @classmethod
    def of(cls, asked: Asked) -> State:
        """What was noted and measured, before any check."""
        model, scarf = asked.model, asked.scarf
        fits, methods, cells = {}, {}, {}
        measured = measurements(scarf.seen, model.priors)
        for clue in model.clues:
            if not isinstance(clue, SharesClue):
                continue
            noted = scarf.observations.get(clue.name)
            if noted is not None:
                fits[clue.name], methods[clue.name] = clue.fits(noted), (noted.method,)
            for measure in clue.measures:
                if measure.family.name in measured:
                    cells[measure.family.name] = measure.cell(measured[measure.family.name])
        # as they are, not divided by their maximum: a chance is a ratio of two sums
        rows = {
            column: row * float(np.exp(model.clues[column].rows.log_scale[asked.codes[0, column]]))
            for column, row in asked.rows.items()
        }
        return cls(model=model, rows=rows, fits=fits, methods=methods, cells=cells)

    def outcomes(self, check: Check) -> Iterator[tuple[float, State]]:
        """What may be found by a check, with the chance of each given all that is known, and the state then."""
        for row, state in self._found(check):
            yield row / self.evidence, state

    def _found(self, check: Check) -> Iterator[tuple[float, State]]:
        family = self.model.priors.families[check.family]
        name = family.parent if family.kind == "measured" else family.name
        column = self.model.column.get(name)
        clue = None if column is None else self.model.clues[column]
        if column is None or not isinstance(clue, SharesClue):
            return
        if family.kind == "measured":
            if family.name in self.cells:
                return
            measure = next(m for m in clue.measures if m.family.name == family.name)
            lowest, highest = measure.cell(family.low), measure.cell(family.high)
            for cell in range(lowest, highest + 1):
                cells = {**self.cells, family.name: cell}
                state = self._with(column, clue, self.fits, cells, self.methods)
                yield state.evidence * float(np.log(family.step)), state
            return
        done = self.methods.get(name, ())
        if check.method in done or check.method not in self.model.priors.confusion[name].matrices:
            return
        noted = clue.noted(check.method)
        if done and not _surer(clue, check.method, done):
            return
        before = self.fits.get(name, np.ones(len(clue.values)))
        for place in range(len(clue.values)):
            fits = {**self.fits, name: before * noted[:, place]}
            methods = {**self.methods, name: (*done, check.method)}
            state = self._with(column, clue, fits, self.cells, methods)
            yield state.evidence, state

    def _with(
        self,
        column: int,
        clue: SharesClue,
        fits: Mapping[str, Array],
        cells: Mapping[str, int],
        methods: Mapping[str, tuple[str, ...]],
    ) -> State:
        each = fits.get(clue.name, np.ones(len(clue.values)))[:, None, None, None] * clue.shares
        for measure in clue.measures:
            if measure.family.name in cells:
                each = each * measure.density(cells[measure.family.name])[:, None]
        rows = {**self.rows, column: np.asarray(each.sum(axis=0) ** clue.trust)}
        return replace(self, rows=rows, fits=fits, methods=methods, cells=cells)

    @cached_property
    def joint(self) -> Array:
        """P(rows, grade, year), (grades, years), unscaled."""
        period, later = joint_of(self.model, self.rows)
        return period + later

    @cached_property
    def year(self) -> Array:
        """P(rows, year), (years,), unscaled."""
        return np.asarray(self.joint.sum(axis=0))

    @cached_property
    def evidence(self) -> float:
        """P(all rows)."""
        return float(self.year.sum())

    def promise(self, outcomes: Sequence[tuple[float, State]]) -> tuple[float, float, float]:
        """Expected bits, years by which the interval shrinks, and rise of the best decade's chance."""
        # a measurement outside its limits is refused: what is left is taken as all there is
        chance = np.array([chance for chance, _ in outcomes])
        after = np.array([state.year / state.evidence for _, state in outcomes])
        now = (self.year / self.evidence)[None, :]
        bits, years, surer = (
            float(chance @ of(after) / chance.sum() - of(now)[0])
            for of in (_entropy, _width, self._best_decade)
        )
        # bits and chance are never below zero but for rounding: an expected information, and that of a maximum
        return max(-bits, 0.0), -years, max(surer, 0.0)

    def _best_decade(self, year: Array) -> Array:
        """P(the most probable decade is the right one), (n,)."""
        return np.asarray(decade_sums(self.model, year)[1].max(axis=1))


def _surer(clue: SharesClue, method: str, done: Sequence[str]) -> bool:
    """Whether a method confuses less than those already used."""
    return float(np.trace(clue.noted(method))) > max(float(np.trace(clue.noted(m))) for m in done)


def _entropy(year: Array) -> Array:
    """Bits of each of (n, years) probabilities."""
    return np.asarray(-(year * np.log2(np.where(year > 0, year, 1.0))).sum(axis=1))


def _width(year: Array) -> Array:
    """Years of each shortest interval."""
    first, last = shortest_interval(cumulative(year), LEVEL)
    return (last - first + 1).astype(float)
