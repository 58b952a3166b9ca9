"""What is known of a scarf, what each check may add to it, and what that promises."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.summary import decade_sums
from scarfdate.clues.clue import NOT_LOOKED_AT
from scarfdate.clues.label import shown_on_label
from scarfdate.clues.measured import Measure
from scarfdate.clues.on_label import hung_on_label
from scarfdate.clues.shares import SharesClue
from scarfdate.clues.shares_field import LABEL
from scarfdate.clues.sides import measurements
from scarfdate.conventions import GRADES, LEVEL, MARKETS, Array
from scarfdate.model.exact import joint_of, products_of, revival_parts
from scarfdate.model.model import Model
from scarfdate.tables.lists import Check
from scarfdate.why.asked import Asked
from scarfdate.years import cumulative, shortest_interval

_RARE = 1e-6  # findings on a label as rare as this are not told apart, thousands as there are


@dataclass(frozen=True, kw_only=True)
class State:
    """What is known of a scarf: the rows of its clues, what was measured, and by clue how well each value fits what was
    noted, (values, 1, 1, 1 or years); what was read off a label is a part of the label's row, and what is looked at
    next is taken as independent of it.

    ``label``: the states of the label, (values,), that are left by what was read off it, where its state was not
    noted; None where nothing was read.
    """

    model: Model
    rows: Mapping[int, Array]
    fits: Mapping[str, Array]
    methods: Mapping[str, tuple[str, ...]]
    cells: Mapping[str, int]
    label: NDArray[np.bool_] | None = None

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
                nothing = (None,) * len(clue.measures)
                if asked.codes[0, model.column[clue.name]] != NOT_LOOKED_AT:  # not silenced
                    fits[clue.name] = clue.value_fits((noted, nothing))
                methods[clue.name] = (noted.method,)
            for measure in clue.measures:
                if measure.family.name in measured:
                    cells[measure.family.name] = measure.cell(measured[measure.family.name])
        # as they are, not divided by their maximum: a chance is a ratio of two sums
        rows = {
            column: row * float(np.exp(model.clues[column].rows.log_scale[asked.codes[0, column]]))
            for column, row in asked.rows.items()
        }
        read = [
            states
            for (name, method), states in hung_on_label(model.priors).items()
            if LABEL not in fits and method in methods.get(name, ())
        ]
        label = np.logical_and.reduce(read) if read else None
        return cls(model=model, rows=rows, fits=fits, methods=methods, cells=cells, label=label)

    def outcomes(self, check: Check, read: Sequence[Check] = ()) -> Outcomes | None:
        """What may be found by a check; None where it finds nothing new.

        ``read``: looks at the label that are taken along with a look for one.
        """
        if check.family == LABEL and self.label is not None:
            return None
        found = self._outcomes(check)
        if found is None or read:
            return found and OnLabel(self, found, read)
        at_label = (check.family, check.method) in hung_on_label(self.model.priors)
        return OnLabel(self, None, (check,)) if at_label else found

    def _outcomes(self, check: Check) -> Outcomes | None:
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
        each = self.fits.get(clue.name, 1.0) * clue.shares
        for measure in clue.measures:
            if measure.family.name in self.cells:
                each = each * measure.density(self.cells[measure.family.name])[:, None]
        return np.asarray(each)

    def with_known(self, column: int, clue: SharesClue, **known: Mapping[str, object]) -> State:
        """The state when more is known of a clue: other ``fits``, ``cells`` or ``methods``."""
        state = replace(self, **known)  # type: ignore[arg-type]
        row = np.asarray(state.values(column, clue).sum(axis=0) ** clue.trust)
        return replace(state, rows={**self.rows, column: row})

    def others(self, columns: Collection[int]) -> Array:
        """P(rows, market, grade, year) without those of some clues of the making, (markets, grades, years), unscaled."""
        rows = {column: row for column, row in self.rows.items() if column not in columns}
        making, style = products_of(self.model, rows)
        period, later = revival_parts(self.model, style)
        return np.asarray(
            self.model.market[:, None, :] * making * (self.model.prior * (period + later))
        )

    def shown(self, name: str, states: NDArray[np.bool_]) -> float:
        """P(a label in one of these states, which shows what a family looks for | all that is known)."""
        column = self.model.column[LABEL]
        clue = self.model.clues[column]
        assert isinstance(clue, SharesClue)
        each = self.values(column, clue)
        left = np.ones_like(states) if self.label is None else self.label
        made = self.others({column})
        there = (made * each[states & left].sum(axis=0)).sum(axis=1)
        share = shown_on_label(self.model.clues, name)
        return float((there * share).sum() / (made * each[left].sum(axis=0)).sum())

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
    A state is made only when it is asked for. A measurement is what it says within its family's limits. ``there``: the
    chance that there is something to find.
    """

    there: float = 1.0

    def __init__(
        self, state: State, column: int, clue: SharesClue, *, method: str = "", measure: Measure | None = None
    ) -> None:  # fmt: skip
        self.state, self.column, self.clue = state, column, clue
        self.method, self.measure = method, measure

    @cached_property
    def rows(self) -> Array:
        """P(what is known of the clue and what is found | market, grade, year), (findings, markets or 1, grades, years)."""
        known = self.state.values(self.column, self.clue)
        if self.measure is None:
            rows = np.tensordot(self.clue.noted(self.method), known, axes=(0, 0))
        else:
            rows = np.einsum("cvgy,vmgy->cmgy", self.measure.every_density, known)
        return np.asarray(rows if self.clue.trust == 1 else rows**self.clue.trust)

    @cached_property
    def joint(self) -> Array:
        """P(all rows and what is found, grade, year), (findings, grades, years), unscaled."""
        model, rows = self.state.model, self.rows
        if self.column in model.style.columns:
            others = {
                column: row for column, row in self.state.rows.items() if column != self.column
            }
            making, style = products_of(model, others)
            period, later = revival_parts(model, style * rows[:, 0])
            made = model.market[:, None, :] * making
            return np.asarray(made.sum(axis=0) * model.prior * (period + later))
        made = self.state.others({self.column})
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

    @property
    def told(self) -> tuple[Array, Array]:
        """The chances (findings,) and years (findings, years), of which a promise is the mean."""
        return self.chance, self.year

    def then(self, place: int) -> State:
        """The state once the finding of this number is known."""
        state, name = self.state, self.clue.name
        if self.measure is not None:
            cell = self.measure.steps[place]
            cells = {**state.cells, self.measure.family.name: cell}
            return state.with_known(self.column, self.clue, cells=cells)
        found = self.clue.noted(self.method)[:, place, None, None, None]
        fits = {**state.fits, name: state.fits.get(name, 1.0) * found}
        methods = {**state.methods, name: (*state.methods.get(name, ()), self.method)}
        return state.with_known(self.column, self.clue, fits=fits, methods=methods)

    def __len__(self) -> int:
        return len(self.clue.values if self.measure is None else self.measure.steps)

    def __getitem__(self, place: int) -> tuple[float, State]:  # type: ignore[override]
        if not -len(self) <= place < len(self):
            raise IndexError(place)
        return float(self.chance[place]), self.then(place)


