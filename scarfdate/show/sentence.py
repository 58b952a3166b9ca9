"""The one honest sentence about a piece.

It says years and how sure, the clues that weigh most, and where it matters the chance of a later
piece in an older look. It never says that a piece is what it looks like: dating is not a verdict.
"""

from __future__ import annotations

from collections.abc import Sequence

from scarfdate.conventions import MORE_LIKELY_THAN_NOT

Stretch = tuple[str, float]  # years as a person writes them, and the chance they hold

_PERCENT = ["under 1 %", *(f"{whole} %" for whole in range(1, 100)), "over 99 %"]
_VOWELS = ("8", "11 ", "18 ", "under", "over")  # how numbers begin that take "an"
MATTERS = 0.10  # a second hill, or a later piece, is named from this chance on


def percent(chance: float) -> str:
    """A chance in whole per cent; never 0 % or 100 %, which nobody can know."""
    return _PERCENT[round(100 * chance)]


def years(first: int, last: int, grid_start: int) -> str:
    """Years as a person writes them; the first year of the grid stands for all before it."""
    if first <= grid_start:
        return f"{last} or earlier"
    return f"{first}" if first == last else f"{first}-{last}"


def doubted(seen: str, chance: float, if_right: str) -> str:
    """That the answer takes something noted for a mistake, or allows for it, and what follows if it is none."""
    follows = if_right or "look at it again"
    sure = "probably" if chance > MORE_LIKELY_THAN_NOT else "possibly"
    return f"{capital(seen)}: {sure} a slip or a misreading ({percent(chance)}); {follows}."


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


def sentence(
    *,
    made: str,
    level: float,
    decade: str,
    decade_chance: float,
    clues: Sequence[str],
    hills: Sequence[Stretch],
    parts: Sequence[Stretch] = (),
    spills: bool = False,
    later: float,
    misfit: str,
    told: Sequence[str] = (),
    before: tuple[int, float] | None = None,
) -> str:
    """The sentence (with a second short one where something must be added).

    ``made``: the interval in words, and ``level`` what it holds; ``decade``: "" where the clues tell nothing, which
    is then said; ``clues``: those that set the decade, heaviest first; ``hills``: stretches apart from the main
    one, with their chances; ``parts``: the same within the main one, where it spans a valley, and ``spills``: whether they reach beyond it; ``later``: the chance of a later piece in an
    older style; ``misfit``: the clue that does not fit, or ""; ``told``: what else must be known, as `doubted` and `printed_again` say it. ``before``: a
    year and the chance that the piece is older than that, told apart; interval, decade and the other stretch then hold if it is not, all
    else of the piece whatever its age.
    """
    head = (
        "Made" if before is None else f"Older than {before[0]}: {percent(before[1])}; if younger:"
    )
    text = f"{head} {made} ({percent(level)} sure)"
    if not decade:
        text = f"These clues hardly narrow it down. {text}, like any scarf found in such a place."
        return " ".join([text, *told])
    text += f", most likely in the {decade} ({percent(decade_chance)})"
    if clues:
        text += f", mainly because of {' and '.join(clues)}"
    text += "."
    if parts:
        each = " or ".join(f"{when} ({percent(chance)})" for when, chance in parts)
        either = "either" if before is None else "of the younger either"
        # two statements of the same level, the interval and the stretches: which is the better is said
        text += " " + capital(f"{'better: ' if spills else ''}{either} {each}, hardly between.")
    for when, chance in hills:
        there = "There is" if before is None else "If younger, there is"
        text += f" {there} {_a(chance)} chance that it is from {when} instead."
    if later >= MATTERS:
        text += f" There is {_a(later)} chance that it is a later piece in an older style."
    text = " ".join([text, *told])
    if misfit:
        text += f" The clues disagree: look again at {misfit}."
    return text


def _a(chance: float) -> str:
    """A chance with its article: "a 12 %", "an 18 %"."""
    text = percent(chance)
    return f"{'an' if text.startswith(_VOWELS) else 'a'} {text}"
