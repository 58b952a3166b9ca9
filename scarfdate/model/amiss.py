"""What is amiss with an observation, given everything noted: a slip or a misreading, a design printed again.

Each is one way in which what was seen can have come about, and each clue says how much of its likelihood is
owed to it (`Clue.amiss`, `Clue.first_printing`). So the same exact sum gives its chance:

    P(a part is amiss | all)       = P(all, that part amiss) / P(all)
    P(printed again | all)         = 1 - P(all, everything in its first printing) / P(all)

Of a thing noted, P(all) / P(all others) is at least P(it | all others) and what it is amiss at most its
largest value over all states; so with r of `scarfdate.model.weighing`

    P(a part is amiss | all)      <= r  max over states of P(it, amiss | state) / P(it)

which spares a long table the sum for the many pieces where nothing can be amiss.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import (
    GROWING,
    NOT_LOOKED_AT,
    ROUNDED_UP,
    Amiss,
    Bound,
    FirstPrinting,
    Rows,
    Slip,
)
from scarfdate.conventions import MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.numbered import distinct
from scarfdate.model.posterior import log_evidence
from scarfdate.model.slips import parts_of
from scarfdate.model.weighing import Weighing, rows_of_unit


@dataclass(frozen=True)
class PartAmiss:
    """One part of what was noted of a scarf, and the chance that it is a slip or a misreading.

    ``scarf``: its row in the codes; ``column``: of its clue.
    """

    scarf: int
    column: int
    part: Slip
    chance: float


class _Ways:
    """Ways in which something noted of a scarf can be amiss, side by side: many, of which few are likely."""

    def __init__(self) -> None:
        self.scarf, self.column, self.amiss = list[int](), list[int](), list[int]()
        self.part = list[Slip]()

    def add(self, scarf: int, column: int, part: Slip, amiss: int) -> None:
        """``amiss``: the row of the clue with the part amiss."""
        self.scarf.append(scarf)
        self.column.append(column)
        self.part.append(part)
        self.amiss.append(amiss)

    def add_all(self, model: Model, codes: Codes, scarf: int, name: str | None = None) -> None:
        """Every part of a scarf, or those of one name."""
        for _, column, part in parts_of(model, codes[scarf : scarf + 1]):
            if name in (None, part.part):
                self.add(scarf, column, part, _amiss(model, column, codes[scarf, column], part))

    def chances(self, model: Model, codes: Codes, log: Array) -> Array:
        """Of each; ``log`` (n,): log P(all) of each of the scarves ``codes`` (n, clues)."""
        amiss = codes[self.scarf]
        amiss[np.arange(len(amiss)), self.column] = self.amiss
        return np.asarray(np.exp(np.minimum(log_evidence(model, amiss) - log[self.scarf], 0.0)))

    def found(self, chances: Array, places: Iterable[int]) -> list[PartAmiss]:
        """Those at some places."""
        return [
            PartAmiss(self.scarf[at], self.column[at], self.part[at], float(chances[at]))
            for at in places
        ]


def parts_amiss(model: Model, codes: Codes) -> list[PartAmiss]:
    """Every part of the scarves ``codes`` (n, clues), scarf by scarf."""
    ways = _Ways()
    for scarf in range(len(codes)):
        ways.add_all(model, codes, scarf)
    chances = ways.chances(model, codes, log_evidence(model, codes))
    return ways.found(chances, range(len(chances)))


def likely_amiss(
    model: Model, codes: Codes, log: Array, weighing: Weighing, named: Mapping[int, str]
) -> list[PartAmiss]:
    """The parts that are amiss rather than right, looked for by the bound above, and what is ``named``.

    ``log`` (n,): log P(all) of each scarf; ``named``: the part of a scarf that is wanted in any case.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(weighing.evidence > 0, weighing.surprise / weighing.evidence, 0.0)
    ways = _Ways()
    for scarf, name in named.items():
        ways.add_all(model, codes, scarf, name)
    in_any_case = len(ways.scarf)
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero(ratio[:, place])
        if not seen.size:
            continue
        rows, index = rows_of_unit(model, columns, codes[seen])
        with GROWING:
            most = model.most_amiss.setdefault(columns, _MostAmiss(columns, rows))
            own = ratio[seen, place]
            near = np.flatnonzero(own * most.at_most(model, index) > MORE_LIKELY_THAN_NOT)
            highest = most.highest(model, index[near])
        for at in near[own[near] * highest > MORE_LIKELY_THAN_NOT].tolist():
            scarf = int(seen[at])
            least = MORE_LIKELY_THAN_NOT / ratio[scarf, place]
            for column, part, amiss, value in most.parts[int(index[at])]:
                if value > least and named.get(scarf) != part.part:
                    ways.add(scarf, column, part, amiss)
    chances = ways.chances(model, codes, log)
    likely = np.flatnonzero(chances > MORE_LIKELY_THAN_NOT).tolist()
    return ways.found(chances, [*range(in_any_case), *(at for at in likely if at >= in_any_case)])


def _amiss(model: Model, column: int, row: int, part: Slip) -> int:
    """The row of an observation with one part of it amiss."""
    clue = model.clues[column]
    return clue.index(Amiss(clue.rows.keys[row], part.part))


