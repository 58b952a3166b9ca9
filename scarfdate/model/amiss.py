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

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NOT_LOOKED_AT, Amiss, Bound, FirstPrinting, Slip
from scarfdate.conventions import MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.numbered import distinct
from scarfdate.model.posterior import log_evidence
from scarfdate.model.slips import parts_of
from scarfdate.model.weighing import Weighing


@dataclass(frozen=True)
class PartAmiss:
    """One part of what was noted of a scarf, and the chance that it is a slip or a misreading.

    ``scarf``: its row in the codes; ``column``: of its clue.
    """

    scarf: int
    column: int
    part: Slip
    chance: float


def parts_amiss(model: Model, codes: Codes) -> list[PartAmiss]:
    """Every part of the scarves ``codes`` (n, clues), scarf by scarf."""
    return _chances(model, codes, log_evidence(model, codes), parts_of(model, codes))


def likely_amiss(
    model: Model, codes: Codes, log: Array, weighing: Weighing, named: Mapping[int, str]
) -> list[PartAmiss]:
    """The parts that can be amiss rather than right, by the bound above, and what is ``named``.

    ``log`` (n,): log P(all) of each scarf; ``named``: the part of a scarf that is wanted in any case.
    """
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(weighing.evidence > 0, weighing.surprise / weighing.evidence, 0.0)
    wanted: list[tuple[int, int, Slip]] = []
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero(ratio[:, place])
        if not seen.size:
            continue
        first, back = distinct(*codes[seen][:, list(columns)].T)
        parts = [_most_amiss(model, columns, codes[seen[row]]) for row in first.tolist()]
        highest = np.array([max((most for *_, most in some), default=0.0) for some in parts])
        can = ratio[seen, place] * highest[back] > MORE_LIKELY_THAN_NOT
        for at in np.flatnonzero(can).tolist():
            scarf = int(seen[at])
            least = MORE_LIKELY_THAN_NOT / ratio[scarf, place]
            wanted += [(scarf, c, part) for c, part, most in parts[back[at]] if most > least]
    named_rows = sorted(named)
    wanted += [
        (named_rows[row], column, part)
        for row, column, part in parts_of(model, codes[named_rows])
        if part.part == named[named_rows[row]]
    ]
    once = {(scarf, column, part.part): (scarf, column, part) for scarf, column, part in wanted}
    return _chances(model, codes, log, [*once.values()])


def _chances(
    model: Model, codes: Codes, log: Array, parts: Sequence[tuple[int, int, Slip]]
) -> list[PartAmiss]:
    """The chance of each part (scarf, column, what it is) that it is amiss; ``log`` (n,): log P(all)."""
    amiss = codes[[scarf for scarf, _, _ in parts]]
    for place, (scarf, column, part) in enumerate(parts):
        clue = model.clues[column]
        key = clue.rows.keys[codes[scarf, column]]
        amiss[place, column] = clue.index(Amiss(key, part.part))
    return [
        PartAmiss(scarf, column, part, float(np.exp(min(one - log[scarf], 0.0))))
        for (scarf, column, part), one in zip(
            parts, log_evidence(model, amiss).tolist(), strict=True
        )
    ]


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


def _most_amiss(
    model: Model, columns: tuple[int, ...], codes: NDArray[np.int32]
) -> list[tuple[int, Slip, float]]:
    """Each part of a unit of one scarf, with its column and the largest likelihood of the unit over all states
    with that part amiss; worked out once for a model."""
    key = (columns, tuple(codes[list(columns)].tolist()))
    most = model.most_amiss.get(key)
    if most is None:
        one = np.zeros((1, len(model.clues)), dtype=np.int32)
        one[0, list(columns)] = key[1]
        most = []
        for _, column, part in parts_of(model, one):
            clue = model.clues[column]
            row = clue.index(Amiss(clue.rows.keys[one[0, column]], part.part))
            scale = clue.rows.log_scale[row]
            if columns == model.by_market.columns:
                amiss = one.copy()
                amiss[0, column] = row
                at = model.by_market.indices(model, amiss)[0]  # before the scales: it may add one
                scale = model.by_market.rows.log_scale[at]
            most.append((column, part, float(np.exp(scale))))
        model.most_amiss[key] = most
    return most
