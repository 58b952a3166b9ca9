"""What is amiss with an observation, given everything noted: a slip or a misreading, a design printed again.

Each is one way in which what was seen can have come about, and each clue says how much of its likelihood is
owed to it (`Clue.amiss`, `Clue.first_printing`). So the same exact sum gives its chance:

    P(a part is amiss | all)       = P(all, that part amiss) / P(all)
    P(printed again | all)         = 1 - P(all, everything in its first printing) / P(all)

Of a thing noted, P(all) / P(all others) is P(it | all others), and P(all, it amiss) / P(all others) is at most the
largest value that P(it, amiss | state) has over all states; so with r of `scarfdate.model.weighing`

    P(a part is amiss | all)      <= r  max over states of P(it, amiss | state) / P(it)

which spares a long table the sum for the many pieces where nothing can be amiss.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Any, NamedTuple, cast

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
from scarfdate.model.posterior import log_evidence, posterior
from scarfdate.model.slips import parts_of
from scarfdate.model.weighing import Weighing, rows_of_unit

_TILE = 256  # ways at a time
_TINY = np.finfo(float).tiny  # a state with no likelihood is none of the joint


class PartAmiss(NamedTuple):
    """One part of what was noted of a scarf, and the chance that it is a slip or a misreading.

    ``scarf``: its row in the codes; ``column``: of its clue.
    """

    scarf: int
    column: int
    part: Slip
    chance: float


def parts_amiss(model: Model, codes: Codes) -> list[PartAmiss]:
    """Every part of the scarves ``codes`` (n, clues), scarf by scarf."""
    parts = parts_of(model, codes)
    amiss = codes[[scarf for scarf, _, _ in parts]]
    for place, (scarf, column, part) in enumerate(parts):
        clue = model.clues[column]
        key = clue.rows.keys[codes[scarf, column]]
        amiss[place, column] = clue.index(Amiss(key, part.part))
    log = log_evidence(model, np.concatenate((codes, amiss)))
    return [
        PartAmiss(scarf, column, part, float(np.exp(min(least - log[scarf], 0.0))))
        for (scarf, column, part), least in zip(parts, log[len(codes) :].tolist(), strict=True)
    ]


@dataclass(frozen=True)
class SetAmiss:
    """Some parts of one scarf that are amiss together while others are right, ``year`` (years,) what then is its year
    (P(year | all, these amiss alone)), and the ``chance`` of it."""

    parts: tuple[PartAmiss, ...]
    chance: float
    year: Array


def sets_amiss(model: Model, codes: Codes, parts: Sequence[PartAmiss]) -> list[SetAmiss]:
    """Every set of some ``parts`` of one scarf, of clues that differ, with the chance that exactly these are amiss.

    P(at least these) is what the exact sum gives, with each of them amiss; exactly these: inclusion and exclusion.
    The chances sum to one.
    """
    sets = [s for n in range(len(parts) + 1) for s in combinations(range(len(parts)), n)]
    amiss = np.repeat(codes[:1], len(sets), axis=0)
    for row, some in enumerate(sets):
        for one in (parts[place] for place in some):
            clue = model.clues[one.column]
            key = Amiss(clue.rows.keys[codes[0, one.column]], one.part.part)
            amiss[row, one.column] = clue.index(key)
    found = posterior(model, amiss)
    at_least = np.exp(found.log_evidence - found.log_evidence[0])[:, None] * found.year
    signs = np.array(
        [[(-1.0) ** (len(t) - len(s)) if {*s} <= {*t} else 0.0 for t in sets] for s in sets]
    )
    exactly = np.maximum(signs @ at_least, 0.0)  # below 0 by rounding alone
    exactly /= exactly.sum()
    return [
        SetAmiss(
            tuple(parts[place] for place in some),
            float(years.sum()),
            years / max(float(years.sum()), _TINY),
        )
        for some, years in zip(sets, exactly, strict=True)
    ]


def likely_amiss(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    weighing: Weighing,
    named: Mapping[int, str],
) -> list[PartAmiss]:
    """The parts that are amiss rather than right, looked for by the bound above, and what is ``named``.

    ``joint`` (n, grades * years) as from the posterior; ``named``: the part of a scarf that is wanted in any case.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(weighing.evidence > 0, weighing.surprise / weighing.evidence, 0.0)
    found: list[PartAmiss] = []
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero((codes[:, columns] != NOT_LOOKED_AT).any(axis=1))
        if not seen.size:
            continue
        ours = {family for column in columns for family in model.clues[column].families}
        wanted = np.zeros(len(codes), dtype=bool)
        wanted[[scarf for scarf, name in named.items() if name in ours]] = True
        rows, index = rows_of_unit(model, columns, codes[seen])
        with GROWING:
            can = model.can_be_amiss.setdefault(columns, _CanBeAmiss(columns, rows))
            likely = ratio[seen, place] * can.at_most(model, index) > MORE_LIKELY_THAN_NOT
            near = np.flatnonzero(likely | wanted[seen])
            of, parts = can.parts(model, index[near])
        scarf = seen[near[of]]
        likely = ratio[scarf, place] * can.highest[parts] > MORE_LIKELY_THAN_NOT
        parts, scarf = parts[likely | wanted[scarf]], scarf[likely | wanted[scarf]]
        column, amiss = can.column[parts], can.amiss[parts]
        chances = _shares_amiss(model, columns, codes, joint, scarf, column, amiss)
        told = chances > MORE_LIKELY_THAN_NOT
        for at in np.flatnonzero(wanted[scarf] & ~told).tolist():
            told[at] = named[int(scarf[at])] == can.slips[parts[at]].part
        slips = [can.slips[part] for part in parts[told].tolist()]
        s, c, p = (some[told].tolist() for some in (scarf, column, chances))
        found += map(PartAmiss._make, zip(s, c, slips, p, strict=True))
    return found


