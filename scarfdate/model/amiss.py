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

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NOT_LOOKED_AT, Amiss, Bound, FirstPrinting, Slip
from scarfdate.conventions import MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.model import Codes, Model
from scarfdate.model.posterior import posterior
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
    parts = parts_of(model, codes)
    if not parts:
        return []
    amiss = codes[[scarf for scarf, _, _ in parts]]
    for place, (scarf, column, part) in enumerate(parts):
        clue = model.clues[column]
        key = clue.rows.keys[codes[scarf, column]]
        amiss[place, column] = clue.index(Amiss(key, part.part))
    log = posterior(model, np.concatenate((codes, amiss))).log_evidence
    return [
        PartAmiss(scarf, column, part, float(np.exp(min(one - log[scarf], 0.0))))
        for (scarf, column, part), one in zip(parts, log[len(codes) :].tolist(), strict=True)
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
        log = posterior(model, np.concatenate((codes[rows], first[rows]))).log_evidence
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
        rows, back = np.unique(codes[:, column], return_inverse=True)
        bounds = [bound_of(model, column, row) for row in rows.tolist()]
        first = np.array([0 if bound is None else bound.year for bound in bounds])
        np.maximum(found, first[back.reshape(-1)], out=found)
    return found


def can_be_amiss(model: Model, codes: Codes, weighing: Weighing) -> NDArray[np.bool_]:
    """Whether some part of a piece can be amiss rather than right, (n,): by the bound above."""
    least = np.zeros(len(codes))
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = np.where(weighing.evidence > 0, weighing.surprise / weighing.evidence, 0.0)
    for place, columns in enumerate(model.units):
        seen = np.flatnonzero(ratio[:, place])
        if not seen.size:
            continue
        kinds, back = np.unique(codes[seen][:, list(columns)], axis=0, return_inverse=True)
        most = np.array([_most_amiss(model, columns, tuple(kind)) for kind in kinds.tolist()])
        least[seen] = np.maximum(least[seen], ratio[seen, place] * most[back.reshape(-1)])
    return np.asarray(least > MORE_LIKELY_THAN_NOT)


def _most_amiss(model: Model, columns: tuple[int, ...], rows: tuple[int, ...]) -> float:
    """The largest likelihood of a unit over all states with one part of it amiss."""
    key = (columns, rows)
    most = model.most_amiss.get(key)
    if most is None:
        codes = np.zeros((1, len(model.clues)), dtype=np.int32)
        codes[0, list(columns)] = rows
        market = columns == model.by_market.columns
        scales = []
        for _, column, part in parts_of(model, codes):
            clue = model.clues[column]
            row = clue.index(Amiss(clue.rows.keys[codes[0, column]], part.part))
            if market:
                one = codes.copy()
                one[0, column] = row
                at = model.by_market.indices(model, one)[0]
                scales.append(model.by_market.rows.log_scale[at])
            else:
                scales.append(clue.rows.log_scale[row])
        most = model.most_amiss[key] = float(np.exp(max(scales)))
    return most
