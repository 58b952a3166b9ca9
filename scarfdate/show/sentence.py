"""The one honest sentence about a piece.

It says years and how sure, the clues that weigh most, and where it matters the chance of a later
piece in an older look. It never says that a piece is what it looks like: dating is not a verdict.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from scarfdate.conventions import MORE_LIKELY_THAN_NOT, Array

Stretch = tuple[str, float]  # years as a person writes them, and the chance they hold

_PERCENT = ["under 1 %", *(f"{whole} %" for whole in range(1, 100)), "over 99 %"]
_VOWELS = ("8", "11 ", "18 ", "under", "over")  # how numbers begin that take "an"
MATTERS = 0.10  # a second hill, or a later piece, is named from this chance on


def percent(chance: float) -> str:
    """A chance in whole per cent; never 0 % or 100 %, which nobody can know."""
    return _PERCENT[round(100 * chance)]


def percents(chances: Array) -> list[str]:
    """`percent` of many chances."""
    return [_PERCENT[whole] for whole in np.rint(100 * chances).astype(int).tolist()]


def years(first: int, last: int, grid_start: int) -> str:
    """Years as a person writes them; the first year of the grid stands for all before it."""
    if first <= grid_start:
        return f"{last} or earlier"
    return f"{first}" if first == last else f"{first}-{last}"


def doubted(seen: str, chance: float, if_right: str, wrong: str) -> str:
    """That the answer takes something noted for a mistake, or allows for it, and what follows if it is none."""
    follows = if_right or "look at it again"
    sure = "probably" if chance > MORE_LIKELY_THAN_NOT else "possibly"
    return f"{capital(seen)}: {sure} {wrong} ({percent(chance)}); {follows}."


def in_doubt(seen: str, chance: float, if_right: str) -> str:
    """What is doubted, for a cell of a table."""
    return f"{seen} ({percent(chance)})" + (f": {if_right}" if if_right else "")


def printed_again(chance: float, year: int | None) -> str:
    """That an old design was printed again, and which year is then that of the design alone."""
    text = f"It is probably an old design printed again later ({percent(chance)})"
    return f"{text}: {year} is the year of the design, not of the cloth." if year else f"{text}."


def capital(text: str) -> str:
    """With a capital letter, as a sentence begins."""
    return text[:1].upper() + text[1:]


def sentences(
    made: Sequence[str],
    level: float,
    decades: Sequence[str],
    chances: Array,
    reasons: Sequence[Sequence[str | None]],
) -> list[str]:
    """What is said first of each of n pieces.

    ``made``: as `years` says them; ``level``: what each interval holds; ``decades``: the most likely ones, with their
    ``chances``; ``reasons``: the clues that set the decade, the heaviest of each piece, then the next; None for no more.
    """
    sure = percent(level)
    because = [
        "" if not clues[0] else f", mainly because of {' and '.join(filter(None, clues))}"
        for clues in zip(*reasons, strict=True)
    ]
    return [
        f"{when} ({sure} sure), most likely in the {decade} ({chance}){clues}."
        for when, decade, chance, clues in zip(
            made, decades, percents(chances), because, strict=True
        )
    ]


def hardly(made: str, level: float) -> str:
    """What is said in their place of a piece whose clues tell nothing."""
    text = f"{made} ({percent(level)} sure)"
    return f"These clues hardly narrow it down. {text}, like any scarf found in such a place."


def older(year: int, chance: float, made: str) -> str:
    """`years` of a piece that may be older than a year, told apart: interval, decade and other stretches then hold if it
    is not, all else of the piece whatever its age."""
    return f"Older than {year}: {percent(chance)}; if younger: {made}"


def parted(parts: Sequence[Stretch], *, spills: bool = False, younger: bool = False) -> str:
    """That the interval spans a valley, between these stretches. ``spills``: whether they reach beyond it; ``younger``:
    whether that is said of a piece that may be older, if it is not."""
    each = " or ".join(f"{when} ({percent(chance)})" for when, chance in parts)
    either = "of the younger either" if younger else "either"
    # two statements of the same level, the interval and the stretches: which is the better is said
    return capital(f"{'better: ' if spills else ''}{either} {each}, hardly between.")


def instead(hill: Stretch, *, younger: bool = False) -> str:
    """That it may be of a stretch apart from the main one; ``younger`` as of `parted`."""
    there = "If younger, there is" if younger else "There is"
    return f"{there} {_a(hill[1])} chance that it is from {hill[0]} instead."


def later_piece(chance: float) -> str:
    """That it may be a later piece in an older style."""
    return f"There is {_a(chance)} chance that it is a later piece in an older style."


def misfit(clue: str) -> str:
    """That a clue does not fit the others."""
    return f"The clues disagree: look again at {clue}."


def _a(chance: float) -> str:
    """A chance with its article: "a 12 %", "an 18 %"."""
    text = percent(chance)
    return f"{'an' if text.startswith(_VOWELS) else 'a'} {text}"
