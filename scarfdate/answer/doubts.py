"""What of the things noted is likely wrong, and what was printed again later, in plain words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from scarfdate import years
from scarfdate.answer.reasons import Notes, Says
from scarfdate.clues.clue import NO_NOTES, Bound, Noted
from scarfdate.clues.dated import Dated, announced_column
from scarfdate.conventions import FIRST_YEAR, MORE_LIKELY_THAN_NOT
from scarfdate.model.amiss import (
    PartAmiss,
    bound_of,
    design_years,
    likely_amiss,
    parts_amiss,
    sets_amiss,
)
from scarfdate.model.model import Codes, Model
from scarfdate.model.weighing import Weighing
from scarfdate.reading.cells import Observed
from scarfdate.show.sentence import MATTERS, percent
from scarfdate.show.sentence import years as years_in_words
from scarfdate.tables.priors import Priors

_TOGETHER = 4  # things in doubt of which every set is tried


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """One thing noted, and the chance, 0 to 1, that it is a slip or a misreading, given everything noted.

    ``clue``: its family; ``seen``: what was noted, as a person says it; ``if_right``: what follows if it is right
    all the same, "" where nothing does; ``wrong``: what it is if it is wrong, in words; ``families``: what is in doubt
    with it, itself first, as the country with the label that names it.
    """

    clue: str
    seen: str
    chance: float
    if_right: str
    wrong: str = "a slip or a misreading"
    families: tuple[str, ...] = ()

    @property
    def says(self) -> str:
        """A plain sentence."""
        text = f"The chance that {self.seen} is {self.wrong} is {percent(self.chance)}"
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


@dataclass(frozen=True, kw_only=True)
class Reading:
    """One way in which what was noted goes together: ``wrong`` of it is, in words, and all else is right.

    ``chance``: 0 to 1, given everything noted; ``years``: first and last of the shortest interval at the dating's
    level, if it is so.
    """

    wrong: tuple[str, ...]
    chance: float
    years: tuple[int, int]


def readings_of(model: Model, codes: Codes, level: float, noted: Noted) -> tuple[Reading, ...]:
    """The ways in which what was noted of one scarf goes together, the likeliest first.

    Of each clue what is most doubtful can be wrong, of four clues at most; what is likelier right than
    nine times in ten is taken to be right.
    """
    doubtful = dict[int, PartAmiss]()
    for one in sorted(parts_amiss(model, codes), key=_most_doubtful_first):
        if one.chance >= MATTERS:
            doubtful.setdefault(one.column, one)
    said, found = Says(model), []
    for some in sets_amiss(model, codes, [*doubtful.values()][:_TOGETHER]):
        first, last = years.shortest_interval(years.cumulative(some.year[None, :]), level)
        wrong = tuple(said.part(one.part, noted) for one in some.parts)
        span = int(first[0]) + FIRST_YEAR, int(last[0]) + FIRST_YEAR
        found.append(Reading(wrong=wrong, chance=some.chance, years=span))
    return tuple(sorted(found, key=lambda one: -one.chance))


def beside(
    priors: Priors,
    seen: Mapping[str, Observed],
    readings: Sequence[Reading],
    earliest: Bound | None,
    first: int,
) -> list[str]:
    """Lines beside the interval, which begins in the year ``first``: what cannot all be right, and the first
    possible year, with a reserve where the interval begins before it, since what sets it can be misread; and what
    to note of an event of which nobody said whether it was announced ahead. ``seen``: what was noted, by family."""
    lines = [_disagreement(readings)]
    if earliest is not None:
        reserve = ", if this is noted rightly" if first < earliest.year else ""
        lines.append(f"Not before {earliest.year}{reserve}: {earliest.reason} ({earliest.source}).")
    for name, one in seen.items():
        column = announced_column(name)
        if not isinstance(one, Dated) or one.announced is not None or first > one.year:
            continue
        if column in priors.lags.columns:
            lines.append(
                f"Was the event of {one.year} announced ahead, as a coronation or a fair is? "
                f"Say {column}=yes or no: now both count, by how common they are."
            )
    return [line for line in lines if line]


def _disagreement(readings: Sequence[Reading]) -> str:
    """That what was noted cannot all be right, and what is wrong instead; "" where it can, or where one way is left,
    which the doubts tell."""
    as_noted = sum(one.chance for one in readings if not one.wrong)
    likely = [one for one in readings if one.wrong and one.chance >= MATTERS]
    # more mistakes than are needed are no way of their own
    ways = [one for one in likely if not any({*o.wrong} < {*one.wrong} for o in likely)]
    if as_noted >= MATTERS or len(ways) < 2:
        return ""
    each = [
        f"{_listed(one.wrong)} {'are' if len(one.wrong) > 1 else 'is'} wrong, and it was made "
        f"{years_in_words(*one.years, FIRST_YEAR)} ({percent(one.chance)})"
        for one in ways
    ]
    text = (
        f"What is noted can hardly all be right ({percent(as_noted)}): something is misread, altered or copied. "
        f"Either {'; or '.join(each)}."
    )
    fewest = min(ways, key=lambda one: len(one.wrong))
    if len(fewest.wrong) < len(ways[0].wrong):
        text += f" The fewest mistakes: {_listed(fewest.wrong)} alone."
    return text


def _listed(some: Sequence[str]) -> str:
    return f"{', '.join(some[:-1])} and {some[-1]}" if len(some) > 1 else some[0]


def worst_doubts(
    model: Model,
    codes: Codes,
    joint: NDArray[np.floating[Any]],
    weighing: Weighing,
    bounding: Mapping[int, str],
    since: NDArray[np.int64],
    notes: Notes,
) -> dict[int, list[Doubt]]:
    """Of each scarf the most doubtful thing, where it is more likely wrong than right, and what ``bounding`` names.

    ``joint`` (n, grades * years) as from the posterior; ``bounding``: what set the first possible year, of the scarves
    whose interval begins before it; ``since`` (n,): the first years of the intervals, for an earlier first year need not
    be told. Only these are worked out and put into words:
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
        doubt = said.doubt(one, row, own_note, design, since=int(since[one.scarf]))
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
        self, one: PartAmiss, row: int, noted: str | None, design: int, *, since: int = 0
    ) -> Doubt:
        """``row``: of the clue; ``noted``: what was measured, as noted; ``design``: the year of `design_years`;
        ``since``: its first possible year is told where it is later."""
        bound = bound_of(self.model, one.column, row)
        bounds = bound is not None and bound.year > since
        key = (one.column, row, one.part.part, noted, design, bounds)
        words = self._known.get(key)
        if words is None:
            seen = self._says.part(one.part, NO_NOTES if noted is None else {one.part.part: noted})
            words = self._known[key] = seen, self._follows(one, row, seen, design, bounds)
        clue, part = self.model.clues[one.column], one.part.part
        families = (part, *(clue.apart(clue.rows.keys[row]) if part == clue.name else ()))
        return Doubt(
            clue=part, seen=words[0], chance=one.chance, if_right=words[1],
            wrong=clue.wrong(part), families=tuple(dict.fromkeys(families)),
        )  # fmt: skip

    def _follows(self, one: PartAmiss, row: int, seen: str, design: int, bounds: bool) -> str:
        part, clue = one.part.part, self.model.clues[one.column]
        bound = bound_of(self.model, one.column, row)
        if bound is None or part != bound.clue:
            return ""
        right = f"if {clue.supposes(clue.rows.keys[row], part) or f'{seen} is right'}"
        if 0 < design < bound.year:
            return f"{right}, {design} is the year of the design, not of the cloth"
        return f"{right}, the piece was not made before {bound.year}" if bounds else ""