class OnLabel(Outcomes):
    """What may be found by reading a label that may not be there, or may not show what is looked for.

    With ``label``, a look for one, its state is noted first, and then all is read that it shows; without, what is
    looked for is found, or it is not, and then all is as before. A dating counts what a label shows, and not that it
    shows it (but for a whole label's words), so what is shown is taken to be shown as often in all years:
    as often as is to be expected of this piece. What is found first are the findings with most to read.
    """

    def __init__(self, state: State, label: Outcomes | None, read: Sequence[Check]) -> None:
        first = state._outcomes(read[0]) if label is None else label
        assert first is not None
        super().__init__(state, first.column, first.clue, method=first.method)
        self._label, self._read = label, read

    @cached_property
    def _branches(self) -> list[tuple[float, State, tuple[Outcomes, ...]]]:
        """Each state of the label and set of things that it shows: the chance of the set, the state, and their outcomes."""
        hung = hung_on_label(self.state.model.priors)
        starts = (
            [(None, self.state)]
            if self._label is None
            else [(place, self._label.then(place)) for place in range(len(self._label))]
        )
        found = []
        for place, state in starts:
            sets: list[tuple[float, tuple[Outcomes, ...]]] = [(1.0, ())]
            for check in self._read:
                where = hung[check.family, check.method]
                part = state._outcomes(check)
                if part is None or (place is not None and not where[place]):
                    continue
                shown = state.shown(check.family, where)
                sets = [
                    each
                    for chance, parts in sets
                    for each in ((chance * shown, (*parts, part)), (chance * (1 - shown), parts))
                    if each[0] > 0
                ]
            found += [(chance, state, parts) for chance, parts in sets]
        return sorted(found, key=lambda one: -len(one[2]))

    @cached_property
    def _years(self) -> list[Array]:
        """P(all rows and what is found, year) of each branch, (findings, years)."""
        return [chance * _together(state, parts) for chance, state, parts in self._branches]

    @cached_property
    def joint(self) -> Array:
        """P(all rows and what is found, grade, year), (findings, grades, years), unscaled."""
        return np.concatenate(
            [chance * _together(state, parts, True) for chance, state, parts in self._branches]
        )

    @cached_property
    def evidence(self) -> Array:
        """P(all rows and what is found), (findings,)."""
        return np.concatenate([joint.sum(axis=1) for joint in self._years])

    @cached_property
    def year(self) -> Array:
        """P(year | all that is known and what is found), (findings, years)."""
        return np.concatenate(self._years) / self.evidence[:, None]

    @cached_property
    def told(self) -> tuple[Array, Array]:
        """The chances and years, what is rare put together as if one could not tell it apart."""
        common = self.chance >= _RARE
        rare = self.chance[~common]
        if len(rare) < 2:
            return self.chance, self.year
        together = rare @ self.year[~common] / rare.sum()
        return np.append(self.chance[common], rare.sum()), np.vstack([self.year[common], together])

    @cached_property
    def there(self) -> float:  # type: ignore[override]
        """The chance that there is something to read."""
        pairs = zip(self._years, self._branches, strict=True)
        every = [(float(joint.sum()), bool(parts)) for joint, (_, _, parts) in pairs]
        return sum(chance for chance, some in every if some) / sum(chance for chance, _ in every)

    def then(self, place: int) -> State:
        """The state once the finding of this number is known."""
        for joint, (_, state, parts) in zip(self._years, self._branches, strict=True):
            if place < len(joint):
                places = np.unravel_index(place, [len(part) for part in parts])
                for part, at in zip(parts, places, strict=True):
                    state = Outcomes(state, part.column, part.clue, method=part.method).then(
                        int(at)
                    )
                return state
            place -= len(joint)
        raise IndexError(place)

    def __len__(self) -> int:
        return sum(map(len, self._years))


