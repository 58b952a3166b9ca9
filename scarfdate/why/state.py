"""What is known of a scarf, what each check may add to it, and what that promises."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from scarfdate.answer.summary import decade_sums
from scarfdate.clues.measured import Measure
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.sides import measurements
from scarfdate.conventions import LEVEL, Array
from scarfdate.model.exact import joint_of, products_of, revival_parts
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

    def outcomes(self, check: Check) -> Outcomes | None:
        """What may be found by a check; None where it finds nothing new."""
        family = self.model.priors.families[check.family]
        name = family.parent if family.kind == "measured" else family.name
        column = self.model.column.get(name)
        clue = None if column is None else self.model.clues[column]
        if column is None or not isinstance(clue, SharesClue):
            return None
        if family.kind == "measured":
            if family.name in self.cells:
                return None
            measure = next(m for m in clue.measures if m.family.name == family.name)
            return Outcomes(self, column, clue, measure=measure)
        done = self.methods.get(name, ())
        if check.method in done or check.method not in self.model.priors.confusion[name].matrices:
            return None
        if done and not _surer(clue, check.method, done):
            return None
        return Outcomes(self, column, clue, method=check.method)

    def values(self, column: int, clue: SharesClue) -> Array:
        """P(value, what is known of the clue | market, grade, year), (values, markets or 1, grades, years)."""
        each = (
            self.fits.get(clue.name, np.ones(len(clue.values)))[:, None, None, None] * clue.shares
        )
        for measure in clue.measures:
            if measure.family.name in self.cells:
                each = each * measure.density(self.cells[measure.family.name])[:, None]
        return np.asarray(each)

    def with_known(self, column: int, clue: SharesClue, **known: Mapping[str, object]) -> State:
        """The state when more is known of a clue: other ``fits``, ``cells`` or ``methods``."""
        state = replace(self, **known)  # type: ignore[arg-type]
        row = np.asarray(state.values(column, clue).sum(axis=0) ** clue.trust)
        return replace(state, rows={**self.rows, column: row})

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


class Outcomes(Sequence[tuple[float, State]]):
    """Everything that may be found by one look: its chance given all that is known, and the state then.

    All of it at once: what the other clues say is multiplied together once, and each finding is a row of one array.
    A state is made only when it is asked for. A measurement is what it says within its family's limits.
    """

    def __init__(
        self, state: State, column: int, clue: SharesClue, *, method: str = "", measure: Measure | None = None
    ) -> None:  # fmt: skip
        self.state, self.column, self.clue = state, column, clue
        self.method, self.measure = method, measure

    @cached_property
    def joint(self) -> Array:
        """P(all rows and what is found, grade, year), (findings, grades, years), unscaled."""
        model, clue = self.state.model, self.clue
        known = self.state.values(self.column, clue)
        if self.measure is None:
            rows = np.tensordot(clue.noted(self.method), known, axes=(0, 0))
        else:
            rows = np.einsum("cvgy,vmgy->cmgy", self.measure.every_density, known)
        if clue.trust != 1:
            rows **= clue.trust
        others = {column: row for column, row in self.state.rows.items() if column != self.column}
        making, style = products_of(model, others)
        made = model.market[:, None, :] * making
        if self.column in model.style.columns:
            period, later = revival_parts(model, style * rows[:, 0])
            return np.asarray(made.sum(axis=0) * model.prior * (period + later))
        period, later = revival_parts(model, style)
        made = made * (model.prior * (period + later))
        if rows.shape[1] == 1:
            return np.asarray(made.sum(axis=0) * rows[:, 0])
        return np.asarray(np.einsum("mgy,omgy->ogy", made, rows))

    @cached_property
    def evidence(self) -> Array:
        """P(all rows and what is found), (findings,), of a measurement per unit of log x."""
        return np.asarray(self.joint.sum(axis=(1, 2)))

    @cached_property
    def chance(self) -> Array:
        """P(what is found | all that is known), (findings,)."""
        step = 1.0 if self.measure is None else float(np.log(self.measure.family.step))
        return self.evidence * step / self.state.evidence

    @cached_property
    def year(self) -> Array:
        """P(year | all that is known and what is found), (findings, years)."""
        return np.asarray(self.joint.sum(axis=1) / self.evidence[:, None])

    def then(self, place: int) -> State:
        """The state once the finding of this number is known."""
        state, name = self.state, self.clue.name
        if self.measure is not None:
            cell = self.measure.steps[place]
            cells = {**state.cells, self.measure.family.name: cell}
            return state.with_known(self.column, self.clue, cells=cells)
        before = state.fits.get(name, np.ones(len(self.clue.values)))
        fits = {**state.fits, name: before * self.clue.noted(self.method)[:, place]}
        methods = {**state.methods, name: (*state.methods.get(name, ()), self.method)}
        return state.with_known(self.column, self.clue, fits=fits, methods=methods)

    def __len__(self) -> int:
        return len(self.clue.values if self.measure is None else self.measure.steps)

    def __getitem__(self, place: int) -> tuple[float, State]:  # type: ignore[override]
        if not -len(self) <= place < len(self):
            raise IndexError(place)
        return float(self.chance[place]), self.then(place)


def promises(state: State, looks: Sequence[Outcomes]) -> list[tuple[float, float, float]]:
    """Of each look: expected bits, years by which the interval shrinks, and rise of the best decade's chance."""
    if not looks:
        return []
    year = np.concatenate([(state.year / state.evidence)[None, :], *(look.year for look in looks)])
    each = np.stack([_entropy(year), _width(year), decade_sums(state.model, year)[1].max(axis=1)])
    found, at = [], 1
    for look in looks:
        # a measurement outside its limits is refused: what is left is taken as all there is
        weight = look.chance / look.chance.sum()
        bits, years, surer = (each[:, at : at + len(look)] @ weight - each[:, 0]).tolist()
        at += len(look)
        # bits and chance are never below zero but for rounding: an expected information, and that of a maximum
        found.append((max(-bits, 0.0), -years, max(surer, 0.0)))
    return found


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
