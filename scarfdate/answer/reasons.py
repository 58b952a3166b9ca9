"""The clues that a sentence names: in words, with measurements as they were noted, those that count first."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping, Sequence, Set
from itertools import repeat
from typing import cast

import numpy as np
from numpy.typing import NDArray

from scarfdate.clues.clue import NO_NOTES, NOT_LOOKED_AT, Noted, Slip
from scarfdate.clues.shares import SharesClue
from scarfdate.model.model import Codes, Model
from scarfdate.model.numbered import distinct
from scarfdate.model.weighing import Weighing, alone

NAMED = 2  # reasons in a sentence
_NONE = -1  # in place of a column
WEIGHTY = 1.0  # decibans: about the smallest change of odds that people can feel (Good 1985)
# of scarves by row, of some families; of each as it is asked for, so that thousands are not kept at once
Notes = Callable[[Sequence[int], Collection[str]], Iterator[Noted]]


def no_notes(rows: Sequence[int], families: Collection[str]) -> Iterator[Noted]:
    """Where nobody kept what was measured as it was noted."""
    return repeat(NO_NOTES, len(rows))


class Says:
    """What each clue of a scarf was, in words; every row is put into words once for a model."""

    def __init__(self, model: Model) -> None:
        self.model, self.units = model, model.units
        self._known: dict[tuple[int, int], str] = model.said

    def unit(self, codes: Sequence[int], unit: int, noted: Noted = NO_NOTES) -> str:
        """What was seen in a unit of one scarf, given by the row numbers of its clues."""
        columns = [column for column in self.units[unit] if codes[column]]
        text, state = self.model.column.get("label_text"), self.model.column.get("label")
        # the text of a label says more than that there is one
        if text in columns and len(columns) > 1:
            columns = [column for column in columns if column != state]
        return ", ".join([self.clue(column, codes[column], noted) for column in columns])

    def clue(self, column: int, row: int, noted: Noted = NO_NOTES) -> str:
        """What one row of one clue was."""
        clue = self.model.clues[column]
        if noted and not noted.keys().isdisjoint(clue.families):
            return clue.says(clue.rows.keys[row], noted)
        text = self._known.get((column, row))
        if text is None:
            text = self._known[column, row] = clue.says(clue.rows.keys[row])
        return text

    def part(self, part: Slip, noted: Noted = NO_NOTES) -> str:
        """What one part of a clue was: a word, a measurement."""
        own = noted.get(part.part)
        if own is None:
            return part.says
        title = self.model.priors.families[part.part].title
        return self.model.priors.wording.phrase(part.part, own, title)

    def is_reason(self, column: int, row: int) -> bool:
        """Whether a sentence may give it as a reason."""
        clue = self.model.clues[column]
        if row == NOT_LOOKED_AT:
            return False
        return not isinstance(clue, SharesClue) or clue.is_reason(clue.rows.keys[row])

    def each(self, row: Sequence[int], noted: Noted = NO_NOTES) -> dict[str, str]:
        """What was noted of one scarf, by the names of its clues."""
        clues = self.model.clues
        return {clues[c].name: self.clue(c, row[c], noted) for c in range(len(row)) if row[c]}

    def little(self, row: Sequence[int], noted: Noted = NO_NOTES) -> list[str]:
        """Sentences on what was noted of one scarf that by itself may say nothing of the decade."""
        said, few = [], []
        read = self.model.column.get("label_text", -1)
        for column, code in enumerate(row):
            if not code:
                continue
            if self.is_reason(column, code):
                if self.model.clues[column].name in self.model.priors.says_little:
                    few.append(self.clue(column, code, noted))
            elif read < 0 or not row[read]:
                name = self.clue(column, code)
                said.append(f"{name[0].upper()}{name[1:]} tells you almost nothing about age.")
        if few:
            said.append(f"By itself perhaps no sign of the decade: {', '.join(few)}.")
        return said


def reasons(
    model: Model,
    codes: Codes,
    weighing: Weighing,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
    notes: Notes,
    wrong: Mapping[int, Set[str]],
) -> list[list[str | None]]:
    """What speaks most for the claim that ``weighing`` weighs: n texts, then the next n; None for no more.

    ``first``, ``last`` (n,): the cells of the claim; ``wrong``: by row the families that are taken for mistakes, which
    are no reasons. After the first none is named that weighs less than one
    deciban, and never one that is no reason, such as a missing label. Of clues that are weighed together those are named that weigh
    something by themselves.
    """
    says = Says(model)
    left = weighing.decibans.copy()
    checked = model.priors.wording.with_no_reasons
    members = {
        unit: _members(model, says, columns, codes, first, last)
        for unit, columns in enumerate(model.units)
        if (len(columns) > 1 or model.clues[columns[0]].name in checked) and left[:, unit].any()
    }
    for scarf, families in wrong.items():
        for unit, columns in enumerate(model.units):
            for at, column in enumerate(columns):
                if families and not families.isdisjoint(model.clues[column].families):
                    if unit in members:
                        members[unit][1][at, scarf] = False
                    else:
                        left[scarf, unit] = 0.0
    for unit, (_, counts) in members.items():
        left[~counts.any(axis=0), unit] = 0.0
    rows = np.arange(len(codes))
    named = np.full((NAMED, len(codes)), _NONE)
    count = np.zeros(len(codes), dtype=np.intp)
    for least in (0.0, *[WEIGHTY] * (NAMED - 1))[: left.shape[1]]:
        best = left.argmax(axis=1)
        speaks = (left[rows, best] > least) & (count < NAMED)
        for unit in np.unique(best[speaks]).tolist():
            columns, here = model.units[unit], np.flatnonzero(speaks & (best == unit))
            ranked, may = (
                np.zeros((1, len(here)), dtype=np.intp),
                np.ones((1, len(here)), dtype=bool),
            )
            if len(columns) > 1:
                weights, counts = members[unit]
                ranked, may = _heaviest(weights[:, here], counts[:, here])
            for place, told in zip(ranked, may, strict=True):
                told &= count[here] < NAMED
                row = here[told]
                named[count[row], row] = np.array(columns)[place[told]]
                count[row] += 1
        left[rows, best] = 0.0
    return _in_words(model, says, codes, named, notes)


def _in_words(
    model: Model, says: Says, codes: Codes, named: NDArray[np.intp], notes: Notes
) -> list[list[str | None]]:
    """The columns named, of every scarf, in words; each word that repeats is said once."""
    texts = np.full(named.shape, None, dtype=object)
    for column in np.unique(named[named != _NONE]).tolist():
        place, row = np.nonzero(named == column)
        seen, families = codes[row, column], model.clues[column].families
        if len(families) > 1:  # measured on it: in every scarf something else
            own = zip(seen.tolist(), notes(row.tolist(), families), strict=True)
            texts[place, row] = [says.clue(column, code, noted) for code, noted in own]
            continue
        first, back = distinct(seen)
        words = [says.clue(column, code) for code in seen[first].tolist()]
        texts[place, row] = np.array(words, dtype=object)[back]
    return cast(list[list[str | None]], texts.tolist())


def _members(
    model: Model,
    says: Says,
    columns: tuple[int, ...],
    codes: Codes,
    first: NDArray[np.intp],
    last: NDArray[np.intp],
) -> tuple[NDArray[np.float64], NDArray[np.bool_]]:
    """Of each clue of a unit its weight by itself, and whether it may be a reason; both (clues, n)."""
    weights = np.zeros((len(columns), len(codes)))
    counts = np.zeros(weights.shape, dtype=bool)
    for place, column in enumerate(columns):
        kinds, back = distinct(codes[:, column])
        may = np.array([says.is_reason(column, row) for row in codes[kinds, column].tolist()])
        counts[place] = may[back]
        if len(columns) > 1 and counts[place].any():
            seen = np.flatnonzero(counts[place])
            only = np.zeros_like(codes[seen])
            only[:, column] = codes[seen, column]
            weights[place, seen] = alone(model, columns, only, first[seen], last[seen])
    return weights, counts


def _heaviest(
    weights: NDArray[np.float64], may: NDArray[np.bool_]
) -> tuple[NDArray[np.intp], NDArray[np.bool_]]:
    """The clues of a unit, the heaviest of each scarf first, and which of them are named: those that may be and weigh
    something, or else the first that may be; all (clues, n)."""
    ranked = np.argsort(-weights, axis=0, kind="stable")
    may = np.take_along_axis(may, ranked, axis=0)
    named = may & np.take_along_axis(weights >= WEIGHTY, ranked, axis=0)
    return ranked, named | (may & (np.cumsum(may, axis=0) == 1) & ~named.any(axis=0))