def _shares_amiss(
    model: Model,
    columns: tuple[int, ...],
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    scarf: NDArray[np.intp],
    column: NDArray[np.intp],
    amiss: NDArray[np.intp],
) -> Array:
    """The chance that one part is amiss, (n,): a mean over the joint, of each state the share of the likelihood.

    ``columns``: the unit; ``scarf``: the row of the codes and the joint; ``amiss``: the row of the clue in ``column``
    with the part amiss. It is the ratio of `parts_amiss`, quicker where there is a joint.
    """
    n, noted_so = len(scarf), codes[scarf]
    otherwise = noted_so.copy()
    otherwise[np.arange(n), column] = amiss
    rows, over = _factor(model, columns, otherwise)
    _, under = _factor(model, columns, noted_so)
    found = np.empty(n)
    room = np.empty((2, min(_TILE, n), model.cells))
    for at in range(0, n, _TILE):
        tile = slice(at, min(at + _TILE, n))
        ratio, noted = room[:, : tile.stop - at]
        np.take(rows.table, over[tile], axis=0, out=ratio, mode="clip")
        np.take(rows.table, under[tile], axis=0, out=noted, mode="clip")
        np.divide(ratio, np.maximum(noted, _TINY, out=noted), out=ratio)
        np.vecdot(ratio, joint[scarf[tile]], out=found[tile])
    return np.minimum(found * np.exp(rows.log_scale[over] - rows.log_scale[under]), 1.0)


def _factor(model: Model, columns: tuple[int, ...], codes: Codes) -> tuple[Rows, NDArray[np.intp]]:
    """The rows that are the unit's factor of the joint: style clues are one together, mixed over revivals."""
    if columns[0] in model.style.columns:
        return model.style.rows, model.style.indices(model, codes)
    return rows_of_unit(model, columns, codes)


def printed_again(model: Model, codes: Codes) -> Array:
    """P(something that it bears is of a design printed again later), (n,); 0 where no table knows of any."""

    def in_first_printing(column: int, row: int) -> int:
        clue = model.clues[column]
        key = clue.rows.keys[row]
        return row if clue.first_printing(key) is None else clue.index(FirstPrinting(key))

    first = _of_rows(model, codes, model.first_printings, in_first_printing)
    found = np.zeros(len(codes))
    rows = np.flatnonzero((first != codes).any(axis=1))
    if rows.size:
        log = log_evidence(model, np.concatenate((codes[rows], first[rows]), dtype=codes.dtype))
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


def first_years(model: Model, codes: Codes) -> NDArray[np.int64]:
    """The first possible year by each thing seen, (n, clues); 0 where it bounds nothing."""

    def first(column: int, row: int) -> int:
        bound = bound_of(model, column, row)
        return 0 if bound is None else bound.year

    return _of_rows(model, codes, model.first_years, first)


def design_years(model: Model, codes: Codes) -> NDArray[np.int64]:
    """The latest year seen that can be that of the design alone, (n,); 0 where none is."""

    def of_design(column: int, row: int) -> int:
        clue = model.clues[column]
        return clue.design_year(clue.rows.keys[row]) or 0

    return np.asarray(_of_rows(model, codes, model.design_years, of_design).max(axis=1, initial=0))