def printed_again(model: Model, codes: Codes) -> Array:
    """P(something that it bears is of a design printed again later), (n,); 0 where no table knows of any."""
    first = codes.copy()
    for column, clue in enumerate(model.clues):
        for row in np.unique(codes[:, column]).tolist():
            key = clue.rows.keys[row]
            if row != NOT_LOOKED_AT and clue.first_printing(key) is not None:
                first[codes[:, column] == row, column] = clue.index(FirstPrinting(key))
    found = np.zeros(len(codes))
    rows = np.flatnonzero((first != codes).any(axis=1))
    if rows.size:
        log = log_evidence(model, np.concatenate((codes[rows], first[rows])))
        found[rows] = -np.expm1(np.minimum(log[len(rows) :] - log[: len(rows)], 0.0))
    return found


def bound_of(model: Model, column: int, row: int) -> Bound | None:
    """The first year of one row of one clue, worked out once for a model."""
    if row == NOT_LOOKED_AT:
        return None
    known = model.bounds
    if (column, row) not in known:
        clue = model.clues[column]
        known[column, row] = clue.bound(clue.rows.keys[row])
    return known[column, row]


def first_possible(model: Model, codes: Codes) -> NDArray[np.int64]:
    """The latest of the first years of everything seen, (n,); 0 where nothing bounds."""
    found = np.zeros(len(codes), dtype=np.int64)
    for column in range(codes.shape[1]):
        first, back = distinct(codes[:, column])
        bounds = [bound_of(model, column, row) for row in codes[first, column].tolist()]
        years = np.array([0 if bound is None else bound.year for bound in bounds], dtype=np.int64)
        np.maximum(found, years[back], out=found)
    return found


class _MostAmiss:
    """How likely a unit is at most, over all states, with a part of it amiss; worked out once for each row.

    ``parts``: by row each part with its column, the row of the clue with it amiss, and that likelihood. A bound that is
    quickly had (`Clue.amiss_at_most`) spares most rows of a long table all of this.
    """

    def __init__(self, columns: tuple[int, ...], rows: Rows) -> None:
        # not the model, which holds this: its tables are to be freed as soon as nobody has it
        self._columns, self._rows = columns, rows
        self._highest, self._bound = np.full(0, np.nan), np.full(0, np.nan)
        self.parts: dict[int, list[tuple[int, Slip, int, float]]] = {}

    def highest(self, model: Model, index: NDArray[np.intp]) -> Array:
        """Of all parts of each row, (n,); 0 where a row has none."""
        self._highest = self._with_room(self._highest)
        new = np.unique(index[np.isnan(self._highest[index])]).tolist()
        if new:
            self._work_out(model, new)
        return np.asarray(self._highest[index])

    def at_most(self, model: Model, index: NDArray[np.intp]) -> Array:
        """No less than `highest`, (n,): with one clue of the unit amiss, and the others as likely as they ever are."""
        self._bound = self._with_room(self._bound)
        new = np.unique(index[np.isnan(self._bound[index])])
        if new.size:
            self._bound[new] = self._bounds(model, new)
        return np.asarray(self._bound[index])

    def _with_room(self, values: Array) -> Array:
        more = self._rows.count - len(values)
        return np.concatenate((values, np.full(more, np.nan))) if more > 0 else values

    def _bounds(self, model: Model, new: NDArray[np.intp]) -> Array:
        keys = [self._rows.keys[row] for row in new.tolist()]
        if self._columns != model.by_market.columns:
            return model.clues[self._columns[0]].amiss_at_most(keys)
        codes = np.array(keys, dtype=np.intp)
        amiss, whole = np.zeros(codes.shape), np.zeros(codes.shape)
        for place, column in enumerate(self._columns):
            rows, back = np.unique(codes[:, place], return_inverse=True)
            clue = model.clues[column]
            looked = rows != NOT_LOOKED_AT
            bound = np.zeros(len(rows))
            bound[looked] = clue.amiss_at_most(
                [clue.rows.keys[row] for row in rows[looked].tolist()]
            )
            amiss[:, place], whole[:, place] = bound[back], np.exp(clue.rows.log_scale[rows])[back]
        others = whole.prod(axis=1, keepdims=True) / whole
        return np.asarray((amiss * others).max(axis=1) * ROUNDED_UP)

    def _work_out(self, model: Model, rows: Sequence[int]) -> None:
        codes = np.zeros((len(rows), len(model.clues)), dtype=np.int32)
        market = self._columns == model.by_market.columns
        codes[:, self._columns] = [
            cast(tuple[int, ...], self._rows.keys[row]) if market else (row,) for row in rows
        ]
        parts = parts_of(model, codes)
        amiss = np.zeros(len(parts), dtype=np.int32)
        scales = np.zeros(len(parts))
        for column in self._columns:
            clue = model.clues[column]
            own = [at for at, (_, of, _) in enumerate(parts) if of == column]
            seen = [clue.rows.keys[codes[parts[at][0], column]] for at in own]
            pairs = zip(seen, own, strict=True)
            amiss[own] = clue.indices([Amiss(key, parts[at][2].part) for key, at in pairs])
            scales[own] = clue.rows.log_scale[amiss[own]]
        if market:
            one = codes[[scarf for scarf, _, _ in parts]]
            one[np.arange(len(parts)), [column for _, column, _ in parts]] = amiss
            at = model.by_market.indices(model, one)  # before the scales: it may add some
            scales = model.by_market.rows.log_scale[at]
        of: dict[int, list[tuple[int, Slip, int, float]]] = {row: [] for row in rows}
        for (scarf, column, part), row, most in zip(
            parts, amiss.tolist(), np.exp(scales).tolist(), strict=True
        ):
            of[rows[scarf]].append((column, part, row, most))
        self.parts |= of
        self._highest[rows] = [
            max((most for *_, most in some), default=0.0) for some in of.values()
        ]
