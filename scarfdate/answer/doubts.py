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
    years = [_design_year(model, column, row) for column, row in rows if row != NOT_LOOKED_AT]
    return max((year for year in years if year is not None), default=None)


def _design_year(model: Model, column: int, row: int) -> int | None:
    known = model.design_years
    if (column, row) not in known:
        clue = model.clues[column]
        known[column, row] = clue.design_year(clue.rows.keys[row])
    return known[column, row]


def earliest_of(model: Model, codes: Codes, scarf: int = 0) -> Bound | None:
    """The latest of the bounds of what was seen of a scarf."""
    bounds = [bound_of(model, column, row) for column, row in enumerate(codes[scarf].tolist())]
    return max((b for b in bounds if b is not None), key=lambda b: b.year, default=None)


def _most_doubtful_first(one: PartAmiss) -> tuple[float, int]:
    return -one.chance, one.column


def _doubt(model: Model, codes: Codes, one: PartAmiss, noted: Noted) -> Doubt:
    row, part = int(codes[one.scarf, one.column]), one.part
    seen = Says(model).part(part, noted)
    follows = ""
    bound = bound_of(model, one.column, row)
    if bound is not None and part.part == bound.clue:
        clue, printed = model.clues[one.column], design_year(model, codes, one.scarf)
        right = f"if {clue.supposes(clue.rows.keys[row], part.part) or f'{seen} is right'}"
        follows = f"{right}, the piece was not made before {bound.year}"
        if printed is not None and printed < bound.year:
            follows = f"{right}, {printed} is the year of the design, not of the cloth"
    return Doubt(clue=part.part, seen=seen, chance=one.chance, if_right=follows)