def _of_rows(
    model: Model,
    codes: Codes,
    known: dict[int, NDArray[np.int64]],
    number_of: Callable[[int, int], int],
) -> NDArray[np.int64]:
    """A number that hangs on a row of a clue alone, (n, clues), 0 where nobody looked; each row is asked once for a model."""
    found = np.zeros(codes.shape, dtype=np.int64)
    for column in np.flatnonzero(codes.any(axis=0)).tolist():
        own = codes[:, column]
        numbers = known.get(column, np.zeros(1, dtype=np.int64))
        numbers = _longer(numbers, model.clues[column].rows.count)
        unknown = numbers[own] < 0
        for row in np.unique(own[unknown]).tolist() if unknown.any() else ():
            numbers[row] = number_of(column, row)
        known[column] = numbers
        found[:, column] = numbers[own]
    return found


class _CanBeAmiss:
    """What can be amiss in the rows of a unit, each worked out once.

    ``slips``: parts of rows; beside each the ``column`` and row of the clue with it ``amiss``, and the ``highest`` value
    over all states of how likely the unit is then (infinite where clues are weighed together), (parts,). A bound that is quickly had (`Clue.amiss_at_most`) spares most rows of a long table all but itself.
    """

    def __init__(self, columns: tuple[int, ...], rows: Rows) -> None:
        # not the model, which holds this: its tables are to be freed as soon as nobody has it
        self._columns, self._rows = columns, rows
        self._bound = np.full(0, -1.0)
        self._start, self._count = np.full((2, 0), -1)
        self.slips = list[Slip]()
        self.column, self.amiss = np.zeros((2, 0), dtype=np.intp)
        self.highest = np.zeros(0)

    def parts(
        self, model: Model, index: NDArray[np.intp]
    ) -> tuple[NDArray[np.intp], NDArray[np.intp]]:
        """All parts of some rows, one after the other: of which of the rows each is, and its place in ``slips``."""
        self._start = _longer(self._start, self._rows.count)
        self._count = _longer(self._count, self._rows.count)
        new = np.unique(index[self._start[index] < 0])
        if new.size:
            self._add(model, new)
        count = self._count[index]
        of = np.repeat(np.arange(len(index)), count)
        within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
        return of, self._start[index][of] + within

    def at_most(self, model: Model, index: NDArray[np.intp]) -> Array:
        """How likely each row is at most over all states with a part of it amiss, (n,)."""
        self._bound = _longer(self._bound, self._rows.count)
        new = np.unique(index[self._bound[index] < 0])
        if new.size:
            self._bound[new] = self._bounds(model, new)
        return np.asarray(self._bound[index])

    def _bounds(self, model: Model, new: NDArray[np.intp]) -> Array:
        """With one clue of the unit amiss, and the others as likely as they ever are."""
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

    def _add(self, model: Model, new: NDArray[np.intp]) -> None:
        codes = np.zeros((len(new), len(model.clues)), dtype=np.int32)
        market = self._columns == model.by_market.columns
        codes[:, self._columns] = [
            cast(tuple[int, ...], self._rows.keys[row]) if market else (row,)
            for row in new.tolist()
        ]
        parts = parts_of(model, codes)
        column = np.array([column for _, column, _ in parts], dtype=np.intp)
        amiss, highest = np.zeros(len(parts), dtype=np.intp), np.full(len(parts), np.inf)
        for own in self._columns:
            clue = model.clues[own]
            places = np.flatnonzero(column == own)
            of_own = [parts[place] for place in places.tolist()]
            keys = [Amiss(clue.rows.keys[codes[row, own]], part.part) for row, _, part in of_own]
            amiss[places] = clue.indices(keys)
            if not market:
                highest[places] = np.exp(clue.rows.log_scale[amiss[places]])
        count = np.bincount([row for row, _, _ in parts], minlength=len(new))
        self._count[new], self._start[new] = count, len(self.slips) + np.cumsum(count) - count
        self.slips += [part for _, _, part in parts]
        self.column = np.concatenate((self.column, column))
        self.amiss = np.concatenate((self.amiss, amiss))
        self.highest = np.concatenate((self.highest, highest))


def _longer(values: NDArray[Any], n: int) -> NDArray[Any]:
    """So many of them at least: what is new is below 0, not known yet."""
    if len(values) >= n:
        return values
    return np.concatenate((values, np.full(n - len(values), -1, dtype=values.dtype)))