def _together(state: State, parts: Sequence[Outcomes], by_grade: bool = False) -> Array:
    """P(all rows and what is found of several clues of the making, year), (findings, years), unscaled; or also by
    grade, (findings, grades, years)."""
    shape = len(GRADES), len(state.model.years)

    def laid_out(rows: Array) -> Array:
        """(n, markets or 1, grades, years) as (years, n, states), or (grades and years, n, states)."""
        every = np.broadcast_to(rows, (len(rows), len(MARKETS), *shape))
        if by_grade:
            return every.transpose(2, 3, 0, 1).reshape(-1, len(rows), len(MARKETS))
        return every.transpose(3, 0, 1, 2).reshape(shape[1], len(rows), -1)

    made = laid_out(state.others({part.column for part in parts})[None])
    for part in parts[:-1]:
        made = (made[:, :, None] * laid_out(part.rows)[:, None]).reshape(
            len(made), -1, made.shape[2]
        )
    last = laid_out(parts[-1].rows).swapaxes(1, 2) if parts else np.ones((made.shape[2], 1))
    found = (made @ last).reshape(len(made), -1).T
    return np.ascontiguousarray(found.reshape(-1, *shape) if by_grade else found)


def promises(state: State, looks: Sequence[Outcomes]) -> list[tuple[float, float, float]]:
    """Of each look: expected bits, years by which the interval shrinks, and rise of the best decade's chance."""
    if not looks:
        return []
    told = [look.told for look in looks]
    year = np.concatenate([(state.year / state.evidence)[None, :], *(years for _, years in told)])
    each = np.stack([_entropy(year), _width(year), decade_sums(state.model, year)[1].max(axis=1)])
    found, at = [], 1
    for chance, _ in told:
        # a measurement outside its limits is refused: what is left is taken as all there is
        weight = chance / chance.sum()
        bits, years, surer = (each[:, at : at + len(chance)] @ weight - each[:, 0]).tolist()
        at += len(chance)
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
