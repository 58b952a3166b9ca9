"""What of the things noted is likely wrong, and what was printed again later, in plain words."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate.answer.reasons import Notes, Says
from scarfdate.clues.clue import NO_NOTES, Bound, Noted
from scarfdate.conventions import MORE_LIKELY_THAN_NOT
from scarfdate.model.amiss import PartAmiss, bound_of, design_years, likely_amiss, parts_amiss
from scarfdate.model.model import Codes, Model
from scarfdate.model.weighing import Weighing
from scarfdate.show.sentence import percent


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One thing noted, and the chance, 0 to 1, that it is a slip or a misreading, given everything noted.

    ``clue``: its family; ``seen``: what was noted, as a person says it; ``if_right``: what follows if it is right
    all the same, "" where nothing does.
    """

    clue: str
    seen: str
    chance: float
    if_right: str

    @property
    def says(self) -> str:
        """A plain sentence."""
        text = f"The chance that {self.seen} is a slip or a misreading is {percent(self.chance)}"
        return f"{text}; {self.if_right}." if self.if_right else f"{text}."

    @property
    def likely(self) -> bool:
        """Whether it is more likely wrong than right."""
        return self.chance > MORE_LIKELY_THAN_NOT


def doubts_of(model: Model, codes: Codes, noted: Noted = NO_NOTES) -> tuple[Doubt, ...]:
    """Everything noted of one scarf, the most doubtful first; ``noted``: what was measured, as noted."""
    parts = sorted(parts_amiss(model, codes), key=_most_doubtful_first)
    design = int(design_years(model, codes)[0])
    said = _Said(model)
    return tuple(
        said.doubt(one, int(codes[0, one.column]), noted.get(one.part.part), design)
        for one in parts
    )


def worst_doubts(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    weighing: Weighing,
    bounding: Mapping[int, str],
    notes: Notes,
) -> dict[int, list[Doubt]]:
    """Of each scarf the most doubtful thing, where it is more likely wrong than right, and what ``bounding`` names.

    ``joint`` (n, grades * years) as from the posterior; ``bounding``: what set the first possible year, of the scarves
    whose interval begins before it, for of others it need not be told. Only these are worked out and put into words:
    of thousands of scarves few are in doubt.
    """
    found = likely_amiss(model, codes, joint, weighing, bounding)
    found.sort(key=lambda one: (one.scarf, *_most_doubtful_first(one)))
    chosen, had = list[PartAmiss](), set[int]()
    by_part: dict[str, list[int]] = {}
    for one in found:
        worst = one.scarf not in had and one.chance > MORE_LIKELY_THAN_NOT
        if worst or bounding.get(one.scarf) == one.part.part:
            by_part.setdefault(one.part.part, []).append(len(chosen))
            chosen.append(one)
            had.add(one.scarf)
    noted: list[str | None] = [None] * len(chosen)
    for part, places in by_part.items():
        own = notes([chosen[place].scarf for place in places], (part,))
        for place, measured in zip(places, own, strict=True):
            noted[place] = measured.get(part)
    designs = design_years(model, codes[[one.scarf for one in chosen]]).tolist()
    said, told = _Said(model), dict[int, list[Doubt]]()
    for one, own_note, design in zip(chosen, noted, designs, strict=True):
        row = int(codes[one.scarf, one.column])
        doubt = said.doubt(one, row, own_note, design, bounds=one.scarf in bounding)
        told.setdefault(one.scarf, []).append(doubt)
    return told


def earliest_of(model: Model, codes: Codes, scarf: int = 0) -> Bound | None:
    """The latest of the bounds of what was seen of a scarf."""
    bounds = [bound_of(model, column, row) for column, row in enumerate(codes[scarf].tolist())]
    return max((b for b in bounds if b is not None), key=lambda b: b.year, default=None)


def _most_doubtful_first(one: PartAmiss) -> tuple[float, int]:
    return -one.chance, one.column


class _Said:
    """Doubts in words; those that many scarves share are put into words once."""

    def __init__(self, model: Model) -> None:
        self.model, self._says = model, Says(model)
        self._known: dict[tuple[object, ...], tuple[str, str]] = {}

    def doubt(
        self, one: PartAmiss, row: int, noted: str | None, design: int, *, bounds: bool = True
    ) -> Doubt:
        """``row``: of the clue; ``noted``: what was measured, as noted; ``design``: the year of `design_years`;
        ``bounds``: whether its first possible year is to be told."""
        key = (one.column, row, one.part.part, noted, design, bounds)
        words = self._known.get(key)
        if words is None:
            seen = self._says.part(one.part, NO_NOTES if noted is None else {one.part.part: noted})
            words = self._known[key] = seen, self._follows(one, row, seen, design, bounds)
        return Doubt(clue=one.part.part, seen=words[0], chance=one.chance, if_right=words[1])

    def _follows(self, one: PartAmiss, row: int, seen: str, design: int, bounds: bool) -> str:
        part, clue = one.part.part, self.model.clues[one.column]
        bound = bound_of(self.model, one.column, row)
        if bound is None or part != bound.clue:
            return ""
        right = f"if {clue.supposes(clue.rows.keys[row], part) or f'{seen} is right'}"
        if 0 < design < bound.year:
            return f"{right}, {design} is the year of the design, not of the cloth"
        return f"{right}, the piece was not made before {bound.year}" if bounds else ""
