"""What of the things noted is likely wrong, and what was printed again later, in plain words."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from dataclasses import dataclass

from scarfdate.answer.reasons import Notes, Says
from scarfdate.clues.clue import NO_NOTES, NOT_LOOKED_AT, Bound, Noted
from scarfdate.conventions import MORE_LIKELY_THAN_NOT, Array
from scarfdate.model.amiss import PartAmiss, bound_of, likely_amiss, parts_amiss
from scarfdate.model.model import Codes, Model
from scarfdate.model.weighing import Weighing
from scarfdate.show.sentence import percent


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One thing noted, and the chance, 0 to 1, that it is a slip or a misreading, given everything noted.

    ``clue``: its family; ``seen``: what was noted, as a person says it; ``says``: a plain sentence; ``if_right``:
    what follows if it is right all the same, "" where nothing does.
    """

    clue: str
    seen: str
    chance: float
    says: str
    if_right: str

    @property
    def likely(self) -> bool:
        """Whether it is more likely wrong than right."""
        return self.chance > MORE_LIKELY_THAN_NOT


def doubts_of(model: Model, codes: Codes, noted: Noted = NO_NOTES) -> tuple[Doubt, ...]:
    """Everything noted of one scarf, the most doubtful first; ``noted``: what was measured, as noted."""
    parts = sorted(parts_amiss(model, codes), key=_most_doubtful_first)
    return tuple(_doubt(model, codes, one, noted) for one in parts)


def worst_doubts(
    model: Model,
    codes: Codes,
    log: Array,
    weighing: Weighing,
    bounding: Mapping[int, str],
    notes: Notes,
) -> dict[int, list[Doubt]]:
    """Of each scarf the most doubtful thing, where it is more likely wrong than right, and what ``bounding`` names.

    ``log`` (n,): log P(all) of each scarf. Only these are worked out and put into words: of thousands of
    scarves few are in doubt.
    """
    found: dict[int, list[PartAmiss]] = defaultdict(list)
    for one in likely_amiss(model, codes, log, weighing, bounding):
        if one.chance > MORE_LIKELY_THAN_NOT or one.part.part == bounding.get(one.scarf):
            found[one.scarf].append(one)
    told = {}
    for scarf, parts in sorted(found.items()):
        parts.sort(key=_most_doubtful_first)
        first = [one for one in parts[:1] if one.chance > MORE_LIKELY_THAN_NOT]
        first += [o for o in parts if o.part.part == bounding.get(scarf) and o not in first]
        told[scarf] = [_doubt(model, codes, one, notes(scarf, (one.part.part,))) for one in first]
    return told


def design_year(model: Model, codes: Codes, scarf: int) -> int | None:
    """The latest year that a scarf bears which can be that of its design alone; None where it bears none."""
    rows = enumerate(codes[scarf].tolist())
    seen = [(model.clues[column], row) for column, row in rows if row != NOT_LOOKED_AT]
    years = [clue.design_year(clue.rows.keys[row]) for clue, row in seen]
    return max((year for year in years if year is not None), default=None)


def earliest_of(model: Model, codes: Codes, scarf: int = 0) -> Bound | None:
    """The latest of the bounds of what was seen of a scarf."""
    bounds = [bound_of(model, column, row) for column, row in enumerate(codes[scarf].tolist())]
    return max((b for b in bounds if b is not None), key=lambda b: b.year, default=None)


def _most_doubtful_first(one: PartAmiss) -> tuple[float, int]:
    return -one.chance, one.column


def _doubt(model: Model, codes: Codes, one: PartAmiss, noted: Noted) -> Doubt:
    seen, clue = Says(model).part(one.part, noted), model.clues[one.column]
    key = clue.rows.keys[codes[one.scarf, one.column]]
    right = f"if {clue.supposes(key, one.part.part) or f'{seen} is right'}"
    bound = bound_of(model, one.column, int(codes[one.scarf, one.column]))
    printed = design_year(model, codes, one.scarf)
    follows = ""
    if bound is not None and one.part.part == bound.clue:
        follows = f"{right}, the piece was not made before {bound.year}"
        if printed is not None and printed < bound.year:
            follows = f"{right}, {printed} is the year of the design, not of the cloth"
    text = f"The chance that {seen} is a slip or a misreading is {percent(one.chance)}"
    return Doubt(
        clue=one.part.part,
        seen=seen,
        chance=one.chance,
        says=f"{text}; {follows}." if follows else f"{text}.",
        if_right=follows,
    )
